"""Several photos of one pair at one angle under one lamp become one difference, honest about what averages out.

What a photo's own draws say (JCGM 101:2008) is split in two. The *null difference*, what a pair of equal colours would
show, is that photo's: light, placement, paint texture. The rest, how much the camera stretches or turns a true
difference (tone curve, colour matrix, the grey's own error), is the same in every photo by that camera with that grey,
so it is never divided by the number of photos.

Of the null difference, the share that comes from the light stays when the card is laid again in the same place and
changes sign when the card is moved to the other side of the car paint; so repeats leave it, and a swap cancels it. What
the placements really differ by is learned from their spread (:mod:`match.several.random_effects`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol, Self

import numpy as np

from match.calibration import quantity
from match.colorimetry import Array, delta_e00, psd_root
from match.errors import EvidenceError
from match.measure.finding import Finding
from match.measure.nearest import CardReading
from match.measure.uncertainty import Draws, repeated_covariance
from match.several.combined import Combined, Outlier, summary
from match.several.findings import disagrees, left_out, named, sides_differ, spread_findings
from match.several.photo_set import Role
from match.several.random_effects import GroupFit, fit_group, positive, spread_grid, surprise


@dataclass(frozen=True)
class CombiningRules:
    """Table ``combining`` of ``calibration/several.toml``."""

    light_share: float = quantity("fraction of variance")
    floor_common_share: float = quantity("fraction of variance")
    between_sd_steps: tuple[float, ...] = quantity("CIELAB")
    between_sd_scale: float = quantity("CIELAB")
    between_shape: tuple[float, ...] = quantity("fraction of the lightness sd")
    light_factors: tuple[float, ...] = quantity("factor")
    outlier_probability: float = quantity("probability")
    spread_warning: float = quantity("CIELAB")
    sureness: float = quantity("probability")
    gradient_warning: float = quantity("CIEDE2000")


class PairReading(CardReading, Protocol):
    """What combining needs of one photo's measurement (see :class:`match.measure.measurement.Measurement`)."""

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What is wrong with the photo."""


@dataclass(frozen=True)
class PhotoReading:
    """One photo's measurement with its name and what was done with the card before it."""

    name: str
    role: Role
    reading: PairReading

    @property
    def delta_lab(self) -> Array:
        """Card minus vehicle (3,)."""
        return self.reading.card_lab - self.reading.vehicle_lab

    @property
    def spoiled(self) -> bool:
        """Whether no verdict may rest on this photo."""
        return any(finding.spoils for finding in self.reading.findings)


def combine(
    photos: Sequence[PhotoReading], rules: CombiningRules, pair_floor: float, rng: np.random.Generator
) -> Combined:
    """Combine photos of one pair at one angle under one lamp.

    Raises :class:`EvidenceError` when there is no photo at all.

    Parameters
    ----------
    photos : at least one; photos that a finding spoils are left out, and named, as long as one good one is left
    rules : ``calibration/several.toml``, table ``combining``
    pair_floor : CIELAB sd that each photo's null draws already hold for the camera itself (``CameraErrors.pair_floor``)
    rng : for the combined draws, as many as the first photo has
    """
    if not photos:
        raise EvidenceError("there is no photo to combine: take at least one")
    good = [photo for photo in photos if not photo.spoiled] or list(photos)
    spoiled = [photo for photo in photos if photo not in good]
    readings = _Readings.of(good, rules, pair_floor)
    fit = readings.fit(range(len(good)), rules)
    outliers = _outliers(readings, rules)
    result = _single(good[0]) if len(good) == 1 else _joined(readings, fit, rules, rng)
    findings = (
        *(found for p in good for found in named(p.name, p.reading.findings, len(photos) == 1)),
        *(left_out(p.name, p.reading.findings) for p in spoiled),
        *(disagrees(outlier, result, len(good)) for outlier in outliers),
        *spread_findings(len(good), _spread(fit, rules) and not outliers),
        *sides_differ(result, rules.gradient_warning),
    )
    return replace(result, left_out=tuple(p.name for p in spoiled), outliers=outliers, findings=findings)


@dataclass(frozen=True)
class _Readings:
    """The photos as arrays: differences (k, 3), own covariances (k, 3, 3), sides (k,), light's prior (3, 3)."""

    photos: tuple[PhotoReading, ...]
    differences: Array
    own: Array
    sides: Array
    light: Array
    floor: Array

    @classmethod
    def of(cls, photos: Sequence[PhotoReading], rules: CombiningRules, pair_floor: float) -> Self:
        floor = rules.floor_common_share * pair_floor**2 * np.eye(3)
        own = np.array([positive(repeated_covariance(photo.reading.draws) - floor) for photo in photos])
        return cls(
            photos=tuple(photos),
            differences=np.array([photo.delta_lab for photo in photos]),
            own=(1.0 - rules.light_share) * own,
            sides=np.array([-1.0 if photo.role is Role.SWAP else 1.0 for photo in photos]),
            light=rules.light_share * own.mean(axis=0),
            floor=floor,
        )

    @property
    def swapped(self) -> bool:
        return bool(self.sides.min() < 0.0 < self.sides.max())

    def fit(self, members: Sequence[int], rules: CombiningRules) -> GroupFit:
        """Fit some of the photos; how strong the light is can be learned only from both sides."""
        chosen = list(members)
        both = self.sides[chosen].min() < self.sides[chosen].max()
        factors = rules.light_factors if both else (1.0,)
        grid = spread_grid(rules.between_sd_steps, rules.between_sd_scale, factors)
        shape = np.asarray(rules.between_shape)
        return fit_group(self.differences[chosen], self.own[chosen], self.sides[chosen], self.light, shape, grid)


