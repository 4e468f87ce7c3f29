"""What a calibration number can be: the range of its unit, its own range, and its order among its neighbours.

A slip of the decimal point in a shop's own file is the likeliest fault of all, and it turns *retint* into *go*. So a
shop's number must lie in the range that the shipped file gives it, or where that gives none within half a decimal place
of the shipped number; only the shipped files say what is plausible, never the file that is being looked at.
"""

import math
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

SLACK = math.sqrt(10.0)
"""Engineering choice: a slip of the decimal point is a factor of ten; half of it, as a logarithm, is still let pass."""

Range = tuple[float, float]
Keys = tuple[str, ...]


@dataclass(frozen=True)
class Fault:
    """An entry that cannot be right, and what is wrong with it."""

    keys: Keys
    words: str


def entries(table: Mapping[str, Any], above: Keys = ()) -> Iterator[tuple[Keys, Mapping[str, Any]]]:
    """Yield every entry of a parsed file that holds a number (``value`` or ``same_as``), with the keys to it."""
    for key, entry in table.items():
        if isinstance(entry, Mapping):
            keys = (*above, key)
            if entry.keys() & {"value", "same_as"}:
                yield keys, entry
            else:
                yield from entries(entry, keys)


def numbers(value: Any) -> tuple[float, ...] | None:
    """Return the numbers of an entry's value, None where it is not a finite number or a list of them."""
    items = value if isinstance(value, list) else [value]
    if any(isinstance(item, bool) or not isinstance(item, int | float) or not math.isfinite(item) for item in items):
        return None
    return tuple(float(item) for item in items)


def fault_in(
    table: Mapping[str, Any], shipped: Mapping[str, Any], value_of: Callable[[Mapping[str, Any]], Any]
) -> Fault | None:
    """Return the first number of a file that cannot be right by what the shipped file of that name says, or None.

    Parameters
    ----------
    table : the parsed file, a shop's own or the shipped one itself
    shipped : the parsed shipped file
    value_of : the value of an entry, also where it stands elsewhere (``same_as``)
    """
    known = dict(entries(shipped))
    found = {keys: numbers(value_of(entry)) for keys, entry in entries(table)}
    for keys, values in found.items():
        if values is None or keys not in known:
            continue  # of another kind, or a thing of the shop's own: its unit says what it can be
        for value, (low, high) in zip(values, _ranges_of(known[keys], value_of, len(values)), strict=True):
            if not low <= value <= high:
                return Fault(keys, outside(value, (low, high)))
        if known[keys].get("rising") and any(later <= earlier for earlier, later in pairwise(values)):
            return Fault(keys, "must rise from each number to the next")
        least = known[keys].get("at_least")
        other = found.get(tuple(least.split("."))) if least else None
        if other and values and values[0] < other[0]:
            return Fault(keys, f"is {values[0]:g}, less than {least}, which is {other[0]:g}")
    return None


def outside(value: float, plausible: Range) -> str:
    """Return in words that a value lies outside its plausible range."""
    low, high = plausible
    if low == -math.inf:
        return f"is {value:g}, and more than {high:g} is not plausible"
    if high == math.inf:
        return f"is {value:g}, and less than {low:g} is not plausible"
    return f"is {value:g}, and only {low:g} to {high:g} is plausible"


def _ranges_of(entry: Mapping[str, Any], value_of: Callable[[Mapping[str, Any]], Any], count: int) -> list[Range]:
    """Return the range of each of ``count`` numbers: the shipped entry's, else half a decimal place about its numbers.

    A list of as many numbers as the shipped one is held against it number by number, any other against all of it.
    """
    if "range" in entry:
        low, high = entry["range"]
        return [(float(low), float(high))] * count
    shipped = numbers(value_of(entry)) or ()
    if len(shipped) == count:
        return [_about(value, value) for value in shipped]
    return [_about(min(shipped), max(shipped)) if shipped else (-math.inf, math.inf)] * count


def _about(least: float, most: float) -> Range:
    low = least / SLACK if least > 0.0 else least * SLACK if least < 0.0 else -math.inf
    high = most * SLACK if most > 0.0 else most / SLACK if most < 0.0 else math.inf
    return low, high  # a nought says nothing of a size: there the unit alone says what can be


def line_of(text: str, keys: Keys) -> int | None:
    """Return the line (from 1) of a TOML file on which the entry that ``keys`` lead to is complete, None if on none."""
    lines = text.splitlines(keepends=True)
    for number in range(1, len(lines) + 1):
        try:
            found: Any = tomllib.loads("".join(lines[:number]))
        except tomllib.TOMLDecodeError:
            continue  # amid an entry of several lines
        for key in keys:
            found = found.get(key) if isinstance(found, Mapping) else None
        if found is not None:
            return number
    return None
