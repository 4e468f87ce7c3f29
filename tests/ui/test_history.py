"""The pages that show what was saved, run without a browser, on histories of invented checks in temporary folders."""

import re
import tomllib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from match import calibration, files
from match.check.result import METHOD_VERSION
from match.check.verdict import Finish, Limits, Verdict
from match.colorimetry import delta_e00
from match.demo.photos import demo_photo
from match.errors import CalibrationError
from match.history.learning import points
from match.history.records import NewCard, NewCheck, NewColour, NewJob, NewOutcome, Observed
from match.history.store import Store
from match.history.tolerances import Offer, accept, lessons, load_limits, load_rules, with_limit
from match.photo.region_table import region_table
from match.photo.regions import EVERY_QUESTION, Kind
from match.several.photo_set import USUAL_LIGHT, Angle, PhotoUse, Role
from match.ui import session
from match.ui.history.colour_chart import MOST_SHOWN, chart, chart_words
from match.ui.history.colour_path import path_picture, path_words
from match.ui.history.photos import said_use
from match.ui.marker.marks import from_region
from tests.history.test_support import copy_empty_store
from tests.support.documents import document

APP = Path(__file__).parents[2] / "match" / "ui" / "main.py"
START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
CAR = (50.0, 2.0, -10.0)
TODAY = date(2026, 3, 4)


def result(difference: float, verdict: str, card=(51.0, 2.0, -10.0), vehicle=CAR, **more) -> dict:
    """An invented check's document, its interval wide and its reason short."""
    interval = [0.7 * difference, 1.4 * difference]
    return document(difference, verdict, card, vehicle, delta_e00_interval=interval, **more)


def story(store: Store) -> tuple[str, list[str]]:
    """Save three cards of one colour, each nearer the car, then a retake; return the colour's and checks' ids."""
    colour = store.add_colour(NewColour(code="HS-1", name="Harbour Slate", finish="solid")).id
    job = store.add_job(NewJob(car="small estate")).id
    steps = [(3.4, "retint", (53.0, 3.0, -8.0)), (1.9, "blend", (51.5, 2.5, -9.0)), (0.6, "go", (50.4, 2.1, -10.1))]
    kept = []
    for place, (difference, verdict, card) in enumerate(steps):
        new = NewCheck(
            result=result(difference, verdict, card),
            card=NewCard(colour=colour, job=job, mix=f"mix {place}", gun=f"{place + 1}.3 mm, 2 bar"),
            created_at=START + timedelta(days=place),
        )
        kept.append(store.save_check(new).id)
    retake = NewCheck(result=result(0.1, "retake"), colour=colour, created_at=START + timedelta(days=5))
    kept.append(store.save_check(retake).id)
    return colour, kept


@pytest.fixture
def store(tmp_path, monkeypatch):
    monkeypatch.setenv("SPRAYOUT_DATA", str(tmp_path / "data"))
    monkeypatch.setenv(calibration.OVERRIDE_VARIABLE, str(tmp_path / "own"))
    copy_empty_store(tmp_path / "data")
    with Store.open(tmp_path / "data") as opened:
        yield opened


def _history() -> None:
    from match.ui.history import page

    page.page()


def _colour() -> None:
    from match.ui.history import colour_page

    colour_page.page()


def run(page, **address: str) -> AppTest:
    app = AppTest.from_function(page, default_timeout=300)
    for name, value in address.items():
        app.query_params[name] = value
    return again(app)


def again(app: AppTest) -> AppTest:
    app.run()
    assert not app.exception, app.exception
    return app


def html(app: AppTest) -> str:
    return unescape("\n".join(element.value for element in app.get("html")))


def rows(app: AppTest) -> list[str]:
    return re.findall(r'data-check="(\w+)"', html(app))


def press(app: AppTest, label: str) -> AppTest:
    next(button for button in app.button if button.label == label).click()
    return again(app)


@pytest.fixture(scope="module")
def demo() -> tuple[session.ChosenPhoto, list]:
    content, regions = demo_photo()
    return session.chosen("demo.jpg", content, is_demo=True), list(regions)


