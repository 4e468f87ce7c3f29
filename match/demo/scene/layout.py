"""Where everything lies: the shape of the panel, the outlines of card and grey, and the regions a person marks.

Lengths are in frame widths (see :class:`match.demo.scene.description.Layout`). Curves and insets here only shape the
picture; what they move is looks, not colour.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from string import ascii_uppercase

import numpy as np
from numpy.typing import NDArray

from match.demo.scene.description import Layout, Scene
from match.photo.regions import Kind, Region

Pixels = NDArray[np.float32]

TAB_SHARE = 0.13
GREY_MARGIN_SHARE = 0.10
REGION_SHARE = 0.78
CLEARANCE = 0.028
LARGEST_REGION_WIDTH = 0.12


@dataclass(frozen=True)
class Frame:
    """The pixel grid: ``x`` (1, w) and ``y`` (h, 1) of pixel centres, and the frame's ``middle_y``, in frame widths."""

    x: Pixels
    y: Pixels
    width_px: int
    middle_y: float

    def at(self, place: tuple[float, float]) -> Frame:
        """Return a grid of one point of this frame."""
        x, y = (np.full((1, 1), value, dtype=np.float32) for value in place)
        return Frame(x, y, self.width_px, self.middle_y)

    def part(self, window: tuple[slice, slice]) -> Frame:
        """Return the grid of a window."""
        return Frame(self.x[:, window[1]], self.y[window[0]], self.width_px, self.middle_y)


def frame_of(size_px: tuple[int, int]) -> Frame:
    """Return the grid of a photo of (width, height) pixels."""
    width, height = size_px
    x = (np.arange(width, dtype=np.float32) + np.float32(0.5)) / np.float32(width)
    y = (np.arange(height, dtype=np.float32) + np.float32(0.5)) / np.float32(width)
    return Frame(x[None, :], y[:, None], width, height / width / 2)


@dataclass(frozen=True)
class Rectangle:
    """A rectangle by its centre, half size and turn (degrees, clockwise on the screen)."""

    centre: tuple[float, float]
    half: tuple[float, float]
    angle_deg: float

    def moved(self, dx: float, dy: float) -> Rectangle:
        """Return it shifted along the frame's axes."""
        return Rectangle((self.centre[0] + dx, self.centre[1] + dy), self.half, self.angle_deg)

    def part(self, left: float, right: float, top: float, bottom: float) -> Rectangle:
        """Return the part between fractions 0..1 of its own width and height."""
        turn = np.radians(self.angle_deg)
        p = (left + right - 1) * self.half[0]
        q = (top + bottom - 1) * self.half[1]
        x = self.centre[0] + p * np.cos(turn) - q * np.sin(turn)
        y = self.centre[1] + p * np.sin(turn) + q * np.cos(turn)
        half = ((right - left) * self.half[0], (bottom - top) * self.half[1])
        return Rectangle((float(x), float(y)), half, self.angle_deg)

    def window(self, frame: Frame, margin: float) -> tuple[slice, slice]:
        """Return (rows, columns) that hold the rectangle and ``margin`` around it, inside the frame."""
        turn = np.radians(self.angle_deg)
        c, s = abs(np.cos(turn)), abs(np.sin(turn))
        reach = (self.half[0] * c + self.half[1] * s + margin, self.half[0] * s + self.half[1] * c + margin)
        limits = (frame.x.size, frame.y.size)
        bounds = []
        for middle, extent, limit in zip(self.centre, reach, limits, strict=True):
            low = int(np.clip(np.floor((middle - extent) * frame.width_px), 0, limit))
            high = int(np.clip(np.ceil((middle + extent) * frame.width_px) + 1, 0, limit))
            bounds.append(slice(low, high))
        return bounds[1], bounds[0]

    def distance(self, frame: Frame, window: tuple[slice, slice]) -> Pixels:
        """Return the signed distance to the outline in frame widths (negative inside), over a window."""
        turn = np.radians(self.angle_deg)
        x = frame.x[:, window[1]] - np.float32(self.centre[0])
        y = frame.y[window[0]] - np.float32(self.centre[1])
        c, s = np.float32(np.cos(turn)), np.float32(np.sin(turn))
        p = np.abs(x * c + y * s) - np.float32(self.half[0])
        q = np.abs(y * c - x * s) - np.float32(self.half[1])
        outside = np.hypot(np.maximum(p, 0), np.maximum(q, 0))
        return np.asarray(outside + np.minimum(np.maximum(p, q), 0), dtype=np.float32)

    def upright_inside(self, share: float) -> tuple[float, float]:
        """Return half sizes of an upright rectangle that stays inside the turned one, times ``share``."""
        turn = np.radians(abs(self.angle_deg))
        a, b = self.half
        fit = min(a / (a * np.cos(turn) + b * np.sin(turn)), b / (b * np.cos(turn) + a * np.sin(turn)))
        return (a * fit * share, b * fit * share)


