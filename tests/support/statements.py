"""SQL that is worked out once for all the histories that tests open, as it is once for the one history of a program."""

from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import Engine, create_engine, event

from match.history import database


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
