"""Whether the mix is put right: a simulated shop whose pigments are not the shelf's, printed as figures.

Each case is an invented solid colour of three to six toners whose formula is known. The car was painted by that
formula from the maker's toners, with a deviation of spraying and age (each part off by 10 %); in a third of the draws
with one pigment more that the formula does not name, enough of it to move the colour by 2 to 7. The shop's toners hold
the same pigments, each stronger or weaker by 20 %. Cases whose first card is 2 to 9 CIEDE2000 off are kept. Pigments
and physics are those of ``mix_worlds``: neither is the adviser's. Each sprayed card differs from its paint by 0.1
CIELAB on each axis; a photo adds 0.2 to 0.6 CIELAB on each axis, by pot, and stretches the difference from the car by
8 %; the car's absolute colour is off by 1 CIELAB. All of these are standard deviations. Toner is weighed to 0.01 g,
give or take 0.01 g.

The shop does what the command line says, card by card, with additions only, with a next mix only, and as advised. A
pot ends when the advice says so or after five cards; where a second photo of the card is asked for, it is taken, twice
at most. Bars are printed beside the figures they belong to.

Run: .venv/bin/python -m tests.benchmarks.mix_campaign [cases] [world]
     world: radiative (default) or drawn; the second is the one that nothing was set by
"""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from match import calibration
from match.tint.answer import Action, WhyNothing
from match.tint.limits import TintLimits
from match.tint.pigment import Optics, Toner, TonerFile, toner_set
from match.tint.shelf_file import Shelf
from match.tint.story import Checked, Mix, Story, begin
from match.tint.tinting import Wanted
from match.tint.viewing import colour_difference, lab_from_reflectance
from match.tint.what_next import Answer, answer
from match.tint.wording import PHOTO_AGAIN
from tests.benchmarks.mix_worlds import World, drawn_world, radiative_world

RANDOM_STATE = {"radiative": 20260311, "drawn": 7041}
WORLDS = {"radiative": radiative_world, "drawn": drawn_world}
CASES = 120
OUTSIDE_SHARE, STRENGTH_SD, DEVIATION_SD = 0.33, 0.20, 0.10
CARD_SD, SCALE_SD, ABSOLUTE_SD, WEIGHING_SD = 0.1, 0.08, 1.0, 0.01
PHOTO_SD = (0.2, 0.6)
START, OUTSIDE_EFFECT = (2.0, 9.0), (2.0, 7.0)
POT_G, CARD_USES_G, MOST_CARDS, MOST_PHOTOS = 100.0, 8.0, 5, 2
GOAL, NEAR, FAR = 0.8, 1.2, 2.0
WAYS = {
    "additions only": (Action.TINT,),
    "next mix only": (Action.NEXT_MIX,),
    "as advised": (Action.TINT, Action.NEXT_MIX),
}

Recipe = dict[str, float]


@dataclass(frozen=True)
class Case:
    """One colour: its formula, the shop's true toners, the true car, and the photos' standard deviation."""

    formula: Recipe
    shop: World
    car: np.ndarray
    offset: np.ndarray
    photo_sd: float
    outside: str


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


def random_case(shelf: dict[str, Toner], optics: Optics, world: str, rng: np.random.Generator) -> Case:
    """Return a case whose first card is 2 to 9 CIEDE2000 from the car."""
    while True:
        formula = random_formula(list(shelf), rng)
        if not 3 <= len(formula) <= 6:
            continue
        maker = WORLDS[world](shelf, optics, rng)
        shop = maker.stronger({n: rng.normal(0, STRENGTH_SD) for n in shelf})
        aged = {n: v * float(np.exp(rng.normal(0, DEVIATION_SD))) for n, v in formula.items()}
        outside = ""
        if rng.random() < OUTSIDE_SHARE:
            outside = str(rng.choice([n for n in shelf if n not in formula]))
            aged = with_outside(aged, outside, maker, float(rng.uniform(*OUTSIDE_EFFECT)))
        car = true_lab(aged, maker)
        start = float(colour_difference(true_lab(formula, shop), car))
        if START[0] < start < START[1]:
            return Case(formula, shop, car, rng.normal(0, ABSOLUTE_SD, 3), float(rng.uniform(*PHOTO_SD)), outside)


