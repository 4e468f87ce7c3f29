"""Where every error comes from, and what it does to the difference.

A seeded Monte-Carlo (JCGM 101:2008) draws, jointly for all cards and the vehicle: block noise and what remains of the
light gradient (from the light fit), the grey's own noise and its reflectance tolerance, its departure from neutral, the
tone curve's slope, the camera's colour matrix, what its look does to saturation and what it makes of other pigments of
one colour, the step of the file's codes, and the veil: clear coat mirrors some 4 % of its surroundings and the lens
scatters a little light, which lies on card and car alike and flattens dark colours.
What is common to card and vehicle is drawn once for both, or the interval would be wrong; what is common to several
cards is drawn once for all of them, so that the same draw stands in the same row of each.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from match.calibration import quantity
from match.colorimetry import Array, lab_from_working, metric_root, working_matrices
from match.measure.light import LightFit
from match.measure.tone import GreyTolerance, ToneFit, integrated_slopes

SOURCES = ("paint and light", "grey reference", "tone curve", "camera colour", "mirrored surroundings")


@dataclass(frozen=True)
class CameraErrors:
    """Errors that no photo shows of itself; see ``calibration/camera.toml``."""

    matrix_sd: float = quantity("fraction")
    saturation_log_sd: float = quantity("log units")
    grey_neutral_sd: float = quantity("log units")
    pair_floor: float = quantity("CIELAB")
    metamer_sd: float = quantity("CIEDE2000")
    other_pigments_sd: float = quantity("CIEDE2000")
    other_pigments_share: float = quantity("fraction")
    metamer_hue: float = quantity("deg")
    veil_median: float = quantity("reflectance")
    veil_log_sd: float = quantity("log units")
    veil_most: float = quantity("reflectance")
    veil_share: float = quantity("fraction")
    veil_power: float = quantity("1")
    veil_difference_sd: float = quantity("reflectance")
    empty_channel_sd: float = quantity("reflectance")


@dataclass(frozen=True)
class Draws:
    """Monte-Carlo draws (n, 3) in CIELAB: card and vehicle, and the difference that a pair of equal colours shows.

    ``of_pigments`` (n or 1, 3) is the part of that difference which comes of other pigments: every photo of the pair by
    one camera in one light shows it alike, so no repeat takes it away, and two spots of one paint do not have it.
    """

    card_lab: Array
    vehicle_lab: Array
    null_difference: Array
    of_pigments: Array = field(default_factory=lambda: np.zeros((1, 3)))

    def taken(self, rows: NDArray[np.int_]) -> Self:
        """Return the draws in some of the rows."""
        pigments = np.broadcast_to(self.of_pigments, self.null_difference.shape)
        return replace(
            self,
            card_lab=self.card_lab[rows],
            vehicle_lab=self.vehicle_lab[rows],
            null_difference=self.null_difference[rows],
            of_pigments=pigments[rows],
        )


def repeated_covariance(draws: Draws) -> Array:
    """Return (3, 3) the covariance of what another photo of a pair draws anew: the null difference less pigments."""
    return np.asarray(np.cov((draws.null_difference - draws.of_pigments).T))


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

    def true(self, levels: Array) -> Array:
        """Return the true log levels (n, ..., 3) of those that the camera's tone curve made of them."""
        return integrated_slopes(levels, self.slopes)

    def lab(self, true: Array) -> Array:
        """Return (n, 2, 3) CIELAB of card and vehicle from true log levels (n, paints, 3)."""
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
    lab = world.lab(world.true(light.mean_log_level[None]))
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
    parts: Sequence[int] = (),
) -> tuple[Draws, ...]:
    """Draw ``count`` measurements of every card against the vehicle; row by row they share all that is common to them.

    With ``only``, a name of :data:`SOURCES`, every other source is held still. ``tolerances`` is how well each grey is
    known; ``empty_share`` (cards + 1, 3) is the share of each card's and the vehicle's pixels in which each channel was
    cut off at nothing; ``parts`` are the places, among the cards, of named parts of the car.
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
    pigments = np.zeros((count, cards, 3))
    if on("camera colour"):
        vehicle_lab = best_estimate(light.of_card(0), tone, tolerances, errors)[1]
        mixed_as = [1 + parts.index(card) if card in parts else 0 for card in range(cards)]
        pigments = _of_pigments(vehicle_lab, errors, rng, count, mixed_as)
    drawn = []
    for card in range(cards):
        veils, cut_offs = veil[:, [card, cards]], cut_off[:, [card, cards]]
        world = _World(slopes, reflectance, _weight(tolerances), matrices, veils, cut_offs, errors)
        pair_levels = levels[:, [card, *range(cards, levels.shape[1])]]
        drawn.append(_pair(world, pair_levels, mean[cards] - mean[card], floor[:, card], pigments[:, card]))
    return tuple(drawn)


def _another_step(grey: GreyTolerance, rng: np.random.Generator, count: int) -> Array:
    """Return (n, 1) by how much the grey is another than stated: nothing in most draws, a whole step in its share."""
    steps, chances = np.array(grey.others).T
    return rng.choice(np.append(0.0, steps), (count, 1), p=np.append(1.0 - chances.sum(), chances))


def _of_pigments(
    vehicle_lab: Array, errors: CameraErrors, rng: np.random.Generator, count: int, mixed_as: Sequence[int]
) -> Array:
    """Return (n, paints, 3) CIELAB by which a camera sees paints of the vehicle's colour (3,) apart from it.

    Metamerism: spectra that an eye sees alike a camera sees apart, nearly along one line, between green and magenta. In
    most draws the paints are of the vehicle's pigments, each in shares of its own; in some they are of other toners,
    which paints of the same number in ``mixed_as`` have in common: they stand apart by their shares alone, any others
    of paints and vehicle by as much as one another.
    """
    others = rng.random((count, 1)) < errors.other_pigments_share
    more = np.sqrt(max(errors.other_pigments_sd**2 - errors.metamer_sd**2, 0.0))
    shares = rng.standard_normal((count, len(mixed_as))) @ _half_in_common(len(mixed_as)).T
    kinds = max(mixed_as) + 1
    toners = rng.standard_normal((count, kinds)) @ _half_in_common(kinds).T
    size = errors.metamer_sd * shares + more * others * toners[:, list(mixed_as)]
    hue = np.deg2rad(errors.metamer_hue)
    direction = np.linalg.solve(metric_root(vehicle_lab), np.array([0.0, np.cos(hue), np.sin(hue)]))
    return np.asarray(size[:, :, None] * direction)


def _pair(world: _World, levels: Array, to_vehicle: Array, floor: Array, pigments: Array) -> Draws:
    """Return the draws of one card; ``to_vehicle`` (3,) takes its log level to that of an equal colour."""
    floor = floor + pigments
    true = world.true(levels)
    lab = world.lab(true)
    true[:, 0] = world.true(levels[:, 0] + to_vehicle)
    null = world.lab(true)
    return Draws(lab[:, 0] + floor, lab[:, 1], null[:, 0] + floor - null[:, 1], pigments)


def _sharing_half(rng: np.random.Generator, count: int, cards: int) -> Array:
    """Return (n, cards, 3) standard normal errors of pairs that have their second half, the vehicle, in common."""
    return np.asarray(np.einsum("ij,njc->nic", _half_in_common(cards), rng.standard_normal((count, cards, 3))))


def _half_in_common(count: int) -> Array:
    """Return the root (n, n) of the covariance of differences from one thing: each has the half of it in common."""
    return np.asarray(np.linalg.cholesky(0.5 * (np.eye(count) + 1.0)))


def _neutral_keeping(rng: np.random.Generator, count: int, sd: float) -> Array:
    """Return (n, 3, 3) matrices whose rows sum to zero: a camera balanced on grey errs in chroma and hue only."""
    error = sd * rng.standard_normal((count, 3, 3))
    return np.asarray(error - error.mean(axis=2, keepdims=True))


def _look(rng: np.random.Generator, count: int, log_sd: float) -> Array:
    """Return (n, 3, 3) matrices that undo what a camera's look does to saturation; luminance and neutrals stay."""
    less = np.exp(log_sd * rng.standard_normal((count, 1, 1)))
    grey = np.outer(np.ones(3), working_matrices()[1][1])
    return np.asarray(grey + less * (np.eye(3) - grey))
