"""The whole check of one photo: properties that any honest instrument has."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from match.check.calibration_files import load_calibration
from match.check.check import judge
from match.check.marks.code import MarkCode
from match.check.measuring import MOST_PIXELS, measure_regions, read_patch
from match.check.pair import measure_pair
from match.check.settings import CheckSettings
from match.check.verdict import Finish, Junction, Verdict
from match.errors import RegionError
from match.measure.confidence import confidence_curve
from match.measure.finding import Finding
from match.measure.tone import GreyTolerance
from match.measure.uncertainty import Draws
from match.photo.regions import Kind, Region
from tests.support.checked import check_photo
from tests.support.synthetic import ArrayPhoto, FlatScene

CALIBRATION = load_calibration()
FEW = CheckSettings(draws=800)
SOLID = Finish.SOLID
SLOW = settings(max_examples=12)  # two checks each; what is darkest, brightest and most saturated is asked besides
reflectance = st.floats(0.03, 0.7)
paint = st.tuples(reflectance, reflectance, reflectance)


def _check(scene, marks=None, settings_=FEW):
    return check_photo(scene.photo(), marks or scene.marks(), settings_, CALIBRATION)


def _measured(scene):
    """Return what a check measures, for properties of the figures alone: the marks are not judged."""
    return measure_regions(scene.photo(), scene.marks(), FEW, CALIBRATION)


def _unsure(measurement):
    """Return the measurement with errors so large that nothing is ruled out."""
    errors = np.random.default_rng(1).normal(0.0, 3.0, (8000, 3))
    draws = Draws(measurement.card_lab + errors, np.tile(measurement.vehicle_lab, (8000, 1)), errors)
    return replace(measurement, confidence=confidence_curve(measurement.card_lab, measurement.vehicle_lab, draws))


def _spoiling(result):
    return [finding.code for finding in result.warnings if finding.spoils]


def _nudged(colour, factors):
    return tuple(c * f for c, f in zip(colour, factors, strict=True))


@given(paint, st.floats(0.0, 0.03), st.tuples(st.floats(-0.2, 0.2), st.floats(-0.2, 0.2)))
@example((0.5, 0.625, 0.5625), 0.0, (0.046875, 0.0))  # stairs of one code: once read as 0.9 and blended
@example((0.61, 0.596, 0.616), 0.0, (-0.033, -0.026))
@example((0.03, 0.03, 0.03), 0.03, (0.2, 0.2))
@example((0.7, 0.03, 0.03), 0.0, (-0.2, 0.0))
@SLOW
def test_identical_paints_are_go_or_retake_and_never_retint(colour, noise, gradient):
    scene = FlatScene(card=colour, vehicle=colour, noise=noise, gradient=gradient)
    assert _check(scene).verdict in (Verdict.GO, Verdict.RETAKE)


@given(paint, st.tuples(*[st.floats(0.85, 1.15)] * 3))
@example((0.03, 0.03, 0.03), (1.15, 1.15, 1.15))
@example((0.7, 0.03, 0.03), (0.85, 1.15, 1.15))
@example((0.7, 0.7, 0.7), (0.85, 1.0, 1.15))
@SLOW
def test_swapping_card_and_car_flips_every_sign(colour, factors):
    other = _nudged(colour, factors)
    there = _measured(FlatScene(card=colour, vehicle=other, noise=0.0)).terms
    back = _measured(FlatScene(card=other, vehicle=colour, noise=0.0)).terms
    for key in ("delta_lightness", "delta_chroma", "delta_hue"):
        assert getattr(there, key) == pytest.approx(-getattr(back, key), abs=0.3)  # 8-bit rounding of flat patches


@given(paint, st.tuples(*[st.floats(0.9, 1.1)] * 3), st.floats(0.6, 1.3), st.tuples(*[st.floats(0.85, 1.15)] * 3))
@example((0.03, 0.03, 0.03), (1.1, 1.1, 1.1), 0.6, (0.85, 0.85, 0.85))
@example((0.7, 0.03, 0.03), (0.9, 1.1, 1.1), 1.3, (1.15, 0.85, 1.0))
@SLOW
def test_exposure_and_channel_gains_leave_the_answer_inside_its_interval(colour, factors, exposure, gains):
    plain = FlatScene(card=_nudged(colour, factors), vehicle=colour)
    low, high = _measured(plain).interval
    changed = _measured(replace(plain, exposure=exposure, gains=gains))
    assert low - 0.1 <= changed.delta_e00 <= high + 0.1


@given(paint, st.floats(0.0, 0.25), st.floats(0.02, 0.2))
@example((0.03, 0.03, 0.03), 0.25, 0.02)
@example((0.7, 0.03, 0.03), 0.0, 0.02)
@example((0.7, 0.7, 0.7), 0.02, 0.2)
@SLOW
def test_a_card_further_off_never_gets_a_kinder_verdict(colour, step, more):
    order = [Verdict.GO, Verdict.BLEND, Verdict.RETINT]
    scenes = (FlatScene(card=_nudged(colour, (1 + each,) * 3), vehicle=colour) for each in (step, step + more))
    # no doubt of the marks hides what the figures say
    near, far = (judge(_measured(scene), FEW, CALIBRATION).verdict for scene in scenes)
    if Verdict.RETAKE not in (near, far):
        assert order.index(far) >= order.index(near)


def test_the_same_photo_and_seed_give_the_same_numbers():
    scene = FlatScene(card=(0.22, 0.1, 0.1))
    assert _check(scene).as_dict() == _check(scene).as_dict()


def test_json_holds_what_the_command_line_promises():
    scene = FlatScene(card=(0.22, 0.1, 0.1))
    result, terms = _check(scene).as_dict(), _measured(scene).terms
    promised = (
        "verdict probabilities delta_e00 delta_e00_interval delta_L delta_C delta_H card_lab vehicle_lab direction "
        "warnings blend advice"
    )
    assert set(promised.split()) <= result.keys()
    assert set(result["probabilities"]) == {"go", "blend", "retint"}
    low, high = result["delta_e00_interval"]
    assert low <= result["delta_e00"] <= high
    signed = (terms.delta_lightness, terms.delta_chroma, terms.delta_hue)
    assert [result[key] for key in ("delta_L", "delta_C", "delta_H")] == pytest.approx(signed, abs=5e-5)


def test_grey_steps_undo_a_camera_that_adds_contrast():
    # The camera writes light to the power 1.3: one grey cannot know, three can.
    true = _check(FlatScene(card=(0.24, 0.2, 0.2), vehicle=(0.2, 0.2, 0.2))).measurement.delta_e00
    scene = FlatScene(card=(0.24, 0.2, 0.2), vehicle=(0.2, 0.2, 0.2), contrast=1.3)
    one = _check(scene).measurement
    three = _check(replace(scene, greys=(0.05, 0.18, 0.6))).measurement
    assert abs(three.delta_e00 - true) < 0.3 * abs(one.delta_e00 - true)
    assert one.interval[0] <= true <= one.interval[1]
    assert three.interval[0] <= true <= three.interval[1]


@pytest.mark.parametrize(
    ("card", "verdict", "says"),
    [
        ((0.2, 0.1, 0.1), Verdict.GO, ("gun's own soft edge",)),
        ((0.215, 0.1, 0.1), Verdict.BLEND, ("each coat reach further", "Clear the whole panel")),
        ((0.3, 0.1, 0.1), Verdict.RETINT, ("the card is", "small weighed pot")),
    ],
)
def test_each_verdict_gets_its_own_advice_and_its_figures_hold(card, verdict, says):
    result = _check(FlatScene(card=card, greys=(0.05, 0.18, 0.6)))
    assert result.verdict is verdict
    assert all(words in " ".join(result.said().advice) for words in says)
    assert result.figures_hold
    assert result.as_dict()["figures_hold"] is True


def test_figures_hold_where_a_sound_photo_leaves_a_doubt_and_not_where_the_photo_is_at_fault():
    doubt = _check(FlatScene(), settings_=replace(FEW, finish=Finish.METALLIC))
    fault = _check(FlatScene(card=(1.2, 1.2, 1.2), vehicle=(0.9, 0.9, 0.9)))
    assert (doubt.verdict, doubt.figures_hold) == (Verdict.RETAKE, True)
    assert (fault.verdict, fault.figures_hold) == (Verdict.RETAKE, False)
    assert fault.as_dict()["figures_hold"] is False
    assert fault.direction == fault.meaning != doubt.meaning


def test_a_fault_of_the_photo_is_told_before_a_doubt_and_figures_that_do_not_hold_leave_nothing_undecided():
    equal = _measured(FlatScene())
    for measured, finish, doubt in ((equal, Finish.METALLIC, "angles-missing"), (_unsure(equal), SOLID, "undecided")):
        fault = Finding(MarkCode.NO_CARD, True, FlatScene().marks()[:1])
        with_fault = replace(measured, findings=(*measured.findings, fault))
        told, first = (_spoiling(judge(m, replace(FEW, finish=finish), CALIBRATION)) for m in (measured, with_fault))
        assert told == [doubt]
        assert first == ["mark-no-card"] + ["angles-missing"] * (finish is not SOLID)


def test_a_burnt_out_card_is_a_retake_that_says_so():
    result = _check(FlatScene(card=(1.2, 1.2, 1.2), vehicle=(0.9, 0.9, 0.9)))
    assert result.verdict is Verdict.RETAKE
    assert "clipped" in [finding.code for finding in result.warnings]
    assert "expos" in " ".join(result.said().advice)


def test_a_mark_on_something_else_altogether_is_a_retake():
    result = _check(FlatScene(card=(0.85, 0.85, 0.85), vehicle=(0.05, 0.06, 0.1)))
    assert result.verdict is Verdict.RETAKE
    assert "far-apart" in [finding.code for finding in result.warnings]


def test_a_black_photo_is_a_retake():
    result = _check(FlatScene(exposure=0.004))
    assert result.verdict is Verdict.RETAKE


def test_one_face_on_photo_of_an_effect_finish_is_never_go():
    result = _check(FlatScene(), settings_=replace(FEW, finish=Finish.METALLIC))
    assert result.verdict is Verdict.RETAKE
    assert "flop" in result.said().reason


def test_the_same_card_is_judged_by_what_lies_between():
    scene = FlatScene(card=(0.212, 0.1, 0.1), greys=(0.05, 0.18, 0.6))
    part = _check(scene, settings_=replace(FEW, junction=Junction.OTHER_PART)).verdict
    line = _check(scene, settings_=replace(FEW, junction=Junction.SAME_PANEL)).verdict
    assert (part, line) == (Verdict.GO, Verdict.BLEND)


@pytest.mark.parametrize(
    ("marks", "says"),
    [
        ([], "no grey region"),
        ([Region(Kind.GREY, 65, 265, 60, 60, 0.18)], "no card region"),
        ([Region(Kind.GREY, 65, 265, 60, 60, 0.18), Region(Kind.CARD, 190, 110, 100, 100)], "no vehicle region"),
    ],
)
def test_a_missing_mark_is_named(marks, says):
    with pytest.raises(RegionError, match=says):
        check_photo(FlatScene().photo(), marks, FEW, CALIBRATION)


@pytest.mark.parametrize(
    ("region", "says"),
    [
        (Region(Kind.VEHICLE, 440, 110, 100, 100), "reaches outside the photo"),
        (Region(Kind.VEHICLE, -5, 110, 100, 100), "reaches outside the photo"),
        (Region(Kind.VEHICLE, 60, 110, 5, 100), "at least 12 pixels"),
        (Region(Kind.VEHICLE, 250, 110, 100, 100), "overlaps"),
    ],
)
def test_a_bad_mark_is_named(region, says):
    scene = FlatScene()
    with pytest.raises(RegionError, match=says):
        check_photo(scene.photo(), [*scene.marks(both_sides=False), region], FEW, CALIBRATION)


def test_a_small_region_is_read_whole_and_a_large_one_thinned_to_about_the_most_pixels():
    photo = ArrayPhoto(np.full((1000, 1000, 3), 0.5))
    assert read_patch(photo, Region(Kind.CARD, 10, 10, 40, 30)).linear.shape[:2] == (30, 40)
    large = read_patch(photo, Region(Kind.CARD, 0, 0, 1000, 950))
    assert large.step == 3  # the root of 950,000 / 100,000, to the nearest whole
    assert large.linear.shape[0] * large.linear.shape[1] == pytest.approx(MOST_PIXELS, rel=0.1)


def test_a_known_grey_has_a_tolerance_of_its_own_and_any_other_that_of_the_default():
    greys = CALIBRATION.greys
    for grey in greys.greys.values():
        assert greys.tolerance(grey.reflectance) == GreyTolerance(grey.tolerance, grey.neutral)
    assert len({greys.tolerance(grey.reflectance) for grey in greys.greys.values()}) > 1
    assert greys.tolerance(0.123) == GreyTolerance(greys.greys[greys.default].tolerance)


def test_two_places_of_one_paint_have_no_other_pigments():
    marks = FlatScene().marks()
    greys = [mark for mark in marks if mark.kind is Kind.GREY]
    places = tuple(next(mark for mark in marks if mark.kind is kind) for kind in (Kind.CARD, Kind.VEHICLE))
    pair = measure_pair(FlatScene().photo(), greys, places, ("one", "other"), FEW, CALIBRATION)
    assert not pair.draws.of_pigments.any()
    assert _measured(FlatScene()).draws.of_pigments.any()
