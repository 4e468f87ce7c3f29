"""Where the history is: as the user said, else in the user's data folder. Imports no database."""

import os
import re
import stat
from pathlib import Path

import platformdirs

from match.calibration import APPLICATION
from match.errors import StoreError

DATABASE_FILE = "history.sqlite"
"""The history in a data folder."""

ADDRESS_FILE_VARIABLE = "SPRAYOUT_DATA_FILE"
"""Names a file of the user's alone whose one line is that address, so that no process list shows its password."""

_MOST_ADDRESS = 4000
_PASSWORD = re.compile(r"^[A-Za-z][A-Za-z0-9+]*:/{0,2}[^/@:]*:[^/@]+@|[?&](?:ssl)?password=", re.IGNORECASE)
_ALMOST_ADDRESS = re.compile(r"^[A-Za-z][A-Za-z0-9+]+:|^[^/\\]*:[^/\\]*@")
"""A scheme of two letters or more (one is a drive), or a password before an @."""

DATA_VARIABLE = "SPRAYOUT_DATA"
"""Names the data folder, or the address of a shared database, where no ``--data`` does."""


def history_place(given: str | None = None) -> str | None:
    """Return where the history is: as given, else as the environment says, else None for the user's data folder.

    Raises :class:`StoreError` when a password was typed on the command line, where every user of the computer can read
    it, or the file that holds the address cannot be read or can be read by others.
    """
    if given and _PASSWORD.search(given):
        raise StoreError(
            "a password in --data can be read by every user of this computer: put the address into the variable "
            f"{DATA_VARIABLE}, or into a file of your own that {ADDRESS_FILE_VARIABLE} names"
        )
    return given or os.environ.get(DATA_VARIABLE) or _from_file() or None


def is_begun(place: str | None) -> bool:
    """Return whether a history may be there already, without opening it: always at a database server's address."""
    return is_address(place) or (data_folder(place) / DATABASE_FILE).is_file()


def _from_file() -> str | None:
    named = os.environ.get(ADDRESS_FILE_VARIABLE)
    if not named:
        return None
    path = Path(named)
    try:
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
        with os.fdopen(descriptor, encoding="utf-8") as file:
            status = os.fstat(descriptor)
            if not stat.S_ISREG(status.st_mode):
                raise StoreError(f"{path} is not an ordinary file: name the file that holds the database's address")
            if os.name == "posix" and status.st_mode & 0o077:
                raise StoreError(f"{path} holds an address and can be read by others: run chmod 600 on it first")
            return file.read(_MOST_ADDRESS).strip()
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not text"
        raise StoreError(f"{path}, which {ADDRESS_FILE_VARIABLE} names, cannot be read ({reason}): check it") from None


def is_address(location: str | Path | None) -> bool:
    """Return whether this is a database's address and not a folder."""
    return "://" in str(location)


def data_folder(location: str | Path | None) -> Path:
    """Return the data folder that is no address; raises :class:`match.errors.StoreError` when it is a file."""
    if location is not None and _ALMOST_ADDRESS.search(str(location)):
        raise StoreError(
            "the place of the history looks like a database's address with something missing, and was not taken for a "
            "folder's name: write it like postgresql://host/name"
        )
    home = Path(location) if location is not None else Path(platformdirs.user_data_dir(APPLICATION))
    if home.is_symlink() and not home.exists():
        raise StoreError(f"{home} is a link that leads nowhere: name the folder that holds the history")
    if home.exists() and not home.is_dir():
        raise StoreError(f"{home} is a file, expected a data folder: name the folder that holds the history")
    return home.absolute()
