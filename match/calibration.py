"""Read ``calibration/*.toml`` into frozen dataclasses, checking every unit and source.

One fact, one place: a number of physics, vision or trade practice is a table with ``value``, ``unit`` and ``source`` in
a TOML file (or, where another file holds the same fact, ``same_as`` in place of ``value``), and the code that needs it
is a frozen dataclass whose fields are declared with :func:`quantity`. A field's unit and the file's unit must be the
same text, so a value can never be read in a unit it was not written in.
"""

from __future__ import annotations

import dataclasses
import hashlib
import os
import typing
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

import platformdirs

from match.errors import CalibrationError, FileError, MissingFileError
from match.files import read_toml

T = TypeVar("T")

APPLICATION = "sprayout-match"
OVERRIDE_VARIABLE = "SPRAYOUT_CALIBRATION"
FORMER_NAMES = {"several": "evidence", "coats": "evidence", "own_camera": "evidence"}
"""Files that were one file in version 0.1: a shop's own copy of that one is never passed over in silence."""


def quantity(unit: str) -> Any:
    """Declare a dataclass field that is read from a ``{value, unit, source}`` table in the given unit."""
    return dataclasses.field(metadata={"unit": unit})


def shipped_folder() -> Path:
    """Return the folder of the calibration files that came with this installation (wheel or checkout)."""
    inside_wheel = Path(__file__).parent / "_calibration"
    return inside_wheel if inside_wheel.is_dir() else Path(__file__).parents[1] / "calibration"


def override_folder() -> Path:
    """Return the folder where a user's own copies of calibration files take precedence, file by file."""
    named = os.environ.get(OVERRIDE_VARIABLE)
    return Path(named) if named else Path(platformdirs.user_config_dir(APPLICATION)) / "calibration"


def source_file(name: str) -> Path:
    """Return the path of calibration file ``name`` (without suffix): the user's own where there is one."""
    own = override_folder() / f"{name}.toml"
    former = override_folder() / f"{FORMER_NAMES.get(name, name)}.toml"
    if former != own and former.is_file():
        raise CalibrationError(
            f"{former} is now several files ({', '.join(f'{each}.toml' for each in FORMER_NAMES)}): "
            "move its tables into them, as the shipped files show, and take it away"
        )
    return own if own.is_file() else shipped_folder() / f"{name}.toml"


def fingerprint(*names: str) -> str:
    """Return twelve hexadecimal digits that change when any of these calibration files does."""
    return hashlib.sha256(b"".join(source_file(name).read_bytes() for name in names)).hexdigest()[:12]


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
    """
    table: Any = _parsed(source_file(name), name)
    where = name
    for key in keys:
        where = f"{where}.{key}"
        if not isinstance(table, Mapping) or key not in table:
            raise CalibrationError(f"{source_file(name)}: the table [{where}] is missing: add it or restore the file")
        table = table[key]
    return build(cls, table, f"{source_file(name)}: {where}")


@cache
def _parsed(path: Path, name: str) -> dict[str, Any]:
    """Parse once a process; a different override path is a different key."""
    return read_table(name)


def read_again() -> None:
    """Forget every file read so far; call it after a calibration file was changed."""
    _parsed.cache_clear()


def build(cls: type[T], table: Mapping[str, Any], where: str) -> T:
    """Build ``cls`` from an already parsed table; ``where`` names it in error messages (see :func:`load`)."""
    hints = typing.get_type_hints(cls)
    values: dict[str, Any] = {}
    for field in dataclasses.fields(cls):  # type: ignore[arg-type]
        if field.name not in table:
            if field.default is not dataclasses.MISSING or field.default_factory is not dataclasses.MISSING:
                continue
            raise CalibrationError(f"{where}.{field.name} is missing: add it with its value, unit and source")
        values[field.name] = _field(field, hints[field.name], table[field.name], f"{where}.{field.name}")
    return cls(**values)


def _field(field: dataclasses.Field[Any], hint: Any, entry: Any, where: str) -> Any:
    unit = field.metadata.get("unit")
    if unit is not None:
        return _number(entry, unit, where)
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return build(hint, entry, where)
    if typing.get_origin(hint) in (dict, Mapping):
        inner = typing.get_args(hint)[1]
        return {key: build(inner, value, f"{where}.{key}") for key, value in entry.items()}
    if not isinstance(entry, hint):
        raise CalibrationError(f"{where} is {entry!r}, expected a {hint.__name__}: correct the file")
    return entry


def _number(entry: Any, unit: str, where: str) -> Any:
    if isinstance(entry, Mapping) and "same_as" in entry:
        entry = {**entry, "value": _value_of(str(entry["same_as"]), unit, where)}
    if not isinstance(entry, Mapping) or not {"value", "unit", "source"} <= entry.keys():
        raise CalibrationError(f"{where} must be a table with value, unit and source")
    if entry["unit"] != unit:
        raise CalibrationError(f"{where} is given in {entry['unit']!r}, expected {unit!r}: convert the value")
    if not str(entry["source"]).strip():
        raise CalibrationError(f"{where} has no source: say where the value comes from, or 'shop setting'")
    value = entry["value"]
    if isinstance(value, list):
        return tuple(_finite(item, where) for item in value)
    return _finite(value, where)


def _value_of(place: str, unit: str, where: str) -> Any:
    """Return the value that stands at ``place``, file and tables joined by dots, for an entry that is the same fact."""
    name, *keys = place.split(".")
    entry: Any = _parsed(source_file(name), name)
    for key in keys:
        entry = entry.get(key) if isinstance(entry, Mapping) else None
    if not isinstance(entry, Mapping) or "value" not in entry:
        raise CalibrationError(f"{where} is the same as {place}, which holds no value: correct the file")
    if entry.get("unit") != unit:
        raise CalibrationError(f"{where} is the same as {place}, whose unit is not {unit!r}: correct the file")
    return entry["value"]


def _finite(value: Any, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < float("inf"):
        raise CalibrationError(f"{where} is {value!r}, expected a finite number: correct the file")
    return float(value)
