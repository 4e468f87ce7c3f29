"""How wrong is a camera's colour matrix? Where ``errors.matrix_sd`` in ``calibration/camera.toml`` comes from.

    .venv/bin/python -m tests.benchmarks.camera_colour [sensitivities.csv ...]

Takes the measured camera sensitivities and the lamps that colour-science carries, shows each camera the 24-patch chart,
gives it the matrix a camera would use (made under D65, or part of the way to its lamp), and finds the matrix error that
keeps neutrals neutral and explains its colours best. Prints the size of that error, element by element, and how much of
it the Monte-Carlo's ``matrix_sd`` reproduces. Of the two sensors there one has a mosaic of filters, as phones have; the
other stacks its layers and is printed for itself. More cameras come as files of four columns, wavelength (nm), red,
green, blue; the folder ``cameras/eilat`` of the open collection github.com/hotgluebanjo/ssf-datasets holds such ones.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from itertools import product
from pathlib import Path
from unittest import mock

import numpy as np

from match.check.calibration_files import load_calibration
from match.demo.scene import camera as cameras
from match.demo.scene.camera import chart_colours, chart_reflectances, rendering_matrix, response_weights
from match.demo.scene.description import Camera

LAMPS = ("D65", "D50", "D75", "A", "FL2", "FL7", "FL11", "LED-B3", "LED-B5", "LED-V2")
SHARES = (0.3, 0.65, 1.0)
SENSORS = {"mosaic": 0, "stacked layers": 1}
SHIFTS = 3
"""Cameras drawn about each measured sensor, lamp and matrix: their filters are shifted by a few nm."""
OWN_SPREAD = np.sqrt(2.0 / 3.0)
"""Independent elements of sd s, made neutral-keeping by taking off the row mean, have a mean square of 2/3 s^2."""


def matrix_error(camera: Camera, lamp: str) -> np.ndarray:
    """Return E (3, 3), rows summing to zero, for which seen = (1 + E) true over the chart, weighed relative."""
    weights = response_weights(camera, lamp)
    balanced = chart_reflectances() @ weights / weights.sum(axis=0)
    seen = balanced @ rendering_matrix(camera, lamp).T
    true = chart_colours(camera.profile)
    error = np.zeros((3, 3))
    for channel in range(3):
        others = [other for other in range(3) if other != channel]
        weight = 1.0 / np.maximum(true[:, channel], 0.05)
        contrast = true[:, others] - true[:, [channel]]
        solution = np.linalg.lstsq(
            contrast * weight[:, None], (seen[:, channel] - true[:, channel]) * weight, rcond=None
        )
        error[channel, others] = solution[0]
        error[channel, channel] = -solution[0].sum()
    return error


def report(name: str, errors: Sequence[np.ndarray]) -> None:
    rms = float(np.sqrt(np.mean(np.square(errors))))
    print(f"{name:24s} root mean square {rms:.3f}, median {np.median(np.abs(errors)):.3f}: sd {rms / OWN_SPREAD:.3f}")


def measured_sensor(sensor: int) -> None:
    """Print the error of one of colour-science's sensors, lamp by lamp and over all."""
    rng = np.random.default_rng(5)
    errors = []
    for lamp in LAMPS:
        of_lamp = []
        for share, _ in product(SHARES, range(SHIFTS)):
            red, green, blue = (float(value) for value in rng.normal(0, 2.5, 3))
            camera = Camera(
                sensor=sensor, sensor_shift_nm=(red, green, blue), matrix_lamp_share=share, profile="display-p3"
            )
            of_lamp.append(matrix_error(camera, lamp))
        errors += of_lamp
        report(f"  {lamp}", of_lamp)
    report("  all lamps", errors)


def from_file(path: Path) -> None:
    """Print the error of a camera whose sensitivities a file holds."""
    table = np.loadtxt(path, delimiter=",")
    columns = [np.interp(cameras.FINE_NM, table[:, 0], table[:, 1 + c], left=0.0, right=0.0) for c in range(3)]
    known = cameras.measured_sensitivities
    own = 1000 + abs(hash(path))  # an index of its own: nothing remembered of another camera is taken for this one's

    def measured(sensor: int) -> np.ndarray:
        return np.maximum(np.stack(columns, axis=-1), 0.0) if sensor == own else known(sensor)

    with mock.patch.object(cameras, "measured_sensitivities", measured):
        errors = [
            matrix_error(Camera(sensor=own, matrix_lamp_share=share, profile="display-p3"), lamp)
            for lamp, share in product(LAMPS, SHARES)
        ]
    report(path.stem, errors)


def main() -> None:
    for name, sensor in SENSORS.items():
        print(f"{name}:")
        measured_sensor(sensor)
    for path in sys.argv[1:]:
        from_file(Path(path))
    print(f"the calibration says {load_calibration().camera.errors.matrix_sd:.3f}")


if __name__ == "__main__":
    main()
