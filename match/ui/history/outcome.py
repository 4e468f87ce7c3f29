"""How a check turned out after delivery: asked, kept, and told again."""

import streamlit as st

from match.check.verdict import Junction, Verdict
from match.errors import MatchError
from match.history.records import Answer, CheckRow, NewOutcome, OutcomeRecord
from match.history.store import Store
from match.history.words import day_and_time, size_words, told_apart
from match.ui.kit import say
from match.ui.kit.notices import bullets
from match.ui.store import keep_first, show_refusal

ANSWERS: dict[Answer, str] = {"yes": "Yes", "no": "No", "unsure": "Not sure"}
_FIELDS = ("check", "done", "hidden", "back", "from", "junction", "day", "notes")
SEEN_FROM = ("arm's length", "two metres", "five metres", "across the yard", "only after a hint")
DEEDS = {Verdict.GO: "Painted straight", Verdict.BLEND: "Blended", Verdict.RETINT: "Retinted first"}


def ask_outcome(store: Store, checks: list[CheckRow], key: str) -> None:
    """Ask how one of these checks turned out, the newest measured one first, and keep the answer when pressed."""
    offered = [check for check in reversed(checks) if check.corrected_by is None and check.verdict != Verdict.RETAKE]
    if not offered:
        say.note("An outcome belongs to a check with a verdict; there is none yet.")
        return
    turn = st.session_state.get(f"{key}_outcomes_kept", 0)  # a new name after each outcome kept empties the form
    place, key = key, f"{key}-{turn}"
    with st.form(f"{key}_outcome", border=False, enter_to_submit=False):
        title = told_apart(offered, _named)
        st.selectbox("The check that was acted on", offered, format_func=title, key=f"{key}_check")
        # required: a tap on what is chosen already would otherwise take the choice away
        st.segmented_control(
            "What was done",
            list(DEEDS),
            format_func=DEEDS.__getitem__,
            key=f"{key}_done",
            default=_said(offered[0]),
            required=True,
        )
        st.segmented_control(
            "Did the difference hide?",
            list(ANSWERS),
            format_func=ANSWERS.__getitem__,
            key=f"{key}_hidden",
            required=True,
        )
        st.segmented_control(
            "Did the car come back for it?",
            list(ANSWERS),
            format_func=ANSWERS.__getitem__,
            key=f"{key}_back",
            default="unsure",
            required=True,
        )
        left, right = st.columns(2)
        left.selectbox("Looked at from", SEEN_FROM, index=None, key=f"{key}_from", accept_new_options=True)
        right.selectbox(
            "Where the paints meet",
            [junction.value.replace("-", " ") for junction in Junction],
            index=None,
            key=f"{key}_junction",
            accept_new_options=True,
        )
        left.date_input("Looked at on", None, key=f"{key}_day", format="YYYY-MM-DD")
        right.text_input("Notes", key=f"{key}_notes")
        st.form_submit_button(
            "Keep this outcome",
            type="primary",
            on_click=keep_first,
            args=("The outcome was not kept.", place, _keep, store, place, turn),
        )
    show_refusal(place)


def _keep(store: Store, place: str, turn: int) -> None:
    typed = {field: st.session_state[f"{place}-{turn}_{field}"] for field in _FIELDS}
    if typed["hidden"] is None:
        raise MatchError("say whether the difference hid: that is what teaches.")
    store.add_outcome(
        NewOutcome(
            check=typed["check"].id,
            hidden=typed["hidden"],
            came_back=typed["back"] or "unsure",
            verdict_followed=typed["done"].value if typed["done"] else "",
            junction=typed["junction"] or "",
            seen_from=typed["from"] or "",
            day=typed["day"],
            notes=typed["notes"],
        )
    )
    st.session_state[f"{place}_outcomes_kept"] = turn + 1
    st.toast("Outcome kept.")


def _said(check: CheckRow) -> Verdict | None:
    return next((deed for deed in DEEDS if deed.value == check.verdict), None)


def _named(check: CheckRow) -> str:
    return f"{day_and_time(check.created_at)}, {check.verdict}, {size_words(check)}"


def outcome_words(outcome: OutcomeRecord) -> str:
    """Return an outcome in one sentence."""
    did = {deed.value: words for deed, words in DEEDS.items()}.get(outcome.verdict_followed, "")
    hid = {"yes": "it hid", "no": "it was seen", "unsure": "not sure whether it hid"}[outcome.hidden]
    back = {"yes": "the car came back for it", "no": "the car did not come back", "unsure": ""}[outcome.came_back]
    seen = f"looked at from {outcome.seen_from}" if outcome.seen_from else ""
    met = f"paints met at: {outcome.junction}" if outcome.junction else ""
    day = outcome.day.isoformat() if outcome.day else day_and_time(outcome.created_at)
    return "; ".join(
        part for part in (f"{day}: {did or 'what was done is not noted'}", hid, back, seen, met, outcome.notes) if part
    )


def show_outcomes(outcomes: list[OutcomeRecord]) -> None:
    """Show outcomes as a list."""
    if outcomes:
        st.html(bullets("sm-lines", (f"{outcome_words(outcome)}." for outcome in outcomes)))
