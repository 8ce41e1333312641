"""The desk: worksheets and what was agreed by hand, when a quote was seen, promised calls, sales over the counter."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("draft", sa.Column("agreed", sa.Text(), nullable=True))
    op.add_column("quote", sa.Column("seen_revision", sa.Integer(), nullable=True))
    op.add_column("quote", sa.Column("seen_at", sa.DateTime(timezone=True), nullable=True))
    op.create_index(op.f("ix_quote_revision_issued_at"), "quote_revision", ["issued_at"], unique=False)
    op.create_table(
        "worksheet",
        sa.Column("token", sa.String(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("email", sa.String(), nullable=False),
        sa.Column("phone", sa.String(), nullable=False),
        sa.Column("email_key", sa.String(), nullable=False),
        sa.Column("phone_key", sa.String(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("staff_note", sa.Text(), nullable=False),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("sent_by", sa.String(), nullable=False),
        sa.Column("lapses_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("asked_by", sa.String(), nullable=False),
        sa.Column("refused_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("refused_because", sa.Text(), nullable=False),
        sa.Column("quote_token", sa.String(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("token", name=op.f("pk_worksheet")),
    )
    for column in ("email_key", "phone_key", "quote_token"):
        op.create_index(op.f(f"ix_worksheet_{column}"), "worksheet", [column], unique=False)
    op.create_table(
        "promised_call",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("quote_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("phone", sa.String(), nullable=False),
        sa.Column("phone_key", sa.String(), nullable=False),
        sa.Column("about", sa.Text(), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("done_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("done_by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["quote_id"], ["quote.id"], name=op.f("fk_promised_call_quote_id_quote")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_promised_call")),
    )
    for column in ("due_at", "phone_key", "quote_id"):
        op.create_index(op.f(f"ix_promised_call_{column}"), "promised_call", [column], unique=False)
    op.create_table(
        "counter_sale",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("sku", sa.String(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("price", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("taken_back_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("taken_back_by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["sku"], ["part.sku"], name=op.f("fk_counter_sale_sku_part")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_counter_sale")),
        sa.UniqueConstraint("key", name=op.f("uq_counter_sale_key")),
    )
    for column in ("at", "sku"):
        op.create_index(op.f(f"ix_counter_sale_{column}"), "counter_sale", [column], unique=False)
