"""What a measurement says of the true difference: a confidence distribution made of the draws.

CIEDE2000 is a length, so noise lifts small differences. The interval and the probabilities therefore do not come from
the spread of the drawn differences but from a confidence distribution (Schweder and Hjort 2016, Confidence,
Likelihood, Probability, chapter 3): for every true size t in the measured direction, how often would a measurement come
out at least as large as this one? That function of t rises from the probability at zero to one; its median is the
estimate and its low quantile the lower limit.

A measurement that comes out smaller than the noise would make that curve claim a difference of nothing, surely. Upper
limits and the probabilities of the verdicts therefore take the ratio of chances P_t(smaller) / P_0(smaller) instead
(Read 2002, J Phys G 28:2693), which never claims more than the noise allows and is the same for larger differences.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from match.colorimetry import Array, delta_e00, metric_root
from match.measure.uncertainty import Draws

LEAST_STRETCH = 0.1
"""A true difference is never taken for less than this share of what is read: one lost whole could not be inverted."""

LEAST_UNDERCUT = 0.02
"""A measurement is never taken for smaller than this share of those of equal colours would come out,"""

FEWEST_UNDERCUT = 10
"""nor for smaller than so many of the draws."""

TAILS = 51
"""How many ways to share what an interval leaves out, between what lies below and above, are tried."""


@dataclass(frozen=True)
class ConfidenceCurve:
    """Confidence that the true CIEDE2000 is at most ``size`` (rising, from 0).

    ``unbiased`` is the confidence distribution; ``cautious`` the one for upper limits and verdicts.
    """

    size: Array
    unbiased: Array
    cautious: Array

    def at_most(self, limit: float) -> float:
        """Return the cautious probability that the true difference is at most ``limit``."""
        return float(np.clip(np.interp(limit, self.size, self.cautious), 0.0, 1.0))

    def perhaps_at_most(self, limit: float) -> float:
        """Return the unbiased probability that the true difference is at most ``limit``; never below the cautious."""
        return float(np.clip(np.interp(limit, self.size, self.unbiased), 0.0, 1.0))

    def as_dict(self) -> dict[str, list[float]]:
        """Return the curve for JSON, so that whoever reads it finds the same chances."""
        digits = {"size": self.size, "at_most": self.cautious, "perhaps_at_most": self.unbiased}
        return {key: [round(float(value), 5) for value in values] for key, values in digits.items()}

    @property
    def median(self) -> float:
        """The difference that the true one is as likely to exceed as not; 0 for a pair lost in noise."""
        return float(np.interp(0.5, self.unbiased, self.size))

    def interval(self, coverage: float) -> tuple[float, float]:
        """Return the shortest interval that holds the true difference with this confidence.

        Differences are lengths, so their confidence is skewed; what lies out to the right costs more width than it
        holds (JCGM 101:2008, 3.16 and 7.7, the shortest coverage interval; clauses from memory).
        """
        below = np.linspace(0.0, 1.0 - coverage, TAILS)
        low = np.interp(below, self.unbiased, self.size)
        high = np.interp(coverage + below, self.cautious, self.size)
        shortest = int(np.argmin(high - low))
        return float(low[shortest]), float(high[shortest])


def curve_of(sizes: Array) -> ConfidenceCurve:
    """Return the curve of differences (n,) that are each as likely as the others; of one it is a step."""
    ordered = np.sort(sizes)
    share = np.arange(len(ordered) + 1) / len(ordered)
    size = np.concatenate([[0.0], np.repeat(ordered, 2) * np.tile([1.0 - 1e-9, 1.0], len(ordered))])
    at_most = np.concatenate([[0.0], np.repeat(share, 2)[1:-1]])
    return ConfidenceCurve(size, at_most, at_most)


def confidence_curve(card_lab: Array, vehicle_lab: Array, draws: Draws) -> ConfidenceCurve:
    """Return the confidence distribution of the true CIEDE2000, given the best estimates (3,) and the draws."""
    (curve,) = confidence_curves(card_lab[None], vehicle_lab, [draws])
    return curve


def confidence_curves(card_lab: Array, vehicle_lab: Array, draws: Sequence[Draws]) -> list[ConfidenceCurve]:
    """Return the same of several cards (n, 3) against one car, each with its draws."""
    whiten = metric_root(0.5 * (card_lab + vehicle_lab))
    exact = delta_e00(card_lab, np.broadcast_to(vehicle_lab, card_lab.shape))
    differences = card_lab - vehicle_lab
    return [_curve(*each) for each in zip(differences, exact.tolist(), whiten, draws, strict=True)]


def _curve(difference: Array, exact: float, whiten: Array, draws: Draws) -> ConfidenceCurve:
    """Return the curve of a difference (3,), whose CIEDE2000 is ``exact``; ``whiten`` (3, 3) is its metric's root."""
    measured = whiten @ difference
    observed = float(np.linalg.norm(measured))
    null = draws.null_difference @ whiten.T
    if observed > 1e-9:
        unit = _read_of(
            (draws.card_lab - draws.vehicle_lab - draws.null_difference) @ whiten.T / observed, measured / observed
        )
    else:
        unit = np.broadcast_to(np.array([1.0, 0.0, 0.0]), null.shape)
    reach = observed + 6.0 * float(np.sqrt((null**2).sum(axis=1).mean())) + 0.6 * observed + 0.2
    size = np.linspace(0.0, reach, 241)
    length = (null**2).sum(axis=1)
    # A measurement of next to nothing is undercut by next to no draw, and chances of few draws jump.
    fewest = max(int(LEAST_UNDERCUT * len(length)), FEWEST_UNDERCUT)
    threshold = max(observed**2, float(np.partition(length, fewest)[fewest]))
    under = share_under(threshold, (unit**2).sum(axis=1), (unit * null).sum(axis=1), length, size)
    smaller = np.minimum.accumulate(under)
    scale = exact / observed if observed > 1e-9 else 1.0
    rise = np.linspace(0.0, 1e-9, size.size)  # np.interp needs a strictly rising abscissa to invert flat ends
    return ConfidenceCurve(size * scale, 1.0 - smaller + rise, 1.0 - smaller / smaller[0] + rise)


def share_under(threshold: float, a: Array, half_b: Array, c: Array, t: Array) -> Array:
    """Return for each ``t`` the share of n parabolas a t² + 2 half_b t + c, with a > 0, that lie under a threshold.

    Each is under it between its two roots alone, so that counting the roots passed is enough.
    """
    root = np.sqrt(np.maximum(half_b**2 - a * (c - threshold), 0.0))
    far = -half_b - np.copysign(root, half_b)  # the root that no cancelling touches; the other by the roots' product
    met = (root > 0.0) & (far != 0.0)
    first, second = far[met] / a[met], (c[met] - threshold) / far[met]
    entered = np.searchsorted(np.sort(np.minimum(first, second)), t, side="left")
    left = np.searchsorted(np.sort(np.maximum(first, second)), t, side="right")
    return np.asarray((entered - left) / a.size)


def _read_of(true: Array, direction: Array) -> Array:
    """Return what would be read (n, 3) of a true difference of one along the ``direction`` (3,), draw by draw.

    A draw says the reverse: what the truth is, ``true`` (n, 3), of a reading of one in that direction. Where a veil
    flattens dark colours the two differ much: a truth twice the reading is a reading of half the truth. The stretch
    along the direction is inverted, the turn out of it to first order.
    """
    along = np.maximum(true @ direction, LEAST_STRETCH)[:, None]
    return np.asarray(direction / along - (true - (true @ direction)[:, None] * direction) / along**2)
