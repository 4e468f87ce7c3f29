"""The panel from in front as SVG, to scale: the repair, each side's room and what lies at its end, how far a step goes.

Outlines, dashes and words carry the meaning; it reads the same in black and white.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from textwrap import wrap

from match.blend.areas import Box, around, joined
from match.blend.plan import BlendPlan
from match.blend.sides import Direction, End, Length, Repair
from match.blend.step import COLOUR, Deed, JobSteps, Reach, Step
from match.blend.words import length
from match.colorimetry import Array

WIDTH, TALLEST = 360.0, 300.0
BORDER, BESIDE, BESIDE_SEVERAL, LETTERS_BESIDE = 40.0, 74.0, 96.0, 10
"""Room for words above and below, and on either side of one repair or of several, whose numbers are told."""
INK, PALE, MIDDLE = "#161616", "#d9d9d9", "#9a9a9a"
DASHED = f'stroke="{INK}" stroke-width="1.2" stroke-dasharray="5 3"'
END_WORDS = {
    End.PANEL_EDGE: "edge",
    End.NEXT_PANEL: "next panel",
    End.KEPT_PART: "kept",
    End.OTHER_PART: "other part, kept",
    End.NO_EDGE: "runs on",
}


def step_svg(step: Step, plan: BlendPlan, unit: Length) -> str:
    """Return the panel with what one step reaches, empty for a step that reaches nowhere.

    The panel is drawn as far as its room and what the step covers beyond; a side that nobody described is left open.
    """
    if not step.reaches or not step.passes:
        return ""
    shown = [(repair, reaches) for repair, reaches in _from_each(step, plan) if reaches]
    to = [(repair, {each.direction: each.to_mm for each in reaches}) for repair, reaches in shown]
    eased = [(repair, {each.direction: max(0.0, each.ease_from_mm) for each in reaches}) for repair, reaches in shown]
    room = _room(plan)
    view = _view(around([room, *(repair.grown_box_mm(reach) for repair, reach in to)]), _beside(len(shown)))
    told = [(repair, {each.direction: length(each.to_mm, unit) for each in reaches}) for repair, reaches in shown]
    parts = [
        view.box(room, f'fill="#ffffff" stroke="{INK}" stroke-width="2"'),
        *(view.box(r.grown_box_mm(reach), f'fill="{PALE}" {DASHED}') for r, reach in to),
        *(view.box(r.grown_box_mm(reach), f'fill="{MIDDLE}" stroke="none"') for r, reach in eased),
        *view.repairs(plan),
        *view.named(plan, told),
    ]
    about = ", ".join(f"{_of(each)}{each.side} to {length(each.to_mm, unit)}" for each in step.reaches)
    return view.svg(parts, f"The panel. This step goes {about}.")


def plan_svg(plan: BlendPlan, steps: JobSteps, unit: Length, outline_mm: Array | None = None) -> str:
    """Return the panel with what lies on each side and an outline for how far each coat of colour reaches.

    ``outline_mm`` (n, 2) is the panel's own outline; without one it is drawn as far as its rooms.
    """
    coats = [step for step in steps.of(*COLOUR) if step.deed is not Deed.ORIENT]
    reached = [each for step in coats for each in _from_each(step, plan)]
    room = _room(plan)
    shown = room if outline_mm is None else _extent(outline_mm)
    view = _view(around([shown, *(each.reached for each in plan.areas)]), _beside(len(plan.areas)))
    look = f'fill="#ffffff" stroke="{INK}" stroke-width="2"'
    told = [
        (area.repair, {side.side.direction: length(side.fades_to_mm, unit) for side in area.sides})
        for area in plan.areas
    ]
    parts = [
        view.box(room, look) if outline_mm is None else view.outline(outline_mm, look),
        *(view.box(area.reached, f'fill="{PALE}" stroke="none"') for area in plan.areas),
        *(
            view.box(repair.grown_box_mm({each.direction: each.to_mm for each in reaches}), f'fill="none" {DASHED}')
            for repair, reaches in reached
        ),
        *view.repairs(plan),
        *view.named(plan, told),
    ]
    about = ", ".join(f"{side.side.name} gone by {length(side.fades_to_mm, unit)}" for side in plan.sides)
    return view.svg(parts, f"The panel with {len(coats)} coats of colour: {about}.")


def _from_each(step: Step, plan: BlendPlan) -> list[tuple[Repair, list[Reach]]]:
    """Return what is sprayed from each area, or from all together where a step goes over all of them."""
    areas = [(area.repair, area.sides[0].side.repair) for area in plan.areas]
    if len(areas) > 1 and not any(each.repair for each in step.reaches):
        areas = [(joined([repair for repair, _ in areas]), "")]
    return [(repair, [each for each in step.reaches if each.repair == name and each.sprayed]) for repair, name in areas]


def _room(plan: BlendPlan) -> Box:
    """Return how far the panel goes about all repairs."""
    return around(
        [area.repair.grown_box_mm({side.direction: side.room_mm for side in area.repair.sides}) for area in plan.areas]
    )


def _extent(outline_mm: Array) -> Box:
    (left, top), (right, bottom) = outline_mm.min(axis=0).tolist(), outline_mm.max(axis=0).tolist()
    return left, top, right, bottom


@dataclass(frozen=True)
class _View:
    """The panel's place on the drawing: where its corner (0, 0) lies, and the scale in px a mm."""

    x: float
    y: float
    bottom: float
    scale: float

    def box(self, box: Box, look: str) -> str:
        """Return a rectangle of the panel."""
        left, top, right, bottom = box
        x, y = self.x + left * self.scale, self.y + top * self.scale
        size = f'width="{(right - left) * self.scale:.1f}" height="{(bottom - top) * self.scale:.1f}"'
        return f'<rect x="{x:.1f}" y="{y:.1f}" {size} {look}/>'

    def outline(self, outline_mm: Array, look: str) -> str:
        """Return a panel's own outline."""
        points = outline_mm * self.scale + (self.x, self.y)
        return f'<polygon points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in points)}" {look}/>'

    def repairs(self, plan: BlendPlan) -> list[str]:
        """Return every repair with its number, or its name where it is the only one, and what is covered as one."""
        parts = []
        for area in plan.areas:
            if len(area.repair.spots) > 1:
                parts.append(
                    self.box(area.repair.grown_box_mm({}), f'fill="{MIDDLE}" stroke="{INK}" stroke-width="1.5"')
                )
            for name, spot in area.repair.named_spots:
                box = spot.box_mm
                x, y = self.x + 0.5 * (box[0] + box[2]) * self.scale, self.y + 0.5 * (box[1] + box[3]) * self.scale
                halo = f'fill="#ffffff" stroke="{INK}" stroke-width="3" paint-order="stroke"'
                look = f'text-anchor="middle" font-size="{11 if name == "repair" else 14}" {halo}'
                parts.append(self.box(box, f'fill="{INK}" stroke="none"'))
                parts.append(f'<text x="{x:.1f}" y="{y + 4.0:.1f}" {look}>{name}</text>')
        return parts

    def named(self, plan: BlendPlan, told: Sequence[tuple[Repair, Mapping[Direction, str]]]) -> list[str]:
        """Return beside each side how far it is reached from every repair, and what lies there."""
        left, top, right, bottom = around([area.repair.grown_box_mm({}) for area in plan.areas])
        x, y = self.x + 0.5 * (left + right) * self.scale, self.y + 0.5 * (top + bottom) * self.scale
        parts = []
        for side in plan.areas[0].sides:
            direction = side.side.direction
            what = END_WORDS[side.side.end] if side.side.car_colour_beyond else "glass or trim"
            reaches = [
                f"{_numbers(repair)}: {reach[direction]}" if len(told) > 1 else reach[direction]
                for repair, reach in told
                if direction in reach
            ]
            rows = [*reaches, *wrap(side.side.label or what, LETTERS_BESIDE)]
            if not direction.is_sideways:
                rows = [", ".join(reaches), side.side.label or what]
            at_x, at_y, anchor = {
                Direction.LEFT: (6.0, y, "start"),
                Direction.RIGHT: (WIDTH - 6.0, y, "end"),
                Direction.UP: (x, BORDER - 18.0, "middle"),
                Direction.DOWN: (x, self.bottom + 16.0, "middle"),
            }[direction]
            parts += [_text(at_x, at_y + 15.0 * row, words, anchor) for row, words in enumerate(rows)]
        return parts

    def svg(self, parts: Sequence[str], about: str) -> str:
        """Return the whole drawing."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {self.bottom + BORDER:.0f}" '
            f'width="100%" role="img" aria-label="{escape(about)}" font-family="system-ui, sans-serif">'
            f"{''.join(parts)}</svg>"
        )


def _view(extent: Box, beside: float) -> _View:
    left, top, right, bottom = extent
    scale = min((WIDTH - 2.0 * beside) / (right - left), (TALLEST - 2.0 * BORDER) / (bottom - top))
    x = 0.5 * (WIDTH - (right - left) * scale) - left * scale
    return _View(x, BORDER - top * scale, BORDER + (bottom - top) * scale, scale)


def _beside(told: int) -> float:
    return BESIDE_SEVERAL if told > 1 else BESIDE


def _numbers(repair: Repair) -> str:
    return "+".join(str(number) for number, _ in repair.covers)


def _of(reach: Reach) -> str:
    return f"{reach.repair} " if reach.repair else ""


def _text(x: float, y: float, words: str, anchor: str) -> str:
    halo = 'stroke="#ffffff" stroke-width="4" paint-order="stroke"'
    place = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"'
    return f'<text {place} font-size="14" font-weight="600" fill="{INK}" {halo}>{escape(words)}</text>'
