"""Add the table in which a shared history keeps its photos, so that every station sees them."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Create the table."""
    text = sa.String(64).with_variant(sa.String(64, collation="C"), "postgresql")
    op.create_table(
        "photo_content",
        sa.Column("sha256", text, nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", "number", name=op.f("pk_photo_content")),
    )
