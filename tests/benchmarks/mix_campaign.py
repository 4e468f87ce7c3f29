"""Whether the mix is put right: a simulated shop whose pigments are not the shelf's, printed as figures.

Colours, weighing, spraying and photos are those of ``mix_shop``; pigments and physics those of ``mix_worlds`` and
``mix_stranger``: none are the adviser's. Toners are 20 % off in strength and weighed to 0.01 g, give or take 0.01 g.
In the stranger's shop they are 30 % off, the scale shows 0.1 g, and in some pots a card does not hide, the gun is set
otherwise from a card on, or a tin holds another pigment than its label says; the calm stranger's has 0.01 g and no
mishaps.

The shop does what the command line says, card by card, with additions only, with a next mix only, and as advised. A
pot ends when the advice says so or after five cards. Where a second photo of the card is asked for, or the page says
to find out first why the card did not move, one is taken, twice at most; where the page says where to look first, the
shop looks, and sprays the same pot again when it finds something. Bars are printed beside the figures they belong to.

Run: .venv/bin/python -m tests.benchmarks.mix_campaign [cases] [shop] [first]
     shop: radiative (default), drawn, which nothing was set by, stranger or "calm stranger"
     first: number of the first case; 0 by default
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, field, replace

import numpy as np

from match import calibration
from match.colorimetry import delta_e00
from match.tint.answer import Action, WhyNothing
from match.tint.foreseen import foreseen
from match.tint.limits import TintLimits
from match.tint.pigment import TonerFile, toner_set
from match.tint.shelf_file import Shelf
from match.tint.story import Mix, Story, begin
from match.tint.tinting import Wanted
from match.tint.what_next import Answer, answer
from match.tint.words import PHOTO_AGAIN
from tests.benchmarks.mix_shop import KINDS, Case, Shop, random_case, true_lab

CASES = 120
POT_G, MOST_CARDS, MOST_PHOTOS = 100.0, 5, 2
NEAR, FAR = 1.2, 2.0
WAYS = {
    "additions only": (Action.TINT,),
    "next mix only": (Action.NEXT_MIX,),
    "as advised": (Action.TINT, Action.NEXT_MIX),
}
AGAIN = "additions only, with other luck"


@dataclass
class Run:
    """One pot's way: what each card truly was, what was advised, and how it ended."""

    truth: list[float] = field(default_factory=list)
    actions: list[str] = field(default_factory=list)
    paint_g: float = 0.0
    ended: str = "out of cards"
    way_out: bool = False
    longest_s: float = 0.0
    looked: int = 0
    photos: int = 0
    offered: tuple[float, float] | None = None
    story: Story | None = None


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
        again = found.advice.way_out == PHOTO_AGAIN or found.in_doubt
        if found.attempt is not None and found.attempt.look_first and shop.looks():
            run.looked += 1
            story = story.counted(len(story.steps) - 1, used=False)
            true, checked = shop.card(len(run.truth) + 1)
            run.truth.append(true)
            story, photos = story.sprayed(checked), 0
            continue
        if again and photos < MOST_PHOTOS:
            photos += 1
            run.photos += 1
            story = story.sprayed(shop.photograph(f"card {len(run.truth)}, photo {photos + 1}"))
            continue
        following = _done(shop, story, found, run)
        if following is None:
            run.offered = _one_step_more(shop, found, run)
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


def _one_step_more(shop: Shop, found: Answer, run: Run) -> tuple[float, float] | None:
    """Take the step that is offered though the pot is close enough; return the true difference before and after."""
    if found.advice.why is not WhyNothing.CLOSE_ENOUGH or not found.advice.others:
        return None
    (other,) = found.advice.others
    shop.add(dict(zip(other.toners, other.full_g, strict=True)))
    return run.truth[-1], shop.card(len(run.truth) + 1)[0]


def within(run: Run, cut: float, cards: int) -> bool:
    """Return whether the paint was truly under ``cut`` by the ``cards``-th card after the first."""
    return min(run.truth[: cards + 1]) < cut


def away(run: Run, noise: float) -> list[bool]:
    """Return for each step whether the paint moved away from the car by more than one photo can show."""
    return [after > before + 1.645 * noise for before, after in zip(run.truth, run.truth[1:], strict=False)]


def foreseen_rightly(run: Run, shelf: Shelf, limits: TintLimits) -> list[bool]:
    """Return for each card after the first whether it lay within the 95 % that those before it foresaw."""
    return [card.as_seen for card in foreseen(run.story, shelf, limits)] if run.story else []


