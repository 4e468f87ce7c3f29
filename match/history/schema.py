"""Bring the tables of a history up to date, and refuse a database that is not this program's or is newer than it."""

import sqlite3
import time
from contextlib import closing
from pathlib import Path

from sqlalchemy import Connection, inspect, text

from match.errors import StoreError
from match.history.database import Database
from match.history.digests import seal_everything
from match.history.failures import as_store_error

VERSION_TABLE = "history_version"
MIGRATIONS = Path(__file__).parent / "migrations"
_LOCK_NUMBER = 7_261_905  # any number not used for another advisory lock on the same server


def known_revisions() -> tuple[str, ...]:
    """Return the revisions this program knows, oldest first; ``versions/m0001_name.py`` is revision ``0001``."""
    return tuple(sorted(path.name[1:5] for path in (MIGRATIONS / "versions").glob("m[0-9]*.py")))


def bring_up_to_date(database: Database) -> None:
    """Create or migrate the tables, all or nothing, however many programs open the history at once.

    Raises :class:`StoreError` when the database belongs to something else, is newer than this program, or lost its
    records.
    """
    if database.is_sqlite and not database.read_only:
        _use_write_ahead_log(database)
    current = _checked_revision(database)
    if current == known_revisions()[-1]:
        return
    database.upgradable()
    if current is not None and not database.read_only and database.place.database_file is not None:
        _copy_aside(database.place.database_file, current)
    with database.upgrading() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": _LOCK_NUMBER})
        upgrade(connection)
        seal_everything(connection)


def upgrade(connection: Connection, revision: str = "head") -> None:
    """Run the migration scripts up to ``revision`` inside the caller's transaction."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, revision)


def revision_of(connection: Connection) -> str | None:
    """Return the revision of the tables, or None when there are none yet."""
    if not inspect(connection).has_table(VERSION_TABLE):
        return None
    return connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalar()


def _checked_revision(database: Database) -> str | None:
    place = database.place
    with database.reading() as connection:
        current = revision_of(connection)
        names = set() if current is not None else set(inspect(connection).get_table_names())
    if current is not None and current not in known_revisions():
        raise StoreError(
            f"{place.label} was written by a newer version of this program: update the program; nothing was changed"
        )
    if current is None and (names if database.is_sqlite else names & _our_tables()):
        raise StoreError(
            f"{place.label} holds tables of something else: choose an empty folder or database; nothing was changed"
        )
    if current is None and database.is_sqlite and _has_photos(place.folder):
        raise StoreError(
            f"{place.label} holds photos but its database is missing or empty: restore the latest backup into a new "
            "folder, or move the photos folder away to start afresh"
        )
    return current


def _our_tables() -> set[str]:
    from match.history.tables import metadata

    return set(metadata.tables)


def _has_photos(folder: Path) -> bool:
    return any((folder / "photos").glob("[0-9a-f][0-9a-f]/*"))


def _use_write_ahead_log(database: Database) -> None:
    """Let readers and a writer work at once; two programs doing this at the same moment may have to take turns."""
    for attempt in range(50):
        with as_store_error(database.place.label), closing(database.engine.raw_connection()) as connection:
            try:
                connection.cursor().execute("PRAGMA journal_mode=WAL")
                return
            except sqlite3.OperationalError as error:
                if error.sqlite_errorname != "SQLITE_BUSY" or attempt == 49:
                    raise
        time.sleep(0.05)


def _copy_aside(database_file: Path, revision: str) -> None:
    """Keep the file as it was before a migration, once, beside it."""
    aside = database_file.with_name(f"{database_file.stem}-before-{revision}.sqlite")
    if aside.exists():
        return
    unfinished = aside.with_suffix(".part")
    with as_store_error(str(database_file)):
        with closing(sqlite3.connect(database_file)) as source, closing(sqlite3.connect(unfinished)) as target:
            source.backup(target)
        unfinished.replace(aside)
