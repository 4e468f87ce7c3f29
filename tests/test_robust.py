"""The robust spread against scipy's, and on numbers of which some are strays."""

import numpy as np
import pytest
from scipy.stats import median_abs_deviation

from match.robust import robust_sd


def test_it_is_what_scipy_calls_the_median_absolute_deviation_in_normal_scale():
    values = np.random.default_rng(3).normal(5.0, 2.0, 1001)
    assert robust_sd(values) == pytest.approx(median_abs_deviation(values, scale="normal"), rel=1e-5)
    about_nought = median_abs_deviation(values, center=lambda *_, **__: 0.0, scale="normal")
    assert robust_sd(values, centre=0.0) == pytest.approx(about_nought, rel=1e-5)


def test_strays_do_not_widen_it():
    values = np.random.default_rng(3).normal(0.0, 1.0, 1000)
    strays = np.where(np.arange(1000) % 10 == 0, 1e6, values)
    assert robust_sd(strays) == pytest.approx(1.0, abs=0.2)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 101, 6000])
def test_it_is_what_numpy_s_own_median_gives_to_the_last_digit(count):
    values = np.random.default_rng(count).normal(size=count)
    assert robust_sd(values) == 1.4826 * float(np.median(np.abs(values - np.median(values))))


def test_nothing_and_what_is_no_number_have_no_spread():
    assert np.isnan(robust_sd(np.array([])))
    assert np.isnan(robust_sd(np.array([1.0, np.nan, 2.0])))
    assert np.isnan(robust_sd(np.array([1.0, np.nan]), centre=0.0))
