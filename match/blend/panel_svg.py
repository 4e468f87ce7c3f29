"""The panel from in front as SVG, to scale: the repair, each side's room and what lies at its end, how far a step goes.

Outlines, dashes and words carry the meaning; it reads the same in black and white.
"""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

from match.blend.plan import BlendPlan
from match.blend.sides import Direction, End, Length, Repair
from match.blend.steps import Step
from match.blend.wording import length

WIDTH, TALLEST = 360.0, 300.0
BORDER = 40.0
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
    to = {each.direction: each.to_mm for each in step.reaches}
    eased = {each.direction: max(0.0, each.ease_from_mm) for each in step.reaches}
    room = {side.side.direction: side.side.room_mm for side in plan.sides}
    drawn = {direction: max(room.get(direction, 0.0), to.get(direction, 0.0)) for direction in Direction}
    width, height = repair.grown_mm(drawn)
    scale = min((WIDTH - 2.0 * BORDER) / width, (TALLEST - 2.0 * BORDER) / height)
    left = 0.5 * (WIDTH - width * scale) + drawn[Direction.LEFT] * scale
    top = BORDER + drawn[Direction.UP] * scale

    def box(reach: Mapping[Direction, float], look: str) -> str:
        across, upright = repair.grown_mm(reach)
        x = left - reach.get(Direction.LEFT, 0.0) * scale
        y = top - reach.get(Direction.UP, 0.0) * scale
        size = f'width="{across * scale:.1f}" height="{upright * scale:.1f}"'
        return f'<rect x="{x:.1f}" y="{y:.1f}" {size} {look}/>'

    parts = [
        box(room, f'fill="#ffffff" stroke="{INK}" stroke-width="2"'),
        box(to, f'fill="{PALE}" stroke="{INK}" stroke-width="1.5" stroke-dasharray="6 4"'),
        box(eased, f'fill="{MIDDLE}" stroke="none"'),
        box({}, f'fill="{INK}" stroke="none"'),
    ]
    bottom = top + (repair.height_mm + drawn[Direction.DOWN]) * scale
    middle = left + 0.5 * repair.width_mm * scale, top + 0.5 * repair.height_mm * scale
    places = {
        Direction.LEFT: (6.0, middle[1], "start"),
        Direction.RIGHT: (WIDTH - 6.0, middle[1], "end"),
        Direction.UP: (middle[0], BORDER - 18.0, "middle"),
        Direction.DOWN: (middle[0], bottom + 16.0, "middle"),
    }
    for side in plan.sides:
        x, y, anchor = places[side.side.direction]
        what = END_WORDS[side.side.end] if side.side.car_colour_beyond else "glass or trim"
        reach = length(to.get(side.side.direction, 0.0), unit)
        for row, words in enumerate((reach, what)):
            parts.append(_text(x, y + 15.0 * row, words, anchor))
    parts.append(
        f'<text x="{middle[0]:.1f}" y="{middle[1] + 4.0:.1f}" text-anchor="middle" font-size="11" fill="#ffffff">'
        "repair</text>"
    )
    about = ", ".join(f"{each.side} to {length(each.to_mm, unit)}" for each in step.reaches)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {bottom + BORDER:.0f}" width="100%" '
        f'role="img" aria-label="{escape(f"The panel. This step goes {about}.")}" '
        f'font-family="system-ui, sans-serif">{"".join(parts)}</svg>'
    )


def _text(x: float, y: float, words: str, anchor: str) -> str:
    halo = 'stroke="#ffffff" stroke-width="4" paint-order="stroke"'
    place = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"'
    return f'<text {place} font-size="14" font-weight="600" fill="{INK}" {halo}>{escape(words)}</text>'
