"""The plain way to compare two paints in a photo: the yardstick that a better pipeline has to beat.

Decode sRGB, scale each channel so that one grey patch reads its reflectance, average each region's pixels between the
5th and the 80th percentile of luminance, average the vehicle's regions, and take CIEDE2000. No light field, no tone
curve.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from match.colorimetry import colour_science
from match.photo.regions import Kind, Region

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1
MID_GREY = 0.18


def plain_delta_e00(image: NDArray[np.uint8], regions: Sequence[Region]) -> float:
    """Return CIEDE2000 between card and vehicle in an sRGB photo (h, w, 3) of eight bits.

    Of several greys the one nearest to 18 % is used.
    """
    greys = [region for region in regions if region.kind is Kind.GREY]
    grey = min(greys, key=lambda region: abs(np.log((region.reflectance or MID_GREY) / MID_GREY)))
    gain = (grey.reflectance or MID_GREY) / _linear(image, grey).mean(axis=0)
    card, *_ = (_trimmed_mean(_linear(image, r)) * gain for r in regions if r.kind is Kind.CARD)
    vehicle = np.mean([_trimmed_mean(_linear(image, r)) * gain for r in regions if r.kind is Kind.VEHICLE], axis=0)
    colour = colour_science()
    card_lab, vehicle_lab = (colour.XYZ_to_Lab(colour.RGB_to_XYZ(rgb, "sRGB")) for rgb in (card, vehicle))
    return float(colour.difference.delta_E_CIE2000(card_lab, vehicle_lab))


def _linear(image: NDArray[np.uint8], region: Region) -> NDArray[np.float64]:
    """Return linear light (n, 3) of a region's pixels (IEC 61966-2-1)."""
    pixels = image[region.y : region.y + region.height, region.x : region.x + region.width].reshape(-1, 3) / 255.0
    return np.where(pixels <= 0.04045, pixels / 12.92, ((pixels + 0.055) / 1.055) ** 2.4)


def _trimmed_mean(linear: NDArray[np.float64]) -> NDArray[np.float64]:
    luminance = linear @ LUMINANCE
    low, high = np.percentile(luminance, [5, 80])
    return np.asarray(linear[(luminance >= low) & (luminance <= high)].mean(axis=0))
