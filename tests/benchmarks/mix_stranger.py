"""A third invented world of pigments for the mix campaign, and a shop in which things go wrong.

Absorption is a mixture of bells over wavelength. Pigments count by volume, so a heavy toner holds less than its weight
says, and lose scattering as the coat crowds. A coat of finite thickness over a grey primer (Kubelka, P. (1948), J. Opt.
Soc. Am. 38:448) lies under a surface whose two Saunderson constants (Saunderson, J. L. (1942), J. Opt. Soc. Am. 32:727)
are each shop's own, and whose gloss is partly seen. It was written without a look at how the adviser's model is built;
spectra, densities and shares of mishaps are invented.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np

from match.tint.pigment import WAVELENGTHS_NM, Optics, Toner
from tests.benchmarks.mix_worlds import Held, Pigment, World, scaled

# name: bells (nm, standard deviation in nm, height), floor, scattering, its power of wavelength, density
BELLS = {
    "white": ([(378.0, 16.0, 1.6)], 0.0015, 1.0, -0.5, 1.45),
    "black": ([(440.0, 130.0, 1.6)], 5.0, 0.07, -1.3, 1.02),
    "red": ([(455.0, 50.0, 1.7), (516.0, 26.0, 3.1), (552.0, 15.0, 2.5)], 0.02, 0.24, 0.7, 1.03),
    "oxide red": ([(420.0, 75.0, 2.6), (530.0, 38.0, 2.0), (640.0, 90.0, 0.35)], 0.08, 0.7, 0.9, 1.3),
    "magenta": ([(505.0, 34.0, 2.4), (548.0, 17.0, 3.0), (572.0, 10.0, 1.6)], 0.02, 0.18, 0.0, 1.02),
    "violet": ([(520.0, 32.0, 2.5), (572.0, 22.0, 4.2), (618.0, 16.0, 2.7)], 0.04, 0.1, -0.8, 1.01),
    "orange": ([(420.0, 60.0, 2.2), (500.0, 34.0, 2.6), (545.0, 18.0, 1.1)], 0.01, 0.3, 0.2, 1.04),
    "yellow": ([(415.0, 36.0, 2.6), (458.0, 20.0, 2.0)], 0.005, 0.26, 0.6, 1.04),
    "oxide yellow": ([(420.0, 45.0, 1.7), (490.0, 30.0, 0.8), (640.0, 50.0, 0.12)], 0.03, 0.6, 0.8, 1.25),
    "green": ([(425.0, 28.0, 2.0), (632.0, 30.0, 3.6), (690.0, 34.0, 3.0)], 0.03, 0.1, -0.9, 1.02),
    "green-shade blue": ([(575.0, 26.0, 1.1), (624.0, 24.0, 3.6), (690.0, 36.0, 3.3)], 0.03, 0.1, -1.0, 1.02),
    "red-shade blue": ([(560.0, 28.0, 2.0), (606.0, 26.0, 3.4), (678.0, 38.0, 2.8)], 0.04, 0.11, -1.0, 1.02),
}
# what a wrong label hides: the pigment that is really in the tin
TAKEN_FOR = {
    "red": "magenta",
    "oxide red": "red",
    "magenta": "violet",
    "violet": "magenta",
    "orange": "red",
    "yellow": "oxide yellow",
    "oxide yellow": "yellow",
    "green": "green-shade blue",
    "green-shade blue": "red-shade blue",
    "red-shade blue": "green-shade blue",
}
CROWDING = 0.35
HIDES = 40.0
PRIMER = 0.32
GLOSS_SEEN = 0.08

STRENGTH_SD = 0.30
MISLABELLED, THIN, GUN_CHANGED = 0.15, 0.15, 0.15
THIN_FILM = (1.2, 3.0)
GUN_SD = (0.7, 0.25, 0.25)
SCALE_STEP_G = 0.1


@dataclass(frozen=True)
class Mishaps:
    """What goes wrong in one pot, cards counted from 1: which card is thin and how thin, from which the gun is set
    otherwise and what that does to CIELAB, and whose tin holds another pigment."""

    thin_card: int = 0
    film: float = HIDES
    gun_from: int = 0
    gun: tuple[float, ...] = (0.0, 0.0, 0.0)
    mislabelled: str = ""

    @property
    def happen(self) -> bool:
        """Return whether anything goes wrong."""
        return bool(self.thin_card or self.gun_from or self.mislabelled)


def stranger_world(shelf: Mapping[str, Toner], optics: Optics, rng: np.random.Generator) -> World:
    """Return one shop's pigments of this family."""
    pigments = {}
    for name, (bells, floor, level, power, density) in BELLS.items():
        K = np.full(WAVELENGTHS_NM.size, floor * np.exp(rng.normal(0, 0.2)))
        for centre, sd, height in bells:
            x = (WAVELENGTHS_NM - centre - rng.normal(0, 5.0)) / (sd * np.exp(rng.normal(0, 0.12)))
            K = K + height * np.exp(rng.normal(0, 0.2)) * np.exp(-(x**2) / 2)
        hump = 1 - 0.3 * np.exp(-(((WAVELENGTHS_NM - 400.0) / 45.0) ** 2)) if name == "white" else 1.0
        S = level * np.exp(rng.normal(0, 0.3)) * hump * (WAVELENGTHS_NM / 550.0) ** (power + rng.normal(0, 0.3))
        pigments[name] = Pigment(K, S, density=density)
    surface = float(rng.uniform(0.025, 0.05)), float(rng.uniform(0.4, 0.6))
    return scaled(World(partial(film, surface=surface), pigments), shelf, optics)


