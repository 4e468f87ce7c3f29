"""Read ``calibration/*.toml`` into frozen dataclasses, checking every unit and source.

One fact, one place: a number of physics, vision or trade practice is a table with ``value``, ``unit`` and ``source`` in
a TOML file (or, where another file holds the same fact, ``same_as`` in place of ``value``), and the code that needs it
is a frozen dataclass whose fields are declared with :func:`quantity`. A field's unit and the file's unit must be the
same text, so a value can never be read in a unit it was not written in.

A shop's own file takes the place of the shipped one. A wrong number refuses it whole, with the line: no verdict is
given by numbers other than those that the shop asked for. What it lacks, since it is from before, is taken from the
shipped file and said (:mod:`match.completed`). What a number can be is said by :mod:`match.plausible`.
"""

from __future__ import annotations

import dataclasses
import hashlib
import os
import typing
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

import platformdirs

from match import plausible
from match.completed import completed, taken_words, unread
from match.errors import CalibrationError, FileError, MissingFileError
from match.files import read_bytes, read_toml

T = TypeVar("T")

APPLICATION = "sprayout-match"
OVERRIDE_VARIABLE = "SPRAYOUT_CALIBRATION"
UNITS = "units"
"""The file that says what numbers of each unit can be; a shop has no own copy of it."""

FORMER_NAMES = {"several": "evidence", "coats": "evidence", "own_camera": "evidence"}
"""Files that were one file in version 0.1: a shop's own copy of that one is never passed over in silence."""


def quantity(unit: str, low: float | None = None, high: float | None = None) -> Any:
    """Declare a dataclass field that is read from a ``{value, unit, source}`` table in the given unit.

    ``low`` and ``high`` are for a number of which the shipped files hold none: elsewhere they say what is plausible.
    """
    return dataclasses.field(metadata={"unit": unit, "low": low, "high": high})


@dataclasses.dataclass(frozen=True)
class Place:
    """An entry of a calibration file, as error messages name it: file, line, and the keys that lead to it."""

    file: Path
    name: str
    keys: tuple[str, ...] = ()

    def __truediv__(self, key: str) -> Place:
        return Place(self.file, self.name, (*self.keys, key))

    def __str__(self) -> str:
        """Return the place in words; the line is looked for only now, in the entry or the table that holds it."""
        try:
            text = read_bytes(self.file, "the calibration file").decode("utf-8-sig")
        except (FileError, UnicodeDecodeError):
            text = ""
        tries = (plausible.line_of(text, self.keys[:count]) for count in range(len(self.keys), 0, -1))
        line = next((number for number in tries if number is not None), None)
        return f"{self.file}{'' if line is None else f', line {line}'}: {'.'.join((self.name, *self.keys))}"


def shipped_folder() -> Path:
    """Return the folder of the calibration files that came with this installation (wheel or checkout)."""
    inside_wheel = Path(__file__).parent / "_calibration"
    return inside_wheel if inside_wheel.is_dir() else Path(__file__).parents[1] / "calibration"


def override_folder() -> Path:
    """Return the folder where a user's own copies of calibration files take precedence, file by file."""
    named = os.environ.get(OVERRIDE_VARIABLE)
    return Path(named) if named else Path(platformdirs.user_config_dir(APPLICATION)) / "calibration"


def own_file(name: str) -> Path:
    """Return where the user's own calibration file ``name`` (without suffix) lies, or would lie."""
    return override_folder() / f"{name}.toml"


def source_file(name: str) -> Path:
    """Return the path of calibration file ``name`` (without suffix): the user's own where there is one."""
    own, former = own_file(name), own_file(FORMER_NAMES.get(name, name))
    if former != own and former.is_file():
        raise CalibrationError(
            f"{former} is now several files ({', '.join(f'{each}.toml' for each in FORMER_NAMES)}): "
            "move its tables into them, as the shipped files show, and take it away"
        )
    return own if own.is_file() else shipped_folder() / f"{name}.toml"


def fingerprint(*names: str) -> str:
    """Return twelve hexadecimal digits that change when any of these calibration files does.

    Of an own file that lacks what the shipped one holds, both count.
    """
    contents = (read_bytes(file, "the calibration file") for name in names for file in _files_of(name))
    return hashlib.sha256(b"".join(contents)).hexdigest()[:12]


def _files_of(name: str) -> list[Path]:
    file = source_file(name)
    lacks = set(dict(plausible.entries(_shipped(name)))) - set(dict(plausible.entries(_parsed(file, name))))
    return [file, shipped_folder() / f"{name}.toml"] if file == own_file(name) and lacks else [file]


def read_table(name: str) -> dict[str, Any]:
    """Return calibration file ``name`` parsed, raising :class:`CalibrationError` when it is missing or not TOML."""
    path = source_file(name)
    try:
        return read_toml(path, "the calibration file")
    except MissingFileError:
        raise CalibrationError(f"the calibration file {path} is missing: reinstall, or restore the file") from None
    except FileError as error:
        raise CalibrationError(str(error)) from None


