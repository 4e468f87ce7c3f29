"""Toners of one's own, by name or measured from let-downs."""

import numpy as np
import pytest

from match.errors import TintError
from match.tint.card import CardColour
from match.tint.own_toner import LetDown, measure_toner, named_toner
from match.tint.pigment import Toner, mixture, opaque_reflectance, paint_reflectance, surface_reflectance
from match.tint.viewing import lab_from_reflectance
from tests.tint.table import FILE, LIMITS, SHELF

WHITE = SHELF["white"]
CHROMATIC = [name for name in SHELF if name != "white"]


def letdown(toner: Toner, share: float, sd: float = 0.3) -> LetDown:
    lab = lab_from_reflectance(paint_reflectance([toner, WHITE], [share, 1 - share], FILE.optics))
    return LetDown(share, CardColour(lab, sd**2 * np.eye(3)))


def measured(toner, *shares, like=None, sd=0.3):
    return measure_toner("mine", [letdown(toner, c, sd) for c in shares], WHITE, FILE.optics, LIMITS, like)


def effect(toner: Toner, recipe: dict[str, float]) -> np.ndarray:
    """Return the CIELAB move that 1 % of a toner makes."""
    total = sum(recipe.values())
    K, S = mixture([SHELF[n] for n in recipe], np.array(list(recipe.values())) / total)
    more = K + 0.01 * toner.strength * toner.absorption, S + 0.01 * toner.strength * toner.scattering
    one, two = (lab_from_reflectance(surface_reflectance(opaque_reflectance(*x), FILE.optics)) for x in ((K, S), more))
    return two - one


@pytest.mark.parametrize("strength", [0.6, 1.0, 1.5])
@pytest.mark.parametrize("name", CHROMATIC)
def test_a_toner_of_known_class_is_measured_back(name, strength):
    # Source: the toner the let-down was mixed from.
    true = SHELF[name].with_strength(strength)
    found = measured(true, 0.05, like=SHELF[name])
    K = strength * SHELF[name].absorption
    assert found.toner.absorption @ K / (K @ K) == pytest.approx(1.0, abs=0.12)
    assert found.lab_left[0] < 0.3


@pytest.mark.parametrize("name", CHROMATIC)
@pytest.mark.parametrize("recipe", [{"white": 60, "black": 1, "yellow": 5}, {"white": 60, "green-shade blue": 10}])
def test_a_toner_of_unknown_class_acts_nearly_as_the_true_one(name, recipe):
    # Tolerance: two of the stated standard deviations, with 20 degrees for the direction.
    found = measured(SHELF[name], 0.05)
    true, ours = effect(SHELF[name], recipe), effect(found.toner, recipe)
    if np.linalg.norm(true) < 0.5:
        return
    assert abs(np.log(np.linalg.norm(ours) / np.linalg.norm(true))) < 2 * found.log_strength_sd
    cosine = true @ ours / np.linalg.norm(true) / np.linalg.norm(ours)
    assert np.degrees(np.arccos(np.clip(cosine, -1, 1))) < 25


def test_black_needs_no_class():
    found = measured(SHELF["black"], 0.03)
    np.testing.assert_allclose(found.toner.absorption, SHELF["black"].absorption, rtol=0.05)


def test_a_second_share_shows_the_toners_own_scattering():
    true = Toner("hiding", SHELF["oxide red"].absorption, 2.0 * SHELF["oxide red"].scattering)
    like = SHELF["oxide red"]
    error = [
        float(np.mean(np.abs(measured(true, *shares, like=like).toner.scattering - true.scattering)))
        for shares in ((0.05,), (0.05, 0.5))
    ]
    assert error[1] < 0.7 * error[0]


def test_the_doubt_is_the_spread_of_repeated_measurements():
    # Source: brute force: the same let-down measured 60 times with the stated noise.
    rng = np.random.default_rng(3)
    sd, like = 0.6, SHELF["violet"]
    one = letdown(SHELF["violet"], 0.02, sd)
    stated = measure_toner("mine", [one], WHITE, FILE.optics, LIMITS, like)
    weight = stated.toner.absorption / np.sum(stated.toner.absorption**2)
    found = []
    for _ in range(60):
        noisy = LetDown(0.02, CardColour(one.colour.lab + rng.normal(0, sd, 3), one.colour.covariance))
        found.append(measure_toner("mine", [noisy], WHITE, FILE.optics, LIMITS, like).toner.absorption @ weight)
    seen = np.sqrt(stated.log_strength_sd**2 - LIMITS.letdown_sd**2)
    assert seen == pytest.approx(np.std(found), rel=0.35)


def test_a_noisier_photo_is_more_doubt():
    assert measured(SHELF["red"], 0.02, sd=2.0).log_strength_sd > measured(SHELF["red"], 0.02, sd=0.2).log_strength_sd


def test_what_would_make_it_better_is_said():
    assert any("second share" in reason for reason in measured(SHELF["red"], 0.05).reasons)
    assert any("pigment class" in reason for reason in measured(SHELF["red"], 0.05).reasons)
    assert measured(SHELF["red"], 0.03, 0.1, like=SHELF["red"]).reasons == ()


def test_a_named_toner_is_its_class_at_another_strength():
    mine = named_toner("my blue", SHELF["red-shade blue"], 0.8)
    assert mine.name == "my blue"
    np.testing.assert_allclose(mixture([mine], [1.0])[0], 0.8 * SHELF["red-shade blue"].absorption)


@pytest.mark.parametrize(
    "action",
    [
        lambda: LetDown(0.0, CardColour(np.array([50.0, 0, 0]), np.eye(3))),
        lambda: LetDown(1.5, CardColour(np.array([50.0, 0, 0]), np.eye(3))),
        lambda: measure_toner("mine", [], WHITE, FILE.optics, LIMITS),
        lambda: named_toner("  ", SHELF["red"]),
        lambda: named_toner("weak", SHELF["red"], 0.0),
    ],
)
def test_what_cannot_be_measured_is_refused(action):
    with pytest.raises(TintError):
        action()
