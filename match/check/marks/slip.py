"""One slip that marks may have, with its odds."""

from dataclasses import dataclass, field

import numpy as np

from match.measure.finding import Code
from match.photo.regions import Region


@dataclass(frozen=True)
class Slip:
    """One slip and how likely it is.

    Attributes
    ----------
    code, regions, values : what would be said of it
    log_odds : of this slip against right marks
    mend : all marks as they would be without the slip, where that can be said; else empty. A person's word
        on a mark goes when the mark is changed: it was given on what it said
    others : of a grey's figure, the steps that it may be instead, each with its log odds against what is stated
    if_white : the log odds, were something white seen in the frame that fits what is stated
    spoken : whether a person's word speaks against this slip, and is counted in its odds
    """

    code: Code
    regions: tuple[Region, ...]
    log_odds: float
    values: dict[str, float] = field(default_factory=dict)
    mend: tuple[Region, ...] = ()
    others: tuple[tuple[float, float], ...] = ()
    if_white: float = np.inf
    spoken: bool = False

    @property
    def is_carried(self) -> bool:
        """Whether the figures bear the slip themselves: they then hold for every step that the grey may be."""
        return self.spoken and bool(self.others) and self.log_odds < 0.0

    def alone(self) -> float:
        """Return the probability of this slip against right marks, if there were no other."""
        return float(1.0 / (1.0 + np.exp(-self.log_odds)))


def prior(share: float, ways: int = 1) -> float:
    """Return the log odds of a slip that a share of photos has, in one of so many ways."""
    return float(np.log(share / max(ways, 1)))


def without(regions: tuple[Region, ...], place: int) -> tuple[Region, ...]:
    """Return the marks with one left out."""
    return tuple(region for index, region in enumerate(regions) if index != place)