def load(cls: type[T], name: str, *keys: str) -> T:
    """Build the frozen dataclass ``cls`` from calibration file ``name``, starting at the nested table ``keys``.

    Fields made with :func:`quantity` are read from ``{value, unit, source}`` tables; fields that are dataclasses, or
    mappings from names to dataclasses, are read from nested tables; ``str`` and ``bool`` fields are read as they are.

    Raises
    ------
    CalibrationError
        When the file is missing, or an entry of it is missing, in another unit, or not plausible.
    """
    path = source_file(name)
    table: Any = _checked(path, name)
    where = Place(path, name)
    if path == own_file(name):
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
    whole, taken = completed(hint, table, _shipped(where.name))
    if taken:
        require_plausible(whole, where)  # what was taken stands in order with what the shop changed
        _remember(where.file, taken)
        at, beside = _entry_at(table, keys), _entry_at(_shipped(where.name), keys)
        above = [(name,) for name in table if keys and name not in _shipped(where.name)]
        _unread[where.file] = _unread.get(where.file, {}) | dict.fromkeys([*above, *unread(cls, at, beside, keys)])
    return typing.cast(Mapping[str, Any], whole)


_taken: dict[Path, dict[tuple[str, ...], None]] = {}
"""What was taken from shipped files so far, by the own file that lacks it."""

_unread: dict[Path, dict[tuple[str, ...], None]] = {}
"""What those own files hold that nothing is called."""


def _remember(file: Path, taken: list[tuple[str, ...]]) -> None:
    _taken[file] = _taken.get(file, {}) | dict.fromkeys(taken)


def taken_from_shipped() -> tuple[str, ...]:
    """Return a sentence for each own file that lacked something this process asked for; see :mod:`match.completed`."""
    here = override_folder()
    found = [(file, list(taken)) for file, taken in _taken.items() if file.parent == here]
    return tuple(taken_words(file.name, taken, list(_unread.get(file, ()))) for file, taken in found)


@cache
def _shipped(name: str) -> dict[str, Any]:
    """Parse the shipped file once a process; empty where there is none of that name."""
    path = shipped_folder() / f"{name}.toml"
    return read_toml(path, "the calibration file") if path.is_file() else {}


@cache
def _parsed(path: Path, name: str) -> dict[str, Any]:
    """Parse once a process; a different override path is a different key."""
    return read_table(name)


@cache
def _checked(path: Path, name: str) -> dict[str, Any]:
    """Parse once a process, and look at every number of the file, whichever of them is asked for."""
    table = _parsed(path, name)
    require_plausible(table, Place(path, name))
    return table


def require_plausible(table: Mapping[str, Any], where: Place) -> None:
    """Raise :class:`CalibrationError` for the first number of the parsed file ``where`` that cannot be right."""
    if known := _shipped(where.name):
        fault = plausible.fault_in(table, known, lambda entry: _value(entry, where))
        if fault is not None:
            for key in fault.keys:
                where = where / key
            raise CalibrationError(f"{where} {fault.words}: correct the file")


def unit_range(unit: str) -> plausible.Range:
    """Return the lowest and the highest that a number of this unit can be; raises ``KeyError`` for an unknown unit."""
    return _unit_ranges()[unit]


@cache
def _unit_ranges() -> dict[str, plausible.Range]:
    table = read_toml(shipped_folder() / f"{UNITS}.toml", "the calibration file")
    return {unit: (float(entry["value"][0]), float(entry["value"][1])) for unit, entry in table["units"].items()}


def read_again() -> None:
    """Forget every file read so far; call it after a calibration file was changed."""
    _parsed.cache_clear()
    _checked.cache_clear()
    _shipped.cache_clear()
    _taken.clear()
    _unread.clear()


def build(cls: type[T], table: Any, where: Place) -> T:
    """Build ``cls`` from an already parsed table; ``where`` names it in error messages (see :func:`load`)."""
    if not isinstance(table, Mapping):
        raise CalibrationError(f"{where} is {table!r}, expected a table: correct the file")
    hints = typing.get_type_hints(cls)
    values: dict[str, Any] = {}
    for field in dataclasses.fields(cls):  # type: ignore[arg-type]
        if field.name not in table:
            if field.default is not dataclasses.MISSING or field.default_factory is not dataclasses.MISSING:
                continue
            raise CalibrationError(f"{where / field.name} is missing: add it with its value, unit and source")
        values[field.name] = _field(field, hints[field.name], table[field.name], where / field.name)
    return cls(**values)


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
    value = _value(entry, where)
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
    if unit not in _unit_ranges():
        raise CalibrationError(
            f"{where} is in {unit!r}, of which {UNITS}.toml does not say what it can be: add it there"
        )
    low, high = unit_range(unit)
    low, high = low if said["low"] is None else said["low"], high if said["high"] is None else said["high"]
    for number in numbers:
        if not low <= number <= high:
            raise CalibrationError(f"{where} {plausible.outside(number, (low, high))}: correct the file")


def _value(entry: Mapping[str, Any], where: Place) -> Any:
    """Return the value of an entry; that of another where it is said to be the same."""
    return _value_of(str(entry["same_as"]), entry.get("unit"), where) if "same_as" in entry else entry["value"]


def _value_of(place: str, unit: Any, where: Place) -> Any:
    """Return the value that stands at ``place``, file and tables joined by dots, for an entry that is the same fact."""
    name, *keys = place.split(".")
    entry = _entry_at(_parsed(source_file(name), name), keys)
    if entry is None and (entry := _entry_at(_shipped(name), keys)) is not None:
        _remember(own_file(name), [tuple(keys)])
    if not isinstance(entry, Mapping) or "value" not in entry:
        raise CalibrationError(f"{where} is the same as {place}, which holds no value: correct the file")
    if entry.get("unit") != unit:
        raise CalibrationError(f"{where} is the same as {place}, whose unit is not {unit!r}: correct the file")
    return entry["value"]


def _entry_at(table: Any, keys: Sequence[str]) -> Any:
    for key in keys:
        table = table.get(key) if isinstance(table, Mapping) else None
    return table
