"""Where the history is: as the user said, else in the user's data folder. Imports no database."""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs

from match.calibration import APPLICATION
from match.errors import StoreError

DATA_VARIABLE = "SPRAYOUT_DATA"
"""Names the data folder, or the address of a shared database, where no ``--data`` does."""


def history_place(given: str | None = None) -> str | None:
    """Return where the history is: as given, else as the environment says, else None for the user's data folder."""
    return given or os.environ.get(DATA_VARIABLE) or None


def is_address(location: str | Path | None) -> bool:
    """Return whether this is a database's address and not a folder."""
    return "://" in str(location)


def data_folder(location: str | Path | None) -> Path:
    """Return the data folder that is no address; raises :class:`match.errors.StoreError` when it is a file."""
    home = Path(location) if location is not None else Path(platformdirs.user_data_dir(APPLICATION))
    if home.exists() and not home.is_dir():
        raise StoreError(f"{home} is a file, expected a data folder: name the folder that holds the history")
    return home.absolute()
