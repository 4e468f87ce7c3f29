"""The job's steps: their order, paint by hand arithmetic, where each coat goes, the trade's habits, the words."""

import json
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from match import calibration
from match.blend.booth_page import booth_page
from match.blend.coat_plans import BlendPractice
from match.blend.film import built_film, coat_film
from match.blend.job_practice import JobPractice
from match.blend.job_sheet_pdf import job_sheet
from match.blend.need import Range
from match.blend.paint import SOLID, CoatOrder, Paint
from match.blend.panel_svg import plan_svg
from match.blend.plan import plan_blend
from match.blend.plan_record import as_dict, steps_as_list
from match.blend.planned_job import plan_job
from match.blend.room import load_blend_calibration
from match.blend.room_answer import answer_for_colours
from match.blend.sides import Direction, End, Length, NextPanel, Repair, Side
from match.blend.step import COLOUR, Deed
from match.blend.step_words import BAR_PER_PSI, gun_words
from match.blend.steps import job_steps
from match.blend.viewing import ColourPair, Strictness, Vision
from match.blend.words import (
    difference,
    from_edge,
    keeps_within,
    length,
    length_range,
    need_lines,
    side_lines,
    sureness,
)
from match.check.verdict import Finish, Junction
from match.errors import PlanError
from tests.support.viewing import looked_at

VISION = calibration.load(Vision, "vision")
PRACTICE = calibration.load(BlendPractice, "practice")
JOB = calibration.load(JobPractice, "practice")
OWNER = calibration.load(Strictness, "vision", "strictness", "ordinary")
EXPERT = calibration.load(Strictness, "vision", "strictness", "expert")
VEHICLE = np.array([[45.0, 8.0, -20.0]])
PAIR = ColourPair("face on", VEHICLE + np.array([2.1, 0.3, 0.4]), VEHICLE)
METALLIC = Paint(Finish.METALLIC)
CALIBRATION = load_blend_calibration()


def plan_for(repair, strictness=OWNER, pair=PAIR, paint=SOLID):
    return plan_blend([pair], [repair], looked_at(strictness, 1.0, 2.0), VISION, PRACTICE, paint=paint)


def steps_for(repair, strictness=OWNER, paint=SOLID, job=JOB):
    return job_steps(plan_for(repair, strictness, paint=paint), PRACTICE, job, paint)


def planned_job(repair, paint=SOLID, unit=Length.MM):
    viewing = looked_at(OWNER, 1.0, 2.0)
    return plan_job([PAIR], [repair], viewing, CALIBRATION, JOB, unit, paint=paint)


def words_of(job, *deeds):
    return " ".join(line for each in job.step_texts if each.deed in deeds for line in each.lines)


BOXED = Repair(  # masked all round at the ends of the car's colour: every coat has the same, simple size
    300.0,
    200.0,
    tuple(Side(direction, 100.0, End.KEPT_PART, car_colour_beyond=False) for direction in Direction),
)
FADED = Repair(300.0, 200.0, tuple(Side(direction, 500.0) for direction in Direction))
BOXED_STEPS = steps_for(BOXED)
PAINTS = [SOLID, METALLIC, Paint(Finish.PEARL, mid_coats=3)]


@pytest.mark.parametrize("paint", PAINTS)
def test_the_steps_stand_in_the_order_of_doing(paint):
    deeds = [step.deed for step in steps_for(FADED, EXPERT, paint).steps]
    assert [deeds.index(deed) for deed in dict.fromkeys(deeds)] == sorted(deeds.index(d) for d in dict.fromkeys(deeds))
    before = list(Deed)
    first = [deed for deed in dict.fromkeys(deeds) if deed is not Deed.STIR]
    assert first == sorted(first, key=before.index)
    assert deeds.count(Deed.PROTECT) == 1
    assert deeds.index(Deed.PROTECT) < min(deeds.index(deed) for deed in (Deed.DEGREASE, Deed.SCUFF, Deed.MIX_BASE))
    for index, deed in enumerate(deeds):
        if deed is Deed.STIR:  # what is reduced is stirred in right before its coat, and before its bed gets dry
            assert deeds[index + 1] in (*COLOUR, Deed.WET_BED)
        if deed is Deed.WET_BED:
            assert deeds[index + 1] in COLOUR


