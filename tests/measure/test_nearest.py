"""Which card is the nearest: chances against the bivariate normal distribution, and what the cards share."""

from dataclasses import dataclass
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal, norm

from match.check.calibration_files import load_calibration
from match.check.measuring import measure_photo, measure_photo_cards
from match.check.settings import CheckSettings
from match.measure.confidence import ConfidenceCurve
from match.measure.nearest import best_of_several, compare
from match.measure.uncertainty import Draws
from match.photo.regions import Kind, of_one_card
from tests.support.synthetic import CardsScene

CALIBRATION = load_calibration()
FEW = CheckSettings(draws=800)
VEHICLE = np.array([50.0, 0.0, 0.0])


@dataclass
class Reading:
    card_lab: np.ndarray
    vehicle_lab: np.ndarray
    draws: Draws


def _off_in_lightness(mean, errors):
    """Readings of cards off by ``mean`` in L* alone, each with its row of errors (cards, worlds)."""
    readings = []
    for off, error in zip(mean, errors, strict=True):
        null = np.zeros((error.size, 3))
        null[:, 0] = error
        card = VEHICLE + np.array([off, 0.0, 0.0])
        readings.append(Reading(card, VEHICLE, Draws(card + null, np.broadcast_to(VEHICLE, null.shape), null)))
    return readings


def _chance_nearer(mean, covariance):
    """P(|x1| < |x2|) of a bivariate normal: u = x1 - x2 and v = x1 + x2 differ in sign (scipy's normal integral)."""
    turn = np.array([[1.0, -1.0], [1.0, 1.0]])
    u_v, spread = turn @ mean, turn @ covariance @ turn.T
    below = multivariate_normal(u_v, spread).cdf([0.0, 0.0])
    first, second = (multivariate_normal(u_v[i], spread[i, i]).cdf(0.0) for i in (0, 1))
    return first + second - 2.0 * below


@given(st.floats(-1.5, 1.5), st.floats(-1.5, 1.5), st.floats(0.1, 0.6), st.floats(0.0, 0.9))
@settings(max_examples=12)
def test_the_chance_of_two_cards_is_that_of_the_bivariate_normal(one, other, sd, shared):
    covariance = sd**2 * np.array([[1.0, shared], [shared, 1.0]])
    errors = np.random.default_rng(1).multivariate_normal(np.zeros(2), covariance, size=20_000).T
    found = compare(_off_in_lightness((one, other), errors))
    expected = _chance_nearer(np.array([one, other]), covariance)
    assert found.chances[0] == pytest.approx(expected, abs=0.02)
    assert found.nearer(0, 1) == pytest.approx(expected, abs=0.02)
    assert found.nearer(1, 0) == pytest.approx(1.0 - expected, abs=0.02)


def test_what_two_cards_share_leaves_their_order():
    """Off the same way, by 1.0 and 1.4: an error of 0.5 that is common moves both, one that is not swaps them often."""
    rng = np.random.default_rng(2)
    common, own = 0.5 * rng.standard_normal(4000), 0.5 * rng.standard_normal((2, 4000))
    together = compare(_off_in_lightness((1.0, 1.4), np.array([common, common])))
    apart = compare(_off_in_lightness((1.0, 1.4), own))
    assert together.chances[0] > 0.95
    assert 0.6 < apart.chances[0] < 0.8


def test_an_error_between_two_cards_is_what_they_do_not_share():
    rng = np.random.default_rng(3)
    common, own = 0.8 * rng.standard_normal(6000), 0.1 * rng.standard_normal((2, 6000))
    (pair,) = compare(_off_in_lightness((1.0, 2.0), common + own)).pairs
    low, high = pair.interval
    assert pair.delta_e00 == pytest.approx(1.0, abs=0.02)
    assert 0.7 < low < 0.8
    assert 1.2 < high < 1.3


def test_cards_of_one_photo_are_drawn_in_the_same_worlds():
    scene = CardsScene(((0.22, 0.1, 0.1), (0.21, 0.1, 0.1), (0.19, 0.1, 0.1)))
    measured = measure_photo_cards(scene.photo(), scene.marks(), FEW, CALIBRATION)
    first, second, _ = (m.draws for m in measured)
    np.testing.assert_allclose(first.vehicle_lab, second.vehicle_lab, atol=0.2)
    off = [(m.card_lab - m.vehicle_lab)[:, 0] for m in (first, second)]
    assert np.corrcoef(*off)[0, 1] > 0.3
    assert compare(measured).likeliest == 1


