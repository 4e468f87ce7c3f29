"""A toner of one's own: by name and strength, or measured from let-downs in a known white.

A let-down is the toner mixed into white at a known share by weight and sprayed to hiding. Its photographed colour gives
a spectrum (the smoothest one, or the smoothest departure from a pigment class it resembles) and so K/S of the mixture;
with the white's K and S known, the toner's own follow by Duncan's additivity, linear in K and S of the toner.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from match.colorimetry import Array
from match.errors import TintError
from match.record import Record
from match.tint.card import CardColour
from match.tint.limits import TintLimits
from match.tint.pigment import (
    WAVELENGTHS_NM,
    Optics,
    Toner,
    absorption_over_scattering,
    mixture,
    opaque_reflectance,
    paint_reflectance,
)
from match.tint.recovery import smoothest_spectrum
from match.tint.viewing import lab_from_reflectance

LAB_STEP = 0.05  # CIELAB units, for derivatives; below any measurement


@dataclass(frozen=True, eq=False)
class LetDown:
    """One let-down.

    Attributes
    ----------
    share_by_weight : toner in toner plus white, above 0 and at most 1 (1 is the toner's full shade)
    colour : its card; the covariance is that of the CIELAB values
    """

    share_by_weight: float
    colour: CardColour

    def __post_init__(self) -> None:
        """Check the share."""
        if not 0 < self.share_by_weight <= 1:
            raise TintError(
                f"the let-down's share of toner is {self.share_by_weight!r}: give a number above 0, up to 1"
            )


@dataclass(frozen=True, eq=False)
class MeasuredToner(Record):
    """A toner from let-downs.

    Attributes
    ----------
    toner : with K and S by band, strength 1
    absorption_sd : (31,) standard deviation of K from the measurement alone
    log_strength_sd : sd of the logarithm of its overall strength, for :class:`match.tint.tinting.TintJob`'s ``own_sd``
    lab_left : for each let-down, CIELAB length by which the finished toner misses the measured card
    reasons : short sentences about what would make it better
    """

    toner: Toner
    absorption_sd: Array
    log_strength_sd: float
    lab_left: tuple[float, ...]
    reasons: tuple[str, ...]


def named_toner(name: str, like: Toner, strength: float = 1.0) -> Toner:
    """Return a toner known only by the pigment class it resembles and its strength relative to that."""
    if not name.strip():
        raise TintError("the toner has no name: give it one")
    return Toner(
        name.strip(), like.absorption, like.scattering, like.strength, like.stands_for, like.opacity
    ).with_strength(like.strength * strength)


def measure_toner(
    name: str,
    letdowns: Sequence[LetDown],
    white: Toner,
    optics: Optics,
    limits: TintLimits,
    like: Toner | None = None,
) -> MeasuredToner:
    """Return a toner's K and S from one or more let-downs in ``white``.

    Parameters
    ----------
    name : what the shop calls it
    letdowns : at least one; a second at another share also shows the toner's own scattering
    white : the white they are let down in
    optics : the paint's surface
    limits : for what a let-down cannot show
    like : a toner of the same pigment class, for a truer spectrum than the smoothest
    """
    if not letdowns:
        raise TintError("a toner is measured from at least one let-down in white: spray and photograph one")
    labs = [letdown.colour.lab for letdown in letdowns]
    K, S = _solved(labs, letdowns, white, optics, limits, like)
    spread = np.zeros((WAVELENGTHS_NM.size, WAVELENGTHS_NM.size))
    for i, letdown in enumerate(letdowns):
        slopes = np.empty((WAVELENGTHS_NM.size, 3))
        for axis in range(3):
            moved = [lab + LAB_STEP * np.eye(3)[axis] if j == i else lab for j, lab in enumerate(labs)]
            slopes[:, axis] = (_solved(moved, letdowns, white, optics, limits, like)[0] - K) / LAB_STEP
        spread += slopes @ letdown.colour.covariance @ slopes.T
    weight = K / np.sum(K**2)  # the strength's logarithm moves by the change of K along K itself
    seen = float(np.sqrt(weight @ spread @ weight))
    shape = limits.letdown_shape_sd if like is None else 0.0
    sd = float(np.sqrt(seen**2 + limits.letdown_sd**2 + shape**2))
    toner = Toner(name, K, S, 1.0, "measured from let-downs")
    left = tuple(_left(toner, letdown, white, optics) for letdown in letdowns)
    return MeasuredToner(toner, np.sqrt(np.diag(spread)), sd, left, _reasons(letdowns, sd, left, like is None, limits))


def _solved(
    labs: Sequence[Array],
    letdowns: Sequence[LetDown],
    white: Toner,
    optics: Optics,
    limits: TintLimits,
    like: Toner | None,
) -> tuple[Array, Array]:
    """Return K and S (31,) by non-negative least squares for each band.

    c K - Q c S = Q (1-c) Sw - (1-c) Kw for each let-down of share c and K/S = Q, in units of Q's own error, and
    S = assumed with its spread.
    """
    Q = np.stack(
        [
            absorption_over_scattering(
                smoothest_spectrum(lab, optics, _start(lab, letdown, white, optics, like)).internal
            )
            for lab, letdown in zip(labs, letdowns, strict=True)
        ]
    )
    c = np.array([letdown.share_by_weight for letdown in letdowns])[:, None]
    Kw, Sw = white.strength * white.absorption, white.strength * white.scattering
    wanted = (1 - c) * (Q * Sw - Kw)
    scale = 1 / (Q * ((1 - c) * Sw + c * limits.letdown_scattering))
    assumed, spread = _assumed_scattering(limits, like)
    K, S = np.empty(WAVELENGTHS_NM.size), np.empty(WAVELENGTHS_NM.size)
    for band in range(WAVELENGTHS_NM.size):
        rows = np.stack([c[:, 0] * scale[:, band], -(c[:, 0] * Q[:, band] * scale[:, band])], axis=1)
        A = np.vstack([rows / limits.letdown_sd, [0.0, 1 / spread]])
        b = np.append(wanted[:, band] * scale[:, band] / limits.letdown_sd, assumed[band] / spread)
        K[band], S[band] = nnls(A, b)[0]
    return K, S


def _assumed_scattering(limits: TintLimits, like: Toner | None) -> tuple[Array, float]:
    if like is None:
        return np.full(WAVELENGTHS_NM.size, limits.letdown_scattering), limits.letdown_scattering_sd
    return like.strength * like.scattering, limits.letdown_scattering_sd


def _start(lab: Array, letdown: LetDown, white: Toner, optics: Optics, like: Toner | None) -> Array:
    """Return (31,) the spectrum to depart from: the class in this white, or this white greyed to the lightness."""
    if like is not None:
        return opaque_reflectance(*mixture([like, white], [letdown.share_by_weight, 1 - letdown.share_by_weight]))
    grey = smoothest_spectrum([lab[0], 0.0, 0.0], optics).internal
    Q = absorption_over_scattering(grey) + white.absorption / white.scattering
    return opaque_reflectance(Q, 1.0)


def _left(toner: Toner, letdown: LetDown, white: Toner, optics: Optics) -> float:
    shares = [letdown.share_by_weight, 1 - letdown.share_by_weight]
    lab = lab_from_reflectance(paint_reflectance([toner, white], shares, optics))
    return float(np.linalg.norm(lab - letdown.colour.lab))


def _reasons(
    letdowns: Sequence[LetDown], sd: float, left: Sequence[float], smoothest: bool, limits: TintLimits
) -> tuple[str, ...]:
    reasons = []
    if len({letdown.share_by_weight for letdown in letdowns}) == 1:
        reasons.append("One let-down does not show how much the toner hides by itself: a second share would.")
    if smoothest:
        reasons.append("Three numbers do not fix a spectrum: say which pigment class the toner resembles, if you know.")
    if max(left) > limits.letdown_misfit:
        reasons.append("The let-downs do not fit one toner: check the weights, or give the pigment class it resembles.")
    if sd > limits.letdown_weak:
        reasons.append(
            f"Its strength is known to about {100 * sd:.0f} % only: use more toner in the white, or repeat the photo."
        )
    return tuple(reasons)
