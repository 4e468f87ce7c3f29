"""Are wrong marks found? Slips of the hand on photos of known colours, and the right marks beside them.

    .venv/bin/python -m tests.benchmarks.slips [--scenes 24] [--drawn 24] [--rough 0] [--ordinary 60] [--each 9]
        [--seed 7] [--list]

Some of the photos are rendered scenes (``match.demo.scene``), some are drawn by ``tests.support.drawn_pictures``, which
has another geometry and another camera, some by ``tests.support.rough_pictures``: curved sides, textured cards, hard
JPEG. In all the true difference is over 2. Of each photo's slips ``--each`` are taken at random. For every kind of slip
it prints how many gave a wrong *go*, how many were far off (by more than 0.5 and 30 %) without being sent back, and how
many were sent back; then the share of right marks that were sent back for their marks, on these and on ordinary photos,
and how many of those a person's word that the mark is right would settle.
"""

from __future__ import annotations

import argparse
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from match import calibration as files
from match.check.calibration_files import load_calibration
from match.check.result import CheckResult
from match.check.settings import CheckSettings
from match.check.verdict import Verdict
from match.demo.scene.canvas import Material
from match.demo.scene.encode import encode
from match.demo.scene.layout import regions as careful_regions
from match.demo.scene.render import Rendering, captured, developed
from match.errors import RegionError
from match.photo.load import load
from match.photo.regions import Kind, Region
from match.tint.pigment import TonerFile
from tests.support.checked import check_photo
from tests.support.drawn_pictures import Picture, Shows, drawn_picture
from tests.support.random_scene import SceneFile, random_scene
from tests.support.rough_pictures import rough_picture

SAME = {
    Material.VEHICLE: Shows.CAR,
    Material.GAP: Shows.TRIM,
    Material.MASKING: Shows.PAPER,
    Material.CARD: Shows.CARD,
    Material.TAB: Shows.WHITE,
    Material.GREY_BOARD: Shows.HOLDER,
}


def rendered_picture(rng: np.random.Generator, file: SceneFile, toners: TonerFile, least: float | None) -> Picture:
    """Return a rendered scene with a map of its materials; ``least`` raises the true difference above it."""
    scene = random_scene(rng, file.ranges, (1000, 750))
    if least is not None:
        scene = replace(scene, paint=replace(scene.paint, true_delta_e00=float(rng.uniform(least, 6.0))))
    capture = captured(scene, toners, file.physics)
    image = developed(capture, scene.camera, scene.light.lamp, np.random.default_rng([scene.seed, 3]))
    material = capture.material
    if scene.layout.mirrored:
        image, material = image[:, ::-1].copy(), material[:, ::-1]
    marks = careful_regions(scene, capture.highlight)
    paints = capture.paints
    rendering = Rendering(
        image, marks, paints.card_lab, paints.vehicle_lab, paints.true_delta_e00, scene.camera.profile
    )
    shows = np.zeros(material.shape, dtype=np.uint8)
    for one, other in SAME.items():
        shows[material == one] = other
    steps = material >= Material.GREY
    shows[steps] = material[steps] - Material.GREY + Shows.STEP
    shows[(shows == Shows.CAR) & (np.arange(shows.shape[0])[:, None] > 0.62 * shows.shape[1])] = Shows.OTHER
    return Picture(f"rendered {scene.paint.finish}", encode(rendering), marks, rendering.true_delta_e00, shows)


def spot(
    picture: Picture, shows: int, size: tuple[int, int], rng: np.random.Generator, avoid: tuple[Region, ...] = ()
) -> tuple[int, int, int, int] | None:
    """Return a box of about this size that shows one thing alone, or None."""
    height, width = picture.shows.shape
    for shrink in (1.0, 0.7, 0.5, 0.35, 0.25):
        w, h = max(int(size[0] * shrink), 16), max(int(size[1] * shrink), 16)
        if w * h < 420:
            continue
        for _ in range(300):
            x, y = int(rng.integers(0, width - w)), int(rng.integers(0, height - h))
            if (picture.shows[y : y + h, x : x + w] != shows).mean() < 0.01:
                here = Region(Kind.VEHICLE, x, y, w, h)
                if not any(here.overlaps(each) for each in avoid):
                    return x, y, w, h
    return None


Slip = tuple[str, tuple[Region, ...]]