def test_paint_follows_from_area_film_solids_and_transfer():
    gun = PRACTICE.guns["full"]
    # masked: passes run half a fan beyond the 100 mm of room, and half a spacing counts with them
    side = 100.0 + gun.fan_width / 2 + gun.spacing_mm / 2
    area_m2 = (0.300 + 2 * side / 1000) * (0.200 + 2 * side / 1000)
    coat = BOXED_STEPS.of(Deed.BASE_COAT)[0]
    assert coat.sizes_mm[0] == (300.0 + 2 * side, 200.0 + 2 * side)
    # 1 m2 of 1 um is 1 ml; spread over solids by volume and what lands
    assert coat.ready_ml == pytest.approx(area_m2 * 8.0 / 0.15 / 0.6)


def test_clear_is_two_parts_to_one_over_the_whole_panel_with_its_run_off():
    # common practice: two parts of clear to one of hardener, two to three coats; strokes run off by 150 mm a side
    mix = BOXED_STEPS.of(Deed.MIX_CLEAR)[0].mix
    amounts = dict(mix.parts)
    assert amounts["clear"] == 2 * amounts["hardener"]
    coats = BOXED_STEPS.of(Deed.CLEAR_COAT)
    assert [coat.sizes_mm for coat in coats] == [((500.0, 400.0),)] * 2
    one = (0.5 + 0.3) * 0.4 * 28.0 / 0.42 / 0.6
    assert coats[0].ready_ml == pytest.approx(one)
    assert mix.total_ml - mix.reserve_ml == pytest.approx(2 * one)


@settings(max_examples=8)
@given(st.floats(30, 1500), st.floats(30, 900), st.sampled_from(PAINTS))
def test_what_the_coats_take_adds_up_to_what_was_mixed_and_every_distance_lies_in_its_room(left, up, paint):
    repair = Repair(300.0, 200.0, (Side(Direction.LEFT, left), Side(Direction.UP, up, lines_mm=(0.7 * up,))))
    steps = steps_for(repair, EXPERT, paint)
    mixes, stirred = [step.mix for step in steps.of(Deed.MIX_BASE)], steps.of(Deed.STIR)
    assert len(mixes) == (2 if paint.mid_coats else 1)  # ground and mid-coat are two paints
    coats = steps.of(*COLOUR)
    thinned = [step for step in coats if step.reduced]
    for stir, coat in zip(stirred, thinned, strict=True):  # its cup holds the coat and what cannot be sprayed
        assert stir.mix.total_ml - stir.mix.reserve_ml == pytest.approx(coat.ready_ml)
        assert stir.mix.reserve_ml >= JOB.base.left_in_gun - 1.0
    plain = sum(step.ready_ml for step in coats if not step.reduced)
    total, reserve = sum(mix.total_ml for mix in mixes), sum(mix.reserve_ml for mix in mixes)
    assert total - reserve == pytest.approx(plain + sum(step.ready_ml for step in thinned) / 1.15)
    assert plain + sum(dict(stir.mix.parts)["paint"] for stir in stirred) <= total
    assert all(amount == round(amount) for mix in mixes for _, amount in mix.parts)  # as a cup is read
    assert all(mix.reserve_ml >= JOB.base.left_in_gun for mix in mixes)
    room = {Direction.LEFT: left, Direction.UP: up}
    for step in steps.of(*COLOUR, Deed.WET_BED, Deed.CLEAR_COAT):
        for reach in step.reaches:
            assert -150.0 <= reach.ease_from_mm <= reach.to_mm <= room[reach.direction] + 1e-9


def test_two_described_sides_are_not_the_whole_panel():
    two = Repair(300.0, 200.0, (Side(Direction.LEFT, 500.0), Side(Direction.RIGHT, 500.0)))
    steps = steps_for(two)
    assert steps.silent == (Direction.UP, Direction.DOWN)
    clear = [each.of(Deed.CLEAR_COAT)[0].sizes_mm for each in (steps, steps_for(FADED))]
    assert clear == [((1300.0, 1200.0),)] * 2
    assert "upwards and downwards" in words_of(planned_job(two), Deed.MASK)


def test_more_solids_or_transfer_need_less_paint():
    better = replace(JOB, base=replace(JOB.base, solids=0.3))
    worse = replace(JOB, base=replace(JOB.base, transfer=0.4))
    amounts = [steps_for(FADED, job=job).of(Deed.MIX_BASE)[0].mix.total_ml for job in (better, JOB, worse)]
    assert amounts == sorted(amounts)
    assert amounts[0] < amounts[2]


