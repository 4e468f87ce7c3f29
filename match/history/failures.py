"""Turn what a database or a disk says when it fails into one sentence a shop can act on."""

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, NoSuchModuleError, SQLAlchemyError, StatementError

from match.errors import StoreError

FULL = "the disk is full: make room, then save again; what was saved before is untouched"
READ_ONLY = "the folder or file may not be written: choose another data folder, or allow writing to it"
BUSY = "another program kept the history locked: close it or wait a moment, then try again; nothing was saved"
DAMAGED = (
    "the database file is damaged: copy the data folder to a safe place, then restore the latest backup into a new "
    "folder; the damaged file was left as it is"
)
SERVER_DAMAGED = "the server says that its database is damaged: restore it with the server's own tools"
UNREACHABLE = (
    "the database server does not answer or refused the connection: check that it runs and the address is right"
)
CLASH = "another program changed the same records at the same moment: load them again and repeat; nothing was saved"
DISK = "the disk could not be read or written: check the disk, then try again; what was saved before is untouched"

_SQLITE = {
    "SQLITE_FULL": FULL,
    "SQLITE_READONLY": READ_ONLY,
    "SQLITE_PERM": READ_ONLY,
    "SQLITE_AUTH": READ_ONLY,
    "SQLITE_CANTOPEN": "the database file cannot be opened: check that the data folder exists and may be written",
    "SQLITE_BUSY": BUSY,
    "SQLITE_LOCKED": BUSY,
    "SQLITE_CORRUPT": DAMAGED,
    "SQLITE_NOTADB": DAMAGED,
    "SQLITE_IOERR": DISK,
    "SQLITE_CONSTRAINT": CLASH,
}

# Classes of SQLSTATE, from the PostgreSQL manual's appendix of error codes.
_SQLSTATE = {
    "08": UNREACHABLE,
    "28": UNREACHABLE,
    "3D": UNREACHABLE,
    "57": UNREACHABLE,
    "53100": FULL,
    "25006": READ_ONLY,
    "42501": READ_ONLY,
    "40": CLASH,
    "23": CLASH,
    "55P03": BUSY,
    "XX001": SERVER_DAMAGED,
    "XX002": SERVER_DAMAGED,
}

_ERRNO = {
    errno.ENOSPC: FULL,
    errno.EDQUOT: FULL,
    errno.EFBIG: FULL,
    errno.EACCES: READ_ONLY,
    errno.EPERM: READ_ONLY,
    errno.EROFS: READ_ONLY,
}


@contextmanager
def as_store_error(where: str) -> Iterator[None]:
    """Run the block; a failure of the database or the disk becomes a :class:`StoreError` that names ``where``."""
    try:
        yield
    except (SQLAlchemyError, sqlite3.Error) as error:
        if isinstance(error, StatementError) and isinstance(error.orig, StoreError):
            raise error.orig from None
        raise StoreError(f"{where}: {_database_sentence(error)}") from error
    except OSError as error:
        raise StoreError(f"{where}: {_ERRNO.get(error.errno or 0, f'{DISK} ({error.strerror or error})')}") from error


def _database_sentence(error: Exception) -> str:
    if isinstance(error, NoSuchModuleError):
        return "this kind of database is not known: install its SQLAlchemy driver, or check the address"
    cause = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    name = getattr(cause, "sqlite_errorname", None) or ""
    for start, sentence in _SQLITE.items():
        if name.startswith(start):
            return sentence
    state = getattr(cause, "sqlstate", None) or ""
    for length in (5, 2):
        if state[:length] in _SQLSTATE:
            return _SQLSTATE[state[:length]]
    if not name and not state and type(cause).__name__ == "OperationalError":
        return UNREACHABLE  # a driver that never reached its server has no code to give
    return f"the database could not do this ({str(cause).splitlines()[0] if str(cause) else type(cause).__name__})"
