"""The first schema: catalogue, stock, drafts, quotes and lesson deposits."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "draft",
        sa.Column("token", sa.String(), nullable=False),
        sa.Column("answers", sa.Text(), nullable=False),
        sa.Column("picks", sa.Text(), nullable=False),
        sa.Column("mass_unit", sa.String(), nullable=False),
        sa.Column("revises", sa.String(), nullable=True),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("token", name=op.f("pk_draft")),
    )
    with op.batch_alter_table("draft", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_draft_changed_at"), ["changed_at"], unique=False)

    op.create_table(
        "lesson_kind",
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("fee", sa.Integer(), nullable=False),
        sa.Column("cost", sa.Integer(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("places", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("kind", name=op.f("pk_lesson_kind")),
    )
    op.create_table(
        "paid_lesson",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("code", name=op.f("pk_paid_lesson")),
    )
    op.create_table(
        "part",
        sa.Column("sku", sa.String(), nullable=False),
        sa.Column("slot", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("maker", sa.String(), nullable=False),
        sa.Column("gtin", sa.String(), nullable=False),
        sa.Column("price", sa.Integer(), nullable=False),
        sa.Column("cost", sa.Integer(), nullable=False),
        sa.Column("measures", sa.Text(), nullable=False),
        sa.Column("sold", sa.Boolean(), nullable=False),
        sa.Column("retired", sa.Boolean(), nullable=False),
        sa.Column("markdown_price", sa.Integer(), nullable=True),
        sa.Column("markdown_since", sa.Date(), nullable=True),
        sa.PrimaryKeyConstraint("sku", name=op.f("pk_part")),
    )
    op.create_table(
        "policy_version",
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("terms", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("version", name=op.f("pk_policy_version")),
    )
    op.create_table(
        "quote",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token", sa.String(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quote")),
        sa.UniqueConstraint("code", name=op.f("uq_quote_code")),
        sa.UniqueConstraint("token", name=op.f("uq_quote_token")),
    )
    op.create_table(
        "spot",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("facts", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_spot")),
    )
    op.create_table(
        "zone",
        sa.Column("zone", sa.String(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("fee", sa.Integer(), nullable=False),
        sa.Column("cost", sa.Integer(), nullable=False),
        sa.Column("days", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("zone", name=op.f("pk_zone")),
    )
    op.create_table(
        "catalogue_version",
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("policy", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["policy"], ["policy_version.version"], name=op.f("fk_catalogue_version_policy_policy_version")
        ),
        sa.PrimaryKeyConstraint("version", name=op.f("pk_catalogue_version")),
    )
    op.create_table(
        "deposit_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("amount", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("quote", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["code"], ["paid_lesson.code"], name=op.f("fk_deposit_entry_code_paid_lesson")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_deposit_entry")),
    )
    with op.batch_alter_table("deposit_entry", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_deposit_entry_code"), ["code"], unique=False)

    op.create_table(
        "done_once",
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("quote_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["quote_id"], ["quote.id"], name=op.f("fk_done_once_quote_id_quote")),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_done_once")),
    )
    op.create_table(
        "hold",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("quote_id", sa.Integer(), nullable=True),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("skus", sa.Text(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("email", sa.String(), nullable=False),
        sa.Column("phone", sa.String(), nullable=False),
        sa.Column("email_key", sa.String(), nullable=False),
        sa.Column("phone_key", sa.String(), nullable=False),
        sa.Column("deposit_back", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("confirmed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_because", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["quote_id"], ["quote.id"], name=op.f("fk_hold_quote_id_quote")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hold")),
    )
    with op.batch_alter_table("hold", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_hold_email_key"), ["email_key"], unique=False)
        batch_op.create_index(batch_op.f("ix_hold_expires_at"), ["expires_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_hold_phone_key"), ["phone_key"], unique=False)
        batch_op.create_index(batch_op.f("ix_hold_quote_id"), ["quote_id"], unique=False)

    op.create_table(
        "price_point",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sku", sa.String(), nullable=False),
        sa.Column("since", sa.Date(), nullable=False),
        sa.Column("price", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["sku"], ["part.sku"], name=op.f("fk_price_point_sku_part")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_price_point")),
        sa.UniqueConstraint("sku", "since", name=op.f("uq_price_point_sku")),
    )
    with op.batch_alter_table("price_point", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_price_point_sku"), ["sku"], unique=False)

    op.create_table(
        "quote_revision",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("quote_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("issued_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["quote_id"], ["quote.id"], name=op.f("fk_quote_revision_quote_id_quote")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quote_revision")),
        sa.UniqueConstraint("quote_id", "revision", name=op.f("uq_quote_revision_quote_id")),
    )
    op.create_table(
        "unmet_demand",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("quote_id", sa.Integer(), nullable=True),
        sa.Column("slot", sa.String(), nullable=False),
        sa.Column("ideal", sa.Float(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(["quote_id"], ["quote.id"], name=op.f("fk_unmet_demand_quote_id_quote")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_unmet_demand")),
        sa.UniqueConstraint("quote_id", "slot", name=op.f("uq_unmet_demand_quote_id")),
    )
    op.create_table(
        "stock_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sku", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("change", sa.Integer(), nullable=False),
        sa.Column("held", sa.Integer(), nullable=False),
        sa.Column("hold_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["hold_id"], ["hold.id"], name=op.f("fk_stock_entry_hold_id_hold")),
        sa.ForeignKeyConstraint(["sku"], ["part.sku"], name=op.f("fk_stock_entry_sku_part")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_entry")),
    )
    with op.batch_alter_table("stock_entry", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_stock_entry_hold_id"), ["hold_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_stock_entry_sku"), ["sku"], unique=False)
