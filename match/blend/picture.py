"""The panel as it would look: the same repair with a hard edge and with the planned fade, in true relative scale.

The colours are the measured ones, CIELAB under D65, shown as sRGB. A screen shows about 16 million colours and no two
screens alike, so a difference of one unit is at the limit of what it can show: an exaggerated picture is offered, and
must be labelled as such. Eight-bit steps are broken up by ordered dithering, or the screen would draw edges of its own.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from match.blend.film import colours_along
from match.blend.plan import AreaPlan, BlendPlan
from match.blend.sides import Direction
from match.blend.viewing import ColourPair
from match.colorimetry import Array, srgb_from_lab

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
class _End:
    """How far the panel goes in one direction, from its corner outwards (mm), and what lies where."""

    panel_mm: float
    next_mm: float = 0.0
    car_colour_beyond: bool = True
    lines_mm: tuple[float, ...] = ()
    described: bool = True

    @property
    def shown_mm(self) -> float:
        """How far the picture goes."""
        return self.panel_mm + self.next_mm + MARGIN_MM


def panel_picture(plan: BlendPlan, pair: ColourPair, width_px: int = 720, exaggeration: float = 1.0) -> PanelPicture:
    """Return the repaired panel seen from in front, once with hard edges at each repair and once as planned.

    Parameters
    ----------
    plan : the plan, with the repairs that it was made for
    pair : the angle or light to show; the middle of its samples
    width_px : width of each picture in pixels
    exaggeration : factor on the difference between card and car, 1 for the true colours, 3 to make it plain
    """
    card, vehicle = pair.middle
    shown = vehicle + exaggeration * (card - vehicle)
    shown[0] = np.clip(shown[0], 0.0, 100.0)
    ends = {direction: _end(plan, direction) for direction in Direction}
    mm_per_px = (ends[Direction.LEFT].shown_mm + ends[Direction.RIGHT].shown_mm) / width_px
    x = _places(ends[Direction.LEFT], ends[Direction.RIGHT], mm_per_px)
    y = _places(ends[Direction.UP], ends[Direction.DOWN], mm_per_px)
    scene = np.maximum(
        _kinds(x, ends[Direction.LEFT], ends[Direction.RIGHT])[np.newaxis, :],
        _kinds(y, ends[Direction.UP], ends[Direction.DOWN])[:, np.newaxis],
    )
    soft = np.max([_share(area, x, y) for area in plan.areas], axis=0)
    hard = np.any([_inside(area, x, y) for area in plan.areas], axis=0)
    ladder = colours_along(shown, vehicle, np.linspace(0.0, 1.0, SHARES))
    return PanelPicture(
        _paint(scene, hard.astype(np.float64), ladder),
        _paint(scene, soft, ladder),
        mm_per_px,
    )


def _end(plan: BlendPlan, direction: Direction) -> _End:
    """Return the panel's end in a direction, where it lies furthest from the repairs."""
    edge = max(area.repair.edge_mm(direction) for area in plan.areas)
    found, lines = [], set()
    for area in plan.areas:
        start = area.repair.edge_mm(direction)
        for side in (each.side for each in area.sides if each.side.direction is direction):
            following = side.next_panel
            last = following if following is not None else side
            next_mm = following.room_mm if following else 0.0
            found.append(_End(start + side.room_mm, next_mm, last.car_colour_beyond))
            lines |= {start + at for at in side.lines_mm}
    if not found:
        return _End(edge, described=False)
    return replace(max(found, key=lambda end: end.panel_mm), lines_mm=tuple(sorted(lines)))


def _places(before: _End, after: _End, mm_per_px: float) -> Array:
    """Return the middles of the pixels along one axis, mm from the panel's corner."""
    count = max(1, round((before.shown_mm + after.shown_mm) / mm_per_px))
    return np.asarray((np.arange(count) + 0.5) * mm_per_px - before.shown_mm, dtype=np.float64)


def _kinds(places: Array, before: _End, after: _End) -> NDArray[np.int8]:
    """0 the car's colour, 1 body line, 2 gap, 3 another part."""
    kinds = np.zeros(places.shape, dtype=np.int8)
    for out, end in ((-places, before), (places, after)):
        if not end.described:
            continue
        for line in end.lines_mm:
            kinds[np.abs(out - line) < GAP_MM / 2.0] = 1
        for at in {end.panel_mm, end.panel_mm + end.next_mm}:
            kinds[np.abs(out - at) < GAP_MM / 2.0] = 2
        beyond = out > end.panel_mm + end.next_mm + GAP_MM / 2.0
        kinds[beyond & (not end.car_colour_beyond)] = 3
    return kinds


def _share(area: AreaPlan, x: Array, y: Array) -> Array:
    """Return the share of the new colour (h, w) that one area's coats leave; full in the repair, none of it beyond."""
    along = {Direction.LEFT: -x, Direction.RIGHT: x, Direction.UP: -y, Direction.DOWN: y}
    across, down = np.ones_like(x), np.ones_like(y)
    for side in area.sides:
        direction = side.side.direction
        out = along[direction] - area.repair.edge_mm(direction)
        share = across if direction.is_sideways else down
        share[out > 0.0] = np.interp(out[out > 0.0], side.fade.x_mm, side.fade.new_share, right=0.0)
    return across * down[:, np.newaxis]


def _inside(area: AreaPlan, x: Array, y: Array) -> NDArray[np.bool_]:
    """Return where (h, w) the repairs of an area lie; one goes on over a side that nobody described."""
    described = {side.side.direction for side in area.sides}
    inside = np.zeros((len(y), len(x)), dtype=np.bool_)
    for spot in area.repair.spots:
        left = x >= spot.left_mm if Direction.LEFT in described else np.ones(x.shape, dtype=np.bool_)
        right = x <= spot.left_mm + spot.width_mm if Direction.RIGHT in described else np.ones_like(left)
        up = y >= spot.top_mm if Direction.UP in described else np.ones(y.shape, dtype=np.bool_)
        down = y <= spot.top_mm + spot.height_mm if Direction.DOWN in described else np.ones_like(up)
        inside |= (left & right)[np.newaxis, :] & (up & down)[:, np.newaxis]
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
