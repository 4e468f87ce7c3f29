"""The decision: limits by junction, least expected cost, honest refusal."""

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from match.check.calibration_files import load_calibration
from match.check.verdict import (
    Decision,
    Junction,
    Thresholds,
    Verdict,
    chance_words,
    decide,
    limit_words,
    size_words,
    sure_words,
    thresholds,
)
from match.check.words import headline
from match.measure.confidence import ConfidenceCurve

TOLERANCES = load_calibration().tolerances
ORDER = [Verdict.GO, Verdict.BLEND, Verdict.RETINT]


@dataclass(frozen=True)
class _Room:
    largest_without_fade: float
    largest_delta_e00: float
    all_described: bool = False


def _curve(centre, sd):
    size = np.linspace(0, 12, 1201)
    confidence = 1 / (1 + np.exp(-(size - centre) / (0.55 * sd)))
    return ConfidenceCurve(size, confidence, confidence)


def test_published_thresholds_are_the_defaults():
    # Paravina et al. 2015 (abstract): 50:50 perceptibility 0.8 and acceptability 1.8 in CIEDE2000
    assert TOLERANCES.limits.perceptibility == 0.8
    assert TOLERANCES.limits.acceptability == 1.8


def test_a_limit_is_the_number_that_one_works_out_by_hand():
    """0.8 + 0.4 x (1.8 - 0.8) = 1.2: kept checks and JSON hold that, and no 1.2000000000000002."""
    assert repr(thresholds(TOLERANCES, Junction.PANEL_GAP).go_below) == "1.2"


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        (1.2, "1.2"),
        (3, "3.0"),
        (0.0, "0.0"),
        (1.25, "1.25"),  # set so by the shop
        (2.99999996, "3.0"),  # found by trial
        (1.3748, "1.3"),  # what a room hides: down, so that "under" stays true
        (1.999, "1.9"),
    ],
)
def test_a_limit_is_said_to_a_tenth_unless_it_was_set_to_a_hundredth(limit, words):
    assert limit_words(limit) == words
    assert Thresholds(limit, 3.0).words == f"go up to {words}, blend up to 3.0"


def test_a_go_whose_reading_lies_above_the_limit_does_not_say_that_it_lies_under_it():
    """A shop may edit its costs so that a go is likely enough there; the verdict then rests on what noise leaves."""
    limits = thresholds(TOLERANCES, Junction.PANEL_GAP)
    told = {size: headline(Verdict.GO, SimpleNamespace(delta_e00=size), limits, ()) for size in (0.9, 1.17, 1.3)}
    assert "A difference of 0.9 is under the 1.2 allowed" in told[0.9]
    assert "A difference of 1.17 is under the 1.2 allowed" in told[1.17]
    assert "reads 1.3, but without the photo's own errors it is likely under the 1.2 allowed" in told[1.3]


@pytest.mark.parametrize(
    ("size", "limit", "words"),
    [(1.18, 1.2, "1.18"), (1.22, 1.2, "1.22"), (1.1, 1.2, "1.1"), (1.34, 1.3748, "1.34"), (3.5, 3.0, "3.5")],
)
def test_a_size_never_reads_as_the_limit_that_it_is_told_beside(size, limit, words):
    assert size_words(size, limit) == words


def test_an_edge_without_a_line_is_judged_hardest_and_another_part_most_kindly():
    limits = [thresholds(TOLERANCES, junction).go_below for junction in Junction]
    assert limits == sorted(limits)
    assert len(set(limits)) == len(limits)


def test_every_junction_has_its_rule():
    assert {junction.value for junction in Junction} == set(TOLERANCES.junctions)


def test_a_plan_narrows_what_the_shop_allows_and_never_widens_it():
    plain = thresholds(TOLERANCES, Junction.PANEL_GAP).blend_below
    assert thresholds(TOLERANCES, Junction.PANEL_GAP, _Room(0.5, 1.5)).blend_below == 1.5
    assert thresholds(TOLERANCES, Junction.PANEL_GAP, _Room(0.5, 9.0)).blend_below == plain


def test_without_room_a_fade_is_not_on_offer():
    limits = thresholds(TOLERANCES, Junction.PANEL_GAP, _Room(0.0, 0.0))
    assert decide(_curve(2.0, 0.1), limits, TOLERANCES).verdict is Verdict.RETINT


@pytest.mark.parametrize(("size", "expected"), [(0.2, Verdict.GO), (2.0, Verdict.BLEND), (5.0, Verdict.RETINT)])
def test_a_sure_difference_gets_its_own_verdict(size, expected):
    assert decide(_curve(size, 0.05), thresholds(TOLERANCES, Junction.PANEL_GAP), TOLERANCES).verdict is expected


def test_go_is_refused_while_a_comeback_costs_more_than_an_hour_of_blending():
    limits = thresholds(TOLERANCES, Junction.PANEL_GAP)
    even = decide(_curve(limits.go_below, 0.1), limits, TOLERANCES)
    assert even.probabilities[Verdict.GO] == pytest.approx(0.5, abs=0.02)
    assert even.verdict is Verdict.BLEND
    assert even.expected_hours[Verdict.GO] > even.expected_hours[Verdict.BLEND]


def test_a_photo_that_cannot_tell_go_from_retint_is_refused():
    decision = decide(_curve(2.0, 2.0), thresholds(TOLERANCES, Junction.PANEL_GAP), TOLERANCES)
    assert decision.verdict is Verdict.RETAKE
    assert decision.undecided


