"""How this shop's eye compares with the tolerances, learned from outcomes; only ever offered, never applied.

A logistic curve gives the share of differences that hide: p(d) = 1 / (1 + exp(slope (d - midpoint))), d in CIEDE2000.
The published thresholds are the prior of its midpoint and slope; the posterior is summed on a grid, which needs no
sampler and is right for any number of outcomes, however few.

Two cautions belong beside every figure. Only differences that somebody dared to deliver were seen, so a point beyond
the greatest of them is the prior speaking. And each difference is taken as measured: its own uncertainty makes the true
curve somewhat steeper than the learned one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from match.calibration import quantity
from match.colorimetry import Array
from match.errors import StoreError
from match.history.records import Observed

_ROUGH = (61, 31)  # midpoints and slopes of the grid that finds where the weight is
_FINE = (181, 91)  # and of the one that is summed
_REACH_SD = 6.0  # of a normal distribution, 2e-9 lies beyond six standard deviations
_NEGLIGIBLE = 1e-10  # of the greatest density, below which the first grid is cut away
LOGIT_90 = float(np.log(9.0))  # the logit of 0.9


@dataclass(frozen=True)
class LearningRules:
    """The prior, and how much must have been seen before anything is offered.

    The midpoint's prior is normal (cut off at zero), the slope's log-normal about ``slope``.
    """

    midpoint: float = quantity("CIEDE2000")
    midpoint_sd: float = quantity("CIEDE2000")
    slope: float = quantity("1/CIEDE2000")
    slope_log_sd: float = quantity("ln ratio")
    least_outcomes: float = quantity("count")
    least_each_way: float = quantity("count")
    credible_share: float = quantity("share")


@dataclass(frozen=True)
class HeldCount:
    """How many differences from ``low`` (included) up to ``high`` hid, with the Wilson interval of their share."""

    low: float
    high: float
    held: int
    seen: int
    unsure: int
    interval: tuple[float, float] | None

    @property
    def total(self) -> int:
        """How many were decided either way."""
        return self.held + self.seen


@dataclass(frozen=True)
class Estimate:
    """The median of a posterior and the interval that holds its credible share."""

    median: float
    low: float
    high: float


@dataclass(frozen=True)
class Learned:
    """What the outcomes say.

    ``half`` is the difference of which half hide, ``ninety`` the one of which 90 % hide (never below zero); both are
    None until enough was seen. ``missing`` says in a sentence what is lacking, and is empty when nothing is.
    """

    held: int
    seen: int
    unsure: int
    greatest_difference: float
    half: Estimate | None
    ninety: Estimate | None
    missing: str


def counted(outcomes: Sequence[Observed], edges: Sequence[float], share: float = 0.95) -> tuple[HeldCount, ...]:
    """Count outcomes between rising edges of CIEDE2000, each with a Wilson score interval of confidence ``share``.

    Source: Wilson (1927), J. Am. Stat. Assoc. 22, 209, by way of ``scipy.stats``.

    Raises :class:`StoreError` when the edges do not rise.
    """
    if any(high <= low for low, high in pairwise(edges)):
        raise StoreError(f"the edges {list(edges)} do not rise: list them from small to great")
    counts = []
    for low, high in pairwise(edges):
        inside = [outcome.hidden for outcome in outcomes if low <= outcome.delta_e00 < high]
        held, seen, unsure = (inside.count(answer) for answer in ("yes", "no", "unsure"))
        counts.append(HeldCount(low, high, held, seen, unsure, _wilson(held, held + seen, share)))
    return tuple(counts)


def _wilson(held: int, total: int, share: float) -> tuple[float, float] | None:
    if total == 0:
        return None
    from scipy.stats import binomtest  # takes longer to import than all else of a history

    interval = binomtest(held, total).proportion_ci(share, method="wilson")
    return float(interval.low), float(interval.high)


def learn(outcomes: Sequence[Observed], rules: LearningRules) -> Learned:
    """Return what outcomes say about the difference that hides; "unsure" is counted but teaches nothing."""
    decided = [outcome for outcome in outcomes if outcome.hidden != "unsure"]
    differences = np.array([outcome.delta_e00 for outcome in decided], dtype=np.float64)
    held = np.array([outcome.hidden == "yes" for outcome in decided], dtype=bool)
    missing = _missing(held, rules)
    half, ninety = (None, None) if missing else points(differences, held, rules)
    return Learned(
        held=int(held.sum()),
        seen=int((~held).sum()),
        unsure=len(outcomes) - len(decided),
        greatest_difference=float(differences.max(initial=0.0)),
        half=half,
        ninety=ninety,
        missing=missing,
    )


def _missing(held: NDArray[np.bool_], rules: LearningRules) -> str:
    lacking = int(rules.least_outcomes) - len(held)
    if lacking > 0:
        return f"{lacking} more decided outcomes are needed before a tolerance can be offered"
    each = int(rules.least_each_way)
    if held.sum() < each or (~held).sum() < each:
        return (
            f"at least {each} outcomes that hid and {each} that were seen are needed before a tolerance can be offered"
        )
    return ""


def points(differences: Array, held: NDArray[np.bool_], rules: LearningRules) -> tuple[Estimate, Estimate]:
    """Return the posterior of the point where half hide, and of the point where 90 % hide, both in CIEDE2000.

    Parameters
    ----------
    differences, held
        Differences (n,) in CIEDE2000 and whether each hid (n,); n may be 0, which returns the prior.
    """
    midpoints, slopes = _whole_grid(rules)
    weights = _posterior(differences, held, rules, midpoints, slopes)
    midpoints, slopes = _zoomed(weights, midpoints, slopes)
    weights = _posterior(differences, held, rules, midpoints, slopes)
    ninety = np.maximum(midpoints[:, None] - LOGIT_90 / slopes[None, :], 0.0)
    half = _estimate(midpoints, weights.sum(axis=1), rules.credible_share)
    return half, _estimate(ninety, weights, rules.credible_share)


def _whole_grid(rules: LearningRules) -> tuple[Array, Array]:
    reach = _REACH_SD * rules.midpoint_sd
    midpoints = np.linspace(max(0.0, rules.midpoint - reach), rules.midpoint + reach, _ROUGH[0])
    spread = np.linspace(-_REACH_SD, _REACH_SD, _ROUGH[1]) * rules.slope_log_sd
    return midpoints, rules.slope * np.exp(spread)


def _posterior(
    differences: Array, held: NDArray[np.bool_], rules: LearningRules, midpoints: Array, slopes: Array
) -> Array:
    """Return posterior weights (midpoints, slopes) summing to 1; the slopes' grid is even in the logarithm."""
    log_weight = (
        -0.5 * ((midpoints[:, None] - rules.midpoint) / rules.midpoint_sd) ** 2
        - 0.5 * (np.log(slopes[None, :] / rules.slope) / rules.slope_log_sd) ** 2
    )
    signs = np.where(held, 1.0, -1.0)
    for difference, sign in zip(differences, signs, strict=True):
        log_weight -= np.logaddexp(0.0, sign * slopes[None, :] * (difference - midpoints[:, None]))
    weights = np.exp(log_weight - log_weight.max())
    return np.asarray(weights / weights.sum())


