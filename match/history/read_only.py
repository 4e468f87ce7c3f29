"""A history on media that may not be written: looked at where it lies, without a file of ours beside it."""

import os
import shutil
from pathlib import Path

_LOG, _INDEX = "-wal", "-shm"


def may_write(database_file: Path) -> bool:
    """Return whether this user may write the file and its folder, in which SQLite keeps a log beside it."""
    by_effect = os.access in os.supports_effective_ids
    return all(os.access(path, os.W_OK, effective_ids=by_effect) for path in (database_file, database_file.parent))


def address(database_file: Path) -> str | None:
    """Return the address by which SQLite reads the file and writes nothing, or None where it must be copied first.

    A log with an index belongs to a program that is writing now, which SQLite follows. A log without one holds changes
    that cannot be taken in without writing. Where there is no log nobody writes, and SQLite need not look for one.
    """
    log, index = (Path(f"{database_file}{end}") for end in (_LOG, _INDEX))
    named = f"{database_file.absolute().as_uri()}?mode=ro"
    if not log.exists() or not log.stat().st_size:
        return f"{named}&immutable=1"
    return named if index.exists() else None


def copied(database_file: Path, folder: Path) -> Path:
    """Copy a database with its log into ``folder``, where it can be brought up to date; return the copy."""
    copy = folder / database_file.name
    for end in ("", _LOG):
        source = Path(f"{database_file}{end}")
        if source.exists():
            shutil.copyfile(source, f"{copy}{end}")
    return copy