def checked_app(demo) -> AppTest:
    """Return the app with the demo photo on the bench and a verdict under it."""
    photo, regions = demo
    app = AppTest.from_file(str(APP), default_timeout=300)
    app.session_state["session_photo"] = photo
    app.session_state["session_marks"] = {photo.digest: tuple(from_region(region, 1600, 1200) for region in regions)}
    app.session_state[session.marker_key(photo.digest)] = {"regions": [_as_mark(region) for region in regions]}
    return again(app)


def _as_mark(region) -> dict:
    mark = {"kind": region.kind.value, "x": region.x / 1600, "y": region.y / 1200}
    mark |= {"width": region.width / 1600, "height": region.height / 1200}
    return mark | ({"reflectance": region.reflectance} if region.reflectance is not None else {})


def test_the_check_page_opens_no_history_before_it_is_asked_to_save(demo, store, tmp_path, monkeypatch):
    untouched = tmp_path / "untouched"
    monkeypatch.setenv("SPRAYOUT_DATA", str(untouched))
    app = checked_app(demo)
    assert "Save this check" in [button.label for button in app.button]
    assert not untouched.exists()


def test_one_press_saves_photo_marks_settings_and_result(demo, store):
    photo, regions = demo
    app = press(checked_app(demo), "Save this check")
    (row,) = store.find_checks().items
    kept = store.get_check(row.id)
    check = app.session_state["session_check"]
    assert "Saved" in html(app)
    assert kept.result["delta_e00"] == check.result.as_dict()["delta_e00"]
    assert kept.regions == [region_table(each) for each in regions]
    assert kept.settings["finish"] == "solid"
    assert store.photo_bytes(kept.photos[0].sha256) == photo.content
    assert "invented" in kept.colour_name.lower()
    assert kept.tolerances_hash == check.result.calibration_fingerprint
    assert kept.method_version == METHOD_VERSION
    assert "Save this check" not in [button.label for button in app.button]


def test_the_invented_demo_is_never_offered_the_colour_of_a_real_car_nor_the_other_way_round(demo, store):
    app = checked_app(demo)
    app.session_state["save_last_colour"] = ("0" * 32, "Kept blue")
    press(again(app), "Save this check")
    (row,) = store.find_checks().items
    assert "invented demo" in row.colour_name
    assert app.session_state["save_last_colour"][1] == "Kept blue"


def test_a_saved_check_can_be_named_and_taken_back_with_its_colour(demo, store):
    app = press(checked_app(demo), "Save this check")
    (row,) = store.find_checks().items
    for field, value in {"name": "Harbour Slate", "code": "HS-1", "car": "small estate", "card_gun": "1.3 mm"}.items():
        app.text_input(key=f"save_{row.id}_{field}").set_value(value)
    press(app, "Keep these")
    (row,) = store.find_checks(code="hs1", car="estate").items
    assert store.get_card(row.card).gun == "1.3 mm"
    press(app, "Take it back")
    assert store.find_checks().total == 0
    assert store.find_colours().total == 0
    store.undelete(row.colour)
    assert store.find_checks().total == 1


def test_a_correction_is_a_new_check_and_the_earlier_one_stays(demo, store):
    app = press(checked_app(demo), "Save this check")
    app.selectbox(key="check_junction").select_index(3)
    again(app)
    assert app.checkbox[0].value
    press(app, "Save this check")
    newer, older = store.find_checks().items
    assert newer.corrects == older.id
    assert older.corrected_by == newer.id
    assert newer.colour == older.colour


def test_a_store_that_cannot_be_opened_is_said_in_one_sentence(demo, store, tmp_path, monkeypatch):
    blocked = tmp_path / "a file"
    blocked.write_text("in the way")
    monkeypatch.setenv("SPRAYOUT_DATA", str(blocked))
    app = press(checked_app(demo), "Save this check")
    assert "is a file, expected a data folder" in html(app)
    assert "is a file, expected a data folder" in html(run(_history))
    assert "is a file, expected a data folder" in html(run(_colour))


def test_the_list_is_newest_first_and_narrows_by_words_code_and_verdict(store):
    _, kept = story(store)
    app = run(_history)
    assert rows(app) == kept[::-1]
    app.text_input(key="history_text").set_value("slate estate")
    assert rows(again(app)) == kept[2::-1]
    app.text_input(key="history_code").set_value("zz")
    assert "No saved check matches" in html(again(app))
    app.text_input(key="history_code").set_value("hs 1")
    app.selectbox(key="history_verdict").set_value("go")
    assert rows(again(app)) == [kept[2]]


