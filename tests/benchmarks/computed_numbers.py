"""The numbers in ``calibration`` that are called computed and have no script of their own, computed again.

    .venv/bin/python -m tests.benchmarks.computed_numbers

Prints, each beside the value in use: how a lamp that a camera's colour matrix was not made for stretches the difference
of two like paints (``several.lights.lamp_stretch_sd``); by how much a toner recovered from one let-down errs in a mix
(``tint.limits.letdown_shape_sd``); and what castleCSF and Barten's sensitivity give for a straight change of colour
(``vision.ramp``). The paints are the invented ones of ``calibration/scene.toml``; the cameras' sensitivities, lamps and
Barten's formula are the published ones that colour-science carries. A few seconds.
"""

from __future__ import annotations

import numpy as np

from match import calibration as files
from match.blend.contrast import sensitivity
from match.blend.viewing import Vision
from match.colorimetry import colour_science, delta_e00, lab_from_working
from match.demo.scene.camera import display_colour, rendering_matrix, response_weights
from match.demo.scene.description import Camera
from match.several.lights import LightRules
from match.tint.card import CardColour
from match.tint.limits import TintLimits
from match.tint.own_toner import LetDown, measure_toner
from match.tint.pigment import (
    Toner,
    TonerFile,
    mixture,
    opaque_reflectance,
    paint_reflectance,
    surface_reflectance,
    toner_set,
)
from match.tint.viewing import lab_from_reflectance
from tests.support.random_scene import SceneFile

LAMPS = ("A", "FL2", "FL11", "LED-B3", "LED-B5", "D50")
PAIRS = 42
"""Pairs of like paints drawn of each recipe."""
NEAR = (0.5, 5.0)
"""CIEDE2000 between two paints that somebody would compare."""
WIDTHS_DEG = np.linspace(1.0, 12.0, 45)
LUMINANCE = 58.6
"""cd/m2 of a paint of L* 50 in the reference light of CIEDE2000, 1000 lx."""


def recipes() -> dict[str, dict[str, float]]:
    ranges = files.load(SceneFile, "scene").ranges
    return {name: dict(recipe.formula()) for name, recipe in ranges.recipes.items()}


def lamp_stretch(lamp: str, interpolates: bool, toners: TonerFile, rng: np.random.Generator) -> tuple[float, int]:
    """Return the root mean square error on a CIELAB axis of a pair's difference, as a share of it; and how many pairs.

    The camera is balanced on a grey; its matrix is daylight's, or part of the way to the lamp's own.
    """
    shelf, errors = toner_set(toners), []
    for recipe in recipes().values():
        parts = np.array(list(recipe.values()))
        for _ in range(PAIRS):
            one = parts * np.exp(rng.normal(0, 0.25, len(parts)))
            both = np.stack([one, one * np.exp(rng.normal(0, 0.12, len(parts)))])
            shares = both / both.sum(axis=1, keepdims=True)
            spectra = paint_reflectance([shelf[name] for name in recipe], shares, toners.optics)
            shift = tuple(float(value) for value in np.clip(rng.normal(0, 2.5, 3), -6, 6))
            share = rng.uniform(0.3, 1.0) if interpolates else 0.0
            camera = Camera(sensor=0, sensor_shift_nm=shift, matrix_lamp_share=share, profile="display-p3")
            weights = response_weights(camera, lamp)
            seen = (spectra @ weights / weights.sum(axis=0)) @ rendering_matrix(camera, lamp).T
            true = lab_from_working(display_colour(spectra, "display-p3"))
            if not NEAR[0] < delta_e00(true[0], true[1]) < NEAR[1]:
                continue
            found = lab_from_working(np.maximum(seen, 1e-6))
            change = (found[1] - found[0]) - (true[1] - true[0])
            errors.append(change / np.linalg.norm(true[1] - true[0]))
    return float(np.sqrt(np.mean(np.square(errors)))), len(errors)


