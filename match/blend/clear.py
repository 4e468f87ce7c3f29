"""Where the clear ends: at an edge, a gap or a real break; melted out on the open panel only where nothing else is."""

from dataclasses import dataclass
from enum import Enum

from match.blend.sides import End, Side


class ClearEnd(Enum):
    """What the clear is carried to."""

    PANEL = "panel"
    BOTH_PANELS = "both panels"
    NEXT_BREAK = "next break"
    BODY_LINE = "body line"
    OPEN = "open"


@dataclass(frozen=True)
class Clear:
    """How far the clear goes (mm from the repair, None where no end is known) and what it ends at.

    ``counted_mm`` is how far the paint for it is counted.
    """

    to_mm: float | None
    ends: ClearEnd
    counted_mm: float


def clear_of(side: Side, colour_ends_mm: float, onto_next: bool) -> Clear:
    """Return how far the clear goes: the whole panel; the next break; a body line beyond the colour; else it is open.

    Common practice: clear ends at an edge or a gap. A panel without one within reach has its clear carried on to the
    next break first; a melted edge is what is left where there is none (see :mod:`match.blend.words` for the risk).
    """
    if onto_next and side.next_panel is not None:
        both = side.room_mm + side.next_panel.room_mm
        return Clear(both, ClearEnd.BOTH_PANELS, both)
    if side.clear_to_end and side.end is not End.NO_EDGE:
        return Clear(side.room_mm, ClearEnd.PANEL, side.room_mm)
    if side.break_mm is not None:
        return Clear(side.break_mm, ClearEnd.NEXT_BREAK, side.break_mm)
    lines = [at for at in sorted(side.lines_mm) if at >= colour_ends_mm]
    if lines:
        return Clear(lines[0], ClearEnd.BODY_LINE, lines[0])
    return Clear(None, ClearEnd.OPEN, side.room_mm)
