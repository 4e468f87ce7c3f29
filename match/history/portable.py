"""A record as a JSON object and back: the form in which records travel in archives and are remembered in revisions.

Links are public ids, times are ISO 8601 in UTC, dates ISO 8601, colours three numbers; nothing depends on the database.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Column, Connection, RowMapping, insert, select

from match.errors import StoreError
from match.history import tables
from match.history.canonical import clean_text
from match.history.column_types import Day
from match.history.record_kinds import CHECK, Kind, public_select
from match.history.validation import checked, moment, public_id

BATCH = 500
REVISION = "revision"
REVISION_FIELDS = ("created_at", "kind", "record", "number", "change", "before")
BODY = ("regions", "settings", "result")


def encoded(kind: Kind, row: RowMapping) -> dict[str, Any]:
    """Return a row of :func:`match.history.record_kinds.public_select` as a JSON object.

    What an earlier version did not have is left out where it is empty: a record of that version is said as it was then.
    """
    empty = {name for name in kind.later_columns if row[name] == ""}
    return {name: _encoded_value(value) for name, value in row.items() if name not in empty}


def _encoded_value(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat(timespec="microseconds").replace("+00:00", "Z")
    return value.isoformat() if isinstance(value, date) else value


def objects(connection: Connection, kind: Kind, public_ids: Sequence[str]) -> Iterator[dict[str, Any]]:
    """Yield the records of these ids as JSON objects, in the order of an archive; a check comes whole."""
    for _, plain in _objects(connection, kind, kind.table.c.uid, public_ids):
        yield plain


def every_object(connection: Connection, kind: Kind) -> Iterator[tuple[int, dict[str, Any]]]:
    """Yield (integer key, JSON object) of every record of a kind, deleted ones too, in the order of an archive."""
    table = kind.table
    keys = list(connection.execute(select(table.c.id).order_by(table.c.created_at, table.c.uid)).scalars())
    return _objects(connection, kind, table.c.id, keys)


def _objects(
    connection: Connection, kind: Kind, column: Column[Any], values: Sequence[Any]
) -> Iterator[tuple[int, dict[str, Any]]]:
    for start in range(0, len(values), BATCH):
        statement = public_select(kind).where(column.in_(values[start : start + BATCH]))
        statement = statement.add_columns(kind.table.c.id.label("key"))
        if kind is CHECK:
            body = tables.check_body
            statement = statement.add_columns(*(body.c[name] for name in BODY))
            statement = statement.outerjoin(body, body.c.check_id == kind.table.c.id)
        rows = connection.execute(statement.order_by(kind.table.c.created_at, kind.table.c.uid)).mappings().all()
        photos = _photos(connection, [row["key"] for row in rows]) if kind is CHECK else {}
        for row in rows:
            plain = encoded(kind, row)
            key = plain.pop("key")
            if kind is CHECK:
                plain["photos"] = photos.get(key, [])
            yield key, plain


def _photos(connection: Connection, keys: Sequence[int]) -> dict[int, list[dict[str, Any]]]:
    table = tables.check_photo
    found: dict[int, list[dict[str, Any]]] = {}
    statement = select(table).where(table.c.check_id.in_(keys)).order_by(table.c.check_id, table.c.position)
    for row in connection.execute(statement):
        photo = {"sha256": row.sha256, "size_bytes": row.size_bytes, "name": row.name}
        found.setdefault(row.check_id, []).append(photo)
    return found


@dataclass(frozen=True)
class Decoded:
    """A record read from an archive: its columns, its links by public id, and a check's bulky part and photos."""

    columns: dict[str, Any]
    links: dict[str, str | None]
    body: dict[str, Any]
    photos: tuple[dict[str, Any], ...]

    @property
    def id(self) -> str:
        """The public id."""
        return str(self.columns["uid"])