def _chances(go, blend):
    """A curve that gives exactly these probabilities across a panel gap."""
    limits = thresholds(TOLERANCES, Junction.PANEL_GAP)
    size = np.array([0.0, limits.go_below, limits.blend_below, 20.0])
    confidence = np.array([0.0, go, go + blend, 1.0])
    return decide(ConfidenceCurve(size, confidence, confidence), limits, TOLERANCES)


@pytest.mark.parametrize(
    ("go", "blend", "expected"),
    [
        (0.04, 0.92, Verdict.BLEND),  # both ends under the 5 % that a blend bears
        (0.06, 0.88, Verdict.RETAKE),
        (0.96, 0.02, Verdict.GO),  # retint under the 2.5 % that a go bears
        (0.96, 0.01, Verdict.RETAKE),
        (0.02, 0.04, Verdict.RETINT),
        (0.03, 0.04, Verdict.RETAKE),
    ],
)
def test_a_blend_bears_more_doubt_of_both_ends_than_an_end_of_the_other(go, blend, expected):
    decision = _chances(go, blend)
    assert decision.verdict is expected
    assert decision.undecided is (expected is Verdict.RETAKE)


def test_a_photo_full_of_noise_is_refused_even_if_it_reads_a_small_difference():
    # errors of 4 CIEDE2000: the cautious curve gives go little, the unbiased one much
    size = np.linspace(0, 20, 2001)
    unbiased = 1 - 0.05 * np.exp(-((size / 4) ** 2))
    noisy = ConfidenceCurve(size, unbiased, 1 - np.exp(-0.5 * (size / 4) ** 2))
    assert decide(noisy, thresholds(TOLERANCES, Junction.PANEL_GAP), TOLERANCES).verdict is Verdict.RETAKE


@given(
    st.floats(0, 6), st.floats(0, 3), st.floats(0.05, 0.6), st.sampled_from(list(Junction)), st.floats(0, 4) | st.none()
)
@settings(max_examples=200)
def test_a_larger_difference_never_moves_the_verdict_back(size, more, sd, junction, room):
    limits = thresholds(TOLERANCES, junction, None if room is None else _Room(0.4 * room, room))
    first = decide(_curve(size, sd), limits, TOLERANCES).verdict
    second = decide(_curve(size + more, sd), limits, TOLERANCES).verdict
    if Verdict.RETAKE not in (first, second):
        assert ORDER.index(second) >= ORDER.index(first)


@given(st.floats(0, 4), st.floats(0.05, 1.5), st.sampled_from(list(Junction)), st.floats(0, 4), st.floats(0, 1))
@settings(max_examples=200)
def test_no_room_makes_a_verdict_milder_than_the_check_without_it(size, sd, junction, hidden, share):
    plain = decide(_curve(size, sd), thresholds(TOLERANCES, junction), TOLERANCES).verdict
    room = decide(_curve(size, sd), thresholds(TOLERANCES, junction, _Room(share * hidden, hidden)), TOLERANCES).verdict
    if Verdict.RETAKE not in (plain, room):
        assert ORDER.index(room) >= ORDER.index(plain)


def test_a_limit_found_by_trial_is_the_shops_own():
    found = thresholds(TOLERANCES, Junction.PANEL_GAP, _Room(1.2, 2.99999996))
    assert found.blend_below == TOLERANCES.limits.blend_to_retint


@given(st.floats(0, 8), st.floats(0.05, 2.0), st.sampled_from(list(Junction)))
def test_probabilities_are_a_distribution(size, sd, junction):
    decision = decide(_curve(size, sd), thresholds(TOLERANCES, junction), TOLERANCES)
    assert sum(decision.probabilities.values()) == pytest.approx(1.0)
    assert min(decision.probabilities.values()) >= 0.0


@pytest.mark.parametrize(
    ("probability", "words"),
    [(0.0, "under 1 %"), (0.006, "1 %"), (0.5, "50 %"), (0.994, "99 %"), (0.995, "over 99 %"), (1.0, "over 99 %")],
)
def test_a_chance_is_never_told_as_certain(probability, words):
    assert chance_words(probability) == words


def test_where_a_verdict_wins_by_cost_the_odds_come_first_and_where_it_is_likeliest_its_chance_does():
    odds = {Verdict.GO: 0.59, Verdict.BLEND: 0.33, Verdict.RETINT: 0.08}
    by_cost = Decision(Verdict.BLEND, odds, {Verdict.GO: 2.8, Verdict.BLEND: 1.2, Verdict.RETINT: 1.5}, False)
    told = sure_words(Verdict.BLEND, by_cost)
    assert told.startswith("go 59 %, blend 33 %, retint 8 %")
    assert told.endswith("blend costs least if wrong")
    likeliest = Decision(Verdict.GO, odds, {Verdict.GO: 0.1, Verdict.BLEND: 0.6, Verdict.RETINT: 1.5}, False)
    assert sure_words(Verdict.GO, likeliest) == "59 % likely right"
    assert sure_words(Verdict.RETAKE, by_cost) == ""
    no_room = Decision(Verdict.RETINT, odds, {Verdict.GO: 1.6, Verdict.RETINT: 1.7}, False)
    assert sure_words(Verdict.RETINT, no_room).endswith("too little room for a fade makes no edge safer")
