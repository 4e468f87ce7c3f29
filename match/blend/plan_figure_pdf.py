"""The plan drawn to scale for paper: the repair, the full colour, the fade in steps of grey, lines and gaps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.platypus import Flowable

from match.blend.areas import Box, around
from match.blend.plan import BlendPlan
from match.blend.side_plan import SidePlan
from match.blend.sides import MM_PER_INCH, Direction, Length
from match.blend.wording import length
from match.letters_pdf import BOLD, REGULAR

SHARES = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Shares of the new colour at which the fade's steps of grey change, from the car's colour inwards."""
LIGHTEST, DARKEST = 0.93, 0.62
TALLEST = 52 * mm
PADDING = 16 * mm
MARGIN_MM = 30.0
"""Drawn beyond the last edge of a panel, so that it reads as an edge."""


@dataclass(frozen=True)
class SheetSide:
    """One side as the sheet prints it.

    ``contours_mm`` are the distances from the repair at which the new colour's share is 5, 25, 50, 75 and 95 %.
    """

    direction: Direction
    room_mm: float
    next_mm: float
    lines_mm: tuple[float, ...]
    covers_to_mm: float
    fades_to_mm: float
    contours_mm: tuple[float, ...]


@dataclass(frozen=True)
class SheetArea:
    """What is covered as one: its own box, every repair in it with its name, and its sides; mm on the panel."""

    covered: Box
    repairs: tuple[tuple[str, Box], ...]
    sides: tuple[SheetSide, ...]


def sheet_areas(plan: BlendPlan) -> tuple[SheetArea, ...]:
    """Return the areas of a plan for the job sheet."""
    areas = []
    for area in plan.areas:
        names = [str(number) for number, _ in area.repair.covers] or ["repair"]
        boxes = [
            (spot.left_mm, spot.top_mm, spot.left_mm + spot.width_mm, spot.top_mm + spot.height_mm)
            for spot in area.repair.spots
        ]
        sides = tuple(_sheet_side(side) for side in area.sides)
        areas.append(SheetArea(area.repair.grown_box_mm({}), tuple(zip(names, boxes, strict=True)), sides))
    return tuple(areas)


def _sheet_side(side: SidePlan) -> SheetSide:
    falling = side.fade.new_share[::-1]
    following = side.side.next_panel
    return SheetSide(
        direction=side.side.direction,
        room_mm=side.side.room_mm,
        next_mm=following.room_mm if following is not None and side.onto_next_mm > 0.0 else 0.0,
        lines_mm=side.side.lines_mm,
        covers_to_mm=side.covers_to_mm,
        fades_to_mm=side.fades_to_mm,
        contours_mm=tuple(float(np.interp(share, falling, side.fade.x_mm[::-1])) for share in SHARES),
    )


