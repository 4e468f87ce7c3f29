"""The kinds of record, described once, so that saving, editing, deleting, export and import treat them alike."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from functools import cache, cached_property
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
    """A kind of record: its table, its record, and the search keys made from its fields.

    ``caption`` are the fields by which a person knows the record; ``owners`` the links that take it along when what
    they link to is deleted, first the one that is never edited; ``called`` says what it is called where that is not its
    name.
    """

    name: str
    table: Table
    record: type[Kept]
    caption: tuple[str, ...]
    owners: tuple[str, ...] = ()
    called: str = ""
    derive: Callable[[Mapping[str, Any]], dict[str, Any]] = lambda _values: {}

    @property
    def title(self) -> str:
        """What a person calls it."""
        return self.called or self.name.replace("_", " ")

    @property
    def editable(self) -> set[str]:
        """The fields that may be edited: all that the user gave but the first owner."""
        return {each.name for each in fields(self.record)} - {each.name for each in fields(Kept)} - {*self.owners[:1]}

    @cached_property
    def links(self) -> Mapping[str, Table]:
        """The tables that its own links to, by the name of each link."""
        keys = [(column.name, key.column.table) for column in self.table.columns for key in column.foreign_keys]
        return {name.removesuffix("_id"): target for name, target in keys}

    @property
    def content_columns(self) -> list[Column[Any]]:
        """The columns that hold what the user gave: neither bookkeeping, links nor search keys."""
        return [
            column
            for column in self.table.columns
            if column.name not in BOOKKEEPING and not column.foreign_keys and not column.info.get("derived")
        ]

    @property
    def later_columns(self) -> tuple[str, ...]:
        """The columns that an earlier version did not have; see :data:`match.history.tables.LATER`."""
        return tuple(column.name for column in self.table.columns if column.info.get("later"))


COLOUR = Kind(
    "colour",
    tables.colour,
    ColourRecord,
    ("code", "name"),
    derive=lambda values: {
        "code_key": code_key(values["code"]),
        "name_key": found_by(values["name"]),
        "search": found_by(values["code"], values["name"]) + "\n" + folded(values["finish"], values["notes"]),
    },
)
JOB = Kind(
    "job",
    tables.job,
    JobRecord,
    ("car", "plate"),
    derive=lambda values: {
        "car_key": found_by(values["car"], values["plate"]),
        "search": found_by(values["car"], values["plate"]) + "\n" + folded(values["notes"]),
    },
)
CARD = Kind("card", tables.card, CardRecord, ("mix", "batch"), owners=("colour", "job"), called="spray-out card")
CHECK = Kind(
    "check",
    tables.check,
    Kept,
    ("verdict", "note"),
    owners=("colour", "job", "card"),
    derive=lambda values: {"note_key": folded(values["note"])},
)
TINT_STEP = Kind("tint_step", tables.tint_step, TintStepRecord, ("notes",), owners=("card_before",))
OUTCOME = Kind("outcome", tables.outcome, OutcomeRecord, ("verdict_followed", "notes"), owners=("check",))
POT = Kind("pot", tables.pot, PotRecord, ("name", "notes"), owners=("colour",))
PANEL = Kind("panel", tables.panel, PanelRecord, ("name", "notes"), owners=("colour", "job"))

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
