"""Does the proposed next step bring what was promised? Each step is taken for real on rendered photos of one pair.

    python -m tests.benchmarks.next_steps [scenes]

The first photo has one grey and 8 bits; half of the photos mark the car on one side of the card only, and every third
pair is of equal colours. Each step is then taken: the same scene as linear 16 bits (raw), with three greys, with the
card's white field marked, with the car marked on both sides, with the card laid again, with the card moved to the other
side. Printed: error of the CIEDE2000, the interval's width as predicted and as it came out, how often it held the
truth, and the chance to be sure as predicted and as it came out. Run time: about 4 s a scene.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from unittest import mock

import numpy as np

from match import calibration as files
from match.check.measuring import measure_photo
from match.check.next_step import NextStepFile, is_unsure, predicted_step
from match.check.step_errors import PhotoErrors, StepCode
from match.check.verdict import decide, thresholds
from match.colorimetry import delta_e00
from match.demo.scene import layout as lay
from match.demo.scene import render as rendering
from match.demo.scene.description import ToneCurve
from match.photo.regions import Kind, Region
from match.several.combine import CombiningRules, PhotoReading, combine
from match.several.photo_set import Role
from tests.benchmarks.several_scenes import base_scene, laid_again, open_shop, pair_at, pair_of
from tests.support.synthetic import ArrayPhoto, srgb_decode

TAB = 0.3
"""Share of the card left unpainted, so that its white field can be marked in a small picture."""

TAKEN = {
    StepCode.CAMERA_RAW: "as raw",
    StepCode.GREY_STEPS: "three greys",
    StepCode.WHITE_FIELD: "white field",
    StepCode.SECOND_CAR_BOX: "car on both sides",
    StepCode.LAY_AGAIN: "laid again",
    StepCode.SWAP: "swapped",
}


@dataclass(frozen=True)
class Row:
    error: float
    low: float
    high: float
    held: bool
    sure: bool
    equal: bool
    predicted: tuple[float, float] | None = None
    chance: float | None = None


class Pair:
    """One rendered pair of paints, photographed again and again."""

    def __init__(self, shop, rng, equal, one_sided):
        scene = base_scene(shop, rng)
        grey = (0.12, 0.16) if len(scene.greys) > 1 else scene.layout.grey_size
        scene = replace(scene, greys=(0.18,), layout=replace(scene.layout, grey_size=grey))
        if equal:
            scene = replace(scene, paint=replace(scene.paint, card_flop_ratio=1.0))
        pair = pair_of(shop, scene)
        pair = pair_at(shop, scene, replace(pair, card=pair.vehicle) if equal else pair, 45.0)
        self.pair = replace(pair, card_lab=pair.vehicle_lab) if equal else pair
        self.shop, self.rng, self.one_sided = shop, rng, one_sided
        self.first = laid_again(scene, shop, rng, 0.62)
        self.true = float(delta_e00(self.pair.card_lab, self.pair.vehicle_lab))

    def photo(self, scene, side=None, raw=False, white=False):
        """Render and measure one photo."""
        seed = int(self.rng.integers(2**31))
        scene = replace(scene, seed=seed if not (raw or white) else scene.seed)
        if raw:
            camera = replace(scene.camera, tone=ToneCurve(), sharpening=0.0, saturation=1.0, bits=16)
            scene = replace(scene, camera=camera)
        with mock.patch.object(rendering, "paint_pair", return_value=self.pair):
            capture = rendering.captured(scene, self.shop.toners, self.shop.scene.physics)
        image = rendering.developed(capture, scene.camera, scene.light.lamp, self.rng)
        marks = lay.regions(scene, capture.highlight)
        if side:
            card_x = next(mark.x for mark in marks if mark.kind is Kind.CARD)
            marks = tuple(m for m in marks if m.kind is not Kind.VEHICLE or (m.x < card_x) == (side == "left"))
        if white:
            marks = (*marks, white_field(scene, self.white))
        code = image / (255.0 if image.dtype == np.uint8 else 65535.0)
        photo = ArrayPhoto(srgb_decode(code), True, code_step=2.0**-14) if raw else ArrayPhoto(code)
        return measure_photo(photo, marks, self.shop.settings, self.shop.calibration)

    @property
    def white(self):
        return self.shop.calibration.greys.greys["white-field"].reflectance


def white_field(scene, reflectance):
    """Return the mark of the card's unpainted white, above the chequer."""
    field = lay.card_rectangle(scene.layout).part(0.2, 0.8, 0.08 * TAB, 0.46 * TAB)
    half, width = field.upright_inside(0.85), scene.size_px[0]
    left, top = (round((c - h) * width) for c, h in zip(field.centre, half, strict=True))
    return Region(Kind.GREY, left, top, round(2 * half[0] * width), round(2 * half[1] * width), reflectance)