class PlanFigure(Flowable):  # type: ignore[misc]  # reportlab has no types
    """Every repair and the room around it, all to one scale, with a scale bar."""

    def __init__(self, areas: tuple[SheetArea, ...], inches: bool, width: float) -> None:
        super().__init__()
        self._areas = areas
        self._unit = Length.INCH if inches else Length.MM
        margins = dict.fromkeys(Direction, MARGIN_MM)
        self._panel = around(
            [_grown(area.covered, margins | {side.direction: _end_mm(side) for side in area.sides}) for area in areas]
        )
        left, top, right, bottom = self._panel
        self._scale = min((width - 2 * PADDING) / (right - left), TALLEST / (bottom - top))
        self._start = 0.5 * (width - (right - left) * self._scale)
        self.width, self.height = width, (bottom - top) * self._scale + PADDING

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the drawing's own size in points."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw onto the canvas reportlab has set."""
        canvas = self.canv
        self._box(self._panel, fill=1.0, line=0.4)
        for index, grey in enumerate(np.linspace(LIGHTEST, DARKEST, len(SHARES))):
            for area in self._areas:
                out = {side.direction: side.contours_mm[index] for side in area.sides}
                self._box(_grown(area.covered, out), fill=float(grey), line=0.0)
        for area in self._areas:
            canvas.setDash(4, 3)
            self._box(_grown(area.covered, {s.direction: s.fades_to_mm for s in area.sides}), fill=None, line=0.8)
            canvas.setDash()
            self._box(_grown(area.covered, {s.direction: s.covers_to_mm for s in area.sides}), fill=None, line=0.8)
            if len(area.repairs) > 1:  # covered as one
                self._box(area.covered, fill=DARKEST, line=1.0)
            for _, box in area.repairs:
                self._box(box, fill=0.45, line=1.0)
        self._lines()
        for area in self._areas:
            self._labels(area)
        self._scale_bar()

    def _x(self, at_mm: float) -> float:
        return float(self._start + (at_mm - self._panel[0]) * self._scale)

    def _y(self, at_mm: float) -> float:
        return float(PADDING / 2 + (self._panel[3] - at_mm) * self._scale)

    def _box(self, box: Box, fill: float | None, line: float) -> None:
        """Draw a box of the panel."""
        left, top, right, bottom = box
        canvas = self.canv
        if fill is not None:
            canvas.setFillGray(fill)
        canvas.setStrokeGray(0.1)
        canvas.setLineWidth(line)
        canvas.rect(
            self._x(left),
            self._y(bottom),
            (right - left) * self._scale,
            (bottom - top) * self._scale,
            stroke=int(line > 0.0),
            fill=int(fill is not None),
        )

    def _lines(self) -> None:
        """Draw body lines and the panel's ends across the whole drawing; an end where it lies furthest out."""
        canvas = self.canv
        canvas.setStrokeGray(0.0)
        ends: dict[Direction, tuple[float, float]] = {}
        for area in self._areas:
            for side in area.sides:
                edge = _edge(area.covered, side.direction)
                canvas.setLineWidth(0.7)
                canvas.setDash(1, 2)
                for at in side.lines_mm:
                    self._across(side.direction, edge + at)
                ends[side.direction] = max(
                    ends.get(side.direction, (-np.inf, 0.0)), (edge + side.room_mm, side.next_mm)
                )
        canvas.setDash()
        canvas.setLineWidth(1.8)
        for direction, (room, onto) in ends.items():
            self._across(direction, room)
            if onto > 0.0:
                self._across(direction, room + onto)

    def _across(self, direction: Direction, out_mm: float) -> None:
        """Draw a line across the whole drawing at a place along a direction."""
        left, top, right, bottom = self._panel
        if direction.is_sideways:
            x = self._place(direction, out_mm)
            self.canv.line(x, self._y(bottom), x, self._y(top))
        else:
            y = self._place(direction, out_mm)
            self.canv.line(self._x(left), y, self._x(right), y)

    def _place(self, direction: Direction, out_mm: float) -> float:
        """Return the coordinate in points, along a direction's axis, of a place that lies so far out on the panel."""
        at_mm = out_mm if direction in (Direction.RIGHT, Direction.DOWN) else -out_mm
        return self._x(at_mm) if direction.is_sideways else self._y(at_mm)

    def _labels(self, area: SheetArea) -> None:
        left, top, right, bottom = area.covered
        middle_x, middle_y = self._x(0.5 * (left + right)), self._y(0.5 * (top + bottom))
        for name, box in area.repairs:
            self._word(self._x(0.5 * (box[0] + box[2])), self._y(0.5 * (box[1] + box[3])), name)
        for side in area.sides:
            stopped = side.fades_to_mm <= side.covers_to_mm
            ends = f"{'stop at' if stopped else 'fade to'} {length(side.fades_to_mm, self._unit)}"
            marks = [(side.fades_to_mm, ends, -1)]
            if not stopped and len(self._areas) == len(area.repairs) == 1:  # with several, the lines below say it
                marks.append((side.covers_to_mm, f"full to {length(side.covers_to_mm, self._unit)}", 1))
            for at_mm, words, shift in marks:
                at = self._place(side.direction, _edge(area.covered, side.direction) + at_mm)
                x, y = (at, middle_y + 10 * shift) if side.direction.is_sideways else (middle_x + 45 * shift, at)
                self._word(x, y, words)

    def _word(self, x: float, y: float, words: str) -> None:
        """Write words on a white patch, readable on every grey."""
        canvas = self.canv
        half = canvas.stringWidth(words, BOLD, 8) / 2 + 2
        canvas.setFillColor(colors.white)
        canvas.rect(x - half, y - 3.5, 2 * half, 11, stroke=0, fill=1)
        canvas.setFillGray(0.1)
        canvas.setFont(BOLD, 8)
        canvas.drawCentredString(x, y - 0.5, words)

    def _scale_bar(self) -> None:
        bar_mm = 4 * MM_PER_INCH if self._unit is Length.INCH else 100.0
        canvas = self.canv
        canvas.setFillGray(0.1)
        canvas.rect(0.0, 2.0, bar_mm * self._scale, 3.0, stroke=0, fill=1)
        canvas.setFont(REGULAR, 8)
        canvas.drawString(bar_mm * self._scale + 4, 1.0, length(bar_mm, self._unit))


def _end_mm(side: SheetSide) -> float:
    return side.room_mm + side.next_mm + MARGIN_MM


def _edge(box: Box, direction: Direction) -> float:
    left, top, right, bottom = box
    return {Direction.LEFT: -left, Direction.RIGHT: right, Direction.UP: -top, Direction.DOWN: bottom}[direction]


def _grown(box: Box, out_mm: Mapping[Direction, float]) -> Box:
    """Return a box grown outwards; a direction that is not given grows by nothing."""
    left, top, right, bottom = box
    return (
        left - out_mm.get(Direction.LEFT, 0.0),
        top - out_mm.get(Direction.UP, 0.0),
        right + out_mm.get(Direction.RIGHT, 0.0),
        bottom + out_mm.get(Direction.DOWN, 0.0),
    )
