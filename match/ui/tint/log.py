"""The loop of the tint page: log what was added, take the next card, leave a card out, save and load the pot."""

import json

import streamlit as st

from match.demo.pot import is_demo, next_card
from match.tint.answer import Action
from match.tint.card import CheckedCard
from match.tint.pour import NextMix
from match.tint.shelf_file import Shelf
from match.tint.story import Story, car_warning, is_card
from match.tint.story_words import added_words, card_words, cards_of
from match.tint.what_next import Answer
from match.ui import menu
from match.ui.kit import say
from match.ui.kit.download import download
from match.ui.kit.notices import folded, table
from match.ui.kit.style import text, unmarked
from match.ui.store import refusal_shown
from match.ui.tint import state

NO_OTHER = "No other"


def show_waiting(story: Story, shelf: Shelf, latest: CheckedCard | None) -> None:
    """Say that a card is awaited, and take it from the last check of the visit."""
    st.html(
        '<div class="tint-advice" data-action="spray" role="status"><p class="word">Now spray a card from the pot.</p>'
        f"</div><p class='sm-meaning'>Added: {text(added_words(story.steps[-1]))}. Photograph the card beside the car, "
        "check it on the Check page, and come back here.</p>"
    )
    fresh = _fresh(story, latest)
    if fresh is not None:
        _warn_of_car(story, fresh)
        if st.button(
            f"I sprayed the next card: use the check of {unmarked(fresh.name)}",
            key="tint_take",
            icon=":material/check:",
            type="primary",
            width="stretch",
        ):
            _keep(story.sprayed(fresh))
    else:
        menu.link_to_next_check("Check the next card")
    if is_demo(story) and st.button("Spray the invented next card", key="tint_demo_card", width="stretch"):
        _keep(story.sprayed(next_card(story, shelf)))


def show_new_check(story: Story, latest: CheckedCard | None) -> None:
    """Offer what a check that is not in the story yet may be."""
    fresh = _fresh(story, latest)
    if fresh is None:
        return
    with st.container(border=True, key="tint_fresh"):
        st.html(f"<p class='sm-meaning'>The check of <b>{text(fresh.name)}</b> is not in this pot's log.</p>")
        _warn_of_car(story, fresh)
        if st.button("It shows this pot again, nothing added", key="tint_again"):
            _keep(story.sprayed(fresh))
        if st.button("Begin a new pot with it", key="tint_new", on_click=state.keep, args=(None,)):
            st.rerun()


def ask_mixed(found: Answer, mix: NextMix) -> None:
    """Offer to log the next mix as it was advised."""
    main = found.advice.action is Action.NEXT_MIX
    if st.button(
        f"I weighed the next mix, {mix.total_g:g} g",
        key="tint_mixed",
        icon=":material/check:",
        type="primary" if main else "secondary",
        width="stretch",
    ):
        _keep(found.story.mixed(mix))


def ask_added(story: Story, shelf: Shelf, found: Answer) -> None:
    """Ask what was really added, and log it."""
    advised = {amount.name: amount.pot_g for amount in found.advice.amounts} if not found.in_doubt else {}
    number = len(story.steps)
    if advised:
        st.header("I added this", anchor=False)
    place = st.container() if advised else st.expander("I added something all the same")
    with place, st.form(f"tint_added_{number}"):
        untinted = found.advice.untinted_g if not found.in_doubt else 0.0
        is_whole = bool(untinted) or not advised  # what is seldom added too is folded, unless it is advised
        left, right = st.columns(2) if is_whole else (st.container(), st.expander("Something else too"))
        with left:
            grams = {name: _grams(f"{name} (g)", f"tint_add_{number}_{name}_{g:.2f}", g) for name, g in advised.items()}
        with right:
            untinted_g = _grams("Untinted paint (g)", f"tint_untinted_{number}_{untinted:.2f}", untinted)
            others = [NO_OTHER, *(name for name in shelf.toners if name not in advised)]
            other = st.selectbox("Another toner", others, key=f"tint_other_{number}")
            other_g = _grams("Its amount (g)", f"tint_other_g_{number}", 0.0)
        with left:
            paint_g = st.number_input(
                "Paint in the pot before adding (g)",
                value=round(found.pot_g, 2),
                step=1.0,
                format="%.2f",
                key=f"tint_before_{number}_{found.pot_g:.2f}",
                help="Weigh it again if you used some for cards.",
            )
        done = st.form_submit_button("Log it, then spray a card", type="primary", width="stretch")
    if not done:
        return
    if other != NO_OTHER and other_g != 0:
        grams[str(other)] = other_g
    with refusal_shown("This cannot be logged."):
        weighed = None if abs(paint_g - found.pot_g) < 0.005 else float(paint_g)
        _keep(story.added(grams, untinted_g, weighed))


def show_log(story: Story) -> None:
    """Show every step with its card and a way to leave a card out, and what is in the pot."""
    st.header("This pot", anchor=False)
    say.meaning(card_words(story, 1))
    seen = 1
    for number, step in enumerate(story.steps):
        say.meaning(f"Then {added_words(step)}.")
        if step.card is None:
            continue
        seen += 1
        used = st.checkbox(
            unmarked(card_words(story, seen)),
            value=step.card.used,
            key=f"tint_used_{number}_{step.card.name}_{step.card.used}",
            help="Take the tick off to leave a badly sprayed or badly photographed card out.",
        )
        if used != step.card.used:
            _keep(story.counted(number, used))
    rows = [(name, f"{grams:.2f} g") for name, grams in story.pot.contents_g.items()]
    st.html(folded("In the pot now", table(("What", "Weight"), rows)))
    if story.steps and st.button("Undo the last step", key="tint_undo", icon=":material/undo:"):
        _keep(story.undone())


def show_saving(story: Story | None) -> None:
    """Offer the pot as a file, and a saved pot or check to go on with."""
    with st.expander("Save, open or try", expanded=story is None):
        if story is not None:
            written = json.dumps(story.as_dict(), indent=1)
            download("Save this pot (JSON)", written, "tint-log.json", width="stretch")
        st.file_uploader(
            "Open a saved pot or a saved check (JSON)", type="json", key=state.UPLOAD, on_change=state.open_upload
        )
        if fault := state.fault():
            say.notice("This file cannot be used.", fault)
        st.button(
            "Try an invented pot",
            key="tint_demo",
            icon=":material/play_circle:",
            on_click=state.begin_demo,
            width="stretch",
        )


def _grams(label: str, key: str, value: float) -> float:
    """Ask in the form for an amount; one that cannot be stays as typed, and is refused with a reason when logged."""
    return float(st.number_input(unmarked(label), value=value, step=0.01, format="%.2f", key=key))


def _fresh(story: Story, latest: CheckedCard | None) -> CheckedCard | None:
    """Return the last check if no card of the story was made from it."""
    return None if latest is None or any(is_card(card, latest) for card in cards_of(story)) else latest


def _warn_of_car(story: Story, fresh: CheckedCard) -> None:
    warning = car_warning(story, fresh, state.calibration().photos)
    if warning:
        say.notice("Is it the same car?", warning)


def _keep(story: Story) -> None:
    state.keep(story)
    st.rerun()
