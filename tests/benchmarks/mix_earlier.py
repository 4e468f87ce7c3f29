"""What earlier pots are worth: simulated shops of five pots, the last one with and without what four taught.

A shop is one of ``mix_campaign``: pigments of its own, each toner stronger or weaker by 20 %, the same for all its
pots. Four pots of random colours are tinted as advised; the fifth, of another colour, begins once with the shelf's
strengths and once with those that the four taught (``match.tint.earlier_pots``), with the same noise. Prints cards and
true differences, and how far learned strengths are off against what they claim.

Run: .venv/bin/python -m tests.benchmarks.mix_earlier [shops] [first]
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np

from match import calibration
from match.colorimetry import delta_e00
from match.tint.earlier_pots import taught
from match.tint.pigment import TonerFile, toner_set
from match.tint.shelf_file import Shelf
from match.tint.story import Story
from match.tint.what_next import load_tint_calibration
from tests.benchmarks import mix_campaign as campaign
from tests.benchmarks import mix_shop
from tests.benchmarks.mix_worlds import World, radiative_world

SHOPS, EARLIER, RANDOM_STATE = 60, 4, 77
STRENGTH_SD = mix_shop.KINDS["radiative"].strength_sd
KNOWN = load_tint_calibration()
BOTH = campaign.WAYS["as advised"]


@dataclass(frozen=True)
class Compared:
    """One shop's last pot without and with the earlier ones, and (true, learned, doubt) log-strengths."""

    without: campaign.Run
    taught: campaign.Run
    strengths: list[tuple[float, float, float]]


def case_of(maker: World, shop: World, names: list[str], rng: np.random.Generator) -> mix_shop.Case:
    """Return a colour of this shop whose first card is 2 to 9 CIEDE2000 from the car."""
    while True:
        formula = mix_shop.random_formula(names, rng)
        if not 3 <= len(formula) <= 6:
            continue
        aged = {n: v * float(np.exp(rng.normal(0, mix_shop.DEVIATION_SD))) for n, v in formula.items()}
        outside = ""
        if rng.random() < mix_shop.OUTSIDE_SHARE:
            outside = str(rng.choice([n for n in names if n not in formula]))
            aged = mix_shop.with_outside(aged, outside, maker, float(rng.uniform(*mix_shop.OUTSIDE_EFFECT)))
        car = mix_shop.true_lab(aged, maker)
        start = float(delta_e00(mix_shop.true_lab(formula, shop), car))
        if mix_shop.START[0] < start < mix_shop.START[1]:
            offset, photo_sd = rng.normal(0, mix_shop.ABSOLUTE_SD, 3), float(rng.uniform(*mix_shop.PHOTO_SD))
            return mix_shop.Case(formula, shop, car, offset, photo_sd, outside)


def compared(shelf: Shelf, number: int) -> Compared:
    """Return one shop's last pot, both ways."""
    rng = np.random.default_rng([RANDOM_STATE, number])
    maker = radiative_world(shelf.toners, shelf.optics, rng)
    true = {n: float(rng.normal(0, STRENGTH_SD)) for n in shelf.toners}
    shop = maker.stronger(true)
    cases = [case_of(maker, shop, list(shelf.toners), rng) for _ in range(EARLIER + 1)]
    stories: list[Story] = []
    for place, case in enumerate(cases[:EARLIER]):
        run = campaign.follow(case, shelf, KNOWN.limits, BOTH, np.random.default_rng([RANDOM_STATE, number, place]))
        stories += [run.story] if run.story else []
    learned = taught(shelf, stories, KNOWN.limits, KNOWN.earlier).shelf
    runs = [
        campaign.follow(cases[-1], each, KNOWN.limits, BOTH, np.random.default_rng([RANDOM_STATE, number, EARLIER]))
        for each in (shelf, learned)
    ]
    strengths = [
        (true[n], float(np.log(learned.toners[n].strength / shelf.toners[n].strength)), sd)
        for n, sd in learned.own_sd.items()
    ]
    return Compared(*runs, strengths)


def report(found: list[Compared]) -> None:
    """Print the figures."""
    print(f"{len(found)} shops, the fifth pot of each")
    for name in ("without", "taught"):
        runs = [getattr(each, name) for each in found]
        means = " ".join(f"{np.mean([min(run.truth[: cards + 1]) for run in runs]):.2f}" for cards in (1, 2, 3))
        near = [100 * np.mean([campaign.within(run, campaign.NEAR, cards) for run in runs]) for cards in (1, 2, 3)]
        under = " ".join(f"{share:.0f}" for share in near)
        two = 100 * np.mean([campaign.within(run, campaign.FAR, 1) for run in runs])
        print(
            f"{name:8} nearest by cards 1, 2, 3 after the first {means}; under {campaign.NEAR}: {under} %; "
            f"under {campaign.FAR:.0f} at the first: {two:.0f} %; cards {np.mean([len(run.truth) for run in runs]):.2f}"
        )
    true, learned, doubt = np.array([row for each in found for row in each.strengths]).T
    print(
        f"log-strengths of {len(true)} toners: off by {np.sqrt(np.mean(true**2)):.3f} as described, "
        f"{np.sqrt(np.mean((true - learned) ** 2)):.3f} as taught, which claims {np.sqrt(np.mean(doubt**2)):.3f}"
    )


def main(shops: int, first: int) -> None:
    """Run the shops and print what came of it."""
    file = calibration.load(TonerFile, "toners")
    shelf = Shelf(toner_set(file), file.optics, (), {})
    report([compared(shelf, number) for number in range(first, first + shops)])


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else SHOPS, int(sys.argv[2]) if len(sys.argv) > 2 else 0)