def card_rectangle(layout: Layout) -> Rectangle:
    """Return the whole card, its unpainted tab included."""
    return Rectangle(layout.card_centre, (layout.card_size[0] / 2, layout.card_size[1] / 2), layout.card_angle_deg)


def painted_part(layout: Layout) -> Rectangle:
    """Return the sprayed part of the card, below the tab."""
    return card_rectangle(layout).part(0.0, 1.0, TAB_SHARE, 1.0)


def grey_rectangle(layout: Layout) -> Rectangle:
    """Return the grey reference's board."""
    return Rectangle(layout.grey_centre, (layout.grey_size[0] / 2, layout.grey_size[1] / 2), layout.grey_angle_deg)


def grey_patches(layout: Layout, count: int) -> tuple[Rectangle, ...]:
    """Return the grey patches from top to bottom; a single one fills its board."""
    board = grey_rectangle(layout)
    if count == 1:
        return (board,)
    m = GREY_MARGIN_SHARE
    edges = np.linspace(m / 2, 1 - m / 2, count + 1)
    gap = m / 4
    return tuple(board.part(m, 1 - m, edges[i] + gap, edges[i + 1] - gap) for i in range(count))


def body_line(layout: Layout, x: Pixels) -> Pixels:
    """Return the height y of the body line at x."""
    return np.asarray(layout.body_line_y + 0.03 * (x - 0.5) + 0.06 * (x - 0.5) ** 2, dtype=np.float32)


def panel_edge(layout: Layout, x: Pixels) -> Pixels:
    """Return the height y of the panel's upper edge at x."""
    return np.asarray(layout.panel_edge_y + 0.02 * (x - 0.5) + 0.07 * (x - 0.5) ** 2, dtype=np.float32)


def gap_line(layout: Layout, frame: Frame) -> Pixels:
    """Return the place x of the panel gap at each row, (h, 1)."""
    y = frame.y - frame.middle_y
    return np.asarray(layout.gap_x + 0.05 * y + 0.10 * y**2, dtype=np.float32)


def panel_tilt(layout: Layout, frame: Frame) -> tuple[Pixels, Pixels]:
    """Return the panel's tilt (x, y) in degrees over the frame, (h, w) each: curvature, body line, rolled edges."""
    smooth_x, smooth_y = curvature_tilt(layout, frame)
    past_line = frame.y - body_line(layout, frame.x)
    below = 1 / (1 + np.exp(-np.clip(past_line / np.float32(0.0035), -30, 30)))
    ridge = np.exp(-np.square((past_line + np.float32(0.008)) / np.float32(0.006)))
    from_edge = np.maximum(frame.y - panel_edge(layout, frame.x), 0)
    roll = 24.0 * np.exp(-from_edge / np.float32(0.010)) if layout.panel_edge_y >= 0 else np.float32(0)
    tilt_y = smooth_y + layout.body_line_deg * (0.6 * ridge - below) + roll
    tilt_x = np.broadcast_to(smooth_x, tilt_y.shape)
    if layout.gap_x <= 1:
        from_gap = frame.x - gap_line(layout, frame)
        tilt_x = tilt_x + 20.0 * np.sign(-from_gap) * np.exp(-np.abs(from_gap) / np.float32(0.005))
    return np.asarray(tilt_x, dtype=np.float32), np.asarray(tilt_y, dtype=np.float32)


def curvature_tilt(layout: Layout, frame: Frame) -> tuple[Pixels, Pixels]:
    """Return the tilt (x, y) in degrees of the panel's gentle curvature: (1, w) and (h, 1)."""
    across, along = layout.curvature_deg
    return (
        np.asarray(across * (frame.x - np.float32(0.5)), dtype=np.float32),
        np.asarray(along * (np.float32(frame.middle_y) - frame.y), dtype=np.float32),
    )


def lying_tilt(
    layout: Layout, frame: Frame, rectangle: Rectangle, lean_deg: tuple[float, float], follows: float
) -> tuple[Pixels, Pixels]:
    """Return the tilt (x, y) in degrees of something lying on the panel.

    It has the panel's tilt at its centre and its own lean; across it the tilt changes by ``follows`` (0 rigid, 1 as
    soft as film) times what the panel's does.
    """
    here = curvature_tilt(layout, frame)
    centre = curvature_tilt(layout, frame.at(rectangle.centre))
    x, y = (
        np.asarray(middle + follows * (value - middle) + lean, dtype=np.float32)
        for value, middle, lean in zip(here, centre, lean_deg, strict=True)
    )
    return x, y


