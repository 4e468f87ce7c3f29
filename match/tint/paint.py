"""The untinted paint as absorption and scattering, and the colour after toners are added to it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import nnls

from match.colorimetry import Array
from match.errors import TintError
from match.record import Record
from match.tint.pigment import (
    Optics,
    Toner,
    absorption_over_scattering,
    formula_toners,
    mixture,
    opaque_reflectance,
    surface_reflectance,
)
from match.tint.recovery import smoothest_spectrum
from match.tint.viewing import lab_from_reflectance

SHARES_WEIGHT = 1e3  # how strictly guessed shares must add up to one, against relative errors of order one


@dataclass(frozen=True, eq=False)
class BasePaint(Record):
    """The untinted mix.

    Attributes
    ----------
    absorption, scattering : (31,) relative K and S per unit weight of paint
    lab : (3,) its measured CIELAB
    formula : shares by weight, as given or guessed
    guessed : whether the formula is a guess from the colour alone
    lab_left : CIELAB length of what the spectrum could not reproduce; zero for ordinary paint
    """

    absorption: Array
    scattering: Array
    lab: Array
    formula: Mapping[str, float]
    guessed: bool
    lab_left: float

    @property
    def internal(self) -> Array:
        """Return (31,) internal reflectance of the hiding paint."""
        return opaque_reflectance(self.absorption, self.scattering)


def base_paint(
    lab: ArrayLike,
    shelf: Mapping[str, Toner],
    optics: Optics,
    formula: Mapping[str, float] | None = None,
    toner_share: float = 1.0,
) -> BasePaint:
    """Return the untinted paint's K and S from its measured colour and, if known, its formula.

    The formula's spectrum is corrected by the smoothest factor that gives the measured colour; scattering is kept from
    the formula. Without a formula, the smoothest spectrum of that colour is taken and the toners that make it are
    guessed by non-negative least squares on the Kubelka-Munk equations, linear in the shares, for the scattering.

    Parameters
    ----------
    lab : (3,) measured CIELAB, D65, 2 degrees
    shelf : toners by name
    optics : the paint's surface
    formula : parts by weight of toners, any scale
    toner_share : share of the paint's weight that is toner, 0..1; the rest is clear binder, thinner, hardener
    """
    if not 0 < toner_share <= 1:
        raise TintError(f"the share of toner in the paint is {toner_share!r}: give a number above 0 and at most 1")
    if formula is None:
        shares = guess_formula(smoothest_spectrum(lab, optics).internal, shelf)
    else:
        _, weights = formula_toners(shelf, formula)
        shares = dict(zip(formula, weights.tolist(), strict=True))
    K, S = mixture([shelf[name] for name in shares], list(shares.values()))
    recovered = smoothest_spectrum(lab, optics, opaque_reflectance(K, S))
    K = absorption_over_scattering(recovered.internal) * S
    measured = np.asarray(lab, dtype=np.float64)
    return BasePaint(K * toner_share, S * toner_share, measured, shares, formula is None, recovered.lab_left)


def guess_formula(internal: Array, shelf: Mapping[str, Toner]) -> dict[str, float]:
    """Return shares by weight (sum 1) of the toners that best make an internal reflectance spectrum (31,).

    For each band sum c_i (K_i - Q S_i) = 0 with Q = K/S of the spectrum; rows are scaled to relative errors of Q.
    """
    Q = absorption_over_scattering(internal)
    K = np.stack([toner.strength * toner.absorption for toner in shelf.values()], axis=1)
    S = np.stack([toner.strength * toner.scattering for toner in shelf.values()], axis=1)
    rows = (K - Q[:, None] * S) / (Q[:, None] + np.median(Q))
    A = np.vstack([rows, np.full((1, K.shape[1]), SHARES_WEIGHT)])
    wanted = np.zeros(A.shape[0])
    wanted[-1] = SHARES_WEIGHT
    shares, _ = nnls(A, wanted)
    kept = {name: float(c) for name, c in zip(shelf, shares, strict=True) if c > 1e-6}
    total = sum(kept.values())
    return {name: c / total for name, c in kept.items()}


@dataclass(frozen=True, eq=False)
class TintModel:
    """Untinted paint and toners as arrays, ready for many predictions.

    Attributes
    ----------
    names : n toner names, in the order of every array below and of every ``parts`` argument
    base_absorption, base_scattering : (31,)
    toner_absorption, toner_scattering : (n, 31), strength included
    optics : the paint's surface
    """

    names: tuple[str, ...]
    base_absorption: Array
    base_scattering: Array
    toner_absorption: Array
    toner_scattering: Array
    optics: Optics

    def parts(self, by_name: Mapping[str, float]) -> Array:
        """Return (n,) parts of base in this model's order."""
        unknown = [name for name in by_name if name not in self.names]
        if unknown:
            raise TintError(f"no toner is called {unknown[0]!r}: use one of {', '.join(self.names)}, or add it first")
        return np.array([by_name.get(name, 0.0) for name in self.names])


