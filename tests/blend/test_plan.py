"""The plan for each side: the trade's three answers, the seam to the verdict, and the promises a plan makes."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from match import calibration
from match.blend.clear import Clear, ClearEnd
from match.blend.coat_plans import BlendPractice
from match.blend.edge import no_line_terms
from match.blend.film import built_film, hiding_exponent, old_share
from match.blend.options import StopKind, Way
from match.blend.plan import plan_blend
from match.blend.sides import Direction, End, Length, NextPanel, Repair, Side, check_repair, to_mm
from match.blend.viewing import ColourPair, Judging, Strictness, Vision
from match.blend.visibility import angle_deg, step_terms, visibility
from match.blend.words import clear_end, clear_risk
from match.colorimetry import delta_e00, xyz_from_lab
from match.errors import PlanError
from tests.support.viewing import looked_at

VISION = calibration.load(Vision, "vision")
PRACTICE = calibration.load(BlendPractice, "practice")
EXPERT = calibration.load(Strictness, "vision", "strictness", "expert")
OWNER = calibration.load(Strictness, "vision", "strictness", "ordinary")
ALLOWED = looked_at(OWNER, 1.0).allowed
VEHICLE = np.array([45.0, 8.0, -20.0])


def pair(difference, spread=0.0, samples=1, label="face on"):
    draw = np.random.default_rng(7).normal(0.0, spread, (2, samples, 3))
    return ColourPair(label, VEHICLE + np.array(difference, float) + draw[0], VEHICLE + draw[1])


def one_side(room_mm, **kwargs):
    return Repair(300.0, 200.0, (Side(Direction.LEFT, room_mm, **kwargs),))


def planned(colours, repair, strictness=OWNER, distances_m=(1.0, 2.0)):
    pairs = colours if isinstance(colours, list) else [colours]
    return plan_blend(pairs, [repair], looked_at(strictness, *distances_m), VISION, PRACTICE)


CLOSE = pair((2.1, 0.3, 0.4))  # about 2 CIEDE2000: too far for a bare gap, near enough for a fade


def test_a_near_card_is_stopped_at_another_part_a_close_one_blends_with_400_mm_and_has_too_little_room_in_80():
    near = pair((1.7, 0.2, 0.3))
    at_part = planned(near, one_side(30.0, end=End.OTHER_PART)).sides[0]
    with_room = planned(CLOSE, one_side(400.0)).sides[0]
    without = planned(CLOSE, one_side(80.0)).sides[0]
    assert (at_part.way, at_part.stop, at_part.fades_to_mm) == (Way.STOP, StopKind.OTHER_PART, 30.0)
    assert with_room.way is Way.FADE
    assert without.way is Way.TOO_LITTLE_ROOM
    assert [side.hides_probability for side in (at_part, with_room, without)] == [1.0, 1.0, 0.0]
    assert without.largest_delta_e00 < float(delta_e00(CLOSE.card_lab, CLOSE.vehicle_lab)[0])


def test_the_plan_says_for_every_sample_whether_it_hides():
    uncertain = pair((2.1, 0.3, 0.4), spread=0.3, samples=400)
    plan = planned(uncertain, one_side(150.0))
    assert plan.hides.shape == plan.hides_without_fade.shape == (400,)
    assert plan.hides.dtype == np.bool_
    assert plan.hides_probability == plan.hides.mean()
    assert 0.0 < plan.hides_probability < 1.0


def test_several_sides_hide_together_and_the_tightest_sets_the_match_to_aim_for():
    uncertain = pair((2.1, 0.3, 0.4), spread=0.3, samples=400)
    sides = (Side(Direction.LEFT, 400.0), Side(Direction.DOWN, 90.0), Side(Direction.UP, 60.0, End.KEPT_PART, False))
    plan = planned(uncertain, Repair(300.0, 200.0, sides))
    np.testing.assert_array_equal(plan.hides, plan.sides[0].hides & plan.sides[1].hides & plan.sides[2].hides)
    assert plan.tightest.side.direction is Direction.DOWN
    assert plan.largest_delta_e00 == pytest.approx(plan.sides[1].largest_delta_e00)


def test_a_card_brought_under_the_named_difference_is_hidden_by_the_room_there_is():
    for room in (80.0, 150.0, 250.0):
        for strictness in (EXPERT, OWNER):
            largest = planned(CLOSE, one_side(room), strictness).largest_delta_e00
            direction = CLOSE.card_lab[0] - VEHICLE
            now = float(delta_e00(CLOSE.card_lab[0], VEHICLE))
            under = pair(direction * 0.97 * largest / now)
            over = pair(direction * 1.1 * largest / now)
            assert planned(under, one_side(room), strictness).hides_probability == 1.0
            assert planned(over, one_side(room), strictness).hides_probability == 0.0


def test_a_planned_fade_is_really_below_the_limit_of_visibility():
    plan = planned(CLOSE, one_side(400.0), EXPERT, distances_m=(1.0,))
    side = plan.sides[0]
    gun = PRACTICE.guns[plan.gun]
    exponent = hiding_exponent(xyz_from_lab(CLOSE.card_lab[0])[1], PRACTICE.hiding)
    film = built_film(side.fade.x_mm, side.fade.coats, gun, PRACTICE.fade.fan_in_sigmas)
    share = 1 - old_share(film, float(exponent), plan.coats_to_cover)
    steepest_mm = 1 / np.abs(np.gradient(share, side.fade.x_mm)).max()
    terms = step_terms(CLOSE.card_lab[0], VEHICLE, 1000.0, VISION.eye)
    assert visibility(terms, angle_deg(steepest_mm, 1.0), VISION.ramp) <= EXPERT.visibility_limit * 1.01
    assert share[-1] * plan.delta_e00 <= EXPERT.gap_limit


@pytest.mark.parametrize("coats_to_cover", [1.0, 2.0, 3.0, 6.0])
@pytest.mark.parametrize("lightness", [3.0, 60.0, 96.0])
def test_black_grey_and_white_paint_can_all_be_planned(lightness, coats_to_cover):
    colours = ColourPair("face on", np.array([[lightness + 1.2, 0.0, 0.5]]), np.array([[lightness, 0.0, 0.0]]))
    viewing = looked_at(OWNER, 1.0)
    side = plan_blend([colours], [one_side(500.0)], viewing, VISION, PRACTICE, coats_to_cover).sides[0]
    assert side.hides_probability == 1.0
    assert 0.0 < side.covers_to_mm <= side.fades_to_mm <= 500.0


def test_equal_colours_need_no_fade_anywhere():
    plan = planned(pair((0.0, 0.0, 0.0)), one_side(60.0), EXPERT)
    assert plan.sides[0].way is Way.EDGE_HIDDEN
    assert plan.straight_mm.median == 0.0
    assert not plan.needs_fade
    assert plan.hides_without_fade.all()


def test_where_the_cars_colour_ends_any_colour_may_be_sprayed_up_to_it():
    plan = planned(pair((8.0, 5.0, 5.0)), one_side(60.0, end=End.KEPT_PART, car_colour_beyond=False))
    side = plan.sides[0]
    assert (side.way, side.stop, side.covers_to_mm) == (Way.STOP, StopKind.NOTHING_BEYOND, 60.0)
    assert side.largest_delta_e00 == np.inf


def test_a_painted_part_that_must_not_be_painted_is_judged_as_a_step():
    plan = planned(pair((8.0, 5.0, 5.0)), one_side(60.0, end=End.KEPT_PART))
    assert plan.hides_probability == 0.0
    assert plan.sides[0].left_delta_e00 > ALLOWED.panel_gap


def test_too_short_a_panel_carries_the_fade_onto_the_next_beyond_its_covered_strip():
    following = NextPanel(room_mm=600.0)
    side = planned(CLOSE, one_side(90.0, end=End.NEXT_PANEL, next_panel=following), EXPERT).sides[0]
    assert side.way is Way.FADE_ONTO_NEXT
    # common practice: about 2 in along the shared edge stays covered
    assert side.covers_to_mm >= 90.0 + PRACTICE.fade.covered_strip
    assert side.onto_next_mm == pytest.approx(side.fades_to_mm - 90.0)
    assert side.clear.to_mm == 690.0
    alone = planned(CLOSE, one_side(90.0), EXPERT).sides[0]
    assert side.largest_delta_e00 > alone.largest_delta_e00


def test_a_next_panel_too_short_for_strip_and_fade_still_lets_the_fade_cross_the_gap():
    following = NextPanel(room_mm=200.0)
    side = planned(CLOSE, one_side(240.0, end=End.NEXT_PANEL, next_panel=following), EXPERT, (1.5,)).sides[0]
    assert side.way is Way.FADE_ONTO_NEXT
    assert side.covers_to_mm < 240.0 < side.fades_to_mm


def test_the_clear_goes_to_the_panels_edge_else_the_next_break_else_a_line_else_carries_a_named_risk():
    def clear(**kwargs):
        return planned(CLOSE, one_side(700.0, **kwargs)).sides[0].clear

    assert clear() == Clear(700.0, ClearEnd.PANEL, 700.0)
    assert clear(end=End.NO_EDGE, break_mm=1100.0) == Clear(1100.0, ClearEnd.NEXT_BREAK, 1100.0)
    line = clear(end=End.NO_EDGE, lines_mm=(600.0,))
    assert (line.to_mm, line.ends) == (600.0, ClearEnd.BODY_LINE)
    assert clear_risk(line)
    open_panel = clear(end=End.NO_EDGE)
    assert (open_panel.to_mm, open_panel.ends) == (None, ClearEnd.OPEN)
    assert clear(clear_to_end=False) == open_panel
    told = clear_end(open_panel, Length.MM)
    assert told.index("next edge") < told.index("melted")
    assert "peel" in clear_risk(open_panel)


def test_with_much_room_a_fade_is_planned_and_never_the_whole_panel_at_full_colour():
    # under what may stop at a gap, and 1.5 m from it: a painter fades, and leaves the rest of the panel alone
    for lightness in (0.9, 1.1, 1.7):
        side = planned(pair((lightness, 0.2, 0.3)), one_side(1500.0)).sides[0]
        assert side.way is Way.FADE
        assert side.hides_probability == 1.0
        assert side.fades_to_mm < 400.0


def test_a_colour_that_no_fade_should_hide_is_spread_no_further_than_it_must():
    far = pair((8.0, 5.0, 5.0))
    side = planned(far, one_side(400.0, end=End.NEXT_PANEL, next_panel=NextPanel(900.0))).sides[0]
    assert side.way is Way.TOO_FAR_APART
    assert side.onto_next_mm == 0.0
    assert side.fades_to_mm < 250.0


def test_the_next_panel_is_coloured_edge_to_edge_only_where_nothing_smaller_holds():
    bare = NextPanel(120.0, End.KEPT_PART, car_colour_beyond=False)
    side = planned(CLOSE, one_side(60.0, end=End.NEXT_PANEL, next_panel=bare), EXPERT).sides[0]
    assert (side.way, side.fades_to_mm, side.onto_next_mm) == (Way.EDGE_TO_EDGE, 180.0, 120.0)
    assert side.clear.ends is ClearEnd.BOTH_PANELS
    roomy = replace(bare, room_mm=900.0)
    assert (
        planned(CLOSE, one_side(60.0, end=End.NEXT_PANEL, next_panel=roomy), EXPERT).sides[0].way is Way.FADE_ONTO_NEXT
    )
    far = planned(pair((8.0, 5.0, 5.0)), one_side(60.0, end=End.NEXT_PANEL, next_panel=bare)).sides[0]
    assert far.way is Way.TOO_FAR_APART


def test_long_panels_are_faded_as_far_as_they_go():
    rooms = (one_side(room, end=End.NO_EDGE) for room in (600.0, 1900.0))
    strict = [planned(pair((0.0, 0.0, 1.9)), room, EXPERT, (6.0,)) for room in rooms]
    assert strict[0].sides[0].way is Way.TOO_LITTLE_ROOM
    assert strict[1].largest_delta_e00 > 1.1 * strict[0].largest_delta_e00


@settings(max_examples=8)
@given(st.floats(0.2, 4.0), st.floats(40, 1500), st.floats(40, 1500))
def test_what_is_painted_never_leaves_the_panel(lightness, left, up):
    repair = Repair(300.0, 200.0, (Side(Direction.LEFT, left), Side(Direction.UP, up)))
    plan = planned(pair((lightness, 0.2, 0.3)), repair)
    assert plan.painted_mm2 <= (300.0 + left) * (200.0 + up) + 1e-6
    for side in plan.sides:
        assert side.covers_to_mm <= side.fades_to_mm <= side.side.room_mm


@settings(max_examples=6)
@given(st.floats(0.3, 2.5), st.floats(1.05, 1.8), st.floats(100, 1200))
def test_a_smaller_difference_never_paints_more(lightness, factor, room):
    small, large = (planned(pair((d, 0, 0)), one_side(room)) for d in (lightness, lightness * factor))
    if large.hides_probability == 1.0:
        assert small.hides_probability == 1.0
        assert small.sides[0].fades_to_mm <= large.sides[0].fades_to_mm


def test_the_widest_need_of_several_angles_wins():
    face, flop = pair((0.4, 0.0, 0.0)), pair((2.1, 0.0, 0.0), label="flop")
    together = planned([face, flop], one_side(400.0))
    alone = planned(flop, one_side(400.0))
    assert together.need.worst == "flop"
    np.testing.assert_allclose(together.need.straight_mm, alone.need.straight_mm)
    assert together.largest_delta_e00 == pytest.approx(alone.largest_delta_e00, rel=0.02)


def test_a_colour_that_people_reject_is_not_called_hidden_because_the_eye_is_dull_for_it():
    # Paravina et al. (2015), abstract: half of the observers reject 1.8 CIEDE2000; dE_NS leaves chroma as it is
    colours = ColourPair("face on", np.array([[50.0, 0.0, 4.0]]), np.array([[50.0, 0.0, 0.0]]))
    plan = planned(colours, one_side(600.0))
    assert plan.need.step_visibility[0] < OWNER.visibility_limit * 1.3
    passes = ALLOWED.faded
    assert plan.need.no_line[0] > passes
    assert plan.straight_mm.median > 0.0
    width = angle_deg(plan.straight_mm.median, 2.0)
    faded = visibility(no_line_terms(colours.card_lab, colours.vehicle_lab, VISION.edge), width, VISION.ramp)
    assert faded[0] == pytest.approx(passes, rel=1e-3)


def test_the_largest_distance_decides():
    near, both = (planned(CLOSE, one_side(400.0), OWNER, d) for d in ((1.0,), (1.0, 3.0)))
    assert both.straight_mm.median == pytest.approx(3.0 * near.straight_mm.median, rel=1e-3)
    assert [d for d, _ in both.need.by_distance_mm] == [1.0, 3.0]


def test_the_range_of_published_laws_holds_the_answer():
    need = planned(CLOSE, one_side(400.0), EXPERT).need
    assert need.narrowest_mm < np.median(need.straight_mm) < need.widest_mm


def test_the_range_of_laws_holds_the_width_of_a_difference_that_only_its_noise_makes_visible():
    need = planned(pair((0.3, 0.1, 0.1), 0.5, 1000), one_side(400.0)).need
    asked = float(np.median(need.straight_mm))
    assert asked > 0.0  # though its middle asks for none
    assert need.narrowest_mm <= asked <= need.widest_mm


def test_the_interval_widens_with_the_measurements_uncertainty():
    sure, unsure = (planned(pair((2.1, 0.3, 0.4), s, 1000), one_side(400.0)).straight_mm for s in (0.05, 0.4))
    assert sure.low < sure.median < sure.high
    assert unsure.high - unsure.low > 3 * (sure.high - sure.low)


@settings(max_examples=6)
@given(st.floats(60, 500), st.floats(1.05, 1.6))
def test_more_room_never_hides_less(room, factor):
    small, large = (planned(CLOSE, one_side(r), EXPERT, (1.0,)) for r in (room, room * factor))
    assert large.largest_delta_e00 >= small.largest_delta_e00 * 0.999
    assert large.hides_probability >= small.hides_probability


@settings(max_examples=6)
@given(st.floats(0.3, 3.0), st.floats(1.05, 1.8))
def test_a_larger_difference_never_reaches_less(lightness, factor):
    small, large = (planned(pair((d, 0, 0)), one_side(900.0), EXPERT, (1.0,)) for d in (lightness, lightness * factor))
    assert large.reach_mm.median >= small.reach_mm.median


@settings(max_examples=6)
@given(st.floats(0.3, 3.0), st.floats(60, 500))
def test_whoever_satisfies_an_expert_satisfies_an_owner(lightness, room):
    colours = pair((lightness, 0.0, 0.0))
    expert, owner = (planned(colours, one_side(room), s) for s in (EXPERT, OWNER))
    assert owner.hides_probability >= expert.hides_probability
    assert owner.largest_delta_e00 >= expert.largest_delta_e00


def test_inches_become_mm_by_definition():
    assert to_mm(2.0, Length.INCH) == 50.8
    assert to_mm(2.0, Length.MM) == 2.0


def test_shipped_judging_is_in_words_and_its_defaults_can_be_used():
    judging = calibration.load(Judging, "vision")
    assert [way.words for way in judging.strictness.values()] == ["an expert looking for it", "an ordinary owner"]
    for way in judging.strictness.values():
        viewing = looked_at(way, *judging.viewing.distances)
        assert viewing.deciding_distance_m == max(judging.viewing.distances)


@pytest.mark.parametrize(
    ("repair", "says"),
    [
        (Repair(300, 200, ()), "no side"),
        (Repair(0, 200, (Side(Direction.UP, 100),)), "width"),
        (Repair(300, 200, (Side(Direction.UP, -1),)), "room upwards"),
        (Repair(300, 200, (Side(Direction.UP, 90_000, label="to the roof"),)), "room to the roof"),
        (Repair(300, 200, (Side(Direction.UP, 100), Side(Direction.UP, 50))), "same direction"),
        (Repair(300, 200, (Side(Direction.UP, 100, lines_mm=(120.0,)),)), "line at 120"),
        (Repair(300, 200, (Side(Direction.UP, 100, End.NEXT_PANEL),)), "may paint too"),
        (Repair(300, 200, (Side(Direction.UP, 100, next_panel=NextPanel(300)),)), "may paint too"),
        (
            Repair(300, 200, (Side(Direction.UP, 100, End.NEXT_PANEL, next_panel=NextPanel(300, End.NEXT_PANEL)),)),
            "two panels",
        ),
        (Repair(300, float("nan"), (Side(Direction.UP, 100),)), "height"),
    ],
)
def test_rooms_that_cannot_be_are_refused_in_one_sentence(repair, says):
    with pytest.raises(PlanError, match=says) as caught:
        check_repair(repair)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("light_lux", "distances_m"), [(0.0, (1.0,)), (1000.0, ()), (1000.0, (0.01,)), (float("nan"), (1.0,))]
)
def test_viewing_that_cannot_be_is_refused(light_lux, distances_m):
    with pytest.raises(PlanError):
        looked_at(OWNER, *distances_m, light_lux=light_lux)


def test_colours_that_cannot_be_are_refused():
    with pytest.raises(PlanError, match="equally long"):
        ColourPair("face on", np.zeros((3, 3)), np.zeros((2, 3)))
    with pytest.raises(PlanError, match="finite"):
        ColourPair("face on", np.full((1, 3), np.nan), np.zeros((1, 3)))
    with pytest.raises(PlanError, match="no colours"):
        planned([], one_side(100.0))
    with pytest.raises(PlanError, match="same number"):
        planned([pair((1, 0, 0)), pair((1, 0, 0), 0.1, 5)], one_side(100.0))
    with pytest.raises(PlanError, match="coats to cover"):
        plan_blend([CLOSE], [one_side(100.0)], looked_at(OWNER, 1.0), VISION, PRACTICE, coats_to_cover=9.0)