def test_passes_and_minutes_cover_the_height_at_the_guns_speed():
    coat, gun = BOXED_STEPS.of(Deed.BASE_COAT)[0], PRACTICE.guns["full"]
    assert coat.passes == np.ceil(coat.sizes_mm[0][1] / 125.0) + 1
    assert coat.minutes * 60 == pytest.approx(coat.passes * (coat.sizes_mm[0][0] / gun.travel_speed + 1.5))
    waits = [step.wait_min for step in BOXED_STEPS.of(Deed.BASE_COAT, Deed.CLEAR_COAT)]
    # common practice: 5 to 15 minutes between coats, 15 to 30 before the clear
    assert waits == [(5.0, 15.0), (15.0, 30.0), (5.0, 15.0), (5.0, 15.0)]
    low, high = BOXED_STEPS.minutes
    assert high - low == 10.0 + 15.0 + 10.0


def test_a_solid_goes_further_with_each_coat_and_flake_less_far_with_a_light_coat_over_it():
    solid, flake = (steps_for(FADED, EXPERT, paint) for paint in (SOLID, METALLIC))
    reach = [[step.reaches[0].to_mm for step in steps.of(Deed.BASE_COAT)] for steps in (solid, flake)]
    assert (solid.order, flake.order) == (CoatOrder.INSIDE_OUT, CoatOrder.OUTSIDE_IN)
    assert reach[0] == sorted(reach[0])
    assert reach[1] == sorted(reach[1], reverse=True)
    assert not solid.of(Deed.WET_BED, Deed.ORIENT)
    light = flake.of(Deed.ORIENT)[0]
    # common practice: overlap two thirds to three quarters; the last coat lighter, further off, with less air
    assert light.overlap == (0.67, 0.75)
    assert light.ready_ml < 0.5 * flake.of(Deed.BASE_COAT)[0].ready_ml
    assert light.distance[0] > 1.0 > light.pressure[1]
    bed = flake.of(Deed.WET_BED)[0].reaches[0]
    assert bed.to_mm >= max(reach[1])


def test_the_film_is_the_same_from_either_end_and_its_mass_is_that_of_the_passes():
    plan = plan_for(FADED, EXPERT, paint=METALLIC)
    side, gun, fan = plan.sides[0], PRACTICE.guns[plan.gun], PRACTICE.fade.fan_in_sigmas
    x = np.arange(-600.0, 1500.0, 4.0)  # a pass's bell has a standard deviation of 37.5
    inside_out, outside_in = (built_film(x, coats, gun, fan) for coats in (side.fade.coats, side.fade.coats[::-1]))
    np.testing.assert_allclose(inside_out, outside_in)
    # a numerical sum of passes: bells at the gun's spacing, eased off evenly over the last stretch, coat by coat
    sigma = gun.fan_width / fan
    for coat in set(side.fade.coats):
        across = np.arange(-3000.0, coat.reach_mm + 1e-9, 1.0)
        flow = np.clip((coat.reach_mm - across) / coat.ease_mm, 0.0, 1.0) if coat.ease_mm else None
        if flow is None:
            middles = coat.reach_mm - gun.spacing_mm * np.arange(40)
            bells = np.exp(-0.5 * ((x[:, None] - middles) / sigma) ** 2) * gun.spacing_mm
        else:
            bells = np.exp(-0.5 * ((x[:, None] - across) / sigma) ** 2) * flow
        summed = bells.sum(axis=1) / (sigma * np.sqrt(2 * np.pi))
        found = coat_film(x, coat.reach_mm, coat.ease_mm, sigma, gun.spacing_mm)
        np.testing.assert_allclose(found, summed, atol=2e-3)
        assert found.sum() == pytest.approx(summed.sum(), rel=1e-3)


def test_each_coat_ends_further_than_the_one_before_unless_a_stop_cuts_it_off():
    # common practice: some 5 to 15 cm from coat to coat; coats that end alike on the open panel build a ridge
    roomy = steps_for(FADED)
    for row in zip(*(step.reaches for step in roomy.of(Deed.BASE_COAT)), strict=True):
        assert all(further.to_mm - near.to_mm >= 50.0 for near, further in pairwise(row))
    job = planned_job(replace(FADED, sides=tuple(replace(side, room_mm=60.0) for side in FADED.sides)))
    reaches = [step.reaches[0].to_mm for step in job.steps.of(Deed.BASE_COAT)]
    assert ("further than the one before" in words_of(job, Deed.MIX_BASE)) == (len(set(reaches)) > 1)


