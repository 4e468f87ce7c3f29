"""What the tests of the history share: invented records, a clock that stands still, and a real PostgreSQL server."""

from __future__ import annotations

import atexit
import os
import shutil
import socket
import subprocess
import tempfile
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import count
from pathlib import Path
from typing import Any, TypeVar

import pytest
from sqlalchemy import URL, create_engine, make_url, text

from match.history.records import NewCard, NewCheck, NewColour, NewJob
from match.history.store import Store
from match.history.tables import metadata
from tests.support.documents import document

START = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
T = TypeVar("T")
PHOTO = b"\xff\xd8 an invented photo \xff\xd9"


class Clock:
    """A clock that moves on by a second each time it is asked; ``ticks`` is how often it was asked before."""

    def __init__(self, ticks: int = 0) -> None:
        self._ticks = count(ticks)

    def __call__(self) -> datetime:
        return START + timedelta(seconds=next(self._ticks))


def result(difference: float = 1.5, verdict: str = "blend", **more: Any) -> dict[str, Any]:
    """An invented check's document, with a key that no reader knows."""
    return document(difference, verdict, later="é ü 漆", **more)


def full_check(code: str = "AB-12", **more: Any) -> NewCheck:
    """A check with a colour, a job and a card of its own."""
    given: dict[str, Any] = {
        "result": result(),
        "regions": {"card": [0.1, 0.2, 0.3, 0.4]},
        "settings": {"coats": 3},
        "colour": NewColour(code=code, name="Evening grey", finish="metallic", undercoat="dark", notes="invented"),
        "job": NewJob(car="Small hatchback", plate="Q 123", notes="near side door"),
        "card": NewCard(mix="alternate 2", batch="7", gun="1.3 mm, 2.0 bar", coats="2 + drop coat", reducer="slow"),
        "method_version": "1",
        "tolerances_version": "3",
        "tolerances_hash": "ab" * 32,
        "note": "invented check",
    }
    return NewCheck(**(given | more))


def open_store(folder: Path) -> Store:
    """Open a store in a data folder; a new one starts as a copy of an empty one."""
    if not folder.exists():
        copy_empty_store(folder)
    return Store.open(folder, clock=Clock())


def copy_empty_store(folder: Path) -> None:
    """Copy an empty store's data folder, which is faster than migrating; ``folder`` is not there yet."""
    shutil.copytree(_empty_data_folder(), folder)


@cache
def _empty_data_folder() -> Path:
    folder = _kept_folder()
    Store.open(folder).close()
    return folder


def _kept_folder() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="sprayout-history-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def copy_filled(fill: Callable[[Store], T], folder: Path) -> T:
    """Copy the data folder of a store that ``fill`` filled once for all tests, and return what it returned."""
    filled, returned = _filled(fill)
    shutil.copytree(filled, folder)
    return returned


@cache
def _filled(fill: Callable[[Store], T]) -> tuple[Path, T]:
    folder = _kept_folder() / "data"
    with open_store(folder) as store:
        return folder, fill(store)


@dataclass(frozen=True)
class Server:
    """A running PostgreSQL server that belongs to these tests."""

    url: URL

    @contextmanager
    def database(self) -> Iterator[str]:
        """Make an empty database, give its address, and drop it."""
        name = f"history_{uuid.uuid4().hex}"
        engine = create_engine(self.url, isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            connection.execute(text(f"CREATE DATABASE {name}"))
            try:
                yield self.url.set(database=name).render_as_string(hide_password=False)
            finally:
                connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
        engine.dispose()


@cache
def postgres_binaries() -> Path | None:
    """Return the folder of the newest PostgreSQL server's programs: Debian's folders by version, else the path's."""
    by_version = {int(found.parents[1].name): found for found in Path("/usr/lib/postgresql").glob("[1-9]*/bin/initdb")}
    found = by_version[max(by_version)] if by_version else shutil.which("initdb")
    return Path(found).parent if found else None


def require_postgres() -> Server:
    """Return the server, skipping the test where PostgreSQL is not installed, except on the build server."""
    if postgres_binaries() is None:
        reason = "needs a PostgreSQL server, 15 or newer (Debian: apt-get install postgresql)"
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    return _postgres()


@cache
def _postgres() -> Server:
    """Start one server for all tests on a free loopback port; it stops, and its files go, when Python ends.

    Its text is sorted by the rules of a language, not by code point, so that a search relying on the latter would fail.
    """
    home = Path(tempfile.mkdtemp(prefix="sprayout-postgres-"))
    password = home / "password"
    password.write_text("invented-secret\n")
    if os.geteuid() == 0:
        for path in (home, password):
            shutil.chown(path, "postgres", "postgres")
    locale = ("--locale-provider=icu", "--icu-locale=en-US", "--encoding=UTF8")
    _as_server("initdb", "-D", home / "db", "-U", "shop", "-A", "scram-sha-256", f"--pwfile={password}", *locale)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    options = f"-p {port} -k {home} -c listen_addresses=127.0.0.1 -F"
    _as_server("pg_ctl", "-D", home / "db", "-l", home / "log", "-o", options, "-w", "start")
    atexit.register(_stop, home)
    address = URL.create("postgresql+psycopg", "shop", "invented-secret", "127.0.0.1", port, "postgres")
    return Server(address)


def _stop(home: Path) -> None:
    _as_server("pg_ctl", "-D", home / "db", "-m", "immediate", "stop")
    shutil.rmtree(home, ignore_errors=True)


def _as_server(program: str, *arguments: str | Path) -> None:
    """Run a server program; the server refuses to run as root, so root hands it to an unprivileged user."""
    binaries = postgres_binaries()
    assert binaries is not None
    command = [str(binaries / program), *map(str, arguments)]
    if os.geteuid() == 0:
        command = ["runuser", "-u", "postgres", "--", *command]
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, cwd="/", text=True, timeout=300)
    if done.returncode:
        raise RuntimeError(f"{' '.join(command)} failed:\n{done.stdout}")


@cache
def _shared_database() -> str:
    """Make one database for all stores of the tests, which is faster than one for each; return its address."""
    server = _postgres()
    engine = create_engine(server.url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text("CREATE DATABASE history_shared"))
    engine.dispose()
    return server.url.set(database="history_shared").render_as_string(hide_password=False)


@contextmanager
def postgres_store(folder: Path) -> Iterator[Store]:
    """Open an empty store on the server, and empty it again afterwards."""
    require_postgres()
    with Store.open(_shared_database(), folder=folder, clock=Clock()) as store:
        try:
            yield store
        finally:
            names = ", ".join(table.name for table in metadata.sorted_tables)
            with store._database.writing() as connection:
                connection.execute(text(f"TRUNCATE {names} RESTART IDENTITY"))


def password_free(url: str) -> str:
    return make_url(url).render_as_string(hide_password=True)
