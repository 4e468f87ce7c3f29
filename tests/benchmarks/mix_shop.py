"""A simulated shop for the mix campaigns: its colours, and how it weighs, sprays and photographs.

A case is an invented solid colour of three to six toners whose formula is known. The car was painted by that formula
from the maker's toners, with a deviation of spraying and age (each part off by 10 %); in a third of the draws with one
pigment more that the formula does not name, enough of it to move the colour by 2 to 7. The shop's toners hold the same
pigments, each stronger or weaker. Cases whose first card is 2 to 9 CIEDE2000 off are kept. Each sprayed card differs
from its paint by 0.1 CIELAB on each axis; a photo adds 0.2 to 0.6 CIELAB on each axis, by pot, and stretches the
difference from the car by 8 %; the car's absolute colour is off by 1 CIELAB. All of these are standard deviations.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from match.colorimetry import delta_e00
from match.tint.card import CheckedCard
from match.tint.pigment import Optics, Toner
from match.tint.units import round_to_scale
from match.tint.viewing import lab_from_reflectance
from tests.benchmarks.mix_stranger import Mishaps, mishaps, stranger_world, thin, wrongly_labelled
from tests.benchmarks.mix_worlds import World, drawn_world, radiative_world

OUTSIDE_SHARE, DEVIATION_SD = 0.33, 0.10
CARD_SD, SCALE_SD, ABSOLUTE_SD, WEIGHING_SD = 0.1, 0.08, 1.0, 0.01
PHOTO_SD = (0.2, 0.6)
START, OUTSIDE_EFFECT = (2.0, 9.0), (2.0, 7.0)
CARD_USES_G, GOAL = 8.0, 0.8

Recipe = dict[str, float]


@dataclass(frozen=True)
class Kind:
    """A kind of shop: its pigments, how far its toners' strengths are off (sd of ln), where its cases start, its
    scale's step where that is coarse, and what goes wrong in a pot."""

    world: Callable[[Mapping[str, Toner], Optics, np.random.Generator], World]
    random_state: int
    strength_sd: float = 0.20
    scale_step_g: float = 0.0
    mishaps: Callable[[Mapping[str, float], np.random.Generator], Mishaps] | None = None


KINDS = {
    "radiative": Kind(radiative_world, 20260311),
    "drawn": Kind(drawn_world, 7041),
    "stranger": Kind(stranger_world, 5519, 0.30, 0.1, mishaps),
    "calm stranger": Kind(stranger_world, 5519, 0.30),
}


@dataclass(frozen=True)
class Case:
    """One colour: its formula, the shop's true toners, the true car, the photos' standard deviation, and mishaps."""

    formula: Recipe
    shop: World
    car: np.ndarray
    offset: np.ndarray
    photo_sd: float
    outside: str
    mishaps: Mishaps = field(default_factory=Mishaps)
    scale_step_g: float = 0.0


def true_lab(parts: Mapping[str, float], world: World) -> np.ndarray:
    """Return the true CIELAB of a mix."""
    return lab_from_reflectance(world.reflectance(parts))


def random_formula(names: list[str], rng: np.random.Generator) -> Recipe:
    """Return a formula of three to six toners: light, middle, dark or full shade, percent by weight."""
    hues = [n for n in names if n not in ("white", "black")]
    kind = str(rng.choice(["light", "middle", "dark", "full"], p=[0.3, 0.3, 0.25, 0.15]))
    size = int(rng.integers(3, 7))
    black_too = bool(rng.random() < 0.6)
    hue_count = size - (kind != "full") - black_too
    chosen = [str(n) for n in rng.choice(hues, size=hue_count, replace=False)]
    white = {"light": rng.uniform(60, 95), "middle": rng.uniform(15, 55), "dark": rng.uniform(1, 8), "full": 0.0}[kind]
    black = {"light": rng.uniform(0, 1.5), "middle": rng.uniform(0, 6), "dark": rng.uniform(1, 12), "full": 0.0}[kind]
    colour = {"light": rng.uniform(0.8, 8), "middle": rng.uniform(8, 30), "dark": rng.uniform(15, 40), "full": 70.0}
    split = np.maximum(rng.dirichlet(np.full(len(chosen), 1.2)), 0.02)
    parts = {n: float(colour[kind] * share) for n, share in zip(chosen, split, strict=True)}
    parts |= {"white": float(white)} if white > 0 else {}
    parts |= {"black": float(black) + 0.2} if black_too else {}
    total = sum(parts.values())
    rounded = {n: round(100 * v / total, 2) for n, v in parts.items()}
    return {n: v for n, v in rounded.items() if v >= 0.05}


