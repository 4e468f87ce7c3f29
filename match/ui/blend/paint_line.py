"""The paint line worked with, and the fields in which its technical data sheet is typed once."""

from functools import partial

import streamlit as st

from match.blend.data_sheet import FIGURES, DataSheet
from match.blend.data_sheet_file import forget_sheet, keep_sheet, read_sheets
from match.ui.kit.style import unmarked
from match.ui.store import keep_first, show_refusal

CHOSEN, NAME, PLACE = "blend_paint_line", "blend_sheet_name", "blend_paint_line"
COATS = "blend_coats"
"""The form's field for the coats to cover: a data sheet's own number is put there to be seen."""


def ask_paint_line(usual: dict[str, tuple[float, ...]]) -> DataSheet | None:
    """Ask by which data sheet the job is planned; ``usual`` is what common practice gives for each figure."""
    kept = read_sheets()
    if st.session_state.get(CHOSEN) not in ("", *kept):
        st.session_state[CHOSEN] = ""
    with st.expander("Technical data sheet"):
        chosen = st.selectbox(
            "Figures from",
            ["", *kept],
            format_func=lambda line: unmarked(f"The data sheet of {line}") if line else "Common practice",
            key=CHOSEN,
            persist_state="session",
            on_change=partial(_take_coats, kept),
            help="Flash, reduction, coats and film. A data sheet that you typed wins on page, paper and in the booth.",
        )
        sheet = kept.get(chosen or "")
        _ask_figures(sheet, usual)
    show_refusal(PLACE)
    return sheet


def _ask_figures(sheet: DataSheet | None, usual: dict[str, tuple[float, ...]]) -> None:
    line = sheet.line if sheet else ""
    given = dict(sheet.figures) if sheet else {}
    st.text_input("Paint line", value=line, key=f"{NAME}_{line}")
    for name, figure in FIGURES.items():
        ends = ("from", "to") if figure.ranged else ("",)
        with st.container(horizontal=True):
            for index, end in enumerate(ends):
                values, common = given.get(name), usual[name]
                st.number_input(
                    f"{figure.words}{f', {end}' if end else ''} ({figure.unit})",
                    value=values[index] if values else None,
                    placeholder=f"{common[-1] if index else common[0]:g}",
                    key=_key(line, name, index),
                )
    with st.container(horizontal=True):
        keep = ("The data sheet was not kept.", PLACE, _keep, line)
        st.button("Keep this data sheet", key="blend_keep_sheet", on_click=keep_first, args=keep)
        if line:
            forget = ("The data sheet was not forgotten.", PLACE, forget_sheet, line)
            st.button("Forget it", key="blend_forget_sheet", on_click=keep_first, args=forget)


def _key(line: str, name: str, index: int) -> str:
    return f"blend_sheet_{line}_{name}_{index}"


def _keep(line: str) -> None:
    figures = []
    for name, figure in FIGURES.items():
        typed = [st.session_state.get(_key(line, name, index)) for index in range(1 + figure.ranged)]
        values = tuple(float(each) for each in typed if each is not None)
        if values:
            figures.append((name, values))
    sheet = DataSheet(str(st.session_state.get(f"{NAME}_{line}", "")).strip(), tuple(figures))
    keep_sheet(sheet)
    st.session_state[CHOSEN] = sheet.line
    _take_coats({sheet.line: sheet})


def _take_coats(kept: dict[str, DataSheet]) -> None:
    sheet = kept.get(str(st.session_state.get(CHOSEN)))
    coats = dict(sheet.figures).get("coats") if sheet else None
    if coats:
        st.session_state[COATS] = coats[0]
