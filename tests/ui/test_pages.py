"""What holds for every page, run without a browser."""

import subprocess
import sys
from html import unescape
from types import SimpleNamespace

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from match.ui import libraries, pages
from tests.ui.test_check import APP


@pytest.fixture
def _forget_numbers():
    """The pages read each calibration file once: here another one is to be read, and not by the tests that follow."""
    st.cache_resource.clear()
    yield
    st.cache_resource.clear()


@pytest.mark.usefixtures("_forget_numbers")
def test_a_slip_in_an_own_calibration_file_is_said_in_a_sentence_that_names_the_file(tmp_path, monkeypatch):
    monkeypatch.setenv("SPRAYOUT_DATA", str(tmp_path / "shop"))
    monkeypatch.setenv("SPRAYOUT_CALIBRATION", str(tmp_path))
    (tmp_path / "camera.toml").write_text("[camera", encoding="utf-8")
    app = AppTest.from_file(str(APP), default_timeout=300).run()
    next(button for button in app.button if button.label == "Try the demo photo").click().run()
    assert not app.exception
    shown = unescape("\n".join(element.value for element in app.get("html")))
    assert "This page cannot go on." in shown
    assert str(tmp_path / "camera.toml") in shown


def test_the_first_screen_loads_no_library_that_takes_long():
    code = (
        "import sys; from streamlit.testing.v1 import AppTest; from match.ui import libraries; "
        "libraries.begin = lambda: None; "
        f"app = AppTest.from_file({str(APP)!r}, default_timeout=300).run(); "
        "assert not app.exception; print(*[button.label for button in app.button], sep='|'); print(*sys.modules)"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    *_, labels, modules = ran.splitlines()
    assert "Try the demo photo" in labels
    assert not {"colour", "scipy", "cv2", "sqlalchemy", "alembic"} & set(modules.split())


def test_what_waits_for_the_libraries_has_them(monkeypatch):
    monkeypatch.setattr(libraries, "_importing", None)
    libraries.wait()  # nothing was begun: nothing to wait for
    libraries.begin()
    libraries.wait()
    assert {"colour", "sqlalchemy", "match.several.judge", "match.photo.found_marks"} <= set(sys.modules)


def test_no_search_for_garbage_goes_through_the_libraries_after_a_page_ran():
    code = (
        "import gc; from match.ui import libraries; libraries.begin(); libraries.wait(); "
        "print(gc.get_freeze_count(), len(gc.get_objects()))"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    kept, searched = map(int, ran.split())
    assert kept > 100_000 > 100 * searched


@pytest.mark.parametrize("address", ["", "blend", "phone"])
def test_whichever_page_is_opened_first_the_libraries_are_imported_behind_it(monkeypatch, address):
    order = []
    monkeypatch.setattr(libraries, "begin", lambda: order.append("libraries"))
    monkeypatch.setattr(pages.keeping, "keep", lambda address: None)
    monkeypatch.setattr(pages, "_offer_then", lambda address, show: show())
    pages.run(SimpleNamespace(url_path=address, run=lambda: order.append("page")))
    assert order == ["page", "libraries"]
