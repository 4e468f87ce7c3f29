"""Work is never lost: after every step of the retint loop a new visit of the same browser goes on where it was."""

import json
import re
from dataclasses import asdict, replace

import pytest
from streamlit.testing.v1 import AppTest
from streamlit.util import calc_hash

from match import calibration
from match.blend.sides import Direction
from match.errors import StoreError
from match.history.benches import Benches
from match.history.place import DATA_VARIABLE
from match.history.store import Store
from match.photo.regions import EVERY_QUESTION, Kind, Region
from match.several.photo_set import Angle, PhotoUse, Role
from match.ui import session
from match.ui.bench import contents, fields, keeping, whose
from match.ui.marker.marks import from_region
from match.ui.session import marker_key
from tests.history.test_support import copy_empty_store
from tests.support.synthetic import FlatScene
from tests.ui.test_check import BLUE, MARKS, html, photo, verdict

OWNER, OTHER = "a" * 32, "b" * 32
FIRST_CARD, SECOND_CARD = (48.0, 4.0, -20.0), (44.0, 3.0, -25.0)
GO_ON = "Go on where you were"


def _app() -> None:
    from match.ui import menu, pages

    menu.offer(pages.all_pages)
    pages.run(menu.navigate())


@pytest.fixture(autouse=True)
def store(tmp_path, monkeypatch):
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path / "data"))
    monkeypatch.setenv(calibration.OVERRIDE_VARIABLE, str(tmp_path / "own"))
    copy_empty_store(tmp_path / "data")
    with Store.open(tmp_path / "data") as opened:
        yield opened


def visited(owner: str = OWNER) -> AppTest:
    """Return the app as a new visit of a browser sees it."""
    app = AppTest.from_function(_app, default_timeout=300)
    app.session_state[whose.OWNER] = owner
    return ran(app)


def ran_and_left(app: AppTest) -> AppTest:
    """Return a new visit of the browser that leaves this one."""
    ran(app)
    return visited()


def ran(app: AppTest) -> AppTest:
    app.run()
    assert not app.exception, app.exception
    return app


def turned(app: AppTest, page: str) -> AppTest:
    """Turn to another page, as its link does."""
    app._page_hash = calc_hash(page)
    ran(app)
    app._page_hash = ""
    return app


def labels(app: AppTest) -> list[str]:
    return [button.label for button in app.button]


def press(app: AppTest, label: str) -> AppTest:
    next(button for button in app.button if label in button.label).click()
    return ran(app)


def gone_on(app: AppTest, store: Store) -> AppTest:
    """Return the app of a new visit that went on with what this one left, and hold both benches together."""
    left = store.benches.of(OWNER)[0]
    told = html(app)
    new = press(visited(), GO_ON)
    turned(new, left.document["page"])
    assert store.benches.of(OWNER)[0].id == left.id
    assert rounded(store.benches.of(OWNER)[0].document) == rounded(left.document)
    for answer in (
        r'data-verdict="(\w+)"',
        r'data-action="([\w-]+)"',
        r'class="tint-attempt" data-recommendation="(\w+)"',
    ):
        assert re.findall(answer, html(new)) == re.findall(answer, told)
    return new


def rounded(value):
    """Return a document with numbers to six decimals: a pot's covariance is made sound again when it is read."""
    if isinstance(value, dict):
        return {key: rounded(each) for key, each in value.items()}
    if isinstance(value, list):
        return [rounded(each) for each in value]
    return round(value, 6) if isinstance(value, float) else value


def with_photo(app: AppTest, content: bytes, name: str = "shop.png") -> AppTest:
    turned(app, "check")
    app.file_uploader(key="photo_file").upload(name, content, "image/png")
    return ran(app)


def marked(app: AppTest, content: bytes, marks: list[dict] = MARKS) -> AppTest:
    app.session_state[marker_key_now(app, content)] = {"regions": marks}
    if "Use these marks" in labels(app):
        press(app, "Use these marks")
    return ran(app)


def marker_key_now(app: AppTest, content: bytes) -> str:
    digest = session.chosen("shop.png", content).digest
    turn = app.session_state["session_turns"].get(digest, 0) if "session_turns" in app.session_state else 0
    return marker_key(digest) + (f"-{turn}" if turn else "")