def test_what_a_saved_check_said_before_is_brought_back_with_one_press(store):
    check = store.save_check(NewCheck(result=result(1.0, "go"), note="north light <b>"))
    app = run(_history, check=check.id)
    assert not [button for button in app.button if button.label == "Bring this back"]
    app.text_input(key=f"note_{check.id}").set_value("sun")
    press(app, "Keep the note")
    assert store.get_check(check.id).note == "sun"
    app = run(_history, check=check.id)
    assert "no car · north light &lt;b&gt;" in "".join(element.value for element in app.get("html"))
    press(app, "Bring this back")
    assert store.get_check(check.id).note == "north light <b>"
    assert app.text_input(key=f"note_{check.id}").value == "north light <b>"
    assert len([button for button in app.button if button.label == "Bring this back"]) == 2


def test_long_lists_are_turned_page_by_page_and_a_new_search_begins_at_the_first(store):
    for place in range(23):
        store.save_check(
            NewCheck(result=result(1.0, "go"), note=f"number {place}", created_at=START + timedelta(days=place))
        )
    app = run(_history)
    assert len(rows(app)) == 20
    press(app, "Older")
    assert len(rows(app)) == 3
    app.text_input(key="history_text").set_value("number")
    assert len(rows(again(app))) == 20


def test_deleting_a_check_can_be_undone_at_once_and_later(store):
    _, kept = story(store)
    app = press(run(_history, check=kept[1]), "Delete")
    assert kept[1] not in rows(app)
    assert kept[1] in rows(press(app, "Undo"))
    store.delete(kept[0])
    app = press(run(_history), "Bring back")
    assert kept[0] in rows(app)


def test_an_opened_check_shows_verdict_figures_and_a_lost_photo(store, tmp_path, demo):
    photo, regions = demo
    marks = [
        region_table(replace(region, sure=(EVERY_QUESTION,) if region.kind is Kind.CARD else ())) for region in regions
    ]
    kept = store.save_check(
        NewCheck(result=result(1.2, "blend"), regions=marks, note="north light"),
        [(photo.content, "a.jpg")],
    )
    told = html(run(_history, check=kept.id))
    assert 'data-verdict="blend"' in told
    assert "north light" in told
    assert told.count('alt="Cut-out of') == len(regions)
    assert "What was measured in a.jpg" in told
    assert "said that “Card” is right as marked" in told
    for file in (tmp_path / "data").rglob("*"):
        if file.is_file() and file.stat().st_size == len(photo.content):
            file.write_bytes(b"x" + file.read_bytes()[1:])
    assert "a.jpg is changed" in html(run(_history, check=kept.id))
    app = press(run(_history), "Verify everything")
    assert "is changed: put it back from a backup" in html(app)
    assert "no check with the id" in html(run(_history, check="0" * 32))


def test_what_a_user_typed_is_never_run_as_html(store):
    store.save_check(
        NewCheck(result=result(1.0, "go"), colour=NewColour(name="<img src=x onerror=alert(1)>"), note="<b>")
    )
    app = run(_history)
    shown = "\n".join(element.value for element in app.get("html"))
    assert "<img src=x" not in shown
    assert "&lt;img src=x" in shown


def test_colours_like_this_one_lists_another_near_car_and_not_itself(store):
    _, kept = story(store)
    other = result(1.0, "go", vehicle=(50.5, 2.0, -10.0))
    near = store.save_check(NewCheck(result=other, colour=NewColour(name="Near Slate"))).id
    told = html(run(_history, check=kept[0]))
    expected = float(delta_e00(np.array(CAR), np.array([50.5, 2.0, -10.0])))
    assert f"{expected:.1f} away" in told
    assert near in re.findall(r'data-check="(\w+)"', told)
    assert not set(kept) & set(re.findall(r'data-check="(\w+)"', told))


