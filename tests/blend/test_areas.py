"""Several repairs on one panel: what is covered as one, by plane geometry, and what a further repair may never do."""

import json
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from match import calibration
from match.blend.areas import joined, meeting
from match.blend.coat_plans import STEP_MM
from match.blend.job_practice import JobPractice
from match.blend.panel import Around, Panel
from match.blend.panel_shape import PanelFile, place_for
from match.blend.panel_svg import plan_svg, step_svg
from match.blend.parts import PartColour, hold_to_parts
from match.blend.picture import panel_picture
from match.blend.plan import plan_blend
from match.blend.plan_record import as_dict
from match.blend.planned_job import plan_job
from match.blend.room_answer import answer_for_colours
from match.blend.sides import Direction, End, Length, Spot
from match.blend.step import COLOUR, Deed
from match.blend.viewing import ColourPair
from match.check.verdict import Junction
from match.cli import main
from match.errors import PlanError
from tests.support.viewing import CALIBRATION

PANELS = calibration.load(PanelFile, "panels")
PLAIN = PANELS.shape("plain")
JOB = calibration.load(JobPractice, "practice")
CAR = np.array([[42.0, 5.0, -31.0]])
PAIR = ColourPair("face-on", CAR + np.array([1.3, 0.3, 0.3]), CAR)
PASSES = ColourPair("face-on", CAR + np.array([0.9, 0.3, 0.3]), CAR)  # may stop at a gap, so that every plan holds
VIEWING = CALIBRATION.viewing("ordinary")
SIZE = (1800.0, 900.0)
LEFT, NEAR, FAR = Spot(300.0, 400.0, 100.0, 80.0), Spot(560.0, 420.0, 80.0, 60.0), Spot(1300.0, 380.0, 100.0, 100.0)


def panel(*spots, around=(), size=SIZE, shape="plain"):
    return Panel(shape, *size, spots, around).repairs(PANELS.shape(shape))


def planned(*spots, around=(), size=SIZE, pair=PAIR):
    repairs = panel(*spots, around=around, size=size)
    return plan_blend([pair], repairs, VIEWING, CALIBRATION.vision, CALIBRATION.practice)


def job(*spots, around=(), pair=PAIR):
    return plan_job([pair], panel(*spots, around=around), VIEWING, CALIBRATION, JOB, Length.MM)


def rooms(repair):
    return {side.direction: side.room_mm for side in repair.sides}


def amounts(steps):
    return {deed: sum(step.ready_ml for step in steps.of(deed)) for deed in (*COLOUR, Deed.WET_BED, Deed.CLEAR_COAT)}


def test_boxes_that_overlap_are_grouped_also_by_way_of_another_and_touching_ones_are_not():
    row = [(0.0, 0.0, 10.0, 10.0), (20.0, 0.0, 30.0, 10.0), (9.0, 5.0, 21.0, 8.0), (30.0, 0.0, 40.0, 10.0)]
    assert meeting(row) == [[0, 1, 2], [3]]
    assert meeting(row[:2]) == [[0], [1]]


def test_the_rooms_of_several_repairs_are_measured_from_the_one_nearest_to_each_side():
    one, other = panel(LEFT, FAR)
    whole = joined([one, other])
    assert (whole.left_mm, whole.top_mm, whole.width_mm, whole.height_mm) == (300.0, 380.0, 1100.0, 100.0)
    assert rooms(whole) == pytest.approx(
        {Direction.LEFT: 300.0, Direction.RIGHT: 400.0, Direction.UP: 380.0, Direction.DOWN: 420.0}
    )
    assert rooms(one)[Direction.RIGHT] == pytest.approx(1400.0)  # its own, with the other repair on the way


def test_what_was_said_of_a_side_is_measured_from_the_repair_nearest_to_it():
    said = Around(Direction.RIGHT, 350.0, End.KEPT_PART, lines_mm=(100.0,), break_mm=None)
    one, other = panel(LEFT, FAR, around=(said,))
    far, near = (next(s for s in each.sides if s.direction is Direction.RIGHT) for each in (one, other))
    assert (near.room_mm, near.lines_mm) == (350.0, (100.0,))
    assert (far.room_mm, far.lines_mm) == (1350.0, (1100.0,))  # 1000 mm further in


def test_where_the_rectangle_around_two_repairs_runs_over_the_panels_edge_no_room_is_left():
    # a right triangle with corners 0,0; 1000,0; 0,1000: its slanted edge lies at x = 1000 - y
    triangle = replace(PLAIN, outline=(0.0, 0.0, 1.0, 0.0, 0.0, 1.0))
    spots = Spot(100.0, 500.0, 100.0, 100.0), Spot(600.0, 100.0, 100.0, 100.0)
    whole = joined(Panel("plain", 1000.0, 1000.0, spots).repairs(triangle))
    assert rooms(whole)[Direction.RIGHT] == 0.0
    assert rooms(whole)[Direction.LEFT] == pytest.approx(100.0)


