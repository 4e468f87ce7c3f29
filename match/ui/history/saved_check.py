"""One saved check, whole: verdict, colours, photo, what it belongs to, outcomes, correction, deletion."""

import json
from collections.abc import Mapping
from dataclasses import asdict

import numpy as np
import streamlit as st

from match.check.verdict import Junction, Verdict
from match.history.labels import card_label
from match.history.records import CheckRecord, Revision
from match.history.store import Store
from match.history.words import again_words, car_words, day_and_time, figure_lines, named, size_words
from match.ui.history.labels import show_labels
from match.ui.history.near import show_near
from match.ui.history.outcome import ask_outcome, show_outcomes
from match.ui.history.photos import offer_measuring_again, show_photos
from match.ui.history.rows import show_unreadable, verdict_tag
from match.ui.history.save_form import details_form
from match.ui.kit import say
from match.ui.kit.banner import banner
from match.ui.kit.download import download
from match.ui.kit.notices import sentence, steps, table
from match.ui.kit.style import text
from match.ui.kit.swatches import swatches
from match.ui.menu import link_to_check, link_to_colour, link_to_list
from match.ui.store import keep_first, refusal_shown, show_refusal, store

COLUMNS = (1, 1)
_DELETED = "history_deleted"


def deleted_just_now() -> tuple[str, str] | None:
    """Return public id and name of what this visit deleted last, if it was not brought back."""
    found = st.session_state.get(_DELETED)
    return found if isinstance(found, tuple) else None


def forget_deleted() -> None:
    """Forget the last deletion: it was undone."""
    st.session_state.pop(_DELETED, None)


def show_check(check_id: str) -> None:
    """Show one check; raises :class:`match.errors.StoreError` when there is none of this id."""
    link_to_list()
    history = store()
    check = history.get_check(check_id)
    st.title(f"Check of {day_and_time(check.created_at)}", anchor=False)
    say.lead(_belongs(check))
    _say_state(history, check)
    left, right = st.columns(COLUMNS, gap="large")
    with left:
        _show_verdict(check)
        _show_figures(check)
        if check.deleted_at is None:
            _show_work(history, check)
    with right:
        if check.card_lab and check.vehicle_lab:
            st.html(swatches(np.array(check.card_lab), np.array(check.vehicle_lab)))
        show_photos(history, check)


def _belongs(check: CheckRecord) -> str:
    return " · ".join(part for part in (named(check.colour_name, check.code), car_words(check), check.note) if part)


def _say_state(history: Store, check: CheckRecord) -> None:
    if check.deleted_at is not None:
        st.html('<p class="sm-meaning" role="status"><b>This check is deleted.</b></p>')
        if st.button("Bring back", key="check_undelete", icon=":material/undo:"):
            with refusal_shown("It could not be brought back."):
                history.undelete(check.id)
                forget_deleted()
                st.rerun()
    if check.corrects:
        link_to_check(check.corrects, "It corrects an earlier check")
    if check.corrected_by:
        link_to_check(check.corrected_by, "A later check corrects it")


def _show_verdict(check: CheckRecord) -> None:
    reason = str(check.result.get("reason", ""))
    if check.verdict in {each.value for each in Verdict}:
        st.html(banner(Verdict(check.verdict), reason, sure=str(check.result.get("sure", ""))))
    else:
        st.html(f'{verdict_tag(check.verdict)}<p class="sm-reason">{text(sentence(reason))}</p>')


def _show_figures(check: CheckRecord) -> None:
    rows = [("Difference, CIEDE2000", size_words(check))]
    for name, lab in (("Card L*, a*, b*", check.card_lab), ("Car L*, a*, b*", check.vehicle_lab)):
        rows += [(name, ", ".join(f"{value:.1f}" for value in lab))] if lab else []
    settings = check.settings if isinstance(check.settings, Mapping) else {}
    rows += [(name.capitalize(), _spoken(value)) for name, value in settings.items() if not isinstance(value, Mapping)]
    rows += [("Method, tolerances", f"{check.method_version}, {check.tolerances_version} ({check.tolerances_hash})")]
    with st.expander("Figures and reasons"):
        st.html(steps(figure_lines(check)) + table(("Figure", "Value"), rows))
    whole = json.dumps(asdict(check), default=lambda value: value.isoformat(), indent=2, ensure_ascii=False)
    download("Save it as a file (JSON)", whole, f"check-{check.id[:8]}.json", key="check_json")