def test_after_every_step_of_the_retint_loop_a_new_visit_goes_on_where_it_was(store):
    first, second = photo(FIRST_CARD, BLUE), photo(SECOND_CARD, BLUE)
    app = gone_on(with_photo(visited(), first), store)  # photo
    app = gone_on(marked(app, first), store)  # marks, and with them the verdict
    assert verdict(app) == "retint"
    app = gone_on(press(app, "Save this check"), store)  # saved
    assert "Saved" in html(app)
    assert "Save this check" not in labels(app)
    turned(app, "tint")
    app.toggle(key="tint_formula_on").set_value(True)
    ran(app).number_input(key="tint_parts_1").set_value(7.0)
    ran(app).toggle(key="tint_history_on").set_value(True)
    ran(app).toggle(key="tint_earlier_on").set_value(True)
    app = gone_on(ran(app), store)  # formula, and what teaches the toners' strengths
    assert app.number_input(key="tint_parts_1").value == 7.0
    assert app.session_state["tint_earlier_on"]
    assert app.session_state["tint_earlier"] == ()  # read anew: none is kept
    app = gone_on(press(app, "Log it"), store)  # addition
    assert app.session_state["tint_story"].waiting
    turned(app, "check")
    press(app, "Start again")
    app = gone_on(marked(with_photo(app, second, "second.png"), second), store)  # second card
    turned(app, "tint")
    app = gone_on(press(app, "I sprayed the next card"), store)
    (step,) = app.session_state["tint_story"].steps
    assert step.card is not None
    assert store.find_checks().total == 1


def test_another_browser_is_offered_nothing(store):
    with_photo(visited(), photo())
    assert GO_ON in labels(visited())
    assert GO_ON not in labels(visited(OTHER))
    assert GO_ON not in labels(visited(""))


def test_a_planned_room_comes_back(store):
    app = turned(visited(), "blend")
    app.number_input(key="blend_room_left_mm").set_value(640.0)
    app.selectbox(key="blend_end_left").select_index(4)
    ran(app).text_input(key="blend_sheet_car").set_value("small *estate*")
    app = gone_on(ran(app), store)
    assert app.number_input(key="blend_room_left_mm").value == 640.0
    assert app.selectbox(key="blend_end_left").index == 4
    assert app.text_input(key="blend_sheet_car").value == "small *estate*"


def test_a_room_of_which_only_a_length_was_typed_comes_back(store):
    app = turned(visited(), "blend")
    app.number_input(key="blend_room_left_mm").set_value(640.0)
    app = gone_on(ran(app), store)
    assert app.number_input(key="blend_room_left_mm").value == 640.0


def test_a_panel_and_the_repair_s_place_on_it_come_back(store):
    app = turned(visited(), "blend")
    app.selectbox(key="blend_panel").set_value("door")
    ran(app).number_input(key="blend_place_left_door_mm").set_value(160.0)
    app.number_input(key="blend_panel_width_door_mm").set_value(900.0)
    app.selectbox(key="blend_end_door_left").select_index(3)
    app = gone_on(ran(app), store)
    assert app.selectbox(key="blend_panel").value == "door"
    assert app.number_input(key="blend_place_left_door_mm").value == 160.0
    assert app.number_input(key="blend_panel_width_door_mm").value == 900.0
    assert app.selectbox(key="blend_end_door_left").index == 3


def test_a_panel_that_the_shop_s_file_no_longer_has_comes_back_as_a_room_by_hand(store):
    app = turned(visited(), "blend")
    app.selectbox(key="blend_panel").set_value("door")
    ran(app)
    kept = store.benches.of(OWNER)[0]
    gone = json.loads(json.dumps(kept.document).replace('"door"', '"gone"'))
    store.benches.keep(kept.id, OWNER, gone, {})
    new = turned(press(visited(), GO_ON), "blend")
    assert new.selectbox(key="blend_panel").value == ""
    assert not new.exception


def test_the_photos_of_the_coats_page_come_back_with_their_marks(store):
    app = press(turned(visited(), "coats"), "Try the demo card")
    assert "Hides" in html(app) or "Not hiding" in html(app) or "Not sure" in html(app)
    new = gone_on(app, store)
    answer = r'data-answer="([\w-]+)"'
    assert re.findall(answer, html(new)) == re.findall(answer, html(app)) != []


def test_nothing_is_kept_before_anything_is_begun(store):
    app = visited()
    for page in ("blend", "tint", "coats", "camera", "history", "check"):
        turned(app, page)
    assert store.benches.of(OWNER) == ()


def test_nothing_is_written_where_nothing_changed(store, monkeypatch):
    app = with_photo(visited(), photo())
    kept = store.benches.of(OWNER)
    ran(ran(app))
    assert store.benches.of(OWNER) == kept


def test_two_visits_of_one_browser_do_not_write_over_one_another(store):
    one, other = visited(), visited()
    with_photo(one, photo())
    with_photo(other, photo(FIRST_CARD), "other.png")
    names = [kept.document["photos"][0]["name"] for kept in store.benches.of(OWNER)]
    assert names == ["other.png", "shop.png"]


def test_a_screen_left_open_does_not_write_over_what_another_went_on_with(store):
    phone = with_photo(visited(), photo())
    desk = turned(press(visited(), GO_ON), "blend")
    desk.number_input(key="blend_room_left_mm").set_value(640.0)
    ran(desk)
    turned(phone, "blend").number_input(key="blend_room_left_mm").set_value(310.0)
    ran(phone)
    later, earlier = (json.dumps(each.document["fields"]["blend_lengths"]) for each in store.benches.of(OWNER))
    assert "310.0" in later
    assert "640.0" in earlier


