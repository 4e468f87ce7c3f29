"""Learning from outcomes: against published intervals, a textbook's data, exact integration, and known truths."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.integrate import dblquad
from scipy.optimize import minimize
from scipy.special import expit

from match.errors import StoreError
from match.history.learning import LearningRules, counted, learn, points
from match.history.records import Observed

RULES = LearningRules(
    midpoint=1.8,
    midpoint_sd=0.7,
    slope=2.5,
    slope_log_sd=0.5,
    least_outcomes=12.0,
    least_each_way=2.0,
    credible_share=0.95,
)

# Log dose, animals, deaths of Racine, Grieve, Fluhler and Smith (1986), as given in Gelman et al., Bayesian Data
# Analysis, section 3.7, read in the case study avehtari.github.io/Bayesian-Workflow/bioassay.
DOSES, ANIMALS, DEATHS = np.array([-0.86, -0.30, -0.05, 0.73]), 5, np.array([0, 1, 3, 5])


def observed(difference: float, hidden: str) -> Observed:
    return Observed(difference, hidden, "blend")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("held", "total", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0000, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_shares_have_the_published_wilson_intervals(held: int, total: int, low: float, high: float) -> None:
    """Newcombe (1998), Statistics in Medicine 17, 857-872, table I, method 3 (score), from memory, 4 decimals."""
    outcomes = [observed(1.0, "yes")] * held + [observed(1.0, "no")] * (total - held)
    (count,) = counted(outcomes, (0.5, 1.5))
    assert count.interval == pytest.approx((low, high), abs=5e-5)


def test_a_wilson_interval_ends_where_the_score_test_just_rejects() -> None:
    """Wilson (1927): the ends p solve |held / n - p| = z sqrt(p (1 - p) / n); z of 95 % is 1.959964."""
    (count,) = counted([observed(2.2, "yes")] * 13 + [observed(2.2, "no")], (2.0, 2.5))
    assert count.interval is not None
    for end in count.interval:
        assert abs(13 / 14 - end) == pytest.approx(1.959964 * np.sqrt(end * (1.0 - end) / 14), rel=1e-6)


def test_counting_sorts_outcomes_into_bins_and_leaves_unsure_ones_undecided() -> None:
    outcomes = [*[observed(2.0, "yes")] * 2, observed(2.49, "no"), observed(2.5, "yes"), observed(2.2, "unsure")]
    low, high = counted(outcomes, (2.0, 2.5, 3.0))
    assert (low.held, low.seen, low.unsure, low.total) == (2, 1, 1, 3)
    assert (high.held, high.total) == (1, 1)
    (empty,) = counted([], (0.0, 1.0))
    assert empty.interval is None
    with pytest.raises(StoreError, match="do not rise"):
        counted([], (1.0, 1.0))


def test_with_a_vague_prior_the_textbook_data_give_the_textbook_answer() -> None:
    """A vague prior leaves the likelihood, whose greatest point scipy finds on its own; doses moved up by 3."""
    differences = np.repeat(DOSES + 3.0, ANIMALS)
    held = np.concatenate([np.arange(ANIMALS) >= deaths for deaths in DEATHS])
    vague = dataclasses.replace(RULES, midpoint=3.0, midpoint_sd=3.0, slope=7.0, slope_log_sd=0.05)

    def minus_log_likelihood(midpoint: np.ndarray) -> float:
        share = expit(-7.0 * (differences - midpoint[0]))
        return -float(np.sum(np.log(np.where(held, share, 1.0 - share))))

    best = minimize(minus_log_likelihood, [2.5], method="Nelder-Mead").x[0]
    half, _ = points(differences, held, vague)
    assert best - 3.0 == pytest.approx(-0.11, abs=0.02), "the book's LD50 is about -0.11 (from memory)"
    assert half.median == pytest.approx(best, abs=0.02)


def test_the_grid_agrees_with_integrating_the_posterior() -> None:
    """scipy.integrate.dblquad over the same density, which shares no code with the grid."""
    differences = np.array([0.5, 1.0, 1.4, 1.9, 2.1, 2.6, 3.0, 0.8])
    held = np.array([True, True, True, False, True, False, False, True])

    def density(log_slope: float, midpoint: float) -> float:
        share = expit(-RULES.slope * np.exp(log_slope) * (differences - midpoint))
        prior = ((midpoint - RULES.midpoint) / RULES.midpoint_sd) ** 2 + (log_slope / RULES.slope_log_sd) ** 2
        return float(np.exp(-0.5 * prior) * np.prod(np.where(held, share, 1.0 - share)))

    half, ninety = points(differences, held, RULES)
    whole = dblquad(density, 0.0, 6.0, -2.5, 2.5, epsabs=1e-9)[0]
    for point, share in ((half.low, 0.025), (half.median, 0.5), (half.high, 0.975)):
        assert dblquad(density, 0.0, point, -2.5, 2.5, epsabs=1e-9)[0] / whole == pytest.approx(share, abs=0.004)

    def above(log_slope: float) -> float:
        return ninety.median + np.log(9.0) / (RULES.slope * np.exp(log_slope))

    swapped = dblquad(lambda midpoint, log_slope: density(log_slope, midpoint), -2.5, 2.5, 0.0, above, epsabs=1e-9)[0]
    assert swapped / whole == pytest.approx(0.5, abs=0.004)


def test_without_outcomes_the_posterior_is_the_prior() -> None:
    """A normal distribution's quantiles: 1.959964 standard deviations either side of its mean hold 95 %."""
    narrow = dataclasses.replace(RULES, midpoint_sd=0.1)
    half, _ = points(np.empty(0), np.empty(0, dtype=bool), narrow)
    assert (half.low, half.median, half.high) == pytest.approx((1.8 - 0.1960, 1.8, 1.8 + 0.1960), abs=5e-4)


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """Truths drawn from the prior make Bayesian 95 % intervals cover 95 % exactly; 200 draws scatter by 1.5 %."""
    rng = np.random.default_rng(5)
    held_half = held_ninety = 0
    repeats = 200
    for _ in range(repeats):
        midpoint = -1.0
        while midpoint <= 0.0:
            midpoint = rng.normal(RULES.midpoint, RULES.midpoint_sd)
        slope = RULES.slope * np.exp(rng.normal(0.0, RULES.slope_log_sd))
        differences = rng.uniform(0.2, 4.0, 20)
        held = rng.random(20) < expit(-slope * (differences - midpoint))
        half, ninety = points(differences, held, RULES)
        held_half += half.low <= midpoint <= half.high
        held_ninety += ninety.low <= max(midpoint - np.log(9.0) / slope, 0.0) <= ninety.high
    assert held_half / repeats == pytest.approx(0.95, abs=0.045)
    assert held_ninety / repeats == pytest.approx(0.95, abs=0.045)


