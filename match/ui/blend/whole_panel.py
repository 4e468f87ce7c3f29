"""The panel described once: its shape and size, where the repair sits, and what lies on all four sides."""

from __future__ import annotations

import streamlit as st

from match import calibration
from match.blend.panel_shape import PanelFile, PanelShape, Placed, middle_of
from match.blend.sides import Length
from match.ui.blend.fields import panel_length
from match.ui.kit.style import unmarked
from match.words import capital

BY_HAND = ""
"""The choice of four rooms typed one by one."""
LEAST_MM = 50.0


@st.cache_resource(show_spinner=False)
def panels() -> PanelFile:
    """Return the shipped outlines, or the shop's own, read once."""
    return calibration.load(PanelFile, "panels")


def ask_shape() -> str:
    """Ask for the panel's shape and return its name, empty where the rooms are typed by hand."""
    shapes = panels().panels
    chosen = st.selectbox(
        "Panel",
        [BY_HAND, *shapes],
        format_func=lambda name: unmarked(capital(shapes[name].words)) if name else "Room by hand",
        key="blend_panel",
        persist_state="session",
        help="With a shape all four sides are measured from where the repair sits on it.",
    )
    return chosen or BY_HAND


def ask_place(name: str, shape: PanelShape, repair_mm: tuple[float, float], unit: Length) -> Placed:
    """Ask for the panel's size and the repair's place on it; raises :class:`PlanError` for one that does not fit."""
    with st.container(horizontal=True):
        width = panel_length("Panel's width", f"panel_width_{name}", shape.width, unit, LEAST_MM)
        height = panel_length("Its height", f"panel_height_{name}", shape.height, unit, LEAST_MM)
    size = width, height
    left, top = _start(shape, size, repair_mm)
    free = max(width - repair_mm[0], 1.0), max(height - repair_mm[1], 1.0)
    tip = "0 puts the repair at the panel's left or upper edge, 100 at the other."
    with st.container(horizontal=True):
        across = _slider("Repair across (%)", f"across_{name}", 100.0 * left / free[0], tip)
        down = _slider("Repair down (%)", f"down_{name}", 100.0 * top / free[1], tip)
    return Placed(shape.outline_mm(size), across / 100.0 * free[0], down / 100.0 * free[1], *repair_mm)


@st.cache_data(max_entries=64, show_spinner=False)
def _start(shape: PanelShape, size_mm: tuple[float, float], repair_mm: tuple[float, float]) -> tuple[float, float]:
    return middle_of(shape, size_mm, repair_mm)


def _slider(label: str, name: str, start: float, tip: str) -> float:
    key = f"blend_panel_{name}"
    return float(st.slider(label, 0, 100, round(start), key=key, persist_state="session", help=tip))
