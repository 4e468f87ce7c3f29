"""How far off is the measured difference? Rendered photos of known colours, beside a plain pipeline on the same photos.

    .venv/bin/python -m tests.benchmarks.accuracy [--scenes 240] [--seed 2026] [--size 1000x750]

Prints median and 95th percentile of |estimated - true| CIEDE2000, how often the 95 % interval holds the truth, how
wide it is and its mean score (the width, and 40 times by how much a truth outside misses it: the interval score of
Gneiting and Raftery 2007, J Am Stat Assoc 102:359, section 6.2, from memory; less is better), verdict blunders (go when
the true difference is over 3; retint when it is under 0.8), and the share of fair photos measured rather than sent
back. The scenes decide how hard the task is, so every figure is also given as a ratio to the plain pipeline's (decode
sRGB, scale on one grey, mean of the pixels between the 5th and 80th percentile).
"""

from __future__ import annotations

import argparse
import io
from collections import Counter
from dataclasses import dataclass

import numpy as np
from PIL import Image

from match import calibration as files
from match.check.calibration_files import load_calibration
from match.check.settings import CheckSettings
from match.check.verdict import Verdict
from match.demo.scene.encode import encode
from match.demo.scene.render import render
from match.photo.load import load
from match.tint.pigment import TonerFile
from tests.benchmarks.plain_pipeline import plain_delta_e00
from tests.support.checked import check_photo
from tests.support.random_scene import SceneFile, random_scene


@dataclass(frozen=True)
class Row:
    true: float
    plain: float
    estimate: float
    unbiased: float
    low: float
    high: float
    verdict: Verdict
    greys: int
    spoiled: tuple[str, ...]


def rows(scenes: int, seed: int, size: tuple[int, int]) -> list[Row]:
    scene_file, toners = files.load(SceneFile, "scene"), files.load(TonerFile, "toners")
    calibration = load_calibration()
    rng = np.random.default_rng(seed)
    result = []
    for _ in range(scenes):
        rendering = render(random_scene(rng, scene_file.ranges, size), toners, scene_file.physics)
        data = encode(rendering, "JPEG", quality=92)
        checked = check_photo(load(data, "scene.jpg"), rendering.regions, CheckSettings(), calibration)
        measured = checked.measurement
        result.append(
            Row(
                true=rendering.true_delta_e00,
                plain=plain_delta_e00(np.asarray(Image.open(io.BytesIO(data))), rendering.regions),
                estimate=measured.delta_e00,
                unbiased=measured.unbiased_delta_e00,
                low=measured.interval[0],
                high=measured.interval[1],
                verdict=checked.verdict,
                greys=len(measured.light.reflectances),
                spoiled=tuple(finding.code.value for finding in checked.warnings if finding.spoils),
            )
        )
    return result


def report(name: str, chosen: list[Row]) -> None:
    if not chosen:
        return
    true = np.array([row.true for row in chosen])
    error = np.abs([row.estimate for row in chosen] - true)
    unbiased = np.abs([row.unbiased for row in chosen] - true)
    plain = np.abs([row.plain for row in chosen] - true)
    low, high = np.array([row.low for row in chosen]), np.array([row.high for row in chosen])
    covered = np.mean((low <= true) & (true <= high))
    score = np.mean(high - low + 40.0 * (np.maximum(low - true, 0.0) + np.maximum(true - high, 0.0)))

    def both(values: np.ndarray) -> str:
        return f"median {np.median(values):.3f}  95th {np.percentile(values, 95):.3f}"

    print(f"{name} ({len(chosen)} photos)")
    print(f"  plain pipeline     {both(plain)}")
    print(f"  this project       {both(error)}")
    print(f"  without noise lift {both(unbiased)}")
    ratio = np.median(error) / np.median(plain), np.percentile(error, 95) / np.percentile(plain, 95)
    print(f"  ratio to plain     median {ratio[0]:.2f}  95th {ratio[1]:.2f}")
    width = np.median(high - low)
    print(f"  95 % interval      holds the truth in {covered:.1%}, median width {width:.2f}, score {score:.2f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--scenes", type=int, default=240)
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--size", default="1000x750")
    options = parser.parse_args()
    width, height = (int(side) for side in options.size.split("x"))
    everything = rows(options.scenes, options.seed, (width, height))
    measured = [row for row in everything if row.verdict is not Verdict.RETAKE]
    report("all photos", everything)
    report("measured, not sent back", measured)
    report("  of these, one grey", [row for row in measured if row.greys == 1])
    report("  of these, grey steps", [row for row in measured if row.greys > 1])
    go_wrong = sum(row.verdict is Verdict.GO and row.true > 3.0 for row in everything)
    retint_wrong = sum(row.verdict is Verdict.RETINT and row.true < 0.8 for row in everything)
    print(f"blunders: go over 3: {go_wrong}, retint under 0.8: {retint_wrong}")
    sent_back = Counter(code for row in everything for code in row.spoiled)
    print(f"measured rather than sent back: {len(measured) / len(everything):.1%}; sent back for {dict(sent_back)}")


if __name__ == "__main__":
    main()