def test_files_are_made_ready_to_save_and_the_place_is_told(store):
    story(store)
    app = run(_history)
    assert store.place in html(app)
    for label, name in (("Make an export", ".zip"), ("Make a backup", "backup"), ("Make a spreadsheet", ".csv")):
        press(app, label)
        assert name in app.session_state["history_file_ready"].name
        assert app.session_state["history_file_ready"].content
    sheet = app.session_state["history_file_ready"].content.decode("utf-8-sig")
    assert len(sheet.splitlines()) == 5


def test_the_colour_page_names_the_best_card_with_its_gun_and_shows_every_check(store):
    colour, kept = story(store)
    app = run(_colour, colour=colour)
    told = html(app)
    assert "Best card so far" in [heading.value for heading in app.header]
    days = ", ".join(f"{START + timedelta(days=place):%Y-%m-%d}" for place in range(3))
    assert f"Side by side, from the left: {days}; under all of them the car." in told
    assert told.index("3.3 mm, 2 bar") < told.index("1.3 mm, 2 bar")
    assert rows(app)[:4] == kept[::-1]
    assert "Harbour Slate (HS-1)" in app.title[0].value
    assert "Harbour Slate" in html(run(_colour))
    assert "no colour with the id" in html(run(_colour, colour="0" * 32))


def test_an_outcome_recorded_on_the_colour_page_is_kept_and_told(store):
    colour, kept = story(store)
    app = run(_colour, colour=colour)
    hidden = next(group for group in app.get("button_group") if group.key == "colour-0_hidden")
    hidden.set_value("yes")
    app.text_input(key="colour-0_notes").set_value("owner did not see it")
    press(app, "Keep this outcome")
    (outcome,) = store.outcomes_of(kept[2])
    assert (outcome.hidden, outcome.verdict_followed) == ("yes", "go")
    assert "owner did not see it" in html(again(app))


def outcomes(deed: str, pairs: list[tuple[float, int, int]]) -> list[Observed]:
    """Invented outcomes: at each difference, so many hid and so many were seen."""
    return [
        Observed(difference, answer, deed)
        for difference, held, seen in pairs
        for answer in ["yes"] * held + ["no"] * seen
    ]


def test_a_lesson_counts_each_deed_alone_and_offers_nothing_on_too_little():
    seen = [*outcomes("blend", [(2.2, 13, 1)]), *outcomes("go", [(1.0, 3, 0)])]
    go, blend = lessons(seen, load_rules(), load_limits(), TODAY)
    (count,) = blend.counts
    # 13 of 14: Wilson's 95 % interval from the closed formula of the score interval, worked by hand with z = 1.96
    assert (count.held, count.total) == (13, 14)
    assert count.interval == pytest.approx((0.6853, 0.9873), abs=5e-4)
    assert go.offer is None
    assert "9 more decided outcomes" in go.why_not
    assert blend.offer is None
    assert "at least 2" in blend.why_not


def test_an_offer_is_the_learned_point_and_never_beyond_what_was_delivered():
    rules, limits = load_rules(), load_limits()
    seen = outcomes("blend", [(1.5, 8, 0), (2.0, 7, 1), (2.5, 3, 5), (3.0, 1, 7)])
    _, blend = lessons(seen, rules, limits, TODAY)
    decided = np.array([each.delta_e00 for each in seen]), np.array([each.hidden == "yes" for each in seen])
    _, ninety = points(*decided, rules.blend)
    assert blend.offer is not None
    assert blend.offer.offered == pytest.approx(ninety.median, abs=0.05 + 1e-9)
    assert blend.offer.offered < limits.blend_to_retint
    bold = outcomes("blend", [(2.0, 30, 2)])
    _, capped = lessons(bold, rules, limits, TODAY)
    assert capped.offer is None or capped.offer.offered <= 2.0


def test_limits_are_never_offered_out_of_order():
    seen = outcomes("go", [(0.3, 3, 12), (0.5, 2, 12)])
    go, _ = lessons(seen, load_rules(), Limits(1.5, 1.8, 3.0), TODAY)
    assert go.offer is None
    assert "out of order" in go.why_not


