"""The model of the whole mix, what cards teach it, and the best mix by it."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_bvp
from scipy.optimize import lsq_linear, minimize

from match.colorimetry import metric_root
from match.tint.card import CardColour
from match.tint.next_mix import Freedom, _in_box, best_units, draw
from match.tint.pigment import formula_toners, surface_reflectance
from match.tint.whole_mix import PER_TONER, learn_mix, mix_jacobian, mix_lab, mix_reflectance, prior, whole_mix
from tests.tint.table import BLUE, FILE, LIMITS, SHELF, lab_of

NAMES = tuple(BLUE)
MODEL = whole_mix(NAMES, SHELF, FILE.optics, np.full(len(NAMES), LIMITS.strength_sd))
SHARES = MODEL.shares({name: parts / sum(BLUE.values()) for name, parts in BLUE.items()})
NOTHING = np.zeros(MODEL.size)


def card(lab, sd=0.3):
    return CardColour(np.asarray(lab), sd**2 * np.eye(3))


def random_unknowns(number):
    return np.random.default_rng(number).normal(0, np.sqrt(prior(MODEL, LIMITS)[1]))


def test_a_mixture_is_what_the_two_flux_equations_give():
    # Source: Kubelka and Munk's differential equations themselves, integrated numerically by scipy through a layer that
    # hides: di/dx = -(K+S) i + S j, dj/dx = (K+S) j - S i; K and S by Duncan's sums, written out here.
    toners, shares = formula_toners(SHELF, BLUE)
    K = sum(c * t.strength * t.absorption for c, t in zip(shares, toners, strict=True))
    S = sum(c * t.strength * t.scattering for c, t in zip(shares, toners, strict=True))
    expected = mix_reflectance(MODEL, NOTHING, SHARES)
    for band in (3, 12, 20, 28):
        k, s = K[band], S[band]
        x = np.linspace(0, 12 / np.sqrt(k * (k + 2 * s)), 400)
        solved = solve_bvp(
            lambda x, y, k=k, s=s: np.stack([-(k + s) * y[0] + s * y[1], (k + s) * y[1] - s * y[0]]),
            lambda a, b: np.array([a[0] - 1, b[1]]),
            x,
            np.stack([np.exp(-x), 0.3 * np.exp(-x)]),
            tol=1e-7,
            max_nodes=20000,
        )
        assert solved.success
        assert expected[band] == pytest.approx(float(surface_reflectance(solved.sol(0)[1], FILE.optics)), abs=2e-5)


def test_only_proportions_count():
    assert mix_lab(MODEL, NOTHING, 7 * SHARES) == pytest.approx(mix_lab(MODEL, NOTHING, SHARES), abs=1e-9)
    assert mix_lab(MODEL, NOTHING, SHARES) == pytest.approx(lab_of(BLUE), abs=1e-9)


@pytest.mark.parametrize("number", [1, 2])
def test_jacobian_is_the_derivative(number):
    # Source: central differences.
    u = 0.3 * random_unknowns(number)
    J = mix_jacobian(MODEL, u, SHARES)
    for i, step in enumerate(1e-5 * np.eye(MODEL.size)):
        slope = (mix_lab(MODEL, u + step, SHARES) - mix_lab(MODEL, u - step, SHARES)) / 2e-5
        assert J[:, i] == pytest.approx(slope, abs=2e-4)


def test_the_belief_is_the_gaussian_posterior_where_the_model_is_linear():
    # Source: the closed form of a linear Gaussian posterior (Tarantola 2005, equation 3.37), with a nearly exact card.
    tight = replace(LIMITS, strength_sd=1e-3, scattering_sd=1e-3, shape_sd=1e-3)
    model = whole_mix(NAMES, SHELF, FILE.optics, np.full(len(NAMES), 1e-3))
    seen = card(lab_of(BLUE) + np.array([0.5, -0.3, 0.2]))
    belief = learn_mix(model, [(SHARES, seen)], tight)
    P = np.diag(prior(model, tight)[1])
    J = mix_jacobian(model, NOTHING, SHARES)
    gain = P @ J.T @ np.linalg.inv(J @ P @ J.T + seen.covariance + tight.card_sd**2 * np.eye(3))
    assert belief.mean == pytest.approx(gain @ np.array([0.5, -0.3, 0.2]), abs=1e-4)
    assert belief.covariance == pytest.approx(P - gain @ J @ P, abs=1e-4)


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 10**6))
def test_more_cards_never_widen_a_prediction(number):
    # The truth is the shelf's own, so that the point about which the model is made linear hardly moves.
    rng = np.random.default_rng(number)
    mixes = [SHARES * np.exp(rng.normal(0, 0.1, SHARES.size)) for _ in range(3)]
    cards = [(mix, card(mix_lab(MODEL, NOTHING, mix))) for mix in mixes]
    elsewhere = SHARES * np.exp(rng.normal(0, 0.3, SHARES.size))
    spreads = []
    for count in range(4):
        belief = learn_mix(MODEL, cards[:count], LIMITS)
        J = mix_jacobian(MODEL, belief.mean, elsewhere)
        spreads.append(np.linalg.eigvalsh(J @ belief.covariance @ J.T))
    for wide, narrow in pairwise(spreads):
        assert np.all(narrow <= wide * (1 + 1e-3) + 1e-9)


def test_doubt_grows_with_the_distance_from_the_card():
    belief = learn_mix(MODEL, [(SHARES, card(lab_of(BLUE)))], LIMITS)
    doubts = []
    for factor in (1.0, 1.2, 1.6, 2.5):
        J = mix_jacobian(MODEL, belief.mean, SHARES * np.array([1, 1, factor, 1]))
        doubts.append(np.trace(J @ belief.covariance @ J.T))
    assert doubts == sorted(doubts)
    assert doubts[0] < 3 * (0.3**2 + LIMITS.card_sd**2)


def test_a_card_of_another_mix_teaches_the_toner_that_changed():
    true = NOTHING.copy()
    black = NAMES.index("black")
    true[3 + PER_TONER * black] = 0.3
    more = SHARES * np.where(np.arange(SHARES.size) == black, 2.0, 1.0)
    cards = [(mix, card(mix_lab(MODEL, true, mix), 0.05)) for mix in (SHARES, more)]
    first, second = (learn_mix(MODEL, cards[:count], LIMITS) for count in (1, 2))
    assert second.log_strength_sd[black] < first.log_strength_sd[black]
    assert abs(second.log_strengths[black] - 0.3) < abs(first.log_strengths[black] - 0.3) + 1e-6
    assert second.held == (2, 2, 2, 2)


def mix_problem(car, most=5.0):
    belief = learn_mix(MODEL, [(SHARES, card(lab_of(BLUE)))], LIMITS)
    drawn = draw(MODEL, belief, car, metric_root(car), 32)
    n = SHARES.size
    freedom = Freedom(np.zeros(n), np.diag(SHARES), np.ones(n), np.full(n, most), np.zeros(n), np.inf)
    return drawn, freedom


def test_slopes_are_the_derivative_of_the_misses():
    # Source: central differences.
    drawn, _ = mix_problem(lab_of({**BLUE, "black": 4.0}))
    slopes = drawn.slopes(SHARES)
    for i, step in enumerate(1e-7 * np.eye(SHARES.size)):
        by_differences = (drawn.misses(SHARES + step) - drawn.misses(SHARES - step)) / 2e-7
        assert slopes[:, i] == pytest.approx(by_differences, rel=1e-3, abs=1e-2)


@pytest.mark.parametrize("most", [5.0, 1.15])
def test_the_best_mix_is_the_one_a_general_optimiser_finds(most):
    # Source: scipy's L-BFGS-B on the same sum of squares in the same box.
    drawn, freedom = mix_problem(lab_of({**BLUE, "black": 4.0, "violet": 1.0}), most)

    def loss(x):
        pull = 1e-3 * np.sum((x - 1) ** 2)
        return float(np.sum(drawn.misses(freedom.parts(x)) ** 2) + pull)

    theirs = minimize(loss, np.ones(4), bounds=[(0.0, most)] * 4, options={"ftol": 1e-12, "maxiter": 500})
    ours = best_units(drawn, freedom)
    assert np.all((ours >= 0) & (ours <= most))
    assert loss(ours) <= theirs.fun + 2e-3


def test_a_step_is_shorter_where_less_is_known():
    car = lab_of({**BLUE, "black": 4.5})
    shares = []
    for sd in (0.05, 0.15, 0.3):
        model = whole_mix(NAMES, SHELF, FILE.optics, np.full(4, sd))
        belief = learn_mix(model, [(SHARES, card(lab_of(BLUE)))], replace(LIMITS, shape_sd=sd, scattering_sd=sd))
        freedom = Freedom(SHARES, np.diag(SHARES), np.zeros(4), np.array([0, 0, 3.0, 0]), np.zeros(4), np.inf)
        shares.append(best_units(draw(model, belief, car, metric_root(car), 512), freedom)[2])
    assert shares[0] > shares[1] > shares[2] > 0


def test_all_additions_together_stay_within_their_limit():
    car = lab_of({**BLUE, "black": 9.0, "violet": 6.0})
    drawn, _ = mix_problem(car)
    n = SHARES.size
    freedom = Freedom(SHARES, np.eye(n), np.zeros(n), np.full(n, 0.5), np.ones(n), 0.02)
    units = best_units(drawn, freedom)
    assert 0 < units.sum() <= 0.02 + 1e-12
    assert np.all(units >= 0)


@pytest.mark.parametrize("number", range(6))
def test_a_step_in_a_box_is_the_one_that_scipy_finds(number):
    # Source: scipy's bounded least squares on the same quadratic.
    rng = np.random.default_rng(number)
    J, miss, x = rng.normal(size=(9, 5)), 4.0 * rng.normal(size=9), rng.uniform(0.0, 3.0, 5)
    most = np.full(5, 3.0)
    theirs = lsq_linear(J, J @ x - miss, (0.0, most), tol=1e-12)
    assert theirs.active_mask.any()
    assert _in_box(J.T @ J, J.T @ miss, x, most) == pytest.approx(theirs.x, abs=1e-6)
