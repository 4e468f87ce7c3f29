"""SQL that is worked out once for all the histories that tests open, as it is once for the one history of a program."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import Connection, Engine, create_engine, event

from match.history import database, schema


@pytest.fixture(autouse=True, scope="session")
def statements_worked_out_once() -> Iterator[None]:
    """Let each new engine go on with the dialect, and the statements, of the first of its kind that connected."""
    kept: dict[str, tuple[Any, Any]] = {}

    def made(address: Any, **options: Any) -> Engine:
        engine = create_engine(address, **options)
        kind = engine.dialect.name
        if kind in kept:
            engine.dialect, engine._compiled_cache = kept[kind]
        else:
            event.listen(
                engine, "first_connect", lambda *_: kept.setdefault(kind, (engine.dialect, engine._compiled_cache))
            )
        return engine

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(database, "create_engine", made)
        yield


@pytest.fixture(autouse=True, scope="session")
def migrations_worked_out_once() -> Iterator[None]:
    """Give a new history word for word what the migrations said to the first new one of its kind.

    What they say to a history with records in it, or up to another revision, is worked out each time.
    """
    kept: dict[str, list[tuple[str, Any]]] = {}
    worked_out = schema.upgrade

    def upgrade(connection: Connection, revision: str = "head") -> None:
        kind, said = connection.dialect.name, []
        is_new = revision == "head" and schema.revision_of(connection) is None
        if is_new and kind in kept:
            for statement, parameters in kept[kind]:
                connection.exec_driver_sql(statement, parameters)
            return

        def heard(_: Any, __: Any, statement: str, parameters: Any, *more: Any) -> None:
            said.append((statement, parameters))

        event.listen(connection, "before_cursor_execute", heard)
        worked_out(connection, revision)
        event.remove(connection, "before_cursor_execute", heard)
        if is_new:
            kept[kind] = said

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(schema, "upgrade", upgrade)
        yield
