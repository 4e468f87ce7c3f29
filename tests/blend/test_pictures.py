"""The pictures show the measured colours, to scale, and the drawings say what the plan says."""

import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from coloraide import Color

from match import calibration
from match.blend.coat_plans import BlendPractice
from match.blend.drawing import chart_svg, coats_svg
from match.blend.picture import GAP_MM, panel_picture
from match.blend.plan import plan_blend
from match.blend.profile import panel_profile
from match.blend.sides import Direction, End, Length, NextPanel, Repair, Side
from match.blend.viewing import ColourPair, Strictness, Vision
from match.colorimetry import delta_e00
from tests.support.drawings import tinted
from tests.support.viewing import looked_at

VISION = calibration.load(Vision, "vision")
PRACTICE = calibration.load(BlendPractice, "practice")
OWNER = calibration.load(Strictness, "vision", "strictness", "ordinary")
VIEWING = looked_at(OWNER, 1.0, 2.0)
VEHICLE = np.array([[45.0, 8.0, -20.0]])
PAIR = ColourPair("face on", VEHICLE + np.array([2.1, 0.3, 0.4]), VEHICLE)
REPAIR = Repair(
    300.0,
    200.0,
    (
        Side(Direction.LEFT, 400.0, label='<script>alert("door")</script>'),
        Side(Direction.RIGHT, 90.0, End.NEXT_PANEL, next_panel=NextPanel(500.0)),
        Side(Direction.UP, 250.0, lines_mm=(120.0,)),
        Side(Direction.DOWN, 100.0, End.KEPT_PART, car_colour_beyond=False),
    ),
)
PLAN = plan_blend([PAIR], [REPAIR], VIEWING, VISION, PRACTICE)
PICTURE = panel_picture(PLAN, PAIR)


def srgb8(lab):
    """Eight-bit sRGB by coloraide, an independent implementation of CIE Lab D65 and IEC 61966-2-1."""
    return 255 * np.array(Color("lab-d65", list(lab)).convert("srgb").coords())


def corner(picture, left_mm, top_mm):
    """Mean colour of 16 by 16 pixels around a place, from the repair's upper left corner."""
    x = round((400.0 + 40.0 + left_mm) / PICTURE.mm_per_px)
    y = round((250.0 + 40.0 + top_mm) / PICTURE.mm_per_px)
    return picture[y - 8 : y + 8, x - 8 : x + 8].reshape(-1, 3).mean(axis=0)


def test_both_colours_are_shown_as_the_standard_says_to_a_tenth_of_a_step():
    np.testing.assert_allclose(corner(PICTURE.hard_edge, 150.0, 100.0), srgb8(PAIR.card_lab[0]), atol=0.1)
    np.testing.assert_allclose(corner(PICTURE.hard_edge, -300.0, 100.0), srgb8(VEHICLE[0]), atol=0.1)
    np.testing.assert_allclose(corner(PICTURE.faded, 150.0, 100.0), srgb8(PAIR.card_lab[0]), atol=0.15)


def test_three_times_the_difference_is_three_times_and_the_car_stays():
    plain = panel_picture(PLAN, PAIR, exaggeration=3.0)
    shown = VEHICLE[0] + 3 * (PAIR.card_lab[0] - VEHICLE[0])
    np.testing.assert_allclose(corner(plain.hard_edge, 150.0, 100.0), srgb8(shown), atol=0.1)
    np.testing.assert_allclose(corner(plain.hard_edge, -300.0, 100.0), srgb8(VEHICLE[0]), atol=0.1)


def test_the_picture_is_to_scale():
    height, width = PICTURE.faded.shape[:2]
    assert width == 720
    assert width * PICTURE.mm_per_px == pytest.approx(300 + 400 + 40 + 90 + 500 + 40, abs=0.1)
    assert height * PICTURE.mm_per_px == pytest.approx(200 + 250 + 40 + 100 + 40, abs=PICTURE.mm_per_px)
    # the hard-edged repair covers its own size
    changed = np.abs(PICTURE.hard_edge.astype(int) - PICTURE.hard_edge[30, 60]).sum(axis=2)
    row = changed[round((250 + 40 + 100) / PICTURE.mm_per_px)] > 6
    left = round(440 / PICTURE.mm_per_px)
    assert row[left + 2 : left + round(300 / PICTURE.mm_per_px) - 2].all()
    assert not row[left - 20 : left - 2].any()


