"""The blend page: the room around the repair in, the plan and the verdict it leads to out, at every change."""

from pathlib import Path

import streamlit as st

from match.blend.data_sheet import usual_figures
from match.check.verdict import Junction
from match.errors import MatchError
from match.ui import session
from match.ui.blend.answer import answer, calibration, practice
from match.ui.blend.colours import Colours, ask_colours
from match.ui.blend.job import show_job, show_sheet
from match.ui.blend.measured_parts import held_to_parts, show_parts, with_parts
from match.ui.blend.model import show_model
from match.ui.blend.panel import show_panel
from match.ui.blend.result import show_need, show_reaches, show_sides, show_verdict
from match.ui.blend.room import Asked, ask_room
from match.ui.kit import say, style
from match.ui.kit.layout import ANSWER_COLUMNS
from match.words import INVENTED


def page() -> None:
    """Show the page."""
    style.load(Path(__file__).with_name("blend_page.css"))
    st.title("Will this room hide the difference?", anchor=False)
    form, shown = st.columns(ANSWER_COLUMNS, gap="large")
    try:
        with form:
            colours = ask_colours()
            asked = ask_room(
                calibration(),
                colours.pair.middle[0],
                usual_figures(calibration().practice, practice()),
                colours.checked.junction if colours.checked else Junction.PANEL_GAP,
                colours.checked.finish if colours.checked else None,
            )
            asked = with_parts(asked, colours)
        _show(colours, asked, shown)
    except MatchError as error:
        with shown:
            say.notice("This cannot be planned.", error)


def _show(colours: Colours, asked: Asked, shown: st.delta_generator.DeltaGenerator) -> None:
    asked, parts = held_to_parts(colours, asked)
    found = answer(colours, asked, parts)
    with shown:
        say.note(INVENTED if colours.invented else "")
        with st.container():
            show_verdict(found, colours.checked.warnings if colours.checked else ())
        show_parts(found.planned.part_lines)
        show_panel(colours, asked, found.planned.plan.needs_fade)
        show_need(found)
        show_reaches(found, asked.outline_mm)
    # each in a box of its own, so that what follows stays where it is when one of them grows or folds
    with st.container():
        show_sides(found, colours.pair)
    with st.container():
        show_job(found)
    show_sheet(found, colours.invented, session.latest_check() if colours.checked else None)
    show_model(found, colours.pair)
