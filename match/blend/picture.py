"""The panel as it would look: the same repair with a hard edge and with the planned fade, in true relative scale.

The colours are the measured ones, CIELAB under D65, shown as sRGB. A screen shows about 16 million colours and no two
screens alike, so a difference of one unit is at the limit of what it can show: an exaggerated picture is offered, and
must be labelled as such. Eight-bit steps are broken up by ordered dithering, or the screen would draw edges of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from match.blend.film import colours_along
from match.blend.plan import BlendPlan, SidePlan
from match.blend.sides import Direction, Repair
from match.blend.viewing import ColourPair
from match.colorimetry import srgb_from_lab

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

OTHER_PART_LAB = (28.0, 0.0, 0.0)
GAP_LAB = (8.0, 0.0, 0.0)
GAP_MM = 5.0
"""A hairline between two panels, from memory 4 to 5 mm."""
CREASE_LIGHT = 0.93
"""A body line is drawn as a thin strip of less light, whatever the colour: a picture's convention."""
MARGIN_MM = 40.0
SHARES = 256


@dataclass(frozen=True)
class PanelPicture:
    """Two pictures of one panel, uint8 sRGB (h, w, 3), and their scale."""

    hard_edge: Pixels
    faded: Pixels
    mm_per_px: float


@dataclass(frozen=True)
class _Reach:
    """How far the picture goes in one direction, and what lies where."""

    panel_mm: float
    next_mm: float
    car_colour_beyond: bool
    lines_mm: tuple[float, ...] = ()


def panel_picture(
    plan: BlendPlan, repair: Repair, pair: ColourPair, width_px: int = 720, exaggeration: float = 1.0
) -> PanelPicture:
    """Return the repaired panel seen from in front, once with hard edges at the repair and once as planned.

    Parameters
    ----------
    plan, repair : the plan and the sizes it was made for
    pair : the angle or light to show; the middle of its samples
    width_px : width of each picture in pixels
    exaggeration : factor on the difference between card and car, 1 for the true colours, 3 to make it plain
    """
    card, vehicle = pair.middle
    shown = vehicle + exaggeration * (card - vehicle)
    shown[0] = np.clip(shown[0], 0.0, 100.0)
    reaches = {direction: _reach(plan, direction) for direction in Direction}
    across = [reaches[Direction.LEFT], reaches[Direction.RIGHT]]
    total_mm = repair.width_mm + sum(_extent(reach) for reach in across)
    mm_per_px = total_mm / width_px
    x = _places(repair.width_mm, reaches[Direction.LEFT], reaches[Direction.RIGHT], mm_per_px)
    y = _places(repair.height_mm, reaches[Direction.UP], reaches[Direction.DOWN], mm_per_px)
    scene = _scene(x, y, reaches)
    shares = {side.side.direction: side for side in plan.sides}
    soft = _share(x, shares, Direction.LEFT, Direction.RIGHT) * _share(y, shares, Direction.UP, Direction.DOWN)[:, None]
    hard = (
        _inside(x, shares, Direction.LEFT, Direction.RIGHT) & _inside(y, shares, Direction.UP, Direction.DOWN)[:, None]
    )
    ladder = colours_along(shown, vehicle, np.linspace(0.0, 1.0, SHARES))
    return PanelPicture(
        _paint(scene, hard.astype(np.float64), ladder),
        _paint(scene, np.broadcast_to(soft, scene.shape), ladder),
        mm_per_px,
    )


def _reach(plan: BlendPlan, direction: Direction) -> _Reach:
    for side in plan.sides:
        if side.side.direction is direction:
            following = side.side.next_panel
            last = following if following is not None else side.side
            next_mm = following.room_mm if following else 0.0
            return _Reach(side.side.room_mm, next_mm, last.car_colour_beyond, side.side.lines_mm)
    return _Reach(0.0, 0.0, car_colour_beyond=True)


def _extent(reach: _Reach) -> float:
    return reach.panel_mm + reach.next_mm + MARGIN_MM


