"""Small files: read under guard, written whole or not at all, changed by one writer at a time (edge: file).

A file that a person can name may be anything: a folder, a pipe that never ends, a gigabyte, brackets a million deep.
Each is one sentence of :class:`match.errors.FileError`. A reader meets the old file or the new one, never half of
either, whenever the writer was killed.
"""

import json
import math
import os
import stat
import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from match.errors import FileError, MissingFileError
from match.unfinished_files import clear_in, lock_of, scratch_of

MOST_BYTES = 8_000_000
"""Engineering choice: a check of many photos has some 100 kB; a file of this size is still read in a second."""

DEEPEST = 40
"""Engineering choice: a check is nested 8 deep."""

LARGEST_WHOLE = 2**63
"""Whole numbers below this in size: what TOML 1.0 promises to keep, and more than any pixel or count needs."""

PATIENCE_S = 20.0
"""Engineering choice: a writer holds the lock for some milliseconds, on a slow network share for seconds."""


def read_bytes(path: Path, what: str) -> bytes:
    """Return the bytes of an ordinary file of at most :data:`MOST_BYTES`.

    Parameters
    ----------
    path : the file
    what : what it should be, for the sentence, such as ``the region file``

    Raises
    ------
    MissingFileError
        When there is no such file.
    FileError
        When it cannot be read, is not an ordinary file, or is too large.
    """
    try:
        # Without waiting: the opening of a pipe would last until somebody writes into it.
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with os.fdopen(descriptor, "rb") as file:
            if not stat.S_ISREG(os.fstat(descriptor).st_mode):
                raise FileError(f"{what} {path} is not an ordinary file but a pipe or a device: give a file")
            content = file.read(MOST_BYTES + 1)
    except FileError:
        raise
    except FileNotFoundError as error:
        raise MissingFileError(f"{what} {path} cannot be read ({error.strerror}): check its name") from None
    except IsADirectoryError:
        raise FileError(f"{what} {path} is a folder: give a file in it") from None
    except OSError as error:
        if path.is_dir():  # Windows says only that it may not be opened
            raise FileError(f"{what} {path} is a folder: give a file in it") from None
        raise FileError(f"{what} {path} cannot be read ({error.strerror}): check its name") from None
    except ValueError:
        raise FileError(f"{what} {str(path)!r} cannot be read (no file has such a name): check its name") from None
    return _of_size(content, f"{what} {path}")


def read_json(path: Path, what: str) -> Any:
    """Return a JSON file parsed; raises as :func:`read_bytes` and :func:`parse_json` do."""
    return parse_json(read_bytes(path, what), f"{what} {path}")


def read_toml(path: Path, what: str) -> dict[str, Any]:
    """Return a TOML file parsed; raises as :func:`read_bytes` and :func:`parse_toml` do."""
    return parse_toml(read_bytes(path, what), f"{what} {path}")


def read_table(path: Path, what: str) -> Any:
    """Return a file parsed, as TOML where its name ends in ``.toml`` and as JSON elsewhere."""
    return read_toml(path, what) if path.suffix.lower() == ".toml" else read_json(path, what)


def parse_json(content: bytes | str, what: str) -> Any:
    """Return JSON parsed; ``what`` names it in the sentence, such as ``the check card.json``.

    Raises :class:`FileError` when it is not UTF-8 or not JSON, is too large or nested too deep, or holds a number that
    is not finite, a whole number beyond :data:`LARGEST_WHOLE`, or text that no file can hold.
    """
    return _parsed(content, what, "JSON", json.loads)


def parse_toml(content: bytes | str, what: str) -> dict[str, Any]:
    """Return TOML parsed; see :func:`parse_json`."""
    parsed: dict[str, Any] = _parsed(content, what, "TOML", tomllib.loads)
    return parsed


def _parsed(content: bytes | str, what: str, language: str, parse: Callable[[str], Any]) -> Any:
    try:
        text = content if isinstance(content, str) else _of_size(content, what).decode("utf-8-sig")
        return sound(parse(text), what)
    except UnicodeDecodeError:
        raise FileError(f"{what} is not text in UTF-8: save it as UTF-8, or give another file") from None
    except RecursionError:
        raise FileError(_too_deep(what)) from None
    except (json.JSONDecodeError, tomllib.TOMLDecodeError) as error:
        raise FileError(f"{what} is not {language} ({error}): correct it, or give another file") from None
    except FileError:
        raise
    except ValueError:  # Python turns no text of more than some thousand digits into a number
        raise FileError(_too_large(what)) from None


def _of_size(content: bytes, what: str) -> bytes:
    if len(content) > MOST_BYTES:
        raise FileError(f"{what} is larger than {MOST_BYTES // 1_000_000} MB: give the small file that is meant")
    return content