def test_a_coat_is_kept_inside_the_repair_only_where_it_is_not_sprayed_beyond():
    fading, stopped = Side(Direction.LEFT, 500.0), Side(Direction.UP, 100.0, End.KEPT_PART, car_colour_beyond=False)
    for paint in PAINTS:
        job = planned_job(Repair(200.0, 150.0, (fading, stopped)), paint)
        for step in job.steps.of(*COLOUR):
            assert any(reach.sprayed for reach in step.reaches)
        for bed in job.steps.of(Deed.WET_BED):
            assert [reach.direction for reach in bed.reaches] == [Direction.LEFT]


def test_the_drawing_has_an_outline_for_each_coat_and_names_what_lies_on_each_side():
    sides = (Side(Direction.LEFT, 500.0), Side(Direction.RIGHT, 300.0, End.OTHER_PART, label="to the bumper"))
    job = planned_job(Repair(200.0, 150.0, sides))
    drawn = plan_svg(job.plan, job.steps, Length.MM)
    assert drawn.count('stroke-dasharray="5 3"') == len(job.steps.of(Deed.BASE_COAT))
    for words in ("repair", "edge", "bumper", length(job.plan.sides[0].fades_to_mm, Length.MM)):
        assert words in drawn, words


def test_a_fade_with_no_room_is_told_for_what_it_is():
    near = ColourPair("face on", np.array([[43.4, 5.3, -30.8]]), np.array([[42.0, 5.0, -31.0]]))
    side = plan_for(Repair(200.0, 150.0, (Side(Direction.DOWN, 90.0),)), pair=near).sides[0]
    assert side.fade.new_share[-1] > 0.5
    assert "no room to fade it out" in " ".join(side_lines([side], PRACTICE, Length.MM))
    nearly = plan_for(Repair(200.0, 150.0, (Side(Direction.DOWN, 200.0),)), pair=near).sides[0]
    assert nearly.fade.new_share[-1] < 0.3  # cut off where most of it is gone
    wide = plan_for(Repair(200.0, 150.0, (Side(Direction.DOWN, 600.0),)), pair=near).sides[0]
    assert "no room to fade" not in " ".join(side_lines([wide], PRACTICE, Length.MM))


def test_light_flake_is_faded_wider_and_says_from_what():
    light = ColourPair("face on", np.array([[76.2, 0.0, 0.3]]), np.array([[75.0, 0.0, 0.0]]))
    solid, flake = (plan_for(FADED, pair=light, paint=paint) for paint in (SOLID, METALLIC))
    assert flake.spread == 2.0
    assert flake.sides[0].fades_to_mm > solid.sides[0].fades_to_mm
    assert plan_for(FADED, paint=METALLIC).spread == 1.0  # dark
    assert "2 times as wide" in " ".join(need_lines(flake, looked_at(OWNER, 1.0), Length.MM))


def test_a_three_stage_colour_has_the_shortest_ground_and_mid_coats_staggered_beyond():
    steps = steps_for(FADED, OWNER, Paint(Finish.PEARL, mid_coats=3))
    ground = [step.reaches[0].to_mm for step in steps.of(Deed.GROUND_COAT)]
    mid = [step.reaches[0].to_mm for step in steps.of(Deed.MID_COAT)]
    assert len(mid) == 3
    assert max(ground) < mid[0] < mid[1] < mid[2]
    plan = plan_for(FADED, OWNER, paint=Paint(Finish.PEARL, mid_coats=3))
    assert mid[2] == pytest.approx(max(coat.reach_mm for coat in plan.sides[0].fade.coats))  # as the plan's fade ends
    assert steps.of(Deed.ORIENT)[0].reaches[0].to_mm == mid[2]
    with pytest.raises(PlanError, match="mid-coats"):
        Paint(Finish.PEARL, mid_coats=12)


def test_the_colour_ends_at_a_line_over_foam_and_at_a_gap_with_a_hard_edge():
    line = Repair(300.0, 200.0, (Side(Direction.LEFT, 600.0, lines_mm=(70.0,)), Side(Direction.UP, 30.0)))
    near = ColourPair("face on", VEHICLE + np.array([0.75, 0.0, 0.0]), VEHICLE)
    viewing = looked_at(OWNER, 1.0, 2.0)
    job = plan_job([near], [line], viewing, CALIBRATION, JOB, Length.MM)
    told = words_of(job, Deed.MASK)
    assert "At 70 mm to the left: foam tape" in told or "To the left, at 70 mm: foam tape" in told
    assert "Upwards, at 30 mm: tape inside the gap" in told