def test_repairs_far_apart_fade_each_alone_and_near_ones_are_covered_as_one():
    apart, close = planned(LEFT, FAR), planned(LEFT, NEAR)
    assert [area.repair.numbered for area in apart.areas] == ["repair 1", "repair 2"]
    assert [area.repair.numbered for area in close.areas] == ["repairs 1 and 2"]
    for plan, spots in ((apart, (LEFT, FAR)), (close, (LEFT, NEAR))):
        for one, other in combinations(plan.areas, 2):
            assert meeting([one.reached, other.reached]) == [[0], [1]]
        assert [spot for area in plan.areas for spot in area.repair.spots] == list(spots)
    assert {side.side.name for side in apart.sides} >= {"to the right of repair 1", "above repair 2"}
    assert "to the left" in {side.side.name for side in close.sides}


def test_a_repair_alone_on_its_panel_is_planned_as_it_is_beside_one_that_it_does_not_meet():
    alone, beside = planned(LEFT), planned(LEFT, FAR)
    for one, other in zip(alone.sides, beside.areas[0].sides, strict=True):
        assert (one.way, one.covers_to_mm, one.fades_to_mm) == (other.way, other.covers_to_mm, other.fades_to_mm)
    assert beside.painted_mm2 == pytest.approx(alone.painted_mm2 + planned(FAR).painted_mm2)


def test_two_repairs_at_the_same_place_equal_one():
    once, twice = job(LEFT), job(LEFT, LEFT)
    for one, other in zip(once.plan.sides, twice.plan.sides, strict=True):
        assert other.side == one.side
        assert (other.way, other.covers_to_mm, other.fades_to_mm) == (one.way, one.covers_to_mm, one.fades_to_mm)
    assert amounts(twice.steps) == amounts(once.steps)
    assert twice.plan.painted_mm2 == once.plan.painted_mm2


SPOTS = st.builds(Spot, st.floats(0, 1500), st.floats(0, 700), st.floats(20, 300), st.floats(20, 200))


@settings(max_examples=5)
@given(SPOTS, SPOTS)
def test_a_second_repair_never_lessens_area_or_amounts_and_no_area_exceeds_the_panel(first, second):
    one, two = job(first, pair=PASSES), job(first, second, pair=PASSES)
    for area in two.plan.areas:
        left, top, right, bottom = area.reached
        assert left >= -1e-6
        assert top >= -1e-6
        assert right <= SIZE[0] + 1e-6
        assert bottom <= SIZE[1] + 1e-6
    assert two.plan.painted_mm2 <= SIZE[0] * SIZE[1] + 1e-6
    # where nothing holds surely, the set-up that hides the most is taken, whatever it covers
    assert min(one.plan.hides_probability, two.plan.hides_probability) >= CALIBRATION.practice.fade.sureness
    # reaches lie on the planner's grid: one step a side may be lost to rounding
    left, top, right, bottom = one.plan.areas[0].reached
    grid = 2.0 * STEP_MM * (right - left + bottom - top)
    assert two.plan.painted_mm2 >= one.plan.painted_mm2 - grid
    assert two.steps.of(Deed.CLEAR_COAT)[0].ready_ml >= one.steps.of(Deed.CLEAR_COAT)[0].ready_ml - 1e-9
    share = 1.0 - grid / one.plan.painted_mm2
    assert sum(s.ready_ml for s in two.steps.of(*COLOUR)) >= share * sum(s.ready_ml for s in one.steps.of(*COLOUR))


def test_the_words_name_each_repair_and_say_what_is_covered_as_one():
    apart, close = job(LEFT, FAR), job(LEFT, NEAR)
    assert "Repair 1 and repair 2: each fades on its own" in " ".join(apart.need)
    assert "Repairs 1 and 2 lie too near each other" in " ".join(close.need)
    assert job(LEFT).areas == ()
    coat = next(each for each in apart.step_texts if each.deed is Deed.BASE_COAT)
    assert coat.lines[0].startswith("Repair 1 and repair 2, on every side: ")  # handled alike: said once
    kept = Around(Direction.RIGHT, 40.0, End.KEPT_PART)
    differ = job(LEFT, FAR, around=(kept,))
    coat = next(each for each in differ.step_texts if each.deed is Deed.BASE_COAT)
    assert any(line.startswith("Repair 2, to the right: ") for line in coat.lines)
    mask = next(each for each in differ.step_texts if each.deed is Deed.MASK)
    assert sum("Part that stays to the right, 40 mm from the nearest repair" in line for line in mask.lines) == 1
    clear = next(each for each in apart.step_texts if each.deed is Deed.CLEAR_COAT)
    assert "from the nearest repair: to the left to 300 mm and to the right to 400 mm" in clear.lines[0].replace(
        ", to the right", " and to the right"
    )
    assert apart.steps.of(Deed.CLEAR_COAT)[0].sizes_mm == (SIZE,)  # one clear over the whole panel


