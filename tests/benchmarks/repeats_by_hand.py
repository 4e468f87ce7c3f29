"""Three repeats in one place, in a world that shares nothing with ``match.demo.scene``: do intervals hold the truth?

    python -m tests.benchmarks.repeats_by_hand [sets] [first]

Pictures are painted here, pixel by pixel: flat patches on a flat panel; one lamp near by (inverse square and cosine)
and a window; a coat that mirrors a room with a bright side. Nothing of the light is a polynomial, and the camera's
curve is a logistic one over the logarithm of light. From photo to photo of a set, as by hand: framing, turn and
perspective; the lamp a little elsewhere and brighter or weaker; exposure and white balance set anew; the card laid
again with another lean; JPEG of another quality. Half of the sets mark the car on one side only, every third pair is
equal, every second set has three greys. About 2 s a set.
"""

from __future__ import annotations

import io
import sys
from dataclasses import dataclass

import numpy as np
from PIL import Image

from match import calibration as files
from match.check.calibration_files import load_calibration
from match.check.measuring import measure_photo
from match.check.settings import CheckSettings
from match.colorimetry import colour_science, delta_e00
from match.photo.load import load
from match.photo.regions import Kind, Region
from match.several.combine import CombiningRules, PhotoReading, combine
from match.several.photo_set import Role
from tests.support.synthetic import srgb_encode

SIZE = (960, 720)
CARD = (0.42, 0.25, 0.58, 0.50)
CARS = ((0.20, 0.25, 0.38, 0.50), (0.62, 0.25, 0.80, 0.50))
GREYS = ((0.30, 0.54, 0.40, 0.64), (0.44, 0.54, 0.54, 0.64), (0.58, 0.54, 0.68, 0.64))
STRATEGIES = {"one photo": 1, "two repeats": 2, "three repeats": 3}


@dataclass(frozen=True)
class World:
    """What stays from photo to photo; lengths in frame widths, reflectances linear sRGB."""

    card: np.ndarray
    car: np.ndarray
    greys: tuple[float, ...]
    lamp: np.ndarray
    window: float
    room: tuple[float, float]
    curve: tuple[float, float]
    mixing: np.ndarray
    full_well: float


def linear_srgb(lab):
    colour = colour_science()
    return np.asarray(colour.XYZ_to_sRGB(colour.Lab_to_XYZ(lab), apply_cctf_encoding=False))


def drawn(rng, equal, greys):
    """Return a world and the true difference; colours that sRGB holds with some room."""
    while True:
        lab = np.array([rng.uniform(12, 92), *rng.normal(0, 14, 2)])
        away = rng.standard_normal(3)
        step = 0.0 if equal else rng.uniform(0.2, 5.0)
        other = lab + step * away / np.linalg.norm(away)
        both = linear_srgb(lab), linear_srgb(other)
        if all(each.min() > 0.004 and each.max() < 0.9 for each in both):
            break
    mixing = np.eye(3) + 0.03 * rng.standard_normal((3, 3))
    world = World(
        card=both[1],
        car=both[0],
        greys=greys,
        lamp=np.array([rng.uniform(-1, 2), rng.uniform(-1.5, -0.3), rng.uniform(1.2, 3.0)]),
        window=rng.uniform(0.0, 0.3),
        room=(rng.uniform(0.03, 0.3), rng.uniform(0.0, 0.25)),
        curve=(rng.uniform(0.92, 1.12), rng.uniform(1.5, 6.0)),
        mixing=mixing / mixing.sum(axis=1, keepdims=True),
        full_well=np.exp(rng.uniform(np.log(1500), np.log(15000))),
    )
    return world, float(delta_e00(lab, other))