def test_an_angle_that_nobody_said_comes_back_unsaid_and_one_that_was_said_as_said(store):
    first, second = photo(), photo(FIRST_CARD)
    app = with_photo(visited(), first)
    added = session.chosen("flop.png", second)
    app.session_state["session_added"] = (added,)
    ran(app)
    new = press(visited(), GO_ON)
    assert [each.digest for each in new.session_state["session_added"]] == [added.digest]
    assert "session_uses" not in new.session_state
    said = {added.digest: PhotoUse(Angle.FLOP, Role.REPEAT, "shop lamp")}
    new.session_state["session_uses"] = said
    assert press(ran_and_left(new), GO_ON).session_state["session_uses"] == said


def test_a_persons_word_on_a_doubted_mark_comes_back(store):
    scene = FlatScene(card=(0.24, 0.11, 0.1), greys=(0.09,))
    content = scene.png()
    marks = [from_region(region, *scene.size).as_dict() for region in scene.marks()]
    app = marked(with_photo(visited(), content), content, marks)
    assert verdict(app) == "retake"
    app.button(key="marks_are_right").click()
    assert verdict(ran(app)) not in (None, "retake")
    gone_on(app, store)  # the same verdict there


def test_a_word_of_a_bench_left_before_what_was_asked_was_kept_is_read():
    grey = Region(Kind.GREY, 1, 2, 30, 40, 0.09)
    for left, sure in ((True, (EVERY_QUESTION,)), (False, ()), (["mark-across"], ("mark-across",))):
        assert contents._read_said({**asdict(grey), "kind": "grey", "sure": left}) == replace(grey, sure=sure)


def test_a_photo_cleared_away_by_mistake_is_offered_at_once(store):
    content = photo()
    app = marked(with_photo(visited(), content), content)
    app.selectbox(key="check_junction").select_index(0)
    before = verdict(ran(app))
    press(app, "Start again")
    press(ran(app), GO_ON)
    assert verdict(app) == before
    assert app.selectbox(key="check_junction").index == 0


def test_a_photo_that_is_lost_is_said_and_the_rest_comes_back(store, tmp_path):
    app = turned(with_photo(visited(), photo()), "blend")
    app.number_input(key="blend_room_left_mm").set_value(640.0)
    ran(app)
    for file in (tmp_path / "data" / "bench").glob("??/*"):
        file.unlink()
    new = press(visited(), GO_ON)
    assert "The photo shop.png could not be put back" in html(new)
    assert turned(new, "blend").number_input(key="blend_room_left_mm").value == 640.0


def test_what_could_not_be_kept_is_tried_again_though_nothing_changed(store, monkeypatch):
    def refused(*_, **__):
        raise StoreError("the disk is full: make room")

    monkeypatch.setattr(keeping, "RETRY_SECONDS", 1e9)
    with monkeypatch.context() as full:
        full.setattr(Benches, "keep", refused)
        app = with_photo(visited(), photo(FIRST_CARD, BLUE))
        assert "The disk is full: make room" in html(app)
        assert not store.benches.of(OWNER)
    ran(app)
    assert not store.benches.of(OWNER)  # not at every press
    monkeypatch.setattr(keeping, "RETRY_SECONDS", 0.0)
    ran(app)
    assert store.benches.of(OWNER)
    assert "disk is full" not in html(ran(app))


def test_what_a_later_version_left_is_refused_in_a_sentence(store):
    store.benches.keep("1" * 32, OWNER, {"format": "bench 99", "page": "check"}, {})
    app = press(visited(), GO_ON)
    assert "cannot be read by this version" in html(app)
    assert app.file_uploader(key="photo_file") is not None


def test_a_history_that_cannot_be_written_is_said_and_the_page_goes_on(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("no folder")
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path / "file"))
    app = ran(with_photo(visited(), photo()))
    assert "is not kept for coming back" in html(app)
    assert "Mark these three" in html(app) or "Use these marks" in labels(app)


@pytest.mark.parametrize(
    "value",
    [
        None,
        True,
        3,
        2.5,
        "é",
        ("a", 1),
        [1, (2,)],
        {"a": (1.0, None)},
        {("x", 1): ["y"]},
        {1, 2},
        {},
        (),
        [Direction.LEFT],
    ],
)
def test_a_field_comes_back_as_it_was(value):
    assert fields.unpacked(json.loads(json.dumps(fields.packed(value)))) == value
    assert type(fields.unpacked(fields.packed(value))) is type(value)


@pytest.mark.parametrize(
    "kept", [{"member": ["os", "system", "x"]}, {"member": ["match.files", "parse_json", "x"]}, {"x": 1}]
)
def test_what_is_no_value_of_a_field_is_refused(kept):
    with pytest.raises(ValueError, match="is no"):
        fields.unpacked(kept)
