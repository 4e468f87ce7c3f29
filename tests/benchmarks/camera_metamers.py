"""How wrongly does a camera see two materials of nearly one colour? Where camera.toml's ``metamer_hue`` comes from.

    .venv/bin/python -m tests.benchmarks.camera_metamers

A camera is no eye: spectra that the eye sees alike it may see apart, and the other way about. Takes the published
reflectances that colour-science carries (the 99 of CIE 224:2017, three sets of chart patches, the samples of CIE 13.3
and of the colour quality scale), shows every two that lie near one another to the sensor with a mosaic of filters under
its lamps, and prints by how much its difference of the two is off (CIEDE2000), how much of that lies along one line and
that line's direction in the plane of a* and b* scaled to CIEDE2000. The matrix is the camera's own; no look is added.

Then takes off what the eye sees of the pairs in daylight, so that only a metameric black is left between them
(Wyszecki's, by the projection of Cohen and Kappauf 1982, Am J Psychol 95:537; from memory), and prints by how much the
camera's error along that line is another under another lamp. There the eye sees the pair in CIELAB under that lamp.
"""

from itertools import product

import numpy as np

from match.check.calibration_files import load_calibration
from match.colorimetry import Array, colour_science, delta_e00, lab_from_working, metric_root
from match.demo.scene.camera import display_colour, rendering_matrix, response_weights
from match.demo.scene.description import Camera
from match.tint.pigment import WAVELENGTHS_NM
from match.tint.viewing import lab_from_reflectance, viewing
from tests.benchmarks.camera_colour import LAMPS, SHARES

CHARTS = ("ISO 17321-1", "PMC", "BabelColor Average")
APART = ((2.0, 4.0), (4.0, 6.0), (6.0, 8.0), (8.0, 12.0))
"""True CIEDE2000 of the pairs. Nearer ones are nearly all one patch of a chart measured twice."""
FILTER_SHIFT_NM = 2.5
CAMERAS = 4
"""Cameras drawn about the measured sensor, for each share of the lamp's own matrix."""
LEAST_LINEAR = 0.01
"""A channel darker than this is at a display's edge, where the matrix errs by itself."""


def materials() -> Array:
    """Return (n, 31) published reflectances."""
    colour = colour_science()
    from colour.quality.cfi2017 import load_TCS_CIE2017
    from colour.quality.datasets import SDS_TCS, SDS_VS

    evaluated = load_TCS_CIE2017(colour.SPECTRAL_SHAPE_DEFAULT)
    found = [np.interp(WAVELENGTHS_NM, evaluated.wavelengths, column) for column in evaluated.values.T]
    tables = [colour.SDS_COLOURCHECKERS[name] for name in CHARTS] + [SDS_TCS["CIE 1995"], SDS_VS["NIST CQS 9.0"]]
    for sample in (sample for table in tables for sample in table.values()):
        values = np.interp(WAVELENGTHS_NM, sample.wavelengths, sample.values)
        found.append(values / 100.0 if values.max() > 1.5 else values)
    return np.array(found)


def seen_errors(reflectances: Array, first: Array, second: Array) -> Array:
    """Return (lamps and cameras, pairs, 3) by how much each pair's difference is off, along L*, a*, b* in CIEDE2000."""
    rng = np.random.default_rng(3)
    true = lab_from_working(display_colour(reflectances, "display-p3"))
    root = np.array([metric_root(middle) for middle in 0.5 * (true[first] + true[second])])
    errors = []
    for lamp, share in product([lamp for lamp in LAMPS if lamp != "A"], SHARES):
        seen = _seen(reflectances, _camera(share, rng), lamp)
        errors.append(np.einsum("pij,pj->pi", root, seen[first] - seen[second] - true[first] + true[second]))
    return np.array(errors)


def _camera(share: float, rng: np.random.Generator) -> Camera:
    red, green, blue = (float(value) for value in rng.normal(0.0, FILTER_SHIFT_NM, 3))
    return Camera(sensor=0, sensor_shift_nm=(red, green, blue), matrix_lamp_share=share, profile="display-p3")


def _seen(reflectances: Array, camera: Camera, lamp: str) -> Array:
    weights = response_weights(camera, lamp)
    linear = reflectances @ weights / weights.sum(axis=0) @ rendering_matrix(camera, lamp).T
    return lab_from_working(np.maximum(linear, 1e-4))


def metamers(reflectances: Array, first: Array, second: Array) -> tuple[Array, Array]:
    """Return (n, 31) twice: the first of each pair, and what differs from it as the second does but unseen in D65."""
    weights = viewing().weights
    black = np.eye(len(weights)) - weights @ np.linalg.pinv(weights)
    one = reflectances[first]
    other = one + (reflectances[second] - one) @ black
    possible = other.min(axis=1) > 0.0
    return one[possible], other[possible]


def changed_by_lamp(one: Array, other: Array, lamp: str, hue_deg: float) -> tuple[float, float]:
    """Return root mean squares along the line (CIEDE2000): the error in D65, and its change from there to the lamp."""
    rng = np.random.default_rng(4)
    hue = np.deg2rad(hue_deg)
    line = metric_root(lab_from_reflectance(one)).swapaxes(-1, -2) @ np.array([0.0, np.cos(hue), np.sin(hue)])
    cameras = [_camera(share, rng) for share in SHARES for _ in range(CAMERAS)]

    def errors(light: str) -> Array:
        true = lab_from_reflectance(other, viewing(light)) - lab_from_reflectance(one, viewing(light))
        seen = np.array([_seen(other, camera, light) - _seen(one, camera, light) for camera in cameras])
        return np.einsum("cpi,pi->cp", seen - true, line)

    daylight = errors("D65")
    return float(np.sqrt(np.mean(daylight**2))), float(np.sqrt(np.mean((errors(lamp) - daylight) ** 2)))


def main() -> None:
    reflectances = materials()
    linear = display_colour(reflectances, "display-p3")
    lab = lab_from_working(linear)
    first, second = np.triu_indices(len(lab), 1)
    apart, inside = delta_e00(lab[first], lab[second]), linear.min(axis=1) > LEAST_LINEAR
    for low, high in APART:
        near = (apart > low) & (apart <= high) & inside[first] & inside[second]
        errors = seen_errors(reflectances, first[near], second[near]).reshape(-1, 3)
        variance, axes = np.linalg.eigh(errors.T @ errors / len(errors))
        along = axes[:, -1] * np.sign(axes[2, -1])
        hue, share = np.degrees(np.arctan2(along[2], along[1])), variance[-1] / variance.sum()
        print(
            f"{near.sum():4d} pairs {low:g} to {high:g} apart: off by {np.sqrt(variance[-1]):.2f} along one line, "
            f"{share:.0%} of the variance, at {hue:.0f} degrees, {abs(along[0]):.2f} of it in lightness; across it by "
            + " and ".join(f"{size:.2f}" for size in np.sqrt(variance[:-1]))
        )
    known = load_calibration().camera.errors
    near = (apart > APART[0][0]) & (apart <= APART[-1][1]) & inside[first] & inside[second]
    one, other = metamers(reflectances, first[near], second[near])
    for lamp in (lamp for lamp in LAMPS if lamp != "D65"):
        daylight, changed = changed_by_lamp(one, other, lamp, known.metamer_hue)
        print(f"{len(one)} metamers: off by {daylight:.2f} in D65, under {lamp:6s} by {changed:.2f} otherwise")
    print(f"the calibration says {known.metamer_hue:g} degrees, {known.metamer_sd:g} and {known.other_pigments_sd:g}")


if __name__ == "__main__":
    main()
