"""Paint, time and passes by hand arithmetic, the trade's starting points, and the words."""

import json
from dataclasses import replace

import numpy as np
import pytest

from match import calibration
from match.blend.coat_plans import BlendPractice
from match.blend.instructions import caution_lines, gun_words, instruction_lines, timeline_lines
from match.blend.need import Range
from match.blend.plan import plan_blend
from match.blend.record import as_dict
from match.blend.sides import Direction, End, Length, NextPanel, Repair, Side
from match.blend.steps import BAR_PER_PSI, JobPractice, job_steps
from match.blend.viewing import ColourPair, Strictness, Vision
from match.blend.wording import coat_lines, difference, length, length_range, need_lines, side_lines, sureness
from tests.support.viewing import looked_at

VISION = calibration.load(Vision, "vision")
PRACTICE = calibration.load(BlendPractice, "practice")
JOB = calibration.load(JobPractice, "practice")
OWNER = calibration.load(Strictness, "vision", "strictness", "ordinary")
EXPERT = calibration.load(Strictness, "vision", "strictness", "expert")
VEHICLE = np.array([[45.0, 8.0, -20.0]])
PAIR = ColourPair("face on", VEHICLE + np.array([2.1, 0.3, 0.4]), VEHICLE)


def plan_for(repair, strictness=OWNER, pair=PAIR):
    return plan_blend([pair], repair, looked_at(strictness, 1.0, 2.0), VISION, PRACTICE)


BOXED = Repair(  # masked all round at the ends of the car's colour: every coat has the same, simple size
    300.0,
    200.0,
    tuple(Side(direction, 100.0, End.KEPT_PART, car_colour_beyond=False) for direction in Direction),
)
FADED = Repair(300.0, 200.0, (Side(Direction.LEFT, 500.0), Side(Direction.RIGHT, 500.0)))
BOXED_STEPS = job_steps(plan_for(BOXED), BOXED, PRACTICE, JOB)


def test_paint_follows_from_area_film_solids_and_transfer():
    gun = PRACTICE.guns["full"]
    # masked: passes run half a fan beyond the 100 mm of room, and half a spacing counts with them
    side = 100.0 + gun.fan_width / 2 + gun.spacing_mm / 2
    area_m2 = (0.300 + 2 * side / 1000) * (0.200 + 2 * side / 1000)
    coat = BOXED_STEPS.coats[0]
    assert (coat.width_mm, coat.height_mm) == (300.0 + 2 * side, 200.0 + 2 * side)
    # 1 m2 of 1 um is 1 ml; spread over solids by volume and what lands
    assert coat.ready_ml == pytest.approx(area_m2 * 8.0 / 0.15 / 0.6)
    ready = 2 * coat.ready_ml + 40.0
    assert BOXED_STEPS.base.parts[0][1] == 5 * np.ceil(ready / 2 / 5)
    assert BOXED_STEPS.base.total_ml >= ready


def test_clear_is_two_parts_to_one_over_the_whole_panel():
    # common practice: two parts of clear to one of hardener, two to three coats
    amounts = dict(BOXED_STEPS.clear.parts)
    assert amounts["clear"] == 2 * amounts["hardener"]
    assert (BOXED_STEPS.clear_width_mm, BOXED_STEPS.clear_height_mm) == (500.0, 400.0)
    run_off = 2 * 0.15  # common practice: strokes of clear start and end well off the panel, with the gun open
    ready = (0.5 + run_off) * 0.4 * 28.0 * 2 / 0.42 / 0.6 + 60.0
    assert BOXED_STEPS.clear.total_ml == pytest.approx(1.5 * 5 * np.ceil(ready / 1.5 / 5))


def test_a_reduced_last_coat_gets_its_share_of_reducer():
    plan = plan_for(FADED, EXPERT)
    steps = job_steps(plan, FADED, PRACTICE, JOB)
    assert steps.coats[-1].reduced
    thin = steps.coats[-1].ready_ml / 1.15
    assert steps.last_coat_reducer_ml == 5 * np.ceil(0.15 * thin / 5)
    # what is sprayed is what a full coat would take: reducer has taken the place of solids
    assert thin * 1.15 == pytest.approx(steps.coats[-1].ready_ml)


def test_more_solids_or_transfer_need_less_paint():
    better = replace(JOB, base=replace(JOB.base, solids=0.3))
    worse = replace(JOB, base=replace(JOB.base, transfer=0.4))
    plan = plan_for(FADED)
    amounts = [job_steps(plan, FADED, PRACTICE, job).base.total_ml for job in (better, JOB, worse)]
    assert amounts == sorted(amounts)
    assert amounts[0] < amounts[2]