def test_the_order_of_the_marks_does_not_matter():
    scene = CardsScene(((0.22, 0.1, 0.1), (0.205, 0.1, 0.1), (0.19, 0.1, 0.1)))
    photo, marks = scene.photo(), scene.marks()
    cards = [region for region in marks if region.kind is Kind.CARD]
    others = [region for region in marks if region.kind is not Kind.CARD]
    plain = measure_photo_cards(photo, marks, FEW, CALIBRATION)
    for order in permutations(range(3)):
        measured = measure_photo_cards(photo, [*others, *(cards[i] for i in order)], FEW, CALIBRATION)
        for place, index in enumerate(order):
            np.testing.assert_allclose(measured[place].card_lab, plain[index].card_lab, atol=1e-6)
        assert order[compare(measured).likeliest] == compare(plain).likeliest


def test_one_card_alone_is_measured_as_ever_and_others_move_it_little():
    scene = CardsScene(((0.22, 0.1, 0.1), (0.21, 0.11, 0.1)))
    marks = scene.marks()
    photo, (first, _) = scene.photo(), (region for region in marks if region.kind is Kind.CARD)
    alone = measure_photo(photo, of_one_card(marks, first), FEW, CALIBRATION)
    (by_list,) = measure_photo_cards(photo, of_one_card(marks, first), FEW, CALIBRATION)
    assert (by_list.delta_e00, by_list.interval) == (alone.delta_e00, alone.interval)
    both = measure_photo_cards(photo, marks, FEW, CALIBRATION)[0]
    assert both.delta_e00 == pytest.approx(alone.delta_e00, abs=0.1)


def test_a_burnt_out_card_spoils_no_other():
    scene = CardsScene(((0.22, 0.1, 0.1), (1.5, 1.5, 1.5)))
    good, burnt = measure_photo_cards(scene.photo(), scene.marks(), FEW, CALIBRATION)
    assert not any(found.spoils for found in good.findings)
    assert "clipped" in [found.code for found in burnt.findings if found.spoils]


def _curve(read, sd=0.3):
    """Return the curve of a card that reads ``read``, far enough from the car for a normal distribution."""
    size = np.linspace(read - 4.0, read + 4.0, 2001)
    return ConfidenceCurve(size, norm.cdf(size, read, sd), norm.cdf(size, read, sd))


def test_one_card_alone_is_not_lucky():
    curve = _curve(5.0)
    assert best_of_several(curve, np.random.default_rng(1).normal(5.0, 0.3, (1, 4000))) is curve


def test_cards_that_share_every_error_need_no_allowance_for_luck():
    worlds = np.random.default_rng(2).normal(0.0, 0.3, 4000)
    taken = best_of_several(_curve(5.0), np.array([5.0 + worlds, 5.4 + worlds, 5.5 + worlds]))
    np.testing.assert_allclose(taken.cautious, _curve(5.0).cautious, atol=1 / 4000)


def test_cards_that_share_nothing_are_allowed_for_as_independent_trials():
    # Source: probability theory; the chance that any of n independent trials fails is 1 - (1 - p) ** n.
    worlds = np.random.default_rng(3).normal(5.0, 0.3, (3, 40_000))
    taken, alone = best_of_several(_curve(5.0), worlds), _curve(5.0).cautious
    np.testing.assert_allclose(1 - taken.cautious, 1 - alone**3, atol=0.01)
    np.testing.assert_array_equal(taken.unbiased, _curve(5.0).unbiased)


def test_the_upper_limit_of_the_nearest_of_equal_cards_holds_as_often_as_it_says():
    # Source: simulated; half of each error's variance is shared. The limit must hold in 97.5 of 100, alone it does not.
    rng, true, sd = np.random.default_rng(4), 5.0, 0.3
    shared = rng.standard_normal((1500, 1))
    read = true + sd * np.sqrt(0.5) * (shared + rng.standard_normal((1500, 4)))
    worlds = sd * np.sqrt(0.5) * (rng.standard_normal((1, 4000)) + rng.standard_normal((4, 4000)))
    alone, lucky = _curve(0.0), best_of_several(_curve(0.0), worlds)
    step = np.interp(0.975, lucky.cautious, lucky.size)
    nearest = read.min(axis=1)
    assert np.mean(nearest + np.interp(0.975, alone.cautious, alone.size) >= true) < 0.955
    assert np.mean(nearest + step >= true) == pytest.approx(0.975, abs=0.012)
