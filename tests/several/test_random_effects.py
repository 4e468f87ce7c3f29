"""The random-effects mean against published worked examples."""

import numpy as np
import pytest

from match.colorimetry import psd_root
from match.several.random_effects import Grid, fit_group, positive, spread_grid, surprise

# Colditz et al. 1994, JAMA 271:698, as distributed with the R package metadat (``dat.bcg``): cases and non-cases of the
# treated, cases and non-cases of the controls in 13 trials.
BCG = np.array(
    [
        (4, 119, 11, 128),
        (6, 300, 29, 274),
        (3, 228, 11, 209),
        (62, 13536, 248, 12619),
        (33, 5036, 47, 5761),
        (180, 1361, 372, 1079),
        (8, 2537, 10, 619),
        (505, 87886, 499, 87892),
        (29, 7470, 45, 7232),
        (17, 1699, 65, 1600),
        (186, 50448, 141, 27197),
        (5, 2493, 3, 2338),
        (27, 16886, 29, 17825),
    ],
    dtype=float,
)
# Nine laboratories, with the between-laboratory sd by the Paule-Mandel method as printed in Kacker 2004, Metrologia
# 41:132, table 1, and quoted in the tests of statsmodels (statsmodels/stats/tests/test_meta.py).
LABORATORIES = np.array([61.00, 61.40, 62.21, 62.30, 62.34, 62.60, 62.70, 62.84, 65.90])
LABORATORY_VARIANCES = np.array([0.2025, 1.2100, 0.0900, 0.2025, 0.3844, 0.5625, 0.0676, 0.0225, 1.8225])
PAULE_MANDEL_SD = 0.8399


def scalar_fit(values, variances, between_sd):
    steps = np.atleast_1d(np.asarray(between_sd, dtype=float))
    grid = Grid(steps, np.ones_like(steps), np.full(steps.shape, 1 / steps.size))
    return fit_group(values[:, None], variances[:, None, None], np.zeros(len(values)), np.eye(1), np.ones(1), grid)


@pytest.fixture(scope="module")
def bcg():
    a, b, c, d = BCG.T
    return np.log(a / (a + b)) - np.log(c / (c + d)), 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)


def test_restricted_likelihood_peaks_where_metafor_puts_it(bcg):
    # metafor's printed output for this data, method REML: tau^2 0.3132, estimate -0.7145, se 0.1798.
    fit = scalar_fit(*bcg, np.linspace(0.5, 0.62, 1201))
    best = int(np.argmax(fit.log_likelihood))
    assert fit.between_sd[best] ** 2 == pytest.approx(0.3132, abs=1.2e-4)  # grid step 1e-4 in tau
    assert fit.mean[best, 0] == pytest.approx(-0.7145, abs=5e-5)
    assert np.sqrt(fit.covariance[best, 0, 0]) == pytest.approx(0.1798, abs=5e-5)


def test_heterogeneity_of_the_published_trials(bcg):
    # metafor's printed Q(df = 12) = 152.2330: with no between variance, the squared residuals over their variances.
    values, variances = bcg
    mean = scalar_fit(values, variances, 0.0).mean[0, 0]
    assert np.sum((values - mean) ** 2 / variances) == pytest.approx(152.2330, abs=5e-5)


def test_generalised_mean_meets_the_paule_mandel_condition():
    # By definition of the Paule-Mandel sd the weighted squares about the weighted mean equal k - 1.
    mean = scalar_fit(LABORATORIES, LABORATORY_VARIANCES, PAULE_MANDEL_SD).mean[0, 0]
    squares = np.sum((LABORATORIES - mean) ** 2 / (LABORATORY_VARIANCES + PAULE_MANDEL_SD**2))
    assert squares == pytest.approx(8.0, abs=2e-3)  # the sd is printed to four decimals


def test_prior_weights_follow_the_half_cauchy():
    # Half of a half-Cauchy lies below its scale.
    grid = spread_grid(np.arange(0, 400.0, 0.01), 0.3)
    assert grid.weight[grid.between_sd < 0.3].sum() == pytest.approx(0.5, abs=0.01)
    assert grid.weight.sum() == pytest.approx(1.0)


def test_a_swap_of_equal_photos_gives_the_plain_mean_and_cancels_the_light():
    light = np.diag([0.3, 0.1, 0.1]) ** 2
    own = np.tile(np.diag([0.1, 0.05, 0.05]) ** 2, (2, 1, 1))
    values = np.array([[1.6, 0.2, -0.1], [0.4, 0.4, 0.1]])
    fit = fit_group(values, own, np.array([1.0, -1.0]), light, np.ones(3), spread_grid([0.0], 0.2))
    assert fit.centre == pytest.approx(values.mean(axis=0))
    assert np.diag(fit.spread) == pytest.approx(np.diag(own[0]) / 2, rel=1e-6)


def test_repeats_on_one_side_average_everything_but_the_light():
    light, own = np.eye(3) * 0.04, np.tile(np.eye(3) * 0.09, (6, 1, 1))
    fit = fit_group(np.zeros((6, 3)), own, np.ones(6), light, np.ones(3), spread_grid([0.0], 0.2))
    assert np.diag(fit.spread) == pytest.approx(np.full(3, 0.04 + 0.09 / 6), rel=1e-6)


def test_a_value_like_the_others_is_no_surprise_and_a_far_one_is():
    grid = spread_grid([0.0, 0.1, 0.3, 1.0], 0.2)
    own = np.tile(np.eye(3) * 0.04, (4, 1, 1))
    others = fit_group(np.zeros((4, 3)), own, np.ones(4), np.eye(3) * 0.04, np.ones(3), grid)
    assert surprise(np.zeros(3), own[0], 1.0, np.ones(3), others) == pytest.approx(1.0)
    assert surprise(np.array([3.0, 0, 0]), own[0], 1.0, np.ones(3), others) < 0.01


def test_surprise_is_uniform_for_values_that_are_alike():
    # A probability of being at least as far must itself be uniform (the grid's prior only widens it).
    rng = np.random.default_rng(1)
    grid, own = spread_grid([0.0], 0.2), np.tile(np.eye(3) * 0.04, (5, 1, 1))
    chances = []
    for _ in range(400):
        values = 0.2 * rng.standard_normal((6, 3))
        others = fit_group(values[:5], own, np.ones(5), np.eye(3) * 1e-6, np.ones(3), grid)
        chances.append(surprise(values[5], own[0], 1.0, np.ones(3), others))
    assert np.quantile(chances, [0.1, 0.5, 0.9]) == pytest.approx([0.1, 0.5, 0.9], abs=0.06)


def test_a_root_squares_to_its_covariance_even_when_singular():
    covariance = np.array([[2.0, 1.0, 0.0], [1.0, 0.5, 0.0], [0.0, 0.0, 0.0]])
    root = psd_root(covariance)
    assert root @ root.T == pytest.approx(covariance)


def test_negative_variances_are_taken_as_none():
    assert positive(np.diag([1.0, -0.5, 2.0])) == pytest.approx(np.diag([1.0, 0.0, 2.0]))