def with_outside(parts: Recipe, name: str, maker: World, effect: float) -> Recipe:
    """Return the parts with as much of another pigment as moves the colour by ``effect`` CIEDE2000, at most a tenth."""
    plain = true_lab(parts, maker)
    for amount in np.geomspace(0.02, 10.0, 30):
        more = {**parts, name: float(amount)}
        if float(colour_difference(true_lab(more, maker), plain)) >= effect:
            break
    return more


@dataclass
class Run:
    """One pot's way: what each card truly was, what was advised, and how it ended."""

    truth: list[float] = field(default_factory=list)
    actions: list[str] = field(default_factory=list)
    paint_g: float = 0.0
    ended: str = "out of cards"
    way_out: bool = False
    longest_s: float = 0.0
    story: Story | None = None


@dataclass
class Shop:
    """Mixes, sprays and photographs; keeps the truth to itself."""

    case: Case
    rng: np.random.Generator
    pot: Recipe = field(default_factory=dict)
    sprayed: np.ndarray | None = None

    def weighed(self, grams: float) -> float:
        """Return what really went in when the scale was to show ``grams``."""
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

    def card(self, number: int) -> tuple[float, Checked]:
        """Spray, photograph and check: the paint's true CIEDE2000 from the car, and what the check says."""
        paint = true_lab(self.pot, self.case.shop)
        self.sprayed = paint + self.rng.normal(0, CARD_SD, 3)
        self.use(CARD_USES_G)
        return float(colour_difference(paint, self.case.car)), self.photograph(f"card {number}")

    def photograph(self, name: str) -> Checked:
        """Photograph the last card, once more if need be."""
        d = self.sprayed - self.case.car
        seen = d * (1 + self.rng.normal(0, SCALE_SD)) + self.rng.normal(0, self.case.photo_sd, 3)
        C = self.case.photo_sd**2 * np.eye(3) + SCALE_SD**2 * np.outer(seen, seen)
        rows = tuple(tuple(float(v) for v in row) for row in C)
        car = tuple(float(v) for v in self.case.car + self.case.offset)
        return Checked(name, tuple(float(v) for v in seen), rows, car, GOAL)


def follow(case: Case, shelf: Shelf, limits: TintLimits, ways: tuple[str, ...], rng: np.random.Generator) -> Run:
    """Return what became of a pot that follows the advice."""
    shop, run = Shop(case, rng), Run()
    shop.mix({n: POT_G * v / sum(case.formula.values()) for n, v in case.formula.items()})
    run.paint_g = POT_G
    true, checked = shop.card(1)
    run.truth.append(true)
    story = begin(checked, POT_G, Mix(dict(case.formula)))
    photos = 0
    while len(run.truth) < MOST_CARDS:
        began = time.process_time()
        found = answer(story, shelf, limits, Wanted(ways=ways))
        run.longest_s = max(run.longest_s, time.process_time() - began)
        if found.advice.way_out == PHOTO_AGAIN and photos < MOST_PHOTOS:
            photos += 1
            story = story.sprayed(shop.photograph(f"card {len(run.truth)}, photo {photos + 1}"))
            continue
        following = _done(shop, story, found, run)
        if following is None:
            break
        true, checked = shop.card(len(run.truth) + 1)
        run.truth.append(true)
        story, photos = following.sprayed(checked), 0
    run.story = story
    return run


def _done(shop: Shop, story: Story, found: Answer, run: Run) -> Story | None:
    """Do what the answer says and return the story with it, or nothing when the pot ends."""
    action = found.advice.action
    if action not in (Action.TINT, Action.NEXT_MIX):
        run.ended, run.way_out = found.advice.why, bool(found.advice.way_out)
        return None
    run.actions.append(action)
    if action is Action.NEXT_MIX and found.next_mix is not None:
        grams = {toner.name: toner.g for toner in found.next_mix.toners}
        (shop.add if found.next_mix.on_top else shop.mix)(grams)
        run.paint_g += sum(grams.values())
        return story.mixed(found.next_mix)
    grams = {amount.name: amount.pot_g for amount in found.advice.amounts}
    left = sum(shop.pot.values())
    shop.add(grams)
    run.paint_g += sum(grams.values())
    return story.added(grams, 0.0, left)


def within(run: Run, cut: float, cards: int) -> bool:
    """Return whether the paint was truly under ``cut`` by the ``cards``-th card after the first."""
    return min(run.truth[: cards + 1]) < cut


