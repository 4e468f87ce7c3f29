"""Weights as a paint shop writes them: grams, parts and percent by weight, rounded as a scale reads."""

from collections.abc import Mapping
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal

import numpy as np

from match.errors import TintError

MOST_G = 1e7
"""Ten tonnes: beyond it a number is no weight of paint."""


def round_to_scale(grams: float, step_g: float = 0.01) -> float:
    """Return ``grams`` at the nearest step of the scale, halves upwards (away from zero), as a scale's user rounds.

    Decimal arithmetic on the number as printed, so that 0.125 g and 2.675 g round up although binary fractions do not.
    """
    step = _step(step_g)
    return float((Decimal(str(_finite(grams))) / step).quantize(Decimal(1), rounding=ROUND_HALF_UP) * step)


def parts_to_grams(parts: Mapping[str, float], total_g: float, step_g: float = 0.01) -> dict[str, float]:
    """Return grams of each component on the scale's steps, adding up to the rounded total (largest remainder).

    Parameters
    ----------
    parts : parts by weight, >= 0, any scale
    total_g : weight of the whole mix, g
    step_g : step of the scale, g
    """
    shares = parts_to_shares(parts)
    step = _step(step_g)
    whole = int(Decimal(str(round_to_scale(total_g, step_g))) / step)
    exact = {name: Decimal(str(share)) * whole for name, share in shares.items()}
    floors = {name: int(value.to_integral_value(rounding=ROUND_FLOOR)) for name, value in exact.items()}
    missing = whole - sum(floors.values())
    by_remainder = sorted(exact, key=lambda name: exact[name] - floors[name], reverse=True)
    for name in by_remainder[:missing]:
        floors[name] += 1
    return {name: float(steps * step) for name, steps in floors.items()}


def parts_to_shares(parts: Mapping[str, float]) -> dict[str, float]:
    """Return shares by weight (sum 1) of parts by weight, percent or grams, which differ only in their total."""
    values = [_finite(value) for value in parts.values()]
    if not values or min(values) < 0 or sum(values) <= 0:
        raise TintError("a formula needs at least one component and no weight below zero: check the amounts")
    total = sum(values)
    return {name: value / total for name, value in zip(parts, values, strict=True)}


def shares_to_percent(shares: Mapping[str, float]) -> dict[str, float]:
    """Return percent by weight of shares by weight."""
    return {name: 100 * share for name, share in shares.items()}


def _finite(value: float) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float | np.number) or not np.isfinite(value):
        raise TintError(f"{value!r} is not a weight: give a number")
    if abs(value) > MOST_G:
        raise TintError(f"{value:g} g is more paint than any shop mixes: check the weight, it is in grams")
    return float(value)


def _step(step_g: float) -> Decimal:
    if _finite(step_g) <= 0:
        raise TintError(f"a scale with steps of {step_g!r} g cannot weigh: give a step above zero")
    return Decimal(str(float(step_g)))
