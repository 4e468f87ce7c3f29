"""How many cards tinting takes: a simulated campaign, printed as figures.

Each case is an invented solid colour of three to four toners. The paint on the table is the car's recipe with some
components withheld (the match can be reached by adding), or, in a share of cases, with too much in it (it cannot).
Hidden from the tool: every toner's strength is off by a factor drawn log-normally with 20 % standard deviation (a
second, shorter run: 40 %), its absorption bands are shifted (4 nm), its scattering is off (15 %), and each sprayed card
differs from its paint by 0.1 CIELAB on each axis. Each photo adds 0.25 CIELAB on each axis and stretches the difference
from the car by 8 %; the car's absolute colour is off by 1 CIELAB on each axis. All of these are standard deviations.

"Cards" counts the cards sprayed after an addition until the paint itself, not its photo, is within the cut. Whoever
stops outside the cut, because the photo looked good enough or no addition helped, counts as never.

Run: .venv/bin/python tests/benchmarks/tint_campaign.py [cases]     (120 cases: about two minutes on one core)
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from match import calibration
from match.colorimetry import delta_e00
from match.tint.advice import advise
from match.tint.answer import Action, WhyNothing
from match.tint.card import CardColour
from match.tint.limits import TintLimits
from match.tint.pigment import WAVELENGTHS_NM, Optics, Toner, TonerFile, paint_reflectance, toner_set
from match.tint.pot import TintLog, TintStep
from match.tint.tinting import TintJob
from match.tint.viewing import lab_from_reflectance

RANDOM_STATE = 20240517
CASES = 120
UNREACHABLE_SHARE = 0.15
SHIFT_SD_NM, SCATTERING_SD, CARD_SD = 4.0, 0.15, 0.1
COMMON_SD, SCALE_SD, ABSOLUTE_SD = 0.25, 0.08, 1.0
POT_G, RESERVE_G, CARD_USES_G, MOST_CARDS, MOST_PHOTOS = 100.0, 100.0, 8.0, 6, 2
GOAL, GO, BLEND = 0.8, 1.2, 2.3
START = (2.0, 6.0)

Recipe = dict[str, float]


@dataclass(frozen=True)
class Case:
    """One colour: the mix on the table, the true toners and the true car."""

    mix: Recipe
    true_shelf: dict[str, Toner]
    car: np.ndarray
    offset: np.ndarray
    reachable: bool


def disturbed(toner: Toner, strength_sd: float, rng: np.random.Generator) -> Toner:
    """Return what really is in the tin."""
    shift = rng.normal(0, SHIFT_SD_NM)
    K = np.interp(WAVELENGTHS_NM + shift, WAVELENGTHS_NM, toner.absorption)
    S = toner.scattering * np.exp(rng.normal(0, SCATTERING_SD))
    return Toner(toner.name, K, S, float(np.exp(rng.normal(0, strength_sd))))


def true_lab(parts: Recipe, shelf: dict[str, Toner], optics: Optics) -> np.ndarray:
    """Return the true CIELAB of a mix."""
    total = sum(parts.values())
    return lab_from_reflectance(
        paint_reflectance([shelf[n] for n in parts], [v / total for v in parts.values()], optics)
    )


def random_recipe(names: list[str], rng: np.random.Generator) -> Recipe:
    """Return a light, middle, dark or full colour in parts by weight."""
    chromatic = [n for n in names if n not in ("white", "black")]
    chosen = list(rng.choice(chromatic, size=rng.integers(2, 4), replace=False))
    white = {"light": rng.uniform(60, 95), "middle": rng.uniform(15, 50), "dark": rng.uniform(2, 10), "full": 0.0}
    kind = str(rng.choice(list(white)))
    colour = {"light": rng.uniform(1, 8), "middle": rng.uniform(10, 30), "dark": rng.uniform(15, 40), "full": 60.0}
    split = rng.dirichlet(np.full(len(chosen), 1.5))
    recipe = {n: float(colour[kind] * share) + 0.2 for n, share in zip(chosen, split, strict=True)}
    black = {"light": rng.uniform(0.1, 2), "middle": rng.uniform(0.3, 6), "dark": rng.uniform(2, 12), "full": 0.3}
    recipe["black"] = float(black[kind])
    if white[kind]:
        recipe["white"] = float(white[kind])
    return recipe


def random_case(shelf: dict[str, Toner], optics: Optics, strength_sd: float, rng: np.random.Generator) -> Case:
    """Return a case whose start differs from the car by 2 to 6 CIEDE2000."""
    reachable = bool(rng.random() >= UNREACHABLE_SHARE)
    while True:
        recipe = random_recipe(list(shelf), rng)
        true_shelf = {n: disturbed(t, strength_sd, rng) for n, t in shelf.items()}
        held = list(rng.choice(list(recipe), size=rng.integers(1, 4), replace=False))
        pull = dict(zip(held, rng.uniform(0.2, 1.0, size=len(held)), strict=True))
        wanted = rng.uniform(*START)
        for depth in np.linspace(0.05, 0.95, 19):
            less = {n: v * (1 - depth * pull.get(n, 0.0)) for n, v in recipe.items()}
            full, low = true_lab(recipe, true_shelf, optics), true_lab(less, true_shelf, optics)
            if abs(float(delta_e00(full, low)) - wanted) < 0.3:
                needed = sum(recipe[n] - less[n] for n in held) / sum(less.values())
                if needed < 0.09:
                    mix, car = (less, full) if reachable else (recipe, low)
                    return Case(mix, true_shelf, car, rng.normal(0, ABSOLUTE_SD, 3), reachable)


@dataclass
class Bench:
    """The table: mixes, sprays and photographs; keeps the truth to itself."""

    case: Case
    optics: Optics
    rng: np.random.Generator
    log: TintLog | None = None
    card: np.ndarray | None = None

    def spray(self, parts: Recipe) -> float:
        """Spray a card and return its paint's true CIEDE2000 from the car."""
        paint = true_lab(parts, self.case.true_shelf, self.optics)
        self.card = paint + self.rng.normal(0, CARD_SD, 3)
        return float(delta_e00(paint, self.case.car))

    def photograph(self) -> CardColour:
        """Return the card as a photo measures it."""
        d = self.card - self.case.car
        seen = d * (1 + self.rng.normal(0, SCALE_SD)) + self.rng.normal(0, COMMON_SD, 3)
        covariance = COMMON_SD**2 * np.eye(3) + SCALE_SD**2 * np.outer(seen, seen)
        return CardColour(self.case.car + self.case.offset + seen, covariance)

    @property
    def car_as_measured(self) -> np.ndarray:
        """Return the car's colour as the photo gives it."""
        return self.case.car + self.case.offset


