"""The tables of the history: what is kept of every colour, job, card, check, tint step, outcome, pot and panel.

Every record has an integer key, used only inside one database, and a public id (32 hexadecimal digits), used by
everything outside, so that an archive means the same in every store. Nothing is overwritten: ``revision`` keeps what a
record said before it was edited, and a deleted record stays, marked with the record whose deletion took it away.
"""

from typing import Any

from sqlalchemy import (
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    text,
)

from match.history.column_types import Day, JsonText, UtcTime, key_text
from match.history.records import ANSWERS, ENDS

DERIVED: dict[Any, Any] = {"derived": True}
ANSWER: dict[Any, Any] = {"one_of": ANSWERS}
END: dict[Any, Any] = {"one_of": ENDS}
LATER: dict[Any, Any] = {"later": True}
"""A text that an earlier version did not have: said only where it says something, so that what was sealed stays so."""


metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _words(*names: str) -> list[Column[Any]]:
    return [Column(name, Text, nullable=False, default="") for name in names]


def _link(name: str, target: str, *, required: bool, indexed: bool = True) -> Column[Any]:
    return Column(name, Integer, ForeignKey(f"{target}.id"), nullable=not required, index=indexed)


def _numbers(*names: str) -> list[Column[Any]]:
    return [Column(name, Float, nullable=True) for name in names]


def _kept(name: str, *columns: Any) -> Table:
    """Make a table of records with a public id, a version that counts edits, and a mark for a soft deletion."""
    table = Table(
        name,
        metadata,
        Column("id", Integer, primary_key=True),
        Column("uid", key_text(32), nullable=False, unique=True),
        Column("created_at", UtcTime, nullable=False),
        Column("version", Integer, nullable=False, default=1),
        Column("deleted_at", UtcTime, nullable=True),
        Column("deleted_with", key_text(32), nullable=True),
        *columns,
    )
    deleted = text("deleted_with IS NOT NULL")
    Index(f"ix_{name}_deleted_with", table.c.deleted_with, sqlite_where=deleted, postgresql_where=deleted)
    return table


colour = _kept(
    "colour",
    *_words("code", "name", "finish", "undercoat", "notes"),
    Column("code_key", key_text(200), nullable=False, index=True, info=DERIVED),
    Column("name_key", Text, nullable=False, info=DERIVED),
    Column("search", Text, nullable=False, info=DERIVED),
)

job = _kept(
    "job",
    *_words("car", "plate"),
    Column("day", Day, nullable=True),
    *_words("notes"),
    Column("car_key", Text, nullable=False, info=DERIVED),
    Column("search", Text, nullable=False, info=DERIVED),
)

card = _kept(
    "card",
    _link("colour_id", "colour", required=True),
    _link("job_id", "job", required=False),
    *_words("mix", "batch", "gun", "coats", "reducer", "undercoat", "tinted", "notes"),
    Column("place", Text, nullable=False, default="", server_default="", info=LATER),
)

check = _kept(
    "colour_check",
    _link("colour_id", "colour", required=False, indexed=False),
    _link("job_id", "job", required=False, indexed=False),
    _link("card_id", "card", required=False),
    _link("corrects_id", "colour_check", required=False),
    Column("verdict", key_text(32), nullable=False),
    *_numbers("delta_e00", "delta_e00_low", "delta_e00_high"),
    *_numbers("card_l", "card_a", "card_b", "vehicle_l", "vehicle_a", "vehicle_b"),
    Column("method_version", String(64), nullable=False),
    Column("tolerances_version", String(64), nullable=False),
    Column("tolerances_hash", String(64), nullable=False),
    *_words("note"),
    Column("note_key", Text, nullable=False, info=DERIVED),
    # The search words of the colour, the job and the note together, so that one scan of this narrow table finds a text.
    Column("search", Text, nullable=False, default="", info=DERIVED),
)