def _zoomed(weights: Array, midpoints: Array, slopes: Array) -> tuple[Array, Array]:
    """Return a fine grid over the part of the rough one that carries any weight, and one cell more either side."""
    worth = weights > _NEGLIGIBLE * weights.max()
    rows, columns = np.flatnonzero(worth.any(axis=1)), np.flatnonzero(worth.any(axis=0))
    first, last = max(rows[0] - 1, 0), min(rows[-1] + 1, len(midpoints) - 1)
    lowest, highest = max(columns[0] - 1, 0), min(columns[-1] + 1, len(slopes) - 1)
    return (
        np.linspace(midpoints[first], midpoints[last], _FINE[0]),
        np.geomspace(slopes[lowest], slopes[highest], _FINE[1]),
    )


def _estimate(values: Array, weights: Array, share: float) -> Estimate:
    """Return weighted quantiles, each value standing for the middle of its own weight."""
    order = np.argsort(values, axis=None, kind="stable")
    ordered, weight = values.ravel()[order], weights.ravel()[order]
    cumulative = np.cumsum(weight) - 0.5 * weight
    tail = 0.5 * (1.0 - share)
    low, median, high = np.interp([tail, 0.5, 1.0 - tail], cumulative, ordered)
    return Estimate(float(median), float(low), float(high))