def photograph(world, rng):
    """Return one JPEG by hand, and the map (3, 3) from panel to picture."""
    width, height = SIZE
    turn, scale = rng.normal(0, 0.02), 1.0 + rng.normal(0, 0.03)
    to_picture = np.array(
        [
            [scale * np.cos(turn), -scale * np.sin(turn), rng.normal(0, 0.015)],
            [scale * np.sin(turn), scale * np.cos(turn), rng.normal(0, 0.015)],
            [*rng.normal(0, 0.02, 2), 1.0],
        ]
    )
    column, row = np.meshgrid((np.arange(width) + 0.5) / width, (np.arange(height) + 0.5) / width)
    back = np.stack([column, row, np.ones_like(row)], axis=-1) @ np.linalg.inv(to_picture).T
    x, y = back[..., 0] / back[..., 2], back[..., 1] / back[..., 2]
    lamp = world.lamp + rng.normal(0, [0.03, 0.03, 0.03])
    lean = np.radians(rng.normal(0, 0.5, 2))
    on_card = _inside(CARD, x, y)
    body = np.broadcast_to(world.car, (*x.shape, 3)).copy()
    body[_inside((CARD[0] - 0.006, CARD[1] - 0.006, CARD[2] + 0.006, CARD[3] + 0.006), x, y)] *= 0.5  # its shadow
    body[on_card] = world.card
    gloss = np.ones_like(x)
    for grey, box in zip(world.greys, GREYS, strict=False):
        body[_inside(tuple(np.add(box, (-0.006, -0.006, 0.006, 0.006))), x, y)] = 0.03
        body[_inside(box, x, y)] = grey
        gloss[_inside(box, x, y)] = 0.0
    normal = np.where(on_card[..., None], np.array([lean[0], lean[1], 1.0]), np.array([0.0, 0.0, 1.0]))
    to_lamp = lamp - np.stack([x, y, np.zeros_like(x)], axis=-1)
    distance = np.linalg.norm(to_lamp, axis=-1)
    light = (normal * to_lamp).sum(axis=-1) / distance**3
    light /= light[height // 2, width // 2]
    light = (1.0 - world.window) * light + world.window * np.exp(rng.normal(0.6, 0.05) * (x - 0.5))
    mirrored = world.room[0] + world.room[1] / (1.0 + np.exp(-4.0 * (x - 0.5 + 2.0 * normal[..., 0])))
    seen = light[..., None] * body + 0.04 * (gloss * mirrored)[..., None]
    seen = seen + rng.uniform(0.003, 0.015) * seen.mean(axis=(0, 1))
    exposure = 0.7 / max(np.percentile(seen, 99), 0.5) * 2.0 ** rng.normal(0, 0.15)
    seen = seen * exposure @ world.mixing.T * np.array([1 + rng.normal(0, 0.02), 1.0, 1 + rng.normal(0, 0.02)])
    seen = seen + np.sqrt(np.maximum(seen, 0) / world.full_well) * rng.standard_normal(seen.shape)
    power, knee = world.curve
    bent = np.clip(seen, 0, None) ** power
    coded = srgb_encode(bent * (1.0 + knee) / (bent + knee))
    written = io.BytesIO()
    picture = Image.fromarray(np.round(255 * np.clip(coded, 0, 1)).astype(np.uint8))
    picture.save(written, "JPEG", quality=int(rng.integers(82, 96)))
    return written.getvalue(), to_picture


def _inside(box, x, y):
    return (x > box[0]) & (x < box[2]) & (y > box[1]) & (y < box[3])


def marked(kind, box, to_picture, reflectance=None):
    """Return the upright box well inside a patch, where the hand-held picture shows it."""
    corners = np.array([[x, y, 1.0] for x in (box[0], box[2]) for y in (box[1], box[3])]) @ to_picture.T
    places = np.sort(corners[:, :2] / corners[:, 2:], axis=0) * SIZE[0]
    left, top, right, bottom = places[1, 0] + 8, places[1, 1] + 8, places[2, 0] - 8, places[2, 1] - 8
    return Region(kind, round(left), round(top), round(right - left), round(bottom - top), reflectance)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    calibration, settings = load_calibration(), CheckSettings(draws=1000)
    rules = files.load(CombiningRules, "several", "combining")
    floor = calibration.camera.errors.pair_floor
    rows = {name: [] for name in STRATEGIES}
    for index in range(first, first + count):
        rng = np.random.default_rng([41, index])
        greys = (0.04, 0.18, 0.75) if index % 2 else (0.18,)
        world, true = drawn(rng, index % 3 == 0, greys)
        cars = CARS[:1] if index % 4 < 2 else CARS
        photos = []
        for number in range(3):
            content, to_picture = photograph(world, rng)
            marks = [marked(Kind.CARD, CARD, to_picture), *(marked(Kind.VEHICLE, box, to_picture) for box in cars)]
            marks += [marked(Kind.GREY, box, to_picture, grey) for grey, box in zip(world.greys, GREYS, strict=False)]
            found = measure_photo(load(content, "photo.jpg"), marks, settings, calibration)
            photos.append(PhotoReading(str(number), Role.REPEAT if number else Role.FIRST, found))
        if any(photo.spoiled for photo in photos):
            continue
        for name, used in STRATEGIES.items():
            found = combine(photos[:used], rules, floor, np.random.default_rng(index))
            low, high = found.interval
            held = low - 1e-3 <= true <= high
            rows[name].append((abs(found.delta_e00 - true), high - low, held, true < low - 1e-3, true == 0.0))
    for name, found in rows.items():
        error, width, held, below, equal = np.array(found, dtype=float).T
        print(
            f"{name:14s} n={len(found)}  error {np.median(error):.2f}, 90th {np.quantile(error, 0.9):.2f}  width "
            f"{np.median(width):.2f}  held {held.mean():.1%} (below {below.mean():.1%}); equal pairs "
            f"{held[equal == 1].mean():.1%} of {int(equal.sum())}"
        )


if __name__ == "__main__":
    main()
