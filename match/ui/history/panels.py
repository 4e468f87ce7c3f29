"""The panels kept of one colour: what each is, the car it belongs to, and its deletion."""

import streamlit as st

from match.blend.panel_record import panel_from
from match.blend.sides import Length
from match.blend.words import panel_line
from match.history.records import PanelRecord
from match.history.store import Store
from match.history.words import day_and_time
from match.ui.kit import say
from match.ui.kit.style import text
from match.ui.store import keep_first, refusal_shown, show_refusal

HOW = "Taken up again on the Blend page, under Kept panels."


def show_panels(history: Store, panels: tuple[PanelRecord, ...]) -> None:
    """Show every panel of a colour, the newest first."""
    if not panels:
        return
    st.header("Panels", anchor=False)
    say.note(HOW)
    show_refusal("panel_delete")
    for panel in reversed(panels):
        with refusal_shown("This panel cannot be shown."):
            _show(history, panel)


def _show(history: Store, panel: PanelRecord) -> None:
    job = history.get_job(str(panel.job)) if panel.job else None
    facts = [panel_line(panel_from(panel.described), Length.MM), job.car or job.plate if job else "", panel.notes]
    told = " · ".join(text(fact) for fact in (*facts, day_and_time(panel.created_at)) if fact)
    with st.container(horizontal=True, vertical_alignment="center", border=True, key=f"panel_{panel.id}"):
        st.html(f'<b>{text(panel.name)}</b><p class="sm-note">{told}</p>', width="stretch")
        st.button(
            "Delete",
            key=f"panel_delete_{panel.id}",
            icon=":material/delete:",
            help="It can be brought back.",
            on_click=keep_first,
            args=("The panel was not deleted.", "panel_delete", history.delete, panel.id),
        )
