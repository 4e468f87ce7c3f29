"""Folders in which something is made whole before it gets its name, and what a killed program left of them.

A scratch folder lies beside what is being made, on the same disk, and belongs to this user alone. Its maker holds a
lock in it, which the system lets go when the program ends in any way: an unlocked one is a leftover.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import tempfile
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from match.calibration import override_folder
from match.unfinished_files import left_in

if TYPE_CHECKING:
    from filelock import FileLock

_END, _LOCK = ".part", "being-written.lock"
NOTES = "unfinished"
"""Folder in a data folder that names the scratch folders elsewhere: an archive is written where a person says."""

ABANDONED_AFTER_SECONDS = 86_400.0
"""Engineering choice: a file without a lock is taken for a leftover after a day."""

_NAME = re.compile(r"\..+\.[0-9a-f]{32}\.part")
_MAKING_SECONDS, _LOCKING_SECONDS = 60.0, 2.0
"""Engineering choice: between making the folder, its lock and holding that, microseconds pass."""

_TEMPORARY = "sprayout-match"
"""What scratch folders are named after that belong beside nothing, in the system's folder for temporary files."""


@contextmanager
def scratch_beside(target: Path, noted_in: Path | None = None) -> Iterator[Path]:
    """Yield a new folder beside ``target``, gone afterwards; what killed programs left beside it is cleared first.

    ``noted_in`` is a data folder that remembers it meanwhile, so that a verification finds what a kill leaves.
    """
    home = target.absolute().parent
    clear(found_in(home))
    folder = home / f".{target.name}.{uuid.uuid4().hex}{_END}"
    note = _noted(noted_in, folder)
    try:
        folder.mkdir(mode=0o700)
        with _lock(folder, -1.0):
            yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        if note is not None:
            note.unlink(missing_ok=True)


@contextmanager
def scratch_elsewhere() -> Iterator[Path]:
    """Yield a new folder among the system's temporary files; like one beside a target, it is cleared after a kill."""
    with scratch_beside(Path(tempfile.gettempdir()) / _TEMPORARY) as folder:
        yield folder


def _lock(folder: Path, wait_seconds: float) -> FileLock:
    """Return the lock of a scratch folder; loaded here, since most runs write nothing. Any thread may let it go."""
    from filelock import FileLock

    return FileLock(folder / _LOCK, timeout=wait_seconds, thread_local=False)


def _noted(data_folder: Path | None, folder: Path) -> Path | None:
    if data_folder is None:
        return None
    note = data_folder / NOTES / folder.name.rsplit(".", 2)[1]
    with contextlib.suppress(OSError):  # a history on read-only media is exported without a note
        note.parent.mkdir(mode=0o700, exist_ok=True)
        note.touch(mode=0o600)
        note.write_text(str(folder), encoding="utf-8")
        return note
    return None


def found_in(folder: Path) -> list[Path]:
    """Return the scratch folders directly in ``folder`` that nobody holds any more."""
    with contextlib.suppress(OSError):
        return [path for path in sorted(folder.glob(f".*{_END}")) if _is_left(path)]
    return []


def leftovers(data_folder: Path) -> list[Path]:
    """Return everything that killed programs left.

    It lies in the data folder, beside it, where archives were written, among the user's own calibration files, and
    among the system's temporary ones.
    """
    found = {*found_in(data_folder.parent), *found_in(data_folder)}
    found |= _of_photos(data_folder / "photos" / "incoming") | _of_photos(data_folder / "bench" / "incoming")
    found |= {path for path in found_in(Path(tempfile.gettempdir())) if path.name.startswith(f".{_TEMPORARY}.")}
    found |= {path for folder in (data_folder, override_folder()) for path in left_in(folder)}
    for note in _listed(data_folder / NOTES):
        place = _place(note)
        if place is None or not place.exists():
            with contextlib.suppress(OSError):
                if time.time() - note.stat().st_mtime > 1.0:  # a note is written before its folder is made
                    note.unlink(missing_ok=True)
        elif _is_left(place):
            found |= {place, note}
    found |= {path for path in _listed(data_folder) if path.name.endswith(f"{_END}") and _is_old(path)}
    return sorted(found)


def clear(found: list[Path]) -> int:
    """Remove leftovers; return how many are gone."""
    for path in found:
        if path.is_dir() and not path.is_symlink():
            _remove(path)
        else:
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)
    return sum(not os.path.lexists(path) for path in found)


def _remove(folder: Path) -> None:
    """Remove a scratch folder under its own lock: one that is just being made waits, and then finds itself gone."""
    from filelock import Timeout

    with contextlib.suppress(Timeout, OSError, RuntimeError), _lock(folder, 0.0):
        shutil.rmtree(folder, ignore_errors=True)
    if not (folder / _LOCK).exists():
        shutil.rmtree(folder, ignore_errors=True)


def _of_photos(incoming: Path) -> set[Path]:
    return {path for path in _listed(incoming) if path.name.endswith(_END) and (_is_left(path) or _is_old(path))}


def _listed(folder: Path) -> list[Path]:
    with contextlib.suppress(OSError):
        return sorted(folder.iterdir())
    return []


def _place(note: Path) -> Path | None:
    """Return the scratch folder that a note names; a note that anything else was written into names none."""
    try:
        place = Path(note.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return place if _NAME.fullmatch(place.name) and place.is_absolute() else None


def _is_left(folder: Path) -> bool:
    """Return whether this is a scratch folder whose maker is gone; making it takes a moment in which it is empty."""
    from filelock import Timeout

    if not _NAME.fullmatch(folder.name) or not folder.is_dir() or folder.is_symlink():
        return False
    with contextlib.suppress(Timeout, OSError, RuntimeError):
        if not (folder / _LOCK).exists():
            return not any(folder.iterdir()) and time.time() - folder.stat().st_mtime > _MAKING_SECONDS
        with _lock(folder, 0.0):
            return time.time() - (folder / _LOCK).stat().st_mtime > _LOCKING_SECONDS
    return False


def _is_old(path: Path) -> bool:
    with contextlib.suppress(OSError):
        return path.is_file() and time.time() - path.stat().st_mtime > ABANDONED_AFTER_SECONDS
    return False
