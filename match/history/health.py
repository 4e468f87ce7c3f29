"""Look at everything that is kept and say what is wrong with it."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from sqlalchemy import Connection, func, select

from match.errors import StoreError
from match.history import tables
from match.history.database import Database
from match.history.digests import digest_of, noted
from match.history.photos import PhotoFolder
from match.history.portable import REVISION, every_object, revision_objects
from match.history.readable import ADVICE, fault_in, fault_in_revision, known_as
from match.history.record_kinds import KINDS
from match.history.records import StoreHealth
from match.history.scratch import leftovers


def examine(database: Database, photos: PhotoFolder) -> StoreHealth:
    """Check the database's own structure, every record against its digest, and every photo's bytes against its hash."""
    problems: list[str] = []
    records, checks, referenced = [0], 0, dict[Any, Any]()
    try:
        with database.reading() as connection:
            if database.is_sqlite:
                problems += _structure(connection)
            for sentence in (*_records(connection, records), *_live_without_owner(connection)):
                problems.append(sentence)
            checks = int(connection.execute(select(func.count()).select_from(tables.check)).scalar_one())
            referenced = _photo_sizes(connection)
    except StoreError as error:
        problems.append(str(error))
    for sha256, size_bytes in referenced.items():
        try:
            state = photos.state(sha256, size_bytes)
        except StoreError as error:
            problems.append(str(error))
            continue
        if state != "whole":
            problems.append(f"the photo {photos.called(sha256)} is {state}: put it back from a backup")
    unreferenced = len(photos.names() - referenced.keys())
    left = tuple(str(path) for path in leftovers(photos.root.parent))
    return StoreHealth(tuple(problems), records[0], checks, len(referenced), unreferenced, left)


def _photo_sizes(connection: Connection) -> dict[str, int]:
    """Return the photos that checks refer to; a name that is none is told with its check."""
    photo = tables.check_photo.c
    rows = connection.execute(select(photo.sha256, photo.size_bytes).distinct())
    return {row.sha256: row.size_bytes for row in rows if isinstance(row.sha256, str)}


def _structure(connection: Connection) -> Iterator[str]:
    for (line,) in connection.exec_driver_sql("PRAGMA integrity_check").all():
        if line != "ok":
            yield f"the database file is damaged ({line}): {ADVICE}"
    if connection.exec_driver_sql("PRAGMA foreign_key_check").first() is not None:
        yield f"a record refers to one that does not exist: {ADVICE}"


def _records(connection: Connection, count: list[int]) -> Iterator[str]:
    for kind in KINDS:
        found = (
            (known_as(plain["id"], key), plain, fault_in(kind, plain)) for key, plain in every_object(connection, kind)
        )
        yield from _against_digests(connection, kind.name, kind.title, found, count)
    versions = ((known_as(plain["id"]), plain, fault_in_revision(plain)) for plain in revision_objects(connection))
    yield from _against_digests(connection, REVISION, "old version", versions, count)


def _against_digests(
    connection: Connection,
    kind: str,
    title: str,
    found: Iterable[tuple[str, Mapping[str, Any], str | None]],
    count: list[int],
) -> Iterator[str]:
    """Yield what is wrong with the records (name, as JSON object, fault) of a kind, and which of them are lost."""
    digests = noted(connection, kind)
    for name, plain, fault in found:
        count[0] += 1
        digest = digests.pop(name, None)
        if fault is not None:
            yield f"the {title} {name} cannot be read, {fault}: {ADVICE}"
        elif digest is None:
            yield f"the {title} {name} was not written by this program: look at it, or {ADVICE}"
        elif digest != digest_of(plain):
            yield f"the {title} {name} is no longer what was saved: {ADVICE}"
    for name in digests:
        yield f"the {title} {name} is lost: {ADVICE}"


def _live_without_owner(connection: Connection) -> Iterator[str]:
    for kind in KINDS:
        for name in kind.owners:
            owner = kind.links[name].alias("owner")
            column = kind.table.c[f"{name}_id"]
            gone = select(owner.c.id).where(owner.c.deleted_with.is_not(None))
            live = select(func.count()).where(kind.table.c.deleted_at.is_(None), column.in_(gone))
            if connection.execute(live).scalar_one():
                yield f"a {kind.title} is kept though its {name} is deleted: delete the {name} again"
