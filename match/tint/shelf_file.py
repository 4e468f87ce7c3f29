"""The toners on the shop's shelves: those that came with the program, and the shop's own, kept in one file of theirs.

The own ones live in ``own_toners.toml`` beside the user's copies of the calibration files, so that they survive a new
version of the program and can be edited by hand. ``[toners.NAME]`` is the first shelf; a further paint line is a shelf
``[shelves.LINE.toners.NAME]``, and ``chosen`` names the one that is worked with.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import InlineTable, Table

from match import calibration
from match.errors import CalibrationError, TintError
from match.files import changing
from match.tint.limits import TintLimits
from match.tint.own_toner import MeasuredToner
from match.tint.pigment import Optics, Toner, TonerFile, toner_set
from match.tint.shelf_entry import LONGEST_NAME, Entry, MeasuredEntry, NamedEntry, WeakEntry, free_name, own_toners
from match.tint.toner_table import Known

OWN_FILE = "own_toners"
FIRST_SHELF = ""
"""The shelf of a shop that has one; it holds the program's classes and the shop's own together."""

FIRST_SHELF_WORDS = "first shelf"
MOST_TONERS = 500
"""Toners of one shelf. Engineering choice: several paint lines together; the file stays far below its limit."""

SOURCES = {NamedEntry: "shop setting", WeakEntry: "shop setting", MeasuredEntry: "measured from let-downs"}
Entries = dict[str, Entry]


@dataclass(frozen=True)
class Shelf:
    """Every toner that can stand in a formula or be added.

    Attributes
    ----------
    toners : by name, those that came with the program first
    optics : the paint's surface
    own : names of the shop's own toners
    own_sd : log-strength sd of those measured or given with bounds, for :class:`match.tint.tinting.TintJob`
    name : the shelf's, empty for the first
    offered : toners that advice may propose; none where that is all of them. A paint line offers its own alone
    """

    toners: Mapping[str, Toner]
    optics: Optics
    own: tuple[str, ...]
    own_sd: Mapping[str, float]
    name: str = FIRST_SHELF
    offered: tuple[str, ...] | None = None

    def toner(self, name: str) -> Toner:
        """Return one toner, raising :class:`TintError` for an unknown name."""
        if name not in self.toners:
            raise TintError(f"no toner is called {name!r}: use one of {', '.join(self.toners)}, or add it first")
        return self.toners[name]

    @property
    def program(self) -> dict[str, Toner]:
        """Return the pigment classes that came with the program."""
        return {name: toner for name, toner in self.toners.items() if name not in self.own}


@dataclass(frozen=True)
class Shelves:
    """The whole file: entries by shelf, the first shelf always among them, and which shelf is worked with."""

    entries: dict[str, Entries]
    chosen: str = FIRST_SHELF


def own_path() -> Path:
    """Return where the shop's own toners are kept."""
    return calibration.own_file(OWN_FILE)


def read_shelves() -> Shelves:
    """Return every shelf of the shop's."""
    return _shelves(calibration.read_table(OWN_FILE)) if own_path().is_file() else Shelves({FIRST_SHELF: {}})


def load_shelf() -> Shelf:
    """Read the toners that came with the program and the shop's own of the shelf that is worked with."""
    file = calibration.load(TonerFile, "toners")
    shelves = read_shelves()
    return shelf_of(toner_set(file), file.optics, shelves.entries[shelves.chosen], shelves.chosen)


def shelf_of(program: dict[str, Toner], optics: Optics, entries: Entries, name: str = FIRST_SHELF) -> Shelf:
    """Return the shelf of these entries beside the program's toners."""
    try:
        own, own_sd = own_toners(entries, program)
    except TintError as error:
        raise CalibrationError(f"{own_path()}: {error}") from None
    offered = tuple(entries) if name != FIRST_SHELF and entries else None
    return Shelf({**program, **own}, optics, tuple(entries), own_sd, name, offered)


