"""Boxes grown from a tap, on pictures whose surfaces are known because they were drawn here."""

import cv2
import numpy as np
import pytest

from match import calibration
from match.photo.proposals.tap import Doubt, TapSettings, grow

SETTINGS = calibration.load(TapSettings, "capture", "tap")
WIDE, HIGH = 480, 360
CARD = (170, 90, 90, 150)


@pytest.fixture
def rng():
    return np.random.default_rng(11)


def picture(rng, paint=(0.1, 0.2, 0.35), step=0.2, flake=0.0, noise=0.004):
    """Return linear light of a panel with a card ``step`` (natural logarithm) lighter."""
    light = np.ones((HIGH, WIDE, 3)) * np.array(paint)
    x, y, wide, high = CARD
    light[y : y + high, x : x + wide] *= np.exp(step)
    light *= np.exp(rng.normal(0, flake, (HIGH, WIDE, 1)) if flake else 0.0)
    light = cv2.GaussianBlur(light, (0, 0), 0.8)
    return (light * (1 + rng.normal(0, noise, light.shape))).astype(np.float32)


def in_px(box):
    return box.x * WIDE, box.y * HIGH, (box.x + box.width) * WIDE, (box.y + box.height) * HIGH


def share_on_card(box):
    left, top, right, bottom = in_px(box)
    x, y, wide, high = CARD
    across = max(min(right, x + wide) - max(left, x), 0)
    down = max(min(bottom, y + high) - max(top, y), 0)
    return across * down / ((right - left) * (bottom - top))


def middle_of_card():
    x, y, wide, high = CARD
    return (x + wide / 2) / WIDE, (y + high / 2) / HIGH


@pytest.mark.parametrize("step", [0.4, 0.1, 0.03])
def test_a_tap_on_the_card_fills_most_of_it_and_stays_on_it(rng, step):
    box = grow(picture(rng, step=step), middle_of_card(), SETTINGS)
    assert share_on_card(box) > 0.99
    assert box.width * box.height * WIDE * HIGH > 0.5 * CARD[2] * CARD[3]


def test_flake_stops_no_box_and_hides_no_card(rng):
    box = grow(picture(rng, step=0.15, flake=0.12), middle_of_card(), SETTINGS)
    assert share_on_card(box) > 0.95
    assert box.width * box.height * WIDE * HIGH > 0.3 * CARD[2] * CARD[3]


def test_a_card_as_bright_as_the_flake_ends_where_its_colour_changes(rng):
    light = picture(rng, step=0.0, flake=0.2, noise=0.003)
    x, y, wide, high = CARD
    light[y : y + high, x : x + wide] *= np.exp(np.float32([0.008, -0.008, 0.0]))
    assert share_on_card(grow(light, middle_of_card(), SETTINGS)) > 0.95


def test_a_step_far_below_the_noise_of_a_pixel_still_ends_the_box(rng):
    # One hundredth of the light under noise of five: no pixel shows it, the means of the two sides do.
    box = grow(picture(rng, step=0.015, noise=0.05), middle_of_card(), SETTINGS)
    assert share_on_card(box) > 0.95


def test_a_channel_lost_in_the_dark_hides_no_border_and_makes_no_holes(rng):
    light = picture(rng, paint=(0.008, 0.2, 0.35), step=0.03)
    light[..., 0] = np.maximum(light[..., 0] + rng.normal(0, 0.002, light.shape[:2]), 0)
    box = grow(light, middle_of_card(), SETTINGS)
    assert share_on_card(box) > 0.95
    assert box.width * box.height * WIDE * HIGH > 0.2 * CARD[2] * CARD[3]


def test_a_dark_step_is_told_from_the_dark_board_that_holds_it(rng):
    light = np.full((HIGH, WIDE, 3), 0.3)
    light[100:146, 100:146] = 0.034
    light[108:138, 108:138] = 0.030
    light = cv2.GaussianBlur(light, (0, 0), 0.8)
    light = (light + rng.normal(0, 0.0008, light.shape)).astype(np.float32)
    left, top, right, bottom = in_px(grow(light, (123 / WIDE, 123 / HIGH), SETTINGS))
    assert left > 107
    assert top > 107
    assert right < 139
    assert bottom < 139


