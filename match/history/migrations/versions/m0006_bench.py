"""Add the table of unfinished work, one row for each visit that has any."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def _key(length: int) -> sa.types.TypeEngine[str]:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def upgrade() -> None:
    """Create the table."""
    op.create_table(
        "bench",
        sa.Column("uid", _key(32), nullable=False),
        sa.Column("owner", _key(32), nullable=False),
        sa.Column("saved_at", sa.DateTime(), nullable=False),
        sa.Column("photos", sa.Text(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("uid", name=op.f("pk_bench")),
    )
