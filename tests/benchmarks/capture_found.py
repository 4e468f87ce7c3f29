"""How often the capture sheet is found and how well; how often regions proposed without it are right.

    python -m tests.benchmarks.capture_found [views] [scenes]

Views (200 by default) are invented photographs of the sheet from known places, drawn anew for this script: tilt 0 to 60
degrees, any turn, blur, noise, JPEG, uneven light, and a spoiler: glare, a covered mark, or a bent panel. Scenes (120
by default, 800 x 600) come from ``match.demo.scene``: the renderer's own map says what each pixel is.
Run time on a quiet core: about 1 s a view and 1 s a scene; ``0`` skips a part.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from dataclasses import replace

import cv2
import numpy as np

from match import calibration
from match.demo.scene.canvas import Material
from match.demo.scene.render import captured, developed
from match.photo.proposals.propose import ProposalSettings, propose
from match.photo.regions import Kind
from match.photo.sheet.detect import SheetFile, read_sheet
from match.tint.pigment import TonerFile
from tests.photo.sheet.photograph import photograph, pose, random_shot
from tests.support.random_scene import SceneFile, random_scene

FILE = calibration.load(SheetFile, "capture")
LAYOUT = FILE.sheet
FIRST_VIEW, FIRST_SCENE = 10_000, 20_000


def spoiled(rng):
    """Return a drawn shot and what spoils it."""
    shot = replace(random_shot(rng), glare=None)
    kind = str(rng.choice(["nothing", "glare", "cover", "bent"]))
    if kind == "glare":
        shot = replace(shot, glare=(float(rng.uniform(0.2, 0.8)), float(rng.uniform(0.2, 0.8)), 0.10))
    elif kind == "cover":
        name = str(rng.choice(list(LAYOUT.markers)))
        marker = LAYOUT.markers[name]
        shift = rng.uniform(-20, 20, 2)
        shot = replace(shot, cover=((marker.left_mm + shift[0], marker.top_mm + shift[1], 28.0, 28.0),))
        shot = replace(shot, cover=tuple(tuple(np.clip(box, -12, 200)) for box in shot.cover))
    elif kind == "bent":
        shot = replace(shot, radius=float(rng.uniform(600, 3000)))
    return shot, kind


def region_errors(reading, seen):
    """Return by how many px the worst region corner reaches out of its true window (negative: inside), or None."""
    worst = []
    for window in reading.windows:
        if window.region is None:
            continue
        region = window.region
        outline = seen(LAYOUT.windows[window.name].corners_mm()).astype(np.float32)
        for x in (region.x - 0.5, region.x + region.width - 0.5):
            for y in (region.y - 0.5, region.y + region.height - 0.5):
                worst.append(-cv2.pointPolygonTest(outline, (float(x), float(y)), True))
    return max(worst) if worst else None


def read_views(count):
    """Print what is found on invented photographs of the sheet."""
    rows, kinds, seconds = [], [], []
    lost = Counter()
    for view in range(count):
        rng = np.random.default_rng(FIRST_VIEW + view)
        shot, kind = spoiled(rng)
        photo, seen = photograph(LAYOUT, shot, rng)
        started = time.perf_counter()
        reading = read_sheet(photo, FILE, grey_reflectance=0.18).reading
        seconds.append(time.perf_counter() - started)
        if reading is None:
            lost[kind] += 1
            continue
        stated = read_sheet(photo, FILE, grey_reflectance=0.18, focal_35mm=shot.focal_35mm).reading
        _, R, t = pose(shot, np.array(shot.aim))
        middle = LAYOUT.card_centre_mm()
        sight = -R.T @ t - np.append(middle, 0.0)
        tilt = np.degrees(np.arccos(-sight[2] / np.linalg.norm(sight)))
        steps = seen(middle + np.array([[0.5, 0], [-0.5, 0], [0, 0.5], [0, -0.5]]))
        scale = 1 / np.sqrt(abs(np.linalg.det(np.stack([steps[0] - steps[1], steps[2] - steps[3]]))))
        places = {name: LAYOUT.marker_corners_mm()[marker.identifier] for name, marker in LAYOUT.markers.items()}
        away = np.concatenate([found - seen(places[name]) for name, found in reading.markers_px.items()])
        kinds.append(kind)
        rows.append(
            (
                len(reading.markers_px),
                np.sqrt(np.mean(np.sum(away**2, axis=1))),
                100 * (reading.mm_per_px / scale - 1),
                reading.tilt_deg - tilt,
                (reading.tilt_deg - tilt) / reading.tilt_sd_deg,
                stated.tilt_deg - tilt,
                region_errors(reading, seen),
                len(reading.regions),
                reading.tilt_sd_deg,
            )
        )
    table, kinds = np.array(rows, dtype=float), np.array(kinds)
    print(f"{count} views, found {len(table) / count:.1%} {dict(lost) or ''}, {np.median(seconds):.2f} s a photo")
    print("marks read:", dict(sorted(Counter(table[:, 0].astype(int)).items())))
    for kind in ("nothing", "glare", "cover", "bent", "all"):
        part = table if kind == "all" else table[kinds == kind]
        if not len(part):
            continue
        corner, scale, tilt, stated = (np.abs(part[:, column]) for column in (1, 2, 3, 5))
        regions = part[:, 6][np.isfinite(part[:, 6])]
        print(
            f"{kind:8s} {len(part):4d}  corner px median {np.median(corner):.2f} 95 % {np.percentile(corner, 95):.2f}"
            f"  scale % median {np.median(scale):.3f} 95 % {np.percentile(scale, 95):.2f}"
            f"  tilt deg median {np.median(tilt):.2f} 95 % {np.percentile(tilt, 95):.2f} max {tilt.max():.2f}"
            f"  with Exif 95 % {np.percentile(stated, 95):.2f}"
            f"  regions out of their window: {np.sum(regions > 0)}"
        )
    print(f"stated tilt deviation: median {np.median(table[:, 8]):.2f}, 95 % {np.percentile(table[:, 8], 95):.2f} deg")
    print(f"tilt error over its stated deviation: root mean square {np.sqrt(np.mean(table[:, 4] ** 2)):.2f}")
    print(f"regions found of 4: {dict(sorted(Counter(table[:, 7].astype(int)).items()))}")


def scene_of(key, scenes, toners, without):
    """Return a rendered scene's picture (8 bits), its map of materials, and its greys; one thing may be left out."""
    scene = random_scene(np.random.default_rng(key), scenes.ranges, (800, 600))
    off = (0.5, 9.0)
    layout = scene.layout
    if without == "card":
        layout = replace(layout, card_centre=off)
    if without == "grey":
        layout = replace(layout, grey_centre=off)
    scene = replace(scene, layout=replace(layout, mirrored=False), camera=replace(scene.camera, bits=8))
    capture = captured(scene, toners, scenes.physics)
    image = developed(capture, scene.camera, scene.light.lamp, np.random.default_rng(key))
    return image, capture.material, scene


