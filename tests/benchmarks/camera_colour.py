"""How wrong is a camera's colour matrix? Where ``errors.matrix_sd`` in ``calibration/camera.toml`` comes from.

    .venv/bin/python -m tests.benchmarks.camera_colour

Takes the measured camera sensitivities and the lamps that colour-science carries, shows each camera the 24-patch chart,
gives it the matrix a camera would use (made under D65, or part of the way to its lamp), and finds the matrix error that
keeps neutrals neutral and explains its colours best. Prints the size of that error, element by element, and how much of
it the Monte-Carlo's ``matrix_sd`` reproduces.
"""

from __future__ import annotations

from itertools import product

import numpy as np

from match.check.calibration_files import load_calibration
from match.demo.scene.camera import chart_colours, chart_reflectances, rendering_matrix, response_weights
from match.demo.scene.description import Camera

LAMPS = ("D65", "D50", "D75", "A", "FL2", "FL7", "FL11", "LED-B3", "LED-B5", "LED-V2")
SHARES = (0.3, 0.65, 1.0)


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


def main() -> None:
    rng = np.random.default_rng(5)
    errors = []
    for lamp in LAMPS:
        of_lamp = []
        for sensor, share in product((0, 1), SHARES):
            shift = tuple(float(value) for value in rng.normal(0, 2.5, 3))
            camera = Camera(sensor=sensor, sensor_shift_nm=shift, matrix_lamp_share=share, profile="display-p3")
            of_lamp.append(matrix_error(camera, lamp))
        errors += of_lamp
        print(f"{lamp:8s} elements, root mean square {np.sqrt(np.mean(np.square(of_lamp))):.3f}")
    everything = np.array(errors)
    rms = float(np.sqrt(np.mean(everything**2)))
    print(f"all      elements, root mean square {rms:.3f}, median {np.median(np.abs(everything)):.3f}")
    # independent elements of sd s, made neutral-keeping by taking off the row mean, have a mean square of 2/3 s^2
    print(f"that is independent elements of sd {rms / np.sqrt(2 / 3):.3f}")
    print(f"the calibration says {load_calibration().camera.errors.matrix_sd:.3f}")


if __name__ == "__main__":
    main()