def random_case(shelf: dict[str, Toner], optics: Optics, kind: Kind, rng: np.random.Generator) -> Case:
    """Return a case whose first card is 2 to 9 CIEDE2000 from the car."""
    while True:
        formula = random_formula(list(shelf), rng)
        if not 3 <= len(formula) <= 6:
            continue
        maker = kind.world(shelf, optics, rng)
        shop = maker.stronger({n: rng.normal(0, kind.strength_sd) for n in shelf})
        wrong = kind.mishaps(formula, rng) if kind.mishaps else Mishaps()
        shop = wrongly_labelled(shop, wrong.mislabelled) if wrong.mislabelled else shop
        aged = {n: v * float(np.exp(rng.normal(0, DEVIATION_SD))) for n, v in formula.items()}
        outside = ""
        if rng.random() < OUTSIDE_SHARE:
            outside = str(rng.choice([n for n in shelf if n not in formula]))
            aged = with_outside(aged, outside, maker, float(rng.uniform(*OUTSIDE_EFFECT)))
        car = true_lab(aged, maker)
        start = float(delta_e00(true_lab(formula, shop), car))
        if START[0] < start < START[1]:
            offset, photo_sd = rng.normal(0, ABSOLUTE_SD, 3), float(rng.uniform(*PHOTO_SD))
            return Case(formula, shop, car, offset, photo_sd, outside, wrong, kind.scale_step_g)


def with_outside(parts: Recipe, name: str, maker: World, effect: float) -> Recipe:
    """Return the parts with as much of another pigment as moves the colour by ``effect`` CIEDE2000, at most a tenth."""
    plain = true_lab(parts, maker)
    for amount in np.geomspace(0.02, 10.0, 30):
        more = {**parts, name: float(amount)}
        if float(delta_e00(true_lab(more, maker), plain)) >= effect:
            break
    return more


@dataclass
class Shop:
    """Mixes, sprays and photographs; keeps the truth to itself."""

    case: Case
    rng: np.random.Generator
    pot: Recipe = field(default_factory=dict)
    sprayed: np.ndarray | None = None
    last_thin: bool = False
    gun_wrong: bool = False
    gun_mended: bool = False

    def weighed(self, grams: float) -> float:
        """Return what really went in when the scale was to show ``grams``."""
        step = self.case.scale_step_g
        if step:
            shown = round_to_scale(grams, step)
            return shown + float(self.rng.uniform(-step / 2, step / 2)) if shown > 0 else 0.0
        return max(0.0, grams + self.rng.normal(0, WEIGHING_SD)) if grams > 0 else 0.0

    def mix(self, grams: Mapping[str, float]) -> None:
        """Weigh a fresh can."""
        self.pot = {n: self.weighed(g) for n, g in grams.items()}

    def add(self, grams: Mapping[str, float]) -> None:
        """Weigh into what the cards left of the pot."""
        for n, g in grams.items():
            self.pot[n] = self.pot.get(n, 0.0) + self.weighed(g)

    def use(self, grams: float) -> None:
        """Take paint for a card."""
        left = 1 - grams / sum(self.pot.values())
        self.pot = {n: g * left for n, g in self.pot.items()}

    def card(self, number: int) -> tuple[float, CheckedCard]:
        """Spray, photograph and check: the paint's true CIEDE2000 from the car, and what the check says.

        The truth is that of a hiding coat by the gun as it is set; a thin card alone looks otherwise.
        """
        wrong = self.case.mishaps
        self.gun_wrong = 0 < wrong.gun_from <= number and not self.gun_mended
        self.last_thin = wrong.thin_card == number
        gun = np.array(wrong.gun) if self.gun_wrong else np.zeros(3)
        paint = true_lab(self.pot, self.case.shop) + gun
        looks = true_lab(self.pot, thin(self.case.shop, wrong.film)) + gun if self.last_thin else paint
        self.sprayed = looks + self.rng.normal(0, CARD_SD, 3)
        self.use(CARD_USES_G)
        return float(delta_e00(paint, self.case.car)), self.photograph(f"card {number}")

    def photograph(self, name: str) -> CheckedCard:
        """Photograph the last card, once more if need be."""
        d = self.sprayed - self.case.car
        seen = d * (1 + self.rng.normal(0, SCALE_SD)) + self.rng.normal(0, self.case.photo_sd, 3)
        C = self.case.photo_sd**2 * np.eye(3) + SCALE_SD**2 * np.outer(seen, seen)
        rows = tuple(tuple(float(v) for v in row) for row in C)
        car = tuple(float(v) for v in self.case.car + self.case.offset)
        return CheckedCard(name, tuple(float(v) for v in seen), rows, car, GOAL)

    def looks(self) -> bool:
        """Look at hiding and gun, put right what is wrong, and return whether something was."""
        found = self.last_thin or self.gun_wrong
        self.last_thin, self.gun_mended = False, self.gun_mended or self.gun_wrong
        return found
