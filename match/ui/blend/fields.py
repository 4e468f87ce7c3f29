"""Fields for lengths: kept in one unit inside, typed and shown in the person's own, unchanged by switching."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import streamlit as st

from match.blend.sides import LARGEST_MM, MM_PER_INCH, Length
from match.blend.words import M_PER_FOOT
from match.ui.kit.typed import number

_KEPT = "blend_lengths"


@dataclass(frozen=True)
class Scale:
    """How a kind of length is typed: its name, how many kept units one of it is, the step of its arrows, its digits."""

    name: str
    kept_per_unit: float
    step: float
    digits: int

    def shown(self, kept: float) -> float:
        """Return a kept length as it is shown."""
        return round(kept / self.kept_per_unit, self.digits)


PANEL = {Length.MM: Scale("mm", 1.0, 10.0, 0), Length.INCH: Scale("in", MM_PER_INCH, 0.5, 2)}
"""Lengths on the panel, kept in mm."""
VIEW = {Length.MM: Scale("m", 1.0, 0.5, 1), Length.INCH: Scale("ft", M_PER_FOOT, 1.0, 1)}
"""Distances of the eye, kept in m."""


def panel_length(label: str, name: str, start_mm: float, unit: Length, least_mm: float = 0.0, tip: str = "") -> float:
    """Ask for a length on the panel and return it in mm; ``name`` tells it apart and keeps it from page to page."""
    return _field(label, name, start_mm, PANEL[unit], (least_mm, LARGEST_MM), tip)


def view_distance(label: str, name: str, start_m: float, unit: Length, tip: str = "") -> float:
    """Ask how far away the eye is and return it in m."""
    return _field(label, name, start_m, VIEW[unit], (0.2, 20.0), tip)


def _field(label: str, name: str, start: float, scale: Scale, bounds: tuple[float, float], tip: str) -> float:
    kept = float(_all_kept().get(name, start))
    shown = scale.shown(kept)
    low, high = (bound / scale.kept_per_unit for bound in bounds)
    low, high = (low if scale.digits else float(round(low))), max(high, shown)
    key = f"blend_{name}_{scale.name}"
    typed = number(
        f"{label} ({scale.name})",
        max(shown, low),
        low,
        high,
        key=key,
        step=scale.step,
        digits=scale.digits,
        unit=scale.name,
        tip=tip,
        used=shown,
        on_change=_keep,
        args=(name, key, scale.kept_per_unit, low, high),
    )
    return kept if typed == shown else typed * scale.kept_per_unit


def kept_length(name: str) -> float:
    """Return a length as it was typed or put last, kept unit; NaN for one that never was."""
    return float(_all_kept().get(name, math.nan))


def put_lengths(lengths_mm: Mapping[str, float]) -> None:
    """Give fields of lengths on the panel new values, in every unit; before they are drawn."""
    st.session_state[_KEPT] = {**_all_kept(), **lengths_mm}
    for name in lengths_mm:
        for scale in PANEL.values():
            st.session_state.pop(f"blend_{name}_{scale.name}", None)


def _keep(name: str, key: str, kept_per_unit: float, low: float, high: float) -> None:
    typed = st.session_state.get(key)
    if typed is not None and low <= typed <= high:
        st.session_state[_KEPT] = {**_all_kept(), name: float(typed) * kept_per_unit}


def _all_kept() -> dict[str, float]:
    found = st.session_state.get(_KEPT)
    return found if isinstance(found, dict) else {}