def row(found, pair, equal, limits, shop, known, step=None):
    low, high = found.interval
    decision = decide(found.confidence, limits, shop.calibration.tolerances)
    held = low - 1e-3 <= pair.true <= high
    predicted = (step.predicted, step.chance) if step else (None, None)
    sure = not is_unsure(decision, known.rules)
    return Row(abs(found.delta_e00 - pair.true), low, high, held, sure, equal, *predicted)


def taken(pair, first):
    """Return what each step leads to, taken for real."""
    shop, here = pair.shop, "left" if pair.one_sided else None
    rules, floor = (
        files.load(CombiningRules, "several", "combining"),
        shop.calibration.camera.errors.pair_floor,
    )

    def with_second(photo, role):
        both = [PhotoReading("a", Role.FIRST, first), PhotoReading("b", role, photo)]
        return combine(both, rules, floor, np.random.default_rng(1))

    board = replace(pair.first.layout, grey_size=(0.09, 0.20))
    three = replace(pair.first, greys=(0.04, 0.18, 0.75), layout=board)
    again = laid_again(pair.first, shop, pair.rng, 0.62)
    other = laid_again(pair.first, shop, pair.rng, 0.50)
    found = {
        StepCode.CAMERA_RAW: pair.photo(pair.first, here, raw=True),
        StepCode.GREY_STEPS: pair.photo(three, here),
        StepCode.WHITE_FIELD: pair.photo(pair.first, here, white=True),
        StepCode.LAY_AGAIN: with_second(pair.photo(again, here), Role.REPEAT),
        StepCode.SWAP: with_second(pair.photo(other, "right" if pair.one_sided else None), Role.SWAP),
    }
    return found if not pair.one_sided else {**found, StepCode.SECOND_CAR_BOX: pair.photo(pair.first, None)}


def spoiled(found):
    return any(each.spoils for each in found.findings)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    shop, rng = open_shop(), np.random.default_rng(77)
    known = files.load(NextStepFile, "next_steps")
    limits = thresholds(shop.calibration.tolerances, shop.settings.junction)
    now: list[Row] = []
    after: dict[StepCode, list[tuple[Row, Row]]] = {code: [] for code in TAKEN}
    with mock.patch.object(lay, "TAB_SHARE", TAB):
        for index in range(count):
            equal = index % 3 == 0
            pair = Pair(shop, rng, equal, one_sided=index % 2 == 0)
            first = pair.photo(pair.first, "left" if pair.one_sided else None)
            if spoiled(first):
                continue
            greys = tuple(shop.calibration.greys.tolerance(each) for each in first.light.reflectances)
            errors = PhotoErrors(first, shop.calibration.camera, greys)
            before = row(first, pair, equal, limits, shop, known)
            now.append(before)
            for code, found in taken(pair, first).items():
                if spoiled(found):
                    continue
                step = predicted_step(code, errors, limits, shop.calibration.tolerances, known, index)
                if step:
                    after[code].append((before, row(found, pair, equal, limits, shop, known, step)))
    print(f"{len(now)} of {count} first photos without a spoiling finding")
    for name, chosen in (
        ("every photo", lambda before: True),
        ("unsure photos only", lambda before: not before.sure),
        ("equal colours only", lambda before: before.equal),
    ):
        report(name, [each for each in now if chosen(each)], after, chosen)


def report(name, now, after, chosen):
    head = (
        "error: median, 90th  held   width: before  predicted  came out  came/predicted 10-50-90 %   "
        "sure: predicted, was"
    )
    print(f"\n{name}\n{'':20s}{head}")
    if now:
        error, width = np.array([r.error for r in now]), np.array([r.high - r.low for r in now])
        held, sure = np.mean([r.held for r in now]), np.mean([r.sure for r in now])
        print(
            f"{'one grey, 8 bits':20s}{np.median(error):8.2f} {np.quantile(error, 0.9):5.2f} {held:8.0%} "
            f"{np.median(width):13.2f} {'':62s}{sure:5.0%}   n={len(now)}"
        )
    for code, label in TAKEN.items():
        pairs = [each for each in after[code] if chosen(each[0])]
        if not pairs:
            continue
        error = np.array([r.error for _, r in pairs])
        before = np.array([b.high - b.low for b, _ in pairs])
        came = np.array([r.high - r.low for _, r in pairs])
        predicted = np.array([r.predicted[1] - r.predicted[0] for _, r in pairs])
        ratio = np.quantile(came / np.maximum(predicted, 1e-3), [0.1, 0.5, 0.9])
        print(
            f"{label:20s}{np.median(error):8.2f} {np.quantile(error, 0.9):5.2f} "
            f"{np.mean([r.held for _, r in pairs]):8.0%} {np.median(before):13.2f} {np.median(predicted):10.2f} "
            f"{np.median(came):9.2f}      {ratio[0]:6.2f} {ratio[1]:6.2f} {ratio[2]:6.2f} "
            f"{np.mean([r.chance for _, r in pairs]):17.0%} {np.mean([r.sure for _, r in pairs]):5.0%}   n={len(pairs)}"
        )


if __name__ == "__main__":
    main()
