"""Keep whole pots, and where each spray-out card lies."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def _key(length: int) -> sa.types.TypeEngine[str]:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def upgrade() -> None:
    """Create the table of pots and add the cards' place; no kept card says anything else than before."""
    op.create_table(
        "pot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", _key(32), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("deleted_at", sa.DateTime(), nullable=True),
        sa.Column("deleted_with", _key(32), nullable=True),
        sa.Column("colour_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("story", sa.Text(), nullable=False),
        sa.Column("cards", sa.Text(), nullable=False),
        sa.Column("ended", sa.String(8), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["colour_id"], ["colour.id"], name=op.f("fk_pot_colour_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pot")),
        sa.UniqueConstraint("uid", name=op.f("uq_pot_uid")),
    )
    deleted = sa.text("deleted_with IS NOT NULL")
    op.create_index("ix_pot_deleted_with", "pot", ["deleted_with"], sqlite_where=deleted, postgresql_where=deleted)
    op.create_index(op.f("ix_pot_colour_id"), "pot", ["colour_id"])
    op.add_column("card", sa.Column("place", sa.Text(), nullable=False, server_default=""))
