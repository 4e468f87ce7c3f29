"""Where the history lives, and transactions on it: an embedded SQLite file, or a shop's database server."""

import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

import platformdirs
from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError
from sqlalchemy.pool import QueuePool

from match.calibration import APPLICATION
from match.errors import StoreError
from match.history import read_only
from match.history.canonical import Unreadable
from match.history.failures import READ_ONLY, as_store_error
from match.history.place import DATABASE_FILE, data_folder, is_address
from match.history.scratch import scratch_elsewhere

BUSY_SECONDS = 30
_WRITING = "history_writing"


@dataclass(frozen=True)
class Place:
    """Where a history is: the database's address, the data folder of its photos, and a name for messages."""

    url: URL
    folder: Path
    label: str

    @property
    def database_file(self) -> Path | None:
        """The SQLite file, or None for a database server."""
        return Path(self.url.database) if self.url.get_backend_name() == "sqlite" and self.url.database else None


def locate(location: str | Path | None, folder: Path | None) -> Place:
    """Return the place meant by ``location``: None is the user's data folder, a path a data folder, else a URL.

    Raises :class:`StoreError` when the location is a file, or an address that SQLAlchemy cannot read.
    """
    if not is_address(location):
        home = data_folder(location)
        return Place(URL.create("sqlite", database=str(home / DATABASE_FILE)), folder or home, str(home))
    try:
        url = make_url(str(location))
    except (ArgumentError, ValueError):
        raise StoreError("the address of the database cannot be read: write it like postgresql://host/name") from None
    if url.drivername in ("postgresql", "postgres"):
        url = url.set(drivername="postgresql+psycopg")
    label = url.set(query={}).render_as_string(hide_password=True)  # a password may stand in the query too
    if url.get_backend_name() != "sqlite":
        return Place(url, folder or Path(platformdirs.user_data_dir(APPLICATION)), label)
    if not url.database or url.database == ":memory:":
        raise StoreError("a history in memory would be lost: name a data folder instead")
    return Place(url, folder or Path(url.database).absolute().parent, label)


class Database:
    """Transactions on one history, one a call; every failure inside is told as a :class:`StoreError`."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self._copied: ExitStack | None = None
        file = place.database_file
        with as_store_error(place.label):
            self.read_only = file is not None and _is_filled(file) and not read_only.may_write(file)
            try:
                self.engine = self._opened_read_only(file) if file and self.read_only else _engine(place)
            except ModuleNotFoundError as missing:
                raise StoreError(f"{place.label}: the driver {missing.name} is missing: install it first") from None
        self.is_sqlite = self.engine.dialect.name == "sqlite"

    def _opened_read_only(self, file: Path) -> Engine:
        address = read_only.address(file)
        return self._opened_copy(file) if address is None else _sqlite_engine(address)

    def _opened_copy(self, file: Path) -> Engine:
        self._copied = ExitStack()
        return _sqlite_engine(read_only.copied(file, self._copied.enter_context(scratch_elsewhere())).as_uri())

    def upgradable(self) -> None:
        """Go on with a copy of a history that may not be written, so that it can be brought up to date there."""
        file = self.place.database_file
        if file is not None and self.read_only and self._copied is None:
            with as_store_error(self.place.label):
                self.engine.dispose()
                self.engine = self._opened_copy(file)

    def require_writable(self) -> None:
        """Refuse where nothing can be saved."""
        if self.read_only:
            raise StoreError(f"{self.place.label}: {READ_ONLY}")

    def copy_to(self, target: Path) -> None:
        """Copy the SQLite database as it stands at one moment, page by page while others go on."""
        with (
            as_store_error(self.place.label),
            closing(self.engine.raw_connection()) as live,
            closing(sqlite3.connect(target)) as still,
        ):
            cast(sqlite3.Connection, live.driver_connection).backup(still)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Open a transaction that sees one unchanging state of the history."""
        options: dict[str, Any] = {} if self.is_sqlite else {"isolation_level": "REPEATABLE READ"}
        with as_store_error(self.place.label), self.engine.connect() as plain:
            connection = plain.execution_options(**options)
            with connection.begin():
                yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Open a transaction that is kept whole when the block ends, and not at all when it fails."""
        self.require_writable()
        with self.upgrading() as connection:
            yield connection

    @contextmanager
    def upgrading(self) -> Iterator[Connection]:
        """Open a writing transaction also on the copy of :meth:`upgradable`."""
        with as_store_error(self.place.label), self.engine.connect() as plain:
            connection = plain.execution_options(**{_WRITING: True})
            with connection.begin():
                yield connection

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()
        if self._copied is not None:
            self._copied.close()


def _engine(place: Place) -> Engine:
    if place.database_file is None:
        return create_engine(place.url, pool_pre_ping=True)
    make_own_folder(place.database_file.parent)
    if not place.database_file.exists():
        place.database_file.touch(mode=0o600)  # its log and index files take the same rights
    return _heard(create_engine(place.url, connect_args={"timeout": BUSY_SECONDS}))


def _sqlite_engine(address: str) -> Engine:
    """Return an engine for a SQLite file by its address with settings (https://www.sqlite.org/uri.html)."""

    def connect() -> sqlite3.Connection:
        return sqlite3.connect(address, uri=True, timeout=BUSY_SECONDS, check_same_thread=False)

    return _heard(create_engine("sqlite://", creator=connect, poolclass=QueuePool))


def _heard(engine: Engine) -> Engine:
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _is_filled(file: Path) -> bool:
    return file.is_file() and file.stat().st_size > 0


def _prepare_sqlite(connection: Any, _record: Any) -> None:
    """Leave transactions to :func:`_begin_sqlite`, and make every commit reach the disk before it returns."""
    connection.isolation_level = None
    connection.text_factory = _text
    cursor = connection.cursor()
    for pragma in ("foreign_keys=ON", "synchronous=FULL", "cache_size=-32768", "temp_store=MEMORY"):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _text(content: bytes) -> str | Unreadable:
    """Return text; what is no text any more is told from it, and hides no other value."""
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        return Unreadable("it is not text")


def _begin_sqlite(connection: Connection) -> None:
    """Take the write lock at the start of a writing transaction, so that a wait for it can never become a failure."""
    writing = connection.get_execution_options().get(_WRITING)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


def make_own_folder(folder: Path) -> None:
    """Make a folder that only this user may look into: plates and cars are in it. One that is there stays as it is."""
    if not folder.exists():
        folder.parent.mkdir(parents=True, exist_ok=True)
        folder.mkdir(mode=0o700, exist_ok=True)
