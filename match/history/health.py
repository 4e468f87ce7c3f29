"""Look at everything that is kept and say what is wrong with it."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, func, select

from match.errors import StoreError
from match.history import tables
from match.history.database import Database
from match.history.photos import PhotoFolder
from match.history.record_kinds import KINDS
from match.history.records import StoreHealth

_MOST_SENTENCES = 100


def examine(database: Database, photos: PhotoFolder) -> StoreHealth:
    """Check the database's own structure, that every check is whole, and every photo's bytes against its hash."""
    problems: list[str] = []
    checks, referenced = 0, dict[str, int]()
    try:
        with database.reading() as connection:
            if database.is_sqlite:
                problems += _structure(connection)
            problems += _torn_checks(connection)
            checks = int(connection.execute(select(func.count()).select_from(tables.check)).scalar_one())
            referenced = _photo_sizes(connection)
    except StoreError as error:
        problems.append(str(error))
    for sha256, size_bytes in referenced.items():
        state = photos.state(sha256, size_bytes)
        if state != "whole":
            problems.append(f"the photo {photos.path(sha256)} is {state}: put it back from a backup")
    unreferenced = len(photos.names() - referenced.keys())
    return StoreHealth(tuple(problems[:_MOST_SENTENCES]), checks, len(referenced), unreferenced)


def _photo_sizes(connection: Connection) -> dict[str, int]:
    photo = tables.check_photo.c
    return {row.sha256: row.size_bytes for row in connection.execute(select(photo.sha256, photo.size_bytes).distinct())}


def _structure(connection: Connection) -> Iterator[str]:
    for (line,) in connection.exec_driver_sql("PRAGMA integrity_check").all():
        if line != "ok":
            yield f"the database file is damaged ({line}): restore the latest backup into a new folder"
    if connection.exec_driver_sql("PRAGMA foreign_key_check").first() is not None:
        yield "a record refers to one that does not exist: restore the latest backup into a new folder"


def _torn_checks(connection: Connection) -> Iterator[str]:
    check, body = tables.check.c, tables.check_body.c
    without = select(check.uid).where(check.id.not_in(select(body.check_id)))
    for uid in connection.execute(without).scalars():
        yield f"the check {uid} has lost its result: restore the latest backup into a new folder"
    for kind in KINDS:
        for name in kind.owners:
            owner = kind.links[name].alias("owner")
            column = kind.table.c[f"{name}_id"]
            gone = select(owner.c.id).where(owner.c.deleted_with.is_not(None))
            live = select(func.count()).where(kind.table.c.deleted_at.is_(None), column.in_(gone))
            if connection.execute(live).scalar_one():
                yield f"a {kind.title} is kept though its {name} is deleted: delete the {name} again"
