"""Sales: contracts, their papers and payments, returns, used pieces, expected deliveries, and what comes after the handover."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "paper_series",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("last", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_paper_series")),
    )
    op.create_table(
        "photo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token", sa.String(), nullable=False),
        sa.Column("about", sa.String(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photo")),
        sa.UniqueConstraint("token", name=op.f("uq_photo_token")),
    )
    op.create_index(op.f("ix_photo_about"), "photo", ["about"], unique=False)
    op.create_table(
        "expected_delivery",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sku", sa.String(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("due_about", sa.Date(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("arrived", sa.Integer(), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("key", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["sku"], ["part.sku"], name=op.f("fk_expected_delivery_sku_part")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_expected_delivery")),
        sa.UniqueConstraint("key", name=op.f("uq_expected_delivery_key")),
    )
    op.create_index(op.f("ix_expected_delivery_sku"), "expected_delivery", ["sku"], unique=False)
    op.create_table(
        "sale",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token", sa.String(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("quote_token", sa.String(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=True),
        sa.Column("concluded", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_on", sa.Date(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("email", sa.String(), nullable=False),
        sa.Column("phone", sa.String(), nullable=False),
        sa.Column("email_key", sa.String(), nullable=False),
        sa.Column("phone_key", sa.String(), nullable=False),
        sa.Column("delivery", sa.String(), nullable=False),
        sa.Column("zone", sa.String(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("tier_name", sa.String(), nullable=False),
        sa.Column("tier_percent", sa.Integer(), nullable=False),
        sa.Column("agreed_charged", sa.Integer(), nullable=False),
        sa.Column("agreed_before", sa.Integer(), nullable=False),
        sa.Column("policy_version", sa.Integer(), nullable=False),
        sa.Column("may_write", sa.Boolean(), nullable=False),
        sa.Column("hold_id", sa.Integer(), nullable=True),
        sa.Column("key", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["hold_id"], ["hold.id"], name=op.f("fk_sale_hold_id_hold")),
        sa.ForeignKeyConstraint(
            ["policy_version"], ["policy_version.version"], name=op.f("fk_sale_policy_version_policy_version")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sale")),
        sa.UniqueConstraint("key", name=op.f("uq_sale_key")),
        sa.UniqueConstraint("token", name=op.f("uq_sale_token")),
    )
    op.create_index(op.f("ix_sale_code"), "sale", ["code"], unique=False)
    op.create_index(op.f("ix_sale_email_key"), "sale", ["email_key"], unique=False)
    op.create_index(op.f("ix_sale_made_at"), "sale", ["made_at"], unique=False)
    op.create_index(op.f("ix_sale_phone_key"), "sale", ["phone_key"], unique=False)
    op.create_index(op.f("ix_sale_quote_token"), "sale", ["quote_token"], unique=False)
    op.create_table(
        "follow_up",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sale_id", sa.Integer(), nullable=False),
        sa.Column("week", sa.Integer(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("told_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("dropped_because", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["sale_id"], ["sale.id"], name=op.f("fk_follow_up_sale_id_sale")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_follow_up")),
        sa.UniqueConstraint("sale_id", "week", name=op.f("uq_follow_up_sale_id")),
    )
    op.create_index(op.f("ix_follow_up_due_on"), "follow_up", ["due_on"], unique=False)
    op.create_table(
        "piece",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token", sa.String(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("slot", sa.String(), nullable=False),
        sa.Column("sku", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("maker", sa.String(), nullable=False),
        sa.Column("serial", sa.String(), nullable=False),
        sa.Column("measures", sa.Text(), nullable=False),
        sa.Column("condition", sa.String(), nullable=False),
        sa.Column("hours", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("price", sa.Integer(), nullable=True),
        sa.Column("bought", sa.Integer(), nullable=False),
        sa.Column("scheme", sa.String(), nullable=False),
        sa.Column("percent", sa.String(), nullable=False),
        sa.Column("due_about", sa.Date(), nullable=True),
        sa.Column("from_sale", sa.Integer(), nullable=True),
        sa.Column("from_item", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["from_sale"], ["sale.id"], name=op.f("fk_piece_from_sale_sale")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_piece")),
        sa.UniqueConstraint("token", name=op.f("uq_piece_token")),
    )
    op.create_index(op.f("ix_piece_from_sale"), "piece", ["from_sale"], unique=False)
    op.create_index(op.f("ix_piece_state"), "piece", ["state"], unique=False)
    op.create_table(
        "question",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sale_id", sa.Integer(), nullable=False),
        sa.Column("item", sa.Integer(), nullable=True),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.Column("answered_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("answered_by", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["sale_id"], ["sale.id"], name=op.f("fk_question_sale_id_sale")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_question")),
        sa.UniqueConstraint("key", name=op.f("uq_question_key")),
    )
    op.create_index(op.f("ix_question_sale_id"), "question", ["sale_id"], unique=False)
    op.create_table(
        "sale_case",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sale_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("notice_on", sa.Date(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("opened_by", sa.String(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("settled_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("outcome", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["sale_id"], ["sale.id"], name=op.f("fk_sale_case_sale_id_sale")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sale_case")),
    )
    op.create_index(op.f("ix_sale_case_sale_id"), "sale_case", ["sale_id"], unique=False)
    op.create_table(
        "sale_item",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sale_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("sku", sa.String(), nullable=False),
        sa.Column("label", sa.String(), nullable=False),
        sa.Column("slot", sa.String(), nullable=False),
        sa.Column("list", sa.Integer(), nullable=False),
        sa.Column("charged", sa.Integer(), nullable=False),
        sa.Column("alone", sa.Integer(), nullable=False),
        sa.Column("worth", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("percent", sa.String(), nullable=False),
        sa.Column("scheme", sa.String(), nullable=False),
        sa.Column("bought", sa.Integer(), nullable=False),
        sa.Column("is_tiered", sa.Boolean(), nullable=False),
        sa.Column("piece", sa.Integer(), nullable=True),
        sa.Column("serial", sa.String(), nullable=False),
        sa.Column("is_held", sa.Boolean(), nullable=False),
        sa.Column("sent_on", sa.Date(), nullable=True),
        sa.Column("received_on", sa.Date(), nullable=True),
        sa.Column("gone", sa.String(), nullable=False),
        sa.Column("gone_on", sa.Date(), nullable=True),
        sa.Column("takes_place_of", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["sale_id"], ["sale.id"], name=op.f("fk_sale_item_sale_id_sale")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sale_item")),
        sa.UniqueConstraint("sale_id", "number", name=op.f("uq_sale_item_sale_id")),
    )
    op.create_index(op.f("ix_sale_item_piece"), "sale_item", ["piece"], unique=False)
    op.create_index(op.f("ix_sale_item_serial"), "sale_item", ["serial"], unique=False)
    op.create_index(op.f("ix_sale_item_sku"), "sale_item", ["sku"], unique=False)
    op.create_table(
        "sale_mark",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sale_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("about", sa.Text(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["sale_id"], ["sale.id"], name=op.f("fk_sale_mark_sale_id_sale")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sale_mark")),
        sa.UniqueConstraint("sale_id", "key", name=op.f("uq_sale_mark_sale_id")),
    )
    op.create_table(
        "sale_paper",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("sale_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("lines", sa.Text(), nullable=False),
        sa.Column("vat", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("corrects", sa.Integer(), nullable=True),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("gross", sa.Integer(), nullable=False),
        sa.Column("buyer", sa.Text(), nullable=False),
        sa.Column("policy_version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["policy_version"], ["policy_version.version"], name=op.f("fk_sale_paper_policy_version_policy_version")
        ),
        sa.ForeignKeyConstraint(["sale_id"], ["sale.id"], name=op.f("fk_sale_paper_sale_id_sale")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_sale_paper")),
    )
    op.create_index(op.f("ix_sale_paper_day"), "sale_paper", ["day"], unique=False)
    op.create_index(op.f("ix_sale_paper_sale_id"), "sale_paper", ["sale_id"], unique=False)
    op.create_table(
        "sale_settlement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sale_id", sa.Integer(), nullable=False),
        sa.Column("means", sa.String(), nullable=False),
        sa.Column("amount", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["sale_id"], ["sale.id"], name=op.f("fk_sale_settlement_sale_id_sale")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sale_settlement")),
    )
    op.create_index(op.f("ix_sale_settlement_day"), "sale_settlement", ["day"], unique=False)
    op.create_index(op.f("ix_sale_settlement_sale_id"), "sale_settlement", ["sale_id"], unique=False)
    op.create_table(
        "reservation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token", sa.String(), nullable=False),
        sa.Column("piece_id", sa.Integer(), nullable=True),
        sa.Column("expected_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("email", sa.String(), nullable=False),
        sa.Column("phone", sa.String(), nullable=False),
        sa.Column("email_key", sa.String(), nullable=False),
        sa.Column("phone_key", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("confirmed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_because", sa.String(), nullable=False),
        sa.Column("hold_id", sa.Integer(), nullable=True),
        sa.Column("key", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["expected_id"], ["expected_delivery.id"], name=op.f("fk_reservation_expected_id_expected_delivery")
        ),
        sa.ForeignKeyConstraint(["hold_id"], ["hold.id"], name=op.f("fk_reservation_hold_id_hold")),
        sa.ForeignKeyConstraint(["piece_id"], ["piece.id"], name=op.f("fk_reservation_piece_id_piece")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reservation")),
        sa.UniqueConstraint("key", name=op.f("uq_reservation_key")),
        sa.UniqueConstraint("token", name=op.f("uq_reservation_token")),
    )
    op.create_index(op.f("ix_reservation_email_key"), "reservation", ["email_key"], unique=False)
    op.create_index(op.f("ix_reservation_expected_id"), "reservation", ["expected_id"], unique=False)
    op.create_index(op.f("ix_reservation_phone_key"), "reservation", ["phone_key"], unique=False)
    op.create_index(op.f("ix_reservation_piece_id"), "reservation", ["piece_id"], unique=False)
    op.add_column("hold", sa.Column("confirmed_by", sa.String(), nullable=True))
    op.add_column("hold", sa.Column("ended_by", sa.String(), nullable=True))
    op.add_column("quote", sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True))
    op.add_column("quote", sa.Column("withdrawn_by", sa.String(), nullable=True))
    op.add_column("quote", sa.Column("withdrawn_because", sa.Text(), nullable=True))
    op.execute("INSERT INTO paper_series (name, last) VALUES ('papers', 0)")
