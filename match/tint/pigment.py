"""Paint as absorption and scattering spectra: two-constant Kubelka-Munk with the Saunderson surface correction.

References
----------
Kubelka, P. and Munk, F. (1931), Z. tech. Physik 12:593 (opaque layer); Kubelka, P. (1948), J. Opt. Soc. Am. 38:448
(layer over a backing, hyperbolic form); Duncan, D. R. (1940), Proc. Phys. Soc. 52:390 (additivity by weight);
Saunderson, J. L. (1942), J. Opt. Soc. Am. 32:727 (reflection at the paint's surface).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from match.calibration import quantity
from match.colorimetry import Array
from match.errors import TintError

WAVELENGTHS_NM: Array = np.arange(400.0, 701.0, 10.0)
WAVELENGTHS_NM.flags.writeable = False
REFERENCE_WAVELENGTH_NM = 550.0  # where the shapes' powers of wavelength equal one: a convention, not a measurement


@dataclass(frozen=True)
class Optics:
    """Reflection at the paint's surface, each a fraction 0..1.

    Attributes
    ----------
    k1 : light reflected by the surface before it enters the paint
    k2 : light turned back by the surface from inside
    """

    k1: float = quantity("1")
    k2: float = quantity("1")


@dataclass(frozen=True)
class TonerShape:
    """Compact description of one toner's spectra, as stored in ``calibration/toners.toml``.

    K(w) = floor (550/w)^slope + sum of Gaussian bands + sum of logistic edges (absorbing on the short-wave side);
    S(w) = level (550/w)^slope. K and S are relative: a film's thickness is counted in the unit in which the white
    toner scatters 1.0 at 550 nm.
    """

    stands_for: str
    opacity: str
    absorption_floor: float = quantity("relative K")
    absorption_slope: float = quantity("1")
    band_centres_nm: tuple[float, ...] = quantity("nm")
    band_widths_nm: tuple[float, ...] = quantity("nm")
    band_heights: tuple[float, ...] = quantity("relative K")
    edge_centres_nm: tuple[float, ...] = quantity("nm")
    edge_widths_nm: tuple[float, ...] = quantity("nm")
    edge_heights: tuple[float, ...] = quantity("relative K")
    scattering_level: float = quantity("relative S")
    scattering_slope: float = quantity("1")


@dataclass(frozen=True)
class TonerFile:
    """The whole of ``calibration/toners.toml``: surface optics and toner shapes by name."""

    optics: Optics
    toners: dict[str, TonerShape]


@dataclass(frozen=True, eq=False)
class Toner:
    """One single-pigment toner.

    Attributes
    ----------
    name : what the shop calls it
    absorption, scattering : (31,) relative K and S at :data:`WAVELENGTHS_NM`, >= 0, per unit share by weight
    strength : multiplies both; 1.0 is the toner as described, 1.1 one that tints as if there were 10 % more of it
    stands_for, opacity : the pigment class and how well it hides, for the reader
    own_binder : whether it brings the binder that it needs; none where that is not known
    weak_of : the toner whose pigment it holds let down, or empty
    """

    name: str
    absorption: Array
    scattering: Array
    strength: float = 1.0
    stands_for: str = ""
    opacity: str = ""
    own_binder: bool | None = None
    weak_of: str = ""

    def __post_init__(self) -> None:
        """Check the spectra once, so that the formulas below need not."""
        for spectrum in (self.absorption, self.scattering):
            if np.shape(spectrum) != WAVELENGTHS_NM.shape or not np.all(np.isfinite(spectrum)) or np.any(spectrum < 0):
                raise TintError(
                    f"the toner {self.name!r} needs {WAVELENGTHS_NM.size} absorption and scattering values, "
                    "none below zero: correct its spectra"
                )
        if not (np.isfinite(self.strength) and self.strength > 0):
            raise TintError(f"the toner {self.name!r} has strength {self.strength!r}: give a number above zero")

    def with_strength(self, strength: float) -> Self:
        """Return the same toner with another strength."""
        return replace(self, strength=strength)


def spectral_toner(name: str, shape: TonerShape) -> Toner:
    """Evaluate a stored shape at :data:`WAVELENGTHS_NM`."""
    w = WAVELENGTHS_NM
    lengths = {len(shape.band_centres_nm), len(shape.band_widths_nm), len(shape.band_heights)}
    if len(lengths) != 1 or len({len(shape.edge_centres_nm), len(shape.edge_widths_nm), len(shape.edge_heights)}) != 1:
        raise TintError(f"the toner {name!r} has bands or edges with missing numbers: give centre, width and height")
    K = shape.absorption_floor * (REFERENCE_WAVELENGTH_NM / w) ** shape.absorption_slope
    for centre, width, height in zip(shape.band_centres_nm, shape.band_widths_nm, shape.band_heights, strict=True):
        K = K + height * np.exp(-0.5 * ((w - centre) / width) ** 2)
    for centre, width, height in zip(shape.edge_centres_nm, shape.edge_widths_nm, shape.edge_heights, strict=True):
        K = K + height / (1 + np.exp((w - centre) / width))
    S = shape.scattering_level * (REFERENCE_WAVELENGTH_NM / w) ** shape.scattering_slope
    return Toner(name, K, S, 1.0, shape.stands_for, shape.opacity)


def toner_set(file: TonerFile) -> dict[str, Toner]:
    """Return every toner of a loaded toner file, by name, in the file's order."""
    return {name: spectral_toner(name, shape) for name, shape in file.toners.items()}


