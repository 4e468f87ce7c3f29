"""Kept panels on the blend page: keep the one described with the car's colour, or take up one kept earlier."""

import streamlit as st

from match.blend.panel import Panel
from match.blend.panel_record import panel_as_record, panel_from
from match.history.from_check import known_or_new_job
from match.history.records import NewPanel, PanelRecord
from match.history.words import colour_title, unreadable_line
from match.ui.blend.around import put_around
from match.ui.blend.fields import put_lengths
from match.ui.blend.whole_panel import put_panel
from match.ui.kit import say
from match.ui.kit.notices import notices
from match.ui.kit.style import unmarked
from match.ui.record_choice import ask_colour, chosen_colour, one_record
from match.ui.store import keep_first, refusal_shown, show_refusal, store

MOST_PANELS = 50
_COLOUR, _NEW_COLOUR = "blend_panel_colour", "blend_panel_new_colour"
_KEPT = "blend_panel_kept"


def show_kept_panels(panel: Panel | None) -> None:
    """Show the folded part; the history is opened only where it is asked for."""
    with st.expander("Kept panels"):
        if not st.toggle("Open the history here", key="blend_history_on", persist_state="session"):
            return
        show_refusal("blend_panel_keep")
        with refusal_shown("The history could not do that."):
            _ask_take()
            if panel is not None:
                _ask_keep(panel)


def _ask_take() -> None:
    kept, broken = store().newest_panels(MOST_PANELS)
    placeholder = "Choose a panel" if kept else "No panel is kept yet"
    chosen = one_record("A panel kept earlier", kept, _title, "blend_panel_taken", placeholder)
    if broken:
        st.html(notices([(unreadable_line(each), "") for each in broken]))
    if chosen is None:
        return
    st.button(
        "Take this panel",
        key="blend_panel_take",
        width="stretch",
        on_click=keep_first,
        args=("This panel cannot be taken.", "blend_panel_keep", _take, chosen.id),
    )


def _take(panel_id: str) -> None:
    panel = panel_from(store().get_panel(panel_id).described)
    put_lengths({**put_around(panel), **put_panel(panel)})


def _title(panel: PanelRecord) -> str:
    return unmarked(f"{panel.name}, {colour_title(store().get_colour(str(panel.colour)))}")


def _ask_keep(panel: Panel) -> None:
    st.text_input("A name for this panel", key="blend_panel_name", placeholder="front door")
    ask_colour("Its colour", _COLOUR, _NEW_COLOUR)
    st.text_input("Its car", key="blend_panel_car", placeholder="may be left out")
    st.button(
        "Keep this panel",
        key="blend_panel_keep",
        icon=":material/save:",
        width="stretch",
        on_click=keep_first,
        args=("The panel was not kept.", "blend_panel_keep", _keep, panel),
    )
    if name := st.session_state.pop(_KEPT, ""):
        say.note(f"Kept: {name}.", is_news=True)


def _keep(panel: Panel) -> None:
    car = _typed("blend_panel_car")
    job = known_or_new_job(store(), car) if car else None
    new = NewPanel(
        colour=chosen_colour(_COLOUR, _NEW_COLOUR),
        job=job,
        name=_typed("blend_panel_name"),
        described=panel_as_record(panel),
    )
    st.session_state[_KEPT] = store().add_panel(new).name


def _typed(key: str) -> str:
    return str(st.session_state.get(key) or "").strip()