def tint_model(base: BasePaint, shelf: Mapping[str, Toner], optics: Optics) -> TintModel:
    """Return the model of ``base`` with every toner of ``shelf``."""
    if not shelf:
        raise TintError("no toner to add: put at least one on the shelf")
    return TintModel(
        tuple(shelf),
        base.absorption,
        base.scattering,
        np.stack([toner.strength * toner.absorption for toner in shelf.values()]),
        np.stack([toner.strength * toner.scattering for toner in shelf.values()]),
        optics,
    )


def tinted_reflectance(model: TintModel, parts: ArrayLike, log_strengths: ArrayLike) -> Array:
    """Return (..., 31) reflectance, gloss excluded, of base plus ``parts`` (..., n) by weight of each toner.

    ``log_strengths`` (..., n) are natural logarithms of factors on the toners' described strengths.
    """
    effective = np.asarray(parts, dtype=np.float64) * np.exp(np.asarray(log_strengths, dtype=np.float64))
    K = model.base_absorption + effective @ model.toner_absorption
    S = model.base_scattering + effective @ model.toner_scattering
    return surface_reflectance(opaque_reflectance(K, S), model.optics)


def untinted_lab(model: TintModel) -> Array:
    """Return (3,) the model's own CIELAB of the untinted paint."""
    return lab_from_reflectance(tinted_reflectance(model, np.zeros(len(model.names)), 0.0))


def lab_change(model: TintModel, parts: ArrayLike, log_strengths: ArrayLike, turns: ArrayLike | None = None) -> Array:
    """Return (..., 3) change of CIELAB from the untinted paint.

    Parameters
    ----------
    parts : (..., n) grams of toner per gram of untinted paint
    log_strengths : (..., n) as in :func:`tinted_reflectance`
    turns : (..., n, 3) departure of each toner's effect from the model's direction, as a share of the effect's size, in
        CIELAB axes; what lies along the effect is strength's business and is left out

    The change, not the colour, is predicted: it is added to the measured card, so that errors of the base cancel.
    """
    untinted = untinted_lab(model)
    change = lab_from_reflectance(tinted_reflectance(model, parts, log_strengths)) - untinted
    if turns is None:
        return change
    x, s, turns = np.asarray(parts, dtype=np.float64), np.asarray(log_strengths), np.asarray(turns)
    for i in range(len(model.names)):
        if np.any(x[..., i]) and np.any(turns[..., i, :]):
            change = change + turned(solo_change(model, i, x[..., i], s[..., i], untinted), turns[..., i, :])
    return change


def solo_change(model: TintModel, i: int, parts: ArrayLike, log_strength: ArrayLike, untinted: Array) -> Array:
    """Return (..., 3) CIELAB change that toner number ``i`` alone makes."""
    effective = (np.asarray(parts) * np.exp(log_strength))[..., None]
    K = model.base_absorption + effective * model.toner_absorption[i]
    S = model.base_scattering + effective * model.toner_scattering[i]
    return lab_from_reflectance(surface_reflectance(opaque_reflectance(K, S), model.optics)) - untinted


def turned(effect: Array, turn: Array) -> Array:
    """Return (..., 3) |effect| times the part of ``turn`` across the effect."""
    size = np.linalg.norm(effect, axis=-1, keepdims=True)
    unit = effect / np.maximum(size, 1e-12)
    return np.asarray(size * (turn - unit * np.sum(unit * turn, axis=-1, keepdims=True)))
