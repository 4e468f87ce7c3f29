"""Flake of card against car: coarser, finer, more or less sparkling, or no difference seen.

Two figures are compared, card against car in one photo; neither is an absolute scale.

*Coarseness* is Selwyn's granularity (Selwyn 1935, Photographic J 75:571, as general references describe it): the spread
of local brightness read through an aperture, times the root of the aperture's area. For an aperture larger than blur
and flake it hardly depends on the aperture, nor on a small blur, which moves light about without changing what an
aperture holds. At equal coverage it is proportional to the width of the flakes.

*Sparkle* is the number of bright points that stand out of the flake around them by a set multiple of its spread.

Blur dims points, and a strong one takes light out of the aperture, so neither is compared at unequal sharpness, which
is judged from the flake itself: the area over which it is smeared. Against what small inequality is left, the picture
is softened a little before points are counted.

Camera noise looks like fine flake. Where a crop of the matte grey reference is given, noise is measured there, scaled
to the paint's level by photon statistics (variance of contrast falls as one over the level) and taken out.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from scipy.ndimage import gaussian_filter

from match.calibration import quantity
from match.colorimetry import Array
from match.errors import EvidenceError
from match.measure.finding import Finding, findings_for_json
from match.measure.sampling import LUMINANCE_WEIGHTS, surface_terms
from match.measure.words import SURE_SD
from match.record import Rounded, by_name
from match.robust import robust_sd
from match.several.findings import SetCode


@dataclass(frozen=True)
class TextureRules:
    """Table ``texture`` of ``calibration/several.toml``."""

    tile: float = quantity("px")
    aperture: float = quantity("px")
    least_tiles: float = quantity("tiles")
    least_contrast: float = quantity("fraction")
    least_change: float = quantity("ratio")
    systematic_sd: float = quantity("log units")
    noise_share: float = quantity("fraction of variance")
    sharpness_ratio: float = quantity("ratio")
    scale_ratio: float = quantity("ratio")
    sparkle_spread: float = quantity("robust standard deviations")
    softening: float = quantity("px")
    sparkle_per_sharpness: float = quantity("log points per log blurred area")
    least_points: float = quantity("points")


class Appearance(StrEnum):
    """How the card compares with the car."""

    MORE = "more"
    LESS = "less"
    NO_DIFFERENCE_SEEN = "no difference seen"


@dataclass(frozen=True)
class Ratio(Rounded):
    """Card over car of one figure: the most likely ratio, its 95 % interval, and what it amounts to."""

    card_over_car: float
    interval: tuple[float, float]
    appearance: Appearance


@dataclass(frozen=True)
class TextureComparison:
    """Flake of card and car compared.

    ``coarseness`` and ``sparkle`` are None where nothing can be said; ``findings`` then say why. ``sharpness`` is the
    ratio of the blurred areas, card over car (1 = equally sharp).
    """

    coarseness: Ratio | None
    sparkle: Ratio | None
    sharpness: float
    findings: tuple[Finding, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """The comparison in plain words."""
        told = []
        if self.coarseness:
            words = {
                Appearance.MORE: "The card's flake looks coarser than the car's",
                Appearance.LESS: "The card's flake looks finer than the car's",
                Appearance.NO_DIFFERENCE_SEEN: "No difference in the coarseness of the flake is seen",
            }
            told.append(f"{words[self.coarseness.appearance]} ({_span(self.coarseness)} times the car's).")
        if self.sparkle:
            words = {
                Appearance.MORE: "The card sparkles more than the car",
                Appearance.LESS: "The card sparkles less than the car",
                Appearance.NO_DIFFERENCE_SEEN: "No difference in sparkle is seen",
            }
            told.append(f"{words[self.sparkle.appearance]} ({_span(self.sparkle)} times as many bright points).")
        return (*told, *(finding.text() for finding in self.findings))

    def as_dict(self) -> dict[str, Any]:
        """Return the comparison for JSON."""
        return {
            "coarseness": self.coarseness.as_dict() if self.coarseness else None,
            "sparkle": self.sparkle.as_dict() if self.sparkle else None,
            **by_name(self, "sharpness", "sentences"),
            "findings": findings_for_json(self.findings),
        }


def compare_texture(
    card: Array,
    vehicle: Array,
    rules: TextureRules,
    grey: Array | None = None,
    px_per_mm: tuple[float, float] | None = None,
) -> TextureComparison:
    """Compare the flake of two crops of one photo, at the same lamp and angle.

    Raises :class:`EvidenceError` when a crop is too small to hold the tiles the comparison needs.

    Parameters
    ----------
    card, vehicle : (h, w, 3) linear light, any gain
    rules : ``calibration/several.toml``, table ``texture``
    grey : (h, w, 3) linear light of the matte grey reference in the same photo, for the camera's noise
    px_per_mm : scale of card and vehicle where known; the same scale is assumed where not given
    """
    tiles = [_tiles(crop, rules, name) for crop, name in ((card, "card"), (vehicle, "car"))]
    noise = _noise(grey, rules)
    read = [_read(tile, noise, rules) for tile in tiles]
    sharpness = read[0].blur_area / read[1].blur_area
    scale = px_per_mm[0] / px_per_mm[1] if px_per_mm else 1.0
    findings = _hindrances(read, sharpness, scale, rules)
    if findings:
        return TextureComparison(None, None, sharpness, findings)
    # A granularity in px is one in mm times the scale.
    coarseness = _ratio(
        0.5 * np.log(read[0].variance / read[1].variance) - np.log(scale),
        float(np.hypot(0.5 * np.hypot(read[0].relative_sd, read[1].relative_sd), rules.systematic_sd)),
        rules,
    )
    return TextureComparison(coarseness, _sparkle(tiles[0], tiles[1], scale, sharpness, rules), sharpness, ())


@dataclass(frozen=True)
class _Read:
    """Granular variance through the aperture, the relative sd of its mean, blurred area (px), and what hinders."""

    variance: float
    relative_sd: float
    blur_area: float
    seen: bool
    drowned: bool


@dataclass(frozen=True)
class _Tiles:
    """(t, side, side) relative contrast of each tile around its own plane, and the crop's mean level."""

    contrast: Array
    level: float


