"""The check page, run without a browser: what it asks, what it answers, what it remembers."""

import json
import re
from dataclasses import replace
from functools import cache
from html import unescape
from pathlib import Path

import numpy as np
import pytest
from coloraide import Color
from streamlit.testing.v1 import AppTest

from match.check.step_errors import StepCode
from match.check.verdict import Finish
from match.cli import main
from match.history.place import DATA_VARIABLE
from match.photo.regions import Kind
from match.ui import session
from match.ui.check.verdict_panel import not_told
from match.ui.marker.box_names import called_in
from match.ui.marker.marks import from_region
from match.ui.session import marker_key
from tests.support.png import png
from tests.support.synthetic import FlatScene

APP = Path(__file__).parents[2] / "match" / "ui" / "main.py"
GREY = {"kind": "grey", "x": 0.05, "y": 0.3, "width": 0.12, "height": 0.4, "reflectance": 0.18}
WHITE = {"kind": "grey", "x": 0.82, "y": 0.3, "width": 0.12, "height": 0.4, "reflectance": 0.9}
CARD = {"kind": "card", "x": 0.30, "y": 0.3, "width": 0.16, "height": 0.4}
VEHICLE = {"kind": "vehicle", "x": 0.54, "y": 0.3, "width": 0.16, "height": 0.4}
MARKS = [GREY, WHITE, CARD, VEHICLE]
BLUE = (42.0, 2.0, -28.0)
SIZE = 600, 400
"""Width and height of the pictures below; what these pages ask of a photo asks for no larger one."""


@cache
def photo(
    card_lab: tuple[float, float, float] = BLUE, vehicle_lab: tuple[float, float, float] = BLUE, edge: float = 0.85
) -> bytes:
    """Return an evenly lit picture of flat colours with a little noise; coloraide turns CIELAB (D65) into sRGB."""
    picture = np.empty((SIZE[1], SIZE[0], 3))
    picture[:] = Color("lab-d65", vehicle_lab).convert("srgb").coords()
    picture[98:302, 158:295] *= edge  # the shadow that a card throws at its edge
    picture[100:300, 160:293] = Color("lab-d65", card_lab).convert("srgb").coords()
    for left, reflectance in ((13, 0.18), (473, 0.9)):
        picture[100:300, left : left + 113] = Color("srgb-linear", [reflectance] * 3).convert("srgb").coords()
    picture += np.random.default_rng(7).normal(0.0, 0.004, picture.shape)
    return png(np.rint(np.clip(picture, 0, 1) * 255))


def opened(content: bytes, marks: list[dict] | None) -> AppTest:
    """Return the app after the photo was uploaded and marked."""
    app = AppTest.from_file(str(APP), default_timeout=300)
    if marks is not None:
        app.session_state[marker_key(session.chosen("shop.png", content).digest)] = {"regions": marks}
    app.run()
    app.file_uploader(key="photo_file").upload("shop.png", content, "image/png")
    app.run()
    assert not app.exception
    return app


def html(app: AppTest) -> str:
    return unescape("\n".join(element.value for element in app.get("html")))


def pages_offered(app: AppTest) -> list[str]:
    """Return the pages linked from under the verdict, before the check is saved."""
    return [link.proto.page for link in app.get("page_link")]


def verdict(app: AppTest) -> str | None:
    found = re.search(r'data-verdict="(\w+)"', html(app))
    return found[1] if found else None


def figures(app: AppTest) -> dict:
    check = app.session_state["session_check"]
    return check.result.as_dict()


def test_the_first_screen_asks_for_a_photo_and_says_what_to_do_before():
    app = AppTest.from_file(str(APP), default_timeout=300).run()
    assert not app.exception
    assert {button.label for button in app.button} == {"Try the demo photo", "Practise on the demo photo"}
    assert app.file_uploader(key="photo_file") is not None
    for needed in ("cleared and dry", "Same gun", "washed and polished", "Same plane", "No lamp mirrored", "Grey ref"):
        assert needed in html(app)


def test_equal_colours_are_go():
    app = opened(photo(), MARKS)
    assert verdict(app) == "go"
    assert figures(app)["delta_e00"] < 0.5
    assert pages_offered(app) == ["blend"]


