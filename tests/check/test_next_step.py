"""What a next step would bring: coherent with the photo's own chances, offered only where it can be taken, and said."""

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from match import calibration as files
from match.check.calibration_files import load_calibration
from match.check.check import errors_of, surer
from match.check.next_step import NextStep, NextStepFile, is_unsure, next_steps, predicted_step
from match.check.settings import CheckSettings
from match.check.step_errors import StepCode, errors_after, one_sided
from match.check.verdict import Thresholds, Verdict, decide
from match.check.words import too_uncertain
from match.measure.confidence import confidence_curve
from match.measure.uncertainty import Draws
from tests.support.checked import check_photo
from tests.support.synthetic import FlatScene

CALIBRATION = load_calibration()
KNOWN = files.load(NextStepFile, "next_steps")
SEED = 20


def scene(lighter=1.06, **changes):
    """A card some per cent lighter than the car, in uneven light."""
    return FlatScene(card=tuple(lighter * part for part in (0.2, 0.1, 0.1)), gradient=(0.5, 0.2), noise=0.05, **changes)


def checked(shown, both_sides=True):
    return check_photo(shown.photo(), shown.marks(both_sides), CheckSettings(), CALIBRATION)


def steps_of(result, limits=None):
    """Return every step on offer, by its code."""
    errors = errors_of(result.measurement, CALIBRATION)
    every = (
        predicted_step(code, errors, limits or result.thresholds, CALIBRATION.tolerances, KNOWN, SEED)
        for code in StepCode
    )
    return {step.code: step for step in every if step}


@pytest.fixture(scope="module")
def one_side():
    return checked(scene(), both_sides=False)


def test_a_sure_answer_asks_for_nothing_more():
    result = checked(scene(1.3))
    assert result.verdict is Verdict.RETINT
    assert result.better == ()
    assert result.as_dict()["next_steps"] == []


def test_an_unsure_answer_names_at_most_two_steps_each_narrower_than_the_photo(one_side):
    assert is_unsure(one_side.decision, KNOWN.rules)
    assert 1 <= len(one_side.better) <= 2
    low, high = one_side.measurement.interval
    for step in one_side.better:
        assert step.predicted[1] - step.predicted[0] <= 0.9 * (high - low)
        assert 0.0 <= step.chance <= 1.0


def test_a_second_box_and_a_swap_are_offered_only_where_they_can_be_taken(one_side):
    assert one_sided(one_side.measurement.samples) is not None
    assert StepCode.SECOND_CAR_BOX in steps_of(one_side)
    both = checked(scene())
    assert one_sided(both.measurement.samples) is None
    assert StepCode.SECOND_CAR_BOX not in steps_of(both)
    swapped = errors_of(both.measurement, CALIBRATION, here=1, there=1)
    offered = [
        code
        for code in StepCode
        if errors_after(code, swapped, KNOWN.assumed, np.random.default_rng(1), 50) is not None
    ]
    assert offered == [StepCode.LAY_AGAIN]


def test_raw_and_grey_steps_are_not_offered_where_the_contrast_is_known_already():
    three = steps_of(checked(scene(greys=(0.04, 0.18, 0.75))))
    assert {StepCode.GREY_STEPS, StepCode.WHITE_FIELD} & set(three) == set()
    assert StepCode.CAMERA_RAW in three


def test_the_chances_after_a_step_are_on_average_the_chances_before_it(one_side):
    """The law of total probability: no photo that is yet to be taken can be expected to move the odds."""
    m = one_side.measurement
    errors = errors_of(m, CALIBRATION)
    from match.check.next_step import _readings

    limits, tolerances = one_side.thresholds, CALIBRATION.tolerances
    for code in (StepCode.CAMERA_RAW, StepCode.SWAP, StepCode.SECOND_CAR_BOX):
        rng = np.random.default_rng(SEED)
        left = errors_after(code, errors, KNOWN.assumed, rng, 800)
        after = [
            decide(confidence_curve(reading, m.vehicle_lab, draws), limits, tolerances).probabilities[Verdict.GO]
            for reading, draws in _readings(errors, left, rng, 60)
        ]
        assert np.mean(after) == pytest.approx(one_side.decision.probabilities[Verdict.GO], abs=0.1), code


def test_a_step_that_takes_nothing_away_changes_nothing(one_side):
    from match.check.next_step import _readings

    m = one_side.measurement
    readings = _readings(errors_of(m, CALIBRATION), m.draws, np.random.default_rng(3), 20)
    assert np.allclose([reading for reading, _ in readings], m.card_lab, atol=1e-6)
    low, high = np.median([confidence_curve(r, m.vehicle_lab, d).interval(0.95) for r, d in readings], axis=0)
    assert (low, high) == pytest.approx(m.interval, abs=0.06)


