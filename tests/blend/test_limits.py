"""One table of limits: the planner, the verdict and the words take what passes where from the same place."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from match import calibration
from match.blend.job_practice import JobPractice
from match.blend.options import Way
from match.blend.plan import plan_blend
from match.blend.planned_job import plan_job
from match.blend.room import Room, measured_pair
from match.blend.room_answer import NOT_YET, answer_for_colours
from match.blend.sides import Direction, End, Length, NextPanel, Repair, Side
from match.blend.viewing import ColourPair
from match.blend.words import need_lines, side_lines
from match.check.calibration_files import load_calibration
from match.check.verdict import Junction, Verdict, allowed, thresholds
from match.cli import main
from match.colorimetry import delta_e00
from match.measure.confidence import confidence_curve, curve_of
from match.measure.uncertainty import Draws
from match.measure.words import meaning
from tests.support.viewing import CALIBRATION, looked_at

TABLE = allowed(CALIBRATION.tolerances)
OWNER = CALIBRATION.judging.strictness["ordinary"]
EXPERT = CALIBRATION.judging.strictness["expert"]
WHITE = np.array([93.0, 0.0, 1.0])
GREY = np.array([50.0, 0.0, 0.0])
ENDS = {
    Junction.PANEL_GAP: {"end": End.KEPT_PART},
    Junction.OTHER_PART: {"end": End.OTHER_PART},
}


def colours(vehicle, difference):
    return ColourPair("face-on", (vehicle + np.array(difference, float))[np.newaxis], vehicle[np.newaxis])


def room(sides, pair=None, strictness=OWNER):
    repair = Repair(200.0, 200.0, tuple(sides))
    pair = pair or colours(GREY, (1.0, 0.0, 0.0))
    return Room(plan_blend([pair], [repair], looked_at(strictness, 1.0, 2.0), CALIBRATION.vision, CALIBRATION.practice))


def answer(pair, sides, junction=Junction.PANEL_GAP):
    viewing = looked_at(OWNER, 1.0, 2.0)
    practice = calibration.load(JobPractice, "practice")
    planned = plan_job([pair], [Repair(200.0, 200.0, tuple(sides))], viewing, CALIBRATION, practice, Length.MM)
    return answer_for_colours(planned, junction, CALIBRATION.tolerances)


def test_a_side_may_stop_at_full_colour_with_what_the_table_gives_its_end():
    for junction, kind in ENDS.items():
        assert room([Side(Direction.LEFT, 400.0, **kind)]).largest_without_fade == TABLE.at(junction)
    runs_on = room([Side(Direction.LEFT, 400.0, End.NO_EDGE)])
    assert 0.0 < runs_on.largest_without_fade <= TABLE.same_panel + 1e-6


def test_a_body_line_on_the_way_never_lets_more_pass_than_the_gap_behind_it():
    sides = [Side(Direction.LEFT, 400.0, lines_mm=(150.0,))]
    limits = thresholds(CALIBRATION.tolerances, Junction.PANEL_GAP, room(sides))
    assert limits.go_below == thresholds(CALIBRATION.tolerances, Junction.PANEL_GAP).go_below
    line_then_open = room([Side(Direction.LEFT, 400.0, End.NO_EDGE, lines_mm=(150.0,))])
    assert line_then_open.largest_without_fade == TABLE.body_line


def test_the_strictest_side_governs_and_sides_not_described_count_as_the_junction_asked_for():
    gap, part = Side(Direction.LEFT, 400.0), Side(Direction.UP, 400.0, End.OTHER_PART)
    both = room([gap, part])
    asked = {j: thresholds(CALIBRATION.tolerances, j, both).go_below for j in Junction}
    assert asked == {j: min(TABLE.at(j), TABLE.panel_gap) for j in Junction}
    around = room([Side(direction, 400.0, End.OTHER_PART) for direction in Direction])
    assert thresholds(CALIBRATION.tolerances, Junction.SAME_PANEL, around).go_below == TABLE.other_part
    assert "strictest to the left" in both.place("across a body line")
    assert "sides not described count as across a body line" in both.place("across a body line")
    assert around.place("across a body line") == "The room around the repair"  # where all are alike, none is strictest


def test_where_no_side_has_anything_to_compare_with_the_junction_asked_for_counts():
    bare = room([Side(direction, 100.0, End.KEPT_PART, car_colour_beyond=False) for direction in Direction])
    for junction in Junction:
        assert thresholds(CALIBRATION.tolerances, junction, bare).go_below == TABLE.at(junction)


@settings(max_examples=8)
@given(
    st.lists(st.sampled_from(list(End)), min_size=1, max_size=4),
    st.floats(60, 700),
    st.sampled_from(list(Junction)),
    st.booleans(),
)
def test_no_room_widens_what_the_shop_allows(ends, room_mm, junction, expert):
    sides = [
        Side(direction, room_mm, end, next_panel=NextPanel(300.0) if end is End.NEXT_PANEL else None)
        for direction, end in zip(Direction, ends, strict=False)
    ]
    planned = room(sides, strictness=EXPERT if expert else OWNER)
    limits = thresholds(CALIBRATION.tolerances, junction, planned)
    assert limits.go_below <= (TABLE.other_part if len(sides) == 4 else TABLE.at(junction)) + 1e-9
    assert limits.blend_below <= max(TABLE.largest_fade, limits.go_below)


def test_more_than_a_fade_should_be_asked_to_hide_is_retint_however_much_room_there_is():
    far = colours(GREY, (4.9, 0.0, 0.0))
    beyond = Side(Direction.LEFT, 300.0, End.NEXT_PANEL, next_panel=NextPanel(1500.0))
    found = answer(far, [beyond])
    assert found.verdict is Verdict.RETINT
    assert found.sheet("Invented", "today").steps_heading == NOT_YET  # a sheet on the wall is sprayed by
    assert found.planned.plan.hides_probability == 0.0
    assert found.planned.plan.sides[0].way is Way.TOO_FAR_APART
    assert found.room.largest_delta_e00 <= TABLE.largest_fade + 1e-6


def test_an_edge_that_the_table_calls_visible_is_never_called_unseen():
    # a white 2 of b* away: a dull edge for the eye's sensitivity, and 1.8 CIEDE2000
    pair = colours(WHITE, (0.0, 0.0, 2.0))
    found = answer(pair, [Side(Direction.LEFT, 400.0)])
    assert found.planned.plan.straight_mm.median > 0.0
    assert "hard edge" not in " ".join(need_lines(found.planned.plan, found.planned.viewing, Length.MM))


@settings(max_examples=8)
@given(st.floats(5, 95), st.floats(-40, 40), st.floats(-40, 40), st.floats(-2, 2), st.floats(-2, 2), st.floats(-2, 2))
def test_no_fade_is_asked_for_only_under_the_limit_of_an_edge_with_no_line(lightness, a, b, dl, da, db):
    pair = colours(np.array([lightness, a, b]), (dl, da, db))
    plan = room([Side(Direction.LEFT, 400.0, End.NO_EDGE)], pair).plan
    if plan.straight_mm.median == 0.0:
        assert plan.delta_e00 <= TABLE.same_panel


def test_at_the_published_thresholds_half_of_the_viewers_see_and_half_object():
    # Paravina et al. 2015 (abstract): 50:50 perceptibility 0.8, acceptability 1.8
    viewers = CALIBRATION.viewers
    assert viewers.seeing(0.8) == pytest.approx(0.5)
    assert viewers.objecting(1.8) == pytest.approx(0.5)
    assert viewers.objecting(0.0) < 1e-9
    sizes = np.linspace(0.0, 8.0, 50)
    assert (np.diff(viewers.objecting(sizes)) >= 0.0).all()
    assert (viewers.objecting(sizes) <= viewers.seeing(sizes)).all()


def test_a_plan_says_for_which_share_of_viewers_what_is_left_is_too_much():
    pair = colours(WHITE, (0.0, 0.0, 1.2))
    side = answer(pair, [Side(Direction.LEFT, 30.0)]).planned.plan.sides[0]
    assert side.way is Way.STOP
    assert side.objecting == pytest.approx(float(CALIBRATION.viewers.objecting(float(delta_e00(*pair.middle)))))
    told = " ".join(side_lines([side], CALIBRATION.practice, Length.MM))
    assert f"about {100 * side.objecting:.0f} in 100 viewers would object" in told


def test_words_for_a_size_come_from_the_same_limits():
    check = load_calibration()
    assert check.meaning(0.8) == meaning(0.5, float(CALIBRATION.viewers.objecting(0.8)))
    assert check.meaning(1.8).endswith("about 50 in 100 object to it")
    assert "nobody" not in check.meaning(0.3)


def test_where_the_coat_plans_end_before_the_room_does_the_plan_says_so():
    pair = colours(GREY, (0.0, 0.0, 2.9))
    far = looked_at(EXPERT, 12.0)
    repair = Repair(300.0, 200.0, (Side(Direction.LEFT, 5000.0, End.NO_EDGE),))
    plan = plan_blend([pair], [repair], far, CALIBRATION.vision, CALIBRATION.practice)
    assert plan.sides[0].way is Way.COATS_END
    short = room([Side(Direction.LEFT, 150.0, End.NO_EDGE)], pair, EXPERT).plan
    assert short.sides[0].way is Way.TOO_LITTLE_ROOM


def test_the_plans_json_carries_a_checks_verdict_chances_and_limits(capsys):
    main(["blend", "--labs", "50,0,4.9", "50,0,0", "--side", "left:400,next:900", "--json"])
    kept = json.loads(capsys.readouterr().out)
    assert kept["verdict"] == "retint"
    assert kept["probabilities"] == {"go": 0.0, "blend": 0.0, "retint": 1.0}
    assert kept["thresholds"]["go_below"] == pytest.approx(TABLE.panel_gap)
    assert kept["thresholds"]["blend_below"] <= TABLE.largest_fade


def test_samples_of_a_measurement_have_the_chances_of_its_verdict():
    rng = np.random.default_rng(3)
    card, vehicle = np.array([50.6, 0.2, 0.3]), GREY
    null = rng.normal(0.0, 0.5, (3000, 3))
    draws = Draws(card + null, np.broadcast_to(vehicle, null.shape).copy(), null)
    curve = confidence_curve(card, vehicle, draws)
    pair = measured_pair("face-on", draws, curve, float(delta_e00(card, vehicle)))
    sizes = delta_e00(pair.card_lab, pair.vehicle_lab)
    for limit in (0.3, 0.8, 1.2, 2.0):
        assert (sizes <= limit).mean() == pytest.approx(curve.at_most(limit), abs=0.01)
    lifted = delta_e00(draws.card_lab, draws.vehicle_lab)
    assert (lifted <= 0.8).mean() < curve.at_most(0.8) - 0.05


def test_a_colour_taken_as_exact_is_a_step_at_its_size():
    curve = curve_of(np.array([1.2]))
    assert (curve.at_most(1.19), curve.at_most(1.2), curve.at_most(9.0)) == (0.0, 1.0, 1.0)
    four = curve_of(np.array([1.0, 2.0, 3.0, 4.0]))
    assert [four.at_most(size) for size in (0.5, 1.5, 2.5, 4.5)] == pytest.approx([0.0, 0.25, 0.5, 1.0])


def test_the_limits_in_words_are_the_rooms_own_and_what_is_too_small_to_say_is_no_limit():
    found = answer(colours(GREY, (1.0, 0.0, 0.0)), [Side(Direction.LEFT, 400.0)])

    def told(bare):
        return replace(found, thresholds=replace(found.thresholds, go_below=bare, blend_below=2.0)).limits

    assert told(0.8) == f"{found.place}: go up to 0.8, blend up to 2.0."
    assert told(0.04) == f"{found.place}: without a fade it shows, blend up to 2.0."  # it would read "go up to 0.0"
