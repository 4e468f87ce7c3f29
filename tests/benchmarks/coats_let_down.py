"""How often the best number of mid-coats is found within a quarter coat, on simulated let-down cards.

    python -m tests.benchmarks.coats_let_down [cards]

The truth is Kubelka-Munk: a mid-coat of invented toners, each coat an equal film, over a ground coat, as spectra to
CIELAB; at the flop light passes more of the film and the whole is darker. The car carries a number of coats in between.
Each reading errs by what light and placement do (0.6 of the variance alike in all steps), and all by one stretch.
Left out: interference colours, and coats that are not equal.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np

from match import calibration as files
from match.check.verdict import Junction, Tolerances, Verdict, thresholds
from match.coats.let_down import LetDownRules, LetDownStep, judge_let_down
from match.colorimetry import delta_e00
from match.measure.uncertainty import Draws
from match.several.combine import CombiningRules
from match.several.photo_set import Angle
from match.tint.pigment import TonerFile, film_reflectance, formula_toners, mixture, surface_reflectance, toner_set
from match.tint.viewing import lab_from_reflectance

GROUNDS = ({"white": 100, "black": 1}, {"white": 100, "oxide yellow": 3}, {"white": 60, "black": 8})
TINTS = ("red", "yellow", "magenta", "green-shade blue", "oxide red", "violet")
NOISE_SD = np.array([0.35, 0.2, 0.2])
STRETCH_SD = 0.08
FLOP_PATH, FLOP_LIGHT = 1.5, 0.45


@dataclass(frozen=True)
class Reading:
    card_lab: np.ndarray
    vehicle_lab: np.ndarray
    draws: Draws
    findings: tuple = ()


@dataclass(frozen=True)
class Finish:
    """A ground coat and a mid-coat whose one coat has a given film."""

    ground: np.ndarray
    K: np.ndarray
    S: np.ndarray
    film: float
    optics: object

    def lab(self, coats, angle):
        """Return CIELAB (..., 3) for numbers of coats (...)."""
        flop = angle is Angle.FLOP
        film = self.film * np.asarray(coats)[..., None] * (FLOP_PATH if flop else 1.0)
        internal = film_reflectance(self.K, self.S, film, self.ground)
        return lab_from_reflectance(surface_reflectance(internal, self.optics) * (FLOP_LIGHT if flop else 1.0))


def random_finish(rng, toners: TonerFile) -> Finish:
    """Draw a finish whose colour moves by 1 to 5 CIEDE2000 from the second coat to the third."""
    shelf = toner_set(toners)
    while True:
        ground = mixture(*formula_toners(shelf, GROUNDS[rng.integers(len(GROUNDS))]))
        tint = {TINTS[i]: float(rng.uniform(0.2, 1.0)) for i in rng.choice(len(TINTS), 2, replace=False)}
        tint["white"] = float(rng.uniform(0.2, 3.0))
        K, S = mixture(*formula_toners(shelf, tint))
        opaque = film_reflectance(*ground, 1e3, 0.0)
        finish = Finish(opaque, K, S, float(np.exp(rng.uniform(np.log(0.02), np.log(0.6)))), toners.optics)
        if 1.0 < delta_e00(finish.lab(2, Angle.FACE), finish.lab(3, Angle.FACE)) < 5.0:
            return finish


def photographed(rng, finish, car, offset, steps, noise_sd, light_share):
    """Return the measured steps of a card beside a car of ``car`` coats whose colour is off by ``offset``."""
    stretch = 1 + STRETCH_SD * rng.standard_normal()
    readings = {coats: {} for coats in steps}
    for angle in (Angle.FACE, Angle.FLOP):
        light = np.sqrt(light_share) * noise_sd * rng.standard_normal(3)
        vehicle = finish.lab(car, angle) + offset
        for coats in steps:
            own = np.sqrt(1 - light_share) * noise_sd * rng.standard_normal(3)
            difference = stretch * (finish.lab(coats, angle) - vehicle) + light + own
            null = noise_sd * rng.standard_normal((400, 3))
            turned = difference * (1 + STRETCH_SD * rng.standard_normal((400, 1)))
            drawn = Draws(vehicle + turned + null, np.tile(vehicle, (400, 1)), null)
            readings[coats][angle] = Reading(vehicle + difference, vehicle, drawn)
    return [LetDownStep(coats, by_angle) for coats, by_angle in readings.items()]


def true_best(finish, car, offset, steps):
    """Return the coats at which the worst angle's true difference is least."""
    grid = np.arange(min(steps), max(steps) + 1e-9, 0.01)
    worst = np.zeros(grid.size)
    for angle in (Angle.FACE, Angle.FLOP):
        card = finish.lab(grid, angle)
        vehicle = finish.lab(car, angle) + offset
        worst = np.maximum(worst, delta_e00(card, np.broadcast_to(vehicle, card.shape)))
    return float(grid[np.argmin(worst)]), float(worst.min())


def main() -> None:
    cards = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    toners = files.load(TonerFile, "toners")
    tolerances = files.load(Tolerances, "tolerances")
    rules = files.load(LetDownRules, "coats", "let_down")
    light_share = files.load(CombiningRules, "coats", "combining").light_share
    limits = thresholds(tolerances, Junction.PANEL_GAP)
    print("noise  steps      car's own offset   within 1/4 coat   median error   covered   interval width   verdicts")
    for scale, steps, offset_sd in (
        (1.0, (1, 2, 3, 4), 0.0),
        (1.0, (1, 2, 3, 4), 0.4),
        (0.6, (1, 2, 3, 4), 0.4),
        (1.6, (1, 2, 3, 4), 0.4),
        (1.0, (1, 2, 3), 0.4),
        (1.0, (1, 2, 3, 4), 4.0),
    ):
        rng = np.random.default_rng(11)
        off, inside, width, verdicts = [], [], [], []
        for _ in range(cards):
            finish = random_finish(rng, toners)
            car, offset = rng.uniform(steps[0] + 0.1, steps[-1] - 0.1), offset_sd * rng.standard_normal(3)
            card = photographed(rng, finish, car, offset, steps, scale * NOISE_SD, light_share)
            found = judge_let_down(card, limits, tolerances, rules, light_share, rng)
            best, _ = true_best(finish, car, offset, steps)
            off.append(abs(found.coats - best))
            inside.append(found.interval[0] - 0.03 <= best <= found.interval[1] + 0.03)
            width.append(found.interval[1] - found.interval[0])
            verdicts.append(found.verdict)
        counts = "/".join(str(verdicts.count(v)) for v in (Verdict.GO, Verdict.BLEND, Verdict.RETINT))
        print(
            f"x{scale:3.1f}   {steps!s:14s} {offset_sd:8.1f} {np.mean(np.array(off) <= 0.251):18.0%} "
            f"{np.median(off):14.2f} "
            f"{np.mean(inside):11.0%} {np.median(width):12.2f}        {counts} go/blend/none"
        )


if __name__ == "__main__":
    main()
