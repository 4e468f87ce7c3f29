"""The region marker alone, on an invented picture, with what Python received printed below it."""

import json

import numpy as np
import streamlit as st

from match.ui.marker.region_marker import region_marker

WIDTH, HEIGHT = 4000, 3000
GREYS = [("18 % card", 0.18), ("<img src=x onerror=document.title='broken'>", 0.9)]

rows, columns = np.mgrid[0 : HEIGHT // 4, 0 : WIDTH // 4]
picture = np.stack([columns * 255 // 1000, rows * 255 // 750, np.full_like(rows, 90)], axis=-1).astype(np.uint8)
turn = st.session_state.setdefault("turn", 0)
marks = region_marker(picture, [], f"marker-{turn}", photo_size_px=(WIDTH, HEIGHT), greys=GREYS)
st.code(json.dumps([mark.as_dict() for mark in marks]))
if st.button("Start again"):
    st.session_state["turn"] = turn + 1
    st.rerun()
