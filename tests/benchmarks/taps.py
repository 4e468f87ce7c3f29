"""How often a tap on a photo gives a box on the right surface, and how many photos need no tap at all.

    python -m tests.benchmarks.taps [scenes] [drawn]

Scenes (60 by default, 800 x 600, every third turned upright) come from ``match.demo.scene``: its map says
what each pixel is. Drawn pictures (200 by default) are laid out anew in this script: tilted things, portrait, crowded
benches, one grey or a ladder, glare, flake, shadow, dust, uneven light, and cards down to a hundredth of the light off
the car. A tap lies anywhere in the middle 60 % of its surface; on the car beside the card, off its edges. A
box is right when at least 95 % of its pixels are of the tapped surface; a refusal, which asks for another tap, is not
right. On drawn pictures glare is no surface; the renderer's map calls a lamp's reflection the car, so that a tap on one
counts as a refusal there.
Run time on a quiet core: about 1 s a scene and 0.3 s a drawn picture.
"""

from __future__ import annotations

import sys
import time
from collections import Counter, defaultdict

import cv2
import numpy as np

from match import calibration
from match.demo.scene.canvas import Material
from match.demo.scene.settings import SceneFile
from match.photo.proposals.propose import ProposalSettings, propose
from match.photo.proposals.tap import TapSettings, grow
from match.photo.regions import Kind
from match.tint.pigment import TonerFile
from tests.benchmarks.capture_found import scene_of
from tests.support.drawn_photos import CARD, FIRST_GREY, PANEL, Drawn, draw

FIRST_SCENE, FIRST_DRAWN = 70_000, 80_000  # no limit was chosen on these
RIGHT = 0.95
TAPS = 3


def linear_of(picture):
    """Return the linear light of 8-bit sRGB codes (IEC 61966-2-1)."""
    code = picture / 255.0
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4).astype(np.float32)


def rendered(count):
    """Yield pictures of the renderer as drawn ones are: with a map of surfaces."""
    scenes, toners = calibration.load(SceneFile, "scene"), calibration.load(TonerFile, "toners")
    for number in range(count):
        image, material, scene = scene_of(FIRST_SCENE + number, scenes, toners, "nothing")
        surface = np.full(material.shape, -1, dtype=np.int16)
        surface[material == Material.VEHICLE] = PANEL
        surface[material == Material.CARD] = CARD
        for step in range(len(scene.greys)):
            surface[material == Material.GREY + step] = FIRST_GREY + step
        if number % 3 == 0:
            image, surface = np.rot90(image).copy(), np.rot90(surface).copy()
        ladder = "ladder" if len(scene.greys) > 1 else "one grey"
        yield Drawn(image, surface, tuple(scene.greys), {"rendered", ladder, "portrait" if number % 3 == 0 else "wide"})


