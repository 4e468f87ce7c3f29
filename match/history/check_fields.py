"""Which checks a search means: its fields as conditions of the database."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any, TypedDict

from sqlalchemy import Column, ColumnElement, Select, and_, func, or_, select

from match.errors import StoreError
from match.history import tables
from match.history.canonical import code_key, compact, folded
from match.history.record_kinds import CHECK
from match.history.validation import moment

_AFTER_ALL_TEXT = "\U0010ffff"


class CheckFields(TypedDict, total=False):
    """Which checks to list; a field left out or empty does not narrow.

    ``code`` is the start of a paint code, punctuation and case ignored; ``colour`` part of a colour's name; ``car``
    part of a car or plate; ``text`` words that must all be found in the code, name, finish, car, plate or notes.
    A date means the whole day in UTC, both ends included; ``date_to`` given as a time is itself left out.
    ``colour_id``, ``job_id`` and ``card_id`` are public ids.
    """

    code: str
    colour: str
    car: str
    text: str
    date_from: date | datetime | None
    date_to: date | datetime | None
    verdict: str
    colour_id: str | None
    job_id: str | None
    card_id: str | None


def matching_checks(wanted: CheckFields) -> Select[Any]:
    """Select key and time of the live checks that match.

    A search for text reads the whole table. It says "live" in a way that no partial index answers, since SQLite would
    rather walk such an index and fetch every row by itself, six times slower.
    """
    check = tables.check.c
    words = folded(wanted.get("text", "")).split()
    live = func.coalesce(check.deleted_with, "") == "" if words else check.deleted_at.is_(None)
    holding = [holds(check.search, word) for word in words]
    return select(check.id, check.created_at).where(live, *_conditions(wanted), *holding)


def _conditions(wanted: CheckFields) -> list[ColumnElement[bool]]:
    if unknown := wanted.keys() - CheckFields.__annotations__.keys():
        raise TypeError(f"checks cannot be searched by {', '.join(sorted(unknown))}")
    check, colour, job = tables.check.c, tables.colour.c, tables.job.c
    conditions = _code_condition(wanted.get("code", "")) + _span(wanted.get("date_from"), wanted.get("date_to"))
    if name := wanted.get("colour", "").strip():
        conditions.append(check.colour_id.in_(select(colour.id).where(holds(colour.name_key, name))))
    if car := wanted.get("car", "").strip():
        conditions.append(check.job_id.in_(select(job.id).where(holds(job.car_key, car))))
    if verdict := wanted.get("verdict"):
        conditions.append(check.verdict == verdict)
    ids = {"colour": wanted.get("colour_id"), "job": wanted.get("job_id"), "card": wanted.get("card_id")}
    for link, public_id in ids.items():
        if public_id is not None:
            target = CHECK.links[link]
            key = select(target.c.id).where(target.c.uid == public_id).scalar_subquery()
            conditions.append(check[f"{link}_id"] == key)
    return conditions


def _code_condition(code: str) -> list[ColumnElement[bool]]:
    start, colour = code_key(code), tables.colour.c
    if not start and code.strip():
        raise StoreError(f"the code {code!r} has neither letters nor digits: type part of the code")
    if not start:
        return []
    of_code = and_(colour.code_key >= start, colour.code_key < start + _AFTER_ALL_TEXT)
    return [tables.check.c.colour_id.in_(select(colour.id).where(of_code))]


def holds(column: Column[Any], part: str) -> ColumnElement[bool]:
    """Say that search words hold a part, as it was typed or by its letters and digits alone."""
    typed, plain = folded(part).strip(), compact(part)
    holds = column.contains(typed, autoescape=True)
    return holds if plain in ("", typed) else or_(holds, column.contains(plain, autoescape=True))


def _span(first: date | datetime | None, last: date | datetime | None) -> list[ColumnElement[bool]]:
    created_at = tables.check.c.created_at
    conditions = []
    if first is not None:
        conditions.append(created_at >= _start(first))
    if isinstance(last, datetime):
        conditions.append(created_at < _start(last))
    elif last is not None and last < date.max:
        conditions.append(created_at < _start(last + timedelta(days=1)))
    return conditions


def _start(when: date | datetime) -> datetime:
    return moment(when if isinstance(when, datetime) else datetime.combine(when, time(), UTC), "the date to search by")
