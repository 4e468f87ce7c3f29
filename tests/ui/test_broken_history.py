"""Pages of a history in which a record is broken, or which may not be written: the rest is there, and it is said."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from match import calibration
from match.history import read_only
from match.history.store import Store
from tests.history.test_support import full_check


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SPRAYOUT_DATA", str(tmp_path / "data"))
    monkeypatch.setenv(calibration.OVERRIDE_VARIABLE, str(tmp_path / "own"))
    return tmp_path / "data"


def _history() -> None:
    from match.ui.history import page

    page.page()


def _colour() -> None:
    from match.ui.history import colour_page

    colour_page.page()


def _shown(page: object, **address: str) -> str:
    app = AppTest.from_function(page, default_timeout=300)
    for name, value in address.items():
        app.query_params[name] = value
    app.run()
    assert not app.exception, app.exception
    return "\n".join(element.value for element in app.get("html"))


def test_a_broken_check_is_told_in_the_list_and_on_its_pages_and_hides_no_other(data: Path) -> None:
    with Store.open(data) as store:
        first, second = store.save_check(full_check("AB-1")), store.save_check(full_check("CD-2"))
    with closing(sqlite3.connect(data / "history.sqlite")) as database, database:
        database.execute("UPDATE colour_check SET delta_e00 = 'two' WHERE uid = ?", (first.id,))
    told = _shown(_history)
    assert f"check {first.id} cannot be read" in told
    assert f'data-check="{second.id}"' in told
    assert "cannot be read" in _shown(_history, check=first.id)
    assert "cannot be read" in _shown(_colour, colour=first.colour or "")
    assert f'data-check="{second.id}"' in _shown(_colour, colour=second.colour or "")


def test_a_history_that_may_not_be_written_is_shown_and_says_so(data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Store.open(data) as store:
        kept = store.save_check(full_check())
    before = sorted(os.listdir(data))
    monkeypatch.setattr(read_only, "may_write", lambda _: False)
    told = _shown(_history)
    assert "Nothing can be saved there" in told
    assert f'data-check="{kept.id}"' in told
    assert sorted(os.listdir(data)) == before
