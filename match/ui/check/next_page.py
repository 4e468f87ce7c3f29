"""From a verdict to the page that goes on with it; the check on the bench comes along."""

import streamlit as st

from match.check.result import CheckResult
from match.check.verdict import Finish, Verdict
from match.ui.menu import menu_page

_PLANNED = {
    Verdict.GO: "Plan the job for your room",
    Verdict.BLEND: "Plan the blend for your room",
    Verdict.RETINT: "What your room would hide",
}
"""What the planner is asked after each verdict."""


def link_to_next(result: CheckResult) -> bool:
    """Show links to the planner, and after *retint* first to the toners; a retake leads nowhere but to a new photo.

    Return whether what to do next stands on such a page in full.
    """
    if result.verdict is Verdict.RETAKE:
        return False
    is_tinted = result.verdict is Verdict.RETINT and result.settings.finish is Finish.SOLID
    with st.container(horizontal=True, key="next_page"):
        if is_tinted:
            st.page_link(menu_page("Tint"), label="Which toner, and how much", icon=":material/colorize:")
        st.page_link(menu_page("Blend"), label=_PLANNED[result.verdict], icon=":material/blur_linear:")
    return is_tinted or result.verdict is Verdict.BLEND
