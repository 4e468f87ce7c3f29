"""The panel that is moved on the drawing: what the browser sends is checked, and written into the number fields."""

import pytest
from streamlit.testing.v1 import AppTest

from match.blend.panel import Panel
from match.blend.sides import Spot
from match.ui.blend.panel_board import KEY, read_moved

SPOT = {"left": 100.0, "top": 50, "width": 80.0, "height": 60.0}
MOVED = {"number": 3, "width": 900.0, "height": 500.0, "spots": [SPOT]}


def test_what_the_browser_sends_is_read_as_a_panel():
    read = read_moved({"moved": MOVED}, "door")
    assert read == Panel("door", 900.0, 500.0, (Spot(100.0, 50.0, 80.0, 60.0),))


@pytest.mark.parametrize(
    "state",
    [
        None,
        {},
        {"moved": 3},
        {"moved": MOVED | {"width": True}},
        {"moved": MOVED | {"height": float("nan")}},
        {"moved": MOVED | {"width": 1e9}},
        {"moved": MOVED | {"spots": []}},
        {"moved": MOVED | {"spots": [SPOT] * 7}},
        {"moved": MOVED | {"spots": [SPOT | {"left": "3"}]}},
        {"moved": MOVED | {"spots": [3]}},
    ],
)
def test_what_is_no_panel_is_passed_over(state):
    assert read_moved(state, "door") is None


def _moved_page() -> None:
    import streamlit as st

    from match.blend.sides import Length
    from match.ui.blend import panel_board
    from match.ui.blend.whole_panel import ask_panel_size, ask_spots

    st.session_state.setdefault("blend_panel", "door")
    if st.session_state.pop("moved_now", False):
        panel_board._take()
    size = ask_panel_size("door", Length.MM)
    panel_board.show_board(panel_board.Panel("door", *size, ask_spots("door", size, Length.MM)), Length.MM)


def test_what_was_moved_stands_in_the_fields():
    app = AppTest.from_function(_moved_page, default_timeout=300).run()
    assert app.number_input(key="blend_panel_width_door_mm").value == 1000.0
    app.session_state[KEY] = {"moved": MOVED}
    app.session_state["moved_now"] = True
    app.run()
    assert not app.exception
    assert app.number_input(key="blend_panel_width_door_mm").value == 900.0
    assert app.number_input(key="blend_place_left_door_mm").value == 100.0
    assert app.number_input(key="blend_repair_height_mm").value == 60.0
