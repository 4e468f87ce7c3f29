"""How far may one trust which card is the nearest? Rendered photos of two to six cards beside one car.

    .venv/bin/python -m tests.benchmarks.several_cards [--scenes 120] [--seed 2026] [--size 1000x750]

Scenes are those of the accuracy benchmark with more cards of the same size laid beside the first: true differences of 0
to 6 CIEDE2000, the cards a step apart that is drawn from 0.1 to 2, in directions of their own. Prints how often a card
was the nearest when the chance said 10, 30, 50, ... per cent (every card counts), how often the card called the nearest
was, how often cards called told apart were in the right order, and by how much the errors that cards share narrow their
comparison against drawing each card on its own. Last, whether choosing the best of several makes its verdict too kind:
its interval and blunders, as in the accuracy benchmark.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from match import calibration as files
from match.check.calibration_files import load_calibration
from match.check.cards import CardsAnswer, judge_cards, load_comparing_rules
from match.check.measuring import measure_photo_cards
from match.check.settings import CheckSettings
from match.check.verdict import Verdict
from match.colorimetry import delta_e00
from match.demo.scene.description import CardPlace, Rendering, Scene
from match.demo.scene.encode import encode
from match.demo.scene.render import render
from match.errors import MatchError
from match.measure.measurement import Measurement
from match.measure.nearest import chances_of
from match.photo.load import load
from match.photo.regions import Kind
from match.tint.pigment import TonerFile
from tests.support.random_scene import SceneFile, random_scene

STEP_DELTA_E00 = (0.1, 2.0)
COLUMN_X, ROW_Y, CARD_SIZE = (0.455, 0.595, 0.735), (0.27, 0.50), (0.115, 0.19)
BANDS = (0.0, 0.02, 0.2, 0.4, 0.6, 0.8, 0.98, 1.0)
SAID = (0.5, 0.75, 0.9)


@dataclass(frozen=True)
class Photo:
    """One photo's cards: true differences, chances joint and each on its own, and what was said."""

    true: np.ndarray
    joint: np.ndarray
    apart: np.ndarray
    pairs: tuple[tuple[float, float, float, float, float], ...]
    answer: CardsAnswer


def with_cards(scene: Scene, count: int, rng: np.random.Generator) -> Scene:
    """Return the scene with ``count`` cards, one row of up to three or two rows."""
    step, first = rng.uniform(*STEP_DELTA_E00), min(scene.paint.true_delta_e00, 4.0)
    off = rng.permutation(first + step * np.arange(count))
    rows = 1 if count <= 3 else 2
    places = [(x, y) for y in (ROW_Y if rows == 2 else (0.40,)) for x in COLUMN_X][:count]
    lean = max(np.hypot(*scene.layout.card_tilt_deg), 0.3) / np.sqrt(2.0)
    cards = tuple(
        CardPlace((x + rng.uniform(-0.006, 0.006), y), float(rng.normal(0, 1.5)), tuple(rng.normal(0, lean, 2)))
        for x, y in places
    )
    layout = replace(
        scene.layout,
        card_centre=cards[0].centre,
        card_size=CARD_SIZE,
        card_angle_deg=cards[0].angle_deg,
        more_cards=cards[1:],
    )
    paint = replace(scene.paint, true_delta_e00=float(off[0]), more_delta_e00=tuple(map(float, off[1:])))
    return replace(scene, layout=layout, paint=paint)


def looked_at(rendering: Rendering, rng: np.random.Generator) -> Photo:
    calibration, rules = load_calibration(), load_comparing_rules()
    photo = load(encode(rendering, "JPEG", quality=92), "scene.jpg")
    measured = measure_photo_cards(photo, rendering.regions, CheckSettings(), calibration)
    cards = [region for region in rendering.regions if region.kind is Kind.CARD]
    answer = judge_cards(dict(zip(cards, measured, strict=True)), CheckSettings(), calibration, rules)
    order = [cards.index(card.region) for card in answer.cards]
    true = np.array([rendering.true_delta_e00, *rendering.more_true_delta_e00])[order]
    kept = list(answer.compared)
    compared = [answer.cards[place].result.measurement for place in kept]
    shuffled = np.array([rng.permutation(distances(m)) for m in compared])
    nearest = answer.nearest
    pairs = tuple(
        (
            true[kept[p.first]] - true[kept[p.second]],
            p.first_nearer,
            float(np.mean(shuffled[p.first] < shuffled[p.second])),
            float(np.std(distances(compared[p.first]) - distances(compared[p.second]))),
            float(np.std(shuffled[p.first] - shuffled[p.second])),
        )
        for p in (nearest.pairs if nearest else ())
    )
    joint, apart = (np.array(c) for c in ((nearest.chances, chances_of(shuffled)) if nearest else ((), ())))
    return Photo(true[kept], joint, apart, pairs, answer)