def film(held: Held, white: Pigment | None, surface: tuple[float, float], thickness: float = HIDES) -> np.ndarray:
    """Return (31,) reflectance of a coat of ``thickness`` (in units of white's scattering) over the primer."""
    volumes = np.array([share / p.density for p, share in held])
    shares = volumes / volumes.sum()
    crowded = 1 - CROWDING * sum(s for s, (p, _) in zip(shares, held, strict=True) if p is white)
    K = sum(s * p.absorption for s, (p, _) in zip(shares, held, strict=True))
    S = crowded * sum(s * p.scattering for s, (p, _) in zip(shares, held, strict=True))
    a = 1 + K / S
    b = np.sqrt(a**2 - 1)
    coth = 1 / np.tanh(np.clip(b * S * thickness, 1e-6, 300.0))
    inner = (1 - PRIMER * (a - b * coth)) / (a - PRIMER + b * coth)
    k1, k2 = surface
    return np.asarray(GLOSS_SEEN * k1 + (1 - k1) * (1 - k2) * inner / (1 - k2 * inner))


def thin(world: World, thickness: float) -> World:
    """Return the world with coats of this thickness, which let the primer through."""
    coat = world.coat
    assert isinstance(coat, partial)
    return World(partial(coat.func, **{**coat.keywords, "thickness": thickness}), world.pigments)


def wrongly_labelled(world: World, name: str) -> World:
    """Return the world with another pigment in the tin of ``name``."""
    return World(world.coat, {**world.pigments, name: world.pigments[TAKEN_FOR[name]]})


def mishaps(formula: Mapping[str, float], rng: np.random.Generator) -> Mishaps:
    """Return what goes wrong in a pot; in more than half of them nothing does."""
    thin_card = int(rng.integers(1, 4)) if rng.random() < THIN else 0
    film_thickness = float(rng.uniform(*THIN_FILM))
    gun_from = int(rng.integers(2, 4)) if rng.random() < GUN_CHANGED else 0
    gun = tuple(float(v) for v in rng.normal(0, GUN_SD))
    hues = [name for name in formula if name in TAKEN_FOR]
    wrong = str(rng.choice(hues)) if rng.random() < MISLABELLED else ""
    return Mishaps(thin_card, film_thickness, gun_from, gun, wrong)
