"""The panel from in front as SVG, to scale: the repair, each side's room and what lies at its end, how far a step goes.

Outlines, dashes and words carry the meaning; it reads the same in black and white.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from textwrap import wrap

from match.blend.panel_shape import Placed
from match.blend.plan import BlendPlan
from match.blend.sides import Direction, End, Length, Repair
from match.blend.steps import COLOUR, Deed, JobSteps, Step
from match.blend.wording import length

WIDTH, TALLEST = 360.0, 300.0
BORDER, BESIDE, LETTERS_BESIDE = 40.0, 74.0, 10
"""Room for words above and below, and on either side."""
INK, PALE, MIDDLE = "#161616", "#d9d9d9", "#9a9a9a"
END_WORDS = {
    End.PANEL_EDGE: "edge",
    End.NEXT_PANEL: "next panel",
    End.KEPT_PART: "kept",
    End.OTHER_PART: "other part, kept",
    End.NO_EDGE: "runs on",
}


def step_svg(step: Step, plan: BlendPlan, repair: Repair, unit: Length) -> str:
    """Return the panel with what one step reaches, empty for a step that reaches nowhere.

    The panel is drawn as far as its room and what the step covers beyond; a side that nobody described is left open.
    """
    if not step.reaches or not step.passes:
        return ""
    to = {each.direction: each.to_mm for each in step.reaches if each.sprayed}
    eased = {each.direction: max(0.0, each.ease_from_mm) for each in step.reaches if each.sprayed}
    view = _view(plan, repair, to)
    parts = [
        view.box(view.room, f'fill="#ffffff" stroke="{INK}" stroke-width="2"'),
        view.box(to, f'fill="{PALE}" stroke="{INK}" stroke-width="1.5" stroke-dasharray="6 4"'),
        view.box(eased, f'fill="{MIDDLE}" stroke="none"'),
        *view.named(plan, {each.direction: length(each.to_mm, unit) for each in step.reaches if each.sprayed}),
    ]
    about = ", ".join(f"{each.side} to {length(each.to_mm, unit)}" for each in step.reaches)
    return view.svg(parts, f"The panel. This step goes {about}.")


def plan_svg(plan: BlendPlan, repair: Repair, steps: JobSteps, unit: Length, placed: Placed | None = None) -> str:
    """Return the panel with what lies on each side and an outline for how far each coat of colour reaches.

    ``placed`` gives the panel's own outline; without one it is drawn as far as its rooms.
    """
    coats = [step for step in steps.of(*COLOUR) if step.deed is not Deed.ORIENT]
    reached = [{each.direction: each.to_mm for each in step.reaches if each.sprayed} for step in coats]
    furthest = {side.side.direction: side.fades_to_mm for side in plan.sides}
    view = _view(plan, repair, furthest if placed is None else _around(placed))
    look = f'fill="#ffffff" stroke="{INK}" stroke-width="2"'
    parts = [
        view.box(view.room, look) if placed is None else view.outline(placed, look),
        view.box(furthest, f'fill="{PALE}" stroke="none"'),
        *(view.box(to, f'fill="none" stroke="{INK}" stroke-width="1.2" stroke-dasharray="5 3"') for to in reached),
        *view.named(plan, {direction: length(at_mm, unit) for direction, at_mm in furthest.items()}),
    ]
    about = ", ".join(f"{side.side.name} gone by {length(side.fades_to_mm, unit)}" for side in plan.sides)
    return view.svg(parts, f"The panel with {len(coats)} coats of colour: {about}.")


@dataclass(frozen=True)
class _View:
    """The panel's place on the drawing: ``room`` in mm, ``left`` and ``top`` of the repair, ``scale`` in px a mm."""

    repair: Repair
    room: Mapping[Direction, float]
    left: float
    top: float
    bottom: float
    scale: float

    def box(self, reach: Mapping[Direction, float], look: str) -> str:
        """Return the repair grown by a reach, as a rectangle."""
        across, upright = self.repair.grown_mm(reach)
        x = self.left - reach.get(Direction.LEFT, 0.0) * self.scale
        y = self.top - reach.get(Direction.UP, 0.0) * self.scale
        size = f'width="{across * self.scale:.1f}" height="{upright * self.scale:.1f}"'
        return f'<rect x="{x:.1f}" y="{y:.1f}" {size} {look}/>'

    def outline(self, placed: Placed, look: str) -> str:
        """Return a panel's own outline."""
        points = (placed.outline_mm - (placed.left_mm, placed.top_mm)) * self.scale + (self.left, self.top)
        return f'<polygon points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in points)}" {look}/>'

    def named(self, plan: BlendPlan, reaches: Mapping[Direction, str]) -> list[str]:
        """Return the repair, and beside each side how far it is reached and what lies there."""
        x, y = (
            self.left + 0.5 * self.repair.width_mm * self.scale,
            self.top + 0.5 * self.repair.height_mm * self.scale,
        )
        places = {
            Direction.LEFT: (6.0, y, "start"),
            Direction.RIGHT: (WIDTH - 6.0, y, "end"),
            Direction.UP: (x, BORDER - 18.0, "middle"),
            Direction.DOWN: (x, self.bottom + 16.0, "middle"),
        }
        parts = [self.box({}, f'fill="{INK}" stroke="none"')]
        for side in plan.sides:
            at_x, at_y, anchor = places[side.side.direction]
            what = END_WORDS[side.side.end] if side.side.car_colour_beyond else "glass or trim"
            words = side.side.label or what
            rows = wrap(words, LETTERS_BESIDE) if side.side.direction.is_sideways else [words]
            told = [reaches.get(side.side.direction, ""), *rows]
            parts += [_text(at_x, at_y + 15.0 * row, words, anchor) for row, words in enumerate(told)]
        look = 'text-anchor="middle" font-size="11" fill="#ffffff"'
        return [*parts, f'<text x="{x:.1f}" y="{y + 4.0:.1f}" {look}>repair</text>']

    def svg(self, parts: Sequence[str], about: str) -> str:
        """Return the whole drawing."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {self.bottom + BORDER:.0f}" '
            f'width="100%" role="img" aria-label="{escape(about)}" font-family="system-ui, sans-serif">'
            f"{''.join(parts)}</svg>"
        )


def _around(placed: Placed) -> dict[Direction, float]:
    """Return how far the outline reaches beyond the repair at its furthest."""
    (left, top), (right, bottom) = placed.outline_mm.min(axis=0), placed.outline_mm.max(axis=0)
    return {
        Direction.LEFT: placed.left_mm - left,
        Direction.RIGHT: right - placed.left_mm - placed.width_mm,
        Direction.UP: placed.top_mm - top,
        Direction.DOWN: bottom - placed.top_mm - placed.height_mm,
    }


def _view(plan: BlendPlan, repair: Repair, reach: Mapping[Direction, float]) -> _View:
    room = {side.side.direction: side.side.room_mm for side in plan.sides}
    drawn = {direction: max(room.get(direction, 0.0), reach.get(direction, 0.0)) for direction in Direction}
    width, height = repair.grown_mm(drawn)
    scale = min((WIDTH - 2.0 * BESIDE) / width, (TALLEST - 2.0 * BORDER) / height)
    left = 0.5 * (WIDTH - width * scale) + drawn[Direction.LEFT] * scale
    top = BORDER + drawn[Direction.UP] * scale
    return _View(repair, room, left, top, top + (repair.height_mm + drawn[Direction.DOWN]) * scale, scale)


def _text(x: float, y: float, words: str, anchor: str) -> str:
    halo = 'stroke="#ffffff" stroke-width="4" paint-order="stroke"'
    place = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"'
    return f'<text {place} font-size="14" font-weight="600" fill="{INK}" {halo}>{escape(words)}</text>'
