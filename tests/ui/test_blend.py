"""The blend page, run without a browser: what it asks, what it answers, and what it does with sense and nonsense."""

import io
import re
from dataclasses import replace
from functools import cache
from html import unescape

import numpy as np
import pytest
from coloraide import Color
from PIL import Image
from streamlit.testing.v1 import AppTest

from match.blend.sides import Direction
from match.calibration import OVERRIDE_VARIABLE
from match.check.calibration_files import load_calibration
from match.check.settings import CheckSettings
from match.check.verdict import Finish, Junction, Verdict
from match.ui.blend.fields import PANEL, VIEW
from match.ui.session import LatestCheck
from tests.support.checked import check_photo
from tests.support.synthetic import FlatScene


def _page() -> None:
    from match.ui.blend import page

    page.page()


@pytest.fixture
def app(tmp_path, monkeypatch) -> AppTest:
    monkeypatch.setenv(OVERRIDE_VARIABLE, str(tmp_path / "own"))
    return opened(judge="ordinary")


def judged_by(judge: str, app: AppTest) -> AppTest:
    """Return the page with this one looking, whoever it opens with."""
    app.button_group(key="blend_judge").set_value(judge)
    return ran(app)


@cache
def checked(factor: float) -> LatestCheck:
    """Return the check of a card whose light is ``factor`` times the car's, under even light with three greys."""
    car = (0.05, 0.1, 0.25)
    scene = FlatScene(card=tuple(factor * part for part in car), vehicle=car, greys=(0.05, 0.18, 0.6), noise=0.0)
    result = check_photo(scene.photo(), scene.marks(), CheckSettings(), load_calibration())
    return LatestCheck("shop.png", "0" * 64, tuple(scene.marks()), result)


@cache
def checked_beside_a_part() -> LatestCheck:
    """Return the check of a card that matches, with a bumper of another colour marked beside it."""
    car = (0.05, 0.1, 0.25)
    scene = FlatScene(
        card=car, vehicle=car, greys=(0.05, 0.18, 0.6), size=(640, 360), noise=0.0, part=(0.055, 0.115, 0.26)
    )
    marks = (*scene.marks(), scene.part_mark("bumper"))
    result = check_photo(scene.photo(), marks, CheckSettings(), load_calibration())
    return LatestCheck("shop.png", "0" * 64, marks, result)


def opened_with(check: LatestCheck) -> AppTest:
    return opened(judge="expert", check=check)


def opened(judge: str, check: LatestCheck | None = None) -> AppTest:
    """Return the page with this one looking, whoever it opens with, for a check or for its own demo."""
    app = AppTest.from_function(_page, default_timeout=300)
    app.session_state["blend_judge"] = judge
    if check:
        app.session_state["session_check"] = check
    return ran(app)


def html(app: AppTest) -> str:
    return unescape("\n".join(element.value for element in app.get("html")))


def verdict(app: AppTest) -> str:
    found = re.search(r'data-verdict="(\w+)"', html(app))
    assert found
    return found[1]


def set_rooms(app: AppTest, room: float, unit: str = "mm") -> AppTest:
    for name in ("left", "right"):
        app.number_input(key=f"blend_room_{name}_{unit}").set_value(room)
    return ran(app)


def ran(app: AppTest) -> AppTest:
    app.run()
    assert not app.exception
    return app


def row(app: AppTest, name: str) -> str:
    found = re.search(rf'<th scope="row">{name}</th><td>(.*?)</td>', html(app))
    assert found, name
    return found[1]


def test_the_same_card_is_blend_with_400_mm_and_retint_with_80_mm(app: AppTest):
    # common practice: the room decides what may be done with a card
    set_rooms(app, 400.0)
    assert verdict(app) == Verdict.BLEND
    for name in ("left", "right"):
        app.checkbox(key=f"blend_line_on_{name}").check()
    assert verdict(ran(app)) == Verdict.BLEND  # a body line lets no more pass than a gap does
    for name in ("left", "right"):
        app.checkbox(key=f"blend_line_on_{name}").uncheck()
    set_rooms(app, 80.0)
    assert verdict(app) == Verdict.RETINT
    assert "bring the card under" in html(app).lower()


def test_a_checked_photo_is_decided_again_by_the_room():
    app = opened_with(checked(1.04))
    assert "From shop.png." in html(app)
    assert "Invented" not in html(app)
    assert verdict(app) == Verdict.BLEND
    judged_by("ordinary", app)
    assert verdict(app) == Verdict.GO
    judged_by("expert", app)
    set_rooms(app, 80.0)
    assert verdict(app) == Verdict.RETINT
    assert "close to the 0.8 this room hides" in html(app)
    assert "more than this room can hide" in html(set_rooms(opened_with(checked(1.06)), 80.0))


