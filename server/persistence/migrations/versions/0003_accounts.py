"""Accounts, their sessions and one-time links, failed sign-ins, and the record of deeds."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "account",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("name_key", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("password_hash", sa.String(), nullable=True),
        sa.Column("seed", sa.String(), nullable=True),
        sa.Column("seed_offered", sa.String(), nullable=True),
        sa.Column("last_step", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_account")),
        sa.UniqueConstraint("name_key", name=op.f("uq_account_name_key")),
    )
    op.create_table(
        "account_session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("stage", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"], name=op.f("fk_account_session_account_id_account")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_account_session")),
        sa.UniqueConstraint("digest", name=op.f("uq_account_session_digest")),
    )
    op.create_index(op.f("ix_account_session_account_id"), "account_session", ["account_id"], unique=False)
    op.create_table(
        "one_time_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("forgets_factor", sa.Boolean(), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"], name=op.f("fk_one_time_link_account_id_account")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_one_time_link")),
        sa.UniqueConstraint("digest", name=op.f("uq_one_time_link_digest")),
    )
    op.create_index(op.f("ix_one_time_link_account_id"), "one_time_link", ["account_id"], unique=False)
    op.create_table(
        "sign_in_failure",
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_sign_in_failure")),
    )
    op.create_table(
        "deed",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("whom", sa.String(), nullable=False),
        sa.Column("address", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_deed")),
    )
    op.create_index(op.f("ix_deed_at"), "deed", ["at"], unique=False)
    # What was done stays written: no program of ours, faulty or misled, changes it afterwards.
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            "CREATE FUNCTION deeds_stay() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'a deed stays as it was written'; END $$"
        )
        op.execute(
            "CREATE TRIGGER deed_stays BEFORE UPDATE OR DELETE ON deed FOR EACH ROW EXECUTE FUNCTION deeds_stay()"
        )
        return
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER deed_no_{verb.lower()} BEFORE {verb} ON deed "
            "BEGIN SELECT RAISE(ABORT, 'a deed stays as it was written'); END"
        )