def test_the_gap_is_dark_and_as_wide_as_a_hairline():
    row = PICTURE.faded[round((250 + 40 + 100) / PICTURE.mm_per_px)].astype(int).sum(axis=1)
    at = round((40 + 400 + 300 + 90) / PICTURE.mm_per_px)
    dark = np.flatnonzero(row[at - 10 : at + 10] < 100)
    assert 1 <= len(dark) <= np.ceil(GAP_MM / PICTURE.mm_per_px) + 1


def test_both_ends_of_the_next_panel_are_gaps_and_a_part_of_another_colour_begins_behind_its_own():
    row = PICTURE.faded[round((250 + 40 + 100) / PICTURE.mm_per_px)].astype(int).sum(axis=1)
    beyond_mm = (np.flatnonzero(row < 100) + 0.5) * PICTURE.mm_per_px - (40 + 400 + 300)
    for end_mm in (90.0, 90.0 + 500.0):
        assert np.abs(beyond_mm - end_mm).min() <= PICTURE.mm_per_px
    column = PICTURE.faded[:, round((40 + 400 + 150) / PICTURE.mm_per_px)].astype(int).sum(axis=1)
    down_mm = (np.arange(len(column)) + 0.5) * PICTURE.mm_per_px - (250 + 40 + 200)
    own, other = column[(down_mm > 60) & (down_mm < 95)], column[down_mm > 100 + GAP_MM]
    assert np.abs(other.mean() - own.mean()) > 30


def test_the_fade_falls_evenly_with_no_step_of_the_screens_own():
    rows = slice(round((290 + 60) / PICTURE.mm_per_px), round((290 + 140) / PICTURE.mm_per_px))
    red = PICTURE.faded[rows, :, 0].astype(float)
    across = red.mean(axis=0)[round(60 / PICTURE.mm_per_px) : round(430 / PICTURE.mm_per_px)]
    smooth = np.convolve(across, np.ones(16) / 16, mode="valid")
    assert np.diff(smooth).min() > -0.08
    assert np.diff(smooth).max() < 0.3


def test_the_profile_starts_at_the_card_ends_at_the_car_and_stays_under_the_limit():
    side = PLAN.sides[0]
    profile = panel_profile(side, PAIR, VIEWING, VISION)
    assert profile.delta_e00[0] == pytest.approx(float(delta_e00(PAIR.card_lab[0], VEHICLE[0])), rel=0.01)
    assert profile.delta_e00[-1] < 0.1
    assert 0.2 < profile.visibility.max() <= 1.02


@pytest.mark.parametrize("unit", list(Length))
def test_the_drawings_are_well_formed_and_cannot_carry_a_persons_words_as_code(unit):
    for side in PLAN.sides:
        chart = chart_svg(side, panel_profile(side, PAIR, VIEWING, VISION), OWNER, unit)
        coats = coats_svg(side, PRACTICE.guns[PLAN.gun], PRACTICE.fade.fan_in_sigmas, unit)
        for drawing in (chart, coats):
            root = ET.fromstring(drawing)
            assert root.attrib["viewBox"].startswith("0 0 360 ")
            assert root.attrib["role"] == "img"
            assert "<script" not in drawing
            sizes = [float(text.attrib["font-size"]) for text in root.iter("{http://www.w3.org/2000/svg}text")]
            assert min(sizes) >= 10.0
            assert f"{unit.value} from the repair" in drawing
        assert "limit for an ordinary owner" in chart


def test_the_chart_marks_zones_lines_and_gaps_in_words():
    side = PLAN.sides[0]
    chart = chart_svg(side, panel_profile(side, PAIR, VIEWING, VISION), OWNER, Length.MM)
    words = [element.text for element in ET.fromstring(chart).iter("{http://www.w3.org/2000/svg}text")]
    assert {"full", "fade", "car"} <= set(words)
    upward = next(side for side in PLAN.sides if side.side.direction is Direction.UP)
    assert ">line<" in chart_svg(upward, panel_profile(upward, PAIR, VIEWING, VISION), OWNER, Length.MM)


def test_the_greys_of_the_drawings_are_neutral():
    side = PLAN.sides[0]
    drawing = chart_svg(side, panel_profile(side, PAIR, VIEWING, VISION), OWNER, Length.MM)
    assert tinted(drawing) == {"#b34700"}  # the limit's label and line, and nothing else


def test_a_side_that_is_not_given_is_drawn_as_full_colour():
    alone = replace(REPAIR, sides=(REPAIR.sides[0],))
    plan = plan_blend([PAIR], [alone], VIEWING, VISION, PRACTICE)
    picture = panel_picture(plan, PAIR, width_px=370)
    np.testing.assert_allclose(
        picture.hard_edge[-20:, -20:].reshape(-1, 3).mean(axis=0), srgb8(PAIR.card_lab[0]), atol=0.2
    )