def _tiles(crop: Array, rules: TextureRules, name: str) -> _Tiles:
    luminance = np.asarray(crop, dtype=np.float64) @ LUMINANCE_WEIGHTS
    side = int(rules.tile)
    rows, columns = luminance.shape[0] // side, luminance.shape[1] // side
    if rows * columns < rules.least_tiles:
        raise EvidenceError(
            f"the {name} region is {luminance.shape[1]} x {luminance.shape[0]} pixels, too small to compare flake: "
            f"mark at least {rules.least_tiles:.0f} squares of {side} x {side} pixels"
        )
    cut = luminance[: rows * side, : columns * side].reshape(rows, side, columns, side).swapaxes(1, 2)
    flat = cut.reshape(rows * columns, side * side)
    place = np.stack(np.meshgrid(np.linspace(-1, 1, side), np.linspace(-1, 1, side)), axis=-1).reshape(-1, 2)
    plane = surface_terms(place)[:, :3]
    smooth = (flat @ np.linalg.pinv(plane).T) @ plane.T
    contrast = flat / np.maximum(smooth, 1e-9) - 1.0
    return _Tiles(contrast.reshape(-1, side, side), float(luminance.mean()))


def _apertures(contrast: Array, aperture: int) -> Array:
    """Return (t, n) means over squares of ``aperture`` pixels."""
    side = contrast.shape[1] // aperture * aperture
    cut = contrast[:, :side, :side].reshape(len(contrast), side // aperture, aperture, side // aperture, aperture)
    return np.asarray(cut.mean(axis=(2, 4)).reshape(len(contrast), -1))


def _variances(tiles: _Tiles, rules: TextureRules) -> tuple[Array, Array]:
    """Return (t,) variance through the aperture, times its area, and (t,) variance of single pixels."""
    aperture = int(rules.aperture)
    through = _apertures(tiles.contrast, aperture)
    freedom = through.shape[1] - 3  # each tile's own plane was taken out
    return aperture**2 * (through**2).sum(axis=1) / freedom, (tiles.contrast**2).mean(axis=(1, 2))


def _noise(grey: Array | None, rules: TextureRules) -> tuple[float, float, float]:
    """Return the camera's (variance through the aperture, pixel variance, level) on the grey; zero when not given.

    Medians: dust on the grey is not noise.
    """
    if grey is None:
        return 0.0, 0.0, 1.0
    tiles = _tiles(grey, TextureRules(**{**rules.__dict__, "least_tiles": 1.0}), "grey")
    through, pixel = _variances(tiles, rules)
    return float(np.median(through)), float(np.median(pixel)), tiles.level


def _read(tiles: _Tiles, noise: tuple[float, float, float], rules: TextureRules) -> _Read:
    through, pixel = _variances(tiles, rules)
    kept = through <= np.quantile(through, 0.9)  # a reflected lamp or a run of dust in a few tiles is not flake
    scale = noise[2] / max(tiles.level, 1e-9)
    variance = float(through[kept].mean()) - noise[0] * scale
    single = float(pixel[kept].mean()) - noise[1] * scale
    spread = float(through[kept].std(ddof=1)) / np.sqrt(kept.sum())
    least = (rules.least_contrast * rules.aperture) ** 2
    seen = variance > max(least, 2.0 * spread)
    variance = max(variance, least)
    drowned = noise[1] * scale > rules.noise_share * float(pixel[kept].mean())
    return _Read(variance, spread / variance, variance / max(single, 1e-12), seen, drowned)


def _hindrances(read: list[_Read], sharpness: float, scale: float, rules: TextureRules) -> tuple[Finding, ...]:
    if not any(one.seen for one in read):
        return (Finding(SetCode.NO_FLAKE, False),)
    if any(one.drowned for one in read):
        return (Finding(SetCode.NOISE_DROWNS_FLAKE, False),)
    if max(scale, 1.0 / scale) > rules.scale_ratio:
        return (Finding(SetCode.SCALE_DIFFERS, False),)
    if max(sharpness, 1.0 / sharpness) > rules.sharpness_ratio:
        return (Finding(SetCode.SHARPNESS_DIFFERS, False, values={"blurred": "card" if sharpness > 1.0 else "car"}),)
    return ()


def _ratio(log_ratio: float, sd: float, rules: TextureRules) -> Ratio:
    low, high = float(np.exp(log_ratio - SURE_SD * sd)), float(np.exp(log_ratio + SURE_SD * sd))
    appearance = Appearance.NO_DIFFERENCE_SEEN
    if low > 1.0 and np.exp(log_ratio) > rules.least_change:
        appearance = Appearance.MORE
    elif high < 1.0 and np.exp(-log_ratio) > rules.least_change:
        appearance = Appearance.LESS
    return Ratio(float(np.exp(log_ratio)), (low, high), appearance)


def _sparkle(card: _Tiles, vehicle: _Tiles, scale: float, sharpness: float, rules: TextureRules) -> Ratio | None:
    """Compare the number of bright points per area, over one threshold for both; None with too few points.

    What inequality of sharpness is left might be the lens's: what it would do to the count is added to the uncertainty.
    """
    soft = [gaussian_filter(tiles.contrast, (0.0, rules.softening, rules.softening)) for tiles in (card, vehicle)]
    both = np.concatenate([one.reshape(-1) for one in soft])
    threshold = rules.sparkle_spread * robust_sd(both)
    counts = [_points(one, threshold) for one in soft]
    if sum(float(count.sum()) for count in counts) < 2 * rules.least_points:
        return None
    # Half a point added to each: a count of none is no infinite ratio.
    means = [(count.sum() + 0.5) / len(count) for count in counts]
    variances = [
        max(float(count.var(ddof=1)), float(count.mean()), 0.5 / len(count)) / len(count) / mean**2
        for count, mean in zip(counts, means, strict=True)
    ]
    log_ratio = float(np.log(means[0] / means[1]) + 2.0 * np.log(scale))
    lens = rules.sparkle_per_sharpness * abs(np.log(sharpness))
    return _ratio(log_ratio, float(np.sqrt(sum(variances) + (2.0 * rules.systematic_sd) ** 2 + lens**2)), rules)


def _points(contrast: Array, threshold: float) -> Array:
    """Return (t,) the number of local maxima above a threshold in each tile, borders left out."""
    middle = contrast[:, 1:-1, 1:-1]
    highest = np.ones(middle.shape, dtype=bool)
    for row in (0, 1, 2):
        for column in (0, 1, 2):
            if (row, column) != (1, 1):
                side = contrast.shape[1]
                other = contrast[:, row : side - 2 + row, column : side - 2 + column]
                highest &= middle > other if (row, column) < (1, 1) else middle >= other
    return np.asarray((highest & (middle > threshold)).sum(axis=(1, 2)), dtype=np.float64)


def _span(ratio: Ratio) -> str:
    return f"{ratio.interval[0]:.2f} to {ratio.interval[1]:.2f}"