def test_passes_and_minutes_cover_the_height_at_the_guns_speed():
    coat, gun = BOXED_STEPS.coats[0], PRACTICE.guns["full"]
    assert coat.passes == np.ceil(coat.height_mm / 125.0) + 1
    assert coat.minutes * 60 == pytest.approx(coat.passes * (coat.width_mm / gun.travel_speed + 1.5))


def test_the_timeline_has_no_holes_and_ends_with_the_last_clear():
    for earlier, later in zip(BOXED_STEPS.timeline, BOXED_STEPS.timeline[1:], strict=False):
        assert earlier.end_min == later.start_min
    assert BOXED_STEPS.timeline[0].start_min == 0.0
    assert BOXED_STEPS.timeline[-1].words == "coat 2 of clear"
    # common practice: 10 minutes between coats; here two coats of base, 20 minutes, two of clear
    flashes = [m.end_min - m.start_min for m in BOXED_STEPS.timeline if "flash" in m.words]
    assert flashes == [10.0, 20.0, 10.0]


def test_the_trades_starting_points_are_the_shipped_ones():
    # common practice, as the trade states it
    tight, clear = PRACTICE.guns["tight"], JOB.clear.gun
    assert (tight.air_pressure, tight.needle_low, tight.needle_high) == (12.0, 1.5, 2.0)
    assert 28.0 <= clear.air_pressure <= 29.0
    assert (clear.needle_low, clear.needle_high, clear.overlap) == (2.5, 3.0, 0.7)
    assert 4 * 25.4 <= clear.gun_distance <= 5 * 25.4
    assert 2.0 <= PRACTICE.hiding.coats_to_cover <= 3.0
    assert PRACTICE.fade.covered_strip == pytest.approx(2 * 25.4, abs=1.0)
    assert PRACTICE.fade.last_coat_reduction == 0.15
    assert JOB.base.flash == 10.0


def test_pressure_is_converted_by_definition():
    bar = 0.45359237 * 9.80665 / 0.0254**2 / 1e5  # one pound-force on a square inch
    assert pytest.approx(bar, rel=1e-5) == BAR_PER_PSI
    assert "12 psi (0.8 bar)" in gun_words(PRACTICE.guns["tight"], Length.MM)


def test_the_cautions_name_what_can_hurt():
    text = " ".join(caution_lines(JOB)).lower()
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
    assert all(caution.source for caution in JOB.cautions.values())


@pytest.mark.parametrize("unit", list(Length))
def test_the_instructions_say_what_to_do_in_the_chosen_unit(unit):
    plan = plan_for(FADED)
    lines = instruction_lines(plan, job_steps(plan, FADED, PRACTICE, JOB), PRACTICE, JOB, unit)
    text = " ".join(lines)
    assert lines[0].endswith("technical data sheet comes first.")
    for words in ("Mix base", "Mix clear", "never start, stop or pause", "To the left: Coat", "about 10 minutes"):
        assert words in text, words
    assert (" in " in text.replace("in all", "") and " mm" not in text) == (unit is Length.INCH)
    assert len(timeline_lines(job_steps(plan, FADED, PRACTICE, JOB))) > 4


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
    assert sureness(0.0) == "under 1 % sure"
    assert sureness(0.905) == "90 % sure"
    assert difference(1.19) == "1.1"
    assert difference(np.inf) == "any difference"
    assert "more than can be sprayed" in length_range(Range(500.0, 400.0, np.inf), Length.MM)


def test_too_little_room_says_how_close_the_card_must_come():
    repair = Repair(300.0, 200.0, (Side(Direction.LEFT, 80.0),))
    plan = plan_for(repair, EXPERT)
    text = " ".join(side_lines(plan.sides[0], PRACTICE, Length.MM))
    assert "not enough room" in text
    assert f"bring the card under {difference(plan.largest_delta_e00)} and the 80 mm you have will do" in text.lower()
    assert "carry the fade onto the panel beyond, if it may be painted" in text


def test_each_way_has_its_sentence():
    onto = Repair(
        300.0, 200.0, (Side(Direction.LEFT, 90.0, End.NEXT_PANEL, next_panel=NextPanel(600.0), label="to the door"),)
    )
    text = " ".join(side_lines(plan_for(onto, EXPERT).sides[0], PRACTICE, Length.MM))
    assert text.startswith("To the door: fade onto the next panel.")
    assert "onto the next panel" in text
    assert "both whole panels" in text
    masked = plan_for(BOXED).sides[0]
    assert "Mask along the line at 100 mm" in coat_lines(masked, PRACTICE, Length.MM)[0]
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
