"""The panel described once: its shape and size, the repairs on it, and where each of them sits."""

import math

import streamlit as st

from match import calibration
from match.blend.panel import Panel
from match.blend.panel_shape import PanelFile, PanelShape, place_for
from match.blend.sides import MOST_REPAIRS, Length, Spot
from match.ui.blend.fields import kept_length, panel_length
from match.ui.kit.choice import one_from_list
from match.ui.kit.style import unmarked
from match.ui.kit.typed import number
from match.words import capital

BY_HAND = ""
"""The choice of four rooms typed one by one."""
LEAST_MM = 50.0
START_REPAIR_MM = 200.0
"""What the form opens with: an invented, ordinary repair."""


@st.cache_resource(show_spinner=False)
def panels() -> PanelFile:
    """Return the shipped outlines, or the shop's own, read once."""
    return calibration.load(PanelFile, "panels")


def ask_shape() -> str:
    """Ask for the panel's shape and return its name, empty where the rooms are typed by hand."""
    shapes = panels().panels
    return one_from_list(
        "Panel",
        (BY_HAND, *shapes),
        BY_HAND,
        "blend_panel",
        lambda name: unmarked(capital(shapes[name].words)) if name else "Room by hand",
        tip="With a shape all four sides are measured from where the repair sits on it.",
    )


def ask_panel_size(name: str, unit: Length) -> tuple[float, float]:
    """Ask for the panel's width and height; return them in mm."""
    shape = panels().shape(name)
    with st.container(horizontal=True):
        width = panel_length("Panel's width", f"panel_width_{name}", shape.width, unit, LEAST_MM)
        height = panel_length("Its height", f"panel_height_{name}", shape.height, unit, LEAST_MM)
    return width, height


def ask_repair_size(which_one: int, unit: Length) -> tuple[float, float]:
    """Ask for the size of a repair and return it in mm; ``which_one`` tells several on one panel apart."""
    which = _which(which_one)
    tip = "What must be fully covered: primer, filler, bared metal."
    with st.container(horizontal=True):
        width = panel_length("Repair's width", f"repair_width{which}", START_REPAIR_MM, unit, 1.0, tip)
        height = panel_length("Height", f"repair_height{which}", START_REPAIR_MM, unit, 1.0, tip)
    return width, height


def put_panel(panel: Panel) -> dict[str, float]:
    """Fill the fields of a panel before they are drawn, and return the lengths to be filled besides."""
    st.session_state["blend_panel"], st.session_state["blend_repairs"] = panel.shape, len(panel.spots)
    lengths = {f"panel_width_{panel.shape}": panel.width_mm, f"panel_height_{panel.shape}": panel.height_mm}
    for which_one, spot in enumerate(panel.spots, start=1):
        which, place = _which(which_one), panel.shape + _which(which_one)
        lengths |= {f"repair_width{which}": spot.width_mm, f"repair_height{which}": spot.height_mm}
        lengths |= {f"place_left_{place}": spot.left_mm, f"place_top_{place}": spot.top_mm}
    return lengths


def _which(which_one: int) -> str:
    return "" if which_one == 1 else f"_{which_one}"


def ask_spots(name: str, size_mm: tuple[float, float], unit: Length) -> tuple[Spot, ...]:
    """Ask how many repairs the panel has, and of each its size and place; raises :class:`PlanError` for none."""
    count = int(number("Repairs on it", 1, 1, MOST_REPAIRS, key="blend_repairs", step=1))
    spots: list[Spot] = []
    for each in range(1, count + 1):
        with st.container(border=count > 1, key=f"blend_repair_{each}"):
            if count > 1:
                st.html(f'<p class="sm-title sm-side">Repair {each}</p>')
            repair = ask_repair_size(each, unit)
            left_name, top_name = f"place_left_{name}{_which(each)}", f"place_top_{name}{_which(each)}"
            start = Spot(kept_length(left_name), kept_length(top_name), *repair)
            if math.isnan(start.left_mm + start.top_mm):  # looked for only where it was never placed
                start = _start(panels().shape(name), size_mm, repair, tuple(spots))
            with st.container(horizontal=True):
                left = panel_length("From the left", left_name, start.left_mm, unit)
                top = panel_length("From the top", top_name, start.top_mm, unit)
            spots.append(Spot(left, top, *repair))
    return tuple(spots)


@st.cache_data(max_entries=64, show_spinner=False)
def _start(
    shape: PanelShape, size_mm: tuple[float, float], repair_mm: tuple[float, float], others: tuple[Spot, ...]
) -> Spot:
    return place_for(shape, size_mm, repair_mm, others)
