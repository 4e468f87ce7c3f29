"""Words for a colour difference, as ASTM D2244 words them, and what a size of difference means to an eye."""

from __future__ import annotations

import numpy as np

from match.measure.colorimetry import Array

STRONG_CHROMA = 25.0
"""CIELAB chroma from which more or less chromatic says more than redder or yellower (engineering choice)."""


def direction(card_lab: Array, vehicle_lab: Array, difference_sd: Array) -> str:
    """Say in which way the card is off; no word for a difference inside its own 95 % uncertainty.

    ``difference_sd`` (3,) is the standard deviation of card minus vehicle in CIELAB.
    """
    words = _words(card_lab - vehicle_lab, vehicle_lab, 1.96 * difference_sd)
    if not words:
        return "no direction seen: every difference is inside its own uncertainty"
    return f"the card is {_listed(words)} than the car"


def _words(difference: Array, vehicle_lab: Array, uncertainty: Array) -> list[str]:
    chroma = float(np.hypot(vehicle_lab[1], vehicle_lab[2]))
    words = []
    if abs(difference[0]) > uncertainty[0]:
        words.append("lighter" if difference[0] > 0 else "darker")
    if chroma >= STRONG_CHROMA:
        radial = vehicle_lab[1:] / chroma
        along = float(difference[1:] @ radial)
        if abs(along) > float(np.hypot(*(uncertainty[1:] * radial))):
            words.append("more chromatic" if along > 0 else "less chromatic")
        across = difference[1:] - along * radial
    else:
        across = difference[1:]
    for axis, (more, less) in ((0, ("redder", "greener")), (1, ("yellower", "bluer"))):
        dominant = chroma < STRONG_CHROMA or abs(across[axis]) >= abs(across[1 - axis])
        if dominant and abs(across[axis]) > uncertainty[1 + axis]:
            words.append(more if across[axis] > 0 else less)
    return words


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]


def meaning(difference: float, perceptibility: float, acceptability: float) -> str:
    """Say what a CIEDE2000 difference looks like, side by side in good light."""
    if difference < 0.5 * perceptibility:
        return "nobody sees this side by side"
    if difference < perceptibility:
        return "few people see this, even side by side with nothing between"
    if difference < acceptability:
        return "most people who look for it see this side by side; few object to it"
    if difference < 2.0 * acceptability:
        return "people see this without looking for it, and most object when the colours touch"
    return "anyone sees that these are two colours"