def decoded(kind: Kind, plain: Any) -> Decoded:
    """Check a JSON object from outside field by field.

    Raises :class:`StoreError` when a field is missing, unknown or of the wrong form.
    """
    content = {column.name: column for column in kind.content_columns}
    if isinstance(plain, dict):
        plain = dict.fromkeys(kind.later_columns, "") | plain
    bulky = (*BODY, "photos") if kind is CHECK else ()
    wanted = {"id", "created_at", "version", "deleted_at", "deleted_with", *kind.links, *content, *bulky}
    if not isinstance(plain, dict) or set(plain) != wanted:
        raise StoreError(f"a {kind.title} does not have the fields {', '.join(sorted(wanted))}")
    values = {
        name: _day(plain[name]) if isinstance(column.type, Day) else plain[name] for name, column in content.items()
    }
    links = {name: public_id(plain[name]) if plain[name] is not None else None for name in kind.links}
    for name in kind.links:
        if links[name] is None and not kind.table.c[f"{name}_id"].nullable:
            raise StoreError(f"a {kind.title} has no {name}")
    photos = photos_of(plain) if bulky else ()
    body = {name: plain[name] for name in BODY} if bulky else {}
    return Decoded(_bookkeeping(plain) | checked(kind, values), links, body, photos)


def _bookkeeping(plain: Mapping[str, Any]) -> dict[str, Any]:
    count_of(plain["version"], "a version")
    if (plain["deleted_at"] is None) != (plain["deleted_with"] is None):
        raise StoreError("a record is half deleted: deleted_at and deleted_with belong together")
    gone = plain["deleted_at"] is not None
    return {
        "uid": public_id(plain["id"]),
        "created_at": time_of(plain["created_at"]),
        "version": plain["version"],
        "deleted_at": time_of(plain["deleted_at"]) if gone else None,
        "deleted_with": public_id(plain["deleted_with"]) if gone else None,
    }


def count_of(value: Any, what: str) -> int:
    """Return a count from outside, checked."""
    if type(value) is not int or not 1 <= value < 2**31:
        raise StoreError(f"{what} is {str(value)[:40]!r}, expected a count from 1")
    return value


def time_of(value: Any) -> datetime:
    """Return a time from outside, checked."""
    try:
        return moment(datetime.fromisoformat(value), "a time")
    except (TypeError, ValueError) as error:
        if isinstance(error, StoreError):
            raise
        raise StoreError(f"a time is {value!r}, expected ISO 8601 in UTC") from None


def _day(value: Any) -> date | None:
    try:
        return None if value is None else date.fromisoformat(value)
    except (TypeError, ValueError):
        raise StoreError(f"a date is {value!r}, expected ISO 8601") from None


def photos_of(plain: Any) -> tuple[dict[str, Any], ...]:
    """Return the photos of a check from outside, checked."""
    if not isinstance(plain, dict) or not isinstance(plain.get("photos"), list):
        raise StoreError("a check has no list of photos")
    return tuple(_photo(photo) for photo in plain["photos"])


def _photo(plain: Any) -> dict[str, Any]:
    if not isinstance(plain, dict) or set(plain) != {"sha256", "size_bytes", "name"}:
        raise StoreError("a photo does not have the fields name, sha256, size_bytes")
    digest, size = plain["sha256"], plain["size_bytes"]
    if not isinstance(digest, str) or len(digest) != 64 or set(digest) - set("0123456789abcdef"):
        raise StoreError(f"a photo's SHA-256 is {digest!r}, expected 64 hexadecimal digits")
    count_of(size, "a photo's size in bytes")
    return {"sha256": digest, "size_bytes": size, "name": clean_text(plain["name"], "a photo's name", 400)}


def revision_objects(connection: Connection, only: str | None = None) -> Iterator[dict[str, Any]]:
    """Yield every revision, or only that of one public id, as a JSON object, in the order of an archive."""
    table = tables.revision
    statement = select(table).order_by(table.c.record, table.c.number, table.c.uid)
    if only is not None:
        statement = statement.where(table.c.uid == only)
    for row in connection.execute(statement.execution_options(yield_per=BATCH)).mappings():
        plain = {"id": row["uid"]} | {name: row[name] for name in REVISION_FIELDS}
        yield {name: _encoded_value(value) for name, value in plain.items()}


def insert_revision(connection: Connection, plain: Mapping[str, Any]) -> None:
    """Insert a revision from an archive."""
    values = {name: plain[name] for name in REVISION_FIELDS} | {"created_at": time_of(plain["created_at"])}
    connection.execute(insert(tables.revision).values(uid=plain["id"], **values))
