"""Kubelka-Munk, Saunderson and the shipped toners."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from match import calibration
from match.errors import TintError
from match.tint.pigment import (
    WAVELENGTHS_NM,
    Optics,
    Toner,
    TonerFile,
    absorption_over_scattering,
    film_reflectance,
    formula_toners,
    internal_reflectance,
    mixture,
    opaque_reflectance,
    paint_reflectance,
    saunderson_internal,
    saunderson_measured,
    spectral_toner,
    surface_reflectance,
    toner_set,
)
from match.tint.viewing import lab_from_reflectance
from match.tint.whole_mix import mix_reflectance, whole_mix

FILE = calibration.load(TonerFile, "toners")
SHELF = toner_set(FILE)
FLAT = np.ones(WAVELENGTHS_NM.size)

# Source: the defining equation (Kubelka and Munk 1931); the fractions are exact, e.g. (1 - 1/4)^2 / (2/4) = 9/8.
K_OVER_S = [(0.05, 9.025), (0.10, 4.05), (0.20, 1.6), (0.25, 9 / 8), (0.50, 1 / 4), (0.75, 1 / 24), (0.90, 1 / 180)]
# Source: closed forms of R = 1 + Q - sqrt(Q^2 + 2Q) at numbers where the root is known.
OPAQUE = [(1.0, 2 - np.sqrt(3)), (2.0, 3 - 2 * np.sqrt(2)), (0.25, 0.5), (0.125, 1.125 - np.sqrt(17 / 64)), (0.0, 1.0)]
# Source: computed by hand from the same equation to 5 decimals.
OPAQUE_ROUNDED = [(0.01, 0.86823), (0.1, 0.64174), (10.0, 0.04555)]
# Source: Saunderson 1942, eq. for Rm, worked by hand with k1 = 0.04, k2 = 0.6 to 5 decimals.
SAUNDERSON = [(0, 0.04), (0.1, 0.08085), (0.25, 0.15294), (0.5, 0.31429), (0.75, 0.56364), (0.9, 0.79130), (1, 1)]
# Source: Kubelka 1948, hyperbolic form, worked to 5 decimals: Q, SX, R over black, R over 0.8.
FILMS = [
    (0.25, 1, 0.41138, 0.57925),
    (0.25, 2, 0.48109, 0.51844),
    (0.25, 4, 0.49907, 0.50093),
    (0.02, 8, 0.80789, 0.81827),
    (1.125, 1, 0.24448, 0.26510),
]
# Source: Duncan 1940, additivity, by hand to 5 decimals; white K 0.01, S 1, tint K 5, S 0.2: share of tint, internal R.
TINTS = [(0.001, 0.84114), (0.005, 0.76786), (0.01, 0.70766), (0.02, 0.62618), (0.05, 0.48693)]


@pytest.mark.parametrize(("R", "Q"), K_OVER_S)
def test_absorption_over_scattering_has_its_exact_values(R, Q):
    assert absorption_over_scattering(R) == pytest.approx(Q, rel=1e-14)


@pytest.mark.parametrize(("Q", "R"), OPAQUE)
def test_opaque_reflectance_has_its_closed_forms(Q, R):
    assert opaque_reflectance(Q, 1.0) == pytest.approx(R, abs=1e-15)


@pytest.mark.parametrize(("Q", "R"), OPAQUE_ROUNDED)
def test_opaque_reflectance_agrees_with_hand_calculation(Q, R):
    assert opaque_reflectance(Q, 1.0) == pytest.approx(R, abs=5e-6)


@pytest.mark.parametrize(("R", "Rm"), SAUNDERSON)
def test_saunderson_agrees_with_hand_calculation(R, Rm):
    assert saunderson_measured(R, 0.04, 0.6) == pytest.approx(Rm, abs=5e-6)


def test_surface_of_refractive_index_one_and_a_half_reflects_four_hundredths():
    # Source: Fresnel equation at normal incidence, ((n - 1)/(n + 1))^2 with n = 1.5, as in any optics textbook.
    assert FILE.optics.k1 == pytest.approx((0.5 / 2.5) ** 2, abs=1e-12)


@pytest.mark.parametrize(("Q", "SX", "black", "white"), FILMS)
def test_film_agrees_with_hand_calculation(Q, SX, black, white):
    assert film_reflectance(Q, 1.0, SX, 0.0) == pytest.approx(black, abs=5e-6)
    assert film_reflectance(Q, 1.0, SX, 0.8) == pytest.approx(white, abs=5e-6)


@pytest.mark.parametrize(("share", "R"), TINTS)
def test_first_drops_of_tint_act_strongest(share, R):
    white, tint = Toner("white", 0.01 * FLAT, FLAT), Toner("tint", 5 * FLAT, 0.2 * FLAT)
    assert opaque_reflectance(*mixture([white, tint], [1 - share, share])) == pytest.approx(R, abs=5e-6)


@pytest.mark.parametrize(("K", "S", "X", "Rg"), [(0.3, 1.2, 1.7, 0.0), (2.0, 0.4, 0.9, 0.85), (0.001, 3.0, 2.0, 0.5)])
def test_film_solves_the_two_flux_equations(K, S, X, Rg):
    # Source: the Kubelka-Munk differential equations for down-going i and up-going j, integrated numerically from the
    # backing, where j = Rg i, to the surface: di/dx = (K+S) i - S j, dj/dx = S i - (K+S) j.
    def fluxes(_, ij):
        i, j = ij
        return [(K + S) * i - S * j, S * i - (K + S) * j]

    up = solve_ivp(fluxes, (0, X), [1.0, Rg], rtol=1e-11, atol=1e-13, method="DOP853").y[:, -1]
    assert film_reflectance(K, S, X, Rg) == pytest.approx(up[1] / up[0], abs=1e-9)


def test_two_toner_film_solves_the_two_flux_equations_band_by_band():
    # Source: the same integration, all 31 bands at once, with K and S added by weight (Duncan 1940).
    toners, shares, X, Rg = [SHELF["white"], SHELF["green"]], [0.9, 0.1], 1.5, 0.3
    K = 0.9 * SHELF["white"].absorption + 0.1 * SHELF["green"].absorption
    S = 0.9 * SHELF["white"].scattering + 0.1 * SHELF["green"].scattering
    n = WAVELENGTHS_NM.size

    def fluxes(_, ij):
        return np.concatenate([(K + S) * ij[:n] - S * ij[n:], S * ij[:n] - (K + S) * ij[n:]])

    up = solve_ivp(fluxes, (0, X), np.append(FLAT, Rg * FLAT), rtol=1e-11, atol=1e-13, method="DOP853").y[:, -1]
    np.testing.assert_allclose(film_reflectance(*mixture(toners, shares), X, Rg), up[n:] / up[:n], atol=1e-8)


reflectances = st.floats(0.001, 0.999)


@given(reflectances)
def test_opaque_reflectance_undoes_absorption_over_scattering(R):
    assert opaque_reflectance(absorption_over_scattering(R), 1.0) == pytest.approx(R, rel=1e-9)


@given(reflectances, st.floats(0, 0.08), st.floats(0, 0.7))
def test_saunderson_goes_back(R, k1, k2):
    assert saunderson_internal(saunderson_measured(R, k1, k2), k1, k2) == pytest.approx(R, abs=1e-12)


@given(reflectances)
def test_photo_without_gloss_sees_saunderson_less_the_first_reflection(R):
    optics = Optics(0.04, 0.5)
    assert surface_reflectance(R, optics) == pytest.approx(saunderson_measured(R, 0.04, 0.5) - 0.04, abs=1e-15)
    assert internal_reflectance(surface_reflectance(R, optics), optics) == pytest.approx(R, abs=1e-12)


@given(st.floats(0, 20), st.floats(0.01, 5), st.floats(0, 1))
def test_no_film_shows_the_backing_and_a_thick_one_hides_it(K, S, Rg):
    assert film_reflectance(K, S, 0.0, Rg) == pytest.approx(Rg, abs=1e-12)
    if K / S > 0.05:
        assert film_reflectance(K, S, 200 / S, Rg) == pytest.approx(float(opaque_reflectance(K, S)), abs=1e-9)


@given(st.floats(0, 20), st.floats(0.01, 5), st.floats(0, 5), st.floats(0, 5), st.floats(0, 1))
def test_a_coat_over_a_coat_is_one_thicker_coat(K, S, first, second, Rg):
    twice = film_reflectance(K, S, second, film_reflectance(K, S, first, Rg))
    assert twice == pytest.approx(float(film_reflectance(K, S, first + second, Rg)), abs=1e-9)


def test_film_without_absorption_is_the_known_limit():
    # Source: Kubelka 1948, K = 0 over black: R = SX / (1 + SX).
    assert film_reflectance(0.0, 2.0, 1.5, 0.0) == pytest.approx(3 / 4, abs=1e-12)


def test_mixing_in_two_goes_is_mixing_in_one():
    a, b, c = SHELF["white"], SHELF["red"], SHELF["black"]
    K1, S1 = mixture([a, b], [0.7, 0.3])
    K, S = mixture([a, b, c], [0.7 * 0.9, 0.3 * 0.9, 0.1])
    first = Toner("first", K1, S1)
    K2, S2 = mixture([first, c], [0.9, 0.1])
    np.testing.assert_allclose(K2, K)
    np.testing.assert_allclose(S2, S)


def test_strength_acts_like_more_toner():
    strong = SHELF["violet"].with_strength(1.3)
    K, S = mixture([strong], [0.1])
    more_K, more_S = mixture([SHELF["violet"]], [0.13])
    np.testing.assert_allclose(K, more_K)
    np.testing.assert_allclose(S, more_S)


@settings(max_examples=25)
@given(st.lists(st.floats(0.001, 1), min_size=len(SHELF), max_size=len(SHELF)))
def test_every_mixture_is_a_possible_paint(parts):
    R = paint_reflectance(list(SHELF.values()), np.array(parts) / sum(parts), FILE.optics)
    assert R.shape == (31,)
    assert R.min() > 0
    assert R.max() <= 1 - FILE.optics.k1


def test_shares_broadcast_over_many_mixtures():
    shares = np.random.default_rng(0).random((4, 5, len(SHELF)))
    R = paint_reflectance(list(SHELF.values()), shares, FILE.optics)
    assert R.shape == (4, 5, 31)
    np.testing.assert_allclose(R[2, 3], paint_reflectance(list(SHELF.values()), shares[2, 3], FILE.optics))


# Source: hue angles of the unique hues in CIELAB, about 24 red, 90 yellow, 162 green, 246 blue degrees (CIE 1931,
# as tabulated for CIELAB from the Natural Color System; from memory), read with a wide window.
HUES = {"red": 24, "yellow": 90, "green": 162, "green-shade blue": 246}


@pytest.mark.parametrize(("name", "hue"), HUES.items())
def test_tint_in_white_looks_like_its_name(name, hue):
    lab = lab_from_reflectance(paint_reflectance([SHELF[name], SHELF["white"]], [0.1, 0.9], FILE.optics))
    turn = (np.degrees(np.arctan2(lab[2], lab[1])) - hue + 180) % 360 - 180
    assert abs(turn) < 30
    assert np.hypot(lab[1], lab[2]) > 25


def test_white_is_light_and_black_is_dark_and_both_are_neutral():
    white, black = (lab_from_reflectance(paint_reflectance([SHELF[n]], [1.0], FILE.optics)) for n in ("white", "black"))
    assert white[0] > 92
    assert black[0] < 5
    assert np.hypot(*white[1:]) < 3
    assert np.hypot(*black[1:]) < 1


def test_every_shipped_toner_says_that_it_is_invented():
    assert len(SHELF) >= 10
    assert all("invented" in toner.stands_for for toner in SHELF.values())


@pytest.mark.parametrize(
    ("action", "said"),
    [
        (lambda: absorption_over_scattering(0.0), "above 0"),
        (lambda: mixture([SHELF["red"]], [-0.1]), "cannot be taken out"),
        (lambda: mixture([SHELF["red"]], [0.1, 0.2]), "as many shares"),
        (lambda: Toner("odd", FLAT[:-1], FLAT), "31"),
        (lambda: Toner("odd", FLAT, FLAT, 0.0), "above zero"),
        (lambda: formula_toners(SHELF, {"no such": 1.0}), "no such"),
        (lambda: formula_toners(SHELF, {"red": 0.0}), "at least one"),
        (lambda: formula_toners(SHELF, {}), "at least one"),
    ],
)
def test_what_cannot_be_used_is_said_plainly(action, said):
    with pytest.raises(TintError, match=said):
        action()


def test_a_band_with_a_missing_width_is_refused():
    shape = FILE.toners["red"]
    broken = type(shape)(**{**vars(shape), "band_widths_nm": shape.band_widths_nm[:-1]})
    with pytest.raises(TintError, match="centre, width and height"):
        spectral_toner("red", broken)


# Source: the tests of the open colour library Unicolour (MIT, PigmentTests.cs, "calculated independently"): three
# pigments in five bands, K and S each, their shares, the opaque mixture's reflectance, and the same with Saunderson's
# surface (k1 0.033, k2 0.66), gloss excluded.
BANDS_K = [(1.00, 0.50, 1.00, 0.50, 1.00), (1.00, 1.00, 0.25, 0.50, 0.50), (1.00, 1.00, 0.75, 0.25, 0.25)]
BANDS_S = [(0.20, 0.40, 0.60, 0.80, 1.00), (1.00, 0.80, 0.60, 0.40, 0.20), (0.20, 0.80, 0.20, 0.80, 0.20)]
TWO_CONSTANT = [
    (
        (0.5, 0.5, 0.0),
        (0.194600504301446, 0.234435562925363, 0.261665886392181, 0.296742590451186, 0.234435562925363),
        (0.073409156685747, 0.091186832391423, 0.103989431373653, 0.121324432254632, 0.091186832391423),
    ),
    (
        (0.5, 0.3, 0.2),
        (0.156520636181344, 0.234435562925363, 0.218836327679683, 0.334563915603707, 0.244572900888201),
        (0.057389386089411, 0.091186832391423, 0.084095017367215, 0.141169974626911, 0.095888880683781),
    ),
    (
        (0.3, 0.2, 0.5),
        (0.134756375387777, 0.234435562925363, 0.183782394398364, 0.375000000000000, 0.241247780463508),
        (0.048630345501823, 0.091186832391423, 0.068764910347273, 0.163843853820598, 0.094338327216122),
    ),
]


@pytest.mark.parametrize(("shares", "internal", "measured"), TWO_CONSTANT)
def test_mixtures_of_three_pigments_have_the_values_another_library_publishes(shares, internal, measured):
    bands = WAVELENGTHS_NM.size
    toners = [
        Toner(f"pigment {i}", np.resize(K, bands), np.resize(S, bands))
        for i, (K, S) in enumerate(zip(BANDS_K, BANDS_S, strict=True))
    ]
    R = opaque_reflectance(*mixture(toners, shares))
    np.testing.assert_allclose(R[:5], internal, atol=1e-14)
    np.testing.assert_allclose(surface_reflectance(R, Optics(0.033, 0.66))[:5], measured, atol=1e-14)
    model = whole_mix([t.name for t in toners], {t.name: t for t in toners}, Optics(0.033, 0.66), np.ones(3))
    np.testing.assert_allclose(mix_reflectance(model, np.zeros(model.size), np.array(shares))[:5], measured, atol=1e-14)