def card_tilt(layout: Layout, frame: Frame) -> tuple[Pixels, Pixels]:
    """Return the card's tilt (x, y) in degrees over a grid."""
    return lying_tilt(layout, frame, card_rectangle(layout), layout.card_tilt_deg, layout.card_follows)


def grey_tilt(layout: Layout, frame: Frame) -> tuple[Pixels, Pixels]:
    """Return the rigid grey board's tilt (x, y) in degrees over a grid."""
    return lying_tilt(layout, frame, grey_rectangle(layout), layout.grey_tilt_deg, 0.0)


@dataclass(frozen=True)
class _Mark:
    kind: Kind
    rectangle: Rectangle
    reflectance: float | None
    freedom: float
    label: str = ""


def regions(scene: Scene, highlight: Pixels) -> tuple[Region, ...]:
    """Return what a person marks, grey first: clear of mirrored lamps, or over them when the scene is careless.

    Parameters
    ----------
    highlight : (h, w) light of mirrored lamps, before the picture is mirrored
    """
    frame = frame_of(scene.size_px)
    found = tuple(_placed(mark, frame, highlight, scene.careless) for mark in _marks(scene))
    if not scene.layout.mirrored:
        return found
    width = scene.size_px[0]
    return tuple(replace(r, x=width - r.x - r.width) for r in found)


def _marks(scene: Scene) -> list[_Mark]:
    layout = scene.layout
    painted, grey = painted_part(layout), grey_rectangle(layout)
    marks = []
    for patch, reflectance in zip(grey_patches(layout, len(scene.greys)), scene.greys, strict=True):
        half = patch.upright_inside(REGION_SHARE)
        marks.append(_Mark(Kind.GREY, Rectangle(patch.centre, half, 0.0), reflectance, 0.0))
    half = painted.upright_inside(REGION_SHARE)
    edges = []
    for letter, each in zip(ascii_uppercase, layout.of_cards(), strict=False):
        sprayed, card = painted_part(each), card_rectangle(each)
        across, reach = sprayed.upright_inside(REGION_SHARE)[0], sprayed.upright_inside(0.9)[1]
        place = Rectangle(sprayed.centre, (across, reach * 0.72), 0.0)
        label = letter if layout.more_cards else ""
        marks.append(_Mark(Kind.CARD, place, None, reach * 0.26, label))
        edges += [card.centre[0] - _reach(card), card.centre[0] + _reach(card)]
    card_left, card_right = min(edges), max(edges)
    grey_right = grey.centre[0] + _reach(grey)
    far_right = min(layout.gap_x, 1.0)
    for left, right in ((grey_right, card_left), (card_right, far_right)):
        width = min(right - left - 2 * CLEARANCE, LARGEST_REGION_WIDTH)
        near_card = right - CLEARANCE - width / 2 if right == card_left else left + CLEARANCE + width / 2
        vehicle = Rectangle((near_card, painted.centre[1]), (width / 2, half[1] * 0.8), 0.0)
        marks.append(_Mark(Kind.VEHICLE, vehicle, None, half[1] * 0.35))
    return marks


def _reach(rectangle: Rectangle) -> float:
    """Return how far a turned rectangle reaches to either side."""
    turn = np.radians(abs(rectangle.angle_deg))
    return float(rectangle.half[0] * np.cos(turn) + rectangle.half[1] * np.sin(turn))


def _placed(mark: _Mark, frame: Frame, highlight: Pixels, careless: bool) -> Region:
    """Slide the mark up or down to where the lamps' reflection is least (or most), the middle winning a tie."""
    best, best_light = None, 0.0
    for offset in np.linspace(0.0, 1.0, 6):
        for sign in (1, -1):
            region = _region(mark, frame, mark.rectangle.moved(0.0, sign * offset * mark.freedom))
            inside = highlight[region.y : region.y + region.height, region.x : region.x + region.width]
            light = float(inside.mean()) * (-1 if careless else 1)
            if best is None or light < best_light - 1e-5:
                best, best_light = region, light
    assert best is not None
    return best


def _region(mark: _Mark, frame: Frame, rectangle: Rectangle) -> Region:
    w = frame.width_px
    left, top = (round((c - h) * w) for c, h in zip(rectangle.centre, rectangle.half, strict=True))
    right, bottom = (round((c + h) * w) for c, h in zip(rectangle.centre, rectangle.half, strict=True))
    return Region(mark.kind, left, top, right - left, bottom - top, mark.reflectance, mark.label)
