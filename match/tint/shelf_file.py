"""The toners on the shop's shelf: those that came with the program, and the shop's own, kept in one file of theirs.

The own ones live in ``own_toners.toml`` beside the user's copies of the calibration files, so that they survive a new
version of the program and can be edited by hand.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np
import tomlkit
from tomlkit.items import InlineTable

from match import calibration
from match.calibration import quantity
from match.errors import CalibrationError, TintError
from match.files import changing
from match.tint.own_toner import MeasuredToner, named_toner
from match.tint.pigment import Floats, Optics, Toner, TonerFile, toner_set
from match.tint.search import UNTINTED

OWN_FILE = "own_toners"
LONGEST_NAME = 60  # characters: fits a line of the page and of the terminal


@dataclass(frozen=True)
class NamedEntry:
    """An own toner known by the pigment class it resembles and its strength relative to that."""

    like: str
    strength: float = quantity("1", low=0.01, high=100.0)


@dataclass(frozen=True)
class MeasuredEntry:
    """An own toner measured from let-downs: K and S by band, and the sd of the logarithm of its strength."""

    absorption: tuple[float, ...] = quantity("relative K")
    scattering: tuple[float, ...] = quantity("relative S")
    log_strength_sd: float = quantity("ln", low=0.0, high=5.0)


SOURCES = {NamedEntry: "shop setting", MeasuredEntry: "measured from let-downs"}


@dataclass(frozen=True)
class Shelf:
    """Every toner that can stand in a formula or be added.

    Attributes
    ----------
    toners : by name, those that came with the program first
    optics : the paint's surface
    own : names of the shop's own toners
    own_sd : log-strength sd of those measured from let-downs, for :class:`match.tint.tinting.TintJob`
    """

    toners: Mapping[str, Toner]
    optics: Optics
    own: tuple[str, ...]
    own_sd: Mapping[str, float]

    def toner(self, name: str) -> Toner:
        """Return one toner, raising :class:`TintError` for an unknown name."""
        if name not in self.toners:
            raise TintError(f"no toner is called {name!r}: use one of {', '.join(self.toners)}, or add it first")
        return self.toners[name]


def own_path() -> Path:
    """Return where the shop's own toners are kept."""
    return calibration.override_folder() / f"{OWN_FILE}.toml"


def load_shelf() -> Shelf:
    """Read the toners that came with the program and the shop's own."""
    file = calibration.load(TonerFile, "toners")
    toners: dict[str, Toner] = toner_set(file)
    own_sd: dict[str, float] = {}
    entries = _read_own()
    for name, entry in entries.items():
        if isinstance(entry, NamedEntry):
            if entry.like not in file.toners:
                raise CalibrationError(
                    f"{own_path()}: the toner {name!r} is said to be like {entry.like!r}, which is not known: "
                    f"use one of {', '.join(file.toners)}"
                )
            toners[name] = named_toner(name, toners[entry.like], entry.strength)
        else:
            toners[name] = Toner(
                name, _floats(entry.absorption), _floats(entry.scattering), 1.0, "measured from let-downs"
            )
            own_sd[name] = entry.log_strength_sd
    return Shelf(toners, file.optics, tuple(entries), own_sd)


def keep_named(name: str, like: str, strength: float) -> Toner:
    """Put an own toner on the shelf by its pigment class and strength, in place of an own one of the same name."""
    shelf = load_shelf()
    toner = named_toner(_free_name(name, shelf), shelf.toner(like), strength)
    if like in shelf.own:
        raise TintError(f"{like!r} is one of your own toners: say which of the program's pigment classes it resembles")
    _change_own(lambda own: own.update({toner.name: NamedEntry(like, float(strength))}))
    return toner


def keep_measured(measured: MeasuredToner) -> None:
    """Put a toner measured from let-downs on the shelf, in place of an own one of the same name."""
    toner = measured.toner
    name = _free_name(toner.name, load_shelf())
    K, S = (tuple(float(value) for value in spectrum) for spectrum in (toner.absorption, toner.scattering))
    entry = MeasuredEntry(K, S, float(measured.log_strength_sd))
    _change_own(lambda own: own.update({name: entry}))


def remove(name: str) -> None:
    """Take an own toner off the shelf; those that came with the program stay."""

    def without(own: dict[str, NamedEntry | MeasuredEntry]) -> None:
        if name not in own:
            raise TintError(
                f"{name!r} is not one of your own toners ({', '.join(own) or 'there are none'}): check its name"
            )
        del own[name]

    _change_own(without)


def _free_name(name: str, shelf: Shelf) -> str:
    name = name.strip()
    if not name or len(name) > LONGEST_NAME or not name.isprintable() or any(sign in name for sign in "=,"):
        raise TintError(
            f"a toner cannot be called {name!r}: give a name of up to {LONGEST_NAME} characters without = and commas"
        )
    if name == UNTINTED or (name in shelf.toners and name not in shelf.own):
        raise TintError(f"the name {name!r} is taken by the program: give your toner another, such as 'my {name}'")
    return name


def _read_own() -> dict[str, NamedEntry | MeasuredEntry]:
    path = own_path()
    if not path.is_file():
        return {}
    return _entries(calibration.read_table(OWN_FILE))


def _entries(file: Mapping[str, Any]) -> dict[str, NamedEntry | MeasuredEntry]:
    table, where = file.get("toners", {}), calibration.Place(own_path(), OWN_FILE) / "toners"
    if not isinstance(table, dict) or not all(isinstance(entry, dict) for entry in table.values()):
        raise CalibrationError(f"{own_path()}: each own toner is a table [toners.NAME]: correct or remove the file")
    return {name: _entry(entry, where / name) for name, entry in table.items()}


def _entry(entry: dict[str, Any], where: calibration.Place) -> NamedEntry | MeasuredEntry:
    if "like" in entry:
        return calibration.build(NamedEntry, entry, where)
    return calibration.build(MeasuredEntry, entry, where)


def _change_own(change: Callable[[dict[str, NamedEntry | MeasuredEntry]], None]) -> None:
    """Change the own toners as they are by now, while every other writer waits, and write them whole or not at all."""
    with changing(own_path(), "your toners' file", make_folder=True) as write:
        entries = _read_own()
        change(entries)
        text = _document(entries)
        _entries(tomlkit.parse(text).unwrap())  # nothing is kept that could not be read back
        write(text)


def _document(entries: Mapping[str, NamedEntry | MeasuredEntry]) -> str:
    """Return the file's text, every figure with its unit and source."""
    document = tomlkit.document()
    document.add(tomlkit.comment("Your own toners. Written by the program; you may edit it."))
    toners = tomlkit.table(is_super_table=True)
    for name, entry in entries.items():
        own = tomlkit.table()
        if isinstance(entry, NamedEntry):
            own.add("like", entry.like)
        for each in fields(entry):
            if unit := each.metadata.get("unit"):
                own.add(each.name, _quantity(getattr(entry, each.name), unit, SOURCES[type(entry)]))
        toners.add(name, own)
    document.add("toners", toners)
    return tomlkit.dumps(document)


def _quantity(value: float | tuple[float, ...], unit: str, source: str) -> InlineTable:
    found = tomlkit.inline_table()
    kept = [round(each, 6) for each in value] if isinstance(value, tuple) else value
    found.update({"value": kept, "unit": unit, "source": source})
    return found


def _floats(values: tuple[float, ...]) -> Floats:
    return np.array(values, dtype=np.float64)