def _joined(readings: _Readings, fit: GroupFit, rules: CombiningRules, rng: np.random.Generator) -> Combined:
    photos = readings.photos
    vehicle_lab = np.mean([photo.reading.vehicle_lab for photo in photos], axis=0)
    card_lab = vehicle_lab + fit.centre
    draws = _draws(readings, fit, vehicle_lab, rng)
    return summary(
        names=tuple(photo.name for photo in photos),
        card_lab=card_lab,
        vehicle_lab=vehicle_lab,
        draws=draws,
        between_sd=fit.expected_between_sd * np.asarray(rules.between_shape),
        gradient=_gradient(readings, fit, rules),
    )


def _draws(readings: _Readings, fit: GroupFit, vehicle_lab: Array, rng: np.random.Generator) -> Draws:
    """Draw the combined measurement.

    What the camera does to a difference is taken, draw by draw, from one photo chosen at random: its covariance is then
    the photos' mean covariance, not that divided by their number, whether or not their draws share random numbers.
    """
    photos = readings.photos
    count = len(photos[0].reading.draws.card_lab)
    of_photo = rng.integers(len(photos), size=count)
    row = np.array([rng.integers(len(photo.reading.draws.card_lab), size=count) for photo in photos])
    chosen = row[of_photo, np.arange(count)]
    vehicle, stretched, pigments = np.empty((count, 3)), np.empty((count, 3)), np.empty((count, 3))
    for index, photo in enumerate(photos):
        taken = of_photo == index
        drawn = photo.reading.draws.taken(chosen[taken])
        vehicle[taken] = drawn.vehicle_lab - photo.reading.vehicle_lab
        true_part = drawn.card_lab - drawn.vehicle_lab - drawn.null_difference
        stretched[taken] = true_part - photo.delta_lab
        pigments[taken] = drawn.of_pigments
    noise = fit.draws(rng, count) - fit.centre
    null = noise + rng.standard_normal((count, 3)) @ psd_root(readings.floor).T + pigments
    vehicle_draws = vehicle_lab + vehicle
    return Draws(vehicle_draws + fit.centre + stretched + null, vehicle_draws, null, pigments)


def _single(photo: PhotoReading) -> Combined:
    reading = photo.reading
    return summary((photo.name,), reading.card_lab, reading.vehicle_lab, reading.draws, None, None)


def _gradient(readings: _Readings, fit: GroupFit, rules: CombiningRules) -> tuple[Array, Array] | None:
    """Return half the disagreement of the two sides (3,) and its sd (3,)."""
    if not readings.swapped:
        return None
    here, there = readings.sides > 0, readings.sides < 0
    half = 0.5 * (readings.differences[here].mean(axis=0) - readings.differences[there].mean(axis=0))
    between = np.diag((fit.expected_between_sd * np.asarray(rules.between_shape)) ** 2)
    each = readings.own + between
    variance = sum(np.diag(each[side].sum(axis=0)) / side.sum() ** 2 for side in (here, there))
    return half, np.asarray(0.5 * np.sqrt(variance))


def _outliers(readings: _Readings, rules: CombiningRules) -> tuple[Outlier, ...]:
    """Name photos that disagree with the rest, the worst first, each tested against those not yet named.

    Two that are left cannot say which of them is wrong; their disagreement shows as spread.
    """
    left, found = list(range(len(readings.photos))), list[Outlier]()
    limit = rules.outlier_probability / max(len(left), 1)
    while len(left) >= 3:
        chances = [_chance(readings, index, [other for other in left if other != index], rules) for index in left]
        worst = int(np.argmin(chances))
        if chances[worst] >= limit:
            break
        index = left.pop(worst)
        rest = readings.fit(left, rules).centre
        vehicle = np.mean([readings.photos[other].reading.vehicle_lab for other in left], axis=0)
        without = float(delta_e00(vehicle + rest, vehicle))
        found.append(Outlier(readings.photos[index].name, chances[worst], without))
    return tuple(found)


def _spread(fit: GroupFit, rules: CombiningRules) -> bool:
    """Return whether the photos surely lie further apart than a card laid again should."""
    return fit.chance_between_above(rules.spread_warning) >= rules.sureness


def _chance(readings: _Readings, index: int, others: list[int], rules: CombiningRules) -> float:
    rest = readings.fit(others, rules)
    shape = np.asarray(rules.between_shape)
    return surprise(readings.differences[index], readings.own[index], readings.sides[index], shape, rest)
