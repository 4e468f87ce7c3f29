"""Every record has an address of its own: opened from the list, its buttons work, and what is pressed stays with it."""

from streamlit.testing.v1 import AppTest

from match.history.records import NewCheck
from match.history.store import Store
from tests.ui.test_bench import _app, press, turned
from tests.ui.test_history import again, html, result, rows, store, story  # noqa: F401


def opened(page: str) -> AppTest:
    return turned(again(AppTest.from_function(_app, default_timeout=300)), page)


def open_row(app: AppTest, place: int) -> AppTest:
    [button for button in app.button if button.label == "Open"][place].click()
    return again(app)


def test_a_check_opened_from_the_list_has_its_address_and_its_buttons_work(store: Store):  # noqa: F811
    _, kept = story(store)
    app = opened("history")
    assert rows(app) == kept[::-1]
    open_row(app, 1)
    assert app.query_params["check"] == kept[2]
    app.text_input(key=f"note_{kept[2]}").set_value("seen in the sun")
    press(app, "Keep the note")
    assert store.get_check(kept[2]).note == "seen in the sun"
    assert app.query_params["check"] == kept[2], "a press keeps the record on the page"
    press(app, "Delete")
    assert store.get_check(kept[2]).deleted_at is not None
    assert "check" not in app.query_params
    press(app, "Undo")
    assert rows(app) == kept[::-1]


def test_from_one_record_to_another_and_back_to_the_list(store: Store):  # noqa: F811
    first = store.save_check(NewCheck(result=result(2.0, "blend"))).id
    second = store.save_check(NewCheck(result=result(1.0, "go"), corrects=first)).id
    app = open_row(opened("history"), 0)
    assert app.query_params["check"] == second
    press(app, "It corrects an earlier check")
    assert app.query_params["check"] == first
    press(app, "All saved checks")
    assert "check" not in app.query_params
    assert rows(app) == [second, first]


def test_a_colour_opened_from_the_list_keeps_its_address(store: Store):  # noqa: F811
    colour, _ = story(store)
    app = open_row(opened("colour"), 0)
    assert app.query_params["colour"] == colour
    assert "Best card so far" in [each.value for each in app.header]
    press(app, "All colours")
    assert "colour" not in app.query_params


def test_the_outcome_chosen_already_cannot_be_tapped_away(store: Store):  # noqa: F811
    _, kept = story(store)
    app = open_row(opened("history"), 1)
    groups = {group.key.rpartition("_")[2]: group for group in app.get("button_group") if kept[2] in str(group.key)}
    assert {"done", "hidden", "back"} <= set(groups)
    assert all(groups[name].proto.required for name in ("done", "hidden", "back"))