def test_the_trades_starting_points_are_the_shipped_ones():
    # common practice, as the trade states it; ranges, since painters differ
    tight, clear = PRACTICE.guns["tight"], JOB.clear.gun
    assert tight.air_pressure[0] <= 12.0 <= tight.air_pressure[1]
    assert (tight.needle_low, tight.needle_high) == (1.5, 2.0)
    assert clear.air_pressure[0] <= 28.0 < 29.0 <= clear.air_pressure[1]
    assert (clear.needle_low, clear.needle_high, clear.overlap) == (2.5, 3.0, 0.7)
    assert clear.gun_distance[0] <= 4.5 * 25.4 <= clear.gun_distance[1]
    assert 2.0 <= PRACTICE.hiding.coats_to_cover <= 3.0
    assert PRACTICE.fade.covered_strip == pytest.approx(2 * 25.4, abs=1.0)
    assert PRACTICE.fade.last_coat_reduction == 0.15
    assert JOB.base.flash == (5.0, 15.0)


def test_pressure_is_converted_by_definition():
    bar = 0.45359237 * 9.80665 / 0.0254**2 / 1e5  # one pound-force on a square inch
    assert pytest.approx(bar, rel=1e-5) == BAR_PER_PSI
    assert "10 to 15 psi (0.7 to 1.0 bar)" in gun_words(PRACTICE.guns["tight"], Length.MM)


def test_the_cautions_name_what_can_hurt_once_and_before_it():
    job = planned_job(FADED, METALLIC)
    text = words_of(job, Deed.PROTECT).lower()
    for word in (
        "isocyanate",
        "supplied-air respirator",
        "ventilated",
        "extinguisher",
        "dust",
        "gloves",
        "other people",
        "local rules",
        "data sheets",
        "licensed",
    ):
        assert word in text, word
    assert all(each.source for each in (*JOB.cautions.values(), *JOB.by_hand.values()))


@pytest.mark.parametrize("paint", PAINTS)
@pytest.mark.parametrize("unit", list(Length))
def test_the_steps_say_what_to_do_in_the_chosen_unit(unit, paint):
    job = planned_job(FADED, paint, unit)
    text = " ".join(line for each in job.step_texts for line in each.lines)
    for words in ("ready to spray", "reserve", "never stop at a gap", "Wait 5 to 15 minutes", "2000, 3000 and 5000"):
        assert words in text, words
    assert (" mm" not in text) == (unit is Length.INCH)
    assert "None" not in text
    assert all(each.lines for each in job.step_texts)


@pytest.mark.parametrize("paint", PAINTS)
def test_page_booth_and_sheet_come_from_one_list_and_the_sheet_has_two_pages(paint):
    sides = (
        Side(Direction.LEFT, 400.0, lines_mm=(120.0,)),
        Side(Direction.RIGHT, 90.0, End.NEXT_PANEL, next_panel=NextPanel(600.0)),
        Side(Direction.UP, 300.0, End.NO_EDGE, break_mm=800.0),
        Side(Direction.DOWN, 200.0, End.OTHER_PART),
    )
    job = planned_job(Repair(300.0, 200.0, sides), paint)
    page = booth_page(job)
    assert page.count("<section") == len(job.step_texts) == len(job.steps.steps)
    places = [page.index(f"<h1>{each.title}</h1>") for each in job.step_texts]
    assert places == sorted(places)
    assert page.count('class="timer"') == sum(each.wait_min[1] > 0.0 for each in job.step_texts)
    assert "http://" not in page.replace("http://www.w3.org/2000/svg", "")
    answer = answer_for_colours(job, Junction.PANEL_GAP, CALIBRATION.tolerances)
    pdf = job_sheet(answer.sheet("Invented job", "today"))
    assert pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") <= 2
    json.dumps(steps_as_list(job.steps), allow_nan=False)


@pytest.mark.parametrize(
    ("at_mm", "words"),
    [
        (180.0, "180 mm outside the repair's edge"),
        (-70.0, "70 mm inside the repair's edge"),
        (0.0, "at the repair's edge"),
    ],
)
def test_a_place_is_found_from_the_repairs_edge(at_mm, words):
    assert from_edge(at_mm, Length.MM) == words