def known_for_table(limits: TintLimits, shelf: str | None = None) -> Known:
    """Return what a table is read against that is meant for ``shelf``; the one worked with when not given."""
    file, shelves = calibration.load(TonerFile, "toners"), read_shelves()
    name = shelves.chosen if shelf is None else shelf_name(shelf)
    return Known(toner_set(file), file.optics, limits, shelves.entries.get(name, {}))


def keep_named(name: str, like: str, strength: float) -> Toner:
    """Put an own toner on the shelf by its pigment class and strength, in place of an own one of the same name."""
    shelf = load_shelf()
    name = free_name(name, shelf.program)
    if like in shelf.own:
        raise TintError(f"{like!r} is one of your own toners: say which of the program's pigment classes it resembles")
    shelf.toner(like)
    entry = NamedEntry(like, float(strength))
    toner = own_toners({name: entry}, shelf.program)[0][name]
    keep_entries({name: entry})
    return toner


def keep_measured(measured: MeasuredToner) -> None:
    """Put a toner measured from let-downs on the shelf, in place of an own one of the same name."""
    name = free_name(measured.toner.name, load_shelf().program)
    keep_entries({name: measured_entry(measured)})


def measured_entry(measured: MeasuredToner) -> MeasuredEntry:
    """Return what is kept of a toner measured from let-downs."""
    spectra = (measured.toner.absorption, measured.toner.scattering)
    K, S = (tuple(float(value) for value in spectrum) for spectrum in spectra)
    return MeasuredEntry(K, S, float(measured.log_strength_sd))


def keep_entries(entries: Mapping[str, Entry], shelf: str | None = None) -> None:
    """Put toners on a shelf, all or none, in place of those of the same names.

    Parameters
    ----------
    entries : by a name that is free
    shelf : an old or a new shelf, which is then the one worked with; the one worked with when not given
    """
    program = toner_set(calibration.load(TonerFile, "toners"))

    def changed(shelves: Shelves) -> Shelves:
        chosen = shelves.chosen if shelf is None else shelf_name(shelf)
        own = {**shelves.entries.get(chosen, {}), **entries}
        if len(own) > MOST_TONERS:
            raise TintError(f"a shelf holds up to {MOST_TONERS} toners, this would be {len(own)}: make another shelf")
        own_toners(own, program)  # a weak version keeps the toner that it is one of
        return Shelves({**shelves.entries, chosen: own}, chosen)

    _change(changed)


def remove(name: str) -> None:
    """Take an own toner off the shelf; those that came with the program stay."""

    def without(shelves: Shelves) -> Shelves:
        own = shelves.entries[shelves.chosen]
        if name not in own:
            raise TintError(
                f"{name!r} is not one of your own toners ({', '.join(own) or 'there are none'}): check its name"
            )
        weak = [each for each, entry in own.items() if isinstance(entry, WeakEntry) and entry.weak_of == name]
        if weak:
            raise TintError(f"{weak[0]!r} is a weak version of {name!r}: take that off the shelf first")
        left = {each: entry for each, entry in own.items() if each != name}
        return Shelves({**shelves.entries, shelves.chosen: left}, shelves.chosen)

    _change(without)


def choose(name: str) -> None:
    """Work with another shelf from now on."""

    def chosen(shelves: Shelves) -> Shelves:
        return Shelves(shelves.entries, _known(name, shelves))

    _change(chosen)


def remove_shelf(name: str) -> None:
    """Take away a whole shelf with its toners; the first one stays."""

    def without(shelves: Shelves) -> Shelves:
        known = _known(name, shelves)
        if known == FIRST_SHELF:
            raise TintError("the first shelf stays: take its toners off one by one")
        left = {each: own for each, own in shelves.entries.items() if each != known}
        return Shelves(left, FIRST_SHELF if shelves.chosen == known else shelves.chosen)

    _change(without)


