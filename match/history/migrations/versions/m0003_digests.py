"""Make the table of what each record said when it was last written; opening the history fills it in."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def _key(length: int) -> sa.types.TypeEngine[str]:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def upgrade() -> None:
    """Create the table."""
    op.create_table(
        "record_digest",
        sa.Column("record", _key(32), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("sha256", _key(64), nullable=False),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_record_digest")),
    )
