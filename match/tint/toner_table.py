"""A shop's toners as a table: read row by row, every bad row named with its line and what is wrong, and written again.

Columns are known by their headings, in any order; cells stand between tabs, semicolons or commas (RFC 4180 quotes). A
decimal comma is read where cells are not separated by commas.
"""

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from match.errors import TintError
from match.tint.card import CardColour
from match.tint.limits import TintLimits
from match.tint.own_toner import LetDown, measure_toner
from match.tint.pigment import WAVELENGTHS_NM, Optics, Toner
from match.tint.shelf_entry import (
    BINDER_WORDS,
    LEAST_STRENGTH,
    MOST_STRENGTH,
    Z95,
    Entry,
    MeasuredEntry,
    NamedEntry,
    WeakEntry,
    free_name,
    log_sd_of,
    own_toners,
)
from match.words import begins_formula

LETDOWN_COLUMNS = tuple(tuple(f"{what} {n}" for what in ("percent", "L", "a", "b")) for n in (1, 2))
SPECTRA_COLUMNS = ("K", "S")
COLUMNS = (
    "name",
    "like",
    "strength",
    "lowest",
    "highest",
    "own binder",
    "weak version of",
    *LETDOWN_COLUMNS[0],
    *LETDOWN_COLUMNS[1],
    *SPECTRA_COLUMNS,
)
"""Headings of a toner table, as they are written; read without regard to case."""

COLUMNS_HELP = (
    "name; like (the pigment class) or percent 1, L 1, a 1, b 1 (and 2: let-downs in white, 100 is the masstone); "
    "strength, lowest, highest; own binder (yes or no); weak version of (a toner of the list)"
)
TEXTS = ("name", "like", "own binder", "weak version of")
SEPARATORS = "\t;,"
MOST_ROWS = 1000
WHITE = "white"
LAB_RANGES = ((0.0, 100.0), (-128.0, 128.0), (-128.0, 128.0))  # of L*, a* and b*: wider than any paint's
DIGITS = 6  # significant, of everything written


@dataclass(frozen=True)
class RowFault:
    """A row that cannot be used: its line in the file, counted from 1, the toner's name as written, what is wrong."""

    line: int
    name: str
    words: str


@dataclass(frozen=True)
class TonerTable:
    """A table as read.

    Attributes
    ----------
    entries : the good rows, by name
    faults : the bad ones, in the order of their lines
    unread : headings that say nothing known here
    """

    entries: dict[str, Entry]
    faults: tuple[RowFault, ...]
    unread: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Known:
    """What the rows are read against.

    Attributes
    ----------
    program : the pigment classes that came with the program
    optics : the paint's surface
    limits : for let-downs
    shelf : entries that are on the shelf already, of which a row may be a weak version
    """

    program: Mapping[str, Toner]
    optics: Optics
    limits: TintLimits
    shelf: Mapping[str, Entry] = field(default_factory=dict)


