"""The plan drawn to scale for paper: the repair, the full colour, the fade in steps of grey, lines and gaps."""

from collections.abc import Sequence

import numpy as np
from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.platypus import Flowable

from match.blend.areas import Box, around
from match.blend.plan import AreaPlan
from match.blend.side_plan import SidePlan
from match.blend.sides import MM_PER_INCH, Direction, Length
from match.blend.words import length
from match.letters_pdf import BOLD, REGULAR

SHARES = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Shares of the new colour at which the fade's steps of grey change, from the car's colour inwards."""
LIGHTEST, DARKEST = 0.93, 0.62
TALLEST = 52 * mm
PADDING = 16 * mm
MARGIN_MM = 30.0
"""Drawn beyond the last edge of a panel, so that it reads as an edge."""


class PlanFigure(Flowable):  # type: ignore[misc]  # reportlab has no types
    """Every repair and the room around it, all to one scale, with a scale bar."""

    def __init__(self, areas: Sequence[AreaPlan], inches: bool, width: float) -> None:
        super().__init__()
        self._areas = areas
        self._unit = Length.INCH if inches else Length.MM
        margins = dict.fromkeys(Direction, MARGIN_MM)
        self._panel = around(
            [
                area.repair.grown_box_mm(
                    margins
                    | {each.side.direction: each.side.room_mm + _beyond_mm(each) + MARGIN_MM for each in area.sides}
                )
                for area in areas
            ]
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
                out = {side.side.direction: _contours_mm(side)[index] for side in area.sides}
                self._box(area.repair.grown_box_mm(out), fill=float(grey), line=0.0)
        for area in self._areas:
            canvas.setDash(4, 3)
            self._box(area.reached, fill=None, line=0.8)
            canvas.setDash()
            covers = {side.side.direction: side.covers_to_mm for side in area.sides}
            self._box(area.repair.grown_box_mm(covers), fill=None, line=0.8)
            if len(area.repair.spots) > 1:  # covered as one
                self._box(area.repair.grown_box_mm({}), fill=DARKEST, line=1.0)
            for spot in area.repair.spots:
                self._box(spot.box_mm, fill=0.45, line=1.0)
        self._lines()
        for area in self._areas:
            self._labels(area)
        self._scale_bar()

    def _x(self, at_mm: float) -> float:
        return float(self._start + (at_mm - self._panel[0]) * self._scale)

    def _y(self, at_mm: float) -> float:
        return float(PADDING / 2 + (self._panel[3] - at_mm) * self._scale)

    def _middle(self, box: Box) -> tuple[float, float]:
        left, top, right, bottom = box
        return self._x(0.5 * (left + right)), self._y(0.5 * (top + bottom))

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
                direction = side.side.direction
                edge = area.repair.edge_mm(direction)
                canvas.setLineWidth(0.7)
                canvas.setDash(1, 2)
                for at in side.side.lines_mm:
                    self._across(direction, edge + at)
                end = edge + side.side.room_mm, _beyond_mm(side)
                ends[direction] = max(ends.get(direction, (-np.inf, 0.0)), end)
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

    def _labels(self, area: AreaPlan) -> None:
        middle_x, middle_y = self._middle(area.repair.grown_box_mm({}))
        for name, spot in area.repair.named_spots:
            self._word(*self._middle(spot.box_mm), name)
        for side in area.sides:
            direction = side.side.direction
            stopped = side.fades_to_mm <= side.covers_to_mm
            ends = f"{'stop at' if stopped else 'fade to'} {length(side.fades_to_mm, self._unit)}"
            marks = [(side.fades_to_mm, ends, -1)]
            if not stopped and len(self._areas) == len(area.repair.spots) == 1:  # with several, the lines below say it
                marks.append((side.covers_to_mm, f"full to {length(side.covers_to_mm, self._unit)}", 1))
            for at_mm, words, shift in marks:
                at = self._place(direction, area.repair.edge_mm(direction) + at_mm)
                x, y = (at, middle_y + 10 * shift) if direction.is_sideways else (middle_x + 45 * shift, at)
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


def _beyond_mm(side: SidePlan) -> float:
    """Return how far the next panel goes on, where the colour goes onto it."""
    return side.side.next_panel.room_mm if side.side.next_panel is not None and side.onto_next_mm > 0.0 else 0.0


def _contours_mm(side: SidePlan) -> list[float]:
    """Return the distances from the repair at which the new colour's share is each of :data:`SHARES`."""
    return np.interp(SHARES, side.fade.new_share[::-1], side.fade.x_mm[::-1]).tolist()