@pytest.mark.parametrize("room_mm", [171.0, 231.0, 431.0, 551.0])
def test_no_edge_shows_where_the_full_colour_goes_on(room_mm):
    # a fade that begins away from the repair: the colour before it is that of its first place, with no jump between
    repair = Repair(200.0, 200.0, (Side(Direction.RIGHT, room_mm),))
    side = plan_blend([PAIR], [repair], VIEWING, VISION, PRACTICE)
    (planned,) = side.sides
    profile = panel_profile(planned, PAIR, VIEWING, VISION)
    inside = profile.x_mm < 0.5 * planned.covers_to_mm
    assert planned.fades_to_mm > planned.covers_to_mm > 0.0
    assert profile.visibility[inside].max() < 0.3 * profile.visibility.max()
    assert np.diff(planned.fade.new_share).max() <= 1e-9


def test_a_body_line_is_a_little_darker_than_the_panel_and_no_gap():
    rows = PICTURE.hard_edge[:, 60:160].astype(float).mean(axis=(1, 2))
    line = round((40 + 250 - 120) / PICTURE.mm_per_px)
    panel = rows[line - 20]
    assert 0.8 * panel < rows[line - 4 : line + 5].min() < 0.97 * panel
    assert rows[line - 20 : line + 20].max() == pytest.approx(panel, rel=0.01)


def section(side, unit):
    """Return the coats in section: (words, x, y, anchor) and the path of each line."""
    root = ET.fromstring(coats_svg(side, PRACTICE.guns[PLAN.gun], PRACTICE.fade.fan_in_sigmas, unit))
    texts = [
        (each.text, float(each.attrib["x"]), float(each.attrib["y"]), each.attrib.get("text-anchor"))
        for each in root.iter("{http://www.w3.org/2000/svg}text")
    ]
    return texts, [each.attrib["d"] for each in root.iter("{http://www.w3.org/2000/svg}path")]


def numbered(texts):
    """Return the numbers of the axis along the panel: (number, x, y)."""
    return [(float(words), x, y) for words, x, y, anchor in texts if anchor == "middle" and words[0].isdigit()]


@pytest.mark.parametrize(("unit", "in_mm"), [(Length.MM, 1.0), (Length.INCH, 25.4)])
def test_a_body_line_stands_in_the_section_at_its_distance_by_the_axis(unit, in_mm):
    # 120 mm, by the inch's definition 120 / 25.4 in; the word "line" stands 3 beside it
    side = next(side for side in PLAN.sides if side.side.direction is Direction.UP)
    texts, paths = section(side, unit)
    axis = numbered(texts)
    (least, x_least, _), (most, x_most, _) = axis[0], axis[-1]
    (at,) = [x - 3.0 for words, x, *_ in texts if words == "line"]
    assert least + (at - x_least) / (x_most - x_least) * (most - least) == pytest.approx(120.0 / in_mm, rel=0.005)
    for _, x, y in axis:  # each number has its tick, between the drawing and the number
        assert [
            path for path in paths if path.startswith(f"M{x:.1f},150.0 ") and 150.0 < float(path.split(",")[-1]) < y - 8
        ]


def test_the_section_shows_the_next_panel_only_where_the_colour_goes_onto_it():
    side = next(side for side in PLAN.sides if side.side.direction is Direction.RIGHT)
    kept_off = replace(side, onto_next_mm=0.0, fades_to_mm=90.0)
    carried = replace(side, onto_next_mm=210.0, fades_to_mm=300.0)
    assert max(number for number, *_ in numbered(section(kept_off, Length.MM)[0])) <= 90.0 + 4.0
    assert max(number for number, *_ in numbered(section(carried, Length.MM)[0])) >= 300.0


def test_each_coats_name_stands_inside_its_layer():
    texts, paths = section(PLAN.sides[0], Length.MM)
    layers = [path for path in paths if path.endswith("Z")]
    names = [(words, x, y) for words, x, y, _ in texts if words.startswith("coat ")]
    assert names
    for words, x, y in names:
        path = layers[int(words.removeprefix("coat ").split(",")[0]) - 1]
        places = [tuple(map(float, place.split(","))) for place in path.strip("MZ ").split(" L")]
        at_axis = [down for across, down in places if across == places[0][0]]
        assert x > places[0][0]
        assert y - 8.0 < 0.5 * (min(at_axis) + max(at_axis)) < y  # letters stand on their line, some 8 high