def table_text(content: bytes) -> str:
    """Return an uploaded table's text: UTF-8, UTF-16 with its mark, else the spreadsheets' western code page."""
    for encoding in ("utf-16",) if content[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252"):
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise TintError("the list is not text: save it from the spreadsheet as CSV, or copy its cells and paste them")


def read_table(text: str, known: Known) -> TonerTable:
    """Return the toners of a table and the rows that cannot be read.

    Raises :class:`TintError` when it is no table: without a heading for the names, without rows, or with too many of
    them.
    """
    rows = _rows(text)
    if not rows or "name" not in (headings := [_heading(cell) for cell in rows[0][1]]):
        raise TintError(f"the list needs a first row of headings, one of them name. Known are: {COLUMNS_HELP}")
    twice = [each for each in headings if each and headings.count(each) > 1]
    if twice:
        raise TintError(f"the list has the heading {twice[0]!r} twice: give each column a heading of its own")
    if not 1 < len(rows) <= MOST_ROWS + 1:
        raise TintError(f"the list has {len(rows) - 1} rows below its headings: give from 1 to {MOST_ROWS}")
    by_heading = {_heading(column): column for column in COLUMNS}
    entries: dict[str, Entry] = {}
    lines: dict[str, int] = {}
    faults: list[RowFault] = []
    comma = "," not in rows[0][2]
    for line, cells, _ in rows[1:]:
        said = dict(zip(headings, (cell.strip() for cell in cells), strict=False))
        said |= {h: _unquoted(said[h]) for h in said if by_heading.get(h) in TEXTS}
        name = said.get("name", "")
        try:
            if len(cells) > len(headings):
                raise TintError(
                    f"it has {len(cells)} cells under {len(headings)} headings: put text with separators in quotes"
                )
            name = free_name(name, known.program)
            if name in entries:
                raise TintError(f"the name stands in line {lines[name]} already: give each toner one row")
            entries[name] = _entry(
                name, _Row({by_heading[h]: c for h, c in said.items() if h in by_heading}, comma), known
            )
            lines[name] = line
        except TintError as error:
            faults.append(RowFault(line, name, str(error)))
    _drop_lost_weak(entries, lines, faults, known)
    unread = tuple(cell.strip() for cell, h in zip(rows[0][1], headings, strict=True) if h and h not in by_heading)
    return TonerTable(entries, tuple(sorted(faults, key=lambda fault: fault.line)), unread)


def _rows(text: str) -> list[tuple[int, list[str], str]]:
    """Return line, cells and separator of each row that says anything."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    separator = max(SEPARATORS, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    found, line = [], 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                found.append((line, cells, separator))
            line = reader.line_num + 1
    except csv.Error as error:
        raise TintError(
            f"the list cannot be read in line {line} ({error}): look for a quote that is not closed"
        ) from None
    return found


def _heading(cell: str) -> str:
    return " ".join(cell.replace("_", " ").split()).casefold()


@dataclass(frozen=True)
class _Row:
    """One row's cells by heading; ``comma`` is whether a decimal comma can stand in them."""

    cells: Mapping[str, str]
    comma: bool

    def text(self, heading: str) -> str:
        return self.cells.get(heading, "")

    def number(self, heading: str, low: float, high: float, default: float | None = None) -> float:
        written = self.text(heading)
        if not written and default is not None:
            return default
        try:
            value = float(written.replace(",", ".") if self.comma else written)
        except ValueError:
            value = float("nan")
        if not low <= value <= high:
            raise TintError(f"{heading} is {written!r}: give a number from {low:g} to {high:g}")
        return value

    def spectrum(self, heading: str) -> tuple[float, ...]:
        try:
            values = tuple(float(each) for each in self.text(heading).split())
        except ValueError:
            values = ()
        if len(values) != WAVELENGTHS_NM.size or not all(0 <= value < float("inf") for value in values):
            raise TintError(
                f"{heading} needs {WAVELENGTHS_NM.size} numbers with spaces between, none below zero, "
                "for 400 to 700 nm: leave it out, or copy it whole"
            )
        return values


def _entry(name: str, row: _Row, known: Known) -> Entry:
    """Return what one row says, raising :class:`TintError` with what is wrong."""
    binder = row.text("own binder").casefold()
    if binder not in BINDER_WORDS:
        raise TintError(f"own binder is {row.text('own binder')!r}: write yes or no, or leave it empty")
    weak_of, like = row.text("weak version of"), row.text("like")
    letdowns = [columns for columns in LETDOWN_COLUMNS if any(row.text(column) for column in columns)]
    spectra = any(row.text(column) for column in SPECTRA_COLUMNS)
    if weak_of:
        if like or letdowns or spectra:
            raise TintError("it is a weak version and has a class or let-downs of its own: leave those empty")
        if not row.text("strength"):
            raise TintError("a weak version needs its strength, such as 0.1 of the full-strength toner's")
        return WeakEntry(weak_of, row.number("strength", LEAST_STRENGTH, 0.999), _bounds(row), binder)
    if like and like not in known.program:
        raise TintError(f"no pigment class is called {like!r}: use one of {', '.join(known.program)}")
    if spectra or letdowns:
        return _measured(name, row, known, letdowns, binder)
    if not like:
        raise TintError("it has neither a pigment class under like nor a let-down: give one of them")
    return NamedEntry(like, row.number("strength", LEAST_STRENGTH, MOST_STRENGTH, 1.0), _bounds(row), binder)


def _bounds(row: _Row) -> tuple[float, ...]:
    """Return the lowest and highest strength, or none where the row gives neither."""
    given = [row.text(column) for column in ("lowest", "highest")]
    if not any(given):
        return ()
    if not all(given):
        raise TintError("it has one bound of its strength: give lowest and highest, or neither")
    low, high = (row.number(column, LEAST_STRENGTH, MOST_STRENGTH) for column in ("lowest", "highest"))
    strength = row.number("strength", LEAST_STRENGTH, MOST_STRENGTH, 1.0)
    if not (low < high and low <= strength <= high):
        raise TintError(f"the strength {strength:g} does not lie between lowest {low:g} and highest {high:g}")
    return low, high


def _measured(name: str, row: _Row, known: Known, letdowns: list[tuple[str, ...]], binder: str) -> MeasuredEntry:
    if row.number("strength", LEAST_STRENGTH, MOST_STRENGTH, 1.0) != 1.0:
        raise TintError("it is measured and has a strength too: leave strength empty, the measurement says it")
    bounds = _bounds(row)
    if any(row.text(column) for column in SPECTRA_COLUMNS):
        if letdowns:
            raise TintError("it has let-downs and K and S: leave one of them empty")
        K, S = (row.spectrum(column) for column in SPECTRA_COLUMNS)
        return MeasuredEntry(K, S, log_sd_of(bounds) if bounds else known.limits.strength_sd, binder)
    like = known.program[row.text("like")] if row.text("like") else None
    read = [_letdown(row, columns, known.limits) for columns in letdowns]
    measured = measure_toner(name, read, known.program[WHITE], known.optics, known.limits, like)
    if max(measured.lab_left) > known.limits.letdown_misfit:
        raise TintError(
            f"no paint of this kind looks like its let-downs, {max(measured.lab_left):.0f} CIELAB remain: check the "
            "percent, L, a and b"
        )
    K, S = (tuple(float(v) for v in spectrum) for spectrum in (measured.toner.absorption, measured.toner.scattering))
    return MeasuredEntry(K, S, log_sd_of(bounds) if bounds else measured.log_strength_sd, binder)


def _letdown(row: _Row, columns: tuple[str, ...], limits: TintLimits) -> LetDown:
    """Return a let-down; its colour is taken to be as sure as a well sprayed card."""
    share = row.number(columns[0], 0.01, 100.0) / 100
    lab = np.array([row.number(column, low, high) for column, (low, high) in zip(columns[1:], LAB_RANGES, strict=True)])
    return LetDown(share, CardColour(lab, limits.card_sd**2 * np.eye(3)))


def _drop_lost_weak(entries: dict[str, Entry], lines: dict[str, int], faults: list[RowFault], known: Known) -> None:
    """Move weak versions of what is not there, and entries that are no toner, to the faults."""
    every = {**known.shelf, **entries}
    for name, entry in list(entries.items()):
        strong = entry.weak_of if isinstance(entry, WeakEntry) else ""
        try:
            own_toners({name: entry, **({strong: every[strong]} if strong in every else {})}, known.program)
        except TintError as error:
            faults.append(RowFault(lines[name], name, str(error)))
            del entries[name]


def written_table(entries: Mapping[str, Entry]) -> str:
    """Return entries as a table that :func:`read_table` reads back."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    for name, entry in entries.items():
        cells = {"name": name, "own binder": entry.own_binder, **_cells(entry)}
        writer.writerow({column: _quoted(cells[column]) if column in TEXTS else cells[column] for column in cells})
    return out.getvalue()


def _quoted(words: str) -> str:
    """Return words for a cell: with an apostrophe in front where a spreadsheet would run them as a formula."""
    return f"'{words}" if begins_formula(words) or words.startswith("'") else words


def _unquoted(cell: str) -> str:
    """Return what :func:`_quoted` was given."""
    return cell[1:] if cell.startswith("'") and (begins_formula(cell[1:]) or cell[1:].startswith("'")) else cell


def _cells(entry: Entry) -> dict[str, str]:
    if isinstance(entry, MeasuredEntry):
        reach = np.exp(Z95 * entry.log_strength_sd)
        bounds: tuple[float, ...] = (float(1 / reach), float(reach)) if reach > 1 else ()
        spectra = zip(SPECTRA_COLUMNS, (entry.absorption, entry.scattering), strict=True)
        cells = {column: " ".join(_digits(value) for value in values) for column, values in spectra}
    else:
        bounds = entry.bounds
        cells = {"strength": _digits(entry.strength)}
        cells |= {"weak version of": entry.weak_of} if isinstance(entry, WeakEntry) else {"like": entry.like}
    return cells | {column: _digits(value) for column, value in zip(("lowest", "highest"), bounds, strict=False)}


def _digits(value: float) -> str:
    return f"{value:.{DIGITS}g}"