def away(run: Run, noise: float) -> list[bool]:
    """Return for each step whether the paint moved away from the car by more than one photo can show."""
    return [after > before + 1.645 * noise for before, after in zip(run.truth, run.truth[1:], strict=False)]


def report(name: str, runs: list[tuple[Case, Run]]) -> None:
    """Print one way's figures."""
    n = len(runs)
    if not n:
        return
    two = np.mean([within(run, FAR, 2) for _, run in runs])
    three = np.mean([within(run, NEAR, 3) for _, run in runs])
    steps = [step for case, run in runs for step in away(run, case.photo_sd)]
    last = np.array([run.truth[-1] for _, run in runs])
    needed = [next((i for i, d in enumerate(run.truth) if d < NEAR), np.inf) for _, run in runs]
    never = [run for (_, run), cards in zip(runs, needed, strict=True) if np.isinf(cards)]
    enough = sum(run.ended is WhyNothing.CLOSE_ENOUGH for run in never)
    silent = sum(not run.way_out and run.ended not in ("out of cards", WhyNothing.CLOSE_ENOUGH) for run in never)
    print(f"{name} ({n} pots)")
    print(f"  truly under {FAR:.0f} within two cards   {100 * two:5.1f} %   (bar 85)")
    print(f"  truly under {NEAR:.1f} within three      {100 * three:5.1f} %   (bar 80)")
    spread = np.percentile(needed, [50, 90], method="higher")
    print(f"  cards until under {NEAR:.1f}: median {spread[0]:.0f}, 90 % {spread[1]:.0f}")
    print(f"  never under {NEAR:.1f}: {len(never)}; seeming close enough: {enough}; no way out said: {silent} (bar 0)")
    print(f"  steps away beyond noise        {100 * np.mean(steps):5.1f} % of {len(steps)}   (bar 3)")
    print(f"  last card: median {np.median(last):.2f}, 90 % {np.percentile(last, 90):.2f}")
    ends = [run.ended for _, run in runs]
    counted = ", ".join(f"{end} {ends.count(end)}" for end in sorted(set(ends)))
    print(f"  ended: {counted}; paint {np.mean([run.paint_g for _, run in runs]):.0f} g")
    print(f"  slowest answer, processor time {max(run.longest_s for _, run in runs):.2f} s")


def main(cases: int, world: str) -> None:
    """Run the campaign and print it."""
    file = calibration.load(TonerFile, "toners")
    toners, limits = toner_set(file), calibration.load(TintLimits, "tint", "limits")
    shelf = Shelf(toners, file.optics, (), {})
    state = RANDOM_STATE[world]
    made = [random_case(toners, file.optics, world, np.random.default_rng([state, i])) for i in range(cases)]
    start = [float(colour_difference(true_lab(c.formula, c.shop), c.car)) for c in made]
    print(f"world {world}: {cases} colours, {sum(bool(c.outside) for c in made)} with a pigment from outside")
    print(f"first card {min(start):.1f} to {max(start):.1f} CIEDE2000, median {np.median(start):.1f}\n")
    runs = {}
    for name, ways in WAYS.items():
        runs[name] = [follow(c, shelf, limits, ways, np.random.default_rng([state, 1, i])) for i, c in enumerate(made)]
        report(name, list(zip(made, runs[name], strict=True)))
    inside = [i for i, c in enumerate(made) if not c.outside]
    report("as advised, no pigment from outside", [(made[i], runs["as advised"][i]) for i in inside])
    report(
        "as advised, a pigment from outside",
        [(c, r) for c, r in zip(made, runs["as advised"], strict=True) if c.outside],
    )
    worse = [
        min(a.truth[:4]) > min(b.truth[:4]) + 0.5
        for a, b in zip(runs["as advised"], runs["additions only"], strict=True)
    ]
    missed = [
        within(b, NEAR, 3) and not within(a, NEAR, 3)
        for a, b in zip(runs["as advised"], runs["additions only"], strict=True)
    ]
    print(f"under {NEAR:.1f} within three by additions only and not as advised: {sum(missed)} of {cases}   (bar 0)")
    print(f"best of three cards worse than additions only by more than 0.5: {sum(worse)} of {cases}, of these ", end="")
    stopped = [w and min(a.truth[:4]) < NEAR for w, a in zip(worse, runs["as advised"], strict=True)]
    print(f"{sum(stopped)} stopped under {NEAR:.1f} as close enough")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else CASES, sys.argv[2] if len(sys.argv) > 2 else "radiative")