def test_a_photo_that_cannot_decide_says_so_above_its_plan():
    good = checked(1.04)
    finish = replace(good.result.settings, finish=Finish.METALLIC)
    app = opened_with(replace(good, result=replace(good.result, settings=finish)))
    for name in ("left", "right"):
        app.checkbox(key=f"blend_line_on_{name}").check()
    assert verdict(ran(app)) == Verdict.RETAKE  # common practice: a metallic is judged from several angles
    assert "rests on a photo that cannot decide" in html(app)
    assert any("not to be sprayed" in folded.label for folded in app.expander)


def test_the_demo_says_that_it_is_invented_and_names_its_difference_as_coloraide_does(app: AppTest):
    from match.ui.blend.colours import DEMO_CARD, DEMO_VEHICLE

    assert "Invented demonstration" in html(app)
    expected = Color("lab-d65", DEMO_CARD).delta_e(Color("lab-d65", DEMO_VEHICLE), method="2000")
    said = float(re.search(r"Card and car differ by ([\d.]+)", html(app))[1])
    assert said == pytest.approx(expected, abs=0.1)  # the median of scattered samples, to the tenth


def test_two_typed_colours_that_are_equal_are_go_and_not_called_invented(app: AppTest):
    app.button_group(key="blend_source_2").set_value("Type two colours")
    ran(app)
    for name in ("l", "a", "b"):
        app.number_input(key=f"blend_lab_card_{name}").set_value(40.0)
        app.number_input(key=f"blend_lab_car_{name}").set_value(40.0)
    app.number_input(key="blend_lab_sd").set_value(0.0)
    ran(app)
    assert verdict(app) == Verdict.GO
    assert "Invented" not in html(app)


def test_switching_to_inches_and_back_keeps_every_length(app: AppTest):
    set_rooms(app, 405.0)
    before = html(app)
    app.button_group(key="blend_unit").set_value("in")
    ran(app)
    assert app.number_input(key="blend_room_left_in").value == pytest.approx(405.0 / 25.4, abs=0.005)  # by definition
    assert re.search(r"\d mm\b", html(app)) is None
    assert re.search(r"\d m[,;:]", html(app)) is None
    app.button_group(key="blend_unit").set_value("mm")
    ran(app)
    assert app.number_input(key="blend_room_left_mm").value == 405.0
    assert html(app) == before


def test_a_length_typed_in_inches_is_25_4_mm_each(app: AppTest):
    app.button_group(key="blend_unit").set_value("in")
    ran(app)
    set_rooms(app, 10.0, "in")
    app.button_group(key="blend_unit").set_value("mm")
    ran(app)
    assert app.number_input(key="blend_room_left_mm").value == 254.0  # the inch is 25.4 mm by definition


def test_scales_have_the_legal_factors():
    # international yard and pound agreement of 1959: the inch is 25.4 mm and the foot 0.3048 m
    assert [scale.kept_per_unit for scale in (*PANEL.values(), *VIEW.values())] == [1.0, 25.4, 1.0, 0.3048]


def test_a_line_beyond_the_room_is_told_in_one_sentence_in_the_unit_typed(app: AppTest):
    app.checkbox(key="blend_line_on_left").check()
    set_rooms(app, 100.0)
    assert "The body line to the left is 120 mm from the repair, but the room there ends at 100 mm" in html(app)
    assert "data-verdict" not in html(app)
    app.button_group(key="blend_unit").set_value("in")
    ran(app)
    assert "The body line to the left is 4 3/4 in from the repair" in html(app)
    app.number_input(key="blend_line_left_in").set_value(2.0)
    assert verdict(ran(app))


def test_no_side_at_all_is_told_in_one_sentence(app: AppTest):
    app.button_group(key="blend_sides").set_value([])
    ran(app)
    assert "No side is given" in html(app)
    assert "data-verdict" not in html(app)


def test_a_panel_that_may_be_painted_too_takes_the_fade(app: AppTest):
    set_rooms(app, 80.0)
    assert row(app, "Onto the next panel") == "not used"
    for name in ("left", "right"):
        app.selectbox(key=f"blend_end_{name}").set_value("A panel I may paint too")
    ran(app)
    assert verdict(app) == Verdict.BLEND
    assert row(app, "Onto the next panel").startswith("by ")


