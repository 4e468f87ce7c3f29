"""How a camera's picture style bends light: slopes of published raw-to-JPEG curves, and how much of it phones do.

    .venv/bin/python -m tests.benchmarks.camera_tone basecurve.c

The argument is the file ``src/iop/basecurve.c`` of darktable's source, an open raw developer whose users publish in it
curves from linear raw to linear JPEG that they measured on their own cameras, as points (x, y). Prints, at the decoded
levels of ``bend_level`` in ``calibration/camera.toml``, the slope d log x / d log y of every curve, their mean and
spread, and the mean less its value at 18 % (``bend_slope``). Then it prints by how much a tone curve like that, decoded
as if it were not there, misses the difference of near patches of the 24-patch chart, and what the prior expects of
phones beside what was measured on 15 phone photos: ``slope_sd``, ``bend_mean`` and ``bend_sd`` make the two agree.
"""

from __future__ import annotations

import argparse
import re
from pathlib import Path

import numpy as np
from scipy.interpolate import PchipInterpolator

from match import calibration as files
from match.colorimetry import colour_science
from match.measure.tone import TonePrior

STEP = 0.25
TOP = -0.03
"""Log level just below full scale, where a slope ends."""
WHITE_OF_SATURATION = 0.707
"""A white's light over the sensor's saturation: half a stop of headroom (ISO 12232, from memory)."""
PHONES_MISS = 0.088
"""Median error of near-patch differences by tone alone over 15 phone photos: sqrt(11.6 %^2 - 7.6 %^2)."""
PHONES_MISS_95 = (0.25, 0.39)
"""The 95th percentile: sqrt(39 %^2 - 30 %^2), and 39 % if none of the 30 % was there with one grey."""


def measured_curves(source: str) -> list[np.ndarray]:
    """Return the points (n, 2) of each distinct curve in the table of measured cameras, without those at nothing."""
    table = source[source.index("basecurve_camera_presets[]") : source.index("basecurve_camera_presets_cnt")]
    curves: list[np.ndarray] = []
    for line in table.splitlines():
        if line.strip().startswith("//"):
            continue
        pairs = re.findall(r"\{\s*(\d\.\d+),\s*(\d\.\d+)\s*\}", line)
        points = np.array([[float(x), float(y)] for x, y in pairs])
        if not len(points):
            continue
        points = points[(points > 1e-4).all(axis=1)]
        points = points[np.concatenate([[True], np.diff(points[:, 1]) > 0])]
        if not any(np.array_equal(points, other) for other in curves):
            curves.append(points)
    return curves


def slopes(points: np.ndarray, levels: np.ndarray) -> np.ndarray:
    """Return d log light / d log decoded at log decoded levels, over half a log unit."""
    light = PchipInterpolator(np.log(points[:, 1]), np.log(points[:, 0]))
    above = np.minimum(levels + STEP, TOP)
    return (light(above) - light(levels - STEP)) / (above - levels + STEP)


def chart_slopes(points: np.ndarray) -> np.ndarray:
    """Return the slope at the chart's 24 luminances; a small difference there is missed by |slope - 1|."""
    colour = colour_science()
    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"].data
    light = np.log(WHITE_OF_SATURATION * np.array([xyy[2] for xyy in chart.values()]))
    decoded = PchipInterpolator(np.log(points[:, 0]), np.log(points[:, 1]))
    return 0.2 / (decoded(light + 0.1) - decoded(light - 0.1))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("file", type=Path)
    curves = measured_curves(parser.parse_args().file.read_text(encoding="utf-8"))
    prior = files.load(TonePrior, "camera", "tone")
    levels = np.array(prior.bend_level)
    every = np.array([slopes(points, levels) for points in curves])
    at_grey = np.mean([slopes(points, np.log([0.18]))[0] for points in curves])
    with np.printoptions(precision=2, suppress=True, linewidth=120):
        print(f"{len(curves)} curves; log decoded levels {levels}")
        print(every)
        print(f"mean   {every.mean(axis=0)}, at 18 % {at_grey:.2f}")
        print(f"spread {every.std(axis=0, ddof=1)}")
        print(f"bend_slope {every.mean(axis=0) - at_grey}, in use {np.array(prior.bend_slope)}")
    chart = np.array([chart_slopes(points) for points in curves])
    rng = np.random.default_rng(1)
    style = rng.normal(prior.bend_mean, prior.bend_sd, (2000, 1, 1))
    stray = prior.slope_sd * rng.standard_normal((2000, *chart.shape))
    expected = np.quantile(np.abs(style * (chart - 1.0) + stray), [0.5, 0.95])
    print(f"near patches of the chart missed by {np.median(np.abs(chart - 1.0)):.1%} (median) by a whole style")
    print(f"expected of phones by the prior: median {expected[0]:.1%}, 95th percentile {expected[1]:.1%}")
    print(f"measured: median {PHONES_MISS:.1%}, 95th percentile {PHONES_MISS_95[0]:.0%} to {PHONES_MISS_95[1]:.0%}")


if __name__ == "__main__":
    main()