def slips(picture: Picture, rng: np.random.Generator) -> Iterator[Slip]:
    """Return every slip that this photo allows, as its kind and the marks."""
    greys = tuple(r for r in picture.regions if r.kind is Kind.GREY)
    card = next(r for r in picture.regions if r.kind is Kind.CARD)
    cars = tuple(r for r in picture.regions if r.kind is Kind.VEHICLE)
    yield from _reflectance_slips(greys, (card, *cars))
    yield from _grey_slips(picture, greys, card, cars, rng)
    yield from _card_slips(picture, greys, card, cars, rng)
    yield from _car_slips(picture, greys, card, cars, rng)


def _told(grey: Region, reflectance: float) -> Region:
    return replace(grey, reflectance=reflectance)


def _reflectance_slips(greys: tuple[Region, ...], rest: tuple[Region, ...]) -> Iterator[Slip]:
    ordered = sorted(greys, key=lambda r: r.reflectance or 0)
    values = [r.reflectance for r in ordered]
    if len(greys) == 1:
        for wrong, name in ((0.04, "18 % told as 4 %"), (0.5, "18 % told as 50 %"), (0.9, "18 % told as 90 %")):
            yield name, (*rest, _told(greys[0], wrong))
        yield "18 % told as 1.8 %", (*rest, _told(greys[0], 0.018))
        return
    dark, light = ordered[0], ordered[-1]
    yield "white step called 18 %", (*rest, _told(light, 0.18))
    if dark.reflectance and dark.reflectance < 0.15:
        yield "black step called 18 %", (*rest, _told(dark, 0.18))
    swapped = [_told(ordered[0], values[-1]), *ordered[1:-1], _told(ordered[-1], values[0])]
    yield "lightest and darkest swapped", (*rest, *swapped)
    yield "ladder upside down", (*rest, *(_told(r, v) for r, v in zip(ordered, reversed(values), strict=True)))
    yield "two neighbours swapped", (*rest, _told(ordered[0], values[1]), _told(ordered[1], values[0]), *ordered[2:])
    yield "only lightest and darkest, swapped", (*rest, _told(dark, values[-1]), _told(light, values[0]))
    three = (0.09, 0.18, 0.36) if max(values) > 0.5 else (0.04, 0.18, 0.75)
    other = {2: (0.18, 0.36), 3: three, 4: (0.75, 0.5, 0.3, 0.18)}[len(values)]
    named = [_told(r, v) for r, v in zip(ordered, sorted(other), strict=True)]
    yield "another ladder's names", (*rest, *named)
    yield "one step ten times too low", (*rest, _told(ordered[-1], values[-1] / 10), *ordered[:-1])


def _on(kind: Kind, box: tuple[int, int, int, int] | None, reflectance: float | None = None) -> list[Region]:
    return [] if box is None else [Region(kind, *box, reflectance)]


