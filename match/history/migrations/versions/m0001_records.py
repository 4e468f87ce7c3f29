"""Make the tables of records, their photos and their revisions."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def _key(length: int) -> sa.types.TypeEngine[str]:
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def _kept(name: str, *columns: sa.schema.SchemaItem) -> None:
    op.create_table(
        name,
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", _key(32), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("deleted_at", sa.DateTime(), nullable=True),
        sa.Column("deleted_with", _key(32), nullable=True),
        *columns,
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{name}")),
        sa.UniqueConstraint("uid", name=op.f(f"uq_{name}_uid")),
    )


def _words(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, sa.Text(), nullable=False) for name in names]


def _numbers(*names: str) -> list[sa.Column[float]]:
    return [sa.Column(name, sa.Float(), nullable=True) for name in names]


def _link(table: str, name: str, target: str, *, required: bool) -> tuple[sa.schema.SchemaItem, ...]:
    return (
        sa.Column(name, sa.Integer(), nullable=not required),
        sa.ForeignKeyConstraint([name], [f"{target}.id"], name=op.f(f"fk_{table}_{name}")),
    )


def upgrade() -> None:
    """Create the tables."""
    _kept(
        "colour",
        *_words("code", "name", "finish", "undercoat", "notes"),
        sa.Column("code_key", _key(200), nullable=False),
        *_words("name_key", "search"),
    )
    _kept(
        "job",
        *_words("car", "plate"),
        sa.Column("day", sa.Date(), nullable=True),
        *_words("notes", "car_key", "search"),
    )
    _kept(
        "card",
        *_link("card", "colour_id", "colour", required=True),
        *_link("card", "job_id", "job", required=False),
        *_words("mix", "batch", "gun", "coats", "reducer", "undercoat", "tinted", "notes"),
    )
    _create_checks()
    _kept(
        "tint_step",
        *_link("tint_step", "card_before_id", "card", required=True),
        *_link("tint_step", "card_after_id", "card", required=False),
        *_words("additions"),
        *_numbers("pot_size_g"),
        sa.Column("predicted_lab", sa.Text(), nullable=True),
        *_words("notes"),
    )
    _kept(
        "outcome",
        *_link("outcome", "check_id", "colour_check", required=True),
        *_words("verdict_followed", "junction", "seen_from"),
        sa.Column("hidden", sa.String(8), nullable=False),
        sa.Column("came_back", sa.String(8), nullable=False),
        sa.Column("day", sa.Date(), nullable=True),
        *_words("notes"),
    )
    op.create_table(
        "revision",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", _key(32), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("record", _key(32), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("change", sa.String(16), nullable=False),
        *_words("before"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_revision")),
        sa.UniqueConstraint("uid", name=op.f("uq_revision_uid")),
    )


def _create_checks() -> None:
    _kept(
        "colour_check",
        *_link("colour_check", "colour_id", "colour", required=False),
        *_link("colour_check", "job_id", "job", required=False),
        *_link("colour_check", "card_id", "card", required=False),
        *_link("colour_check", "corrects_id", "colour_check", required=False),
        sa.Column("verdict", _key(32), nullable=False),
        *_numbers("delta_e00", "delta_e00_low", "delta_e00_high"),
        *_numbers("card_l", "card_a", "card_b", "vehicle_l", "vehicle_a", "vehicle_b"),
        sa.Column("method_version", sa.String(64), nullable=False),
        sa.Column("tolerances_version", sa.String(64), nullable=False),
        sa.Column("tolerances_hash", sa.String(64), nullable=False),
        *_words("note", "note_key", "search"),
    )
    op.create_table(
        "colour_check_body",
        sa.Column("check_id", sa.Integer(), autoincrement=False, nullable=False),
        *_words("regions", "settings", "result"),
        sa.ForeignKeyConstraint(["check_id"], ["colour_check.id"], name=op.f("fk_colour_check_body_check_id")),
        sa.PrimaryKeyConstraint("check_id", name=op.f("pk_colour_check_body")),
    )
    op.create_table(
        "colour_check_photo",
        sa.Column("check_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("sha256", _key(64), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        *_words("name"),
        sa.ForeignKeyConstraint(["check_id"], ["colour_check.id"], name=op.f("fk_colour_check_photo_check_id")),
        sa.PrimaryKeyConstraint("check_id", "position", name=op.f("pk_colour_check_photo")),
    )
