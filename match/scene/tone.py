"""Tone curves of cameras, as simple published shapes, and the encodings of sRGB and Display P3.

A camera's own curve is not published. These shapes are the ones that photographic rendering is built from (a contrast
power about mid grey, a highlight shoulder, a toe, an S-curve on the encoded value); strengths are a choice, and the
ranges used are in ``calibration/scene.toml``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from match.scene.description import ToneCurve

Floats = NDArray[np.float64]

MID_GREY = 0.18
TABLE_SIZE = 1 << 16


def encode_srgb(linear: ArrayLike) -> Floats:
    """Return the encoded value 0..1 of linear light 0..1 (IEC 61966-2-1; Display P3 uses the same curve)."""
    linear = np.clip(np.asarray(linear, dtype=np.float64), 0.0, 1.0)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def encoded(linear: ArrayLike, tone: ToneCurve) -> Floats:
    """Return what the camera writes, 0..1, for linear light (values above 1 are clipped by the sensor).

    In this order, with m = 0.18 the grey that keeps its place:

    - contrast g: y = m (x/m)^g;
    - toe t: y = x^2 / (x + t m), shadows fall, then scaled to keep m;
    - shoulder s: y = x (1 + s) / (1 + s x), the Naka-Rushton or Reinhard roll-off scaled to end at 1, then exposed so
      that m keeps its place (highlights above are compressed, and clip less);
    - encoding by sRGB's curve;
    - sigmoid k: y = (S(e) - S(0)) / (S(1) - S(0)), S(e) = 1 / (1 + exp(-k (e - p))), with p chosen as the encoded mid
      grey, then bent by a power so that mid grey keeps its place.
    """
    x = np.clip(np.asarray(linear, dtype=np.float64), 0.0, 1.0)
    x = MID_GREY * (x / MID_GREY) ** tone.contrast
    if tone.toe > 0:
        x = x**2 / (x + tone.toe * MID_GREY) * (1 + tone.toe)
    if tone.shoulder > 0:
        x = _shoulder(x, tone.shoulder)
    e = encode_srgb(x)
    return _sigmoid(e, tone.sigmoid) if tone.sigmoid > 0 else e


def _shoulder(x: Floats, strength: float) -> Floats:
    """Roll highlights off; ``gain`` solves shoulder(gain * m) = m."""
    gain = 1 / (1 + strength - strength * MID_GREY)
    scaled = gain * x
    return np.asarray((1 + strength) * scaled / (1 + strength * scaled))


def _sigmoid(e: Floats, strength: float) -> Floats:
    pivot = float(encode_srgb(MID_GREY))

    def curve(value: ArrayLike) -> Floats:
        low, high = (1 / (1 + np.exp(-strength * (end - pivot))) for end in (0.0, 1.0))
        return np.asarray((1 / (1 + np.exp(-strength * (np.asarray(value) - pivot))) - low) / (high - low))

    power = np.log(pivot) / np.log(float(curve(pivot)))
    return np.asarray(curve(e) ** power)


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