def test_glass_at_the_end_leaves_nothing_to_compare_with(app: AppTest):
    for name in ("left", "right"):
        app.selectbox(key=f"blend_end_{name}").set_value("Glass, lamp, trim or wheel arch")
    set_rooms(app, 80.0)
    assert row(app, "The most this room hides") == "Any difference"
    assert verdict(app) == Verdict.BLEND
    assert "give their room too" in html(app)


def test_an_ordinary_owner_and_a_nearer_look_ask_for_less_width(app: AppTest):
    def width() -> float:
        return float(re.search(r'<span class="number">(\d+) mm', html(app))[1])

    judged_by("expert", app)
    expert = width()
    app.number_input(key="blend_furthest_m").set_value(1.0)
    ran(app)
    near = width()
    assert near < expert
    app.button_group(key="blend_judge").set_value("ordinary")
    ran(app)
    assert width() < near


def test_the_pictures_are_png_and_the_exaggerated_one_says_so_beside_it(app: AppTest):
    assert "Exaggerated" not in html(app)
    app.toggle(key="blend_exaggerate").set_value(True)
    ran(app)
    assert "Exaggerated: 3 times the true difference" in html(app)
    assert "not the true colours" in html(app)


def test_the_hard_edge_shows_card_and_car_side_by_side_and_three_times_apart_when_exaggerated(app: AppTest):
    from match.blend.paint import SOLID
    from match.blend.sides import Direction, Repair, Side
    from match.blend.viewing import ColourPair
    from match.ui.blend.answer import calibration
    from match.ui.blend.panel import _pictures

    card, car = np.array([[50.0, 5.0, 5.0]]), np.array([[48.0, 5.0, 5.0]])
    repair = Repair(200.0, 200.0, (Side(Direction.LEFT, 300.0), Side(Direction.RIGHT, 300.0)))
    for factor in (1.0, 3.0):
        pair = ColourPair("face-on", card, car)
        png = _pictures((pair,), (repair,), calibration().viewing(), 2.0, SOLID, None, factor)[0]
        assert png.startswith(b"\x89PNG")
        shown = np.asarray(Image.open(io.BytesIO(png))).astype(float)
        middle, left = shown[:, 300:320].mean(axis=(0, 1)), shown[:, 60:120].mean(axis=(0, 1))
        for seen, lab in ((middle, (48.0 + 2.0 * factor, 5.0, 5.0)), (left, (48.0, 5.0, 5.0))):
            expected = 255.0 * np.array(Color("lab-d65", lab).convert("srgb").coords())
            assert seen == pytest.approx(expected, abs=0.3)  # dithering keeps the mean below one step of the screen


def test_cautions_and_the_data_sheet_stand_where_the_steps_are(app: AppTest):
    shown = html(app)
    first, caution, step = (shown.index(words) for words in ("data sheet comes first", "isocyanates", "Mix the colour"))
    assert first < caution < step


def test_sides_planned_alike_stand_once_and_others_apart(app: AppTest):
    set_rooms(app, 400.0)
    titles = [each.value for each in app.header]
    assert sum("fade inside the panel" in each for each in titles) == 1
    assert any(each.startswith("To the left and to the right:") for each in titles)
    app.number_input(key="blend_room_right_mm").set_value(150.0)
    assert any(each.value.startswith("To the left:") for each in ran(app).header)


def test_a_data_sheet_typed_once_wins_and_is_forgotten_again(app: AppTest):
    assert "Common practice, as a starting point" in html(app)
    app.text_input(key="blend_sheet_name_").set_value("invented base")
    app.number_input(key="blend_sheet__flash_0").set_value(10.0)
    app.number_input(key="blend_sheet__flash_1").set_value(20.0)
    app.number_input(key="blend_sheet__coats_0").set_value(3.0)
    app.button(key="blend_keep_sheet").click()
    assert "By the data sheet of invented base" in html(ran(app))
    assert "Wait 10 to 20 minutes" in html(app)
    assert app.number_input(key="blend_coats").value == 3.0
    for impossible in (90.0, -1.0):
        app.number_input(key="blend_sheet_invented base_reducer_0").set_value(impossible)
        app.button(key="blend_keep_sheet").click()
        assert "The data sheet was not kept." in html(ran(app))
    app.button(key="blend_forget_sheet").click()
    assert "Common practice, as a starting point" in html(ran(app))


def test_a_retint_folds_the_steps_away(app: AppTest):
    set_rooms(app, 80.0)
    assert any("not to be sprayed with this colour yet" in folded.label for folded in app.expander)


