"""The region marker alone, on an invented picture, with what Python received printed below it."""

import json

import numpy as np
import streamlit as st

from match.photo.proposals.tap import Doubt, GrownBox
from match.ui.kit.picture_url import encoded
from match.ui.marker.region_marker import region_marker

WIDTH, HEIGHT = 4000, 3000
GREYS = [("18 % card", 0.18), ("<img src=x onerror=document.title='broken'>", 0.9)]


def grow(tap, others):
    """Return a box of a fixed size, unsure at the right of the picture, and none at its foot."""
    if tap.y > 0.9:
        return None
    return GrownBox(tap.x - 0.03, tap.y - 0.03, 0.06, 0.06, (Doubt.GLARE,) if tap.x > 0.7 else ())


@st.cache_resource
def picture() -> bytes:
    rows, columns = np.mgrid[0 : HEIGHT // 4, 0 : WIDTH // 4]
    colours = np.stack([columns * 255 // 1000, rows * 255 // 750, np.full_like(rows, 90)], axis=-1)
    return encoded(colours.astype(np.uint8))


turn = st.session_state.setdefault("turn", 0)
marks = region_marker(picture(), [], f"marker-{turn}", photo_size_px=(WIDTH, HEIGHT), greys=GREYS, grow=grow)
st.text(json.dumps([mark.as_dict() for mark in marks]))
if st.button("Start again"):
    st.session_state["turn"] = turn + 1
    st.rerun()
