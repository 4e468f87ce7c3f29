"""How many coats a colour takes over an undercoat, and what of the undercoat shows before.

Where no hiding card tells, the colour class says how many coats hide a black and white chart. The same film is then
laid over the undercoat chosen, in three bands of linear light (Display P3), by Kubelka's law; the scattering of a coat
is that which hides the chart in just so many. Three bands stand for a spectrum and the measured reflectance for the
internal one: it ranks undercoats and is no measurement. For flake, which has no single scattering, it is rougher still.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from match.blend.film import DARKEST, LIGHTEST, Hiding
from match.calibration import quantity
from match.colorimetry import Array, delta_e00, lab_from_working, working_matrices, xyz_from_lab
from match.errors import PlanError

MOST_COATS = 6.0
"""More than a plan takes: sooner a ground coat of like colour."""
MOST_CHROMA = 100.0
"""The end of the scale that the classes are written in; the few stronger colours count as this."""
COAT_STEP = 0.5
"""Coats are planned to the half: the second half is a light one."""
THINNEST, THICKEST = 1e-4, 1e3
"""Scattering power of a coat between which every paint lies: from a glaze to a film that hides at a breath."""


@dataclass(frozen=True)
class HidingClass:
    """A class of colours, table ``cover.classes`` of ``practice.toml``: its bounds, and its coats over a chart."""

    words: str
    hue: tuple[float, ...] = quantity("degrees")
    chroma: tuple[float, ...] = quantity("CIELAB chroma")
    lightness: tuple[float, ...] = quantity("CIELAB lightness")
    coats: float = quantity("coats")

    def holds(self, lab: Array) -> bool:
        """Return whether a CIELAB colour (3,) belongs to it; a range of hues may run through 0."""
        chroma, hue = (
            min(float(np.hypot(lab[1], lab[2])), MOST_CHROMA),
            float(np.degrees(np.arctan2(lab[2], lab[1])) % 360.0),
        )
        first, last = self.hue
        turned = first <= hue <= last if first <= last else hue >= first or hue <= last
        return turned and _within(chroma, self.chroma) and _within(float(lab[0]), self.lightness)


@dataclass(frozen=True)
class Undercoat:
    """A shade of undercoat, neutral; table ``cover.undercoats``."""

    words: str
    reflectance: float = quantity("reflectance")


@dataclass(frozen=True)
class CoverPractice:
    """Table ``cover`` of ``practice.toml``."""

    classes: dict[str, HidingClass]
    undercoats: dict[str, Undercoat]
    visible: float = quantity("CIEDE2000")
    least_coats: float = quantity("coats")


@dataclass(frozen=True)
class OverUndercoat:
    """What an undercoat does: ``coats`` until it can no longer be seen (infinite beyond any sense), to the half coat.

    ``left_delta_e00`` is how far the colour still is from its own after ``after`` coats, and ``lightness`` by how much
    that is lighter (positive) or darker.
    """

    name: str
    words: str
    coats: float
    after: float
    left_delta_e00: float
    lightness: float


def usual_coats(lab: Array, practice: CoverPractice, hiding: Hiding) -> float:
    """Return the coats in which a colour (3,) usually hides a black and white chart: its class's, else the common."""
    return next((each.coats for each in practice.classes.values() if each.holds(lab)), hiding.coats_to_cover)


def film_over(opaque: ArrayLike, scattering: ArrayLike, backing: ArrayLike) -> Array:
    """Return the reflectance (...) of a film over a backing.

    Parameters
    ----------
    opaque : reflectance of the same paint so thick that it hides, 0..1 exclusive (...)
    scattering : scattering power S X of the film (...)
    backing : reflectance below (...)

    Notes
    -----
    Kubelka 1948, with r the opaque reflectance and E = exp((1/r - r) S X)::

        R = (1/r (Rg - r) - r (Rg - 1/r) E) / ((Rg - r) - (Rg - 1/r) E)
    """
    r, rg = np.asarray(opaque, dtype=np.float64), np.asarray(backing, dtype=np.float64)
    fading = np.exp(-(1.0 / r - r) * np.asarray(scattering, dtype=np.float64))
    return np.asarray(((rg - r) / r * fading - r * (rg - 1.0 / r)) / ((rg - r) * fading - (rg - 1.0 / r)))


def coat_scattering(opaque: Array, coats: float, hiding: Hiding) -> float:
    """Return the scattering power of one coat of a paint (3 bands) that hides a chart in this many coats."""

    def short(log_scattering: float) -> float:
        over = [film_over(opaque, np.exp(log_scattering) * coats, at) for at in (0.0, hiding.chart_white)]
        black, white = (float(working_matrices()[1][1] @ each) for each in over)
        return black / white - hiding.contrast_ratio

    return float(np.exp(brentq(short, np.log(THINNEST), np.log(THICKEST))))


def over_undercoats(
    lab: Array, chart_coats: float, practice: CoverPractice, hiding: Hiding
) -> tuple[OverUndercoat, ...]:
    """Return what each undercoat does to a colour (3,) that hides a chart in ``chart_coats``, in the file's order."""
    opaque = _bands(lab)
    own, scattering = lab_from_working(opaque), coat_scattering(opaque, chart_coats, hiding)
    counts = np.arange(1.0, MOST_COATS + COAT_STEP / 2, COAT_STEP)
    found = []
    for name, undercoat in practice.undercoats.items():
        films = film_over(opaque, scattering * counts[:, np.newaxis], undercoat.reflectance)
        seen = lab_from_working(films)
        left = delta_e00(seen, np.broadcast_to(own, seen.shape))
        enough = np.flatnonzero(left <= practice.visible)
        at = int(np.argmin(np.abs(counts - chart_coats)))
        found.append(
            OverUndercoat(
                name,
                undercoat.words,
                max(practice.least_coats, float(counts[enough[0]])) if len(enough) else float("inf"),
                float(counts[at]),
                float(left[at]),
                float(seen[at, 0] - own[0]),
            )
        )
    return tuple(found)


def best_undercoat(found: tuple[OverUndercoat, ...]) -> OverUndercoat:
    """Return the undercoat that takes the fewest coats; of several, the one of which the least is left."""
    return min(found, key=lambda each: (each.coats, each.left_delta_e00))


def coats_over(lab: Array, undercoat: str | None, practice: CoverPractice, hiding: Hiding) -> float:
    """Return the coats to plan with for a colour (3,) of which no hiding card tells.

    Raises :class:`PlanError` for an undercoat that is not there, or one that this colour cannot hide in any sensible
    number of coats.

    Parameters
    ----------
    undercoat : a name in the practice; None where the shade is not known: then the colour must hide a chart
    """
    usual = usual_coats(lab, practice, hiding)
    if undercoat is None:
        return usual
    if undercoat not in practice.undercoats:
        raise PlanError(f"no undercoat is called {undercoat!r}: use one of {', '.join(practice.undercoats)}")
    found = {each.name: each for each in over_undercoats(lab, usual, practice, hiding)}
    if not np.isfinite(found[undercoat].coats):
        better = best_undercoat(tuple(found.values()))
        raise PlanError(
            f"over {found[undercoat].words} this colour would need more than {MOST_COATS:g} coats: "
            f"lay {better.words} or a ground coat of like colour first"
        )
    return found[undercoat].coats


def _bands(lab: Array) -> Array:
    linear = np.linalg.solve(working_matrices()[1], xyz_from_lab(lab))
    return np.asarray(np.clip(linear, DARKEST, LIGHTEST))


def _within(value: float, bounds: tuple[float, ...]) -> bool:
    return bounds[0] <= value <= bounds[-1]