def formula_toners(shelf: Mapping[str, Toner], formula: Mapping[str, float]) -> tuple[tuple[Toner, ...], Array]:
    """Return a formula's toners and their shares by weight (sum 1) from parts by weight, in the formula's order."""
    unknown = [name for name in formula if name not in shelf]
    if unknown:
        raise TintError(f"no toner is called {unknown[0]!r}: use one of {', '.join(shelf)}, or add it with its spectra")
    parts = np.array(list(formula.values()), dtype=np.float64)
    if parts.size == 0 or not np.all(np.isfinite(parts)) or np.any(parts < 0) or parts.sum() <= 0:
        raise TintError("a formula needs at least one toner, and parts by weight that are not below zero")
    return tuple(shelf[name] for name in formula), parts / parts.sum()


def mixture(toners: Sequence[Toner], shares_by_weight: ArrayLike) -> tuple[Array, Array]:
    """Return K and S of a mixture: sums over toners of share x strength x spectrum (Duncan 1940).

    Parameters
    ----------
    toners : n toners
    shares_by_weight : (..., n) shares or parts by weight, >= 0; not rescaled

    Returns
    -------
    tuple of (..., 31) arrays
    """
    shares = np.asarray(shares_by_weight, dtype=np.float64)
    if shares.shape[-1:] != (len(toners),):
        raise TintError(f"{len(toners)} toners need as many shares, got {shares.shape[-1] if shares.ndim else 1}")
    if not np.all(np.isfinite(shares)) or np.any(shares < 0):
        raise TintError("shares by weight must be numbers not below zero: toner cannot be taken out of paint")
    strengths = np.array([toner.strength for toner in toners])
    K = np.stack([toner.absorption for toner in toners])
    S = np.stack([toner.scattering for toner in toners])
    return (shares * strengths) @ K, (shares * strengths) @ S


def opaque_reflectance(K: ArrayLike, S: ArrayLike) -> Array:
    """Return internal reflectance 0..1 of a layer that hides: R = 1 + Q - sqrt(Q^2 + 2Q), Q = K/S.

    Computed as 1 / (1 + Q + sqrt(Q^2 + 2Q)), the same number without cancellation at large Q. S must be above zero.
    """
    Q = np.asarray(K, dtype=np.float64) / np.asarray(S, dtype=np.float64)
    return np.asarray(1 / (1 + Q + np.sqrt(Q * (Q + 2))), dtype=np.float64)


