"""Copy the rows of a backup's database into tables of our own making: a file from outside brings no code along.

SQLite keeps triggers, views and generated columns in the file itself, and runs them unasked.
"""

import sqlite3
from contextlib import closing
from pathlib import Path

from match.errors import StoreError
from match.history.database import Database, locate
from match.history.failures import as_store_error
from match.history.place import DATABASE_FILE
from match.history.schema import VERSION_TABLE, known_revisions, upgrade

_MOST_VALUE_BYTES = 16 << 20
"""Engineering choice: a check of many photos has some 100 kB, a line of an archive at most a quarter of this."""


def copy_rows(given: Path, folder: Path) -> None:
    """Make a database in ``folder`` with the tables of the same version, and copy every row of ``given`` into it.

    Raises :class:`StoreError` when ``given`` is no history of a version known here, or a table of it is not a plain
    table.
    """
    address = f"{given.absolute().as_uri()}?mode=ro"
    with as_store_error("the backup's database"), closing(sqlite3.connect(address, uri=True)) as source:
        source.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _MOST_VALUE_BYTES)
        source.execute("PRAGMA trusted_schema=OFF")
        source.text_factory = _text
        plain = {row[0] for row in source.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        _make_tables(folder, _revision(source, plain))
        with closing(sqlite3.connect(folder / DATABASE_FILE)) as target:
            names = target.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
            for (table,) in names:
                if table != VERSION_TABLE:
                    _copy_table(source, target, table, plain)
            target.commit()


def _make_tables(folder: Path, revision: str) -> None:
    made = Database(locate(folder, None))
    try:
        with made.writing() as connection:
            upgrade(connection, revision)
    finally:
        made.close()


def _revision(source: sqlite3.Connection, plain: set[str]) -> str:
    rows = source.execute(f"SELECT version_num FROM {VERSION_TABLE}").fetchmany(2) if VERSION_TABLE in plain else []
    if len(rows) != 1 or rows[0][0] not in known_revisions():
        raise StoreError("the backup's database is of no version known here: update the program, or take another copy")
    return str(rows[0][0])


def _copy_table(source: sqlite3.Connection, target: sqlite3.Connection, table: str, plain: set[str]) -> None:
    columns = [row[1] for row in target.execute(f'PRAGMA table_info("{table}")')]
    theirs = {row[1] for row in source.execute(f'PRAGMA table_info("{table}")')}
    if table not in plain or not set(columns) <= theirs:
        raise StoreError(f"the backup's database has no table {table} as it should be: take another copy of the backup")
    named = ", ".join(f'"{column}"' for column in columns)
    rows = source.execute(f'SELECT {named} FROM "{table}"')
    places = ", ".join("?" * len(columns))
    target.executemany(f'INSERT INTO "{table}" ({named}) VALUES ({places})', rows)  # one row in memory at a time


def _text(content: bytes) -> str:
    """Return text as it was kept; what is no text any more is copied too, for the verification to find."""
    return content.decode("utf-8", "replace")
