"""The photo with rectangles on it, drawn by mouse, finger or keyboard: a Streamlit component of our own.

The rectangles live in the browser while the photo is on screen, so nothing jumps under a finger; they come back once
the pointer is lifted. To replace them from Python, give the marker another ``key``.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import streamlit as st

from match.photo.regions import MINIMUM_SIDE_PX
from match.ui.kit import picture_url
from match.ui.kit.component import component
from match.ui.marker.marks import CHECK_KINDS, Mark, MarkKind, read_marks
from match.ui.marker.tapped import Grow, Tap, for_browser, read_tap

_HERE = Path(__file__).parent
_SCRIPTS = ("region_shape.js", "region_aids.js", "region_tools.js", "region_marker.js")

_component = component("sprayout_region_marker", *(_HERE / name for name in _SCRIPTS), css=_HERE / "region_marker.css")


def region_marker(
    image: bytes | np.ndarray,
    regions: Sequence[Mark],
    key: str,
    *,
    photo_size_px: tuple[int, int],
    greys: Sequence[tuple[str, float]],
    kinds: Sequence[MarkKind] = CHECK_KINDS,
    grow: Grow | None = None,
    invented: bool = False,
) -> list[Mark]:
    """Show ``image`` with marks on it and return the marks as they stand now.

    Parameters
    ----------
    image
        JPEG or PNG bytes, or an 8-bit RGB array of shape (height, width, 3): the upright preview.
    regions
        The marks to start with. They are used until the user changes one; later values under the same key are ignored.
    key
        Names this marker. ``st.session_state[key]["regions"]`` holds what the browser sent last.
    photo_size_px
        Width and height of the full photo, which decide the smallest rectangle that can be drawn.
    greys
        Label and luminous reflectance (0 to 1) of each grey reference on offer; the first one is the default.
    kinds
        What can be marked, in the order in which it is asked for.
    grow
        Makes a box of a tapped point; without it only strokes make boxes.
    invented
        Whether the greys in it are nobody's own: the browser then neither offers nor remembers the last one said.
    """
    content = image if isinstance(image, bytes) else picture_url.encoded(image)
    state = st.session_state.get(key) or {}
    default_reflectance = greys[0][1]
    current = read_marks(state["regions"], kinds, default_reflectance) if "regions" in state else list(regions)
    served = None if state.get("photo_failed") else picture_url.served_url(content, f"region-marker-{key}")
    width, height = photo_size_px
    result = _component(
        key=key,
        data={
            "instance": key,
            "photo": {
                "url": served or picture_url.inline_url(content),
                "width": width,
                "height": height,
                "least_side_px": MINIMUM_SIDE_PX,
            },
            "kinds": [vars(kind) for kind in kinds],
            "regions": [mark.as_dict() for mark in current],
            "greys": [{"label": label, "reflectance": reflectance} for label, reflectance in greys],
            "default_reflectance": default_reflectance,
            "grows": grow is not None,
            "invented": invented,
            "grown": _grown(key, read_tap(state.get("tap"), kinds), current, grow),
        },
        on_tap_change=_nothing,
        on_regions_change=_nothing,
        on_photo_failed_change=_nothing,
    )
    sent = result.get("regions")
    return current if sent is None else read_marks(sent, kinds, default_reflectance)


def _grown(key: str, tap: Tap | None, marks: Sequence[Mark], grow: Grow | None) -> dict[str, Any] | None:
    """Return the answer to a tap; it is made once, since the box itself is a mark by the next run."""
    if tap is None or grow is None:
        return None
    name = f"{key}-grown"
    kept: dict[str, Any] | None = st.session_state.get(name)
    if kept is None or kept["number"] != tap.number:
        kept = st.session_state[name] = for_browser(tap, grow(tap, marks))
    return kept


def _nothing() -> None:
    """Do nothing: Streamlit keeps a component's state only under names that have a callback."""