def _grey_slips(
    picture: Picture, greys: tuple[Region, ...], card: Region, cars: tuple[Region, ...], rng: np.random.Generator
) -> Iterator[Slip]:
    size = (greys[0].width, greys[0].height)
    for what in (Shows.CAR, Shows.CARD, Shows.GROUND, Shows.PAPER, Shows.WHITE, Shows.TRIM, Shows.HOLDER, Shows.GLASS):
        avoid = tuple(replace(r, x=r.x - 4, y=r.y - 4, width=r.width + 8, height=r.height + 8) for r in (card, *cars))
        if what is Shows.CARD:
            small = replace(card, width=card.width // 2 - 8)
            box = (card.x + card.width // 2 + 8, card.y, card.width // 2 - 8, card.height)
            yield f"only grey on {what.name.lower()}", (small, *cars, *_on(Kind.GREY, box, 0.18))
            continue
        found = _on(Kind.GREY, spot(picture, what, size, rng, avoid), 0.18)
        if found:
            yield f"only grey on {what.name.lower()}", (card, *cars, *found)
            if len(greys) > 1 and what in (Shows.CAR, Shows.GROUND):
                one = int(rng.integers(len(greys)))
                rest = [g for i, g in enumerate(greys) if i != one]
                moved = replace(found[0], reflectance=greys[one].reflectance)
                if not any(moved.overlaps(g) for g in rest):
                    yield f"one of the greys on {what.name.lower()}", (card, *cars, *rest, moved)
    half = replace(greys[0], x=greys[0].x - int(0.85 * greys[0].width))
    yield "grey box half off the grey", (card, *cars, half, *greys[1:])
    if len(greys) > 1:
        first, second = greys[0], greys[1]
        middle = replace(first, x=(first.x + second.x) // 2, y=(first.y + second.y) // 2)
        yield "only grey across two steps", (card, *cars, replace(middle, reflectance=0.18))


def _card_slips(
    picture: Picture, greys: tuple[Region, ...], card: Region, cars: tuple[Region, ...], rng: np.random.Generator
) -> Iterator[Slip]:
    low, high = _extent(picture, (Shows.CARD, Shows.WHITE))
    off = (replace(card, x=high - card.width // 2), replace(card, x=low - card.width // 2))
    off = tuple(box for box in off if not any(box.overlaps(other) for other in (*greys, *cars)))
    for box in off[:1]:
        yield "card box half off, sideways", (box, *cars, *greys)
    quarter = replace(card, x=high - 3 * card.width // 4)
    if not any(quarter.overlaps(other) for other in (*greys, *cars)):
        yield "card box a quarter off", (quarter, *cars, *greys)
    below = replace(card, y=_bottom(picture) - card.height // 2)
    yield "card box half off, below", (below, *(c for c in cars if not c.overlaps(below)), *greys)
    found = spot(picture, Shows.CAR, (card.width, card.height), rng, (*greys, *cars))
    if found:
        yield "card box on the car", (Region(Kind.CARD, *found), *cars, *greys)
    found = spot(picture, Shows.WHITE, (card.width, card.height), rng, (*greys, *cars))
    if found:
        yield "card box on bare card", (Region(Kind.CARD, *found), *cars, *greys)
    for what in (Shows.SHADOW, Shows.PAPER, Shows.OTHER, Shows.GROUND):
        found = spot(picture, what, (card.width, card.height), rng, (*greys, *cars))
        if found:
            yield f"card box on {what.name.lower()}", (Region(Kind.CARD, *found), *cars, *greys)


def _extent(picture: Picture, shows: tuple[int, ...]) -> tuple[int, int]:
    columns = np.flatnonzero(np.isin(picture.shows, shows).sum(axis=0) > 0.1 * picture.shows.shape[0])
    return int(columns[0]), int(columns[-1])


def _bottom(picture: Picture) -> int:
    rows = np.flatnonzero(np.isin(picture.shows, (Shows.CARD, Shows.WHITE)).sum(axis=1) > 20)
    return int(rows[-1])


def _car_slips(
    picture: Picture, greys: tuple[Region, ...], card: Region, cars: tuple[Region, ...], rng: np.random.Generator
) -> Iterator[Slip]:
    left, right = replace(card, width=card.width // 2 - 4), replace(card, x=card.x + card.width // 2 + 4)
    right = replace(right, width=card.width // 2 - 4, kind=Kind.VEHICLE)
    yield "only car box on the card", (left, right, *greys)
    if len(cars) > 1:
        yield "one of two car boxes on the card", (left, right, cars[0], *greys)
    yield "card and car swapped", (replace(cars[0], kind=Kind.CARD), replace(card, kind=Kind.VEHICLE), *greys)
    low, high = _extent(picture, (Shows.CARD, Shows.WHITE))
    car = cars[0]
    half = replace(car, x=(low if car.x < card.x else high) - car.width // 2)
    if not half.overlaps(card):
        yield "only car box half on the card", (card, half, *greys)
        if len(cars) > 1:
            yield "one of two car boxes half on the card", (card, half, cars[1], *greys)
    for what in (Shows.GROUND, Shows.GLASS, Shows.TRIM, Shows.SHADOW, Shows.PAPER, Shows.WHITE):
        found = _on(Kind.VEHICLE, spot(picture, what, (car.width, car.height), rng, (card, *greys, *cars)))
        if found:
            name = what.name.lower()
            yield f"only car box on {name}", (card, *found, *greys)
            yield f"one of two car boxes on {name}", (card, car, *found, *greys)


@dataclass(frozen=True)
class Outcome:
    kind: str
    picture: str
    true: float
    read: float
    verdict: Verdict | None
    codes: tuple[str, ...]
    asked: bool = False

    @property
    def wrong_go(self) -> bool:
        return self.verdict is Verdict.GO

    @property
    def far_off(self) -> bool:
        return abs(self.read - self.true) > max(0.5, 0.3 * self.true)

    @property
    def sent_back(self) -> bool:
        return self.verdict in (None, Verdict.RETAKE)


def outcome(kind: str, picture: Picture, marks: tuple[Region, ...], calibration) -> Outcome:
    """Check the photo by these marks; marks that are refused outright count as sent back."""
    try:
        result = check_photo(load(picture.data, "photo.jpg"), marks, CheckSettings(draws=1500), calibration)
    except RegionError as error:
        return Outcome(kind, picture.name, picture.true_delta_e00, np.nan, None, (f"refused: {error}",))
    read = result.measurement.delta_e00
    asked = bool(result.measurement.if_sure)
    return Outcome(kind, picture.name, picture.true_delta_e00, read, result.verdict, _spoils(result), asked)


def _spoils(result: CheckResult) -> tuple[str, ...]:
    return tuple(finding.code for finding in result.warnings if finding.spoils)


def for_its_marks(codes: tuple[str, ...]) -> bool:
    """Say whether right marks were doubted: any code of the judgement of marks."""
    return any(code.startswith("mark-") or code == "far-apart" for code in codes)


def report_slips(outcomes: list[Outcome]) -> None:
    """Print the table by kind, worst first."""
    by_kind = defaultdict(list)
    for each in outcomes:
        by_kind[each.kind].append(each)
    print(f"{'kind of slip':44s} photos  wrong go  far off, kept  sent back")
    for kind, found in sorted(by_kind.items()):
        kept = sum(each.far_off and not each.sent_back for each in found)
        row = (len(found), sum(e.wrong_go for e in found), kept, sum(e.sent_back for e in found))
        print(f"{kind:44s} {row[0]:6d} {row[1]:9d} {row[2]:14d} {row[3]:10d}")
    total = len(outcomes)
    go = sum(each.wrong_go for each in outcomes)
    kept = sum(each.far_off and not each.sent_back for each in outcomes)
    print(f"{total} slips: wrong go {go} ({go / total:.1%}), far off and not sent back {kept} ({kept / total:.1%})")


def report_right(name: str, outcomes: list[Outcome]) -> None:
    """Print how many right marks were sent back for their marks."""
    doubted = [each for each in outcomes if for_its_marks(each.codes)]
    share = len(doubted) / max(len(outcomes), 1)
    codes = Counter(code for each in doubted for code in each.codes if for_its_marks((code,)))
    asked = sum(each.asked for each in doubted)
    settled = f", {asked} of {len(doubted)} settled by a person's word" if doubted else ""
    print(f"right marks, {name}: {len(outcomes)} photos, sent back for their marks {share:.1%}{settled} {dict(codes)}")


def ordinary(rng: np.random.Generator, drawn_only: str | None = None) -> Picture:
    """Draw a photo of any difference: ``drawn_only`` white in snow, black, or grey."""
    paint, around = {"white": ("white", "snow"), "black": ("black", None), "grey": ("mid grey", None)}[drawn_only]
    return drawn_picture(rng, paint, least=0.2, surroundings=around)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--scenes", type=int, default=24)
    parser.add_argument("--drawn", type=int, default=24)
    parser.add_argument("--rough", type=int, default=0)
    parser.add_argument("--ordinary", type=int, default=60)
    parser.add_argument("--each", type=int, default=9)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--list", action="store_true", help="print every slip that was not found")
    options = parser.parse_args()
    file, toners = files.load(SceneFile, "scene"), files.load(TonerFile, "toners")
    calibration = load_calibration()
    rng = np.random.default_rng(options.seed)
    made: list[Outcome] = []
    right: dict[str, list[Outcome]] = defaultdict(list)
    worlds = {
        "rendered": (options.scenes, lambda: rendered_picture(rng, file, toners, 2.2)),
        "drawn": (options.drawn, lambda: drawn_picture(rng)),
        "rough": (options.rough, lambda: rough_picture(rng)),
    }
    for name, (count, make) in worlds.items():
        for _ in range(count):
            picture = make()
            possible = list(slips(picture, rng))
            for place in rng.permutation(len(possible))[: options.each]:
                made.append(outcome(possible[place][0], picture, possible[place][1], calibration))
            right[f"same {name}"].append(outcome("right", picture, picture.regions, calibration))
    for _ in range(options.ordinary):
        picture = rendered_picture(rng, file, toners, None)
        right["ordinary rendered"].append(outcome("right", picture, picture.regions, calibration))
    for name in ("white", "black", "grey"):
        for _ in range(options.ordinary // 3):
            picture = ordinary(rng, name)
            right[f"drawn {name} car"].append(outcome("right", picture, picture.regions, calibration))
    report_slips(made)
    for name, outcomes in right.items():
        report_right(name, outcomes)
    report_right("all", [each for outcomes in right.values() for each in outcomes])
    if options.list:
        for each in made:
            if (each.far_off and not each.sent_back) or each.wrong_go:
                print(f"  {each.verdict}  {each.kind:40s} {each.picture:26s} true {each.true:.1f} read {each.read:.1f}")
        for outcomes in right.values():
            for each in outcomes:
                if for_its_marks(each.codes):
                    print(f"  right  {each.picture:26s} {each.codes}")


if __name__ == "__main__":
    main()
