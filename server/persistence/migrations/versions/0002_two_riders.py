"""A draft may be joined with another: two riders who share a kit."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("draft", sa.Column("joined", sa.Text(), nullable=True))