def absorption_over_scattering(R: ArrayLike) -> Array:
    """Return K/S = (1-R)^2 / (2R) of a hiding layer with internal reflectance R, 0 < R <= 1."""
    R = np.asarray(R, dtype=np.float64)
    if np.any(R <= 0) or np.any(R > 1):
        raise TintError("internal reflectance must be above 0 and at most 1: check the measurement")
    return np.asarray((1 - R) ** 2 / (2 * R), dtype=np.float64)


def film_reflectance(K: ArrayLike, S: ArrayLike, thickness: ArrayLike, backing: ArrayLike) -> Array:
    """Return internal reflectance of a film over a backing of internal reflectance ``backing`` (Kubelka 1948).

    R = (1 - Rg (a - b coth bSX)) / (a - Rg + b coth bSX) with a = 1 + K/S, b = sqrt(a^2 - 1), written with
    t = tanh(bSX)/b so that thickness 0 (R = Rg) and K = 0 (no absorption) are no special points:
    R = (Rg + t (1 - a Rg)) / (1 + t (a - Rg)).

    Parameters
    ----------
    K, S : relative absorption (>= 0) and scattering (> 0), broadcast with the rest
    thickness : film thickness in the unit of K and S, >= 0
    backing : Rg, 0..1
    """
    K, S = np.asarray(K, dtype=np.float64), np.asarray(S, dtype=np.float64)
    X, Rg = np.asarray(thickness, dtype=np.float64), np.asarray(backing, dtype=np.float64)
    a = 1 + K / S
    b = np.sqrt(K / S * (K / S + 2))
    argument = b * S * X
    small = argument < 1e-6  # here tanh(bSX)/b equals SX to better than 1e-12
    t = np.where(small, S * X, np.tanh(argument) / np.where(small, 1.0, b))
    return np.asarray((Rg + t * (1 - a * Rg)) / (1 + t * (a - Rg)), dtype=np.float64)


def saunderson_measured(R: ArrayLike, k1: float, k2: float) -> Array:
    """Return measured reflectance from internal: Rm = k1 + (1-k1)(1-k2) R / (1 - k2 R), surface gloss included."""
    R = np.asarray(R, dtype=np.float64)
    return np.asarray(k1 + (1 - k1) * (1 - k2) * R / (1 - k2 * R), dtype=np.float64)


def saunderson_internal(Rm: ArrayLike, k1: float, k2: float) -> Array:
    """Return internal reflectance from measured: R = (Rm - k1) / (1 - k1 - k2 + k2 Rm)."""
    Rm = np.asarray(Rm, dtype=np.float64)
    return np.asarray((Rm - k1) / (1 - k1 - k2 + k2 * Rm), dtype=np.float64)


def surface_reflectance(R: ArrayLike, optics: Optics) -> Array:
    """Return what a photo that excludes gloss sees: Saunderson's measured reflectance less the first reflection k1."""
    return np.asarray(saunderson_measured(R, optics.k1, optics.k2) - optics.k1, dtype=np.float64)


def internal_reflectance(Rm: ArrayLike, optics: Optics) -> Array:
    """Return internal reflectance from what a photo that excludes gloss sees (see :func:`surface_reflectance`)."""
    return saunderson_internal(np.asarray(Rm, dtype=np.float64) + optics.k1, optics.k1, optics.k2)


def paint_reflectance(toners: Sequence[Toner], shares_by_weight: ArrayLike, optics: Optics) -> Array:
    """Return reflectance 0..1 (..., 31), gloss excluded, of a hiding coat mixed from toners in shares by weight."""
    return surface_reflectance(opaque_reflectance(*mixture(toners, shares_by_weight)), optics)
