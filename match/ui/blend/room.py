"""The form for the repair, the room on each side of it, and who looks at the result."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import streamlit as st

from match.blend.data_sheet import DataSheet
from match.blend.paint import MOST_MID_COATS, Paint
from match.blend.panel import Panel
from match.blend.room import BlendCalibration
from match.blend.sides import Direction, Length, Repair, Side
from match.blend.undercoat import over_undercoats, usual_coats
from match.blend.undercoat_words import undercoat_rows
from match.blend.viewing import Viewing
from match.blend.words import length
from match.check.verdict import Finish, Junction
from match.colorimetry import Array
from match.errors import PlanError
from match.ui.blend.around import ask_around, ask_sides
from match.ui.blend.fields import view_distance
from match.ui.blend.kept_panels import show_kept_panels
from match.ui.blend.paint_line import ask_paint_line
from match.ui.blend.panel_board import show_board
from match.ui.blend.whole_panel import ask_panel_size, ask_repair_size, ask_shape, ask_spots, panels
from match.ui.kit.choice import one_from_list, one_of
from match.ui.kit.notices import table
from match.ui.kit.style import unmarked
from match.ui.kit.typed import number, number_or_none
from match.words import capital

START_MID_COATS = 3
NOT_KNOWN = ""
MOST_COATS = 6.0
"""Beyond these a fade is no way any more; the page of coats offers no more to it either."""


@dataclass(frozen=True)
class Asked:
    """Everything the form holds; not yet checked for sense."""

    repairs: tuple[Repair, ...]
    viewing: Viewing
    unit: Length
    coats_to_cover: float | None
    junction: Junction
    paint: Paint
    sheet: DataSheet | None = None
    panel: Panel | None = None

    @property
    def outline_mm(self) -> Array | None:
        """The panel's own outline, where one is described."""
        return self.panel.outline_mm(panels().shape(self.panel.shape)) if self.panel else None


def ask_room(
    calibration: BlendCalibration,
    card_lab: Array,
    usual: dict[str, tuple[float, ...]],
    junction: Junction,
    finish: Finish | None,
) -> Asked:
    """Show the form and return what it holds; ``junction`` and ``finish`` are what the check was asked for.

    ``card_lab`` (3,) is the colour to be sprayed; ``usual`` is what common practice gives for a data sheet's figures.
    """
    with st.container(horizontal=True, vertical_alignment="bottom", horizontal_alignment="distribute"):
        name = ask_shape()
        unit = one_of("Lengths in", Length, Length.MM, "blend_unit")
    panel, others = None, junction
    if name:
        board = st.container(key="blend_board_place")
        size = ask_panel_size(name, unit)
        panel = Panel(name, *size, ask_spots(name, size, unit))
        with board:
            show_board(panel, unit)
        panel = replace(panel, around=ask_around(panel, unit))
        repairs = panel.repairs(panels().shape(name))
    else:
        sides = ask_sides(unit)
        others = _ask_others(calibration, junction) if len(sides) < len(Direction) else junction
        repairs = (Repair(*ask_repair_size(1, unit), sides),)
    show_kept_panels(panel)
    coats, undercoat = _ask_cover(calibration, card_lab)
    paint = replace(_ask_paint(finish), undercoat=undercoat)
    sheet = ask_paint_line(usual)
    return Asked(repairs, _ask_viewing(calibration, unit), unit, coats, others, paint, sheet, panel)


def _ask_paint(finish: Finish | None) -> Paint:
    """Ask for the kind of paint; a check's finish is what it opens with."""
    usual = finish or Finish.SOLID
    chosen = one_of("Paint", Finish, usual, f"blend_finish_{usual.value}", str.capitalize)
    if not st.checkbox(
        "Three-stage", key="blend_three_stage", persist_state="session", help="Mid-coats over a ground."
    ):
        return Paint(chosen)
    label = "Mid-coats, by your let-down card"
    mid = number(label, START_MID_COATS, 1, MOST_MID_COATS, key="blend_mid_coats", step=1)
    return Paint(chosen, int(mid))


def _ask_others(calibration: BlendCalibration, junction: Junction) -> Junction:
    labels = calibration.tolerances.junctions
    return one_from_list(
        "Sides not described count as",
        Junction,
        junction,
        f"blend_junction_{junction.value}",
        lambda each: capital(labels[each.value].label),
        tip="Where the new paint meets the old on the sides that are not given above.",
    )


def check_lines(sides: Sequence[Side], unit: Length) -> None:
    """Raise :class:`PlanError`, in the person's unit, for a body line that does not lie inside its room."""
    for side in sides:
        for at_mm in side.lines_mm:
            if at_mm >= side.room_mm:
                raise PlanError(
                    f"the body line {side.name} is {length(at_mm, unit)} from the repair, but the room there ends "
                    f"at {length(side.room_mm, unit)}: correct one of them"
                )


def _ask_cover(calibration: BlendCalibration, card_lab: Array) -> tuple[float | None, str | None]:
    cover, hiding = calibration.practice.cover, calibration.practice.hiding
    usual = usual_coats(card_lab, cover, hiding)
    with st.expander("Coats and undercoat"):
        coats = number_or_none(
            "Coats until the primer no longer shows",
            f"by colour: {usual:g} over a chart",
            1.0,
            MOST_COATS,
            key="blend_coats",
            step=0.5,
            digits=1,
            unit="coats",
            tip="Find yours over a black and white hiding checker. More coats to cover make a wider fade.",
        )
        undercoat = one_from_list(
            "Undercoat",
            (NOT_KNOWN, *cover.undercoats),
            NOT_KNOWN,
            "blend_undercoat",
            lambda name: capital(cover.undercoats[name].words) if name else "Not known",
            tip="Used where no number of coats is typed.",
        )
        rows = undercoat_rows(over_undercoats(card_lab, usual, cover, hiding))
        head = ("Undercoat", "Hidden by", f"Left after {usual:g} coats")
        st.html(table(head, rows))
    return coats, undercoat or None


def _ask_viewing(calibration: BlendCalibration, unit: Length) -> Viewing:
    ways, start = calibration.judging.strictness, calibration.judging.viewing
    with st.expander("Who looks, and how"):
        names = {name: unmarked(capital(way.words)) for name, way in ways.items()}
        judge = one_of("Who looks", names, calibration.judging.usual, "blend_judge", names.__getitem__)
        tip = "The furthest decides: stepping back narrows a fade in the eye and makes its lightness easier to see."
        with st.container(horizontal=True):
            nearest = view_distance("Nearest", "nearest", min(start.distances), unit)
            furthest = view_distance("Furthest", "furthest", max(start.distances), unit, tip)
        light = number(
            "Light (lux)",
            start.light,
            1.0,
            200_000.0,
            key="blend_lux",
            step=100.0,
            unit="lux",
            tip="About 300 in a dim garage, 1000 in a bright shop, 10 000 outdoors in the shade, 100 000 in the sun.",
        )
    return calibration.viewing(judge, light, *sorted({nearest, furthest}))
