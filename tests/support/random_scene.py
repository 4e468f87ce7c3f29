"""Draw a fair, realistic photograph at random: the scenes of the accuracy benchmark, and the ranges they come from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from match.calibration import quantity
from match.demo.scene.description import Camera, Gloss, Lamp, Layout, Light, Paint, Scene, ToneCurve
from match.demo.scene.settings import Colours, Recipe, ScenePhysics


@dataclass(frozen=True)
class LightRanges:
    """Ranges of uneven light; pairs are (least, most)."""

    linear: tuple[float, ...] = quantity("fraction of the light over the frame's width")
    quadratic: tuple[float, ...] = quantity("fraction of the light at half a frame width")
    vignetting: tuple[float, ...] = quantity("fraction of the light at the corner")
    second_share: tuple[float, ...] = quantity("fraction of the light")
    second_slope: tuple[float, ...] = quantity("fraction of the light over the frame's width")
    incidence_deg: tuple[float, ...] = quantity("deg")
    curvature_deg: tuple[float, ...] = quantity("deg over the frame's width")
    card_tilt_sd_deg: float = quantity("deg")
    card_follows: tuple[float, ...] = quantity("fraction")
    grey_tilt_sd_deg: float = quantity("deg")
    shadow_depth: tuple[float, ...] = quantity("fraction of the light")


@dataclass(frozen=True)
class GlossRanges:
    """Ranges of what the clear coat mirrors."""

    surroundings: tuple[float, ...] = quantity("radiance relative to a white in the same light")
    surroundings_slope_sd: float = quantity("radiance relative to a white in the same light, per 30 deg")
    tube_radiance: tuple[float, ...] = quantity("radiance relative to a white in the same light")
    tube_half_height_deg: tuple[float, ...] = quantity("deg")
    tube_half_width_deg: tuple[float, ...] = quantity("deg")
    diffuser_share: float = quantity("fraction of photos")
    diffuser_radiance: tuple[float, ...] = quantity("radiance relative to a white in the same light")
    diffuser_half_height_deg: tuple[float, ...] = quantity("deg")
    lamps: tuple[float, ...] = quantity("lamps")
    orange_peel_deg: tuple[float, ...] = quantity("deg")
    dust: tuple[float, ...] = quantity("specks")


@dataclass(frozen=True)
class CameraRanges:
    """Ranges of cameras and their rendering."""

    sensor_shift_sd_nm: float = quantity("nm")
    sensor_blur_nm: tuple[float, ...] = quantity("nm")
    matrix_lamp_share: tuple[float, ...] = quantity("fraction")
    white_balance_sd: float = quantity("fraction")
    saturation: tuple[float, ...] = quantity("factor")
    exposure_ev: tuple[float, ...] = quantity("EV")
    metering: tuple[float, ...] = quantity("fraction")
    plain_curve_share: float = quantity("fraction of photos")
    contrast: tuple[float, ...] = quantity("exponent")
    shoulder: tuple[float, ...] = quantity("1")
    toe: tuple[float, ...] = quantity("1")
    sigmoid: tuple[float, ...] = quantity("1")
    veiling_glare: tuple[float, ...] = quantity("fraction of the mean light")
    full_well_electrons: tuple[float, ...] = quantity("electrons")
    read_noise_electrons: tuple[float, ...] = quantity("electrons")
    blur_px: tuple[float, ...] = quantity("px")
    sharpening: tuple[float, ...] = quantity("factor")
    display_p3_share: float = quantity("fraction of photos")


@dataclass(frozen=True)
class SubjectRanges:
    """Ranges of what is photographed."""

    delta_e00: tuple[float, ...] = quantity("CIEDE2000")
    dense_below: float = quantity("CIEDE2000")
    dense_share: float = quantity("fraction of photos")
    metameric_share: float = quantity("fraction of photos")
    share_jitter_sd: float = quantity("log units")
    care_sd: float = quantity("log units")
    grey_error_sd: float = quantity("fraction")
    three_step_share: float = quantity("fraction of photos")
    three_steps: tuple[float, ...] = quantity("reflectance")
    single_grey: float = quantity("reflectance")
    flop: tuple[float, ...] = quantity("1")
    card_flop_ratio_sd: float = quantity("fraction")
    flake_sd: tuple[float, ...] = quantity("log units")
    pearl_strength: tuple[float, ...] = quantity("reflectance")


@dataclass(frozen=True)
class LampChoice:
    """A lamp and how often a photo is taken under it, relative to the others."""

    frequency: float = quantity("relative")


@dataclass(frozen=True)
class SceneRanges(Colours):
    """Everything :func:`random_scene` draws from."""

    light: LightRanges
    gloss: GlossRanges
    camera: CameraRanges
    subject: SubjectRanges
    lamps: dict[str, LampChoice]


@dataclass(frozen=True)
class SceneFile:
    """The whole of ``calibration/scene.toml``."""

    physics: ScenePhysics
    ranges: SceneRanges


def random_scene(rng: np.random.Generator, ranges: SceneRanges, size_px: tuple[int, int] = (1600, 1200)) -> Scene:
    """Draw a scene: a card on a panel, photographed with ordinary care in a booth, a shop or outdoors.

    Lamps, cameras, tone curves, finishes, one grey or three, and a true CIEDE2000 of 0 to 6 (most below 4) are drawn
    independently from ``ranges`` (``calibration/scene.toml`` says what each is).
    """
    subject = ranges.subject
    three = rng.random() < subject.three_step_share
    light = _light(rng, ranges.light, ranges.lamps)
    care = float(np.exp(_Draw(rng).normal(subject.care_sd)))
    return Scene(
        paint=_paint(rng, subject, ranges.recipes),
        light=light,
        gloss=_gloss(rng, ranges.gloss, care),
        camera=_camera(rng, ranges.camera),
        layout=_layout(rng, ranges.light, three, care),
        greys=subject.three_steps if three else (subject.single_grey,),
        grey_error=(float(rng.normal(0, subject.grey_error_sd)), float(rng.normal(0, subject.grey_error_sd))),
        size_px=size_px,
        seed=int(rng.integers(2**31)),
    )


@dataclass(frozen=True)
class _Draw:
    """Shorthand for one generator."""

    rng: np.random.Generator

    def between(self, limits: tuple[float, ...]) -> float:
        """Return a number between the two limits."""
        return float(self.rng.uniform(limits[0], limits[1]))

    def mostly_low(self, limits: tuple[float, ...]) -> float:
        """Return a number between the two limits, half of the draws in the lowest quarter."""
        return float(limits[0] + (limits[1] - limits[0]) * self.rng.random() ** 2)

    def log_between(self, limits: tuple[float, ...]) -> float:
        """Return a number between two limits above zero, every octave as likely."""
        return float(np.exp(self.rng.uniform(np.log(limits[0]), np.log(limits[1]))))

    def normal(self, sd: float) -> float:
        """Return a number with mean 0, kept within two and a half standard deviations."""
        return float(np.clip(self.rng.normal(0, sd), -2.5 * sd, 2.5 * sd))


def _chosen(rng: np.random.Generator, choices: Mapping[str, Any]) -> str:
    frequency = np.array([choice.frequency for choice in choices.values()])
    return str(rng.choice(list(choices), p=frequency / frequency.sum()))


def _paint(rng: np.random.Generator, subject: SubjectRanges, recipes: Mapping[str, Recipe]) -> Paint:
    draw = _Draw(rng)
    recipe = recipes[_chosen(rng, recipes)]
    formula = tuple(
        (name, parts * float(np.exp(draw.normal(subject.share_jitter_sd)))) for name, parts in recipe.formula()
    )
    dense = rng.random() < subject.dense_share
    limits = (subject.delta_e00[0], subject.dense_below) if dense else (subject.dense_below, subject.delta_e00[1])
    wanted = draw.between(limits)
    others = recipe.card_toners() if rng.random() < subject.metameric_share else ()
    if recipe.finish == "solid":
        return Paint(formula, wanted, others)
    pearl = recipe.finish == "pearl"
    return Paint(
        formula,
        wanted,
        others,
        finish="pearl" if pearl else "metallic",
        flop=draw.between(subject.flop) * (0.4 if pearl else 1.0),
        card_flop_ratio=1 + draw.normal(subject.card_flop_ratio_sd),
        flake_sd=draw.between(subject.flake_sd) * (0.5 if pearl else 1.0),
        pearl_strength=draw.between(subject.pearl_strength) if pearl else 0.0,
    )


def _light(rng: np.random.Generator, limits: LightRanges, lamps: Mapping[str, LampChoice]) -> Light:
    draw = _Draw(rng)
    mixed = rng.random() < 0.4
    return Light(
        lamp=_chosen(rng, lamps),
        second_lamp="D65" if mixed else "",
        second_share=draw.between(limits.second_share) if mixed else 0.0,
        second_slope=draw.between(limits.second_slope) if mixed else 0.0,
        linear=draw.mostly_low(limits.linear),
        direction_deg=draw.between((0.0, 180.0)),
        quadratic=draw.mostly_low(limits.quadratic),
        quadratic_centre=(draw.between((0.2, 0.8)), draw.between((0.0, 0.5))),
        vignetting=draw.between(limits.vignetting),
        incidence_deg=draw.between(limits.incidence_deg),
        shadow_depth=draw.between(limits.shadow_depth),
    )


def _gloss(rng: np.random.Generator, limits: GlossRanges, care: float) -> Gloss:
    draw = _Draw(rng)
    count = int(rng.integers(int(limits.lamps[0]), int(limits.lamps[1]) + 1))
    lamps = [_tube(draw, limits) for _ in range(count)]
    if rng.random() < limits.diffuser_share:
        lamps.append(_diffuser(draw, limits))
    slope = (
        care * draw.normal(limits.surroundings_slope_sd),
        care * draw.normal(limits.surroundings_slope_sd),
    )
    return Gloss(
        surroundings=draw.mostly_low(limits.surroundings),
        surroundings_slope=slope,
        lamps=tuple(lamps),
        orange_peel_deg=draw.between(limits.orange_peel_deg),
        dust_per_frame=int(draw.between(limits.dust)),
    )


def _tube(draw: _Draw, limits: GlossRanges) -> Lamp:
    """Draw a tube or strip, mirrored above or below the card: a careful person has moved until it is not on it."""
    above = draw.between((0.0, 1.0)) < 0.6
    return Lamp(
        at=(draw.between((0.2, 0.8)), draw.between((0.12, 0.17) if above else (0.60, 0.70))),
        half_height_deg=draw.between(limits.tube_half_height_deg),
        half_width_deg=draw.between(limits.tube_half_width_deg),
        radiance=draw.log_between(limits.tube_radiance),
        bow_deg=draw.between((0.0, 0.8)),
    )


def _diffuser(draw: _Draw, limits: GlossRanges) -> Lamp:
    """Draw a broad bright ceiling or window, mirrored near the panel's upper edge."""
    return Lamp(
        at=(draw.between((0.35, 0.65)), draw.between((0.08, 0.13))),
        half_height_deg=draw.between(limits.diffuser_half_height_deg),
        half_width_deg=40.0,
        radiance=draw.log_between(limits.diffuser_radiance),
        bow_deg=draw.between((0.0, 1.2)),
    )