def test_the_explanation_moves_the_width_both_ways(app: AppTest):
    shown = html(app)
    now = int(re.search(r"these ask for an even change over (\d+) mm", shown)[1])
    planned = int(re.search(r"(\d+) mm</span><span class=\"unit\">of even change", shown)[1])
    assert (planned == now) == ("how far off they may be" not in shown)  # two widths on one page are explained
    assert planned == now or f"asks for {planned} mm" in shown
    cells = re.search(r"begins to fade from sight.*?</th>(.*?)</tr>", html(app))[1]
    low, high = (int(found) for found in re.findall(r"(\d+) mm", cells))
    assert low < now < high


def test_the_job_sheet_holds_the_persons_words_and_the_verdict(app: AppTest):
    from match.blend.job_sheet_pdf import job_sheet
    from match.blend.paint import SOLID
    from match.blend.sides import Direction, Length, Repair, Side
    from match.ui.blend.answer import answer, calibration
    from match.ui.blend.colours import _demo
    from match.ui.blend.job import sheet_content
    from match.ui.blend.room import Asked

    repair = Repair(200.0, 200.0, (Side(Direction.LEFT, 400.0),))
    viewing = calibration().viewing("ordinary")
    found = answer(_demo(), Asked((repair,), viewing, Length.MM, 2.0, Junction.PANEL_GAP, SOLID))
    content = sheet_content(found, ["small estate", "", "slate <blue>"], "second door\n\nkeep", True)
    assert content.heading == "small estate, slate <blue>"
    assert content.remarks == ("second door", "keep")
    assert content.verdict.startswith("Blend")
    assert content.invented
    for page in ("A4", "Letter"):
        assert job_sheet(content, page).startswith(b"%PDF")
    assert [button.label for button in app.get("download_button")] == [
        "Save the booth page",
        "Save the job sheet (PDF)",
    ]


def test_a_panel_described_once_gives_all_four_rooms_and_moving_the_repair_moves_the_plan(app: AppTest):
    app.selectbox(key="blend_panel").set_value("door")
    ran(app)
    assert "Nothing said of the room" not in html(app)
    labels = {direction: app.selectbox(key=f"blend_end_door_{direction}").label for direction in ("left", "right")}
    shown = html(app)
    app.number_input(key="blend_place_left_door_mm").set_value(60.0)
    assert html(ran(app)) != shown
    moved = {direction: app.selectbox(key=f"blend_end_door_{direction}").label for direction in ("left", "right")}
    room = {name: int(re.search(r"(\d+) mm", label)[1]) for name, label in (labels | moved).items()}
    before = {name: int(re.search(r"(\d+) mm", label)[1]) for name, label in labels.items()}
    assert room["left"] < before["left"]
    assert room["right"] > before["right"]
    app.number_input(key="blend_repair_width_mm").set_value(2000.0)
    assert "larger than the panel" in html(ran(app))


def test_the_side_that_a_measured_part_lies_on_is_held_to_its_colour():
    app = opened_with(checked_beside_a_part())
    assert "already differs from the panel" not in html(app)
    before = row(app, "Fades")
    app.selectbox(key="blend_part_0").set_value(Direction.RIGHT)
    ran(app)
    assert "The bumper already differs from the panel" in html(app)
    assert "the fade ends before it" in html(app)
    assert "Towards the bumper: fade" in "".join(each.value for each in app.header)
    assert before == row(app, "Fades")  # the other side is as it was
    app.button_group(key="blend_sides").set_value([Direction.LEFT])
    ran(app)
    assert "already differs" not in html(app)  # its side is gone


def test_several_repairs_on_one_panel_are_placed_each_and_planned_together(app: AppTest):
    app.selectbox(key="blend_panel").set_value("plain")
    ran(app).number_input(key="blend_panel_width_plain_mm").set_value(2400.0)
    app.number_input(key="blend_repairs").set_value(2)
    ran(app)
    assert "Repair 1 and repair 2: each fades on its own" in html(app)  # the second begins clear of the first
    assert any(each.value.startswith("To the left of repair 1") for each in app.header)
    left = app.number_input(key="blend_place_left_plain_mm").value
    app.number_input(key="blend_place_left_plain_2_mm").set_value(left + 210.0)
    app.number_input(key="blend_place_top_plain_2_mm").set_value(app.number_input(key="blend_place_top_plain_mm").value)
    assert "Repairs 1 and 2 lie too near each other" in html(ran(app))
    app.number_input(key="blend_place_left_plain_2_mm").set_value(2390.0)
    assert "epair 2 does not lie on the panel" in html(ran(app))