def test_a_forgiving_shop_is_offered_more_and_a_strict_one_less() -> None:
    def outcomes(truth: float) -> list[Observed]:
        return [observed(difference, "yes" if difference < truth else "no") for difference in np.arange(0.1, 4.0, 0.1)]

    forgiving, strict = learn(outcomes(2.8), RULES), learn(outcomes(1.0), RULES)
    assert forgiving.half is not None
    assert strict.half is not None
    assert forgiving.half.median == pytest.approx(2.8, abs=0.25)
    assert strict.half.median == pytest.approx(1.0, abs=0.25)
    assert strict.half.high < forgiving.half.low
    assert forgiving.ninety is not None
    assert 0.0 <= forgiving.ninety.median < forgiving.half.median


def test_nothing_is_offered_before_enough_was_seen() -> None:
    few = learn([observed(1.0, "yes")] * 5 + [observed(1.0, "unsure")] * 20, RULES)
    assert (few.half, few.ninety, few.held, few.unsure) == (None, None, 5, 20)
    assert few.missing.startswith("7 more decided outcomes")
    one_way = learn([observed(1.0, "yes")] * 30, RULES)
    assert one_way.half is None
    assert "2 that were seen" in one_way.missing
    assert learn([], RULES).greatest_difference == 0.0


def test_hundreds_of_outcomes_are_learned_from_as_well() -> None:
    rng = np.random.default_rng(6)
    differences = rng.uniform(0.0, 5.0, 800)
    outcomes = [
        observed(float(difference), "yes" if rng.random() < expit(-3.0 * (difference - 2.2)) else "no")
        for difference in differences
    ]
    learned = learn(outcomes, RULES)
    assert learned.half is not None
    assert learned.half.median == pytest.approx(2.2, abs=0.2)
    assert 0.1 < learned.half.high - learned.half.low < 0.4
