"""Fields that drop nothing: what cannot be used stays as typed, and what is used instead is said beside it."""

import pytest
from streamlit.testing.v1 import AppTest

from tests.ui.test_check import html


def _page() -> None:
    import streamlit as st

    from match.ui.kit.typed import line, lines, number, number_or_none

    room = number("Room", 400.0, 0.0, 5000.0, key="room", step=10.0, unit="mm")
    coats = number("Coats", 3, 1, 6, key="coats", step=1)
    film = number_or_none("Film", "by the sheet", 1.0, 6.0, key="film", step=0.5, digits=1, unit="coats")
    car = line("Car", 60, "the job sheet", key="car")
    remarks = lines("Remarks", 600, "the job sheet", key="remarks", height=80)
    st.session_state["got"] = (room, coats, car, remarks, film)


@pytest.fixture
def app() -> AppTest:
    return ran(AppTest.from_function(_page, default_timeout=60))


def ran(app: AppTest) -> AppTest:
    app.run()
    assert not app.exception
    return app


def got(app: AppTest) -> tuple:
    return app.session_state["got"]


def test_a_field_opens_with_its_start_and_nothing_beside_it(app):
    assert got(app) == (400.0, 3.0, "", "", None)
    assert html(app) == ""


@pytest.mark.parametrize(
    ("typed", "said"), [(5000.5, "Above 5000 mm. In use: 640 mm."), (-1.0, "Below 0 mm. In use: 640 mm.")]
)
def test_a_number_out_of_range_stays_in_the_field_and_the_last_good_one_is_used(app, typed, said):
    app.number_input(key="room").set_value(640.0)
    ran(app).number_input(key="room").set_value(typed)
    ran(app)
    assert got(app)[0] == 640.0
    assert app.number_input(key="room").value == typed
    assert said in html(app)
    app.number_input(key="room").set_value(5000.0)
    assert got(ran(app))[0] == 5000.0
    assert html(app) == ""


def test_whole_numbers_are_asked_for_where_the_start_is_one(app):
    app.number_input(key="coats").set_value(9)
    ran(app)
    assert got(app)[1] == 3.0
    assert isinstance(app.number_input(key="coats").value, int)
    assert "Above 6. In use: 3." in html(app)


def test_a_number_that_may_be_left_out_is_none_until_one_can_be_used(app):
    app.number_input(key="film").set_value(9.0)
    assert got(ran(app))[4] is None
    assert "Above 6.0 coats. In use: by the sheet." in html(app)
    app.number_input(key="film").set_value(2.5)
    assert got(ran(app))[4] == 2.5
    app.number_input(key="film").set_value(0.0)
    assert got(ran(app))[4] == 2.5
    assert "Below 1.0 coats. In use: 2.5 coats." in html(app)
    assert app.number_input(key="film").value == 0.0


def test_a_text_that_is_too_long_stays_whole_and_its_beginning_is_used(app):
    app.text_input(key="car").set_value("x" * 59 + "yz")
    app.text_area(key="remarks").set_value("r" * 700)
    ran(app)
    assert got(app)[2:4] == ("x" * 59 + "y", "r" * 600)
    assert app.text_input(key="car").value == "x" * 59 + "yz"
    assert "61 characters: the job sheet takes the first 60." in html(app)
    assert "700 characters: the job sheet takes the first 600." in html(app)