def contents(case: Case, log: TintLog) -> Recipe:
    """Return what is in the pot in parts by weight, mix and additions together."""
    pot = log.pots()[-1]
    total = sum(case.mix.values())
    parts = {n: pot.base_share * v / total for n, v in case.mix.items()}
    for name, share in pot.toner_shares.items():
        parts[name] = parts.get(name, 0.0) + share
    return parts


Adviser = Callable[[Bench, TintLog], "tuple[str, dict[str, float], float]"]


def with_learning(
    shelf: dict[str, Toner], optics: Optics, limits: TintLimits, rng: np.random.Generator, reserve_g: float = 0.0
) -> Adviser:
    """Return the tool itself, with some untinted paint kept back or none."""

    def step(bench: Bench, log: TintLog) -> tuple[str, dict[str, float], float]:
        job = TintJob(shelf, optics, bench.car_as_measured, log, bench.case.mix)
        left = reserve_g - sum(done.untinted_g for done in log.steps)
        advice = advise(job, limits, rng, goal=GOAL, reserve_g=max(0.0, left))
        return advice.why or advice.action, {a.name: a.pot_g for a in advice.amounts}, advice.untinted_g

    return step


def without_learning(shelf: dict[str, Toner], optics: Optics, limits: TintLimits, rng: np.random.Generator) -> Adviser:
    """Return the pigment model that treats every card as the first of a fresh mix."""

    def step(bench: Bench, log: TintLog) -> tuple[str, dict[str, float], float]:
        pot = log.pots()[-1]
        fresh = TintLog(pot.paint_g, log.cards()[-1][1])
        job = TintJob(shelf, optics, bench.car_as_measured, fresh, contents(bench.case, log))
        left = replace(limits, total_share=max(0.0, limits.total_share - pot.added_share))
        advice = advise(job, left, rng, goal=GOAL)
        return advice.why or advice.action, {a.name: a.pot_g for a in advice.amounts}, 0.0

    return step


def largest_component(shelf: dict[str, Toner], optics: Optics, limits: TintLimits) -> Adviser:
    """Return the rule of thumb: correct the largest of dL, da, db with the formula's toner that moves it most purely.

    First half a percent of the pot (a tenth of a percent of black); then scaled by how far the last card moved, at most
    doubled, never above three percent.
    """

    def step(bench: Bench, log: TintLog) -> tuple[str, dict[str, float], float]:
        cards = log.cards()
        d = cards[-1][1].lab - bench.car_as_measured
        if float(delta_e00(cards[-1][1].lab, bench.car_as_measured)) <= GOAL:
            return Action.STOP, {}, 0.0
        axis = int(np.argmax(np.abs(d)))
        here = contents(bench.case, log)
        base = true_lab(here, shelf, optics)
        best, purity = None, 0.0
        for name in bench.case.mix:
            move = true_lab({**here, name: here.get(name, 0.0) + 0.005}, shelf, optics) - base
            toward = float(-np.sign(d[axis]) * move[axis] / (np.linalg.norm(move) + 1e-12))
            if toward > purity:
                best, purity = name, toward
        if best is None:
            return Action.START_AGAIN, {}, 0.0
        amount = (0.001 if best == "black" else 0.005) * log.pots()[-1].paint_g
        last = log.steps[-1] if log.steps else None
        if last is not None and best in last.additions_g:
            moved = (cards[-1][1].lab - cards[-2][1].lab)[axis]
            needed = abs(d[axis]) / max(abs(moved), 0.2)
            amount = last.additions_g[best] * min(needed, 2.0)
        return "tint", {best: round(min(amount, 0.03 * log.pots()[-1].paint_g), 2)}, 0.0

    return step