_live = text("deleted_at IS NULL")
for _columns in (
    # The first index alone answers a list, its filters and a deep page, without touching the table; the last one a
    # search for near colours.
    ("created_at", "id", "verdict", "colour_id", "job_id"),
    ("colour_id", "created_at"),
    ("job_id", "created_at"),
    ("verdict", "created_at"),
    ("vehicle_l", "vehicle_a", "vehicle_b", "colour_id", "verdict"),
):
    _expressions = [check.c[_name] for _name in _columns]
    Index(f"ix_colour_check_live_{_columns[0]}", *_expressions, sqlite_where=_live, postgresql_where=_live)

# The bulky part of a check stands in its own table, so that lists and searches read little.
check_body = Table(
    "colour_check_body",
    metadata,
    Column("check_id", Integer, ForeignKey("colour_check.id"), primary_key=True, autoincrement=False),
    Column("regions", JsonText, nullable=False),
    Column("settings", JsonText, nullable=False),
    Column("result", JsonText, nullable=False),
)

check_photo = Table(
    "colour_check_photo",
    metadata,
    Column("check_id", Integer, ForeignKey("colour_check.id"), nullable=False),
    Column("position", Integer, nullable=False),
    Column("sha256", key_text(64), nullable=False, index=True),
    Column("size_bytes", Integer, nullable=False),
    Column("name", Text, nullable=False),
    PrimaryKeyConstraint("check_id", "position"),
)

photo_content = Table(
    "photo_content",
    metadata,
    Column("sha256", key_text(64), nullable=False),
    Column("number", Integer, nullable=False),
    Column("content", LargeBinary, nullable=False),
    PrimaryKeyConstraint("sha256", "number"),
)
"""Photos of a history on a server, each cut into numbered pieces; beside SQLite they lie in a folder."""

tint_step = _kept(
    "tint_step",
    _link("card_before_id", "card", required=True),
    _link("card_after_id", "card", required=False),
    Column("additions", JsonText, nullable=False),
    *_numbers("pot_size_g"),
    Column("predicted_lab", JsonText, nullable=True),
    *_words("notes"),
)

outcome = _kept(
    "outcome",
    _link("check_id", "colour_check", required=True),
    *_words("verdict_followed", "junction", "seen_from"),
    Column("hidden", String(8), nullable=False, info=ANSWER),
    Column("came_back", String(8), nullable=False, info=ANSWER),
    Column("day", Day, nullable=True),
    *_words("notes"),
)

# One pot whole, from its formula to its last card, so that it is gone on with as it was left.
pot = _kept(
    "pot",
    _link("colour_id", "colour", required=True),
    *_words("name"),
    Column("story", JsonText, nullable=False),
    Column("cards", JsonText, nullable=False),
    Column("ended", String(8), nullable=False, info=END),
    *_words("notes"),
)

# A panel as it was described for a plan, so that it need not be measured again.
panel = _kept(
    "panel",
    _link("colour_id", "colour", required=True),
    _link("job_id", "job", required=False),
    *_words("name"),
    Column("described", JsonText, nullable=False),
    *_words("notes"),
)

revision = Table(
    "revision",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("uid", key_text(32), nullable=False, unique=True),
    Column("created_at", UtcTime, nullable=False),
    Column("kind", String(16), nullable=False),
    Column("record", key_text(32), nullable=False, index=True),
    Column("number", Integer, nullable=False),  # counts a record's changes, since clocks can be set back
    Column("change", String(16), nullable=False),
    Column("before", JsonText, nullable=False),
)

# What each record said when it was last written, so that a changed or lost one betrays itself.
record_digest = Table(
    "record_digest",
    metadata,
    Column("record", key_text(32), primary_key=True),
    Column("kind", String(16), nullable=False),
    Column("sha256", key_text(64), nullable=False),
)

# Unfinished work, for the browser that it belongs to; no record: it is replaced in place, and goes when it is old.
bench = Table(
    "bench",
    metadata,
    Column("uid", key_text(32), primary_key=True),
    Column("owner", key_text(32), nullable=False),
    Column("saved_at", UtcTime, nullable=False),
    Column("photos", JsonText, nullable=False),
    Column("document", JsonText, nullable=False),
)
