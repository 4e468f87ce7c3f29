"""What holds for every page, run without a browser."""

from html import unescape

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

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
    app = AppTest.from_file(str(APP), default_timeout=60).run()
    next(button for button in app.button if button.label == "Try the demo photo").click().run()
    assert not app.exception
    shown = unescape("\n".join(element.value for element in app.get("html")))
    assert "This page cannot go on." in shown
    assert str(tmp_path / "camera.toml") in shown
