"""An empty history in each kind of database that can hold one."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from match.history.store import Store
from tests.history.test_support import open_store, postgres_store
from tests.support.statements import migrations_worked_out_once as migrations_worked_out_once
from tests.support.statements import statements_worked_out_once as statements_worked_out_once


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    if request.param == "postgres":
        with postgres_store(tmp_path) as opened:
            yield opened
    else:
        with open_store(tmp_path / "data") as opened:
            yield opened