def test_a_difference_of_several_units_is_retint_and_measured_as_coloraide_says():
    card, vehicle = (48.0, 4.0, -20.0), BLUE
    app = opened(photo(card, vehicle), MARKS)
    expected = Color("lab-d65", card).delta_e(Color("lab-d65", vehicle), method="2000")
    assert verdict(app) == "retint"
    low, high = figures(app)["delta_e00_interval"]
    assert low <= expected <= high
    assert "lighter" in html(app)
    assert pages_offered(app) == ["tint", "blend"]


def test_without_marks_the_page_asks_for_the_three_kinds():
    app = opened(photo(edge=1.0), None)  # no card that could be found
    assert verdict(app) is None
    for label in ("Grey", "Card", "Car"):
        assert f"<li>{label}</li>" in html(app)
    assert "session_check" not in app.session_state


def test_a_missing_kind_is_named_and_the_marked_ones_are_ticked():
    app = opened(photo(), [GREY, CARD])
    assert "<li>Car</li>" in html(app)
    assert "Card ✓ marked" in html(app)


def test_overlapping_marks_are_told_in_one_sentence_and_leave_no_verdict():
    app = opened(photo(), [GREY, CARD, {**VEHICLE, "x": 0.4}])
    assert verdict(app) is None
    assert "The box “Card” overlaps the box “Car”" in html(app)
    assert "session_check" not in app.session_state


def test_moving_a_mark_changes_the_answer():
    content = photo((48.0, 4.0, -20.0), BLUE)
    app = opened(content, MARKS)
    assert verdict(app) == "retint"
    moved = {**CARD, "x": 0.72, "y": 0.78, "height": 0.2}
    app.session_state[marker_key(session.chosen("shop.png", content).digest)] = {
        "regions": [GREY, WHITE, moved, VEHICLE]
    }
    app.run()
    assert verdict(app) == "retake"
    assert html(app).count("look like one surface") == 1


def test_the_junction_moves_the_limit_for_go():
    app = opened(photo(), MARKS)
    wide = figures(app)["thresholds"]["go_below"]
    app.selectbox(key="check_junction").select_index(0).run()
    assert not app.exception
    assert figures(app)["thresholds"]["go_below"] < wide
    assert figures(app)["junction"] == "same-panel"


def test_a_matching_metallic_is_not_go_from_one_angle():
    app = opened(photo(), MARKS)
    app.button_group(key="check_finish").set_value(Finish.METALLIC).run()
    assert not app.exception
    assert verdict(app) == "retake"
    assert "flop" in html(app)


def test_every_warning_is_shown_with_its_remedy():
    app = opened(photo(), [GREY, CARD, VEHICLE])
    check = app.session_state["session_check"]
    warnings = check.result.said(called_in(check)).warnings
    assert [each.code for each in warnings] == [each["code"] for each in figures(app)["warnings"]] != []
    for warning in warnings:
        assert warning.text in html(app)
        assert warning.remedy in html(app)


def test_the_saved_file_holds_the_figures_the_regions_and_the_photo_digest():
    content = photo()
    app = opened(content, MARKS)
    saved = json.loads(json.dumps(app.session_state["session_check"].document()))
    assert saved["photo_sha256"] == session.chosen("shop.png", content).digest
    assert saved["photo"] == "shop.png"
    assert [region["kind"] for region in saved["regions"]] == ["grey", "grey", "card", "vehicle"]
    assert saved["regions"][2]["x"] == 180  # 0.30 of 600 pixels
    assert saved["verdict"] == verdict(app)
    assert [button.label for button in app.get("download_button")] == ["Save the figures (JSON)"]


