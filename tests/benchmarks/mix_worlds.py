"""Two invented worlds of pigments for the mix campaign: other spectra and other physics than the shelf's.

``radiative``: bands and edges on an energy scale, every pigment with an asymmetry of its own; a semi-infinite coat by
discrete ordinates (Chandrasekhar, S. (1950), Radiative Transfer; Stamnes, K. et al. (1988), Appl. Opt. 27:2502) under a
Fresnel surface of index 1.5, lit at 45 degrees and seen at 0; white loses scattering as it crowds.

``drawn``: curves drawn through hand-set points; Kubelka-Munk with other surface constants, and colourants that lose
strength as their share grows. Nothing of the tool was set by looking at it.

All spectra are invented for this project, shaped after pigment classes from memory. Of the tool only the wavelengths
and the shelf's let-downs are used: each pigment is scaled to tint white about as its class on the shelf does, so that
the hidden strength errors mean what they say.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from match.tint.pigment import WAVELENGTHS_NM, Optics, Toner, paint_reflectance

EV_NM = 1239.84
LET_DOWN = 0.04
INDEX = 1.5
CROWDING = 0.25
SURFACE_BACK = 0.62
LOSS_POWER = 0.95

# name: bands (nm, eV, height), edge (nm, eV, height) or None, floor, scattering, its power of wavelength, asymmetry
RADIATIVE = {
    "white": ([], (398.0, 0.045, 0.5), 0.0012, 1.0, -0.9, 0.55),
    "black": ([(430.0, 0.9, 1.5)], None, 4.6, 0.10, -0.6, 0.3),
    "red": ([(545.0, 0.085, 2.6), (508.0, 0.14, 3.0), (455.0, 0.3, 1.3)], None, 0.02, 0.30, 0.4, 0.75),
    "oxide red": ([(860.0, 0.2, 0.15)], (568.0, 0.055, 2.4), 0.16, 0.75, 0.5, 0.7),
    "magenta": ([(566.0, 0.07, 2.1), (532.0, 0.1, 2.5), (496.0, 0.16, 1.6)], None, 0.03, 0.16, 0.2, 0.7),
    "violet": ([(612.0, 0.075, 2.6), (566.0, 0.11, 3.8), (522.0, 0.15, 2.4)], None, 0.05, 0.12, -0.4, 0.65),
    "orange": ([(480.0, 0.3, 0.6)], (556.0, 0.05, 2.3), 0.01, 0.28, 0.6, 0.75),
    "yellow": ([(440.0, 0.22, 1.2)], (486.0, 0.05, 1.6), 0.004, 0.32, 0.3, 0.75),
    "oxide yellow": ([(650.0, 0.2, 0.06), (480.0, 0.22, 0.3)], (496.0, 0.08, 1.0), 0.05, 0.70, 0.3, 0.7),
    "green": ([(648.0, 0.12, 3.1), (715.0, 0.15, 2.3), (600.0, 0.12, 0.9)], (446.0, 0.12, 1.6), 0.03, 0.09, -0.3, 0.6),
    "green-shade blue": ([(628.0, 0.10, 3.6), (700.0, 0.16, 3.0), (580.0, 0.12, 1.5)], None, 0.03, 0.12, -0.5, 0.6),
    "red-shade blue": ([(605.0, 0.12, 3.3), (682.0, 0.17, 2.6), (556.0, 0.13, 1.8)], None, 0.04, 0.12, -0.5, 0.6),
}

ANCHORS_NM = (400.0, 430.0, 460.0, 490.0, 520.0, 550.0, 580.0, 610.0, 640.0, 670.0, 700.0)
# name: K at the anchors, S at 400, 550 and 700 nm
DRAWN = {
    "white": ((0.22, 0.01, 0.003, 0.002, 0.0015, 0.001, 0.001, 0.001, 0.001, 0.0015, 0.002), (1.05, 1.0, 0.82)),
    "black": ((12.5, 12.6, 12.4, 12.2, 12.0, 11.6, 11.2, 10.9, 10.5, 10.2, 10.0), (0.2, 0.16, 0.13)),
    "red": ((2.2, 2.4, 3.4, 5.0, 6.1, 5.0, 1.1, 0.12, 0.05, 0.04, 0.04), (0.18, 0.22, 0.3)),
    "oxide red": ((4.4, 4.2, 4.0, 3.7, 3.3, 2.5, 1.1, 0.5, 0.4, 0.42, 0.45), (0.45, 0.55, 0.75)),
    "magenta": ((0.7, 1.0, 2.2, 4.2, 5.6, 6.0, 2.2, 0.25, 0.06, 0.04, 0.03), (0.2, 0.16, 0.14)),
    "violet": ((0.5, 0.7, 1.3, 3.0, 5.8, 7.4, 7.6, 6.6, 2.8, 0.5, 0.15), (0.14, 0.1, 0.09)),
    "orange": ((4.2, 4.4, 4.5, 4.4, 4.0, 2.6, 0.4, 0.05, 0.02, 0.02, 0.02), (0.24, 0.3, 0.36)),
    "yellow": ((4.0, 4.4, 4.1, 1.9, 0.2, 0.02, 0.01, 0.008, 0.008, 0.006, 0.006), (0.3, 0.36, 0.38)),
    "oxide yellow": ((2.0, 2.1, 1.9, 1.35, 0.6, 0.2, 0.12, 0.13, 0.16, 0.15, 0.1), (0.5, 0.6, 0.66)),
    "green": ((3.9, 2.6, 0.7, 0.1, 0.06, 0.15, 1.5, 4.6, 6.6, 5.6, 5.2), (0.1, 0.08, 0.07)),
    "green-shade blue": ((0.7, 0.25, 0.1, 0.09, 0.3, 1.4, 4.6, 7.9, 7.0, 6.6, 6.6), (0.12, 0.09, 0.08)),
    "red-shade blue": ((0.9, 0.4, 0.15, 0.15, 0.7, 3.0, 6.6, 7.8, 6.6, 5.6, 5.0), (0.13, 0.1, 0.09)),
}


@dataclass(frozen=True, eq=False)
class Pigment:
    """One pigment: absorption and scattering (31,) for each unit share, how forward it scatters, and its density."""

    absorption: np.ndarray
    scattering: np.ndarray
    asymmetry: float = 0.0
    density: float = 1.0

    def times(self, factor: float) -> Pigment:
        """Return the pigment in a stronger or weaker toner."""
        return replace(self, absorption=self.absorption * factor, scattering=self.scattering * factor)


Held = list[tuple[Pigment, float]]
"""Pigments of a mix with their shares by weight."""

Coat = Callable[[Held, Pigment | None], np.ndarray]
"""What turns a mix, and the white in it, into (31,) reflectance, gloss excluded."""


@dataclass(frozen=True, eq=False)
class World:
    """Pigments by the shelf's names, and the physics that turns a mix of them into a reflectance."""

    coat: Coat
    pigments: dict[str, Pigment]

    def stronger(self, log_strengths: Mapping[str, float]) -> World:
        """Return the world as one shop's tins hold it."""
        tins = {name: p.times(float(np.exp(log_strengths.get(name, 0.0)))) for name, p in self.pigments.items()}
        return World(self.coat, tins)

    def reflectance(self, parts: Mapping[str, float]) -> np.ndarray:
        """Return (31,) reflectance, gloss excluded, of a hiding coat of a mix in parts by weight."""
        total = sum(parts.values())
        held = [(self.pigments[name], value / total) for name, value in parts.items() if value > 0]
        return self.coat(held, self.pigments["white"] if parts.get("white", 0.0) > 0 else None)