def letdown_shape(toners: TonerFile, limits: TintLimits) -> tuple[float, int]:
    """Return the root mean square error (ln) of the effect of 1 % of a toner that one let-down was made of.

    Each toner but white is recovered as the smoothest spectrum from a let-down of 5 % in white without noise; counted
    are the mixes that it moves by 0.5 CIELAB or more.
    """
    shelf, optics = toner_set(toners), toners.optics
    errors = []
    for name in [name for name in shelf if name != "white"]:
        lab = lab_from_reflectance(paint_reflectance([shelf[name], shelf["white"]], [0.05, 0.95], optics))
        letdown = LetDown(0.05, CardColour(lab, 0.3**2 * np.eye(3)))
        found = measure_toner("found", [letdown], shelf["white"], optics, limits).toner
        for recipe in recipes().values():
            true, ours = (_effect(toner, recipe, shelf, toners) for toner in (shelf[name], found))
            if true >= 0.5:
                errors.append(np.log(ours / true))
    return float(np.sqrt(np.mean(np.square(errors)))), len(errors)


def _effect(toner: Toner, recipe: dict[str, float], shelf: dict[str, Toner], toners: TonerFile) -> float:
    parts = np.array(list(recipe.values()))
    absorbed, scattered = mixture([shelf[name] for name in recipe], parts / parts.sum())
    more = absorbed + 0.01 * toner.absorption, scattered + 0.01 * toner.scattering
    one, two = (
        lab_from_reflectance(surface_reflectance(opaque_reflectance(*each), toners.optics))
        for each in ((absorbed, scattered), more)
    )
    return float(np.linalg.norm(two - one))


def straight_change(frequency: np.ndarray, gain: np.ndarray) -> np.ndarray:
    """Return the visibility of a straight change of each of ``WIDTHS_DEG`` against an abrupt one.

    The most visible frequency of each decides, an edge's spectrum being that of a step times sinc of its width.
    """
    seen = [float((gain * np.abs(np.sinc(frequency * width))).max()) for width in WIDTHS_DEG]
    return np.array(seen) / gain.max()


def barten(field_deg: float) -> np.ndarray:
    contrast = colour_science().contrast
    pupil = contrast.pupil_diameter_Barten1999(LUMINANCE, field_deg)
    blur = contrast.sigma_Barten1999(0.5 / 60.0, 0.08 / 60.0, pupil)
    light = contrast.retinal_illuminance_Barten1999(LUMINANCE, pupil)
    u = np.geomspace(0.005, 40.0, 4000)
    gain = contrast.contrast_sensitivity_function_Barten1999(u, sigma=blur, X_0=field_deg, E=light)
    return straight_change(u, gain)


def main() -> None:
    rng, toners = np.random.default_rng(5), files.load(TonerFile, "toners")
    in_use = files.load(LightRules, "several", "lights").lamp_stretch_sd
    for lamp in LAMPS:
        (own, pairs), (daylight, _) = (lamp_stretch(lamp, each, toners, rng) for each in (True, False))
        print(f"lamp_stretch_sd under {lamp:6s} {own:.3f} with an own matrix, {daylight:.3f} with daylight's ({pairs})")
    print(f"lamp_stretch_sd in use {in_use:.3f}")
    limits = files.load(TintLimits, "tint", "limits")
    found, mixes = letdown_shape(toners, limits)
    print(f"letdown_shape_sd {found:.3f} over {mixes} mixes, in use {limits.letdown_shape_sd:.3f}")
    vision = files.load(Vision, "vision")
    ramp = vision.ramp
    u = np.geomspace(0.001, 16.0, 4000)
    gains = sensitivity(u, LUMINANCE, vision.eye.edge.area, vision.eye)
    fits = (
        ("lightness", 0, None),
        ("red-green", 1, (ramp.red_green_corner, ramp.red_green_exponent)),
        ("yellow-violet", 2, (ramp.yellow_violet_corner, ramp.yellow_violet_exponent)),
    )
    for name, index, fit in fits:
        seen = straight_change(u, gains[:, index])
        if fit is None:
            print(f"castleCSF {name}: {np.median(WIDTHS_DEG * seen):.3f}/W")
        else:
            off = np.abs((1.0 + WIDTHS_DEG / fit[0]) ** -fit[1] - seen).max()
            print(f"castleCSF {name}: the law in use is off by at most {off:.4f}")
    factors = [float(np.median(WIDTHS_DEG * barten(field))) for field in (10.0, 20.0, 60.0)]
    print(f"Barten, fields of 10, 20 and 60 degrees: {', '.join(f'{each:.3f}/W' for each in factors)}")
    print(f"achromatic_width_low in use {ramp.achromatic_width_low:.2f}")


if __name__ == "__main__":
    main()
