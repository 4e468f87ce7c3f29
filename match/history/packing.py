"""The records of an export: all that can be read, and by name those that cannot."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, select

from match.history.portable import REVISION, every_object, objects, revision_objects
from match.history.readable import fault_in, fault_in_revision, known_as
from match.history.record_kinds import KINDS, Kind
from match.history.records import UnreadableRecord


@dataclass
class LeftOut:
    """What an export could not pack: whole records, and links to them from records that it packed."""

    records: list[UnreadableRecord] = field(default_factory=list)
    links: list[UnreadableRecord] = field(default_factory=list)
    ids: set[str] = field(default_factory=set)

    def note(self, kind: str, public_id: str, fault: str) -> None:
        """Leave a record out."""
        self.records.append(UnreadableRecord(kind, public_id, fault))
        self.ids.add(public_id)


def everything(connection: Connection, left_out: LeftOut) -> Iterator[tuple[str, Iterator[dict[str, Any]]]]:
    """Yield (kind, its records as JSON objects) for every table, in the order of an archive."""
    for kind in KINDS:
        yield kind.name, _records(connection, kind, left_out)
    yield REVISION, _revisions(connection, left_out)


def _records(connection: Connection, kind: Kind, left_out: LeftOut) -> Iterator[dict[str, Any]]:
    gone = left_out.ids | _unreadable_targets(connection, kind)
    for key, plain in every_object(connection, kind):
        fault = fault_in(kind, plain) or _lost_owner(kind, plain, gone)
        if fault is not None:
            left_out.note(kind.name, known_as(plain["id"], key), fault)
            continue
        for name in kind.links:
            if plain[name] in gone:
                plain[name] = None
                left_out.links.append(UnreadableRecord(kind.name, plain["id"], name))
        yield plain


def _unreadable_targets(connection: Connection, kind: Kind) -> set[str]:
    """Return which records cannot be read of those that others of their own kind link to, and may come before."""
    table = kind.table
    own = [table.c[f"{name}_id"] for name, target in kind.links.items() if target is table]
    named = [select(link).where(link.is_not(None)) for link in own]
    ids = [uid for one in named for uid in connection.execute(select(table.c.uid).where(table.c.id.in_(one))).scalars()]
    known = [uid for uid in ids if isinstance(uid, str)]
    return {plain["id"] for plain in objects(connection, kind, known) if fault_in(kind, plain) is not None}


def _lost_owner(kind: Kind, plain: dict[str, Any], gone: set[str]) -> str | None:
    for name in kind.links:
        if plain[name] in gone and not kind.table.c[f"{name}_id"].nullable:
            return f"its {name.replace('_', ' ')} cannot be read"
    return None


def _revisions(connection: Connection, left_out: LeftOut) -> Iterator[dict[str, Any]]:
    for plain in revision_objects(connection):
        fault = fault_in_revision(plain)
        if fault is None:
            yield plain
        else:
            left_out.note(REVISION, known_as(plain["id"]), fault)
