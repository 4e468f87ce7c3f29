"""The whole mix as one model, and what its cards teach: for paint whose formula is known.

Unknown are, for each toner, the logarithm of its strength, of its scattering beside that, and a smooth change of its
absorption spectrum; and one shift in CIELAB, the model's own misfit, common to every mix of these toners. The shelf
gives the prior; every card of every mix is evidence:

    card = colour(shares of toner in the mix; strengths, spectra) + shift + spraying + measuring.

Gaussian about the most probable values, by Gauss-Newton (Tarantola, A., Inverse Problem Theory, 2005, section 3.2).
Because misfit is common, what is left in doubt about a mix grows with its distance from those already sprayed: that
doubt, and no share of the pot, is what limits a step.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from match.colorimetry import Array
from match.tint.card import CardColour
from match.tint.limits import TintLimits
from match.tint.pigment import WAVELENGTHS_NM, Optics, Toner, opaque_reflectance, surface_reflectance
from match.tint.recovery import lab_jacobian_of_reflectance
from match.tint.strengths import StrengthBelief
from match.tint.viewing import lab_from_reflectance, viewing

SHAPES = 4  # cosines over the visible: the finest is 75 nm wide, about the width of an organic pigment's band
PER_TONER = 2 + SHAPES
MOST_STEPS = 30
CLOSE = 1e-6
LONGEST_STEP = 2.0  # of an unknown in one Gauss-Newton step, in prior standard deviations


def _cosines() -> Array:
    place = np.linspace(0.0, 1.0, WAVELENGTHS_NM.size)
    waves = [np.cos(np.pi * order * place) for order in range(1, SHAPES + 1)]
    return np.asarray(np.sqrt(2) * np.stack(waves), dtype=np.float64)


_SHAPES = _cosines()


@dataclass(frozen=True, eq=False)
class WholeMix:
    """Toners as arrays.

    Attributes
    ----------
    names : n toner names
    absorption, scattering : (n, 31), described strength included
    strength_sd : (n,) prior standard deviation of each log-strength
    optics : the paint's surface
    """

    names: tuple[str, ...]
    absorption: Array
    scattering: Array
    strength_sd: Array
    optics: Optics

    @property
    def size(self) -> int:
        """Return how many unknowns there are: three for the shift, then those of each toner."""
        return 3 + PER_TONER * len(self.names)

    def shares(self, by_name: Mapping[str, float]) -> Array:
        """Return (n,) shares or parts by weight in this model's order."""
        return np.array([by_name.get(name, 0.0) for name in self.names])


@dataclass(frozen=True, eq=False)
class MixBelief(StrengthBelief):
    """Gaussian belief about a :class:`WholeMix`; ``held`` (n,) counts the cards that held each toner."""

    held: tuple[int, ...]

    @property
    def strength_places(self) -> slice:
        """The first of each toner's, after the shift's three."""
        return slice(3, None, PER_TONER)


def whole_mix(names: Sequence[str], shelf: Mapping[str, Toner], optics: Optics, strength_sd: Array) -> WholeMix:
    """Return the model of the toners ``names``."""
    toners = [shelf[name] for name in names]
    return WholeMix(
        tuple(names),
        np.stack([toner.strength * toner.absorption for toner in toners]),
        np.stack([toner.strength * toner.scattering for toner in toners]),
        strength_sd,
        optics,
    )


def spectra(model: WholeMix, unknowns: Array) -> tuple[Array, Array]:
    """Return K and S (..., n, 31) of the toners for ``unknowns`` (..., u)."""
    by_toner = unknowns[..., 3:].reshape(*unknowns.shape[:-1], len(model.names), PER_TONER)
    strength = np.exp(by_toner[..., 0])[..., None]
    K = model.absorption * strength * np.exp(by_toner[..., 2:] @ _SHAPES)
    return K, model.scattering * strength * np.exp(by_toner[..., 1])[..., None]


