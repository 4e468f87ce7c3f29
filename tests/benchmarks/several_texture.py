"""Coarseness and sparkle of synthetic flake of known width, against flake 1 px wide, with unequal blur and noise.

    python -m tests.benchmarks.several_texture [pairs]

Flake is drawn as discs thrown at random on a grid four times finer than the picture, at one coverage, each of its own
brightness (log-normal). Left out: flake that overlaps and hides flake, colour, JPEG.
"""

from __future__ import annotations

import sys

import cv2
import numpy as np

from match import calibration as files
from match.several.texture import TextureRules, compare_texture

SIDE_PX, FINER, COVERAGE = 240, 4, 0.25


def flake_field(rng, width_px, blur_px=0.8, noise=0.0):
    """Return (240, 240, 3) linear light of flake of a known width."""
    size = SIDE_PX * FINER
    count = rng.poisson(COVERAGE * SIDE_PX**2 / (np.pi * width_px**2 / 4))
    columns, rows = rng.integers(size, size=(2, count))
    points = np.bincount(rows * size + columns, rng.lognormal(-0.32, 0.8, count), size**2)
    radius = width_px * FINER / 2
    reach = int(np.ceil(radius))
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = (x**2 + y**2 < radius**2).astype(np.float64)
    disc *= np.pi * radius**2 / disc.sum()  # the area of the true disc, whatever the grid makes of it
    field = cv2.filter2D(points.reshape(size, size), -1, disc, borderType=cv2.BORDER_REFLECT)
    image = field.reshape(SIDE_PX, FINER, SIDE_PX, FINER).mean(axis=(1, 3)) + 0.2
    image = 0.3 * cv2.GaussianBlur(image, (0, 0), blur_px)
    if noise:
        image = image + rng.standard_normal(image.shape) * np.sqrt(image) * noise
    return np.repeat(image[..., None], 3, axis=2).astype(np.float64)


def main() -> None:
    pairs = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    rules = files.load(TextureRules, "several", "texture")
    rng = np.random.default_rng(3)
    print("flake width  blur  noise   coarseness (90 % of pairs)   sparkle   smeared   coarser/finer/alike/not told")
    cases = [(1, 0.8, 0), (1, 0.9, 0), (1, 1.0, 0), (1, 1.2, 0), (1, 1.6, 0), (0.7, 0.8, 0), (1.2, 0.8, 0)]
    cases += [(1.4, 0.8, 0), (2, 0.8, 0), (3, 0.8, 0), (4, 0.8, 0), (1, 0.8, 0.03), (1.4, 0.8, 0.03)]
    for width, blur, noise in cases:
        found = []
        for _ in range(pairs):
            grey = 0.18 + rng.standard_normal((120, 120, 1)) * np.sqrt(0.18) * noise
            crops = (flake_field(rng, width, blur, noise), flake_field(rng, 1.0, 0.8, noise))
            found.append(compare_texture(*crops, rules, np.repeat(grey, 3, axis=2) if noise else None))
        told = [one.coarseness for one in found if one.coarseness]
        ratios = [one.card_over_car for one in told] or [np.nan]
        sparkle = [one.sparkle.card_over_car for one in found if one.sparkle] or [np.nan]
        names = [one.appearance.value for one in told]
        calls = "/".join(str(names.count(name)) for name in ("more", "less", "no difference seen"))
        print(
            f"{width:8.1f} px {blur:5.1f} {noise:6.2f} {np.median(ratios):10.2f} ({np.quantile(ratios, 0.05):.2f} to "
            f"{np.quantile(ratios, 0.95):.2f}) {np.median(sparkle):14.2f} "
            f"{np.median([one.sharpness for one in found]):9.2f}   {calls}/{pairs - len(told)}"
        )


if __name__ == "__main__":
    main()
