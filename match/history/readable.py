"""Whether a kept record can be read, and the records of rows that can; one that cannot hides no other."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from math import isfinite
from typing import Any

from sqlalchemy import RowMapping

from match.errors import StoreError
from match.history.canonical import Unreadable, to_json
from match.history.portable import BODY, REVISION_FIELDS, decoded, encoded, time_of
from match.history.record_kinds import CHECK, Kind, record_of
from match.history.records import UnreadableRecord
from match.history.validation import public_id

ADVICE = "restore the latest backup into a new folder"


def fault_in(kind: Kind, plain: Mapping[str, Any]) -> str | None:
    """Return what is wrong with a record as a JSON object of :mod:`match.history.portable`, or None."""
    fault = _unreadable(plain)
    if fault is not None:
        return fault
    try:
        decoded(kind, _whole(kind, plain))
        if not isinstance(plain.get("result", {}), dict):
            return "its result is not a table"
        to_json({name: plain[name] for name in BODY if name in plain})
    except StoreError as error:
        return str(error)
    return None


def _whole(kind: Kind, plain: Mapping[str, Any]) -> dict[str, Any]:
    """Return a check without its bulky part, as lists read it, with an empty one."""
    empty: dict[str, Any] = {"photos": [], **dict.fromkeys(BODY)} if kind is CHECK else {}
    return empty | dict(plain)


def fault_in_revision(plain: Mapping[str, Any]) -> str | None:
    """Return what is wrong with an old version of a record, or None."""
    fault = _unreadable(plain)
    if fault is not None:
        return fault
    try:
        public_id(plain["id"])
        public_id(plain["record"])
        time_of(plain["created_at"])
    except StoreError as error:
        return str(error)
    wrong = [name for name in REVISION_FIELDS if not isinstance(plain[name], _REVISION_TYPES[name])]
    return f"its {wrong[0]} is of the wrong kind" if wrong else None


_REVISION_TYPES = {"created_at": str, "kind": str, "record": str, "number": int, "change": str, "before": dict}


def _unreadable(plain: Mapping[str, Any]) -> str | None:
    for name, value in plain.items():
        values = value if isinstance(value, list) else [value]
        for each in (part for item in values for part in (item.values() if isinstance(item, dict) else [item])):
            if isinstance(each, Unreadable):
                return f"its {name} cannot be read ({each.why})"
    return None


def known_as(public_id: Any, key: int | None = None) -> str:
    """Return by what a record is called: its public id, or its number where that cannot be read."""
    return public_id if isinstance(public_id, str) and public_id.isalnum() else f"number {key}"


def readable(kind: Kind, rows: Iterable[RowMapping]) -> tuple[tuple[Any, ...], tuple[UnreadableRecord, ...]]:
    """Return the records of rows of :func:`match.history.record_kinds.public_select`, and those that are none now."""
    records, broken = [], []
    for row in rows:
        fault = fault_in(kind, encoded(kind, row))
        if fault is None:
            records.append(record_of(kind, row))
        else:
            broken.append(UnreadableRecord(kind.name, known_as(row["id"]), fault))
    return tuple(records), tuple(broken)


def require_readable(kind: Kind, row: RowMapping) -> None:
    """Refuse a row of :func:`match.history.record_kinds.public_select` that is no record any more."""
    fault = fault_in(kind, encoded(kind, row))
    if fault is not None:
        raise StoreError(refusal(kind, row["id"], fault))


def refusal(kind: Kind, public_id: str, fault: str) -> str:
    """Return the sentence about a record that cannot be read."""
    return f"the {kind.title} {public_id} cannot be read, {fault}: {ADVICE}; the other records stay usable"


def fault_in_line(values: Mapping[str, Any]) -> str | None:
    """Return what is wrong with the values of a :class:`match.history.records.CheckRow`, or None."""
    for name, value in values.items():
        if value is None and name in _MAY_BE_MISSING:
            continue
        for part in value if isinstance(value, tuple) else (value,):
            if not _as_meant(name, part):
                return f"its {name} cannot be read"
    return None


_TIMES = ("created_at", "deleted_at")
_NUMBERS = ("delta_e00", "delta_e00_interval", "card_lab", "vehicle_lab")
_MAY_BE_MISSING = ("deleted_at", *_NUMBERS, "colour", "job", "card", "corrects", "corrected_by")


def _as_meant(name: str, value: Any) -> bool:
    if name in _TIMES:
        return isinstance(value, datetime)
    if name in _NUMBERS:
        return isinstance(value, float | int) and isfinite(value)
    return isinstance(value, int if name == "version" else str)
