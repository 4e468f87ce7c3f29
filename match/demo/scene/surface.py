"""The light that reaches each place, what the clear coat mirrors there, and the texture of flake and ripple."""

import cv2
import numpy as np
from numpy.typing import NDArray

from match.demo.scene.description import Gloss, Layout, Light, Paint, Scene
from match.demo.scene.layout import Frame, card_tilt, panel_tilt
from match.demo.scene.paint import flop_factor
from match.demo.scene.settings import ScenePhysics

Pixels = NDArray[np.float32]
Tilt = tuple[Pixels, Pixels]

HAZE_SHARE = 0.015
"""Share of a mirrored lamp that the clear coat scatters around it; looks only."""


def smooth_noise(rng: np.random.Generator, frame: Frame, wavelength: float) -> Pixels:
    """Return noise (h, w) of mean 0 and standard deviation 1, smooth below ``wavelength`` frame widths."""
    step = max(1.0, wavelength * frame.width_px / 2)
    rows, columns = (int(np.ceil(n / step)) + 3 for n in (frame.y.size, frame.x.size))
    coarse = rng.standard_normal((rows, columns), dtype=np.float32)
    size = (int(columns * step), int(rows * step))
    fine = cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC)[: frame.y.size, : frame.x.size]
    return np.asarray(fine / np.float32(fine.std() + 1e-9), dtype=np.float32)


def direction(light: Light) -> tuple[float, float]:
    """Return the unit vector (right, up) towards the light, in the frame."""
    angle = np.radians(light.direction_deg)
    return float(np.cos(angle)), float(np.sin(angle))


def ripple(rng: np.random.Generator, frame: Frame, sd_deg: float, physics: ScenePhysics) -> Pixels:
    """Return orange peel (h, w) in degrees: long waves, and short ones of a third of their size (looks only)."""
    long = smooth_noise(rng, frame, 4 * physics.ripple_wavelength)
    short = smooth_noise(rng, frame, physics.ripple_wavelength)
    return np.asarray(np.float32(sd_deg) * (long + short / 3), dtype=np.float32)


def creases(rng: np.random.Generator, frame: Frame, wavelength: float) -> Pixels:
    """Return the shading (h, w) of crumpled paper, about -1 to 1: the slope of facets that meet in sharp folds."""
    facets = np.abs(smooth_noise(rng, frame, wavelength)) + 0.5 * np.abs(smooth_noise(rng, frame, wavelength / 2))
    slope = np.gradient(facets, axis=0) - 0.5 * np.gradient(facets, axis=1)
    return np.asarray(slope / np.float32(3 * slope.std()), dtype=np.float32)


def light_field(light: Light, frame: Frame) -> Pixels:
    """Return the light (h, w) across the frame, 1 at the centre before vignetting: plane, bowl and lens.

    Vignetting is 1 - v r^2 with r = 1 at the corner; the bowl 1 - q (d / 0.5)^2 with d from the brightest place, scaled
    to 1 at the frame's centre; the plane rises towards ``direction_deg``.
    """
    right, up = direction(light)
    x, y = frame.x - np.float32(0.5), np.float32(frame.middle_y) - frame.y
    plane = 1 + light.linear * (right * x + up * y)
    cx, cy = light.quadratic_centre

    def bowl(across: Pixels | float, down: Pixels | float) -> Pixels:
        return np.asarray(1 - 4 * light.quadratic * ((across - cx) ** 2 + (down - cy) ** 2), dtype=np.float32)

    lens = 1 - light.vignetting * (x**2 + y**2) / (0.25 + frame.middle_y**2)
    field = np.maximum(plane, 0.05) * np.maximum(bowl(frame.x, frame.y), 0.05) / bowl(0.5, frame.middle_y)
    return np.asarray(field * lens, dtype=np.float32)


def second_share(light: Light, frame: Frame) -> Pixels:
    """Return the share of the light (1, w) that is the second lamp's, 0..1."""
    share = light.second_share + light.second_slope * (frame.x - np.float32(0.5))
    return np.asarray(np.clip(share, 0, 1), dtype=np.float32)


def shading(light: Light, tilt: Tilt) -> Pixels:
    """Return Lambert's cosine for each tilt (h, w), relative to no tilt: cos(i - t) / cos(i), t towards the light."""
    right, up = direction(light)
    towards = np.radians(right * tilt[0] + up * tilt[1])
    incidence = np.radians(light.incidence_deg)
    return np.asarray(np.maximum(np.cos(incidence - towards) / np.cos(incidence), 0), dtype=np.float32)


