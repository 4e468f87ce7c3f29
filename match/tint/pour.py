"""A mix as it is weighed: pours in grams on the scale's steps, with the running total that the scale shows."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from match.record import Record
from match.tint.metamerism import LampShift
from match.tint.units import parts_to_grams, round_to_scale

BINDER = "clear binder"
"""What the formula's toners do not make up; weighed last."""


@dataclass(frozen=True)
class Pour(Record):
    """One toner of a pour list.

    Attributes
    ----------
    name : toner
    g : grams to pour
    running_total_g : what the scale shows afterwards, set to zero with the can on it
    percent, percent_before : of the toner in the whole mix, after and before, by weight
    in_formula : whether the formula names it
    """

    name: str
    g: float
    running_total_g: float
    percent: float
    percent_before: float
    in_formula: bool


@dataclass(frozen=True)
class NextMix(Record):
    """The next mix.

    Attributes
    ----------
    toners : pours in their order
    on_top : whether they go on top of what is in the pot; else into a fresh can
    binder_g : clear binder poured last, g
    poured_g : all pours together
    total_g : paint in the can afterwards
    expected_difference, low, high : CIEDE2000 from the car to expect, and its middle 90 %
    chance_within_goal : 0..1
    foreign : toners in it that the formula does not name
    lamps : how far the match may part under each lamp
    gain : CIEDE2000 that the foreign toners are expected to gain
    """

    toners: tuple[Pour, ...]
    on_top: bool
    binder_g: float
    poured_g: float
    total_g: float
    expected_difference: float
    low: float
    high: float
    chance_within_goal: float
    foreign: tuple[str, ...]
    lamps: tuple[LampShift, ...]
    gain: float

    @property
    def grams(self) -> dict[str, float]:
        """Return the grams of each toner."""
        return {pour.name: pour.g for pour in self.toners}


def fresh_can(shares: Mapping[str, float], total_g: float, step_g: float) -> dict[str, float]:
    """Return grams of each component on the scale's steps, adding up to the amount wanted; none is left at zero."""
    grams = parts_to_grams(shares, total_g, step_g)
    return {name: g for name, g in grams.items() if g > 0}


def on_top_of(held_g: Mapping[str, float], shares: Mapping[str, float], wanted_g: float) -> dict[str, float] | None:
    """Return the grams to pour on top of what a pot holds so that it becomes the mix, or nothing where it cannot.

    Parameters
    ----------
    held_g : grams of each toner in the pot
    shares : wanted shares by weight (sum 1)
    wanted_g : least weight of the pot afterwards
    """
    if any(g > 0 and shares.get(name, 0.0) <= 0 for name, g in held_g.items()):
        return None
    least = max([g / shares[name] for name, g in held_g.items() if g > 0] + [wanted_g])
    return {name: max(0.0, share * least - held_g.get(name, 0.0)) for name, share in shares.items()}


def running_totals(grams: Mapping[str, float], step_g: float) -> list[float]:
    """Return what the scale shows after each pour, in order, on its steps."""
    return [round_to_scale(float(total), step_g) for total in np.cumsum(list(grams.values()))]