def radiative_world(shelf: Mapping[str, Toner], optics: Optics, rng: np.random.Generator) -> World:
    """Return one shop's pigments of the ``radiative`` family."""
    energy = EV_NM / WAVELENGTHS_NM
    pigments = {}
    for name, (bands, edge, floor, level, power, g) in RADIATIVE.items():
        a = np.full(energy.size, floor * np.exp(rng.normal(0, 0.15)))
        for centre, width, height in bands:
            x = (energy - EV_NM / (centre + rng.normal(0, 4.0))) / (width * np.exp(rng.normal(0, 0.12)))
            bell = 0.97 * np.exp(-np.log(2) * x**2) + 0.03 / (1 + x**2)  # pseudo-Voigt, width at half height
            a = a + height * np.exp(rng.normal(0, 0.15)) * bell
        if edge:
            x = (energy - EV_NM / (edge[0] + rng.normal(0, 3.0))) / (edge[1] * np.exp(rng.normal(0, 0.12)))
            a = a + edge[2] * (0.5 + np.arctan(np.clip(3 * x, -60, 60)) / np.pi) ** 2
        s = level * np.exp(rng.normal(0, 0.2)) * (WAVELENGTHS_NM / 550.0) ** (power + rng.normal(0, 0.2))
        pigments[name] = Pigment(a, s / (1 - g), g)
    return scaled(World(_half_space, pigments), shelf, optics)


def drawn_world(shelf: Mapping[str, Toner], optics: Optics, rng: np.random.Generator) -> World:
    """Return one shop's pigments of the ``drawn`` family."""
    pigments = {}
    for name, (absorption, scattering) in DRAWN.items():
        shift, stretch = rng.normal(0, 5.0), np.exp(rng.normal(0, 0.2) + 0.15 * np.cumsum(rng.normal(0, 0.4, 11)))
        curve = PchipInterpolator(ANCHORS_NM, np.log(np.array(absorption) * stretch))
        K = np.exp(curve(np.clip(WAVELENGTHS_NM - shift, 400.0, 700.0)))
        S = PchipInterpolator((400.0, 550.0, 700.0), scattering)(WAVELENGTHS_NM) * np.exp(rng.normal(0, 0.25))
        pigments[name] = Pigment(K, S)
    return scaled(World(_opaque, pigments), shelf, optics)


