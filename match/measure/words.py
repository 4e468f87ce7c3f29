"""Words for a colour difference, as ASTM D2244 words them, and what a size of difference means to an eye."""

from collections.abc import Sequence

import numpy as np

from match.colorimetry import Array
from match.words import listed

SURE_SD = 1.96
"""Standard deviations from the middle that hold 95 % of a normal distribution: beyond them a difference is sure."""

STRONG_CHROMA = 25.0
"""CIELAB chroma from which more or less chromatic says more than redder or yellower (engineering choice)."""


def off_by(card_lab: Array, vehicle_lab: Array, difference_sd: Array) -> tuple[str, ...]:
    """Return the ways in which the card is off, such as ``redder``; none for a difference inside its own uncertainty.

    ``difference_sd`` (3,) is the standard deviation of card minus vehicle in CIELAB; 95 % of it counts.
    """
    words = []
    for axis, (more, less) in worded_axes(vehicle_lab):
        along = float((card_lab - vehicle_lab) @ axis)
        if abs(along) > float(np.linalg.norm(SURE_SD * difference_sd * axis)):
            words.append(more if along > 0 else less)
    return tuple(words)


def direction(ways: Sequence[str]) -> str:
    """Say in which ways the card is off (see :func:`off_by`)."""
    if not ways:
        return "no direction seen: every difference is inside its own uncertainty"
    return f"the card is {listed(ways)} than the car"


def worded_axes(vehicle_lab: Array) -> tuple[tuple[Array, tuple[str, str]], ...]:
    """Return the directions in CIELAB that have words, each as (unit vector (3,), (word along it, word against it)).

    Lightness, red-green and yellow-blue; for strong colours lightness, chroma and the turn of hue (ASTM D2244 words
    both). The turn is named by the axis that it changes most.
    """
    lightness = (np.array([1.0, 0.0, 0.0]), ("lighter", "darker"))
    hues = (("redder", "greener"), ("yellower", "bluer"))
    chroma = float(np.hypot(vehicle_lab[1], vehicle_lab[2]))
    if chroma < STRONG_CHROMA:
        return lightness, (np.array([0.0, 1.0, 0.0]), hues[0]), (np.array([0.0, 0.0, 1.0]), hues[1])
    radial = np.array([0.0, vehicle_lab[1], vehicle_lab[2]]) / chroma
    turn = np.array([0.0, -radial[2], radial[1]])
    axis = 1 + int(np.argmax(np.abs(turn[1:])))
    return lightness, (radial, ("more chromatic", "less chromatic")), (turn * np.sign(turn[axis]), hues[axis - 1])


def difference_words(delta_e00: float, interval: tuple[float, float]) -> str:
    """Return a measured CIEDE2000 with its 95 % interval, to the hundredth, as the reasons of every verdict begin."""
    low, high = interval
    return f"Difference {delta_e00:.2f} CIEDE2000, 95 % sure between {low:.2f} and {high:.2f}"


def meaning(seeing: float, objecting: float) -> str:
    """Say what a difference looks like, side by side in good light, by the shares of viewers who see and reject it."""
    return f"side by side, {in_hundred(seeing)} viewers see it, and {in_hundred(objecting)} object to it"


def in_hundred(share: float) -> str:
    """Return a share of viewers as "about 21 in 100", never none and never all."""
    if share < 0.005:
        return "under 1 in 100"
    return "over 99 in 100" if share > 0.995 else f"about {100.0 * share:.0f} in 100"
