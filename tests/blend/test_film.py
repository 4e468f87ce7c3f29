"""Spray passes, coats and hiding against closed forms, Kubelka-Munk numbers and the trade's habits."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from match import calibration
from match.blend.coat_plans import STEP_MM, BlendPractice, fade_library
from match.blend.film import (
    Coat,
    Hiding,
    built_film,
    coat_film,
    colours_along,
    hiding_exponent,
    old_share,
    pass_film,
)
from match.colorimetry import delta_e00
from match.tint.pigment import film_reflectance, opaque_reflectance

PRACTICE = calibration.load(BlendPractice, "practice")
HIDING = PRACTICE.hiding
MID_EXPONENT = float(hiding_exponent(0.18, HIDING))
GUN = PRACTICE.guns["tight"]
LIBRARY = fade_library(MID_EXPONENT, 2.0, GUN, HIDING, PRACTICE.fade)


@pytest.mark.parametrize(
    ("q", "thickness", "contrast_ratio"),
    [
        # finite Kubelka-Munk films over black 0 and white 0.8, computed for the research behind this project,
        # printed to four decimals: Q = K/S, S X, contrast ratio
        (0.25, 1.0, 0.7102),
        (0.25, 2.0, 0.9280),
        (0.25, 4.0, 0.9963),
        (0.02, 8.0, 0.9873),
        (1.125, 1.0, 0.9222),
        (1.125, 2.0, 0.9981),
    ],
)
def test_the_hiding_exponent_inverts_the_contrast_ratio_of_a_film(q, thickness, contrast_ratio):
    opaque = 1 + q - np.sqrt(q * q + 2 * q)
    exponent = 2 * np.sqrt((1 + q) ** 2 - 1) * thickness  # 2 b S X
    found = hiding_exponent(opaque, Hiding(contrast_ratio, 0.8, 2.0, 0.02))
    # the ratio is printed to 5e-5; near full hiding that is 5e-5 / (1 - ratio) of the exponent's e-fold
    assert found == pytest.approx(exponent, abs=2 * 5e-5 / (1 - contrast_ratio) + 1e-4)


@pytest.mark.parametrize("q", [0.02, 0.25, 1.125, 9.0])
def test_coats_to_cover_reach_a_contrast_ratio_of_98_percent(q):
    # convention: ASTM D6441's scope (read), D2805 and ISO 6504-3 (from memory); oracle: Kubelka's finite film
    opaque = float(opaque_reflectance(q, 1.0))
    thickness = float(hiding_exponent(opaque, HIDING)) / (2 * np.sqrt((1 + q) ** 2 - 1))
    over_black = film_reflectance(q, 1.0, thickness, 0.0)
    over_white = film_reflectance(q, 1.0, thickness, 0.8)
    assert over_black / over_white == pytest.approx(0.98, abs=1e-9)


@settings(max_examples=40)
@given(st.floats(0.02, 8.0), st.floats(0.05, 3.0), st.floats(-0.02, 0.02))
def test_a_small_difference_shows_through_a_kubelka_munk_film_by_the_exponential_law(q, thickness, difference):
    opaque = float(opaque_reflectance(q, 1.0))
    backing = opaque * (1 + difference)
    if abs(difference) < 1e-4:
        return
    shows = (float(film_reflectance(q, 1.0, thickness, backing)) - opaque) / (backing - opaque)
    exponent = 2 * np.sqrt((1 + q) ** 2 - 1) * thickness
    # exact in the limit; a difference of 2 % leaves an error of the same order
    assert shows == pytest.approx(float(old_share(1.0, exponent, 1.0)), rel=0.05)


def test_two_coats_where_two_cover_leave_what_hides_a_chart_and_none_leave_all():
    assert old_share(0.0, MID_EXPONENT, 2.0) == 1.0
    assert old_share(2.0, MID_EXPONENT, 2.0) == pytest.approx(np.exp(-MID_EXPONENT))
    assert old_share(1.0, MID_EXPONENT, 2.0) ** 2 == pytest.approx(float(old_share(2.0, MID_EXPONENT, 2.0)))


def test_dark_paint_that_covers_a_chart_hides_a_near_colour_better_than_light_paint():
    exponents = hiding_exponent(np.array([0.03, 0.18, 0.5, 0.85]), HIDING)
    assert (np.diff(exponents) < 0).all()


def ripple(sigma_mm: float, spacing_mm: float) -> float:
    """Return the film's half swing about its mean of 1 under endless passes: Poisson summation, first harmonic.

    The k-th harmonic of evenly spaced Gaussians is 2 exp(-2 (pi k sigma / spacing)^2); the second is below a thousandth
    of the first wherever the film is fit to be used.
    """
    return float(2.0 * np.exp(-2.0 * (np.pi * sigma_mm / spacing_mm) ** 2))


def test_a_pass_lays_down_its_own_mass():
    x = np.arange(-400.0, 400.0, 0.5)
    assert np.trapezoid(pass_film(x, 40.0, 75.0), x) == pytest.approx(75.0, rel=1e-9)


@pytest.mark.parametrize("ease_mm", [0.0, 100.0, 300.0])
def test_a_coat_loses_no_paint_at_its_edge(ease_mm):
    # the edge softens but the mass is that of a full film up to half a spacing beyond the last pass, or to the middle
    # of the eased stroke
    x = np.arange(-1500.0, 900.0, 0.5)
    film = coat_film(x, 200.0, ease_mm, 62.5, 125.0)
    inner = x[0] + 500.0
    whole = x >= inner
    full_to = 200.0 + 62.5 if ease_mm == 0.0 else 200.0 - ease_mm / 2
    swing = ripple(62.5, 125.0) if ease_mm == 0.0 else 0.0
    assert np.trapezoid(film[whole], x[whole]) == pytest.approx(full_to - inner, abs=1e-3 + swing * 125.0 / 6)


@pytest.mark.parametrize(("overlap", "printed_percent"), [(0.25, 22.3), (0.5, 1.44), (0.7, 0.00022)])
def test_overlapped_passes_make_the_even_film_of_poissons_sum(overlap, printed_percent):
    # Poisson summation of Gaussians at spacing s: mean 1, first harmonic 2 exp(-2 (pi sigma / s)^2)
    sigma, spacing = 50.0, 200.0 * (1 - overlap)
    x = np.linspace(-2000.0, -2000.0 + spacing, 2001)
    film = coat_film(x, 0.0, 0.0, sigma, spacing)
    assert film.mean() == pytest.approx(1.0, abs=1e-3)
    swing = (film.max() - film.min()) / 2
    assert swing == pytest.approx(ripple(sigma, spacing), abs=2e-4)
    assert 100 * ripple(sigma, spacing) == pytest.approx(printed_percent, rel=0.03)


@settings(max_examples=30)
@given(st.floats(-100, 400), st.sampled_from([0.0, 60.0, 240.0]), st.floats(20, 80))
def test_a_coats_edge_only_falls(reach, ease, sigma):
    film = coat_film(np.arange(reach - 50.0, 900.0, 2.0), reach, ease, sigma, 2 * sigma)
    assert (np.diff(film) <= 1e-9 + (0.03 if ease == 0.0 else 0.0)).all()
    assert film[-1] == pytest.approx(0.0, abs=1e-6)


def test_an_eased_stroke_is_its_ramp_widened_by_the_fan():
    x = np.arange(-800.0, 800.0, 1.0)
    ramp = np.clip((200.0 - x) / 100.0, 0.0, 1.0)
    bell = np.exp(-((np.arange(-300.0, 301.0) / 40.0) ** 2) / 2)
    widened = np.convolve(ramp, bell / bell.sum(), mode="same")
    inner = slice(400, -400)
    np.testing.assert_allclose(coat_film(x, 200.0, 100.0, 40.0, 80.0)[inner], widened[inner], atol=1e-5)


def test_colours_between_mix_in_light_and_start_and_end_true():
    card, vehicle = np.array([60.0, 5.0, -3.0]), np.array([52.0, 2.0, 4.0])
    along = colours_along(card, vehicle, [1.0, 0.5, 0.0])
    np.testing.assert_allclose(along[0], card, atol=1e-6)
    np.testing.assert_allclose(along[2], vehicle, atol=1e-6)
    y = ((np.array([60.0, 52.0]) + 16) / 116) ** 3  # CIE 15, L* to Y
    assert ((along[1][0] + 16) / 116) ** 3 == pytest.approx(y.mean(), rel=1e-9)


def test_every_plan_covers_the_primer_and_the_strip_beside_it():
    for index in range(0, len(LIBRARY.coats), 17):
        film = built_film(np.array([0.0, 50.0]), LIBRARY.coats_of(index), GUN, PRACTICE.fade.fan_in_sigmas)
        assert film[0] >= 0.98 * 2.0 - 1e-9
        assert old_share(film[1], MID_EXPONENT, 2.0) <= 0.02 + 1e-9


def test_the_library_holds_the_film_of_its_own_coats():
    for index in range(3, len(LIBRARY.coats), 29):
        film = built_film(LIBRARY.x_mm, LIBRARY.coats_of(index), GUN, PRACTICE.fade.fan_in_sigmas)
        np.testing.assert_allclose(1 - old_share(film, MID_EXPONENT, 2.0), LIBRARY.new_share[index], atol=1e-9)


def test_the_straight_width_is_the_steepest_places_and_narrower_than_the_room_used():
    slope = -np.diff(LIBRARY.new_share, axis=1) / STEP_MM
    np.testing.assert_allclose(1 / slope.max(axis=1), LIBRARY.straight_mm[:, -1], rtol=0.02)
    assert (LIBRARY.straight_mm[:, -1] < LIBRARY.fade_end_mm).all()


def test_reaching_further_is_never_asked_for_less_width():
    reach = LIBRARY.least_reach_mm(np.linspace(0.0, 2000.0, 401))
    assert (np.diff(reach[np.isfinite(reach)]) >= 0.0).all()
    assert reach[-1] == np.inf


def test_a_reduced_last_coat_lengthens_the_fade():
    gun = PRACTICE.guns["full"]
    sure = (Coat(100.0, 100.0, 1.0), Coat(100.0, 100.0, 1.0))
    x = np.arange(0.0, 800.0, 2.0)

    def straight(last_film):
        film = built_film(x, (*sure, Coat(300.0, 100.0, last_film)), gun, PRACTICE.fade.fan_in_sigmas)
        return 1 / np.abs(np.gradient(1 - old_share(film, MID_EXPONENT, 2.0), x)).max()

    assert straight(1 / 1.15) > straight(1.0)


def test_the_trades_fade_of_150_to_200_mm_hides_a_difference_of_the_trades_size():
    # common practice: after a strip of about 2 in, 6 to 8 in of fade for a close match: 200 to 250 mm in all. Paint
    # that reaches so far leaves a straight fade of 60 to 100 mm, which hides 1 to 2 units of lightness at 1 to 2 m
    reach = LIBRARY.least_reach_mm(np.array([60.0, 100.0]))
    assert 150.0 < reach[0] < 260.0
    assert 200.0 < reach[1] < 320.0


def test_a_mixed_colour_differs_from_both_ends_by_no_more_than_they_do():
    card, vehicle = np.array([41.0, 30.0, 20.0]), np.array([40.0, 31.0, 22.0])
    along = colours_along(card, vehicle, np.linspace(0, 1, 11))
    assert (np.diff(delta_e00(along, vehicle)) > 0).all()


def sprayed_alike(coats):
    """What makes a plan's covering coats, wherever it begins: each coat's reach beyond the first, its ease and film."""
    return tuple((round(coat.reach_mm - coats[0].reach_mm, 6), coat.ease_mm, coat.film) for coat in coats)


@pytest.mark.parametrize("coats_to_cover", [0.9, 2.0])
def test_the_coat_that_lays_flake_goes_as_far_as_the_last_one_and_staggers_nothing(coats_to_cover):
    fade = replace(PRACTICE.fade, trigger_eases=PRACTICE.fade.trigger_eases[:1])
    gun = PRACTICE.guns["full"]
    plain, flaked = (fade_library(MID_EXPONENT, coats_to_cover, gun, HIDING, fade, film) for film in (0.0, 0.3))
    staggered = dict(zip(map(sprayed_alike, plain.coats), plain.staggered, strict=True))
    for coats, climbs in zip(flaked.coats, flaked.staggered, strict=True):
        *colour, last = coats
        assert (last.orientation, last.reach_mm, last.ease_mm) == (True, colour[-1].reach_mm, colour[-1].ease_mm)
        assert climbs == staggered[sprayed_alike(colour)]
        if len(colour) > 1 and colour[-1].reach_mm == colour[0].reach_mm:
            assert not climbs


def test_where_mid_coats_must_fit_between_every_plan_reaches_far_enough_beyond_its_first_coat():
    asked = 120.0
    spread = fade_library(MID_EXPONENT, 2.0, GUN, HIDING, PRACTICE.fade, least_spread_mm=asked)
    reaches = [[coat.reach_mm for coat in coats] for coats in spread.coats]
    assert all(last - first >= asked for first, *_, last in reaches)
    assert 0 < len(spread.coats) < len(LIBRARY.coats)
