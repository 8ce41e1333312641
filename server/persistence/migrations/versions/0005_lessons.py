"""Lessons on the calendar, what was seen on the water, readings of the wind, and messages on their way out."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("deposit_entry", sa.Column("method", sa.String(), nullable=True))
    op.add_column("paid_lesson", sa.Column("off_since", sa.Date(), nullable=True))
    op.add_column("deposit_entry", sa.Column("why", sa.Text(), nullable=True))
    op.add_column("deposit_entry", sa.Column("worth_cents", sa.Integer(), nullable=True))
    op.create_table(
        "window_extension",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("until", sa.Date(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["paid_lesson.code"], name=op.f("fk_window_extension_code_paid_lesson")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_window_extension")),
    )
    op.create_index(op.f("ix_window_extension_code"), "window_extension", ["code"], unique=False)
    op.create_table(
        "lesson_time",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("starts_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("places", sa.Integer(), nullable=False),
        sa.Column("instructor", sa.String(), nullable=False),
        sa.Column("spot", sa.String(), nullable=False),
        sa.Column("provisional", sa.String(), nullable=False),
        sa.Column("final", sa.String(), nullable=False),
        sa.Column("because", sa.Text(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lesson_time")),
    )
    op.create_index(op.f("ix_lesson_time_key"), "lesson_time", ["key"], unique=False)
    op.create_index(op.f("ix_lesson_time_starts_at"), "lesson_time", ["starts_at"], unique=False)
    op.create_table(
        "booking",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token", sa.String(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("time_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("email", sa.String(), nullable=False),
        sa.Column("phone", sa.String(), nullable=False),
        sa.Column("email_key", sa.String(), nullable=False),
        sa.Column("phone_key", sa.String(), nullable=False),
        sa.Column("mass_kg", sa.Float(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("quote_token", sa.String(), nullable=False),
        sa.Column("claimed_quote_token", sa.String(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("moved_by_shop", sa.Boolean(), nullable=False),
        sa.Column("key", sa.String(), nullable=True),
        sa.Column("taught_share", sa.Float(), nullable=True),
        sa.Column("repeats", sa.Integer(), nullable=True),
        sa.Column("fee_cents", sa.Integer(), nullable=False),
        sa.Column("handed_back_before_cents", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["paid_lesson.code"], name=op.f("fk_booking_code_paid_lesson")),
        sa.ForeignKeyConstraint(["time_id"], ["lesson_time.id"], name=op.f("fk_booking_time_id_lesson_time")),
        sa.ForeignKeyConstraint(["repeats"], ["booking.id"], name=op.f("fk_booking_repeats_booking")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_booking")),
        sa.UniqueConstraint("code", name=op.f("uq_booking_code")),
        sa.UniqueConstraint("key", name=op.f("uq_booking_key")),
        sa.UniqueConstraint("token", name=op.f("uq_booking_token")),
    )
    op.create_index(op.f("ix_booking_email_key"), "booking", ["email_key"], unique=False)
    op.create_index(op.f("ix_booking_phone_key"), "booking", ["phone_key"], unique=False)
    op.create_index(op.f("ix_booking_quote_token"), "booking", ["quote_token"], unique=False)
    op.create_index(op.f("ix_booking_time_id"), "booking", ["time_id"], unique=False)
    op.create_table(
        "assessment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("booking_id", sa.Integer(), nullable=False),
        sa.Column("seen", sa.Text(), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["booking_id"], ["booking.id"], name=op.f("fk_assessment_booking_id_booking")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_assessment")),
        sa.UniqueConstraint("key", name=op.f("uq_assessment_key")),
    )
    op.create_index(op.f("ix_assessment_booking_id"), "assessment", ["booking_id"], unique=False)
    op.create_table(
        "strand_reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("spot", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("mean_kn", sa.Float(), nullable=False),
        sa.Column("gust_kn", sa.Float(), nullable=False),
        sa.Column("from_deg", sa.Float(), nullable=False),
        sa.Column("tide_m", sa.Float(), nullable=False),
        sa.Column("has_lightning", sa.Boolean(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_strand_reading")),
    )
    op.create_index(op.f("ix_strand_reading_at"), "strand_reading", ["at"], unique=False)
    op.create_table(
        "message",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("about", sa.String(), nullable=False),
        sa.Column("to_name", sa.String(), nullable=False),
        sa.Column("to_email", sa.String(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("calendar", sa.Text(), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("next_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("leased_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("gave_up_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("last_error", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_message")),
        sa.UniqueConstraint("message_id", name=op.f("uq_message_message_id")),
    )
    op.create_index(op.f("ix_message_about"), "message", ["about"], unique=False)
    op.create_index(op.f("ix_message_next_at"), "message", ["next_at"], unique=False)
    op.create_table(
        "message_wording",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_message_wording")),
    )
    op.create_index(op.f("ix_message_wording_name"), "message_wording", ["name"], unique=False)
