"""Where calibration files lie: those that came with the program, and a shop's own."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from match.calibration import plausible
from match.errors import CalibrationError, FileError
from match.files import read_bytes

APPLICATION = "sprayout-match"
OVERRIDE_VARIABLE = "SPRAYOUT_CALIBRATION"

FORMER_NAMES = {"several": "evidence", "coats": "evidence", "own_camera": "evidence"}
"""Files that were one file in version 0.1: a shop's own copy of that one is never passed over in silence."""


@dataclass(frozen=True)
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
    inside_wheel = Path(__file__).parents[1] / "_calibration"
    return inside_wheel if inside_wheel.is_dir() else Path(__file__).parents[2] / "calibration"


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