def distances(measurement: Measurement) -> np.ndarray:
    return delta_e00(measurement.draws.card_lab, measurement.draws.vehicle_lab)


def photos(scenes: int, seed: int, size: tuple[int, int]) -> list[Photo]:
    scene_file, toners = files.load(SceneFile, "scene"), files.load(TonerFile, "toners")
    rng = np.random.default_rng(seed)
    found, left_out = [], 0
    for index in range(scenes):
        scene = with_cards(random_scene(rng, scene_file.ranges, size), 2 + index % 5, rng)
        try:
            found.append(looked_at(render(scene, toners, scene_file.physics), rng))
        except MatchError:
            left_out += 1  # a formula that cannot be as far off as was asked
    print(f"{len(found)} photos, {left_out} scenes that no formula gives")
    return found


def report(found: list[Photo]) -> None:
    usable = [photo for photo in found if len(photo.true) > 1]
    print(f"at least two cards could be compared in {len(usable)} of {len(found)}")
    for name, chosen in (("drawn together", "joint"), ("each card on its own", "apart")):
        said = np.concatenate([getattr(photo, chosen) for photo in usable])
        was = np.concatenate([np.arange(len(photo.true)) == photo.true.argmin() for photo in usable])
        print(f"every card, {name}: chance said and how often it was the nearest")
        for low, high in pairwise(BANDS):
            inside = (said >= low) & ((said < high) | (high == 1.0))
            if inside.any():
                print(
                    f"  {low:4.0%} to {high:4.0%}   said {said[inside].mean():5.1%}   was {was[inside].mean():5.1%}   "
                    f"({inside.sum()} cards)"
                )
        print(f"  squared error of the chance (Brier) {np.mean((said - was) ** 2):.4f}")
        top = np.array([getattr(photo, chosen).max() for photo in usable])
        right = np.array([getattr(photo, chosen).argmax() == photo.true.argmin() for photo in usable])
        for level in SAID:
            sure = top >= level
            print(
                f"  called the nearest with {level:.0%} or more: {sure.mean():.0%} of the photos, "
                f"right in {right[sure].mean():.1%} (said {top[sure].mean():.1%})"
            )
        print(f"  the likeliest card was the nearest in {right.mean():.1%} (said {top.mean():.1%})")
    _report_pairs(usable)
    _report_front(usable)


def _report_pairs(usable: list[Photo]) -> None:
    pairs = np.array([pair for photo in usable for pair in photo.pairs])
    for name, column in (("drawn together", 1), ("each on its own", 2)):
        sure = np.maximum(pairs[:, column], 1.0 - pairs[:, column])
        apart = sure >= load_comparing_rules().told_apart
        right = (pairs[:, column] > 0.5) == (pairs[:, 0] < 0.0)
        print(
            f"pairs {name}: told apart {apart.mean():.1%} of {len(pairs)}, of these right {right[apart].mean():.1%} "
            f"(said {sure[apart].mean():.1%}); the others {right[~apart].mean():.1%} (said {sure[~apart].mean():.1%})"
        )
    print(
        f"spread of the difference of two cards' distances: {np.median(pairs[:, 3]):.3f} together, "
        f"{np.median(pairs[:, 4]):.3f} on their own; ratio {np.median(pairs[:, 3] / pairs[:, 4]):.2f} (median)"
    )


def _report_front(usable: list[Photo]) -> None:
    fronts = [(photo.answer.front_card.result, photo.true[photo.joint.argmax()]) for photo in usable]
    inside = [r.measurement.interval[0] <= true <= r.measurement.interval[1] for r, true in fronts]
    below = np.mean([true > r.measurement.interval[1] for r, true in fronts])
    every = [
        m.interval[0] <= true <= m.interval[1]
        for photo in usable
        for m, true in zip(
            (photo.answer.cards[place].result.measurement for place in photo.answer.compared), photo.true, strict=True
        )
    ]
    go_wrong = sum(r.verdict is Verdict.GO and true > 3.0 for r, true in fronts)
    comeback = [true > r.thresholds.blend_below for r, true in fronts if r.verdict is Verdict.GO]
    print(
        f"95 % interval holds the truth: every card {np.mean(every):.1%}, the chosen one {np.mean(inside):.1%} "
        f"(truth above it {below:.1%}); go {len(comeback)} times, go over 3: {go_wrong}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--scenes", type=int, default=120)
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--size", default="1000x750")
    options = parser.parse_args()
    width, height = (int(side) for side in options.size.split("x"))
    report(photos(options.scenes, options.seed, (width, height)))


if __name__ == "__main__":
    main()