def scaled(world: World, shelf: Mapping[str, Toner], optics: Optics) -> World:
    """Return the world with every pigment tinting white as far, over the visible, as its class on the shelf does."""
    tins = {"white": world.pigments["white"]}
    clean = float(np.mean(World(world.coat, tins).reflectance({"white": 1.0})))
    bright = float(np.mean(paint_reflectance([shelf["white"]], [1.0], optics)))
    for name in (n for n in world.pigments if n != "white"):
        recipe = {"white": 1 - LET_DOWN, name: LET_DOWN}
        wanted = float(np.mean(paint_reflectance([shelf[n] for n in recipe], list(recipe.values()), optics))) / bright

        def missing(log_factor: float, name: str = name, recipe: dict[str, float] = recipe, wanted: float = wanted):
            pair = {"white": tins["white"], name: world.pigments[name].times(float(np.exp(log_factor)))}
            return float(np.mean(World(world.coat, pair).reflectance(recipe))) / clean - wanted

        tins[name] = world.pigments[name].times(float(np.exp(brentq(missing, -4.0, 4.0, xtol=1e-3))))
    return World(world.coat, tins)


def _opaque(held: Held, white: Pigment | None) -> np.ndarray:
    K = sum(share**LOSS_POWER * p.absorption for p, share in held)
    S = sum(share * p.scattering for p, share in held)
    ratio = K / S
    R = 1 + ratio - np.sqrt(ratio**2 + 2 * ratio)
    return 0.95 * (1 - SURFACE_BACK) * R / (1 - SURFACE_BACK * R)


def _directions() -> tuple[np.ndarray, np.ndarray]:
    """Return 8 cosines inside the paint and their weights: four that are turned back whole, four that get out."""
    critical = np.sqrt(1 - 1 / INDEX**2)
    x, w = np.polynomial.legendre.leggauss(4)
    low, high = critical * (x + 1) / 2, critical + (1 - critical) * (x + 1) / 2
    return np.concatenate([low, high]), np.concatenate([w * critical / 2, w * (1 - critical) / 2])


def _turned_back(mu: np.ndarray) -> np.ndarray:
    """Return the share of unpolarised light that the surface turns back from inside at cosines ``mu`` (Fresnel)."""
    sine = INDEX * np.sqrt(1 - mu**2)
    out = np.sqrt(np.maximum(1 - sine**2, 0.0))
    across, along = (INDEX * mu - out) / (INDEX * mu + out), (mu - INDEX * out) / (mu + INDEX * out)
    return np.where(sine >= 1, 1.0, (across**2 + along**2) / 2)


MU, WEIGHTS = _directions()
BACK = _turned_back(MU)
MOMENTS = 2 * MU.size - 1
LEGENDRE = np.polynomial.legendre.legvander(MU, MOMENTS)
MU_IN = np.sqrt(1 - 0.5 / INDEX**2)
BACK_IN = float(_turned_back(np.array([MU_IN]))[0])
BACK_OUT = float(_turned_back(np.array([1.0]))[0])


def _half_space(held: Held, white: Pigment | None) -> np.ndarray:
    """Return (31,) reflectance factor, lit at 45 degrees and seen at 0, of a coat that hides."""
    crowd = [1 - CROWDING * share if p is white else 1.0 for p, share in held]
    a = sum(share * p.absorption for p, share in held)
    s = sum(share * c * p.scattering for (p, share), c in zip(held, crowd, strict=True))
    order = np.arange(MOMENTS + 1)
    moments = (
        sum(share * c * p.scattering[:, None] * p.asymmetry**order for (p, share), c in zip(held, crowd, strict=True))
        / s[:, None]
    )  # (31, L + 1)
    cut = moments[:, -1:]  # delta-M: the forward peak counts as not scattered (Wiscombe 1977)
    moments = (moments - cut) / (1 - cut)
    s = s * (1 - cut[:, 0])
    albedo = s / (a + s)
    weighted = (2 * order + 1) * moments * albedo[:, None] / 2
    same = np.einsum("wl,il,jl->wij", weighted, LEGENDRE, LEGENDRE)
    other = np.einsum("wl,il,jl->wij", weighted * (-1.0) ** order, LEGENDRE, LEGENDRE)
    T = (np.eye(MU.size) - same * WEIGHTS) / MU[:, None]
    B = other * WEIGHTS / MU[:, None]
    squared, S = np.linalg.eig((T + B) @ (T - B))
    k = np.sqrt(np.maximum(squared.real, 1e-12))
    D = -((T - B) @ S.real) / k[:, None, :]
    R = (S.real + D) @ np.linalg.inv(S.real - D)
    source = np.zeros(MU.size)
    above = int(np.searchsorted(MU, MU_IN))
    place = (MU_IN - MU[above - 1]) / (MU[above] - MU[above - 1])
    source[above - 1], source[above] = 1 - place, place
    source = source * (1 - BACK_IN) / (2 * np.pi * WEIGHTS * MU)
    up = np.linalg.solve(np.eye(MU.size) - R * BACK, R @ source[:, None])[..., 0]
    x = MU[-3:]  # towards straight up: a parabola through the three steepest directions
    basis = [np.prod([(1 - x[m]) / (x[j] - x[m]) for m in range(3) if m != j]) for j in range(3)]
    straight = up[:, -3:] @ np.array(basis)
    return np.asarray(np.pi * (1 - BACK_OUT) / INDEX**2 * straight)
