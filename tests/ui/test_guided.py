"""The guided check over the app's own pages: each step, the real refusal, and that it leaves no trace unless kept."""

import json
import re

from streamlit.testing.v1 import AppTest

from match.demo.pot import first_card
from match.history.store import Store
from match.tint.story import begin
from match.ui import session
from match.ui.guided.steps import Ask
from match.ui.guided.words import SAID
from match.ui.tint.state import shelf
from tests.ui.test_bench import GO_ON, OWNER, labels, press, ran, store, turned, visited, with_photo  # noqa: F401
from tests.ui.test_check import html, photo, verdict

BEGIN, DO, LEAVE, NEXT = "Practise on the demo photo", "Do it for me", "Leave", "Next"


def said(app: AppTest) -> str | None:
    """Return the sentence on the strip."""
    found = re.search(r'class="say" role="status">(.*?)(?: <a|</p>)', html(app))
    return found[1] if found else None


def begun(owner: str = OWNER) -> AppTest:
    return press(visited(owner), BEGIN)


def marked(app: AppTest) -> AppTest:
    """Return the app with every box put by its presses, at the step of reading."""
    for _ in range(3):
        press(app, DO)
    assert said(app) == SAID[Ask.READ]
    return app


def at_saving() -> AppTest:
    """Return the app at its last step."""
    app = press(marked(begun()), NEXT)
    press(press(app, DO), DO)
    assert said(app) == SAID[Ask.TO_ROOM]
    app = turned(app, "blend")
    press(app, NEXT)
    return turned(app, "check")


def kept_documents(store: Store) -> list[dict]:  # noqa: F811
    return [dict(each.document) for each in store.benches.of(OWNER)]


def assert_no_record(store: Store) -> None:  # noqa: F811
    assert store.find_checks().total == 0
    assert store.find_colours().total == 0
    assert store.deleted() == ()
    assert store.observed_outcomes() == ()
    assert list(store.nearest_colours((40.0, 0.0, 0.0)).items) == []


def test_every_step_is_the_app_s_own_and_the_slip_is_refused_by_the_judgement_itself(store):  # noqa: F811
    app = begun()
    assert said(app) == SAID[Ask.TAP_GREY]
    assert verdict(app) is None
    marked(app)
    assert verdict(app) == "blend"
    assert "Save this check" not in labels(app)  # a press too early saves nothing
    press(app, NEXT)
    assert said(app) == SAID[Ask.SLIP]
    press(app, DO)
    assert verdict(app) == "retake"
    assert said(app) == SAID[Ask.MEND]
    result = app.session_state["session_check"].result
    assert any(each.code.value.startswith("mark-") for each in result.warnings)
    press(app, DO)
    assert verdict(app) == "blend"
    turned(app, "blend")
    assert said(app) == SAID[Ask.ROOM]
    assert "data-verdict" in html(app)
    app.number_input(key="blend_room_left_mm").set_value(60.0)
    ran(app)
    assert said(app) == SAID[Ask.ROOM_PLANNED]
    assert verdict(app) == "retint"  # as the sentence asks: so little room hides nothing
    turned(press(app, NEXT), "check")
    assert said(app) == SAID[Ask.SAVE]
    assert_no_record(store)
    press(app, "Finish, keep nothing")
    assert said(app) is None
    assert "That was a whole check" in html(app)
    assert "session_photo" not in app.session_state
    assert_no_record(store)
    assert store.benches.of(OWNER) == ()


def test_what_is_saved_in_the_last_step_is_kept_and_nothing_else(store):  # noqa: F811
    app = press(at_saving(), "Save this check")
    assert said(app) == SAID[Ask.SAVED]
    press(app, "Finish")
    (row,) = store.find_checks().items
    assert "invented demo" in row.colour_name
    assert store.observed_outcomes() == ()
    assert store.benches.of(OWNER) == ()
    assert "save_last_colour" not in app.session_state  # the next real check is not offered the invented colour


def test_the_person_s_own_work_lies_aside_and_is_back_when_they_leave(store):  # noqa: F811
    app = visited()
    app.session_state["tint_story"] = begin(first_card(shelf()), 100.0)
    turned(app, "blend").number_input(key="blend_room_left_mm").set_value(640.0)
    turned(ran(app), "check")
    (own,) = kept_documents(store)
    press(app, BEGIN)
    assert "tint_story" not in app.session_state
    assert "blend_lengths" not in app.session_state
    app.session_state["blend_lengths"] = {"room_left": 60.0}  # as the planner keeps it
    ran(app)
    assert own in kept_documents(store)
    press(app, LEAVE)
    assert BEGIN in labels(app)
    assert app.session_state["tint_story"].start.name
    assert turned(app, "blend").number_input(key="blend_room_left_mm").value == 640.0
    (back,) = kept_documents(store)
    assert {**back, "page": ""} == {**own, "page": ""}


def test_a_reload_goes_on_at_the_step_with_the_boxes_and_the_own_bench_is_left_alone(store):  # noqa: F811
    with_photo(visited(), photo())
    (own,) = kept_documents(store)
    app = press(marked(begun()), NEXT)
    boxes = session_marks(app)
    new = AppTest.from_function(_app, default_timeout=300)
    new.session_state["bench_owner"] = OWNER
    new.query_params["practice"] = "1"
    ran(new)
    assert said(new) == SAID[Ask.SLIP]
    assert session_marks(new) == boxes
    assert own in kept_documents(store)
    press(new, LEAVE)
    assert kept_documents(store) == [own]
    assert GO_ON in labels(ran(new))


def test_what_was_left_in_practice_is_not_offered_as_work_and_a_new_practice_takes_its_place(store):  # noqa: F811
    begun()
    new = visited()
    assert GO_ON not in labels(new)
    press(new, BEGIN)
    (kept,) = kept_documents(store)
    assert json.loads(json.dumps(kept))["fields"]["guided_step"]


def test_another_page_waits_until_the_practice_is_left(store):  # noqa: F811
    app = turned(begun(), "tint")
    assert said(app) == SAID[Ask.ELSEWHERE]
    assert not app.title
    assert "Try an invented pot" not in labels(app)
    turned(press(app, LEAVE), "tint")
    assert said(app) is None
    assert "Try an invented pot" in labels(app)


def test_a_box_that_lies_wrong_is_said_at_once(store):  # noqa: F811
    app = begun()
    digest = app.session_state["session_photo"].digest
    places = app.session_state["guided_places"]
    (card,) = (each for each in places if each["kind"] == "card")
    app.session_state[session.marker_key(digest)] = {"regions": [{**card, "kind": "grey", "reflectance": 0.18}]}
    assert said(ran(app)) == SAID[Ask.NOT_GREY]
    press(app, DO)
    assert said(app) == SAID[Ask.TAP_CARD]


def session_marks(app: AppTest) -> list:
    photo = app.session_state["session_photo"]
    return list(app.session_state["session_marks"][photo.digest])


def _app() -> None:
    from match.ui import menu, pages

    menu.offer(pages.all_pages)
    pages.run(menu.navigate())
