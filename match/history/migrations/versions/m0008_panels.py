"""Keep described panels with their colour and their car."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def _key(length: int) -> sa.types.TypeEngine[str]:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def upgrade() -> None:
    """Create the table of panels; no kept record says anything else than before."""
    op.create_table(
        "panel",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", _key(32), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("deleted_at", sa.DateTime(), nullable=True),
        sa.Column("deleted_with", _key(32), nullable=True),
        sa.Column("colour_id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("described", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["colour_id"], ["colour.id"], name=op.f("fk_panel_colour_id")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_panel_job_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_panel")),
        sa.UniqueConstraint("uid", name=op.f("uq_panel_uid")),
    )
    deleted = sa.text("deleted_with IS NOT NULL")
    op.create_index("ix_panel_deleted_with", "panel", ["deleted_with"], sqlite_where=deleted, postgresql_where=deleted)
    op.create_index(op.f("ix_panel_colour_id"), "panel", ["colour_id"])
    op.create_index(op.f("ix_panel_job_id"), "panel", ["job_id"])
