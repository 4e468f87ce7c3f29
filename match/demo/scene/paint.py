"""The two paints of a scene as spectra, and their true colours.

Paints are Kubelka-Munk mixtures of the generic toners, gloss excluded. The card is the vehicle's formula with every
share disturbed, by as much as gives the CIEDE2000 that was asked for. Flake is added on top as a change of lightness
with angle; what that leaves out is said at :func:`flop_factor`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq, least_squares

from match.colorimetry import Array, delta_e00
from match.demo.scene.description import Paint
from match.demo.scene.settings import ScenePhysics
from match.errors import MatchError
from match.tint.pigment import WAVELENGTHS_NM, Optics, Toner, formula_toners, paint_reflectance
from match.tint.viewing import lab_from_reflectance

FACE_ANGLE_DEG = 45.0
"""Aspecular angle at which a paint is described; the middle of the three used for flake paint (ASTM E2194's scope)."""

DIRECTIONS_TRIED = 40
SEARCH_STEPS = np.linspace(0.0125, 3.0, 240)


@dataclass(frozen=True, eq=False)
class PaintPair:
    """Body spectra (31,) at the face angle, and the true colours (3,) at the view angle, D65 and 2 degrees.

    ``more`` are the spectra of the cards beside the first, ``more_true_delta_e00`` their differences from the vehicle.
    """

    vehicle: Array
    card: Array
    vehicle_lab: Array
    card_lab: Array
    true_delta_e00: float
    more: tuple[Array, ...] = ()
    more_true_delta_e00: tuple[float, ...] = ()


def flop_factor(angle_deg: ArrayLike, flop: float, physics: ScenePhysics) -> Array:
    """Return how much brighter than at the face a flake paint is at an aspecular angle (any shape); 1 for a solid.

    f(a) = exp(flop (exp((45 - a) / decay) - 1)): with flop 2.3 and a decay of 60 degrees, L* 60 at the face becomes L*
    110 at 15 degrees and 30 at 110 degrees, the travel of a strong silver (engineering choice). One factor for all
    wavelengths and one direction of light: left out are the pigment's part in the hue of the flop, the second angle of
    illumination, and uneven flake orientation over a panel.
    """
    angle = np.asarray(angle_deg, dtype=np.float64)
    return np.asarray(np.exp(flop * (np.exp((FACE_ANGLE_DEG - angle) / physics.flop_decay_deg) - 1)))


def interference(angle_deg: float, physics: ScenePhysics) -> Array:
    """Return a pearl's band (31,), peak 1 at the face: with the angle it fades and moves to shorter wavelengths."""
    turned = angle_deg - FACE_ANGLE_DEG
    centre = physics.pearl_centre_nm + physics.pearl_shift * turned
    band = np.exp(-0.5 * ((WAVELENGTHS_NM - centre) / physics.pearl_width_nm) ** 2)
    return np.asarray(band * np.exp(-turned / physics.flop_decay_deg))


def at_angle(body: Array, paint: Paint, angle_deg: float, flop: float, physics: ScenePhysics) -> Array:
    """Return the spectrum (..., 31) that a paint of body spectrum (..., 31) shows at one aspecular angle."""
    lit = body * float(flop_factor(angle_deg, flop, physics))
    return np.asarray(lit + paint.pearl_strength * interference(angle_deg, physics))


def paint_pair(
    paint: Paint, shelf: Mapping[str, Toner], optics: Optics, physics: ScenePhysics, rng: np.random.Generator
) -> PaintPair:
    """Return the vehicle's and the card's spectra, the card disturbed in a direction drawn from ``rng``."""
    toners, shares = formula_toners(shelf, dict(paint.formula))
    vehicle = paint_reflectance(toners, shares, optics)
    angle = paint.view_angle_deg
    vehicle_lab = lab_from_reflectance(at_angle(vehicle, paint, angle, paint.flop, physics))

    def card_lab(body: Array) -> Array:
        return lab_from_reflectance(at_angle(body, paint, angle, paint.flop * paint.card_flop_ratio, physics))

    if paint.card_toners:
        toners, _ = formula_toners(shelf, dict.fromkeys(paint.card_toners, 1.0))
        shares = _matched_shares(toners, optics, lambda body: card_lab(body) - vehicle_lab)
    difference = _Difference(toners, shares, optics, lambda body: delta_e00(card_lab(body), vehicle_lab))
    card = _disturbed(difference, paint.true_delta_e00, rng)
    more = tuple(_disturbed(difference, wanted, rng) for wanted in paint.more_delta_e00)
    off = [float(delta_e00(card_lab(body), vehicle_lab)) for body in (card, *more)]
    return PaintPair(vehicle, card, vehicle_lab, card_lab(card), off[0], more, tuple(off[1:]))


@dataclass(frozen=True, eq=False)
class _Difference:
    """Shares disturbed along a direction, and how far that takes the card from the vehicle."""

    toners: tuple[Toner, ...]
    shares: Array
    optics: Optics
    delta_e00: Callable[[Array], Array]

    def spectrum(self, t: ArrayLike, direction: Array) -> Array:
        """Return (..., 31) for distances t (...) along ``direction``: shares x exp(t direction), rescaled to sum 1."""
        changed = self.shares * np.exp(np.asarray(t)[..., None] * direction)
        return paint_reflectance(self.toners, changed / changed.sum(axis=-1, keepdims=True), self.optics)

    def at(self, t: ArrayLike, direction: Array) -> Array:
        """Return CIEDE2000 (...) from the vehicle."""
        return self.delta_e00(self.spectrum(t, direction))


def _matched_shares(toners: tuple[Toner, ...], optics: Optics, miss: Callable[[Array], Array]) -> Array:
    """Return the shares of other toners that come nearest to the vehicle's colour."""

    def residual(log_shares: Array) -> Array:
        shares = np.exp(log_shares)
        return miss(paint_reflectance(toners, shares / shares.sum(), optics))

    found = least_squares(residual, np.full(len(toners), -1.0), bounds=(-12.0, 3.0), max_nfev=400)
    shares = np.exp(found.x)
    return np.asarray(shares / shares.sum())


def _disturbed(difference: _Difference, wanted_delta_e00: float, rng: np.random.Generator) -> Array:
    """Return the spectrum at the first distance along a random direction where CIEDE2000 reaches what is wanted.

    A card that is further off undisturbed (other pigments that cannot come nearer) is left undisturbed.
    """
    still = np.zeros(len(difference.toners))
    if float(difference.at(0.0, still)) >= wanted_delta_e00:
        return difference.spectrum(0.0, still)
    for _ in range(DIRECTIONS_TRIED):
        direction = rng.standard_normal(len(difference.toners))
        beyond = np.flatnonzero(difference.at(SEARCH_STEPS, direction) > wanted_delta_e00 + 1e-6)
        if beyond.size:
            found = brentq(
                lambda t, way=direction: float(difference.at(t, way)) - wanted_delta_e00,
                0.0 if beyond[0] == 0 else SEARCH_STEPS[beyond[0] - 1],
                SEARCH_STEPS[beyond[0]],
                xtol=1e-9,
            )
            return difference.spectrum(found, direction)
    names = ", ".join(toner.name for toner in difference.toners)
    raise MatchError(
        f"no mixture of {names} was found that differs by {wanted_delta_e00:g} CIEDE2000: "
        "ask for another difference, or give the formula one more toner"
    )