def tapped(surface, number, rng):
    """Return a tapped point of a surface in fractions: of its middle, on the panel near the card."""
    shown = surface == number
    if number == PANEL:
        # A finger keeps off an edge it sees: a fortieth of the picture, some 10 px of a phone's screen.
        clear = np.ones((max(surface.shape) // 40 * 2 + 1,) * 2, np.uint8)
        shown = cv2.erode(shown.astype(np.uint8), clear, borderValue=0) > 0
        rows, columns = np.nonzero(shown & _near_card(surface))
    else:
        rows, columns = np.nonzero(shown)
    if rows.size < 60:
        return None
    if number != PANEL:
        middle, spread = (rows.mean(), columns.mean()), (np.ptp(rows) / 2, np.ptp(columns) / 2)
        inner = (np.abs(rows - middle[0]) <= 0.6 * spread[0]) & (np.abs(columns - middle[1]) <= 0.6 * spread[1])
        rows, columns = rows[inner], columns[inner]
    choice = int(rng.integers(rows.size))
    high, wide = surface.shape
    return (columns[choice] + 0.5) / wide, (rows[choice] + 0.5) / high


def _near_card(surface):
    rows, columns = np.nonzero(surface == CARD)
    down, across = (
        np.abs(places - seen.mean()) / np.ptp(seen)
        for places, seen in zip(np.indices(surface.shape), (rows, columns), strict=True)
    )
    return (down < 0.6) & (across < 1.3)


def on_surface(box, surface, number):
    """Return the share of the box's pixels that are of the surface."""
    high, wide = surface.shape
    part = surface[
        round(box.y * high) : max(round((box.y + box.height) * high), round(box.y * high) + 1),
        round(box.x * wide) : max(round((box.x + box.width) * wide), round(box.x * wide) + 1),
    ]
    return float(np.mean(part == number))


def kind_of(number):
    return {PANEL: "car", CARD: "card"}.get(number, "grey")


def measure(photos, settings, first, show):
    """Print the shares for a run of photos."""
    counts, by_trait, sizes, seconds = defaultdict(Counter), defaultdict(Counter), defaultdict(list), []
    no_tap, burnt, burnt_refused = Counter(), Counter(), Counter()
    proposal_settings = calibration.load(ProposalSettings, "capture", "proposal")
    for index, photo in enumerate(photos):
        rng = np.random.default_rng([first, index])
        linear = linear_of(photo.picture)
        for number in sorted({int(value) for value in np.unique(photo.surface)} & set(range(FIRST_GREY + 9))):
            for _ in range(TAPS):
                point = tapped(photo.surface, number, rng)
                if point is None:
                    continue
                if linear[photo.surface == number].max(axis=-1).mean() >= settings.borders.burnt:
                    burnt[kind_of(number)] += 1
                    burnt_refused[kind_of(number)] += grow(linear, point, settings) is None
                    continue
                started = time.perf_counter()
                box = grow(linear, point, settings)
                seconds.append(time.perf_counter() - started)
                share = on_surface(box, photo.surface, number) if box else 0.0
                result = "none" if box is None else "right" if share >= RIGHT else "wrong"
                doubted = bool(box and box.doubts)
                counts[kind_of(number)][result] += 1
                counts[kind_of(number)]["wrong, unsure"] += result == "wrong" and doubted
                counts[kind_of(number)]["unsure"] += doubted
                for trait in photo.traits:
                    by_trait[trait][result] += 1
                if box is not None and number != PANEL:
                    high, wide = photo.surface.shape
                    sizes[kind_of(number)].append(
                        box.width * box.height * high * wide / np.sum(photo.surface == number)
                    )
                if show and result != "right":
                    print(
                        "   ", index, sorted(photo.traits), kind_of(number), np.round(point, 3), result, round(share, 2)
                    )
        no_tap[_without_tap(photo, proposal_settings)] += 1
    for kind, count in counts.items():
        total = count["right"] + count["wrong"] + count["none"]
        part = f", {np.median(sizes[kind]):.2f} of the surface (median)" if sizes[kind] else ""
        print(
            f"  {kind:5s} {total:4d} taps: right {count['right'] / total:.1%}, wrong {count['wrong']} "
            f"(unsure of {count['wrong, unsure']}), refused {count['none']}; "
            f"unsure in {count['unsure'] / total:.0%}{part}"
        )
    for kind, count in burnt.items():
        print(f"  {kind:5s} {count:4d} taps on what is burnt out: refused {burnt_refused[kind]}")
    for trait, count in sorted(by_trait.items()):
        total = count["right"] + count["wrong"] + count["none"]
        print(f"    {trait:12s} {total:4d} taps: right {count['right'] / total:.1%}")
    print(f"  time a tap: median {1000 * np.median(seconds):.0f} ms, 95 % {1000 * np.percentile(seconds, 95):.0f} ms")
    total = sum(no_tap.values())
    print(
        f"  photos marked with no tap: {no_tap['whole']} of {total}; in part {no_tap['part']}, wrong {no_tap['wrong']}"
    )


def _without_tap(photo, settings):
    """Return ``whole``, ``part``, ``nothing`` or ``wrong`` for what today's proposals mark of a photo by themselves."""
    found = propose(photo.picture, settings, grey_reflectances=photo.greys).regions
    numbers = {Kind.CARD: CARD, Kind.VEHICLE: PANEL}
    for region in found:
        shown = photo.surface[region.y : region.y + region.height, region.x : region.x + region.width]
        number = numbers.get(region.kind, -1)
        if region.kind is Kind.GREY:
            number = FIRST_GREY + photo.greys.index(region.reflectance)
        if np.mean(shown == number) < RIGHT:
            return "wrong"
    kinds = Counter(region.kind for region in found)
    if kinds[Kind.GREY] == len(photo.greys) and kinds[Kind.CARD] and kinds[Kind.VEHICLE]:
        return "whole"
    return "part" if found else "nothing"


def main() -> None:
    """Read the counts from the command line and print both tables."""
    show = "-v" in sys.argv
    counts = [int(value) for value in sys.argv[1:3] if value.isdigit()]
    scenes, drawn = (*counts, *(60, 200)[len(counts) :])
    settings = calibration.load(TapSettings, "capture", "tap")
    if scenes:
        print(f"{scenes} rendered scenes")
        measure(rendered(scenes), settings, FIRST_SCENE, show)
    if drawn:
        print(f"{drawn} drawn pictures")
        measure(
            (draw(np.random.default_rng(FIRST_DRAWN + number)) for number in range(drawn)), settings, FIRST_DRAWN, show
        )


if __name__ == "__main__":
    main()
