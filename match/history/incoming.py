"""Read the records of an archive into a store: what is not there yet is added, what is there is left as it is."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Table, insert, select, update

from match.errors import FileError, StoreError
from match.history import tables
from match.history.canonical import from_json, to_json
from match.history.container import ArchiveReader
from match.history.digests import seal, seal_revision
from match.history.editing import settle
from match.history.portable import (
    BATCH,
    REVISION,
    REVISION_FIELDS,
    Decoded,
    count_of,
    decoded,
    insert_revision,
    objects,
    time_of,
)
from match.history.record_kinds import BY_NAME, CHECK, KINDS, Kind
from match.history.saving import insert_parts, refresh_search
from match.history.validation import public_id


def part_name(name: str) -> str:
    """Return the archive's part for a table."""
    return f"tables/{name}.jsonl"


@dataclass
class Tally:
    """Counts of an import so far, and which records' old versions are welcome."""

    added: Counter[str] = field(default_factory=Counter)
    already_here: Counter[str] = field(default_factory=Counter)
    different: Counter[str] = field(default_factory=Counter)
    kept_ours: set[str] = field(default_factory=set)


def import_tables(
    connection: Connection,
    reader: ArchiveReader,
    entries: Mapping[str, Mapping[str, Any]],
    tally: Tally,
) -> None:
    """Add every record of the archive that is not here yet, with its old versions, inside the caller's transaction."""
    keys: dict[Table, dict[str, int]] = {}
    for kind in KINDS:
        corrections: dict[str, str] = {}
        keys[kind.table] = _keys(connection, kind)
        if kind.name not in entries:  # an archive from before there were such records
            continue
        lines = parsed_lines(reader, kind.name, entries[kind.name])
        while batch := _batch(lines, reader.limits.batch_bytes):
            corrections |= _import_batch(connection, kind, batch, keys, tally)
        _link_corrections(connection, corrections, keys[kind.table])
    _import_revisions(connection, parsed_lines(reader, REVISION, entries[REVISION]), tally)
    refresh_search(connection, CHECK.table.c.search == "")
    settle(connection)


def _batch(lines: Iterator[tuple[int, int, Any]], most_bytes: int) -> list[tuple[int, Any]]:
    """Return the next records (line number, parsed), no more than a batch and no more than so many bytes of text."""
    batch: list[tuple[int, Any]] = []
    taken = 0
    for number, size, plain in lines:
        batch.append((number, plain))
        taken += size
        if len(batch) == BATCH or taken >= most_bytes:
            break
    return batch


def _keys(connection: Connection, kind: Kind) -> dict[str, int]:
    found = connection.execute(select(kind.table.c.uid, kind.table.c.id))
    return {row.uid: row.id for row in found}


def _import_batch(
    connection: Connection,
    kind: Kind,
    batch: list[tuple[int, Any]],
    keys: dict[Table, dict[str, int]],
    tally: Tally,
) -> dict[str, str]:
    """Insert the records of a batch that are not here yet; return the corrections to link afterwards."""
    known = keys[kind.table]
    fresh: list[Decoded] = []
    here: dict[str, Any] = {}
    for number, plain in batch:
        with line_named(kind.name, number):
            record = decoded(kind, plain)
            if record.id in known:
                here[record.id] = plain
            else:
                fresh.append(record)
    if len({record.id for record in fresh}) != len(fresh):
        raise StoreError(f"{part_name(kind.name)} has a record twice: the archive is damaged, take another copy")
    _compare_with_ours(connection, kind, here, tally)
    _insert(connection, kind, fresh, keys)
    tally.added[kind.name] += len(fresh)
    return {record.id: target for record in fresh if (target := record.links.get("corrects")) is not None}


