"""Find checks, colours and jobs: every list comes in pages, newest first."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from functools import cache
from typing import Any

from sqlalchemy import Connection, RowMapping, Select, func, select

from match.errors import StoreError
from match.history import tables
from match.history.canonical import folded
from match.history.check_fields import CheckFields, holds, matching_checks
from match.history.photos import PhotoFolder
from match.history.portable import objects
from match.history.readable import fault_in, fault_in_line, known_as, readable, refusal, require_readable
from match.history.record_kinds import CHECK, COLOUR, JOB, KINDS, Kind, absent, public_select, record_of
from match.history.records import (
    CheckRecord,
    CheckRow,
    ColourRecord,
    DeletedRecord,
    JobRecord,
    Lab,
    Page,
    PhotoRef,
    UnreadableRecord,
)

MOST_PER_PAGE = 500
MOST_PAGES = 10**12
"""A database counts lines in 64 bits."""

_INDEXED = ("verdict", "date_from", "date_to")


def page_bounds(page: int, per_page: int) -> tuple[int, int]:
    """Return (limit, offset) of a page counted from 1.

    Raises :class:`StoreError` when the page or its length is out of range.
    """
    if not 1 <= page <= MOST_PAGES or not 1 <= per_page <= MOST_PER_PAGE:
        raise StoreError(f"page {page} of {per_page} lines: count pages from 1, with 1 to {MOST_PER_PAGE} lines")
    return per_page, (page - 1) * per_page


def find_checks(connection: Connection, wanted: CheckFields, page: int, per_page: int) -> Page[CheckRow]:
    """List the checks that match, newest first."""
    limit, offset = page_bounds(page, per_page)
    indexed = all(name in _INDEXED for name, value in wanted.items() if value)
    find_keys = _in_order if indexed else _gathered
    keys, total = find_keys(connection, matching_checks(wanted), limit, offset)
    rows, broken = parted(check_lines(connection, keys))
    return Page(tuple(rows), page, per_page, total, broken)


def _in_order(connection: Connection, matching: Select[Any], limit: int, offset: int) -> tuple[list[int], int]:
    """Return one page of keys, newest first, and the number of all, where an index in that order answers both."""
    check = tables.check.c
    total = connection.execute(matching.with_only_columns(func.count())).scalar_one()
    newest_first = matching.order_by(check.created_at.desc(), check.id.desc()).limit(limit).offset(offset)
    return [row.id for row in connection.execute(newest_first)], int(total)


def _gathered(connection: Connection, matching: Select[Any], limit: int, offset: int) -> tuple[list[int], int]:
    """Return the same from one gathering of all that match.

    Asked for a page in order, a database may walk the whole index of times and try every check on the way.
    """
    hits = matching.cte("hits")  # named twice below, so both databases make it once and keep it
    total = select(func.count()).select_from(hits).scalar_subquery()
    newest_first = select(hits.c.id, total.label("total")).order_by(hits.c.created_at.desc(), hits.c.id.desc())
    rows = connection.execute(newest_first.limit(limit).offset(offset)).all()
    if not rows and offset:
        return [], int(connection.execute(matching.with_only_columns(func.count())).scalar_one())
    return [row.id for row in rows], int(rows[0].total) if rows else 0


def every_check(connection: Connection, wanted: CheckFields) -> Iterator[CheckRow | UnreadableRecord]:
    """Yield every check that matches, newest first, one that cannot be read as such."""
    check = tables.check.c
    newest_first = matching_checks(wanted).order_by(check.created_at.desc(), check.id.desc())
    keys = [row.id for row in connection.execute(newest_first)]
    for start in range(0, len(keys), MOST_PER_PAGE):
        yield from check_lines(connection, keys[start : start + MOST_PER_PAGE])


@cache
def _check_select() -> Select[Any]:
    """Select checks as lists show them, with what they belong to."""
    check, colour, job, card = tables.check, tables.colour, tables.job, tables.card
    corrected, newer = check.alias("corrected"), check.alias("newer")
    correction = (
        select(newer.c.uid)
        .where(newer.c.corrects_id == check.c.id, newer.c.deleted_at.is_(None))
        .order_by(newer.c.id.desc())
        .limit(1)
        .scalar_subquery()
    )
    source = (
        check.outerjoin(colour, check.c.colour_id == colour.c.id)
        .outerjoin(job, check.c.job_id == job.c.id)
        .outerjoin(card, check.c.card_id == card.c.id)
        .outerjoin(corrected, check.c.corrects_id == corrected.c.id)
    )
    return select(
        check,
        colour.c.uid.label("colour"),
        colour.c.code,
        colour.c.name.label("colour_name"),
        colour.c.finish,
        job.c.uid.label("job"),
        job.c.car,
        job.c.plate,
        card.c.uid.label("card"),
        corrected.c.uid.label("corrects"),
        correction.label("corrected_by"),
    ).select_from(source)


_SAME_NAME = (
    *("created_at", "version", "deleted_at", "verdict", "delta_e00", "note"),
    *("colour", "job", "card", "corrects", "corrected_by"),
    *("method_version", "tolerances_version", "tolerances_hash"),
)


def _row_values(row: RowMapping) -> dict[str, Any]:
    values: dict[str, Any] = {name: row[name] for name in _SAME_NAME}
    values |= {name: row[name] or "" for name in ("code", "colour_name", "finish", "car", "plate")}
    low, high = row["delta_e00_low"], row["delta_e00_high"]
    values["id"] = row["uid"]
    values["delta_e00_interval"] = None if low is None else (low, high)
    for name in ("card", "vehicle"):
        values[f"{name}_lab"] = _lab(row[f"{name}_l"], row[f"{name}_a"], row[f"{name}_b"])
    return values


def _lab(lightness: float | None, a: float | None, b: float | None) -> Lab | None:
    return None if lightness is None or a is None or b is None else (lightness, a, b)


def check_lines(connection: Connection, keys: Sequence[int]) -> list[CheckRow | UnreadableRecord]:
    """Return the checks of these integer keys in their order, one that cannot be read as such."""
    if not keys:
        return []
    rows = connection.execute(_check_select().where(tables.check.c.id.in_(keys))).mappings().all()
    by_key = {row["id"]: _check_line(row) for row in rows}
    return [by_key[key] for key in keys]


def _check_line(row: RowMapping) -> CheckRow | UnreadableRecord:
    values = _row_values(row)
    fault = fault_in_line(values)
    if fault is not None:
        return UnreadableRecord(CHECK.name, known_as(values["id"], row["id"]), fault)
    return CheckRow(**values)


def parted(lines: Iterable[CheckRow | UnreadableRecord]) -> tuple[list[CheckRow], tuple[UnreadableRecord, ...]]:
    """Part the checks that can be read from the others."""
    rows: list[CheckRow] = []
    broken: list[UnreadableRecord] = []
    for line in lines:
        if isinstance(line, CheckRow):
            rows.append(line)
        else:
            broken.append(line)
    return rows, tuple(broken)


def get_check(connection: Connection, photos: PhotoFolder, public_id: str) -> CheckRecord:
    """Return a whole check, deleted or not, with the state of each of its photos."""
    row = connection.execute(_check_select().where(tables.check.c.uid == public_id)).mappings().one_or_none()
    if row is None:
        raise absent(CHECK.title, public_id)
    whole = next(objects(connection, CHECK, [public_id]))
    if (fault := fault_in(CHECK, whole)) is not None:
        raise StoreError(refusal(CHECK, public_id, fault))
    body = connection.execute(select(tables.check_body).where(tables.check_body.c.check_id == row["id"])).one()
    shots = tables.check_photo
    listed = connection.execute(select(shots).where(shots.c.check_id == row["id"]).order_by(shots.c.position)).all()
    return CheckRecord(
        **_row_values(row),
        photos=tuple(
            PhotoRef(shot.sha256, shot.size_bytes, shot.name, photos.state(shot.sha256, shot.size_bytes))
            for shot in listed
        ),
        regions=body.regions,
        settings=body.settings,
        result=body.result,
    )


def checks_of_photo(connection: Connection, sha256: str) -> tuple[CheckRow, ...]:
    """Return the live checks that rest on a photo, newest first; one that cannot be read is passed over."""
    check, shot = tables.check.c, tables.check_photo.c
    of_photo = select(shot.check_id).where(shot.sha256 == sha256)
    live = select(check.id).where(check.id.in_(of_photo), check.deleted_at.is_(None))
    keys = connection.execute(live.order_by(check.created_at.desc(), check.id.desc()).limit(MOST_PER_PAGE)).scalars()
    return tuple(parted(check_lines(connection, list(keys)))[0])


def get_record(connection: Connection, kind: Kind, public_id: str) -> Any:
    """Return one record that is not a check, deleted or not."""
    row = connection.execute(public_select(kind).where(kind.table.c.uid == public_id)).mappings().one_or_none()
    if row is None:
        raise absent(kind.title, public_id)
    require_readable(kind, row)
    return record_of(kind, row)


def colours_of(connection: Connection, rows: Sequence[CheckRow]) -> dict[str, ColourRecord]:
    """Return the colours of these checks by public id."""
    wanted = {row.colour for row in rows if row.colour is not None}
    statement = public_select(COLOUR).where(tables.colour.c.uid.in_(wanted))
    return {found.id: found for found in readable(COLOUR, connection.execute(statement).mappings())[0]}


def find_colours(connection: Connection, text: str, page: int, per_page: int) -> Page[ColourRecord]:
    """List the colours in whose code, name, finish or notes every word is found."""
    return _listed(connection, COLOUR, text, page, per_page)


def find_jobs(connection: Connection, text: str, page: int, per_page: int) -> Page[JobRecord]:
    """List the jobs in whose car, plate or notes every word is found."""
    return _listed(connection, JOB, text, page, per_page)


def _listed(connection: Connection, kind: Kind, text: str, page: int, per_page: int) -> Page[Any]:
    limit, offset = page_bounds(page, per_page)
    table = kind.table
    words = [holds(table.c.search, word) for word in folded(text).split()]
    live = [table.c.deleted_at.is_(None), *words]
    total = connection.execute(select(func.count()).select_from(table).where(*live)).scalar_one()
    newest_first = public_select(kind).where(*live).order_by(table.c.created_at.desc(), table.c.id.desc())
    found, broken = readable(kind, connection.execute(newest_first.limit(limit).offset(offset)).mappings())
    return Page(found, page, per_page, int(total), broken)


def newest(connection: Connection, kind: Kind, most: int) -> tuple[tuple[Any, ...], tuple[UnreadableRecord, ...]]:
    """Return the newest live records of a kind, and those among them that cannot be read."""
    table = kind.table
    statement = public_select(kind).where(table.c.deleted_at.is_(None))
    latest = statement.order_by(table.c.created_at.desc(), table.c.id.desc()).limit(most)
    return readable(kind, connection.execute(latest).mappings())


def linked_records(
    connection: Connection, kind: Kind, link: str, public_id: str
) -> tuple[tuple[Any, ...], tuple[UnreadableRecord, ...]]:
    """Return the live records of a kind that link to this one, oldest first, and those that cannot be read."""
    table, target = kind.table, kind.links[link]
    key = select(target.c.id).where(target.c.uid == public_id).scalar_subquery()
    statement = public_select(kind).where(table.c[f"{link}_id"] == key, table.c.deleted_at.is_(None))
    return readable(kind, connection.execute(statement.order_by(table.c.created_at, table.c.id)).mappings())


def find_deleted(connection: Connection) -> tuple[DeletedRecord, ...]:
    """Return what was deleted by name, newest deletion first; what went along with it comes back with it."""
    found = []
    for kind in KINDS:
        table = kind.table
        own = select(table.c.uid, table.c.deleted_at, *(table.c[name] for name in kind.caption)).where(
            table.c.deleted_with.is_not(None), table.c.deleted_with == table.c.uid
        )
        for row in connection.execute(own).mappings():
            caption = " ".join(row[name] for name in kind.caption if row[name] and isinstance(row[name], str))
            if isinstance(row["deleted_at"], datetime):
                found.append(DeletedRecord(kind.name, row["uid"], caption, row["deleted_at"]))
    return tuple(sorted(found, key=lambda record: (record.deleted_at, record.id), reverse=True))
