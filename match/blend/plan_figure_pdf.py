"""The plan drawn to scale for paper: the repair, the full colour, the fade in steps of grey, lines and gaps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.platypus import Flowable

from match.blend.coat_plans import BlendPractice
from match.blend.plan import BlendPlan, SidePlan
from match.blend.sides import MM_PER_INCH, Direction, Length
from match.blend.wording import advice, clear_risk, length, side_way
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
    lines: tuple[str, ...]


def sheet_sides(plan: BlendPlan, practice: BlendPractice, unit: Length) -> tuple[SheetSide, ...]:
    """Return the sides of a plan for the job sheet."""
    sides = []
    for side in plan.sides:
        falling = side.fade.new_share[::-1]
        contours = tuple(float(np.interp(share, falling, side.fade.x_mm[::-1])) for share in SHARES)
        following = side.side.next_panel
        sides.append(
            SheetSide(
                direction=side.side.direction,
                room_mm=side.side.room_mm,
                next_mm=following.room_mm if following is not None and side.onto_next_mm > 0.0 else 0.0,
                lines_mm=side.side.lines_mm,
                covers_to_mm=side.covers_to_mm,
                fades_to_mm=side.fades_to_mm,
                contours_mm=contours,
                lines=_lines(side, practice, unit),
            )
        )
    return tuple(sides)


def _lines(side: SidePlan, practice: BlendPractice, unit: Length) -> tuple[str, ...]:
    """Return what the steps do not say: how the side is handled, what may go wrong, and what else can be done."""
    risk = clear_risk(side.clear)
    unsure = side.hides_probability < practice.fade.sureness
    lines = side_way(side, unit), f"Risk: {risk}." if risk else "", advice(side, unit) if unsure else ""
    return tuple(line for line in lines if line)


class PlanFigure(Flowable):  # type: ignore[misc]  # reportlab has no types
    """The repair in the middle and each side's room around it, all to one scale, with a scale bar."""

    def __init__(
        self,
        repair_width_mm: float,
        repair_height_mm: float,
        sides: tuple[SheetSide, ...],
        inches: bool,
        width: float,
    ) -> None:
        super().__init__()
        self._size = repair_width_mm, repair_height_mm
        self._sides = {side.direction: side for side in sides}
        self._unit = Length.INCH if inches else Length.MM
        ends = {direction: self._end_mm(direction) for direction in Direction}
        across = repair_width_mm + ends[Direction.LEFT] + ends[Direction.RIGHT]
        upright = repair_height_mm + ends[Direction.UP] + ends[Direction.DOWN]
        self._scale = min((width - 2 * PADDING) / across, TALLEST / upright)
        self._left = 0.5 * (width - across * self._scale) + ends[Direction.LEFT] * self._scale
        self._bottom = PADDING / 2 + ends[Direction.DOWN] * self._scale
        self.width, self.height = width, upright * self._scale + PADDING

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the drawing's own size in points."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw onto the canvas reportlab has set."""
        canvas = self.canv
        self._panels()
        for index, grey in enumerate(np.linspace(LIGHTEST, DARKEST, len(SHARES))):
            self._box({d: side.contours_mm[index] for d, side in self._sides.items()}, fill=float(grey), line=0.0)
        covered = {direction: side.covers_to_mm for direction, side in self._sides.items()}
        faded = {direction: side.fades_to_mm for direction, side in self._sides.items()}
        canvas.setDash(4, 3)
        self._box(faded, fill=None, line=0.8)
        canvas.setDash()
        self._box(covered, fill=None, line=0.8)
        self._box({}, fill=0.45, line=1.0)
        self._lines()
        self._labels()
        self._scale_bar()

    def _end_mm(self, direction: Direction) -> float:
        side = self._sides.get(direction)
        return side.room_mm + side.next_mm + MARGIN_MM if side else MARGIN_MM

    def _box(self, out_mm: Mapping[Direction, float], fill: float | None, line: float) -> None:
        """Draw the repair grown outwards by these distances; a direction that is not given grows by nothing."""
        left, right = out_mm.get(Direction.LEFT, 0.0), out_mm.get(Direction.RIGHT, 0.0)
        up, down = out_mm.get(Direction.UP, 0.0), out_mm.get(Direction.DOWN, 0.0)
        canvas = self.canv
        if fill is not None:
            canvas.setFillGray(fill)
        canvas.setStrokeGray(0.1)
        canvas.setLineWidth(line)
        canvas.rect(
            self._left - left * self._scale,
            self._bottom - down * self._scale,
            (self._size[0] + left + right) * self._scale,
            (self._size[1] + up + down) * self._scale,
            stroke=int(line > 0.0),
            fill=int(fill is not None),
        )

    def _panels(self) -> None:
        self._box({direction: self._end_mm(direction) for direction in Direction}, fill=1.0, line=0.4)

    def _lines(self) -> None:
        canvas = self.canv
        canvas.setStrokeGray(0.0)
        for direction, side in self._sides.items():
            canvas.setLineWidth(0.7)
            canvas.setDash(1, 2)
            for at in side.lines_mm:
                self._across(direction, at)
            canvas.setDash()
            canvas.setLineWidth(1.8)
            self._across(direction, side.room_mm)
            if side.next_mm > 0.0:
                self._across(direction, side.room_mm + side.next_mm)

    def _across(self, direction: Direction, at_mm: float) -> None:
        """Draw a line across the whole drawing at a distance from the repair."""
        low_x = self._left - self._end_mm(Direction.LEFT) * self._scale
        high_x = self._left + (self._size[0] + self._end_mm(Direction.RIGHT)) * self._scale
        low_y = self._bottom - self._end_mm(Direction.DOWN) * self._scale
        high_y = self._bottom + (self._size[1] + self._end_mm(Direction.UP)) * self._scale
        if direction.is_sideways:
            x = self._place(direction, at_mm)
            self.canv.line(x, low_y, x, high_y)
        else:
            y = self._place(direction, at_mm)
            self.canv.line(low_x, y, high_x, y)

    def _place(self, direction: Direction, at_mm: float) -> float:
        """Return the coordinate in points, along a direction's axis, of a distance from the repair."""
        places: dict[Direction, float] = {
            Direction.LEFT: self._left - at_mm * self._scale,
            Direction.RIGHT: self._left + (self._size[0] + at_mm) * self._scale,
            Direction.DOWN: self._bottom - at_mm * self._scale,
            Direction.UP: self._bottom + (self._size[1] + at_mm) * self._scale,
        }
        return places[direction]

    def _labels(self) -> None:
        middle_x = self._left + 0.5 * self._size[0] * self._scale
        middle_y = self._bottom + 0.5 * self._size[1] * self._scale
        self._word(middle_x, middle_y, "repair")
        for direction, side in self._sides.items():
            stopped = side.fades_to_mm <= side.covers_to_mm
            ends = f"{'stop at' if stopped else 'fade to'} {length(side.fades_to_mm, self._unit)}"
            marks = [(side.fades_to_mm, ends, -1)]
            if not stopped:
                marks.append((side.covers_to_mm, f"full to {length(side.covers_to_mm, self._unit)}", 1))
            for at_mm, words, shift in marks:
                at = self._place(direction, at_mm)
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
