"""A shop's own calibration file from before: what it lacks beside the shipped one of today, filled in and told of.

Only what a program of today asks for by name is filled in. Tables whose names are the shop's (its guns, its greys) stay
as they are: what is not in them was perhaps taken out on purpose.
"""

import dataclasses
import typing
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from match.calibration import places
from match.words import listed

Keys = tuple[str, ...]


def completed(hint: Any, table: Any, shipped: Any, keys: Keys = ()) -> tuple[Any, list[Keys]]:
    """Return a parsed table with what it lacks taken from the shipped one, and the keys to each thing taken.

    Parameters
    ----------
    hint : the frozen dataclass that is read from the table, or a mapping from names to one
    table, shipped : the own table and the shipped one at the same place
    keys : that lead to them
    """
    if not isinstance(table, Mapping) or not isinstance(shipped, Mapping):
        return table, []
    whole, taken = dict(table), list[Keys]()
    for name, inner in _asked(hint, table):
        if name not in table:
            if name in shipped:
                whole[name] = shipped[name]
                taken.append((*keys, name))
            continue
        whole[name], more = completed(inner, table[name], shipped.get(name), (*keys, name))
        taken += more
    return whole, taken


def _asked(hint: Any, table: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """Yield each name asked for in a table, with what is read from it; what may be left out is not asked for."""
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        hints = typing.get_type_hints(hint)
        for field in dataclasses.fields(hint):
            optional = field.default is not dataclasses.MISSING or field.default_factory is not dataclasses.MISSING
            if field.name in table or not optional:
                yield field.name, None if "unit" in field.metadata else hints[field.name]
    elif typing.get_origin(hint) in (dict, Mapping):
        inner = typing.get_args(hint)[1]
        for name in table:
            yield name, inner


def unread(hint: Any, table: Any, shipped: Any, keys: Keys = ()) -> list[Keys]:
    """Return the keys to each thing in a parsed table that nothing is called: perhaps what it lacks, misspelt.

    Parameters as for :func:`completed`; names that are the shop's own are none of them.
    """
    if not isinstance(table, Mapping) or not isinstance(shipped, Mapping):
        return []
    inside = dict(_asked(hint, table))
    known = inside.keys() | shipped.keys()
    found = [(*keys, name) for name in table if name not in known]
    for name, inner in inside.items():
        found += unread(inner, table.get(name), shipped.get(name), (*keys, name))
    return found


_taken: dict[Path, dict[Keys, None]] = {}
"""What was taken from shipped files so far, by the own file that lacks it."""

_unread: dict[Path, dict[Keys, None]] = {}
"""What those own files hold that nothing is called."""


def remember(file: Path, taken: list[Keys], unknown: Sequence[Keys] = ()) -> None:
    """Remember what an own file lacked, and what it holds that nothing is called, to be told of later."""
    _unread[file] = _unread.get(file, {}) | dict.fromkeys(unknown)  # first: another visit may tell of it meanwhile
    _taken[file] = _taken.get(file, {}) | dict.fromkeys(taken)


def forget() -> None:
    """Forget what was taken so far."""
    _taken.clear()
    _unread.clear()


def taken_from_shipped() -> tuple[str, ...]:
    """Return a sentence for each own file that lacked something this process asked for."""
    here = places.override_folder()
    found = [(file, list(taken)) for file, taken in list(_taken.items()) if file.parent == here]
    return tuple(_taken_words(file.name, taken, list(_unread[file])) for file, taken in found)


def _taken_words(file: str, taken: list[Keys], unknown: list[Keys]) -> str:
    """Say what was taken from the shipped file in place of an own one's, and what the own one calls as nothing is."""
    lacks = f"lacks {_named(taken)}: the figures that came with the program are used there."
    if not unknown:
        return f"Your own {file} is from before and {lacks}"
    return f"Your own {file} {lacks} Nothing is read from its {_named(unknown)}: is that misspelt?"


def _named(keys: list[Keys]) -> str:
    return listed([".".join(each) for each in keys])
