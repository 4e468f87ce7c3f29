"""Tone curves of cameras, as simple published shapes, and the encodings of sRGB and Display P3.

A camera's own curve is not published. These shapes are the ones that photographic rendering is built from (a contrast
power about mid grey, a highlight shoulder, a toe, an S-curve on the encoded value); strengths are a choice, and the
ranges used are in ``calibration/scene.toml``.
"""

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from match.colorimetry import Array
from match.demo.scene.description import ToneCurve

MID_GREY = 0.18
TABLE_SIZE = 1 << 16
STRAIGHT = 1e-6
"""A toe or sigmoid weaker than this changes nothing to within rounding."""


def encode_srgb(linear: ArrayLike) -> Array:
    """Return the encoded value 0..1 of linear light 0..1 (IEC 61966-2-1; Display P3 uses the same curve)."""
    linear = np.clip(np.asarray(linear, dtype=np.float64), 0.0, 1.0)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def encoded(linear: ArrayLike, tone: ToneCurve) -> Array:
    """Return what the camera writes, 0..1, for light on the sensor, 1.0 = full scale (more is clipped).

    Every step maps 0 to 0 and 1 to 1, in this order, with m = 0.18:

    - contrast g: y = x^g, a straight line of slope g on logarithmic axes;
    - toe t: y = x^2 (1 + t m) / (x + t m), shadows fall;
    - shoulder s: y = x (1 + s) / (1 + s x), highlights are compressed (Naka and Rushton's, or Reinhard's, roll-off);
    - encoding by sRGB's curve;
    - sigmoid k: y = (S(e) - S(0)) / (S(1) - S(0)), S(e) = 1 / (1 + exp(-k (e - p))), p the encoded mid grey.

    A camera exposes so that mid grey comes out right: see :func:`mid_grey_exposure`.
    """
    x = np.clip(np.asarray(linear, dtype=np.float64), 0.0, 1.0) ** tone.contrast
    if tone.toe > STRAIGHT:
        x = x**2 * (1 + tone.toe * MID_GREY) / (x + tone.toe * MID_GREY)
    if tone.shoulder > 0:
        x = x * (1 + tone.shoulder) / (1 + tone.shoulder * x)
    e = encode_srgb(x)
    return _sigmoid(e, tone.sigmoid) if tone.sigmoid > STRAIGHT else e


def _sigmoid(e: Array, strength: float) -> Array:
    pivot = float(encode_srgb(MID_GREY))
    low, high = (1 / (1 + np.exp(-strength * (end - pivot))) for end in (0.0, 1.0))
    return np.asarray((1 / (1 + np.exp(-strength * (e - pivot))) - low) / (high - low))


@cache
def mid_grey_exposure(tone: ToneCurve) -> float:
    """Return the exposure, relative to the plain curve's, at which this curve writes mid grey where the plain one does.

    Below 1 for a curve with a shoulder: the camera keeps room for highlights and lifts the middle again.
    """
    if tone == ToneCurve():
        return 1.0
    target = float(encode_srgb(MID_GREY))
    return float(brentq(lambda x: float(encoded(x, tone)) - target, 1e-4, 1.0)) / MID_GREY


def quantised(linear: NDArray[np.float32], tone: ToneCurve, bits: int) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Return the encoded image as whole numbers.

    At 8 bits by a table of 65 536 entries over the square root of linear light, whose steps are a twentieth of a code
    or finer; at 16 bits by the formula.
    """
    if bits == 16:
        return np.round(encoded(linear, tone) * 65535).astype(np.uint16)
    step = np.arange(TABLE_SIZE) / (TABLE_SIZE - 1)
    table = np.round(encoded(step**2, tone) * 255).astype(np.uint8)
    index = np.sqrt(np.clip(linear, 0.0, 1.0)) * np.float32(TABLE_SIZE - 1) + np.float32(0.5)
    return np.asarray(table[index.astype(np.uint16)])