def campaign(case: Case, adviser: Adviser, optics: Optics, rng: np.random.Generator) -> tuple[list[float], str]:
    """Return the true CIEDE2000 of each card, the start's first, and how it ended."""
    bench = Bench(case, optics, rng)
    truth = [bench.spray(case.mix)]
    log = TintLog(POT_G, bench.photograph())
    photos = 0
    while len(truth) <= MOST_CARDS:
        action, additions, untinted_g = adviser(bench, log)
        if action == WhyNothing.WITHIN_DOUBT and photos < MOST_PHOTOS:
            photos += 1
            log = averaged(log, bench.photograph())
            continue
        if not any(additions.values()) and untinted_g == 0:
            return truth, action
        paint_g = log.pots()[-1].paint_g - CARD_USES_G
        log = replace(log, steps=(*log.steps, TintStep(additions, untinted_g, paint_g)))
        truth.append(bench.spray(contents(case, log)))
        steps = (*log.steps[:-1], replace(log.steps[-1], after=bench.photograph()))
        log, photos = replace(log, steps=steps), 0
    return truth, "out of cards"


def averaged(log: TintLog, again: CardColour) -> TintLog:
    """Return the log with its last card's photo averaged with another, weighted by their precisions."""
    last = log.cards()[-1][1]
    A, B = np.linalg.inv(last.covariance), np.linalg.inv(again.covariance)
    C = np.linalg.inv(A + B)
    mean = CardColour(C @ (A @ last.lab + B @ again.lab), (C + C.T) / 2)
    if not log.steps:
        return replace(log, start=mean)
    return replace(log, steps=(*log.steps[:-1], replace(log.steps[-1], after=mean)))


def cards_needed(truth: list[float], cut: float) -> float:
    """Return the number of tinted cards until the paint was within ``cut``, infinite when it never was."""
    inside = [i for i, difference in enumerate(truth) if difference < cut]
    return float(inside[0]) if inside else float("inf")


def report(name: str, runs: list[tuple[list[float], str]]) -> None:
    """Print one method's figures."""
    for cut in (GO, BLEND):
        needed = np.array([cards_needed(truth, cut) for truth, _ in runs])
        spread = np.percentile(needed, [50, 90, 95], method="higher")
        within = [float(np.mean(needed <= n)) for n in (1, 2, 3, 4)]
        shares = ", ".join(f"{100 * share:3.0f} %" for share in within)
        print(
            f"  {name:34s} < {cut:.1f}: median {spread[0]:3.0f}  90 % {spread[1]:3.0f}  95 % {spread[2]:3.0f}"
            f"   within 1, 2, 3, 4 cards: {shares}   never: {100 * np.mean(np.isinf(needed)):3.0f} %"
        )
    last = np.array([truth[-1] for truth, _ in runs])
    ends = {end: sum(e == end for _, e in runs) for end in sorted({e for _, e in runs})}
    print(f"  {'':34s} last card: median {np.median(last):.2f}, 95 % {np.percentile(last, 95):.2f}; ended: {ends}")


def compare(cases: int, strength_sd: float) -> None:
    """Run the three methods on the same cases and print the figures."""
    file = calibration.load(TonerFile, "toners")
    shelf, optics = toner_set(file), file.optics
    limits = calibration.load(TintLimits, "tint", "limits")
    made = [random_case(shelf, optics, strength_sd, np.random.default_rng([RANDOM_STATE, i])) for i in range(cases)]
    start = [float(delta_e00(true_lab(c.mix, c.true_shelf, optics), c.car)) for c in made]
    print(f"\n{cases} colours, hidden strength error {100 * strength_sd:.0f} % (one standard deviation)")
    print(f"start {np.min(start):.1f} to {np.max(start):.1f} CIEDE2000, median {np.median(start):.1f}")
    advisers = {
        "this tool": with_learning(shelf, optics, limits, np.random.default_rng(1)),
        f"this tool, {RESERVE_G:.0f} g kept untinted": with_learning(
            shelf, optics, limits, np.random.default_rng(1), RESERVE_G
        ),
        "pigment model without learning": without_learning(shelf, optics, limits, np.random.default_rng(2)),
        "largest component, rule of thumb": largest_component(shelf, optics, limits),
    }
    for reachable in (True, False):
        chosen = [(i, case) for i, case in enumerate(made) if case.reachable == reachable]
        print(f"{'reachable by additions' if reachable else 'not reachable (too much in the mix)'}: {len(chosen)}")
        for name, adviser in advisers.items():
            report(
                name,
                [campaign(c, adviser, optics, np.random.default_rng([RANDOM_STATE, 1, i])) for i, c in chosen],
            )


def main(cases: int) -> None:
    """Run the campaign at the usual error of strength, and a shorter one at twice that."""
    began = time.perf_counter()
    compare(cases, 0.20)
    compare(cases // 3, 0.40)
    print(f"\n{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else CASES)