def sound(parsed: Any, what: str) -> Any:
    """Return what was parsed if a file of ours could hold it; raises as :func:`parse_json` does.

    No recursion, whose depth would be the file's choice.
    """
    level, depth = [parsed], 0
    while level:
        if depth > DEEPEST:
            raise FileError(_too_deep(what))
        below: list[Any] = []
        for value in level:
            if isinstance(value, dict):
                below += [*value, *value.values()]
            elif isinstance(value, list):
                below += value
            elif isinstance(value, float) and not math.isfinite(value):
                raise FileError(f"{what} holds a number that is not finite ({value}): correct it, or write it again")
            elif isinstance(value, int) and abs(value) >= LARGEST_WHOLE:
                raise FileError(_too_large(what))
            elif isinstance(value, str) and not value.isascii() and any("\ud800" <= sign <= "\udfff" for sign in value):
                raise FileError(f"{what} holds half a letter (a lone surrogate): correct it, or write it again")
        level, depth = below, depth + 1
    return parsed


def _too_deep(what: str) -> str:
    return f"{what} is nested more than {DEEPEST} deep: give the small file that is meant"


def _too_large(what: str) -> str:
    return f"{what} holds a whole number of more than 18 digits: correct it, or write it again"


def write_whole(path: Path, content: bytes | str, what: str) -> None:
    """Write a file whole or not at all, and return when it is on the disk; text becomes UTF-8.

    Raises :class:`FileError` when it cannot be written; what was there before is untouched.
    """
    with changing(path, what) as write:
        write(content)


@dataclass(frozen=True)
class Kind:
    """A kind of file that the program writes where a person says; a file is of it when it holds ``sign``."""

    words: str
    sign: bytes


def write_new(path: Path, content: bytes | str, kind: Kind, replace: bool | None = False) -> None:
    """Write a file under the name that a person typed, whole or not at all, never over another file.

    Only with ``replace``, and only a file of the same kind, is written over: a slip that names a photo or a saved check
    costs nothing; None says that ``--replace`` is not on offer. A write that fails leaves nothing behind.

    Raises :class:`FileError` when there is a file of that name, or it cannot be written; what was there before is
    untouched.
    """
    with changing(path, f"the {kind.words}") as write:
        if os.path.lexists(path):
            if not replace:
                offer = "" if replace is None else ", or add --replace"
                raise FileError(f"{path} is there already, and nothing is overwritten: name a new file{offer}")
            if kind.sign not in read_bytes(path, "the file"):
                raise FileError(f"{path} is there and is not a {kind.words}, so it stays as it is: name a new file")
        write(content)


@contextmanager
def changing(path: Path, what: str, make_folder: bool = False) -> Iterator[Callable[[bytes | str], None]]:
    """Hold a file for reading, changing and writing; yields what writes it, as :func:`write_whole` does.

    Everybody who changes the file this way waits for the others, other programs and other threads alike, so that
    nobody writes over what another has just added. The lock is a hidden file beside it while it is held; what killed
    writers left in the folder goes with the next change there (:mod:`match.unfinished_files`). ``make_folder`` is for a
    folder that the program itself chose: one that a person typed is not made of a slip.

    Raises :class:`FileError` when the folder cannot be written, or another program holds the file for more than
    :data:`PATIENCE_S` seconds.
    """
    from filelock import Timeout

    with _said(path, what):
        target = Path(os.path.realpath(path))  # a link stays a link: what it points to is replaced
        if make_folder:
            target.parent.mkdir(parents=True, exist_ok=True)
        clear_in(target.parent)  # what killed writers left, of this file and of its neighbours
        lock = lock_of(target, PATIENCE_S)
        try:
            lock.acquire()
        except Timeout:
            raise FileError(f"{what} {path} is being written by another program: wait a little and repeat") from None
    try:

        def write(content: bytes | str) -> None:
            with _said(path, what):
                _put(target, content)

        yield write
    finally:
        if os.name != "nt":  # there the release does it; here a waiting writer notices that its lock is gone
            with suppress(OSError):
                Path(lock.lock_file).unlink()
        lock.release()


def sync_folder(folder: Path) -> None:
    """Make the names in a folder reach the disk; only POSIX systems can and need to."""
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _put(target: Path, content: bytes | str) -> None:
    mode = _mode(target)
    scratch = scratch_of(target)
    try:
        with open(scratch, "xb", opener=_own if _is_closed(target.parent) else None) as file:
            file.write(content.encode("utf-8") if isinstance(content, str) else content)
            file.flush()
            os.fsync(file.fileno())
        if mode is not None:
            os.chmod(scratch, mode)
        os.replace(scratch, target)
    except BaseException:
        scratch.unlink(missing_ok=True)
        raise
    sync_folder(target.parent)


def _is_closed(folder: Path) -> bool:
    """Return whether nobody but its owner may look into a folder: what is made in it is the owner's alone too."""
    return os.name == "posix" and not stat.S_IMODE(folder.stat().st_mode) & 0o077


def _own(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def _mode(target: Path) -> int | None:
    """Return the permissions of the file that is replaced, if there is one; anything but a file is not replaced."""
    try:
        found = target.stat().st_mode
    except FileNotFoundError:
        return None
    if not stat.S_ISREG(found):
        raise OSError(0, "it is not an ordinary file")
    return stat.S_IMODE(found)


@contextmanager
def _said(path: Path, what: str) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise FileError(f"{what} cannot be written to {path} ({error.strerror}): name or free another place") from None
    except ValueError as error:
        if isinstance(error, FileError):
            raise
        raise FileError(f"{what} cannot be written to {str(path)!r} (no file has such a name): check it") from None
