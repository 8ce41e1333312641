"""Versions of the policy by the day they take effect, steps of the catalogue that can be undone, sets of parts, counts, orders, backups."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "backup",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_backup")),
    )
    op.create_index(op.f("ix_backup_at"), "backup", ["at"], unique=False)
    op.create_table(
        "order_choice",
        sa.Column("season", sa.String(), nullable=False),
        sa.Column("size", sa.String(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("season", "size", name=op.f("pk_order_choice")),
    )
    op.create_table(
        "part_set",
        sa.Column("sku", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("maker", sa.String(), nullable=False),
        sa.Column("gtin", sa.String(), nullable=False),
        sa.Column("price", sa.Integer(), nullable=False),
        sa.Column("parts", sa.Text(), nullable=False),
        sa.Column("sold", sa.Boolean(), nullable=False),
        sa.Column("retired", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("sku", name=op.f("pk_part_set")),
    )
    op.create_table(
        "tally",
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("what", "day", name=op.f("pk_tally")),
    )
    op.create_table(
        "catalogue_step",
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("about", sa.Text(), nullable=False),
        sa.Column("before", sa.Text(), nullable=False),
        sa.Column("undoes", sa.Integer(), nullable=True),
        sa.Column("undone_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("undone_by", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(
            ["version"], ["catalogue_version.version"], name=op.f("fk_catalogue_step_version_catalogue_version")
        ),
        sa.PrimaryKeyConstraint("version", name=op.f("pk_catalogue_step")),
    )
    op.add_column("policy_version", sa.Column("effective_at", sa.DateTime(timezone=True), nullable=True))
    op.add_column("policy_version", sa.Column("note", sa.Text(), nullable=True))
    op.add_column("policy_version", sa.Column("dropped_at", sa.DateTime(timezone=True), nullable=True))
    op.add_column("policy_version", sa.Column("dropped_by", sa.String(), nullable=True))
