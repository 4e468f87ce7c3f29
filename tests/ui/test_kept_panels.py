"""Kept panels on the blend page: what was described is kept with its colour, offered, and taken up field by field."""

import pytest
from streamlit.testing.v1 import AppTest

from match.blend.panel import Around, Panel
from match.blend.panel_record import panel_as_record, panel_from
from match.blend.sides import Direction, End, NextPanel, Spot
from match.calibration import OVERRIDE_VARIABLE
from match.history.place import DATA_VARIABLE
from match.history.records import NewColour, NewPanel
from match.history.store import Store
from match.ui.blend.around import LiesThere
from tests.history.test_support import copy_empty_store
from tests.ui.test_blend import _page, html, ran

DOOR = Panel(
    "door",
    1500.0,
    640.0,
    (Spot(150.0, 200.0, 120.0, 80.0), Spot(1200.0, 250.0, 60.0, 60.0)),
    (
        Around(Direction.LEFT, 120.0, End.NEXT_PANEL, next_panel=NextPanel(450.0)),
        Around(Direction.RIGHT, end=End.KEPT_PART, lines_mm=(90.0,)),
        Around(Direction.UP, end=End.KEPT_PART, car_colour_beyond=False),
        Around(Direction.DOWN, end=End.NO_EDGE, break_mm=700.0),
    ),
)


@pytest.fixture
def store(tmp_path, monkeypatch):
    monkeypatch.setenv(OVERRIDE_VARIABLE, str(tmp_path / "own"))
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path / "data"))
    copy_empty_store(tmp_path / "data")
    with Store.open(tmp_path / "data") as opened:
        yield opened


@pytest.fixture
def app(store) -> AppTest:
    opened = AppTest.from_function(_page, default_timeout=300)
    opened.session_state["blend_history_on"] = True
    return ran(opened)


def test_a_kept_panel_is_taken_up_whole_and_kept_again_as_it_was(app: AppTest, store: Store) -> None:
    kept = store.add_panel(
        NewPanel(colour=NewColour(name="Slate *<b>*"), name="front door", described=panel_as_record(DOOR))
    )
    ran(app).selectbox(key="blend_panel_taken").select_index(0)
    ran(app).button(key="blend_panel_take").click()
    ran(app)
    assert "cannot be planned" not in html(app)
    assert app.number_input(key="blend_panel_width_door_mm").value == 1500.0
    assert app.number_input(key="blend_place_left_door_2_mm").value == 1200.0
    assert app.selectbox(key="blend_end_door_up").value == LiesThere.BARE
    assert app.number_input(key="blend_next_door_left_mm").value == 450.0
    app.text_input(key="blend_panel_name").set_value("the same again")
    app.selectbox(key="blend_panel_colour").select_index(0)
    app.text_input(key="blend_panel_car").set_value("small estate")
    app.button(key="blend_panel_keep").click()
    assert "Kept: the same again." in html(ran(app))
    again = store.newest_panels(1)[0][0]
    assert panel_from(again.described) == DOOR
    assert again.colour == kept.colour
    assert store.get_job(str(again.job)).car == "small estate"


def test_what_cannot_be_kept_or_taken_is_said_and_changes_nothing(app: AppTest, store: Store) -> None:
    assert not [button for button in app.button if button.key == "blend_panel_keep"]  # rooms by hand are no panel
    app.selectbox(key="blend_panel").set_value("door")
    ran(app).button(key="blend_panel_keep").click()
    assert "olour has no name" in html(ran(app))
    app.text_input(key="blend_panel_new_colour").set_value("Slate")
    app.button(key="blend_panel_keep").click()
    assert "anel has no name" in html(ran(app))
    assert store.find_colours().total == 0
    two_lines = Panel("wing", 900.0, 500.0, DOOR.spots[:1], (Around(Direction.LEFT, lines_mm=(20.0, 40.0)),))
    beyond = Around(Direction.LEFT, end=End.NEXT_PANEL, next_panel=NextPanel(450.0, End.KEPT_PART))
    lamp = Panel("wing", 900.0, 500.0, DOOR.spots[:1], (beyond,))
    for name, panel in (("lamp", lamp), ("lines", two_lines), ("gone", Panel("keel", 900.0, 500.0, DOOR.spots[:1]))):
        store.add_panel(NewPanel(colour=NewColour(name="Slate"), name=name, described=panel_as_record(panel)))
    for index, says in ((0, "o panel is called 'keel'"), (1, "several body lines"), (2, "more of a next panel")):
        ran(app).selectbox(key="blend_panel_taken").select_index(index)
        ran(app).button(key="blend_panel_take").click()
        assert says in html(ran(app))
        assert app.selectbox(key="blend_panel").value == "door"


def test_two_panels_that_read_the_same_are_each_taken_by_their_own_line(app: AppTest, store: Store) -> None:
    widths = (900.0, 1300.0)
    colour = store.add_colour(NewColour(name="Slate")).id
    for width in widths:
        panel = Panel("door", width, 640.0, DOOR.spots[:1])
        store.add_panel(NewPanel(colour=colour, name="front door", described=panel_as_record(panel)))
    taken = []
    for index in range(len(widths)):
        ran(app).selectbox(key="blend_panel_taken").select_index(index)
        ran(app).button(key="blend_panel_take").click()
        taken.append(ran(app).number_input(key="blend_panel_width_door_mm").value)
    assert sorted(taken) == sorted(widths)