def _camera(rng: np.random.Generator, limits: CameraRanges) -> Camera:
    """Draw a camera: the measured sensor with a filter mosaic, its filters shifted and widened.

    The other measured sensor in colour-science stacks its layers; its colour matrix multiplies every error several
    times, unlike a phone's, so it is left for single scenes.
    """
    draw = _Draw(rng)
    shift = (draw.normal(limits.sensor_shift_sd_nm), draw.normal(limits.sensor_shift_sd_nm))
    return Camera(
        sensor=0,
        sensor_shift_nm=(shift[0], draw.normal(limits.sensor_shift_sd_nm), shift[1]),
        sensor_blur_nm=draw.between(limits.sensor_blur_nm),
        matrix_lamp_share=draw.between(limits.matrix_lamp_share),
        white_balance_error=(draw.normal(limits.white_balance_sd), draw.normal(limits.white_balance_sd)),
        saturation=draw.between(limits.saturation),
        exposure_ev=draw.between(limits.exposure_ev),
        metering=draw.between(limits.metering),
        tone=_tone(rng, limits),
        veiling_glare=draw.between(limits.veiling_glare),
        full_well_electrons=draw.log_between(limits.full_well_electrons),
        read_noise_electrons=draw.between(limits.read_noise_electrons),
        blur_px=draw.between(limits.blur_px),
        sharpening=draw.between(limits.sharpening),
        profile="display-p3" if rng.random() < limits.display_p3_share else "srgb",
    )