def _insert(connection: Connection, kind: Kind, fresh: Sequence[Decoded], keys: dict[Table, dict[str, int]]) -> None:
    """Insert records with their links, and note their keys; a check's correction is linked when all checks are in."""
    if not fresh:
        return
    table, now = kind.table, [name for name in kind.links if name != "corrects"]
    rows = [
        record.columns | {f"{name}_id": _key(keys[kind.links[name]], record.links[name], kind, name) for name in now}
        for record in fresh
    ]
    connection.execute(insert(table), rows)
    added = connection.execute(select(table.c.uid, table.c.id).where(table.c.uid.in_([record.id for record in fresh])))
    keys[table] |= {row.uid: row.id for row in added}
    if kind is CHECK:
        insert_parts(connection, [(keys[table][record.id], record.body, record.photos) for record in fresh])
    seal(connection, kind, [record.id for record in fresh])


def _key(known: Mapping[str, int], target: str | None, kind: Kind, name: str) -> int | None:
    if target is None:
        return None
    if target not in known:
        raise StoreError(f"a {kind.title} refers to a {name} that is not in the archive: take another copy")
    return known[target]


def _compare_with_ours(connection: Connection, kind: Kind, theirs: Mapping[str, Any], tally: Tally) -> None:
    for ours in objects(connection, kind, list(theirs)):
        if to_json(ours) == to_json(theirs[ours["id"]]):
            tally.already_here[kind.name] += 1
        else:
            tally.different[kind.name] += 1
            tally.kept_ours.add(ours["id"])


def _link_corrections(connection: Connection, corrections: Mapping[str, str], known: Mapping[str, int]) -> None:
    for later, earlier in corrections.items():
        key = _key(known, earlier, CHECK, "corrected check")
        connection.execute(update(CHECK.table).where(CHECK.table.c.id == known[later]).values(corrects_id=key))
    seal(connection, CHECK, list(corrections))


def _import_revisions(connection: Connection, lines: Iterable[tuple[int, int, Any]], tally: Tally) -> None:
    """Add old versions of the records that are here as the archive has them."""
    known = set(connection.execute(select(tables.revision.c.uid)).scalars())
    for number, _, plain in lines:
        with line_named(REVISION, number):
            _check_revision(plain)
        if plain["id"] in known:
            tally.already_here[REVISION] += 1
        elif plain["record"] not in tally.kept_ours:
            known.add(plain["id"])
            insert_revision(connection, plain)
            seal_revision(connection, plain["id"])
            tally.added[REVISION] += 1


def _check_revision(plain: Any) -> None:
    if not isinstance(plain, dict) or set(plain) != {"id", *REVISION_FIELDS}:
        raise StoreError(f"a revision does not have the fields id, {', '.join(REVISION_FIELDS)}")
    if plain["kind"] not in [*BY_NAME] or plain["change"] not in ("edit", "delete", "undelete"):  # each may be a list
        raise StoreError(f"a revision is of an unknown kind or change: {plain['kind']!r}, {plain['change']!r}")
    if not isinstance(plain["before"], dict):
        raise StoreError("a revision does not say what was there before")
    count_of(plain["number"], "a revision's number")
    public_id(plain["id"])
    public_id(plain["record"])
    time_of(plain["created_at"])


def parsed_lines(reader: ArchiveReader, name: str, entry: Mapping[str, Any]) -> Iterator[tuple[int, int, Any]]:
    """Yield (line number, bytes of the line, parsed JSON) of a table in the archive."""
    for number, line in enumerate(reader.lines(part_name(name), entry), start=1):
        try:
            plain = from_json(line.decode("utf-8"))
        except FileError as error:
            raise StoreError(f"line {number} of {part_name(name)}: {error}; nothing was changed") from None
        except (ValueError, RecursionError):
            raise StoreError(f"line {number} of {part_name(name)} is not JSON: the archive is damaged") from None
        yield number, len(line), plain


@contextmanager
def line_named(name: str, number: int) -> Iterator[None]:
    """Name the line of the archive in which something is wrong."""
    try:
        yield
    except StoreError as error:
        raise StoreError(f"line {number} of {part_name(name)}: {error}; nothing was changed") from None
