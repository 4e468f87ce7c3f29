"""The shop's paint lines with their data sheets' figures, kept in one file of the shop's (edge: file).

``own_paint_lines.toml`` lies beside the user's copies of the calibration files and can be edited by hand:
``[lines.NAME.base]`` holds ``flash`` and the like as ``practice.toml`` does.
"""

from collections.abc import Callable, Mapping
from pathlib import Path

import tomlkit

from match import calibration
from match.blend.data_sheet import MOST_LINES, DataSheet, sheet_of
from match.errors import CalibrationError, PlanError
from match.files import changing

OWN_FILE = "own_paint_lines"
PRACTICE = "practice"


def own_path() -> Path:
    """Return where the paint lines are kept."""
    return calibration.own_file(OWN_FILE)


def read_sheets() -> dict[str, DataSheet]:
    """Return every paint line's data sheet, by its name; raises :class:`CalibrationError` for a file that is wrong."""
    if not own_path().is_file():
        return {}
    lines = calibration.read_table(OWN_FILE).get("lines", {})
    if not isinstance(lines, Mapping) or not all(isinstance(line, Mapping) for line in lines.values()):
        raise CalibrationError(f"{own_path()}: each paint line is a table [lines.NAME]: correct or remove the file")
    try:
        found = {line: sheet_of(line, table) for line, table in lines.items()}
    except PlanError as error:
        raise CalibrationError(f"{own_path()}: {error}") from None
    for line, sheet in found.items():
        calibration.require_plausible(sheet.table(), calibration.Place(own_path(), PRACTICE, ("lines", line)))
    return found


def sheet_called(line: str) -> DataSheet:
    """Return the data sheet of a paint line, raising :class:`PlanError` for one that is not kept."""
    kept = read_sheets()
    if line not in kept:
        known = ", ".join(kept) or "there are none yet"
        raise PlanError(f"no paint line is called {line!r} ({known}): type its data sheet first")
    return kept[line]


def keep_sheet(sheet: DataSheet) -> None:
    """Keep a paint line's figures, in place of what was kept under its name."""
    try:
        calibration.require_plausible(sheet.table(), calibration.Place(own_path(), PRACTICE))
    except CalibrationError as error:
        raise PlanError(f"the data sheet of {sheet.line!r} cannot be kept: {error}") from None

    def changed(sheets: dict[str, DataSheet]) -> dict[str, DataSheet]:
        if sheet.line not in sheets and len(sheets) >= MOST_LINES:
            raise PlanError(f"{MOST_LINES} paint lines are kept already: forget one first")
        return {**sheets, sheet.line: sheet}

    _change(changed)


def forget_sheet(line: str) -> None:
    """Forget a paint line."""

    def without(sheets: dict[str, DataSheet]) -> dict[str, DataSheet]:
        if line not in sheets:
            raise PlanError(f"no paint line is called {line!r}: check its name")
        return {name: sheet for name, sheet in sheets.items() if name != line}

    _change(without)


def _change(change: Callable[[dict[str, DataSheet]], dict[str, DataSheet]]) -> None:
    with changing(own_path(), "your paint lines", make_folder=True) as write:
        calibration.read_again()
        before = read_sheets()
        after = change(before)
        document = _document()
        lines = document.setdefault("lines", tomlkit.table(is_super_table=True))
        for line in before:
            if line not in after:
                del lines[line]
        for line, sheet in after.items():
            if before.get(line) != sheet:
                lines[line] = _tables(sheet)
        write(tomlkit.dumps(document))
    calibration.read_again()


def _document() -> tomlkit.TOMLDocument:
    """Return the file as it is written, comments and all; empty where there is none."""
    path = own_path()
    return tomlkit.parse(path.read_text(encoding="utf-8-sig")) if path.is_file() else tomlkit.document()


def _tables(sheet: DataSheet) -> tomlkit.items.Table:
    whole = tomlkit.table(is_super_table=True)
    for name, fields in sheet.table().items():
        part = tomlkit.table()
        for field, entry in fields.items():
            inline = tomlkit.inline_table()
            inline.update(entry)
            part[field] = inline
        whole[name] = part
    return whole