def report(name: str, runs: list[tuple[Case, Run]], shelf: Shelf, limits: TintLimits) -> None:
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
    agree = [card for _, run in runs for card in foreseen_rightly(run, shelf, limits)]
    print(f"{name} ({n} pots)")
    print(f"  truly under {FAR:.0f} within two cards   {100 * two:5.1f} %   (bar 85)")
    print(f"  truly under {NEAR:.1f} within three      {100 * three:5.1f} %   (bar 80)")
    spread = np.percentile(needed, [50, 90], method="higher")
    print(f"  cards until under {NEAR:.1f}: median {spread[0]:.0f}, 90 % {spread[1]:.0f}")
    print(f"  never under {NEAR:.1f}: {len(never)}; seeming close enough: {enough}; no way out said: {silent} (bar 0)")
    print(f"  steps away beyond noise        {100 * np.mean(steps):5.1f} % of {len(steps)}   (bar 3)")
    print(f"  last card: mean {last.mean():.2f}, median {np.median(last):.2f}, 90 % {np.percentile(last, 90):.2f}")
    ends = [run.ended for _, run in runs]
    counted = ", ".join(f"{end} {ends.count(end)}" for end in sorted(set(ends)))
    paint, cards = np.mean([run.paint_g for _, run in runs]), np.mean([len(run.truth) for _, run in runs])
    photos = np.mean([run.photos for _, run in runs])
    print(f"  ended: {counted}; cards {cards:.2f}, further photos {photos:.2f}, paint {paint:.0f} g")
    if offers := [run.offered for _, run in runs if run.offered]:
        before, after = np.array(offers).T
        print(f"  one step more was offered {len(offers)} times: {before.mean():.2f} to {after.mean():.2f} on average,")
        print(f"    farther in {np.sum(after > before)}")
    print(f"  cards where their 95 % foresaw them {100 * np.mean(agree):.0f} % of {len(agree)}")
    print(f"  slowest answer, processor time {max(run.longest_s for _, run in runs):.2f} s")


def compare(advised: list[Run], other: list[Run], name: str) -> None:
    """Print what the advised runs and another way's, pot by pot, are against each other."""
    pairs = list(zip(advised, other, strict=True))
    gain = np.array([min(b.truth[:4]) - min(a.truth[:4]) for a, b in pairs])
    missed = sum(within(b, NEAR, 3) and not within(a, NEAR, 3) for a, b in pairs)
    won = sum(within(a, NEAR, 3) and not within(b, NEAR, 3) for a, b in pairs)
    print(f"best of three cards {name}, {len(pairs)} pots:")
    print(f"  nearer by {gain.mean():.2f} on average (standard error {gain.std() / np.sqrt(len(pairs)):.2f})")
    print(f"  nearer by more than 0.5: {np.sum(gain > 0.5)}; farther by more than 0.5: {np.sum(gain < -0.5)}")
    print(f"  alone under {NEAR:.1f}: {won}; missing it alone: {missed}")


def main(cases: int, shop: str, first: int) -> None:
    """Run the campaign and print it."""
    file = calibration.load(TonerFile, "toners")
    toners, limits, kind = toner_set(file), calibration.load(TintLimits, "tint", "limits"), KINDS[shop]
    if kind.scale_step_g:
        limits = replace(limits, scale_step_g=kind.scale_step_g, least_weighed_g=2 * kind.scale_step_g)
    shelf, state = Shelf(toners, file.optics, (), {}), kind.random_state
    numbers = range(first, first + cases)
    made = [random_case(toners, file.optics, kind, np.random.default_rng([state, i])) for i in numbers]
    start = [float(delta_e00(true_lab(c.formula, c.shop), c.car)) for c in made]
    print(f"shop {shop}: {cases} colours, {sum(bool(c.outside) for c in made)} with a pigment from outside")
    print(f"first card {min(start):.1f} to {max(start):.1f} CIEDE2000, median {np.median(start):.1f}\n")
    runs = {}
    for name, ways in {**WAYS, AGAIN: WAYS["additions only"]}.items():
        luck = 2 if name == AGAIN else 1
        runs[name] = [
            follow(c, shelf, limits, ways, np.random.default_rng([state, luck, i]))
            for c, i in zip(made, numbers, strict=True)
        ]
        if name != AGAIN:
            report(name, list(zip(made, runs[name], strict=True)), shelf, limits)
    advised = list(zip(made, runs["as advised"], strict=True))
    kinds = {
        "no pigment from outside": lambda c: not c.outside,
        "a pigment from outside": lambda c: bool(c.outside),
        "a wrong label": lambda c: bool(c.mishaps.mislabelled),
        "a card that does not hide": lambda c: bool(c.mishaps.thin_card),
        "the gun set otherwise": lambda c: bool(c.mishaps.gun_from),
        "nothing going wrong": lambda c: kind.mishaps is not None and not c.mishaps.happen,
    }
    for name, belongs in kinds.items():
        report(f"as advised, {name}", [(c, r) for c, r in advised if belongs(c)], shelf, limits)
    compare(runs["as advised"], runs["additions only"], "as advised against additions only")
    compare(runs[AGAIN], runs["additions only"], "of additions only against additions only with other luck")


if __name__ == "__main__":
    given = dict(enumerate(sys.argv))
    main(int(given.get(1, CASES)), given.get(2, "radiative"), int(given.get(3, 0)))
