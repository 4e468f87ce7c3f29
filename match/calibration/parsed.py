"""Calibration files parsed once a process, every number of them looked at before any is used."""

import hashlib
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from match.calibration import completed, places, plausible
from match.calibration.places import Place
from match.errors import CalibrationError, FileError, MissingFileError
from match.files import read_bytes, read_toml

UNITS = "units"
"""The file that says what numbers of each unit can be; a shop has no own copy of it."""


def read_table(name: str) -> dict[str, Any]:
    """Return calibration file ``name`` parsed, raising :class:`CalibrationError` when it is missing or not TOML."""
    path = places.source_file(name)
    try:
        return read_toml(path, "the calibration file")
    except MissingFileError:
        raise CalibrationError(f"the calibration file {path} is missing: reinstall, or restore the file") from None
    except FileError as error:
        raise CalibrationError(str(error)) from None


def fingerprint(*names: str) -> str:
    """Return twelve hexadecimal digits that change when any of these calibration files does.

    Of an own file that lacks what the shipped one holds, both count.
    """
    contents = (read_bytes(file, "the calibration file") for name in names for file in _files_of(name))
    return hashlib.sha256(b"".join(contents)).hexdigest()[:12]


def _files_of(name: str) -> list[Path]:
    file = places.source_file(name)
    lacks = set(dict(plausible.entries(shipped(name)))) - set(dict(plausible.entries(parsed(file, name))))
    return [file, places.shipped_folder() / f"{name}.toml"] if file == places.own_file(name) and lacks else [file]


@cache
def shipped(name: str) -> dict[str, Any]:
    """Parse the shipped file once a process; empty where there is none of that name."""
    path = places.shipped_folder() / f"{name}.toml"
    return read_toml(path, "the calibration file") if path.is_file() else {}


@cache
def parsed(path: Path, name: str) -> dict[str, Any]:
    """Parse the file of that name once a process; a different override path is a different key."""
    return read_table(name)


@cache
def checked(path: Path, name: str) -> dict[str, Any]:
    """Parse once a process, and look at every number of the file, whichever of them is asked for."""
    table = parsed(path, name)
    require_plausible(table, Place(path, name))
    return table


def require_plausible(table: Mapping[str, Any], where: Place) -> None:
    """Raise :class:`CalibrationError` for the first number of the parsed file ``where`` that cannot be right."""
    if known := shipped(where.name):
        fault = plausible.fault_in(table, known, lambda entry: value_in(entry, where))
        if fault is not None:
            for key in fault.keys:
                where = where / key
            raise CalibrationError(f"{where} {fault.words}: correct the file")


@cache
def unit_ranges() -> dict[str, plausible.Range]:
    """Return the lowest and the highest that a number of each unit can be."""
    table = read_toml(places.shipped_folder() / f"{UNITS}.toml", "the calibration file")
    return {unit: (float(entry["value"][0]), float(entry["value"][1])) for unit, entry in table["units"].items()}


def value_in(entry: Mapping[str, Any], where: Place) -> Any:
    """Return the value of an entry; that of another where it is said to be the same."""
    return _value_of(str(entry["same_as"]), entry.get("unit"), where) if "same_as" in entry else entry["value"]


def _value_of(place: str, unit: Any, where: Place) -> Any:
    """Return the value that stands at ``place``, file and tables joined by dots, for an entry that is the same fact."""
    name, *keys = place.split(".")
    entry = entry_at(parsed(places.source_file(name), name), keys)
    if entry is None and (entry := entry_at(shipped(name), keys)) is not None:
        completed.remember(places.own_file(name), [tuple(keys)])
    if not isinstance(entry, Mapping) or "value" not in entry:
        raise CalibrationError(f"{where} is the same as {place}, which holds no value: correct the file")
    if entry.get("unit") != unit:
        raise CalibrationError(f"{where} is the same as {place}, whose unit is not {unit!r}: correct the file")
    return entry["value"]


def entry_at(table: Any, keys: Sequence[str]) -> Any:
    """Return what the keys lead to in a parsed table, None where nothing does."""
    for key in keys:
        table = table.get(key) if isinstance(table, Mapping) else None
    return table


def read_again() -> None:
    """Forget every file read so far; call it after a calibration file was changed."""
    parsed.cache_clear()
    checked.cache_clear()
    shipped.cache_clear()
    completed.forget()