def test_a_tap_in_the_corner_of_a_turned_step_means_the_step(rng):
    light = np.full((HIGH, WIDE, 3), 0.4, dtype=np.float32)
    corners = cv2.boxPoints(((240, 180), (60, 30), 14))
    cv2.fillConvexPoly(light, np.round(corners).astype(np.int32), (0.18, 0.18, 0.18))
    light = (light * (1 + rng.normal(0, 0.004, light.shape))).astype(np.float32)
    corner = corners[int(np.argmin(corners[:, 0]))]
    at = corner + 0.25 * (np.array([240, 180]) - corner)
    box = grow(light, (at[0] / WIDE, at[1] / HIGH), SETTINGS)
    left, top, right, bottom = in_px(box)
    assert (right - left) * (bottom - top) > 0.2 * 60 * 30
    inside = light[round(top) : round(bottom), round(left) : round(right)]
    assert inside.max() < 0.25


def test_a_tap_on_the_border_between_two_surfaces_asks_for_another(rng):
    x, y, _, high = CARD
    assert grow(picture(rng, step=0.2), (x / WIDE, (y + high / 2) / HIGH), SETTINGS) is None


def test_a_tap_beside_a_hidden_step_keeps_the_tapped_side(rng):
    x, y, wide, high = CARD
    light = picture(rng, step=0.015, noise=0.05)
    box = grow(light, ((x + wide + 14) / WIDE, (y + high / 2) / HIGH), SETTINGS)
    assert share_on_card(box) < 0.05


def test_light_that_falls_off_across_the_panel_is_no_edge(rng):
    fall = np.exp(np.linspace(-0.25, 0.25, WIDE))[None, :, None].astype(np.float32)
    box = grow(picture(rng, step=0.2) * fall, (0.8, 0.5), SETTINGS)
    assert in_px(box)[0] > CARD[0] + CARD[2]
    assert box.width > 0.1


def test_a_lamps_reflection_a_shadow_and_what_is_marked_already_are_kept_out(rng):
    light = picture(rng)
    light[140:200, 200:225] = 1.0
    light[:, 380:] *= 0.6
    reflection = grow(light, (0.5, 0.32), SETTINGS)
    assert in_px(reflection)[3] <= 140
    assert Doubt.GLARE in reflection.doubts
    shaded = grow(light, (0.72, 0.5), SETTINGS)
    assert in_px(shaded)[2] <= 380
    taken = (0.62, 0.0, 0.05, 1.0)
    beside = grow(light, (0.72, 0.5), SETTINGS, [taken])
    assert beside.x >= taken[0] + taken[2]


def test_a_border_that_hardly_shows_is_said(rng):
    assert Doubt.FAINT in grow(picture(rng, step=0.02), middle_of_card(), SETTINGS).doubts
    assert Doubt.FAINT not in grow(picture(rng, step=0.4), middle_of_card(), SETTINGS).doubts


def test_dust_under_the_finger_means_the_surface_around_it(rng):
    light = picture(rng)
    x, y = (round(value) for value in (middle_of_card()[0] * WIDE, middle_of_card()[1] * HIGH))
    light[y - 1 : y + 2, x - 1 : x + 2] = 0.6
    box = grow(light, middle_of_card(), SETTINGS)
    assert box is None or share_on_card(box) > 0.99


def test_nothing_grows_on_what_is_burnt_out_or_all_edge(rng):
    assert grow(np.ones((90, 120, 3)), (0.5, 0.5), SETTINGS) is None
    checks = np.indices((HIGH, WIDE)).sum(axis=0) // 3 % 2
    assert grow(np.repeat(0.05 + 0.5 * checks[..., None], 3, axis=-1), (0.5, 0.5), SETTINGS) is None


@pytest.mark.parametrize("size", [(1, 1), (1, 40), (12, 9)])
def test_a_tiny_picture_and_a_tap_on_its_border_break_nothing(size):
    for point in ((0.0, 0.0), (1.0, 1.0)):
        box = grow(np.full((*size, 3), 0.2), point, SETTINGS)
        assert box is None or (box.x >= 0 and box.x + box.width <= 1 and box.y >= 0 and box.y + box.height <= 1)
