"""CIELAB from spectra, the difference metric, spectral recovery and metamerism."""

import warnings

import numpy as np
import pytest
from coloraide import Color
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from match import calibration
from match.colorimetry import lab_from_xyz, metric_root, xyz_from_lab
from match.errors import TintError
from match.tint.card import CardColour, describe
from match.tint.limits import TintLimits
from match.tint.metamerism import lamp_shifts, metamerism_index
from match.tint.pigment import WAVELENGTHS_NM, Optics
from match.tint.recovery import smoothest_spectrum
from match.tint.viewing import OBSERVER, lab_from_reflectance, viewing, xyz_from_reflectance

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

SHAPE = colour.SpectralShape(400, 700, 10)
PATCHES = {  # 24 measured reflectance spectra of the common test chart, N. Ohta, shipped by colour-science
    name: sd.copy().align(SHAPE) for name, sd in colour.SDS_COLOURCHECKERS["ColorChecker N Ohta"].items()
}
NO_SURFACE = Optics(0.0, 0.0)
LIMITS = calibration.load(TintLimits, "tint", "limits")

# Source: ASTM E308, table 5, tristimulus values of the illuminants, 2-degree observer (D65 and A also CIE 15).
WHITES = {"D65": (95.047, 100.0, 108.883), "A": (109.850, 100.0, 35.585), "FL11": (100.962, 100.0, 64.350)}


@pytest.mark.parametrize(("illuminant", "white"), WHITES.items())
def test_white_of_each_light_is_the_published_one(illuminant, white):
    # Tolerance: the published sums take FL11's narrow bands at 5 nm as they stand, here they are interpolated to 1 nm.
    np.testing.assert_allclose(viewing(illuminant).white, white, atol=0.1 if illuminant == "FL11" else 0.01)


@pytest.mark.parametrize("illuminant", WHITES)
def test_tristimulus_values_agree_with_colour_science(illuminant):
    # Source: colour.sd_to_XYZ, ASTM E308 with 10 nm weights, on the same 400-700 nm data.
    for sd in PATCHES.values():
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            theirs = colour.sd_to_XYZ(
                sd, colour.MSDS_CMFS[OBSERVER], colour.SDS_ILLUMINANTS[illuminant], method="ASTM E308"
            )
        np.testing.assert_allclose(xyz_from_reflectance(sd.values, viewing(illuminant)), theirs, atol=0.05)


def test_lab_agrees_with_colour_science():
    view = viewing()
    xyz = np.array([xyz_from_reflectance(sd.values) for sd in PATCHES.values()])
    theirs = colour.XYZ_to_Lab(xyz / 100, view.white[:2] / view.white.sum())
    np.testing.assert_allclose(lab_from_xyz(xyz, view.white), theirs, atol=1e-9)


@given(st.tuples(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100)))
def test_lab_goes_back(lab):
    white = viewing().white
    np.testing.assert_allclose(lab_from_xyz(xyz_from_lab(lab, white), white), lab, atol=1e-8)


def test_unknown_light_is_refused():
    with pytest.raises(TintError, match="no illuminant"):
        viewing("moonlight")


# Source: CIEDE2000's S_L = 1 + 0.015 (L-50)^2 / sqrt(20 + (L-50)^2) by hand: the difference for one L* unit at L.
LIGHTNESS = [(5, 0.5982), (15, 0.6576), (25, 0.7304), (35, 0.8226), (50, 1.0), (65, 0.8226), (80, 0.6920), (95, 0.5982)]


@pytest.mark.parametrize(("L", "difference"), LIGHTNESS)
def test_metric_of_lightness_is_ciede2000s(L, difference):
    assert np.linalg.norm(metric_root([L, 0.0, 0.0]) @ [1.0, 0.0, 0.0]) == pytest.approx(difference, abs=2e-4)


labs = st.tuples(st.floats(5, 95), st.floats(-60, 60), st.floats(-60, 60)).filter(lambda x: np.hypot(x[1], x[2]) > 2)


@given(labs, st.tuples(*[st.floats(-0.3, 0.3)] * 3))
def test_metric_is_ciede2000_for_small_differences(lab, d):
    lab, d = np.array(lab), np.array(d)
    length = float(np.linalg.norm(metric_root(lab) @ d))
    # Source: coloraide's own CIEDE2000; the metric is a local one, so agreement to a few percent is what it promises.
    theirs = Color("lab-d65", list(lab - d / 2)).delta_e(Color("lab-d65", list(lab + d / 2)), method="2000")
    assert length == pytest.approx(theirs, rel=0.05, abs=2e-3)


