"""The panel as it would look: a hard edge beside the planned fade, as PNG, since JPEG would draw edges of its own."""

import io

import numpy as np
import streamlit as st
from PIL import Image

from match.blend.data_sheet import DataSheet
from match.blend.paint import Paint
from match.blend.picture import panel_picture
from match.blend.sides import Repair
from match.blend.viewing import ColourPair, Viewing
from match.ui.blend.answer import contents, planned
from match.ui.blend.colours import Colours
from match.ui.blend.room import Asked
from match.ui.kit import say

EXAGGERATION = 3.0
WIDTH_PX, HEIGHT_PX = 620, 400
"""The largest picture: as wide as its column on a desktop, where it is shown pixel by pixel, as dithering needs."""
BESIDE_PX = 300
TALL = 0.55
"""Height over width from which the two pictures stand side by side, each at most ``BESIDE_PX`` wide."""


def show_panel(colours: Colours, asked: Asked, fades: bool) -> None:
    """Show both pictures on mid-grey with the switch that exaggerates; ``fades`` says whether any side is faded."""
    st.header("How it would look", anchor=False)
    tripled = st.toggle("Difference x3", key="blend_exaggerate", persist_state="session", help=_SWITCH_HELP)
    hard, faded, shape = _pictures(
        colours.pairs,
        asked.repairs,
        asked.viewing,
        asked.coats_to_cover,
        asked.paint,
        asked.sheet,
        EXAGGERATION if tripled else 1.0,
    )
    views = (("With a hard edge", hard), ("Faded as planned" if fades else "As planned: no fade", faded))
    with st.container(key="blend_stage"):
        if tripled:
            st.html('<span class="sm-exaggerated">Exaggerated: 3 times the true difference</span>')
        beside = shape[0] > TALL * shape[1]
        with st.container(horizontal=beside):
            places = st.container(), st.container()
        for place, (words, png) in zip(places, views, strict=True):
            with place:
                st.html(f'<p class="sm-view">{words}</p>')
                st.image(png, alt=f"The panel from in front. {words}.", width="content", output_format="PNG")
    say.note(_NOTE_EXAGGERATED if tripled else _NOTE_TRUE)


_SWITCH_HELP = (
    "Shows three times the true difference. It only helps to see where the fade runs; the plan stays the same."
)
_NOTE_TRUE = "A screen hardly shows one unit of difference: judge the sprayed card."
_NOTE_EXAGGERATED = "To scale, but not the true colours: switch the exaggeration off to see the real difference."


@st.cache_data(max_entries=48, show_spinner=False, hash_funcs={ColourPair: contents})
def _pictures(
    pairs: tuple[ColourPair, ...],
    repairs: tuple[Repair, ...],
    viewing: Viewing,
    coats_to_cover: float | None,
    paint: Paint,
    sheet: DataSheet | None,
    exaggeration: float,
) -> tuple[bytes, bytes, tuple[int, int]]:
    """Return both pictures as PNG, and their height and width in pixels."""
    plan = planned(pairs, repairs, viewing, coats_to_cover, paint, sheet).plan
    pair = pairs[0]
    small = panel_picture(plan, pair, width_px=60).faded.shape
    most = BESIDE_PX if small[0] > TALL * small[1] else WIDTH_PX
    width = int(np.clip(HEIGHT_PX * small[1] / small[0], 90, most))
    picture = panel_picture(plan, pair, width, exaggeration)
    height, width = picture.faded.shape[:2]
    return _png(picture.hard_edge), _png(picture.faded), (height, width)


def _png(pixels: np.ndarray) -> bytes:
    written = io.BytesIO()
    Image.fromarray(pixels).save(written, "PNG", compress_level=3)
    return written.getvalue()
