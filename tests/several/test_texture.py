"""Flake of known width, drawn: coarseness follows the width, and unequal photos are not compared."""

import numpy as np
import pytest

from match import calibration as files
from match.errors import EvidenceError
from match.several.texture import Appearance, TextureRules, compare_texture
from tests.benchmarks.several_texture import flake_field

RULES = files.load(TextureRules, "several", "texture")


def compared(card_px, car_px=1.0, card_blur=0.8, seed=0, **settings):
    rng = np.random.default_rng(seed)
    return compare_texture(flake_field(rng, card_px, card_blur), flake_field(rng, car_px), RULES, **settings)


@pytest.mark.parametrize(("card_px", "car_px"), [(1.4, 1.0), (2.0, 1.0), (1.0, 1.4), (2.0, 1.4)])
def test_coarseness_is_the_ratio_of_the_widths(card_px, car_px):
    # Random discs at one coverage (Selwyn's law): granularity is proportional to their width.
    found = compared(card_px, car_px).coarseness
    assert found.interval[0] < card_px / car_px < found.interval[1]
    assert found.appearance is (Appearance.MORE if card_px > car_px else Appearance.LESS)


@pytest.mark.parametrize("seed", range(4))
def test_alike_flake_shows_no_difference(seed):
    found = compared(1.0, seed=seed)
    assert found.coarseness.appearance is Appearance.NO_DIFFERENCE_SEEN
    assert found.sparkle.appearance is Appearance.NO_DIFFERENCE_SEEN
    assert "No difference in the coarseness of the flake is seen" in found.sentences[0]


def test_coarser_flake_of_few_bright_points_sparkles_more():
    assert compared(1.6).sparkle.appearance is Appearance.MORE


def test_a_blurred_card_is_not_called_finer():
    found = compared(1.0, card_blur=1.6)
    assert found.coarseness is None
    assert found.sparkle is None
    assert [finding.code for finding in found.findings] == ["sharpness-differs"]
    assert "The card looks less sharp" in found.sentences[0]


def test_a_slightly_softer_card_is_called_alike():
    found = compared(1.0, card_blur=0.9)
    assert found.coarseness.appearance is Appearance.NO_DIFFERENCE_SEEN
    assert found.sparkle.appearance is Appearance.NO_DIFFERENCE_SEEN


def test_known_scale_is_taken_into_account():
    # The card is shown at 1.25 times the scale: the same flake is 1.25 times as many pixels wide.
    found = compared(1.25, px_per_mm=(12.5, 10.0))
    assert found.coarseness.appearance is Appearance.NO_DIFFERENCE_SEEN
    assert found.coarseness.interval[0] < 1.0 < found.coarseness.interval[1]


def test_very_different_scales_are_not_compared():
    found = compared(1.0, px_per_mm=(20.0, 10.0))
    assert found.coarseness is None
    assert found.findings[0].code == "scale-differs"


def test_brightness_and_slanting_light_change_nothing():
    rng = np.random.default_rng(1)
    card, car = flake_field(rng, 1.4), flake_field(rng, 1.0)
    slope = np.linspace(0.7, 1.3, card.shape[1])[None, :, None]
    plain, lit = compare_texture(card, car, RULES), compare_texture(0.4 * card * slope, car, RULES)
    assert lit.coarseness.card_over_car == pytest.approx(plain.coarseness.card_over_car, rel=0.02)


def photographed(rng, light, noise):
    """Add photon noise: variance in proportion to the light."""
    return np.maximum(light + rng.standard_normal((*light.shape[:2], 1)) * np.sqrt(light) * noise, 0.0)


def test_camera_noise_is_taken_out_with_the_grey():
    # The same flake, the card in shade: photon noise is then a larger share of its light and looks like flake.
    rng = np.random.default_rng(2)
    card = photographed(rng, 0.15 * flake_field(rng, 1.0), 0.07)
    car = photographed(rng, flake_field(rng, 1.0), 0.07)
    grey = photographed(rng, np.full((192, 192, 3), 0.18), 0.07)
    noisy, cleaned = compare_texture(card, car, RULES), compare_texture(card, car, RULES, grey)
    assert abs(np.log(cleaned.sharpness)) < 0.4 * abs(np.log(noisy.sharpness))
    assert abs(np.log(cleaned.coarseness.card_over_car)) < abs(np.log(noisy.coarseness.card_over_car))
    assert cleaned.coarseness.appearance is Appearance.NO_DIFFERENCE_SEEN


def test_flake_drowned_in_noise_is_not_compared():
    rng = np.random.default_rng(2)
    card = photographed(rng, 0.15 * flake_field(rng, 1.0), 0.3)
    grey = photographed(rng, np.full((192, 192, 3), 0.18), 0.3)
    found = compare_texture(card, flake_field(rng, 1.0), RULES, grey)
    assert [finding.code for finding in found.findings] == ["noise-drowns-flake"]


def test_solid_paint_has_no_flake():
    flat = np.full((200, 200, 3), 0.2)
    found = compare_texture(flat, flat, RULES)
    assert [finding.code for finding in found.findings] == ["no-flake"]
    assert found.as_dict()["coarseness"] is None


def test_a_reflection_in_one_corner_is_not_flake():
    rng = np.random.default_rng(4)
    card, car = flake_field(rng, 1.0), flake_field(rng, 1.0)
    card[:40, :40] *= np.linspace(1, 3, 40)[:, None, None] ** 2
    assert compare_texture(card, car, RULES).coarseness.appearance is Appearance.NO_DIFFERENCE_SEEN


def test_too_small_a_region_says_how_large_it_must_be():
    with pytest.raises(EvidenceError, match="mark at least 4 squares of 48 x 48 pixels"):
        compare_texture(np.ones((60, 60, 3)), np.ones((200, 200, 3)), RULES)
