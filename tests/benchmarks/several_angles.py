"""Wrong verdicts on effect finishes, most of all *go* for a card that matches face-on and is off at the flop.

    python -m tests.benchmarks.several_angles [sets]

Rendered metallics and pearls, one careful photo an angle (near the glare, face, flop), the car marked on both sides;
then the same with the card moved to the other side for a second photo. Half of the cards match at every angle, half
match face-on and differ at the flop by more than a blend hides. The flake model is one flop factor for all wavelengths:
hue that changes with the angle, texture and clipped sparkle are left out, so real paint is harder. About 4 s a set.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace

import numpy as np

from match.check.verdict import Finish, Junction, Verdict, thresholds
from match.several.angles import effect_verdict
from match.several.combine import combine
from match.several.photo_set import Angle, Role
from match.several.rules import load_several_rules
from match.several.travel import Cause
from tests.benchmarks.several_scenes import base_scene, laid_again, open_shop, pair_at, pair_of, read

ANGLES_DEG = {Angle.NEAR_GLARE: 15.0, Angle.FACE: 45.0, Angle.FLOP: 110.0}


def draw_pair(shop, rng, off_at_flop):
    """Draw a scene whose card matches face-on; its flop differs by 3.5 to 8 CIEDE2000, or not at all."""
    while True:
        scene = base_scene(shop, rng, rng.choice(["metallic", "pearl"]))
        ratio = float(rng.uniform(0.5, 1.6)) if off_at_flop else 1.0
        scene = replace(scene, paint=replace(scene.paint, card_flop_ratio=ratio))
        pair = pair_of(shop, replace(scene, paint=replace(scene.paint, card_flop_ratio=1.0, true_delta_e00=0.2)))
        flop = pair_at(shop, scene, pair, ANGLES_DEG[Angle.FLOP]).true_delta_e00
        face = pair_at(shop, scene, pair, ANGLES_DEG[Angle.FACE]).true_delta_e00
        if face < 0.5 and (3.5 < flop < 8 if off_at_flop else flop < 0.5):
            return scene, pair


def photographs(shop, rng, scene, pair):
    """Return for each angle a photo, and one with the card on the other side."""
    photos = {}
    for angle, degrees in ANGLES_DEG.items():
        seen = replace(scene, paint=replace(scene.paint, view_angle_deg=degrees))
        here = pair_at(shop, seen, pair, degrees)
        photos[angle] = [
            read(shop, laid_again(seen, shop, rng, x), here, role, f"{angle.value} {role.value}", rng)
            for x, role in ((0.60, Role.FIRST), (0.52, Role.SWAP))
        ]
    return photos


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    shop, rng = open_shop(), np.random.default_rng(31)
    rules = load_several_rules()
    tolerances = shop.calibration.tolerances
    limits = thresholds(tolerances, Junction.PANEL_GAP)
    floor = shop.calibration.camera.errors.pair_floor
    kinds = {
        "face only": ([Angle.FACE], 1),
        "face and flop": ([Angle.FACE, Angle.FLOP], 1),
        "three angles": (list(Angle), 1),
        "three angles, each with a swap": (list(Angle), 2),
    }
    counts = {(name, off): Counter() for name in kinds for off in (False, True)}
    causes, spoiled = Counter(), Counter()
    for index in range(count):
        off = index % 2 == 0
        scene, pair = draw_pair(shop, rng, off)
        photos = photographs(shop, rng, scene, pair)
        finish = Finish(scene.paint.finish)
        for angle in photos:
            spoiled[angle.value] += photos[angle][0].spoiled
        for name, (angles, each) in kinds.items():
            draws = np.random.default_rng(index)
            by_angle = {angle: combine(photos[angle][:each], rules.combining, floor, draws) for angle in angles}
            found = effect_verdict(by_angle, finish, limits, tolerances, rules.technique, rules.angles)
            counts[name, off][found.verdict] += 1
            if off and each == 2:
                causes[found.signature.cause] += 1
    for off in (True, False):
        print("\nmatches face-on, off at the flop:" if off else "\nmatches at every angle:")
        print(f"{'':32s}" + "".join(f"{verdict.value:>8s}" for verdict in Verdict))
        for name in kinds:
            print(f"{name:32s}" + "".join(f"{counts[name, off][verdict]:8d}" for verdict in Verdict))
    print(f"\nspoiled first photos by angle: {dict(spoiled)}")
    print("cause named for the cards off at the flop:", {cause.value: causes[cause] for cause in Cause})


if __name__ == "__main__":
    main()
