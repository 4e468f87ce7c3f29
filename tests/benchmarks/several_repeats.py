"""One photo against three repeats and against a swap, on rendered sets: error, interval, coverage, sources.

    python -m tests.benchmarks.several_repeats [sets]

The car is marked on one side of the card only, so that the light's slope shows in full; half of the sets show two equal
colours, whose measured difference is all error. Run time: about 3 s a set.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from match import calibration as files
from match.colorimetry import delta_e00
from match.several.combine import CombiningRules, combine
from match.several.photo_set import Role
from tests.benchmarks.several_scenes import base_scene, laid_again, open_shop, pair_at, pair_of, read

PLACES = (
    (0.62, "left", Role.FIRST),
    (0.62, "left", Role.REPEAT),
    (0.62, "left", Role.REPEAT),
    (0.50, "right", Role.SWAP),
    (0.50, "right", Role.SWAP),
)
STRATEGIES = {"one photo": [0], "3 repeats": [0, 1, 2], "1 and 1 swapped": [0, 3], "2 and 2 swapped": [0, 1, 3, 4]}


def photograph(shop, rng, equal):
    """Return five readings of one pair, and the true difference (3,)."""
    scene = base_scene(shop, rng)
    pair = pair_of(shop, replace(scene, paint=replace(scene.paint, card_flop_ratio=1.0)) if equal else scene)
    pair = pair_at(shop, scene, replace(pair, card=pair.vehicle) if equal else pair, 45.0)
    if equal:
        scene = replace(scene, paint=replace(scene.paint, card_flop_ratio=1.0))
        pair = replace(pair, card_lab=pair.vehicle_lab)
    photos = [
        read(shop, laid_again(scene, shop, rng, x), pair, role, f"photo {index}", rng, side)
        for index, (x, side, role) in enumerate(PLACES)
    ]
    return photos, pair.card_lab - pair.vehicle_lab, pair.vehicle_lab, scene.paint.finish


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    shop, rng = open_shop(), np.random.default_rng(20)
    rules = files.load(CombiningRules, "several", "combining")
    floor = shop.calibration.camera.errors.pair_floor
    results = {name: [] for name in STRATEGIES}
    null_errors, usable = [], 0
    for index in range(count):
        equal = index % 2 == 0
        photos, truth, vehicle, finish = photograph(shop, rng, equal)
        if any(photo.spoiled for photo in photos):
            continue
        usable += 1
        if equal:
            sd = [np.sqrt(np.diag(np.cov(p.reading.draws.null_difference.T))) for p in photos]
            null_errors.append(np.clip([p.delta_lab / s for p, s in zip(photos, sd, strict=True)], -3, 3))
        true_size = float(delta_e00(vehicle + truth, vehicle))
        for name, members in STRATEGIES.items():
            found = combine([photos[i] for i in members], rules, floor, np.random.default_rng(index))
            low, high = found.interval
            off = float(delta_e00(vehicle + found.delta_lab, vehicle + truth))
            results[name].append((equal, finish, off, high - low, low - 1e-3 <= true_size <= high))
    print(f"{usable} of {count} sets without a spoiling finding")
    for label, wanted in (("equal colours", True), ("different colours", False)):
        print(f"\n{label:18s} {'error (CIEDE2000): median, 90th':34s} interval width   covered")
        for name, rows in results.items():
            chosen = [row for row in rows if row[0] is wanted]
            off, width = np.array([row[2] for row in chosen]), np.array([row[3] for row in chosen])
            inside = np.mean([row[4] for row in chosen])
            sizes = f"{np.median(off):8.2f} {np.quantile(off, 0.9):8.2f} {np.median(width):25.2f}"
            print(f"{name:18s} {sizes} {inside:11.0%}")
    z = np.array(null_errors)
    print("\nwhere the error of equal colours goes, in units of each photo's own null variance (clipped at 3 sd):")
    for component, name in enumerate("Lab"):
        e = z[:, :, component]
        same = np.mean([e[:, 0] * e[:, 1], e[:, 0] * e[:, 2], e[:, 1] * e[:, 2], e[:, 3] * e[:, 4]])
        other = np.mean([e[:, i] * e[:, j] for i in (0, 1, 2) for j in (3, 4)])
        print(
            f"  {name}*: in all {np.mean(e**2):.2f}; changes sign with the side {(same - other) / 2:.2f}; "
            f"stays {(same + other) / 2:.2f}; new with each placement {np.mean(e**2) - same:.2f}"
        )


if __name__ == "__main__":
    main()