def aspecular_angle(scene: Scene, frame: Frame, tilt: Tilt) -> Pixels:
    """Return the aspecular angle (h, w) in degrees: the view angle, less twice the tilt and once the view's own turn.

    A surface that leans towards the light, and a place nearer to it, are seen closer to the mirror direction.
    """
    right, up = direction(scene.light)
    field = np.float32(scene.layout.field_of_view_deg)
    turn = right * (frame.x - np.float32(0.5)) + up * (np.float32(frame.middle_y) - frame.y)
    return np.asarray(
        scene.paint.view_angle_deg - 2 * (right * tilt[0] + up * tilt[1]) - field * turn, dtype=np.float32
    )


def flake_body(body: Pixels, band: Pixels, paint: Paint, flop: float, angle: Pixels, physics: ScenePhysics) -> Pixels:
    """Return camera values (lamps, h, w, 3) of a flake paint at each place's aspecular angle.

    Parameters
    ----------
    body, band : (lamps, 3) of the paint's body and of its interference band at the view angle
    """
    factor = flop_factor(angle, flop, physics).astype(np.float32)
    result = body[:, None, None, :] * factor[..., None]
    if paint.pearl_strength > 0:
        fade = np.exp((np.float32(paint.view_angle_deg) - angle) / np.float32(physics.flop_decay_deg))
        result = result + band[:, None, None, :] * fade[..., None]
    return np.asarray(result, dtype=np.float32)


def flake_texture(rng: np.random.Generator, paint: Paint, frame: Frame) -> Pixels:
    """Return the brightness (h, w) of flake clusters, log-normal with mean 1."""
    size_px = paint.flake_px * frame.width_px / 1600
    noise = rng.standard_normal((frame.y.size, frame.x.size), dtype=np.float32)
    if size_px > 0.6:
        noise = np.asarray(cv2.GaussianBlur(noise, (0, 0), size_px / 2), dtype=np.float32)
        noise /= np.float32(noise.std())
    return np.asarray(np.exp(np.float32(paint.flake_sd) * noise - np.float32(paint.flake_sd**2 / 2)), dtype=np.float32)


def mirrored_direction(layout: Layout, frame: Frame, tilt: Tilt) -> Tilt:
    """Return the direction (right, up) in degrees that each place mirrors: the view's own turn and twice the tilt."""
    field = np.float32(layout.field_of_view_deg)
    return (
        np.asarray(field * (frame.x - np.float32(0.5)) + 2 * tilt[0], dtype=np.float32),
        np.asarray(field * (np.float32(frame.middle_y) - frame.y) + 2 * tilt[1], dtype=np.float32),
    )


def surroundings(gloss: Gloss, mirrored: Tilt) -> Pixels:
    """Return the smooth radiance (h, w) of the mirrored surroundings, never below 0."""
    right, up = gloss.surroundings_slope
    radiance = gloss.surroundings + (right * mirrored[0] + up * mirrored[1]) / np.float32(30)
    return np.asarray(np.maximum(radiance, 0), dtype=np.float32)


def mirrored_lamps(scene: Scene, frame: Frame, mirrored: Tilt) -> Pixels:
    """Return the radiance (h, w) of mirrored lamps: soft-edged boxes with a little haze around them."""
    total = np.zeros((frame.y.size, frame.x.size), dtype=np.float32)
    for lamp in scene.gloss.lamps:
        x0, y0 = _seen_at(scene.layout, frame, lamp.at, lamp.on_card)
        across = (mirrored[0] - np.float32(x0)) / np.float32(lamp.half_width_deg)
        bow = lamp.bow_deg * np.square((mirrored[0] - np.float32(x0)) / np.float32(15))
        along = (mirrored[1] - np.float32(y0) + bow) / np.float32(lamp.half_height_deg)
        box = np.exp(-np.square(np.square(np.square(across))) - np.square(np.square(along)))
        haze = np.exp(-np.square(across / 2) - np.square(along / 6))
        total += np.float32(lamp.radiance) * (box + np.float32(HAZE_SHARE) * haze)
    return total


def _seen_at(layout: Layout, frame: Frame, at: tuple[float, float], on_card: bool) -> tuple[float, float]:
    """Return the direction that is mirrored at one place."""
    spot = frame.at(at)
    mirrored = mirrored_direction(layout, spot, card_tilt(layout, spot) if on_card else panel_tilt(layout, spot))
    return float(mirrored[0].item()), float(mirrored[1].item())
