"""Add the indices that lists, searches, timelines and deletions read."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_PLAIN = {
    "colour": ("code_key",),
    "card": ("colour_id", "job_id"),
    "colour_check": ("card_id", "corrects_id"),
    "colour_check_photo": ("sha256",),
    "tint_step": ("card_before_id", "card_after_id"),
    "outcome": ("check_id",),
    "revision": ("record",),
}
_LIVE_CHECKS = (
    ("created_at", "id", "verdict", "colour_id", "job_id"),
    ("colour_id", "created_at"),
    ("job_id", "created_at"),
    ("verdict", "created_at"),
    ("vehicle_l", "vehicle_a", "vehicle_b", "colour_id", "verdict"),
)


def upgrade() -> None:
    """Create the indices."""
    for table, columns in _PLAIN.items():
        for column in columns:
            op.create_index(op.f(f"ix_{table}_{column}"), table, [column])
    live = sa.text("deleted_at IS NULL")
    for names in _LIVE_CHECKS:
        op.create_index(
            f"ix_colour_check_live_{names[0]}",
            "colour_check",
            list(names),
            sqlite_where=live,
            postgresql_where=live,
        )
    deleted = sa.text("deleted_with IS NOT NULL")
    for table in ("colour", "job", "card", "colour_check", "tint_step", "outcome"):
        op.create_index(
            f"ix_{table}_deleted_with", table, ["deleted_with"], sqlite_where=deleted, postgresql_where=deleted
        )