def test_the_cheapest_that_likely_decides_comes_first(one_side):
    limits, errors = one_side.thresholds, errors_of(one_side.measurement, CALIBRATION)
    easy = replace(KNOWN, rules=replace(KNOWN.rules, likely=0.0, narrower=1.0))
    found = next_steps(errors, one_side.decision, limits, CALIBRATION.tolerances, easy, SEED)
    narrower = [
        step
        for step in steps_of(one_side).values()
        if step.predicted[1] - step.predicted[0] <= np.diff(one_side.measurement.interval)[0]
    ]
    assert found[0].minutes == min(step.minutes for step in narrower)


def test_after_the_first_the_most_promising_come_first(one_side):
    """More steps are told than usual, so that their order shows; of equal chances the narrower interval leads."""
    limits, errors = one_side.thresholds, errors_of(one_side.measurement, CALIBRATION)
    every = replace(KNOWN, rules=replace(KNOWN.rules, narrower=2.0, most_steps=8.0))
    _, *others = next_steps(errors, one_side.decision, limits, CALIBRATION.tolerances, every, SEED)
    promise = [(round(step.chance, 2), -np.diff(step.predicted)[0]) for step in others]
    assert len(set(promise)) > 2
    assert promise == sorted(promise, reverse=True)


@pytest.mark.parametrize(
    ("chance", "promise"), [(0.9, "likely decides"), (0.4, "may decide"), (0.1, "seldom decides by itself")]
)
def test_a_step_is_one_sentence(chance, promise):
    step = NextStep(StepCode.SWAP, (0.4, 1.9), (0.8, 1.5), chance, 0.6, 0.25, 3.0)
    assert step.words == (
        f"Swap the card to the other side and check both photos together: {promise}; 0.4 to 1.9 would become about "
        "0.8 to 1.5."
    )
    assert json.loads(json.dumps(step.as_dict())) == {
        "code": "swap",
        "words": step.words,
        "predicted_interval": [0.8, 1.5],
        "chance_decides": chance,
        "minutes": 3.0,
    }


def test_a_photo_that_cannot_decide_tells_to_do_the_best_step(one_side):
    narrow = Thresholds(0.8, 0.9)
    decision = replace(one_side.decision, undecided=True)
    better = surer(errors_of(one_side.measurement, CALIBRATION), decision, narrow, CALIBRATION, CheckSettings())
    assert better
    remedy = too_uncertain(one_side.measurement, better).remedy()
    assert better[0].words.startswith(remedy.removesuffix("."))
    assert too_uncertain(one_side.measurement, ()).remedy() != remedy


def test_a_photo_at_fault_is_not_bettered_by_another_step():
    clipped = checked(scene(exposure=9.0))
    assert not clipped.figures_hold
    assert clipped.better == ()


def test_every_step_has_its_cost():
    assert set(KNOWN.steps) == {code.value for code in StepCode}


def test_a_box_alone_on_one_side_is_said_with_what_a_second_one_would_bring(one_side):
    said = next(each for each in one_side.warnings if each.code == "one-sided")
    step = steps_of(one_side)[StepCode.SECOND_CAR_BOX]
    low, high = step.predicted
    assert f"would become about {low:.1f} to {high:.1f}" in said.text()
    assert not said.spoils
    assert all(each.code != "one-sided" for each in checked(scene()).warnings)


def test_a_greater_reading_is_as_much_less_certain_but_never_more_than_three_times_as_wide():
    """Some share of a contrast is wrong: twice the contrast is wrong by twice as much."""
    from match.check.next_step import _readings

    car, seen = np.array([50.0, 0.0, 0.0]), 0.4
    noise = np.random.default_rng(5).normal(0.0, 0.2, (400, 3))
    now, left = (Draws(car + part * noise, np.tile(car, (400, 1)), np.zeros((400, 3))) for part in (1.0, 0.5))
    possible = SimpleNamespace(unbiased=[0.0, 1.0], size=[0.1, 2.4])
    card = car + np.array([seen, 0.0, 0.0])
    m = SimpleNamespace(card_lab=card, vehicle_lab=car, delta_e00=seen, confidence=possible, draws=now)
    told = _readings(SimpleNamespace(measurement=m), left, np.random.default_rng(6), 200)
    times = np.array([np.linalg.norm(reading - car) / seen for reading, _ in told])
    wider = np.array([draws.card_lab.std(axis=0) / (0.5 * noise.std(axis=0)) for _, draws in told])
    assert times.min() < 0.5
    assert times.max() > 4.5
    assert wider[times < 3.0] == pytest.approx(np.tile(times[times < 3.0, None], (1, 3)))
    assert wider[times >= 3.0] == pytest.approx(3.0)
