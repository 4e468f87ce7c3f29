"""Check what is about to be kept, column by column, whether it was just typed or comes from an archive."""

import math
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime
from numbers import Real
from typing import Any

from sqlalchemy import Column, Float, String

from match.colorimetry import LARGEST_COLOUR
from match.errors import MatchError, StoreError
from match.history.canonical import clean_text
from match.history.column_types import Day, JsonText
from match.history.record_kinds import COLOUR, JOB, Kind


def checked(kind: Kind, values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the content columns of a record, each checked, with the search keys made from them.

    Raises :class:`StoreError` naming the field that cannot be kept.
    """
    kept = {
        column.name: _value(column, values[column.name], f"the {kind.title}'s {column.name}")
        for column in kind.content_columns
    }
    if kind is COLOUR and not (kept["code"].strip() or kept["name"].strip()):
        raise StoreError("the colour has neither a code nor a name: give one of them")
    if kind is JOB and not (kept["car"].strip() or kept["plate"].strip()):
        raise StoreError("the job has neither a car nor a plate: give one of them")
    return kept | kind.derive(kept)


def _value(column: Column[Any], value: Any, what: str) -> Any:
    if value is None and column.nullable:
        return None
    if isinstance(column.type, JsonText):
        rule = _RULES.get(column.name)
        return lab(value, what) if rule is None else rule(value, what)
    if isinstance(column.type, Day):
        return _day(value, what)
    if isinstance(column.type, Float):
        return number(value, what)
    if not isinstance(column.type, String):
        raise TypeError(f"no rule for a column of type {column.type!r}")
    allowed = column.info.get("one_of")
    if allowed and value not in allowed:
        raise StoreError(f"{what} is {value!r}, expected one of {', '.join(allowed)}")
    return clean_text(value, what, column.type.length or 20_000)


def number(value: Any, what: str) -> float:
    """Return a finite number as a plain float."""
    try:
        plain = float(value) if isinstance(value, Real) and not isinstance(value, bool) else math.nan
    except OverflowError:
        plain = math.inf
    if not math.isfinite(plain):
        raise StoreError(f"{what} is {str(value)[:40]!r}, expected a finite number: correct or leave it out")
    return plain


def lab(value: Any, what: str) -> list[float]:
    """Return a colour as three finite CIELAB numbers."""
    try:
        parts = list(value)
    except TypeError:
        parts = []
    if len(parts) != 3:
        raise StoreError(f"{what} is {value!r}, expected three numbers L, a, b")
    return [size(part, what, -LARGEST_COLOUR) for part in parts]


def size(value: Any, what: str, least: float = 0.0) -> float:
    """Return a number in CIELAB or CIEDE2000 units that a colour or a difference can have."""
    plain = number(value, what)
    if not least <= plain <= LARGEST_COLOUR:
        raise StoreError(f"{what} is {plain:g}, which no colour has: correct or leave it out")
    return plain


def additions(value: Any, what: str = "the additions") -> list[dict[str, Any]]:
    """Return the toners added and their mass in grams, none of them negative."""
    kept = []
    for item in value if isinstance(value, list | tuple) else [value]:
        if not isinstance(item, Mapping) or set(item) != {"toner", "mass_g"}:
            raise StoreError(f"an addition is {item!r}, expected a toner and its mass in grams")
        mass_g = number(item["mass_g"], "the mass of an addition")
        if mass_g < 0.0:
            raise StoreError(f"the mass of an addition is {mass_g} g: toner cannot be taken out, give 0 or more")
        kept.append({"toner": clean_text(item["toner"], "the toner of an addition", 200), "mass_g": mass_g})
    return kept


def story(value: Any, what: str) -> dict[str, Any]:
    """Return a pot's story as the JSON object that it is, refused where it cannot be gone on with."""
    from match.tint.story import story_from  # here, since a history without pots needs none of it

    try:
        story_from(value, what)
        return dict(value)
    except MatchError as error:
        raise StoreError(str(error)) from None


def described(value: Any, _what: str) -> dict[str, Any]:
    """Return a panel's description as the JSON object that it is, refused where it cannot be planned with."""
    from match.blend.panel_record import panel_as_record, panel_from  # here: a history without panels needs none of it

    try:
        return panel_as_record(panel_from(value))
    except MatchError as error:
        raise StoreError(str(error)) from None


def cards(value: Any, what: str) -> list[str]:
    """Return public ids of cards."""
    if not isinstance(value, list | tuple):
        raise StoreError(f"{what} are {str(value)[:40]!r}, expected a list of ids")
    return [public_id(each) for each in value]


def public_id(value: Any) -> str:
    """Return a public id from outside, checked."""
    if not isinstance(value, str) or len(value) != 32 or set(value) - set("0123456789abcdef"):
        raise StoreError(f"an id is {value!r}, expected 32 hexadecimal digits")
    return value


def _day(value: Any, what: str) -> date:
    if not isinstance(value, date) or isinstance(value, datetime):
        raise StoreError(f"{what} is {value!r}, expected a date")
    return value


def moment(value: Any, what: str) -> datetime:
    """Return a time as UTC; a time without a zone could mean anything, and is refused."""
    if not isinstance(value, datetime) or value.utcoffset() is None:
        raise StoreError(f"{what} is {value!r}, expected a time with its time zone")
    try:
        return value.astimezone(UTC)
    except OverflowError:
        raise StoreError(f"{what} is {value!r}, which is out of range: correct the clock") from None


_RULES: Mapping[str, Callable[[Any, str], Any]] = {
    "additions": additions,
    "story": story,
    "cards": cards,
    "described": described,
}
"""How a column of JSON is checked; any other holds a colour."""
