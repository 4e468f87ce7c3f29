"""The kinds of record, described once, so that saving, editing, deleting, export and import treat them alike."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from sqlalchemy import Column, Connection, RowMapping, Select, Table, select

from match.errors import StoreError
from match.history import tables
from match.history.canonical import code_key, folded, found_by
from match.history.records import (
    Addition,
    CardRecord,
    ColourRecord,
    JobRecord,
    Kept,
    OutcomeRecord,
    PanelRecord,
    PotRecord,
    TintStepRecord,
)

BOOKKEEPING = ("id", "uid", "created_at", "version", "deleted_at", "deleted_with")


@dataclass(frozen=True, eq=False)
class Kind:
    """A kind of record: its table, links to other kinds, editable fields and the search keys made from its fields.

    ``owners`` are the links that take a record along when what they link to is deleted; ``caption`` the fields by which
    a person knows the record.
    """

    name: str
    title: str
    table: Table
    links: Mapping[str, Table]
    owners: tuple[str, ...]
    caption: tuple[str, ...]
    editable: tuple[str, ...]
    record: type[Kept]
    derive: Callable[[Mapping[str, Any]], dict[str, Any]] = lambda _values: {}

    @property
    def content_columns(self) -> list[Column[Any]]:
        """The columns that hold what the user gave: neither bookkeeping, links nor search keys."""
        links = {f"{name}_id" for name in self.links}
        return [
            column
            for column in self.table.columns
            if column.name not in BOOKKEEPING and column.name not in links and not column.info.get("derived")
        ]

    @property
    def later_columns(self) -> tuple[str, ...]:
        """The columns that an earlier version did not have; see :data:`match.history.tables.LATER`."""
        return tuple(column.name for column in self.table.columns if column.info.get("later"))


COLOUR = Kind(
    "colour",
    "colour",
    tables.colour,
    {},
    (),
    ("code", "name"),
    ("code", "name", "finish", "undercoat", "notes"),
    ColourRecord,
    lambda values: {
        "code_key": code_key(values["code"]),
        "name_key": found_by(values["name"]),
        "search": found_by(values["code"], values["name"]) + "\n" + folded(values["finish"], values["notes"]),
    },
)
JOB = Kind(
    "job",
    "job",
    tables.job,
    {},
    (),
    ("car", "plate"),
    ("car", "plate", "day", "notes"),
    JobRecord,
    lambda values: {
        "car_key": found_by(values["car"], values["plate"]),
        "search": found_by(values["car"], values["plate"]) + "\n" + folded(values["notes"]),
    },
)
CARD = Kind(
    "card",
    "spray-out card",
    tables.card,
    {"colour": tables.colour, "job": tables.job},
    ("colour", "job"),
    ("mix", "batch"),
    ("job", "mix", "batch", "gun", "coats", "reducer", "undercoat", "tinted", "notes", "place"),
    CardRecord,
)
CHECK = Kind(
    "check",
    "check",
    tables.check,
    {"colour": tables.colour, "job": tables.job, "card": tables.card, "corrects": tables.check},
    ("colour", "job", "card"),
    ("verdict", "note"),
    ("colour", "job", "card", "note"),
    Kept,
    lambda values: {"note_key": folded(values["note"])},
)
TINT_STEP = Kind(
    "tint_step",
    "tint step",
    tables.tint_step,
    {"card_before": tables.card, "card_after": tables.card},
    ("card_before",),
    ("notes",),
    ("card_after", "additions", "pot_size_g", "predicted_lab", "notes"),
    TintStepRecord,
)
OUTCOME = Kind(
    "outcome",
    "outcome",
    tables.outcome,
    {"check": tables.check},
    ("check",),
    ("verdict_followed", "notes"),
    ("verdict_followed", "junction", "seen_from", "hidden", "came_back", "day", "notes"),
    OutcomeRecord,
)

POT = Kind(
    "pot",
    "pot",
    tables.pot,
    {"colour": tables.colour},
    ("colour",),
    ("name", "notes"),
    ("story", "name", "cards", "ended", "notes"),
    PotRecord,
)

PANEL = Kind(
    "panel",
    "panel",
    tables.panel,
    {"colour": tables.colour, "job": tables.job},
    ("colour", "job"),
    ("name", "notes"),
    ("job", "described", "name", "notes"),
    PanelRecord,
)

KINDS = (COLOUR, JOB, CARD, CHECK, TINT_STEP, OUTCOME, POT, PANEL)  # what a record links to comes before it
BY_TABLE = {kind.table: kind for kind in KINDS}
BY_NAME = {kind.name: kind for kind in KINDS}


@cache
def public_select(kind: Kind) -> Select[Any]:
    """Select a kind's records with public ids in place of integer keys: ``id``, ``colour``, ``job`` and so on."""
    table = kind.table
    source: Any = table
    columns: list[Any] = [table.c.uid.label("id"), *(table.c[name] for name in BOOKKEEPING[2:])]
    for name in kind.links:
        other = kind.links[name].alias(f"linked_{name}")
        source = source.outerjoin(other, table.c[f"{name}_id"] == other.c.id)
        columns.append(other.c.uid.label(name))
    return select(*columns, *kind.content_columns).select_from(source)


def record_of(kind: Kind, row: RowMapping) -> Any:
    """Make the frozen record of a row of :func:`public_select`."""
    values = {name: value for name, value in row.items() if name != "deleted_with"}
    if kind is TINT_STEP:
        values["additions"] = tuple(Addition(item["toner"], item["mass_g"]) for item in values["additions"])
        values["predicted_lab"] = tuple(values["predicted_lab"]) if values["predicted_lab"] is not None else None
    if kind is POT:
        values["cards"] = tuple(values["cards"])
    return kind.record(**values)


def absent(title: str, public_id: str) -> StoreError:
    """Return the error for a record that is not there."""
    return StoreError(f"there is no {title} with the id {public_id!r}: load the list again")


def not_live(title: str, public_id: str) -> StoreError:
    """Return the error for a deleted record that something is to be done with."""
    return StoreError(f"the {title} {public_id} is deleted: bring it back first")


def key_of(connection: Connection, table: Table, public_id: str) -> int:
    """Return the integer key of a live record, held until the transaction ends.

    Raises :class:`StoreError` when there is no such record, or it is deleted.
    """
    statement = select(table.c.id, table.c.deleted_at).where(table.c.uid == public_id)
    row = connection.execute(statement.with_for_update(read=True)).one_or_none()
    title = BY_TABLE[table].title
    if row is None:
        raise absent(title, public_id)
    if row.deleted_at is not None:
        raise not_live(title, public_id)
    return int(row.id)