def test_accepting_writes_the_users_own_file_with_its_source_and_leaves_the_rest(store, tmp_path):
    before = (calibration.shipped_folder() / "tolerances.toml").read_text(encoding="utf-8")
    offer = Offer("blend_to_retint", load_limits().blend_to_retint, 2.4, "a test", date(2026, 3, 4))
    path = accept(offer)
    assert path == tmp_path / "own" / "tolerances.toml"
    written, shipped = tomllib.loads(path.read_text(encoding="utf-8")), tomllib.loads(before)
    as_shipped = shipped["limits"]["blend_to_retint"]
    assert written["limits"].pop("blend_to_retint") == as_shipped | {"value": 2.4, "source": offer.source}
    shipped["limits"].pop("blend_to_retint")
    assert written.pop("version") == f"{shipped.pop('version')} shop 2026-03-04"
    assert written == shipped
    changed = ("blend_to_retint", "version")
    kept = [line for line in before.splitlines() if not line.startswith(changed)]
    assert [line for line in path.read_text("utf-8").splitlines() if not line.startswith(changed)] == kept
    assert load_limits().blend_to_retint == 2.4
    assert (calibration.shipped_folder() / "tolerances.toml").read_text(encoding="utf-8") == before
    with pytest.raises(CalibrationError, match="look at the offer again"):
        accept(offer)
    twice = with_limit(path.read_text(encoding="utf-8"), replace(offer, now=2.4, offered=2.2))
    assert tomllib.loads(twice)["version"].count("shop") == 1


def test_limits_accepted_at_once_are_both_kept_and_none_is_written_while_another_writes(store, tmp_path, monkeypatch):
    limits, today = load_limits(), date(2026, 3, 4)
    offers = [
        Offer(name, getattr(limits, name), new, "a test", today)
        for name, new in (("blend_to_retint", 2.4), ("acceptability", 1.7))
    ]
    with ThreadPoolExecutor() as pool:
        list(pool.map(accept, offers))
    assert (load_limits().blend_to_retint, load_limits().acceptability) == (2.4, 1.7)
    monkeypatch.setattr(files, "PATIENCE_S", 0.05)
    file = tmp_path / "own" / "tolerances.toml"
    kept = file.read_bytes()
    with (
        files.changing(file, "the file"),
        pytest.raises(CalibrationError, match=r"nothing was changed: .* being written by another"),
    ):
        accept(replace(offers[0], now=2.4, offered=2.2))
    assert file.read_bytes() == kept
    assert [each.name for each in file.parent.iterdir()] == ["tolerances.toml"]


def test_the_page_offers_a_limit_and_writes_nothing_until_it_is_pressed(store, tmp_path):
    for difference, held, seen in [(1.5, 8, 0), (2.0, 7, 1), (2.5, 3, 5), (3.0, 1, 7)]:
        for answer in ["yes"] * held + ["no"] * seen:
            check = store.save_check(NewCheck(result=result(difference, "blend"))).id
            store.add_outcome(NewOutcome(check=check, hidden=answer, verdict_followed="blend"))
    app = run(_history)
    assert "Of 8 blends at 2.0 to 2.5, 7 held" in html(app)
    assert not (tmp_path / "own").exists()
    label = next(button.label for button in app.button if button.label.startswith("Use "))
    app = press(app, label)
    assert f"{load_limits().blend_to_retint:.1f}" in label
    assert "Remove that file to go back" in html(app)


SVG = "{http://www.w3.org/2000/svg}"


def test_the_chart_places_every_difference_in_order_and_tells_verdicts_by_shape(store):
    colour, _ = story(store)
    checks = [entry.check for entry in store.timeline(colour).entries]
    root = ElementTree.fromstring(chart(checks))
    groups = list(root.iter(f"{SVG}g"))
    assert len(groups) == 4
    assert [group.get("opacity") for group in groups] == [None, None, None, "0.45"]
    shapes = [tuple(child.tag.removeprefix(SVG) for child in group)[1:] for group in groups]
    assert len(set(shapes)) == 4
    assert "1: 3.4, 95 % sure between 2.4 and 4.8, retint" in chart_words(checks)
    many = [replace(checks[0], id=f"{place:032x}") for place in range(30)]
    assert len(list(ElementTree.fromstring(chart(many)).iter(f"{SVG}g"))) == MOST_SHOWN


