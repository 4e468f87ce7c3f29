"""A tap on the photo, and what is said of the box that grew from it."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from match.photo.proposals.tap import Doubt, GrownBox
from match.ui.marker.marks import Mark, MarkKind

_NOTHING = "No clean, even surface lies there: tap another spot of it, or draw a box."
_DOUBTS = {
    Doubt.SMALL: "The box is small: draw a larger one if there is room.",
    Doubt.UNEVEN: "The light changes across the box: look for a more even spot.",
    Doubt.FAINT: "A border beside the box is faint: look whether the box keeps inside it.",
    Doubt.GLARE: "A reflection is near the box: keep clear of it.",
}


@dataclass(frozen=True)
class Tap:
    """A tapped point in fractions (0 to 1) of the upright picture, its kind, and the browser's number for it."""

    number: int
    kind: str
    x: float
    y: float


Grow = Callable[[Tap, Sequence[Mark]], GrownBox | None]
"""Makes a box of a tap, clear of the marks that are there."""


def read_tap(sent: object, kinds: Sequence[MarkKind]) -> Tap | None:
    """Return the tap in what a browser sent; None for anything else."""
    if not isinstance(sent, Mapping) or str(sent.get("kind")) not in {kind.name for kind in kinds}:
        return None
    number, x, y = (sent.get(name) for name in ("number", "x", "y"))
    if not (isinstance(number, int) and _is_share(x) and _is_share(y)):
        return None
    return Tap(number, str(sent["kind"]), float(x), float(y))  # type: ignore[arg-type]


def _is_share(value: object) -> bool:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return is_number and math.isfinite(value) and 0.0 <= value <= 1.0  # type: ignore[arg-type, operator]


def for_browser(tap: Tap, box: GrownBox | None) -> dict[str, Any]:
    """Return the answer to a tap as the browser takes it."""
    answer: dict[str, Any] = {"number": tap.number, "kind": tap.kind, "box": None, "words": _NOTHING}
    if box is not None:
        answer["box"] = {"x": box.x, "y": box.y, "width": box.width, "height": box.height}
        answer["words"] = " ".join(_DOUBTS[doubt] for doubt in box.doubts)
    return answer
