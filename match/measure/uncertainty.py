"""Where every error comes from, and what it does to the difference.

A seeded Monte-Carlo (JCGM 101:2008) draws, jointly for all cards and the vehicle: block noise and what remains of the
light gradient (from the light fit), the grey's own noise and its reflectance tolerance, its departure from neutral, the
tone curve's slope, the camera's colour matrix and what its look does to saturation, the step of the file's codes, and
the veil: clear coat mirrors some 4 % of its surroundings and the lens scatters a little light, which lies on card and
car alike and flattens dark colours.
What is common to card and vehicle is drawn once for both, or the interval would be wrong; what is common to several
cards is drawn once for all of them, so that the same draw stands in the same row of each.

CIEDE2000 is a length, so noise lifts small differences. The interval and the probabilities therefore do not come from
the spread of the drawn differences but from a confidence distribution (Schweder and Hjort 2016, Confidence,
Likelihood, Probability, chapter 3): for every true size t in the measured direction, how often would a measurement come
out at least as large as this one? That function of t rises from the probability at zero to one; its median is the
estimate and its low quantile the lower limit.

A measurement that comes out smaller than the noise would make that curve claim a difference of nothing, surely. Upper
limits and the probabilities of the verdicts therefore take the ratio of chances P_t(smaller) / P_0(smaller) instead
(Read 2002, J Phys G 28:2693), which never claims more than the noise allows and is the same for larger differences.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from match.calibration import quantity
from match.colorimetry import Array, delta_e00, lab_from_working, local_metric, working_matrices
from match.measure.light import LightFit
from match.measure.tone import GreyTolerance, ToneFit, integrated_slopes

LEAST_STRETCH = 0.1
"""A true difference is never taken for less than this share of what is read: one lost whole could not be inverted."""

TAILS = 51
"""How many ways to share what an interval leaves out, between what lies below and above, are tried."""

SOURCES = ("paint and light", "grey reference", "tone curve", "camera colour", "mirrored surroundings")


@dataclass(frozen=True)
class CameraErrors:
    """Errors that no photo shows of itself; see ``calibration/camera.toml``."""

    matrix_sd: float = quantity("fraction")
    saturation_log_sd: float = quantity("log units")
    grey_neutral_sd: float = quantity("log units")
    pair_floor: float = quantity("CIELAB")
    veil_median: float = quantity("reflectance")
    veil_log_sd: float = quantity("log units")
    veil_most: float = quantity("reflectance")
    veil_share: float = quantity("fraction")
    veil_power: float = quantity("1")
    veil_difference_sd: float = quantity("reflectance")
    empty_channel_sd: float = quantity("reflectance")


@dataclass(frozen=True)
class Draws:
    """Monte-Carlo draws (n, 3) in CIELAB: card and vehicle, and the difference that a pair of equal colours shows."""

    card_lab: Array
    vehicle_lab: Array
    null_difference: Array


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


@dataclass(frozen=True)
class _World:
    """One draw (n = draws) of everything but the levels: what stands between log levels and colour."""

    slopes: Array
    log_reflectance: Array
    grey_weight: Array
    matrices: Array
    veil: Array
    cut_off: Array
    errors: CameraErrors

    def lab(self, levels: Array) -> Array:
        """Return (n, 2, 3) CIELAB of card and vehicle from log levels (n, paints, 3)."""
        true = integrated_slopes(levels, self.slopes)
        gain = np.einsum("g,ngc->nc", self.grey_weight, self.log_reflectance - true[:, 2:])[:, None]
        linear = np.exp(true[:, :2] + gain)
        # The veil of a pair is bounded by its darker member, so that it never makes a difference of its own.
        bound = self.errors.veil_share * linear.min(axis=(1, 2), keepdims=True)
        veil = self.veil[:, :, None]
        share, power = np.maximum(veil, 0.0) / bound, self.errors.veil_power
        linear = linear - veil / (1.0 + share**power) ** (1.0 / power)
        return lab_from_working(np.einsum("nij,npj->npi", self.matrices, linear - self.cut_off))


def best_estimate(
    light: LightFit, tone: ToneFit, greys: Sequence[GreyTolerance], errors: CameraErrors
) -> tuple[Array, Array]:
    """Return the most likely CIELAB (3,) of card and vehicle, from the fit of one card."""
    world = _World(
        tone.mean[None],
        np.log(np.array(light.reflectances))[None, :, None],
        _weight(greys),
        np.eye(3)[None],
        np.full((1, 2), errors.veil_median),
        np.zeros((1, 2, 3)),
        errors,
    )
    lab = world.lab(light.mean_log_level[None])
    return lab[0, 0], lab[0, 1]


def _weight(greys: Sequence[GreyTolerance]) -> Array:
    """Return (g,) how much each grey counts for the exposure: as much as it is known, equal ones equally."""
    inverse = np.array([1.0 / (grey.relative**2 + grey.neutral**2) for grey in greys])
    return np.asarray(inverse / inverse.sum())


def draw(
    light: LightFit,
    tone: ToneFit,
    tolerances: Sequence[GreyTolerance],
    errors: CameraErrors,
    rng: np.random.Generator,
    count: int,
    empty_share: Array,
    only: str | None = None,
) -> tuple[Draws, ...]:
    """Draw ``count`` measurements of every card against the vehicle; row by row they share all that is common to them.

    With ``only``, a name of :data:`SOURCES`, every other source is held still. ``tolerances`` is how well each grey is
    known; ``empty_share`` (cards + 1, 3) is the share of each card's and the vehicle's pixels in which each channel was
    cut off at nothing.
    """

    def on(source: str) -> bool:
        return only is None or only == source

    mean, cards = light.mean_log_level, light.cards
    paints = cards + 1
    levels = np.broadcast_to(mean, (count, *mean.shape)).copy()
    scatter = light.draws(rng, count) - mean
    if on("paint and light"):
        levels[:, :paints] += scatter[:, :paints]
    if on("grey reference"):
        levels[:, paints:] += scatter[:, paints:]
    slopes = (tone if on("tone curve") else tone.fixed()).draws(rng, count)
    greys = len(light.reflectances)
    reflectance = np.broadcast_to(np.log(np.array(light.reflectances))[None, :, None], (count, greys, 3)).copy()
    if on("grey reference"):
        reflectance += np.array([[each.relative] for each in tolerances]) * rng.standard_normal((count, greys, 1))
        reflectance += errors.grey_neutral_sd * rng.standard_normal((count, 1, 3))
        for index, each in enumerate(tolerances):
            if each.neutral > 0.0:
                reflectance[:, index] += each.neutral * rng.standard_normal((count, 3))
            if each.others:
                reflectance[:, index] += _another_step(each, rng, count)
    matrices = np.broadcast_to(np.eye(3), (count, 3, 3)).copy()
    if on("camera colour"):
        matrices += _neutral_keeping(rng, count, errors.matrix_sd)
        if tone.covariance.any():  # a file without a tone curve of the camera's has no look of its either
            matrices = matrices @ _look(rng, count, errors.saturation_log_sd)
    veil = np.full((count, paints), errors.veil_median)
    if on("mirrored surroundings"):
        veil = np.minimum(veil * np.exp(errors.veil_log_sd * rng.standard_normal((count, 1))), errors.veil_most)
        veil = veil + errors.veil_difference_sd * rng.standard_normal((count, paints)) / np.sqrt(2.0)
    cut_off = np.zeros((count, paints, 3))
    if on("camera colour"):
        cut_off = errors.empty_channel_sd * empty_share * np.abs(rng.standard_normal((count, paints, 3)))
    floor = np.zeros((count, cards, 3))
    if on("camera colour"):
        floor = errors.pair_floor * _sharing_half(rng, count, cards)
    drawn = []
    for card in range(cards):
        veils, cut_offs = veil[:, [card, cards]], cut_off[:, [card, cards]]
        world = _World(slopes, reflectance, _weight(tolerances), matrices, veils, cut_offs, errors)
        pair_levels = levels[:, [card, *range(cards, levels.shape[1])]]
        drawn.append(_pair(world, pair_levels, mean[cards] - mean[card], floor[:, card]))
    return tuple(drawn)


def _another_step(grey: GreyTolerance, rng: np.random.Generator, count: int) -> Array:
    """Return (n, 1) by how much the grey is another than stated: nothing in most draws, a whole step in its share."""
    steps, chances = np.array(grey.others).T
    return rng.choice(np.append(0.0, steps), (count, 1), p=np.append(1.0 - chances.sum(), chances))


def _pair(world: _World, levels: Array, to_vehicle: Array, floor: Array) -> Draws:
    """Return the draws of one card; ``to_vehicle`` (3,) takes its log level to that of an equal colour."""
    lab = world.lab(levels)
    null_levels = levels.copy()
    null_levels[:, 0] += to_vehicle
    null = world.lab(null_levels)
    return Draws(lab[:, 0] + floor, lab[:, 1], null[:, 0] + floor - null[:, 1])


def _sharing_half(rng: np.random.Generator, count: int, cards: int) -> Array:
    """Return (n, cards, 3) standard normal errors of pairs that have their second half, the vehicle, in common."""
    root = np.linalg.cholesky(0.5 * (np.eye(cards) + 1.0))
    return np.asarray(np.einsum("ij,njc->nic", root, rng.standard_normal((count, cards, 3))))


def _neutral_keeping(rng: np.random.Generator, count: int, sd: float) -> Array:
    """Return (n, 3, 3) matrices whose rows sum to zero: a camera balanced on grey errs in chroma and hue only."""
    error = sd * rng.standard_normal((count, 3, 3))
    return np.asarray(error - error.mean(axis=2, keepdims=True))


def _look(rng: np.random.Generator, count: int, log_sd: float) -> Array:
    """Return (n, 3, 3) matrices that undo what a camera's look does to saturation; luminance and neutrals stay."""
    less = np.exp(log_sd * rng.standard_normal((count, 1, 1)))
    grey = np.outer(np.ones(3), working_matrices()[1][1])
    return np.asarray(grey + less * (np.eye(3) - grey))


def curve_of(sizes: Array) -> ConfidenceCurve:
    """Return the curve of differences (n,) that are each as likely as the others; of one it is a step."""
    ordered = np.sort(sizes)
    share = np.arange(len(ordered) + 1) / len(ordered)
    size = np.concatenate([[0.0], np.repeat(ordered, 2) * np.tile([1.0 - 1e-9, 1.0], len(ordered))])
    at_most = np.concatenate([[0.0], np.repeat(share, 2)[1:-1]])
    return ConfidenceCurve(size, at_most, at_most)


def confidence_curve(card_lab: Array, vehicle_lab: Array, draws: Draws) -> ConfidenceCurve:
    """Return the confidence distribution of the true CIEDE2000, given the best estimates (3,) and the draws."""
    whiten = np.linalg.cholesky(local_metric(0.5 * (card_lab + vehicle_lab))).T
    measured = whiten @ (card_lab - vehicle_lab)
    observed = float(np.linalg.norm(measured))
    exact = float(delta_e00(card_lab, vehicle_lab))
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
    # At least one draw counts as smaller: a measurement of exactly nothing has no chance to be undercut.
    threshold = max(observed**2, float(np.partition(length, 10)[10]))
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