def judged(region, material, greys):
    """Return the share of the region that shows what it names."""
    shown = material[region.y : region.y + region.height, region.x : region.x + region.width]
    if region.kind is Kind.GREY:
        return float(np.mean(shown == Material.GREY + greys.index(region.reflectance)))
    return float(np.mean(shown == (Material.CARD if region.kind is Kind.CARD else Material.VEHICLE)))


def read_scenes(count):
    """Print how often proposals on rendered scenes are right, with everything in the picture and with one thing not."""
    settings = calibration.load(ProposalSettings, "capture", "proposal")
    scenes, toners = calibration.load(SceneFile, "scene"), calibration.load(TonerFile, "toners")
    for without, part in (("nothing", count), ("card", count // 4), ("grey", count // 4)):
        made, right, complete, by_confidence = Counter(), Counter(), Counter(), []
        for number in range(part):
            image, material, scene = scene_of(FIRST_SCENE + number, scenes, toners, without)
            found = propose(image, settings, grey_reflectances=scene.greys)
            good = Counter()
            for proposal in found.proposals:
                kind = proposal.region.kind
                correct = judged(proposal.region, material, scene.greys) > 0.98
                made[kind] += 1
                right[kind] += correct
                good[kind] += correct
                by_confidence.append((proposal.confidence, correct))
            all_found = good[Kind.GREY] == len(scene.greys) and good[Kind.CARD] == 1 and good[Kind.VEHICLE] >= 1
            complete["all"] += all_found
            complete["grey"] += good[Kind.GREY] == len(scene.greys)
            complete["card"] += good[Kind.CARD] == 1
        print(f"\n{part} scenes without {without}")
        for kind in Kind:
            print(f"  {kind.value:8s} proposed {made[kind]:4d}, right {right[kind]:4d}")
        print(f"  scenes with every kind right: {complete['all']}, grey {complete['grey']}, card {complete['card']}")
        for low, high in ((0.0, 0.34), (0.34, 0.67), (0.67, 1.01)):
            chosen = [correct for confidence, correct in by_confidence if low <= confidence < high]
            print(f"  confidence {low:.2f} to {min(high, 1.0):.2f}: {sum(chosen)} of {len(chosen)} right")


def main() -> None:
    """Read the counts from the command line and print both tables."""
    counts = [int(value) for value in sys.argv[1:3]]
    views, scenes = (*counts, *(200, 120)[len(counts) :])
    if views:
        read_views(views)
    if scenes:
        read_scenes(scenes)


if __name__ == "__main__":
    main()