@pytest.mark.parametrize(
    ("value_mm", "unit", "words"),
    [
        (203.2, Length.INCH, "8 in"),
        (6.35, Length.INCH, "1/4 in"),
        (146.05, Length.INCH, "5 3/4 in"),
        (0.0, Length.INCH, "0 in"),
        (203.2, Length.MM, "205 mm"),
        (7.0, Length.MM, "7 mm"),
        (np.inf, Length.MM, "no width"),
    ],
)
def test_lengths_are_read_as_a_painter_reads_them(value_mm, unit, words):
    assert length(value_mm, unit) == words


def test_certainty_is_never_claimed_and_an_upper_limit_is_rounded_down():
    assert sureness(1.0) == "over 99 % sure"
    assert sureness(0.905) == "90 % sure"
    # what is unlikely is said the other way round: nobody reads "under 1 % sure" rightly
    assert keeps_within("this plan", "the limits", 0.004) == "this plan does not keep within the limits: over 99 % sure"
    assert keeps_within("this plan", "the limits", 0.96) == "this plan keeps within the limits: 96 % sure"
    assert (difference(1.194), difference(1.19)) == ("1.1", "1.19")  # what a room hides, and a limit as it was set
    assert difference(np.inf) == "any difference"
    assert "more than can be sprayed" in length_range(Range(500.0, 400.0, np.inf), Length.MM)


def test_too_little_room_says_how_close_the_card_must_come():
    repair = Repair(300.0, 200.0, (Side(Direction.LEFT, 80.0),))
    plan = plan_for(repair, EXPERT)
    text = " ".join(side_lines(plan.sides[:1], PRACTICE, Length.MM))
    assert "not enough room" in text
    assert f"bring the card under {difference(plan.largest_delta_e00)} and the 80 mm you have will do" in text.lower()
    assert "carry the fade onto the panel beyond, if it may be painted" in text


def test_each_way_has_its_sentence():
    onto = Repair(
        300.0, 200.0, (Side(Direction.LEFT, 90.0, End.NEXT_PANEL, next_panel=NextPanel(600.0), label="to the door"),)
    )
    text = " ".join(side_lines(plan_for(onto, EXPERT).sides[:1], PRACTICE, Length.MM))
    assert text.startswith("To the door: fade onto the next panel.")
    assert "onto the next panel" in text
    assert "both whole panels" in text
    same = plan_for(FADED, pair=ColourPair("face on", VEHICLE, VEHICLE))
    assert "no fade is needed" in " ".join(need_lines(same, looked_at(OWNER, 1.0), Length.MM))


def test_the_eyes_need_is_said_with_its_interval_and_the_strictness_in_words():
    viewing = looked_at(OWNER, 1.0, 2.0)
    text = " ".join(need_lines(plan_for(FADED), viewing, Length.MM))
    assert "an ordinary owner" in text
    assert "95 % interval" in text
    assert "treat the width as a guide" in text
    wide = ColourPair("face on", VEHICLE + np.array([20.0, 0.0, 0.0]), VEHICLE)
    assert "Bring the colour closer first" in " ".join(need_lines(plan_for(FADED, pair=wide), viewing, Length.MM))
    assert "comparing the two ends" in " ".join(need_lines(plan_for(FADED, pair=wide), viewing, Length.MM))


def test_the_plan_as_plain_values_survives_json_and_keeps_its_numbers():
    plan = plan_for(BOXED)
    kept = json.loads(json.dumps(as_dict(plan), allow_nan=False))
    assert kept["largest_delta_e00"] is None  # any difference: the car's colour ends on every side
    assert kept["hides_probability"] == plan.hides_probability
    assert [side["direction"] for side in kept["sides"]] == ["left", "right", "up", "down"]
    assert kept["sides"][0]["way"] == "stop"
    assert kept["straight_fade_mm"]["median"] == pytest.approx(plan.straight_mm.median)


def test_the_drawn_panel_has_as_much_room_for_words_above_it_as_below():
    sides = (Side(Direction.LEFT, 400.0), Side(Direction.UP, 250.0), Side(Direction.DOWN, 150.0))
    job = planned_job(Repair(300.0, 200.0, sides))
    root = ET.fromstring(plan_svg(job.plan, job.steps, Length.MM))
    drawn = next(root.iter("{http://www.w3.org/2000/svg}rect")).attrib  # the panel lies below all else
    top, tall = float(drawn["y"]), float(drawn["height"])
    assert top > 20.0
    assert float(root.attrib["viewBox"].split()[3]) - top - tall == pytest.approx(top, abs=1.0)
    assert tall / float(drawn["width"]) == pytest.approx((250 + 200 + 150) / (400 + 300), rel=0.01)
