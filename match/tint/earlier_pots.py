"""What a shop's earlier pots teach of its toners' strengths, as the shelf that the next pot begins with.

Every pot of known formula has learned each toner's strength in its own colour (:mod:`match.tint.whole_mix`). What its
cards alone say of it, the prior taken out, counts as a reading of the toner's strength in general; colours differ from
one another beyond that, since the model's spectra are not the paint's. Readings and prior are averaged by their
precision. Toners are taken one by one, so what pots know of their ratios is lost: the shelf learns less than it might,
never more.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from match.calibration import quantity
from match.errors import TintError
from match.tint.limits import TintLimits
from match.tint.mix_known import know_mix
from match.tint.shelf_file import Shelf
from match.tint.story import Story

MOST_POTS = 30
"""Engineering choice: the newest; each takes some hundredths of a second."""


@dataclass(frozen=True)
class EarlierRules:
    """Table ``earlier`` of ``calibration/tint.toml``."""

    colour_sd: float = quantity("ln")


@dataclass(frozen=True)
class Taught:
    """A shelf with what earlier pots taught, and how many did."""

    shelf: Shelf
    pots: int


def taught(shelf: Shelf, stories: Iterable[Story], limits: TintLimits, rules: EarlierRules) -> Taught:
    """Return the shelf with the strengths that earlier pots taught, and what is left in doubt of each.

    Parameters
    ----------
    shelf : as described
    stories : earlier pots, without the one that is to be tinted; one of unknown formula, or of toners that have left
        the shelf, teaches nothing
    limits : for the prior
    rules : by how much a toner's strength differs from colour to colour
    """
    readings: dict[str, list[tuple[float, float]]] = {}
    pots = 0
    for story in list(stories)[:MOST_POTS]:
        found = _readings(shelf, story, limits)
        pots += bool(found)
        for name, (mean, variance) in found.items():
            readings.setdefault(name, []).append((mean, 1.0 / (variance + rules.colour_sd**2)))
    toners, own_sd = dict(shelf.toners), dict(shelf.own_sd)
    for name, each in readings.items():
        precision = 1.0 / own_sd.get(name, limits.strength_sd) ** 2 + sum(weight for _, weight in each)
        shift = sum(mean * weight for mean, weight in each) / precision
        toners[name] = toners[name].with_strength(toners[name].strength * float(np.exp(shift)))
        own_sd[name] = float(precision**-0.5)
    return Taught(replace(shelf, toners=toners, own_sd=own_sd), pots)


def _readings(shelf: Shelf, story: Story, limits: TintLimits) -> dict[str, tuple[float, float]]:
    """Return what one pot's cards alone say of each toner's log-strength: mean and variance."""
    if story.mix.formula is None:
        return {}
    try:
        belief = know_mix(story.job(shelf), limits).belief
    except TintError:
        return {}
    found = {}
    for name, mean, sd, prior in zip(
        belief.names, belief.log_strengths, belief.log_strength_sd, belief.prior_sd, strict=True
    ):
        precision = 1.0 / sd**2 - 1.0 / prior**2
        if precision > 1e-6:
            found[name] = (float(mean / sd**2 / precision), float(1.0 / precision))
    return found


def same_pot(one: Story, other: Story) -> bool:
    """Return whether two stories begin with one and the same card."""
    return one.start.delta_lab == other.start.delta_lab and one.vehicle_lab == other.vehicle_lab
