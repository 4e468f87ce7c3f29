"""Flat pictures with chosen reflectances, as files: for pages and commands that read photos."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from PIL import ExifTags, Image

from tests.support.png import png
from tests.support.synthetic import roughness, srgb_encode

GREYS = {0.05: (40, 460), 0.18: (190, 460), 0.6: (340, 460)}
"""Grey steps by luminous reflectance, each 110 pixels square at this corner."""
FIRST, SECOND = (100, 120, 180, 180), (420, 120, 180, 180)
"""Two places beside one another, as X, Y, width, height."""
SIZE = (700, 600)


def picture(first, second, ground=(0.3, 0.3, 0.3), camera: str | None = None, grain: int = 7, greys=GREYS) -> bytes:
    """Return a PNG of two places of linear sRGB reflectance on a ground, with grey steps below (IEC 61966-2-1)."""
    return _drawn(tuple(first), tuple(second), tuple(ground), camera, grain, tuple(greys.items()))


@lru_cache(maxsize=16)
def _drawn(first, second, ground, camera, grain, greys) -> bytes:
    linear = np.tile(np.array(ground, dtype=float), (SIZE[1], SIZE[0], 1))
    for place, colour in ((FIRST, first), (SECOND, second)):
        x, y, width, height = place
        linear[y - 20 : y + height + 20, x - 20 : x + width + 20] = colour
    for reflectance, (x, y) in greys:
        linear[y : y + 110, x : x + 110] = reflectance
    linear *= roughness(0.01, grain, linear.shape)
    exif = Image.Exif()
    if camera:
        exif[ExifTags.Base.Model] = camera
    codes = srgb_encode(linear)
    codes *= 255
    return png(np.rint(codes, out=codes), exif=exif)


def grey_marks(greys=GREYS) -> list[str]:
    """Return the grey steps as the command line takes them."""
    return [f"{x + 15},{y + 15},80,80@{reflectance}" for reflectance, (x, y) in greys.items()]


def typed(place) -> str:
    """Return a place as the command line takes it."""
    return ",".join(str(number) for number in place)


def fraction(kind: str, place, reflectance: float | None = None) -> dict:
    """Return a place as the browser sends it."""
    x, y, width, height = place
    mark = {"kind": kind, "x": x / SIZE[0], "y": y / SIZE[1], "width": width / SIZE[0], "height": height / SIZE[1]}
    return mark if reflectance is None else {**mark, "reflectance": reflectance}


def grey_fractions(greys=GREYS) -> list[dict]:
    """Return the grey steps as the browser sends them."""
    return [fraction("grey", (x + 15, y + 15, 80, 80), reflectance) for reflectance, (x, y) in greys.items()]