def test_the_path_starts_away_from_the_car_and_ends_near_it(store):
    colour, _ = story(store)
    checks = [entry.check for entry in store.timeline(colour).entries]
    picture = path_picture(checks)
    diamonds = [tuple(map(float, found)) for found in re.findall(r'd="M([\d.]+) ([\d.]+)l12', picture)][:3]
    away = [np.hypot(x - 158.0, y + 12.0 - 140.0) for x, y in diamonds]
    deltas = [np.hypot(check.card_lab[1] - CAR[1], check.card_lab[2] - CAR[2]) for check in checks[:3]]
    unit = away[0] / deltas[0]
    assert away == pytest.approx([unit * delta for delta in deltas], abs=0.2)
    assert "3: 0.4 lighter, 0.1 redder, 0.1 bluer" in path_words(checks)
    assert Verdict.RETAKE.value not in path_words(checks)


def test_pictures_of_no_checks_are_still_pictures():
    assert ElementTree.fromstring(chart([])).tag == f"{SVG}svg"
    assert ElementTree.fromstring(path_picture([])).tag == f"{SVG}svg"


def test_a_kept_photo_is_measured_again_on_the_check_page_and_what_is_saved_corrects_it(demo, store):
    photo, regions = demo
    app = press(checked_app(demo), "Save this check")
    (row,) = store.find_checks().items
    again_app = AppTest.from_file(str(APP), default_timeout=300)
    again_app.session_state["session_photo"] = None
    bench = _put_back(store, row.id)
    assert "session_uses" not in bench  # saved alone, it was never said to be face-on: beside another that is asked
    for name, value in bench.items():
        again_app.session_state[name] = value
    again(again_app)
    check = again_app.session_state["session_check"]
    assert check.result.as_dict()["delta_e00"] == pytest.approx(row.delta_e00, abs=1e-9)
    assert check.regions == tuple(regions)
    press(again_app, "Save this check")
    newer, older = store.find_checks().items
    assert (newer.corrects, older.id) == (row.id, row.id)
    assert photo.digest == store.get_check(newer.id).photos[0].sha256
    assert app.session_state["session_check"] is not None


@pytest.mark.parametrize(
    ("role", "light", "finish", "is_first", "said"),
    [
        ("first", USUAL_LIGHT, Finish.SOLID, True, False),
        ("repeat", USUAL_LIGHT, Finish.SOLID, False, False),
        ("swap", USUAL_LIGHT, Finish.SOLID, False, True),
        ("first", "another lamp", Finish.SOLID, False, True),
        ("first", USUAL_LIGHT, Finish.METALLIC, True, True),
        ("repeat", USUAL_LIGHT, Finish.PEARL, False, True),
    ],
)
def test_what_a_kept_photo_of_a_solid_shows_was_not_said_where_nobody_was_asked(role, light, finish, is_first, said):
    kept = {"angle": "face", "role": role, "light": light}
    use = said_use(kept, finish, is_first)
    assert use == (PhotoUse(Angle.FACE, Role(role), light) if said else None)
    assert said_use(None, finish, is_first) is None


def _put_back(store: Store, check_id: str) -> dict:
    """Return what pressing "Measure this photo again" leaves in the visit, from a script of its own."""

    def script(check_id: str) -> None:
        from match.ui.history.photos import put_on_bench
        from match.ui.store import store

        put_on_bench(store(), store().get_check(check_id))

    app = AppTest.from_function(script, args=(check_id,), default_timeout=300)
    again(app)
    names = (
        "session_photo",
        "session_uses",
        "session_marks",
        "session_starts",
        "session_turns",
        "session_bench",
        "save_of_photo",
    )
    return {name: app.session_state[name] for name in names if name in app.session_state}


def test_saving_a_photo_that_was_saved_before_is_said_and_corrects_it(demo, store):
    press(checked_app(demo), "Save this check")
    (first,) = store.find_checks().items
    app = checked_app(demo)
    assert f"This photo is in the history already: {first.verdict}, saved" in html(app)
    press(app, "Save this check")
    newer, older = store.find_checks().items
    assert (newer.corrects, older.corrected_by) == (first.id, newer.id)
    store.delete(newer.id)
    store.delete(first.id)
    assert "in the history already" not in html(checked_app(demo))