def shelf_name(words: str) -> str:
    """Return the name of a shelf as it was written; the first shelf's is empty."""
    name = words.strip()
    if len(name) > LONGEST_NAME or not (name.isprintable() or not name):
        raise TintError(f"a shelf cannot be called {name!r}: give a name of up to {LONGEST_NAME} characters")
    return FIRST_SHELF if name == FIRST_SHELF_WORDS else name


def _known(words: str, shelves: Shelves) -> str:
    name = shelf_name(words)
    if name not in shelves.entries:
        raise TintError(
            f"no shelf is called {name!r}: use one of "
            f"{', '.join(each or FIRST_SHELF_WORDS for each in shelves.entries)}, or read a list into it first"
        )
    return name


def _shelves(file: Mapping[str, Any]) -> Shelves:
    where = calibration.Place(own_path(), OWN_FILE)
    lines, chosen = file.get("shelves", {}), file.get("chosen", FIRST_SHELF)
    if not isinstance(lines, dict) or not all(isinstance(line, dict) for line in lines.values()):
        raise CalibrationError(f"{own_path()}: each shelf is a table [shelves.NAME.toners]: correct or remove the file")
    entries = {FIRST_SHELF: _entries(file, where)}
    entries |= {name: _entries(line, where / "shelves" / name) for name, line in lines.items()}
    if chosen not in entries:
        raise CalibrationError(f"{own_path()}: chosen names the shelf {chosen!r}, which is not there: correct the file")
    return Shelves(entries, chosen)


def _entries(file: Mapping[str, Any], where: calibration.Place) -> Entries:
    table = file.get("toners", {})
    if not isinstance(table, dict) or not all(isinstance(entry, dict) for entry in table.values()):
        raise CalibrationError(f"{own_path()}: each own toner is a table [toners.NAME]: correct or remove the file")
    return {name: _entry(entry, where / "toners" / name) for name, entry in table.items()}


def _entry(entry: dict[str, Any], where: calibration.Place) -> Entry:
    if "weak_of" in entry:
        return calibration.build(WeakEntry, entry, where)
    if "like" in entry:
        return calibration.build(NamedEntry, entry, where)
    return calibration.build(MeasuredEntry, entry, where)


def _change(change: Callable[[Shelves], Shelves]) -> None:
    """Change the own toners as they are by now, while every other writer waits, and write them whole or not at all."""
    with changing(own_path(), "your toners' file", make_folder=True) as write:
        text = _document(change(read_shelves()))
        _shelves(tomlkit.parse(text).unwrap())  # nothing is kept that could not be read back
        write(text)


def _document(shelves: Shelves) -> str:
    """Return the file's text, every figure with its unit and source."""
    document = tomlkit.document()
    document.add(tomlkit.comment("Your own toners. Written by the program; you may edit it."))
    if shelves.chosen != FIRST_SHELF:
        document.add("chosen", tomlkit.item(shelves.chosen))
    document.add("toners", _toner_tables(shelves.entries[FIRST_SHELF]))
    lines = tomlkit.table(is_super_table=True)
    for name, entries in shelves.entries.items():
        if name != FIRST_SHELF:
            line = tomlkit.table()
            line.add("toners", _toner_tables(entries))
            lines.add(name, line)
    if len(lines):
        document.add("shelves", lines)
    return tomlkit.dumps(document)


def _toner_tables(entries: Entries) -> Table:
    toners = tomlkit.table(is_super_table=True)
    for name, entry in entries.items():
        own = tomlkit.table()
        for each in fields(entry):
            value = getattr(entry, each.name)
            if unit := each.metadata.get("unit"):
                if value != ():
                    own.add(each.name, _quantity(value, unit, SOURCES[type(entry)]))
            elif value:
                own.add(each.name, value)
        toners.add(name, own)
    return toners


def _quantity(value: float | tuple[float, ...], unit: str, source: str) -> InlineTable:
    found = tomlkit.inline_table()
    kept = [round(each, 6) for each in value] if isinstance(value, tuple) else value
    found.update({"value": kept, "unit": unit, "source": source})
    return found