def _tone(rng: np.random.Generator, limits: CameraRanges) -> ToneCurve:
    draw = _Draw(rng)
    if rng.random() < limits.plain_curve_share:
        return ToneCurve()
    return ToneCurve(
        contrast=draw.between(limits.contrast),
        shoulder=draw.between(limits.shoulder),
        toe=draw.between(limits.toe),
        sigmoid=draw.between(limits.sigmoid),
    )


def _layout(rng: np.random.Generator, limits: LightRanges, three_steps: bool, care: float) -> Layout:
    draw = _Draw(rng)
    y = 0.40 + draw.between((-0.03, 0.03))
    x = 0.55 + draw.between((-0.03, 0.03))
    width = draw.between((0.17, 0.22))
    grey_size = (draw.between((0.06, 0.09)), draw.between((0.16, 0.22))) if three_steps else (0.12, 0.16)
    return Layout(
        card_centre=(x, y),
        card_size=(width, width * draw.between((1.25, 1.5))),
        card_angle_deg=draw.normal(3.0),
        card_tilt_deg=(care * draw.normal(limits.card_tilt_sd_deg), care * draw.normal(limits.card_tilt_sd_deg)),
        card_follows=draw.between(limits.card_follows),
        grey_centre=(draw.between((0.20, 0.24)), y + draw.between((-0.04, 0.04))),
        grey_size=grey_size,
        grey_angle_deg=draw.normal(3.0),
        grey_tilt_deg=(draw.normal(limits.grey_tilt_sd_deg), draw.normal(limits.grey_tilt_sd_deg)),
        mirrored=bool(rng.random() < 0.5),
        panel_edge_y=draw.between((0.06, 0.10)),
        body_line_y=draw.between((0.64, 0.70)),
        body_line_deg=draw.between((2.0, 9.0)),
        gap_x=draw.between((0.88, 0.95)) if rng.random() < 0.7 else 1.5,
        curvature_deg=(draw.between(limits.curvature_deg), draw.between(limits.curvature_deg)),
        field_of_view_deg=draw.between((28.0, 50.0)),
    )