def test_a_retake_takes_the_place_of_a_saved_answer_only_if_it_is_asked_to(demo, store):
    press(checked_app(demo), "Save this check")
    photo, regions = demo
    steps = iter(sorted((each.reflectance for each in regions if each.reflectance is not None), reverse=True))
    upside_down = [replace(each, reflectance=next(steps)) if each.reflectance is not None else each for each in regions]
    app = checked_app((photo, upside_down))
    assert 'data-verdict="retake"' in html(app)
    (corrects,) = (box for box in app.checkbox if box.label.startswith("Corrects the check saved"))
    assert not corrects.value


def test_an_export_is_brought_in_and_a_backup_restored_by_upload(store, tmp_path, monkeypatch):
    _, kept = story(store)
    store.export_archive(tmp_path / "all.zip")
    store.back_up(tmp_path / "backup.zip")
    monkeypatch.setenv("SPRAYOUT_DATA", str(tmp_path / "elsewhere"))
    app = run(_history)
    app.file_uploader(key="safe_import").upload("all.zip", (tmp_path / "all.zip").read_bytes(), "application/zip")
    press(again(app), "Add what is in it")
    assert rows(app) == kept[::-1]
    assert "Added 1 colour, 1 job, 3 spray-out cards, 4 checks and 0 photos." in html(app)
    app.file_uploader(key="safe_restore").upload("b.zip", (tmp_path / "backup.zip").read_bytes(), "application/zip")
    again(app).text_input(key="safe_restore_folder").set_value(str(tmp_path / "elsewhere"))
    assert "is not empty" in html(press(again(app), "Restore"))
    app.text_input(key="safe_restore_folder").set_value(str(tmp_path / "new"))
    assert "Restored 4 checks" in html(press(again(app), "Restore"))
    with Store.open(tmp_path / "new") as restored:
        assert [row.id for row in restored.find_checks().items] == kept[::-1]


def test_marks_kept_in_another_form_are_refused_in_a_sentence(store, demo):
    kept = store.save_check(NewCheck(result=result(1.0, "go"), regions={"card": [1, 2]}), [(demo[0].content, "a.jpg")])
    app = press(run(_history, check=kept.id), "Measure this photo again")
    assert "its regions is" in html(app)


def test_labels_are_offered_for_a_colour_s_cards_and_a_kept_card_is_chosen_again(store):
    colour, kept = story(store)
    app = run(_colour, colour=colour)
    app.toggle(key=f"labels_on_{colour}").set_value(True)
    again(app)
    assert "Download 3 labels (PDF)" in [button.label for button in app.get("download_button")]
    assert "A phone cannot open these codes" in html(app)  # the app's own address here is this computer's alone
    app.text_input(key=f"desk_{colour}").set_value("http://192.168.1.20:8501")
    assert "A phone cannot open these codes" not in html(again(app))
    app.text_input(key=f"desk_{colour}").set_value("http://[")
    again(app)  # no address, and no traceback
    app.text_input(key=f"desk_{colour}").set_value("x" * 120)
    again(app)
    assert "Download 3 labels (PDF)" in [button.label for button in app.get("download_button")]
    app.number_input(key=f"used_{colour}_a4-3x8").set_value(40)
    assert "Above 23. In use: 0." in html(again(app))
    card = store.get_check(kept[0]).card
    later = store.save_check(NewCheck(result=result(0.7, "go"), colour=colour, job=store.get_check(kept[0]).job))
    app = run(_history, check=later.id)
    app.selectbox(key=f"history_{later.id}_same_card").set_value(store.get_card(card))
    again(app)
    press(app, "Keep these")
    assert store.get_check(later.id).card == card
    assert "This card against this car on" in html(again(app))


def test_a_check_stays_with_its_colour_where_another_reads_the_same(store):
    colours = [store.add_colour(NewColour(name="Slate")).id for _ in range(2)]
    for colour in colours:
        kept = store.save_check(NewCheck(result=result(0.7, "go"), colour=colour))
        app = run(_history, check=kept.id)
        press(again(app), "Keep these")  # a page redrawn knows the chosen line by its words alone
        assert store.get_check(kept.id).colour == colour
