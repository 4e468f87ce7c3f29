"""Frozen dataclasses built from calibration files, every unit and source checked."""

import dataclasses
import typing
from collections.abc import Mapping
from functools import cache
from typing import Any, TypeVar

from match.calibration import completed, places, plausible
from match.calibration.parsed import UNITS, checked, entry_at, require_plausible, shipped, unit_ranges, value_in
from match.calibration.places import Place
from match.errors import CalibrationError

T = TypeVar("T")


def quantity(unit: str, low: float | None = None, high: float | None = None) -> Any:
    """Declare a dataclass field that is read from a ``{value, unit, source}`` table in the given unit.

    ``low`` and ``high`` are for a number of which the shipped files hold none: elsewhere they say what is plausible.
    """
    return dataclasses.field(metadata={"unit": unit, "low": low, "high": high})


def load(cls: type[T], name: str, *keys: str) -> T:
    """Build the frozen dataclass ``cls`` from calibration file ``name``, starting at the nested table ``keys``.

    Fields made with :func:`quantity` are read from ``{value, unit, source}`` tables; fields that are dataclasses, or
    mappings from names to dataclasses, are read from nested tables; ``str`` and ``bool`` fields are read as they are.

    Raises :class:`CalibrationError` when the file is missing, or an entry of it is missing, in another unit, or not
    plausible.
    """
    path = places.source_file(name)
    table: Any = checked(path, name)
    where = Place(path, name)
    if path == places.own_file(name):
        table = _with_shipped(cls, table, where, keys)
    for key in keys:
        if not isinstance(table, Mapping) or key not in table:
            raise CalibrationError(f"{where}: the table [{key}] is missing: add it or restore the file")
        table, where = table[key], where / key
    return build(cls, table, where)


def _with_shipped(cls: type[Any], table: Mapping[str, Any], where: Place, keys: tuple[str, ...]) -> Mapping[str, Any]:
    """Return an own file with what ``cls`` asks of it and it lacks taken from the shipped one, and remember that."""
    hint: Any = cls
    for key in reversed(keys):
        hint = dataclasses.make_dataclass("Above", [(key, hint)])
    known = shipped(where.name)
    whole, taken = completed.completed(hint, table, known)
    if taken:
        require_plausible(whole, where)  # what was taken stands in order with what the shop changed
        above = [(name,) for name in table if keys and name not in known]
        unread = completed.unread(cls, entry_at(table, keys), entry_at(known, keys), keys)
        completed.remember(where.file, taken, [*above, *unread])
    return typing.cast(Mapping[str, Any], whole)


def build(cls: type[T], table: Any, where: Place) -> T:
    """Build ``cls`` from an already parsed table; ``where`` names it in error messages (see :func:`load`)."""
    if not isinstance(table, Mapping):
        raise CalibrationError(f"{where} is {table!r}, expected a table: correct the file")
    hints = _hints(cls)  # type: ignore[arg-type]  # a class is hashable
    values: dict[str, Any] = {}
    for field in dataclasses.fields(cls):  # type: ignore[arg-type]
        if field.name not in table:
            if field.default is not dataclasses.MISSING or field.default_factory is not dataclasses.MISSING:
                continue
            raise CalibrationError(f"{where / field.name} is missing: add it with its value, unit and source")
        values[field.name] = _field(field, hints[field.name], table[field.name], where / field.name)
    return cls(**values)


@cache
def _hints(cls: type[Any]) -> dict[str, Any]:
    """Return the types of a class's fields: worked out once, since that takes two fifths of building."""
    return typing.get_type_hints(cls)


def _field(field: dataclasses.Field[Any], hint: Any, entry: Any, where: Place) -> Any:
    if "unit" in field.metadata:
        return _number(entry, hint, field.metadata, where)
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return build(hint, entry, where)
    if typing.get_origin(hint) in (dict, Mapping):
        inner = typing.get_args(hint)[1]
        if not isinstance(entry, Mapping):
            raise CalibrationError(f"{where} is {entry!r}, expected a table: correct the file")
        return {key: build(inner, value, where / key) for key, value in entry.items()}
    if not isinstance(entry, hint):
        raise CalibrationError(f"{where} is {entry!r}, expected a {hint.__name__}: correct the file")
    return entry


def _number(entry: Any, hint: Any, said: Mapping[str, Any], where: Place) -> Any:
    unit = said["unit"]
    if (
        not isinstance(entry, Mapping)
        or not {"unit", "source"} <= entry.keys()
        or not {"value", "same_as"} & entry.keys()
    ):
        raise CalibrationError(f"{where} must be a table with value, unit and source")
    if entry["unit"] != unit:
        raise CalibrationError(f"{where} is given in {entry['unit']!r}, expected {unit!r}: convert the value")
    if not str(entry["source"]).strip():
        raise CalibrationError(f"{where} has no source: say where the value comes from, or 'shop setting'")
    value = value_in(entry, where)
    numbers = plausible.numbers(value)
    if numbers is None:
        raise CalibrationError(f"{where} is {value!r}, expected a finite number: correct the file")
    several = typing.get_origin(hint) is tuple
    if several is not isinstance(value, list):
        expected = "a list of numbers" if several else "one number"
        raise CalibrationError(f"{where} is {value!r}, expected {expected}: correct the file")
    _require_possible(numbers, unit, said, where)
    return numbers if several else numbers[0]


def _require_possible(numbers: tuple[float, ...], unit: str, said: Mapping[str, Any], where: Place) -> None:
    if unit not in unit_ranges():
        raise CalibrationError(
            f"{where} is in {unit!r}, of which {UNITS}.toml does not say what it can be: add it there"
        )
    low, high = unit_ranges()[unit]
    low, high = low if said["low"] is None else said["low"], high if said["high"] is None else said["high"]
    for number in numbers:
        if not low <= number <= high:
            raise CalibrationError(f"{where} {plausible.outside(number, (low, high))}: correct the file")
