"""Small changes of a file drawn by chance: bytes, values of a document, words of a text, statements on a database."""

from __future__ import annotations

import copy
import json
import random
import re
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

_BYTES = (b"\0", b"\xff", b"\x7f", b"\x80", b"\xff\xff\xff\xff", b"\0\0\0\0", b"\x7f\xff\xff\xff", b"\xff\xff\xff\x7f")
_VALUES: tuple[Any, ...] = (
    *(None, True, False, 0, -1, 1, 2**31, 2**63, -(2**63), 10**400, 0.0, -0.0, 1e308, -1e308, 5e-324, 1e-320),
    *(float("nan"), float("inf"), float("-inf"), "", "0", "nan", "\ud800", "\0", "x" * 5000, "../../etc", "é漆"),
    *([], {}, [[]], [None], {"": None}, [0] * 2000, [[1, 2, 3]] * 3),
)
_WORDS = (
    *("nan", "inf", "-1", "0", "1e309", "9" * 5000, "1979-05-27", "07:32:00", "''", '"x"', "[]", "{}", "[[]]", "true"),
    *("=", "[", "]", "[[", '"""', "\n", "#", ".", "\0", "\ufeff", "{ value = 1 }", "[1, 2, 3]", "-18", "1e-300"),
)


def changed_bytes(content: bytes, chance: random.Random) -> bytes:
    """Return the bytes with one to six small changes."""
    found = bytearray(content)
    for _ in range(chance.choice((1, 1, 1, 2, 3, 6))):
        at = chance.randrange(len(found) + 1)
        if chance.random() < 0.5:  # what decides is mostly at the beginning
            at = min(at, chance.randrange(200))
        length = chance.choice((1, 1, 2, 4, 8, 64, 1000))
        kind = chance.randrange(7)
        if kind == 0 and found:
            found[min(at, len(found) - 1)] ^= 1 << chance.randrange(8)
        elif kind == 1:
            new = chance.choice(_BYTES)
            found[at : at + len(new)] = new
        elif kind == 2:
            del found[at : len(found) if chance.random() < 0.3 else at + length]
        elif kind == 3:
            found[at:at] = found[at : at + length] * chance.choice((1, 2, 20))
        elif kind == 4:
            found[at:at] = chance.randbytes(length)
        elif kind == 5:
            found[at : at + length] = chance.randbytes(length)
        else:
            other = chance.randrange(len(found) + 1)
            found[at : at + length] = found[other : other + length]
    return bytes(found)


