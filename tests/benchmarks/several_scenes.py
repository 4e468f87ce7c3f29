"""Sets of rendered photos of one card on one car: the card laid again, moved to the other side, seen at other angles.

The paint pair, the lamps, the panel and the camera stay; with each photo the card's tilt, turn and place, the exposure
and all noise are drawn anew. Left out, as ``match.demo.scene`` says: no local tone mapping, one flop
factor for all wavelengths, lamps that do not change between photos.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from unittest import mock

import numpy as np

from match import calibration as files
from match.check.calibration_files import load_calibration
from match.check.measuring import measure_photo
from match.check.settings import CheckSettings
from match.colorimetry import delta_e00
from match.demo.scene import render as rendering
from match.demo.scene.description import Scene
from match.demo.scene.layout import regions as marks_of
from match.demo.scene.paint import PaintPair, at_angle, paint_pair
from match.photo.regions import Kind
from match.several.combine import PhotoReading
from match.several.photo_set import Role
from match.tint.pigment import TonerFile, toner_set
from match.tint.viewing import lab_from_reflectance
from tests.support.random_scene import SceneFile, random_scene
from tests.support.synthetic import ArrayPhoto

SIZE_PX = (800, 600)


@dataclass(frozen=True)
class Shop:
    """Everything read from files once."""

    scene: SceneFile
    toners: TonerFile
    calibration: object
    settings: CheckSettings


def open_shop():
    return Shop(
        files.load(SceneFile, "scene"), files.load(TonerFile, "toners"), load_calibration(), CheckSettings(draws=1000)
    )


def base_scene(shop, rng, finish=None, delta_e00=None):
    """Draw a careful scene of one finish, panel without gap or body line in the way, file in sRGB."""
    while True:
        scene = random_scene(rng, shop.scene.ranges, SIZE_PX)
        if finish is None or scene.paint.finish == finish:
            break
    paint = scene.paint if delta_e00 is None else replace(scene.paint, true_delta_e00=delta_e00)
    return replace(
        scene,
        paint=paint,
        camera=replace(scene.camera, profile="srgb"),
        layout=replace(scene.layout, gap_x=1.5, mirrored=False),
    )


def pair_of(shop, scene: Scene) -> PaintPair:
    physics = shop.scene.physics
    rng = np.random.default_rng([scene.seed, 2])
    return paint_pair(scene.paint, toner_set(shop.toners), shop.toners.optics, physics, rng)


def pair_at(shop, scene: Scene, pair: PaintPair, angle_deg: float) -> PaintPair:
    """Return the same two paints seen at another aspecular angle."""
    paint, physics = scene.paint, shop.scene.physics
    vehicle = lab_from_reflectance(at_angle(pair.vehicle, paint, angle_deg, paint.flop, physics))
    flop = paint.flop * paint.card_flop_ratio
    card = lab_from_reflectance(at_angle(pair.card, paint, angle_deg, flop, physics))
    return PaintPair(pair.vehicle, pair.card, vehicle, card, float(delta_e00(card, vehicle)))


def laid_again(scene: Scene, shop, rng, card_x: float) -> Scene:
    """Return the scene with the card laid anew about ``card_x`` and the exposure set anew."""
    light, layout = shop.scene.ranges.light, scene.layout
    x, y = card_x + rng.normal(0, 0.006), scene.layout.card_centre[1] + rng.normal(0, 0.006)
    tilt = tuple(rng.normal(0, light.card_tilt_sd_deg, 2))
    placed = replace(layout, card_centre=(x, y), card_angle_deg=rng.normal(0, 3.0), card_tilt_deg=tilt)
    camera = replace(scene.camera, exposure_ev=scene.camera.exposure_ev + rng.normal(0, 0.15))
    return replace(scene, layout=placed, camera=camera)


def read(shop, scene: Scene, pair: PaintPair, role: Role, name: str, rng, vehicle_side=None) -> PhotoReading:
    """Render one photo and measure it; ``vehicle_side`` left or right marks the car on one side of the card only."""
    with mock.patch.object(rendering, "paint_pair", return_value=pair):
        scene = replace(scene, seed=int(rng.integers(2**31)))
        capture = rendering.captured(scene, shop.toners, shop.scene.physics)
    image = rendering.developed(capture, scene.camera, scene.light.lamp, rng)
    marks = marks_of(scene, capture.highlight)
    if vehicle_side:
        card_x = next(mark.x for mark in marks if mark.kind is Kind.CARD)
        marks = tuple(
            mark for mark in marks if mark.kind is not Kind.VEHICLE or (mark.x < card_x) == (vehicle_side == "left")
        )
    full = 255.0 if image.dtype == np.uint8 else 65535.0
    photo = ArrayPhoto(image / full)
    return PhotoReading(name, role, measure_photo(photo, marks, shop.settings, shop.calibration))