def test_words_name_the_largest_difference_first():
    assert describe([48, 20.5, 0], [50, 20, 0], LIMITS) == ("darker",)
    assert describe([50, 20, 3], [50, 20, 0], LIMITS)[0] == "yellower"
    assert describe([50, 0, -3], [50, 0, 0], LIMITS) == ("bluer",)
    assert describe([50, 50, 0], [50, 40, 0], LIMITS)[0] == "more chromatic"
    assert describe([50, 0, 40.0], [50, 0, 40.0], LIMITS) == ()


@pytest.mark.parametrize("covariance", [np.ones((2, 2)), -np.eye(3), [[1, 2, 0], [0, 1, 0], [0, 0, 1]]])
def test_a_covariance_that_is_none_is_refused(covariance):
    with pytest.raises(TintError, match="covariance"):
        CardColour(np.array([50.0, 0, 0]), covariance)


@pytest.mark.parametrize("name", PATCHES)
@pytest.mark.parametrize("optics", [NO_SURFACE, Optics(0.04, 0.5)])
def test_recovered_spectrum_has_the_colour(name, optics):
    lab = lab_from_reflectance(PATCHES[name].values)
    found = smoothest_spectrum(lab, optics)
    np.testing.assert_allclose(lab_from_reflectance(found.measured), lab, atol=1e-5)
    assert found.lab_left < 1e-5
    assert np.all((found.internal > 0) & (found.internal < 1))


@pytest.mark.parametrize("name", ["foliage", "purple", "yellow", "cyan"])
def test_recovered_spectrum_is_burns_solution(name):
    # Source: Burns 2020, least hyperbolic tangent slope squared, solved independently by scipy's SLSQP from its
    # definition: least sum of squared steps of z, R = (1 + tanh z)/2, subject to the three tristimulus values.
    R = PATCHES[name].values
    xyz = xyz_from_reflectance(R)
    weights = viewing().weights
    solution = minimize(
        lambda z: np.sum(np.diff(z) ** 2),
        np.full(31, np.arctanh(2 * R.mean() - 1)),
        jac=lambda z: 2 * (np.append(0, np.diff(z)) - np.append(np.diff(z), 0)),
        constraints={
            "type": "eq",
            "fun": lambda z: (1 + np.tanh(z)) / 2 @ weights - xyz,
            "jac": lambda z: (weights * (1 / np.cosh(z) ** 2 / 2)[:, None]).T,
        },
        method="SLSQP",
        options={"maxiter": 500, "ftol": 1e-14},
    )
    assert solution.success
    found = smoothest_spectrum(lab_from_reflectance(R), NO_SURFACE).measured
    np.testing.assert_allclose(found, (1 + np.tanh(solution.x)) / 2, atol=2e-3)


def test_recovery_of_the_chart_is_as_good_as_published_methods():
    # Source: Otsu, Yamamoto and Hachisuka 2018 (trained on measured spectra) as colour-science implements it, run here.
    # For the smooth methods, run once with colour-science 0.4.7 on these patches (mean root mean square error of
    # reflectance over 24): Meng, Simon and Hanika 2015 0.0498, Jakob and Hanika 2019 0.0717; they take minutes.
    ours, theirs = [], []
    for sd in PATCHES.values():
        R = sd.values
        ours.append(np.sqrt(np.mean((smoothest_spectrum(lab_from_reflectance(R), NO_SURFACE).measured - R) ** 2)))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            otsu = colour.recovery.XYZ_to_sd_Otsu2018(xyz_from_reflectance(R) / 100)
        theirs.append(np.sqrt(np.mean((otsu.align(SHAPE).values - R) ** 2)))
    assert np.mean(ours) < 0.0498
    assert np.mean(ours) < 1.5 * np.mean(theirs)


@pytest.mark.parametrize("grey", [0.02, 0.18, 0.7])
def test_a_grey_is_recovered_flat(grey):
    found = smoothest_spectrum(lab_from_reflectance(np.full(31, grey)), NO_SURFACE)
    np.testing.assert_allclose(found.measured, grey, atol=1e-6)