def test_every_repair_is_drawn_on_page_booth_and_sheet():
    for spots in ((LEFT, FAR), (LEFT, NEAR)):
        made = job(*spots)
        drawn = plan_svg(made.plan, made.steps, Length.MM, PLAIN.outline_mm(SIZE))
        coat = made.steps.of(Deed.BASE_COAT)[0]
        for svg in (drawn, step_svg(coat, made.plan, Length.MM)):
            assert ">1</text>" in svg
            assert ">2</text>" in svg
        answer = answer_for_colours(made, Junction.PANEL_GAP, CALIBRATION.tolerances)
        sheet = answer.sheet("Invented", "today")
        assert [name for area in sheet.areas for name, _ in area.repair.named_spots] == ["1", "2"]
    assert ">1: " in plan_svg(job(LEFT, FAR).plan, job(LEFT, FAR).steps, Length.MM)


def test_the_picture_shows_the_cars_colour_between_two_repairs_and_the_cards_on_both():
    plan = planned(LEFT, FAR)
    picture = panel_picture(plan, PAIR, width_px=400, exaggeration=10.0)
    row = round((420.0 + 40.0) / picture.mm_per_px)  # a margin of 40 mm stands about the panel
    at = [round((x + 40.0) / picture.mm_per_px) for x in (350.0, 850.0, 1350.0, 1750.0)]
    for shown in (picture.faded, picture.hard_edge):
        first, between, second, car = (shown[row - 3 : row + 3, x - 3 : x + 3].mean(axis=(0, 1)) for x in at)
        assert between == pytest.approx(car, abs=0.6)
        assert first == pytest.approx(second, abs=0.6)
        assert np.abs(first - car).max() > 10.0


def test_a_further_repair_begins_clear_of_the_others():
    shape = PANELS.shape("door")
    first = place_for(shape, (1000.0, 650.0), (100.0, 100.0))
    second = place_for(shape, (1000.0, 650.0), (100.0, 100.0), (first,))
    assert abs(second.left_mm - first.left_mm) > 200.0


def test_the_command_takes_further_repairs_with_their_places(capsys):
    blend = ["blend", "--labs", "43.3,5.3,-30.7", "42,5,-31", "--panel", "plain", "--panel-size", "1800x900"]
    two = ["--repair", "100x80@300,400", "--repair", "100x100@1300,380"]
    assert main([*blend, *two, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [area["repairs"] for area in found["areas"]] == [[1], [2]]
    assert found["areas"] == as_dict(planned(LEFT, FAR))["areas"]
    assert main([*blend, *two]) == 0
    # alike on every side: told once
    assert "On every side of repair 1 and repair 2: fade inside the panel." in capsys.readouterr().out
    for arguments, says in (
        ([*blend, "--repair", "100x80@300,400", "--repair", "100x100"], "without a place"),
        ([*blend, "--repair", "100x80@300,400", "--at", "1,1"], "given twice"),
        ([*blend[:4], "--side", "left:400", "--repair", "9x9@1,1"], "add --panel"),
        ([*blend, "--repair", "100x80@300,400", "--repair", "100x100@1750,380"], "repair 2 does not lie on the panel"),
        ([*blend, *(["--repair", "9x9@1,1"] * 7)], "give 1 to 6"),
    ):
        assert main(arguments) == 2
        assert says in capsys.readouterr().err


def test_repairs_with_different_sides_are_refused():
    one, other = panel(LEFT, FAR)
    with pytest.raises(PlanError, match="different sides"):
        plan_blend(
            [PAIR], [one, replace(other, sides=other.sides[:2])], VIEWING, CALIBRATION.vision, CALIBRATION.practice
        )


def test_a_part_beside_the_panel_holds_every_repair_and_is_answered_for_once():
    beside = Around(Direction.RIGHT, end=End.OTHER_PART)
    repairs = panel(LEFT, FAR, around=(beside,))
    far_off = ColourPair("face-on", CAR + np.array([6.0, 0.3, 0.3]), CAR)
    part = PartColour("bumper", Direction.RIGHT, (far_off,))
    held, answers = hold_to_parts(repairs, [PAIR], [part], VIEWING.allowed, CALIBRATION.practice.fade.sureness)
    assert [answer.name for answer in answers] == ["bumper"]
    assert not answers[0].may_meet
    limits = [side.end_limit for repair in held for side in repair.sides if side.direction is Direction.RIGHT]
    assert limits == [0.0, 0.0]  # nothing passes there from either repair
    plan = plan_blend([PAIR], held, VIEWING, CALIBRATION.vision, CALIBRATION.practice)
    assert {each.side.name for each in plan.sides if each.side.direction is Direction.RIGHT} == {
        "towards the bumper from repair 1",
        "towards the bumper from repair 2",
    }
