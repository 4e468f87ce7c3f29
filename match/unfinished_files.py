"""What writers of small files that were killed have left beside them: hidden files, found by name and lock, cleared."""

from __future__ import annotations

import re
import secrets
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from filelock import FileLock

_SCRATCH, _LOCK = ".new", ".sprayout-lock"
_LEFT = re.compile(r"\.(?P<name>.+)(?:\.[0-9a-f]{12}\.new|\.sprayout-lock)", re.DOTALL)


def scratch_of(target: Path) -> Path:
    """Return a new name beside a file, for it to be written under before it takes its own."""
    return target.parent / f".{target.name}.{secrets.token_hex(6)}{_SCRATCH}"


def lock_of(target: Path, wait_seconds: float) -> FileLock:
    """Return the lock of a file, a hidden one beside it while it is held; loaded here: most runs write nothing."""
    from filelock import FileLock

    return FileLock(target.parent / f".{target.name}{_LOCK}", timeout=wait_seconds)


def left_in(folder: Path) -> list[Path]:
    """Return what killed writers left directly in a folder; that of a writer at work is not among it."""
    by_name = _by_name(folder)
    return sorted(path for name, paths in by_name.items() if _is_free(folder / name) for path in paths)


def clear_in(folder: Path) -> int:
    """Remove what killed writers left directly in a folder; return how many files are gone."""
    gone = 0
    for name, paths in _by_name(folder).items():
        gone += _clear(folder / name, paths)
    return gone


def _by_name(folder: Path) -> dict[str, list[Path]]:
    """Return the hidden files in a folder by the name of the file that was being written."""
    found: dict[str, list[Path]] = {}
    with suppress(OSError):
        for path in folder.iterdir():
            left = _LEFT.fullmatch(path.name)
            if left and path.is_file() and not path.is_symlink():
                found.setdefault(left["name"], []).append(path)
    return found


def _is_free(target: Path) -> bool:
    """Return whether nobody is writing a file; to ask makes no lock where there is none."""
    lock = lock_of(target, 0.0)
    if not Path(lock.lock_file).exists():
        return True
    with suppress(OSError, TimeoutError), lock:
        return True
    return False


def _clear(target: Path, paths: list[Path]) -> int:
    lock = lock_of(target, 0.0)
    with suppress(OSError, TimeoutError):
        lock.acquire()
        try:
            for path in paths:
                path.unlink(missing_ok=True)
            with suppress(OSError):
                Path(lock.lock_file).unlink()  # held: a waiting writer notices that its lock is gone
        finally:
            lock.release()
    return sum(not path.exists() for path in paths)