def test_the_command_line_and_the_page_save_the_same_document(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path / "history"))
    (tmp_path / "shop.png").write_bytes(photo())
    saved = opened(photo(), MARKS).session_state["session_check"].document()
    (tmp_path / "saved.json").write_text(json.dumps(saved))
    chosen = ["--finish", saved["finish"], "--junction", saved["junction"], "--regions", str(tmp_path / "saved.json")]
    assert main(["check", str(tmp_path / "shop.png"), *chosen, "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == json.loads(json.dumps(saved))
    assert list(saved)[:5] == ["format", "version", "photo", "photo_sha256", "regions"]


@pytest.mark.parametrize("size", [(1, 1), (2, 600), (600, 1)])
def test_a_photo_too_small_to_measure_is_refused_at_once_and_the_next_one_is_taken(size):
    width, height = size
    app = AppTest.from_file(str(APP), default_timeout=300).run()
    app.file_uploader(key="photo_file").upload("small.png", png(np.full((height, width, 3), 120.0)), "image/png").run()
    assert not app.exception
    assert "This file cannot be used." in html(app)
    assert "too small" in html(app)
    app.file_uploader(key="photo_file").upload("shop.png", photo(), "image/png").run()
    assert not app.exception
    assert app.session_state["session_photo"].name == "shop.png"
    app.button(key="another_photo").click().run()
    assert not app.exception
    assert app.session_state["session_photo"] is None


def test_a_file_that_is_no_photo_is_told_in_one_sentence():
    app = AppTest.from_file(str(APP), default_timeout=300).run()
    app.file_uploader(key="photo_file").upload("notes.txt", b"not a photo at all", "text/plain").run()
    assert not app.exception
    assert "This file cannot be used.</span>notes.txt: this is not a photo" in html(app)  # the name as it is written
    assert app.file_uploader(key="photo_file") is not None


def test_another_photo_clears_the_bench_and_the_checklist_stays_folded():
    app = opened(photo(), MARKS)
    app.button(key="another_photo").click().run()
    assert not app.exception
    assert verdict(app) is None
    assert "session_check" not in app.session_state
    assert not app.expander[0].proto.expanded


def test_a_photo_shown_again_has_its_marks_again():
    content = photo()
    app = opened(content, MARKS)
    app.button(key="another_photo").click().run()
    app.file_uploader(key="photo_file").upload("shop.png", content, "image/png").run()
    assert verdict(app) == "go"


def test_what_was_measured_is_shown_above_the_verdict_under_its_name():
    shown = html(opened(photo(), MARKS))
    for name in ("Grey 18 %", "Grey 90 %", "Card", "Car"):
        assert f'alt="Cut-out of {name}"' in shown
    assert shown.index("What was measured") < shown.index("data-verdict=")


def test_an_unsure_answer_says_what_would_make_it_surer():
    app = opened(photo((43.3, 2.0, -28.0)), [GREY, CARD, VEHICLE])
    steps = figures(app)["next_steps"]
    assert steps
    assert "To be surer" in [each.value for each in app.header]
    for step in steps:
        assert step["words"] in html(app)


def test_a_step_that_a_warning_asks_for_is_not_asked_for_again():
    result = opened(photo((43.3, 2.0, -28.0)), [GREY, CARD, VEHICLE]).session_state["session_check"].result
    assert "one-sided" in [found.code for found in result.warnings]
    second = replace(result.better[0], code=StepCode.SECOND_CAR_BOX)
    assert not_told(replace(result, better=(second, result.better[1]))) == [result.better[1]]
    assert not_told(replace(result, better=(second,), warnings=())) == [second]


def test_the_demo_photo_has_a_verdict_at_once():
    app = AppTest.from_file(str(APP), default_timeout=300).run()
    app.button(key="demo_photo").click().run()
    assert not app.exception
    assert verdict(app) in {"go", "blend", "retint", "retake"}
    assert "invented" in html(app)


def test_the_app_is_reached_from_this_computer_only_and_reports_to_nobody():
    import tomllib

    config = tomllib.loads((Path(__file__).parents[2] / ".streamlit" / "config.toml").read_text(encoding="utf-8"))
    assert config["server"]["address"] == "127.0.0.1"
    assert config["browser"]["gatherUsageStats"] is False
    assert config["server"]["maxUploadSize"] == 120


def test_the_greys_on_offer_begin_with_the_usual_card_and_hold_the_generic_steps():
    from match.ui import measured

    offered = measured.greys()
    assert offered[0][1] == 0.18
    assert [reflectance for _, reflectance in offered[1:]] == [0.04, 0.09, 0.36, 0.75, 0.9, 0.8]
    assert all(label.startswith(f"{reflectance * 100:g} %") for label, reflectance in offered)


def test_a_black_car_asks_what_it_mirrors_and_the_answer_counts():
    black, car = (22.0, 0.5, -0.5), (20.0, 0.5, -1.0)
    app = opened(photo(black, car), MARKS)
    assert "so dark that what it mirrors" in html(app)
    before = figures(app)["delta_e00"]
    app.selectbox(key=session.MIRRORED).select("bright").run()
    assert not app.exception
    assert figures(app)["delta_e00"] > before  # more of what is read is mirrored, so the paints differ by more
    assert "a white wall or the sky, as you said" in str(figures(app)["notes"])
    assert app.selectbox(key=session.MIRRORED).value == "bright"
    app.button(key="another_photo").click().run()
    app.file_uploader(key="photo_file").upload("shop.png", photo(black, car), "image/png").run()
    assert app.selectbox(key=session.MIRRORED).value is None  # another photo, perhaps in another place


def test_a_light_car_does_not_ask_what_it_mirrors():
    app = opened(photo((60.0, 2.0, 3.0), (60.0, 2.0, 5.0)), MARKS)
    assert session.MIRRORED not in [box.key for box in app.selectbox]


def differences(app: AppTest) -> list[str]:
    """Return every figure with two decimals on the page, in order."""
    return re.findall(r"\d+\.\d\d", html(app))


def test_one_press_mends_swapped_greys_and_gives_the_answer_of_right_marks():
    content = photo((44.0, 2.0, -28.0))
    swapped = [{**GREY, "reflectance": 0.9}, {**WHITE, "reflectance": 0.18}, CARD, VEHICLE]
    app = opened(content, swapped)
    assert verdict(app) == "retake"
    app.button(key="mend_marks").click().run()
    assert "The marks were mended" in html(app)
    assert not [button for button in app.button if button.key == "mend_marks"]
    right = opened(content, MARKS)
    assert verdict(app) == verdict(right)
    assert differences(app) == differences(right)
    app.button(key="mend_back").click().run()
    assert verdict(app) == "retake"
    assert "The marks were mended" not in html(app)
    assert app.button(key="mend_marks")


def test_one_press_puts_a_cards_box_from_the_car_onto_the_card():
    scene = FlatScene(card=(0.24, 0.11, 0.1))
    card, car, *greys = scene.marks(both_sides=False)
    wrong = [replace(car, kind=Kind.CARD, width=40), replace(car, x=110, width=40), *greys]
    app = opened(scene.png(), [from_region(mark, *scene.size).as_dict() for mark in wrong])
    assert verdict(app) == "retake"
    assert app.button(key="mend_marks").label == "Mend the marks: the box “Card” moved onto the card that has none"
    app.button(key="mend_marks").click().run()
    assert verdict(app) == "retint"
    moved = next(each for each in app.session_state["session_check"].regions if each.kind is Kind.CARD)
    assert card.x <= moved.x < moved.x + moved.width <= card.x + card.width


def test_a_car_box_with_a_part_s_name_is_judged_by_itself():
    door = {"kind": "vehicle", "x": 0.54, "y": 0.76, "width": 0.2, "height": 0.2, "name": "door"}
    app = opened(photo(), [*MARKS, door])
    assert verdict(app) == "go"
    assert "The door passes as the car's colour" in html(app)
    assert "The card differs from the door by" in html(app)
    alone = opened(photo(), MARKS)
    assert "Other parts" not in "".join(each.value for each in alone.header)
    mine, without = figures(app), figures(alone)
    assert mine.pop("parts")
    assert mine == without


def test_where_every_car_box_is_a_part_that_is_said_once():
    door = {**VEHICLE, "name": "door"}
    app = opened(photo(), [GREY, WHITE, CARD, door])
    assert verdict(app) is None
    assert "leave the name out where the card is to be judged" in html(app)


def test_a_persons_word_on_a_doubted_mark_lets_the_figures_stand_until_a_mark_moves():
    scene = FlatScene(card=(0.24, 0.11, 0.1), greys=(0.09,))
    content = scene.png()
    marks = [from_region(region, *scene.size).as_dict() for region in scene.marks()]
    app = opened(content, marks)
    assert verdict(app) == "retake"
    assert app.button(key="marks_are_right").label == "I looked: the box “Grey 9 %” is really a grey of 9 %"
    app.button(key="marks_are_right").click().run()
    assert verdict(app) not in (None, "retake")
    assert "does not look like 9 %" in html(app)  # said still, as a caution
    assert "said that “Grey 9 %” is really a grey of 9 %. The figures rest on that word." in html(app)
    assert not [button for button in app.button if button.key == "marks_are_right"]
    app.button(key=f"take_word_back_{session.chosen('', content).digest[:12]}").click().run()
    assert verdict(app) == "retake"
    app.button(key="marks_are_right").click().run()
    assert verdict(app) not in (None, "retake")
    moved = {**marks[-1], "x": marks[-1]["x"] + 0.01}
    session_marks = {"regions": [*marks[:-1], moved]}
    app.session_state[marker_key(session.chosen("shop.png", content).digest)] = session_marks
    app.run()
    assert verdict(app) == "retake"
    assert "The figures rest on that word." not in html(app)