def _spoken(value: object) -> str:
    """Return a setting in words: a junction is kept as panel-gap, and said as panel gap."""
    known = isinstance(value, str) and value in set(Junction)
    return str(value).replace("-", " ") if known else str(value)


def _show_work(history: Store, check: CheckRecord) -> None:
    with st.container(horizontal=True, vertical_alignment="center"):
        if check.colour:
            link_to_colour(check.colour, "Its colour")
        offer_measuring_again(history, check, "check_again")
        if st.button("Delete", key="check_delete", icon=":material/delete:", help="It can be brought back."):
            history.delete(check.id)
            st.session_state[_DELETED] = (check.id, f"the check of {day_and_time(check.created_at)}")
            st.query_params.clear()
            st.rerun()
    _show_card(history, check)
    with st.expander("Colour, car, card"), refusal_shown("That could not be kept."):
        details_form(history, check, f"history_{check.id}")
        _ask_note(history, check)
    _show_earlier(history, check)
    show_refusal("check_earlier")
    with st.expander("How it turned out after delivery"), refusal_shown("The outcome could not be kept."):
        show_outcomes(list(history.outcomes_of(check.id)))
        show_unreadable(history.unreadable_outcomes(check.id))
        ask_outcome(history, [check], f"history_{check.id}")
    if check.vehicle_lab:
        with st.expander("Colours like this one"):
            show_near(history, check.vehicle_lab, "this car", check.colour or check.id)


def _show_card(history: Store, check: CheckRecord) -> None:
    """Show what became of the check's card since it was first checked, and offer its label."""
    if check.card is None or check.colour is None:
        return
    with refusal_shown("Its card cannot be shown."):
        again = history.checked_again(check.card)
        if again:
            say.meaning(again_words(again))
        colour, card = history.get_colour(check.colour), history.get_card(check.card)
        show_labels(lambda desk: (card_label(colour, card, check, desk),), check.id)


def _show_earlier(history: Store, check: CheckRecord) -> None:
    """Offer each earlier note of the check, and what it belonged to, to be brought back."""
    edits = [each for each in history.revisions(check.id) if each.change == "edit"]
    if not edits:
        return
    with st.expander("What it said before"), refusal_shown("It cannot be shown."):
        st.caption("Its note, and the colour, car and card it belonged to. The measurement never changes.")
        for number, earlier in reversed(list(enumerate(edits))):
            with st.container(horizontal=True, vertical_alignment="center"):
                st.html(f"<p>{text(_earlier_words(history, earlier))}</p>")
                st.button(
                    "Bring this back",
                    key=f"check_earlier_{number}",
                    icon=":material/undo:",
                    on_click=keep_first,
                    args=("It was not brought back.", "check_earlier", _bring_back, history, earlier),
                )


def _earlier_words(history: Store, earlier: Revision) -> str:
    until, before = f"Until {day_and_time(earlier.at)}", earlier.before
    colour = history.get_colour(before["colour"]) if before.get("colour") else None
    job = history.get_job(before["job"]) if before.get("job") else None
    known = (
        named(colour.name, colour.code) if colour else "no colour",
        ", ".join(filter(None, (job.car, job.plate))) if job else "no car",
        before.get("note") or "no note",
    )
    return f"{until}: {' · '.join(known)}"


def _bring_back(history: Store, earlier: Revision) -> None:
    history.bring_back(earlier)
    for key in list(st.session_state):  # the forms are filled anew with what it says now
        if str(key).startswith((f"note_{earlier.record}", f"history_{earlier.record}")):
            del st.session_state[key]
    st.toast("Brought back.")


def _ask_note(history: Store, check: CheckRecord) -> None:
    with st.form("check_note_form", border=False, enter_to_submit=False):
        st.text_input("Note on this check", check.note, key=f"note_{check.id}")
        st.form_submit_button(
            "Keep the note",
            on_click=keep_first,
            args=("The note was not kept.", "check_note", _keep_note, history, check.id),
        )
    show_refusal("check_note")


def _keep_note(history: Store, check_id: str) -> None:
    history.edit_check(check_id, note=st.session_state[f"note_{check_id}"])
    st.toast("Kept.")