def test_a_spectrum_that_already_has_the_colour_is_left_alone():
    R = PATCHES["purple"].values
    np.testing.assert_allclose(smoothest_spectrum(lab_from_reflectance(R), NO_SURFACE, R).measured, R, atol=1e-7)


def test_a_known_formula_gives_a_truer_spectrum_than_the_colour_alone():
    true = PATCHES["magenta"].values
    formula = np.clip(true * 1.12, 0, 0.99)
    lab = lab_from_reflectance(true)
    corrected, smooth = smoothest_spectrum(lab, NO_SURFACE, formula), smoothest_spectrum(lab, NO_SURFACE)
    assert np.abs(corrected.measured - true).max() < 0.5 * np.abs(smooth.measured - true).max()


def test_a_colour_beyond_paint_says_how_much_is_missing():
    assert smoothest_spectrum([50.0, 150.0, -150.0], NO_SURFACE).lab_left > 5


def test_a_colour_that_is_no_number_is_refused():
    with pytest.raises(TintError, match="three finite"):
        smoothest_spectrum([50.0, np.nan, 0.0], NO_SURFACE)


def test_metamerism_sum_is_the_one_of_the_standard():
    # Source: ISO 18314-4:2024's example as printed in colour-science's documentation: 3.79 (CIELAB difference) for
    # these tristimulus values under A against D65, 10-degree observer, multiplicative correction, summed here by hand.
    standard_r, standard_t = np.array([7.6576, 10.7116, 5.0731]), np.array([8.96442, 10.1878, 1.6663])
    sample_r, sample_t = np.array([7.6933, 10.5616, 5.54474]), np.array([8.56438, 10.0324, 1.9315])
    x, y = colour.CCS_ILLUMINANTS["CIE 1964 10 Degree Standard Observer"]["A"]
    white = 100 * np.array([x / y, 1, (1 - x - y) / y])
    corrected = sample_t * standard_r / sample_r
    by_hand = np.linalg.norm(lab_from_xyz(corrected, white) - lab_from_xyz(standard_t, white))
    assert by_hand == pytest.approx(3.7906989, abs=1e-4)


@pytest.mark.parametrize("illuminant", ["A", "FL11"])
def test_metamerism_index_of_chart_pairs_agrees_with_the_definition(illuminant):
    # Source: CIE 15, special metamerism index, worked from colour-science's published illuminants (its own
    # tristimulus sums) and coloraide's CIEDE2000.
    def xyz(name, light):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return colour.sd_to_XYZ(PATCHES[name], colour.MSDS_CMFS[OBSERVER], colour.SDS_ILLUMINANTS[light])

    for sample, standard in (("blue flower", "purplish blue"), ("foliage", "yellow green")):
        corrected = xyz(sample, illuminant) * xyz(standard, "D65") / xyz(sample, "D65")
        white = viewing(illuminant).white
        one, two = (lab_from_xyz(v, white) for v in (corrected, xyz(standard, illuminant)))
        by_hand = Color("lab-d65", list(one)).delta_e(Color("lab-d65", list(two)), method="2000")
        ours = metamerism_index(PATCHES[sample].values, PATCHES[standard].values, illuminant)
        assert ours == pytest.approx(by_hand, abs=0.02)
        assert ours > 0.1


def test_equal_and_proportional_spectra_are_not_metameric():
    R = PATCHES["red"].values
    assert metamerism_index(R, R, "A") == pytest.approx(0, abs=1e-12)
    assert metamerism_index(0.8 * R, R, "FL11") == pytest.approx(0, abs=1e-9)  # the factor is what the index takes out


@settings(max_examples=10)
@given(st.integers(0, 2**32 - 1))
def test_a_true_metamer_matches_in_daylight_only(state):
    # Source: Wyszecki's metameric blacks: what the weights do not see, added to a spectrum, keeps its colour.
    weights = viewing().weights
    noise = np.convolve(np.random.default_rng(state).standard_normal(33), np.ones(3) / 3, "valid")
    black = noise - weights @ np.linalg.solve(weights.T @ weights, weights.T @ noise)
    R = np.full(31, 0.4)
    other = R + 0.2 * black / np.abs(black).max()
    np.testing.assert_allclose(lab_from_reflectance(other), lab_from_reflectance(R), atol=1e-9)
    assert all(shift.index > 0.05 for shift in lamp_shifts(other, R))
    assert WAVELENGTHS_NM.size == 31