def _places(repair_mm: float, before: _Reach, after: _Reach, mm_per_px: float) -> Array:
    """Distances outwards along one axis: 0 to the repair's size inside it, negative before, larger after."""
    start, end = -_extent(before), repair_mm + _extent(after)
    count = max(1, round((end - start) / mm_per_px))
    places = np.asarray(start + (np.arange(count) + 0.5) * mm_per_px, dtype=np.float64)
    return np.where(places > repair_mm, places - repair_mm + 1e6, np.where(places < 0.0, places, 0.0))


def _outwards(places: Array) -> tuple[Array, Array]:
    """Split places into distances before and after the repair, NaN where they lie elsewhere."""
    return np.where(places < 0.0, -places, np.nan), np.where(places > 1e5, places - 1e6, np.nan)


def _scene(x: Array, y: Array, reaches: dict[Direction, _Reach]) -> NDArray[np.int8]:
    """0 the car's colour, 1 body line, 2 gap, 3 another part."""
    kinds = np.maximum(
        _kinds(x, reaches[Direction.LEFT], reaches[Direction.RIGHT])[np.newaxis, :],
        _kinds(y, reaches[Direction.UP], reaches[Direction.DOWN])[:, np.newaxis],
    )
    return kinds


def _kinds(places: Array, before: _Reach, after: _Reach) -> NDArray[np.int8]:
    kinds = np.zeros(places.shape, dtype=np.int8)
    for distance, reach in zip(_outwards(places), (before, after), strict=True):
        if reach.panel_mm == 0.0:
            continue
        for line in reach.lines_mm:
            kinds[np.abs(distance - line) < GAP_MM / 2.0] = 1
        for end in {reach.panel_mm, reach.panel_mm + reach.next_mm}:
            kinds[np.abs(distance - end) < GAP_MM / 2.0] = 2
        beyond = distance > reach.panel_mm + reach.next_mm + GAP_MM / 2.0
        kinds[beyond & (not reach.car_colour_beyond)] = 3
    return kinds


def _share(places: Array, sides: dict[Direction, SidePlan], before: Direction, after: Direction) -> Array:
    share = np.ones_like(places)
    for distance, direction in zip(_outwards(places), (before, after), strict=True):
        if direction in sides:
            fade = sides[direction].fade
            out = np.isfinite(distance)
            share[out] = np.interp(distance[out], fade.x_mm, fade.new_share, right=0.0)
    return share


def _inside(places: Array, sides: dict[Direction, SidePlan], before: Direction, after: Direction) -> NDArray[np.bool_]:
    inside = np.ones(places.shape, dtype=np.bool_)
    for distance, direction in zip(_outwards(places), (before, after), strict=True):
        if direction in sides:
            inside &= ~np.isfinite(distance)
    return inside


def _paint(scene: NDArray[np.int8], share: Array, ladder: Array) -> Pixels:
    rgb = srgb_from_lab(ladder)
    position = np.clip(share, 0.0, 1.0) * (SHARES - 1)
    low = np.minimum(position.astype(np.int64), SHARES - 2)
    part = (position - low)[..., np.newaxis]
    picture = rgb[low] * (1.0 - part) + rgb[low + 1] * part
    picture[scene == 1] *= CREASE_LIGHT
    for kind, lab in ((2, GAP_LAB), (3, OTHER_PART_LAB)):
        picture[scene == kind] = srgb_from_lab(np.array(lab))
    return _dithered(picture)


def _dithered(picture: Array) -> Pixels:
    """Round to 8 bits against a Bayer matrix of 8 x 8, so that the mean over a few pixels keeps the true value."""
    matrix = np.zeros((1, 1))
    for _ in range(3):
        matrix = np.block([[4 * matrix, 4 * matrix + 2], [4 * matrix + 3, 4 * matrix + 1]])
    threshold = (matrix + 0.5) / matrix.size
    height, width = picture.shape[:2]
    tiled = np.tile(threshold, (height // 8 + 1, width // 8 + 1))[:height, :width, np.newaxis]
    return np.clip(np.floor(picture * 255.0 + tiled), 0, 255).astype(np.uint8)