def _places(document: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inner = (
        document.items() if isinstance(document, dict) else enumerate(document) if isinstance(document, list) else ()
    )
    return [path, *(place for key, value in inner for place in _places(value, (*path, key)))]


def changed_document(document: Any, chance: random.Random) -> Any:
    """Return a copy with one to three of its values replaced, lost, doubled or renamed."""
    found = copy.deepcopy(document)
    for _ in range(chance.choice((1, 1, 2, 3))):
        places = _places(found)
        path = chance.choice(places)
        if not path:
            if chance.random() < 0.1:
                return chance.choice(_VALUES)
            continue
        inside = found
        for key in path[:-1]:
            inside = inside[key]
        kind = chance.randrange(10)
        if kind == 0:
            del inside[path[-1]]
        elif kind == 1 and isinstance(inside, dict):
            inside[chance.choice(("", "x", "\ud800", "format", "photos"))] = inside.pop(path[-1])
        elif kind == 2:
            other = found
            for key in chance.choice(places):
                other = other[key] if isinstance(other, dict | list) and _has(other, key) else other
            inside[path[-1]] = copy.deepcopy(other)
        elif kind == 3 and isinstance(inside[path[-1]], int | float):
            inside[path[-1]] = inside[path[-1]] * chance.choice((-1, 10, 1e6, 1e-6, 1e300))
        elif kind == 4:
            inside[path[-1]] = [copy.deepcopy(inside[path[-1]])] * chance.choice((0, 1, 3, 50))
        else:
            inside[path[-1]] = copy.deepcopy(chance.choice(_VALUES))
    return found


def _has(inside: Any, key: Any) -> bool:
    return key in inside if isinstance(inside, dict) else isinstance(key, int) and key < len(inside)


def changed_json(document: Any, chance: random.Random) -> bytes:
    """Return a document with changed values as JSON, now and then with changed bytes or far too deep."""
    if chance.random() < 0.01:
        return chance.choice((b"[", b'{"a":')) * chance.choice((100, 100_000))
    content = json.dumps(changed_document(document, chance)).encode("utf-8", "surrogatepass")
    return changed_bytes(content, chance) if chance.random() < 0.2 else content


def changed_text(text: str, chance: random.Random) -> bytes:
    """Return a text with one to four of its words replaced or its lines lost or doubled, now and then its bytes."""
    for _ in range(chance.choice((1, 1, 2, 4))):
        kind = chance.randrange(4)
        if kind < 2:
            words = list(re.finditer(r"-?\d[\d.e+-]*|\"[^\"\n]*\"|\w+|[=\[\]{},]", text))
            if words:
                word = chance.choice(words)
                new = chance.choice(words).group() if chance.random() < 0.3 else chance.choice(_WORDS)
                text = text[: word.start()] + new + text[word.end() :]
        else:
            lines = text.splitlines(keepends=True)
            if lines:
                at = chance.randrange(len(lines))
                lines[at : at + 1] = [] if kind == 2 else [lines[at], chance.choice(lines)]
                text = "".join(lines)
    content = text.encode("utf-8", "surrogatepass")
    return changed_bytes(content, chance) if chance.random() < 0.2 else content


def _value_of_sql(chance: random.Random) -> str:
    return chance.choice(
        (
            *("NULL", "0", "-1", "1e308", "9e999", "-9223372036854775808", "''", "'x'", "x'ff00'"),
            *("'[]'", "'{}'", "'{\"verdict\":1}'", "'NaN'", "'2026-13-40'", "'2026-01-01 00:00:00.000000'", "1"),
            *("zeroblob(3000000)", "CAST(zeroblob(2000) AS TEXT)", "hex(zeroblob(50000))", "'é漆'"),
            *("CAST(x'ff' AS TEXT)", "'" + "[" * 3000 + "'"),
        )
    )


def changed_database(file: Path, chance: random.Random) -> None:
    """Change a SQLite file in place: values of any type, triggers, views in place of tables, lost tables and rows."""
    with closing(sqlite3.connect(file, isolation_level=None)) as database:
        database.execute("PRAGMA foreign_keys=OFF")
        for _ in range(chance.choice((1, 1, 2, 4))):
            tables = [row[0] for row in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
            table = chance.choice(tables)
            columns = [row[1] for row in database.execute(f'PRAGMA table_info("{table}")')]
            column = chance.choice(columns)
            value = _value_of_sql(chance)
            statement = chance.choice(
                (
                    *[f'UPDATE "{table}" SET "{column}" = {value}'] * 6,
                    *[f'UPDATE "{table}" SET "{column}" = {value} WHERE rowid = 1'] * 4,
                    f'DELETE FROM "{table}"',
                    f'DELETE FROM "{table}" WHERE rowid = 1',
                    f'DROP TABLE "{table}"',
                    f'ALTER TABLE "{table}" RENAME TO was; CREATE VIEW "{table}" AS SELECT * FROM was',
                    f'CREATE TRIGGER t AFTER INSERT ON "{table}" BEGIN DELETE FROM colour_check_photo; END',
                    f'ALTER TABLE "{table}" ADD COLUMN more TEXT',
                    f'ALTER TABLE "{table}" RENAME COLUMN "{column}" TO other',
                    "UPDATE history_version SET version_num = '0001'",
                    "CREATE VIEW v AS WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT x FROM n",
                )
            )
            try:
                database.executescript(statement)
            except sqlite3.Error:
                continue


Change = Callable[[random.Random], bytes]