def mix_reflectance(model: WholeMix, unknowns: Array, shares: Array) -> Array:
    """Return (..., 31) reflectance, gloss excluded, of mixes ``shares`` (..., n); only their proportions count."""
    K, S = spectra(model, unknowns)
    mixed_K, mixed_S = (np.einsum("...n,...nw->...w", shares, part) for part in (K, S))
    return surface_reflectance(opaque_reflectance(mixed_K, mixed_S), model.optics)


def mix_lab(model: WholeMix, unknowns: Array, shares: Array) -> Array:
    """Return (..., 3) card CIELAB of mixes, shift included."""
    return lab_from_reflectance(mix_reflectance(model, unknowns, shares)) + unknowns[..., :3]


def mix_jacobian(model: WholeMix, unknowns: Array, shares: Array) -> Array:
    """Return (3, u) derivative of :func:`mix_lab` by the unknowns, for one mix."""
    K, S = spectra(model, unknowns)
    parts_K, parts_S = shares[:, None] * K, shares[:, None] * S
    mixed_K, mixed_S = parts_K.sum(axis=0), parts_S.sum(axis=0)
    Q = mixed_K / mixed_S
    R = opaque_reflectance(mixed_K, mixed_S)
    measured = surface_reflectance(R, model.optics)
    k1, k2 = model.optics.k1, model.optics.k2
    slope = (1 - k1) * (1 - k2) / (1 - k2 * R) ** 2 * (-R / np.sqrt(np.maximum(Q * (Q + 2), 1e-12)))
    by_Q = lab_jacobian_of_reflectance(measured, viewing()) * slope
    J = np.zeros((3, model.size))
    J[:, :3] = np.eye(3)
    for i in range(len(model.names)):
        by_absorption, by_scattering = parts_K[i] / mixed_S, -Q * parts_S[i] / mixed_S
        changes = np.vstack([by_absorption + by_scattering, by_scattering, by_absorption * _SHAPES])
        J[:, 3 + PER_TONER * i : 3 + PER_TONER * (i + 1)] = by_Q @ changes.T
    return J


def prior(model: WholeMix, limits: TintLimits) -> tuple[Array, Array]:
    """Return the unknowns' prior mean (u,) and variances (u,)."""
    variances = np.empty(model.size)
    variances[:3] = limits.shift_sd**2
    by_toner = variances[3:].reshape(len(model.names), PER_TONER)
    by_toner[:, 0] = model.strength_sd**2
    by_toner[:, 1] = limits.scattering_sd**2
    by_toner[:, 2:] = (limits.shape_sd / np.sqrt(np.arange(1, SHAPES + 1))) ** 2
    return np.zeros(model.size), variances


def learn_mix(model: WholeMix, cards: Sequence[tuple[Array, CardColour]], limits: TintLimits) -> MixBelief:
    """Return the belief after every card.

    Parameters
    ----------
    model : the toners of every mix among the cards
    cards : shares (n,) of each mix, and its card
    limits : for the prior and the spread of spraying
    """
    start, variances = prior(model, limits)
    precision = np.diag(1 / variances)
    weights = [np.linalg.inv(card.covariance + limits.card_sd**2 * np.eye(3)) for _, card in cards]
    longest = LONGEST_STEP * np.sqrt(variances)
    u, hessian = start, precision
    for _ in range(MOST_STEPS):
        hessian, gradient = precision.copy(), precision @ (start - u)
        for (shares, card), weight in zip(cards, weights, strict=True):
            J = mix_jacobian(model, u, shares)
            hessian += J.T @ weight @ J
            gradient += J.T @ weight @ (card.lab - mix_lab(model, u, shares))
        step = np.clip(np.linalg.solve(hessian, gradient), -longest, longest)
        u = u + step
        if np.abs(step).max() < CLOSE:
            break
    covariance = np.linalg.inv(hessian)
    held = tuple(int(sum(shares[i] > 0 for shares, _ in cards)) for i in range(len(model.names)))
    return MixBelief(model.names, u, (covariance + covariance.T) / 2, model.strength_sd, held)
