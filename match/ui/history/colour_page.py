"""The colour page: everything that happened to one vehicle colour, and the best card so far."""

from dataclasses import replace

import numpy as np
import streamlit as st

from match.check.verdict import chance_words
from match.history.best_card import Standing
from match.history.labels import card_labels
from match.history.records import CardRecord, CheckRow, ColourRecord, Timeline, TimelineEntry
from match.history.store import Store
from match.history.timeline import best_told
from match.history.words import again_words, card_days, colour_title, day_and_time, size_words, standing_words
from match.ui.history.colour_chart import MOST_SHOWN, chart, chart_words, shown
from match.ui.history.colour_path import path_picture, path_words, steps_of
from match.ui.history.labels import show_labels
from match.ui.history.near import show_near
from match.ui.history.outcome import ask_outcome, show_outcomes
from match.ui.history.panels import show_panels
from match.ui.history.photos import offer_measuring_again, show_photos
from match.ui.history.pots import show_pots
from match.ui.history.rows import apply_style, page_asked, row_words, show_unreadable, turn_pages
from match.ui.history.save_form import CARD_LABELS
from match.ui.kit import say
from match.ui.kit.layout import PICTURE_WIDTH_PX
from match.ui.kit.style import text, unmarked
from match.ui.kit.swatches import swatches, swatches_on_one_car
from match.ui.menu import link_to_check, link_to_colour, link_to_colours, link_to_list
from match.ui.store import keep_first, refusal_shown, show_refusal, store

PER_PAGE = 30
PHOTO_WIDTH_PX = 360
PHOTOS_AT_ONCE = 4
MOST_SWATCHES = 4


def page() -> None:
    """Show one colour where the address names one, else the list of colours."""
    apply_style()
    with refusal_shown("The history could not do that."):
        colour_id = st.query_params.get("colour")
        if colour_id:
            _show_colour(store(), colour_id)
        else:
            _show_list(store())


def _show_list(history: Store) -> None:
    st.title("Vehicle colours", anchor=False)
    words = st.text_input(
        "Search", key="colour_text", placeholder="Code, name, finish or note", icon=":material/search:"
    )
    found = history.find_colours(words, page=page_asked("colours", words), per_page=PER_PAGE)
    if not found.total:
        say.lead("No colour matches." if words else "No colour is saved yet.")
        link_to_list()
    for colour in found.items:
        with st.container(horizontal=True, vertical_alignment="center", border=True, key=f"colour_{colour.id}"):
            facts = " · ".join(
                text(fact) for fact in (colour.finish, colour.undercoat, day_and_time(colour.created_at)) if fact
            )
            st.html(f'<b>{text(colour_title(colour))}</b><p class="sm-note">{facts}</p>', width="stretch")
            link_to_colour(colour.id, "Open")
    show_unreadable(found.unreadable)
    turn_pages("colours", words, found, "colours")


def _show_colour(history: Store, colour_id: str) -> None:
    link_to_colours()
    story = history.timeline(colour_id)
    colour = story.colour
    st.title(unmarked(colour_title(colour)), anchor=False)
    facts = [colour.finish, f"undercoat {colour.undercoat}" if colour.undercoat else "", colour.notes]
    say.lead(" · ".join(fact for fact in facts if fact))
    if colour.deleted_at is not None:
        _show_deleted(history, colour)
        return
    _edit_colour(history, colour)
    checks = [entry.check for entry in story.entries if entry.check is not None]
    _show_best(history, story, checks)
    _show_pictures(checks)
    show_pots(history, story.pots)
    show_panels(history, story.panels)
    show_labels(lambda desk: card_labels(colour, story.entries, desk), colour.id)
    _show_outcomes(history, checks)
    _show_entries(history, story.entries)
    show_unreadable(story.unreadable)
    measured_cars = [check.vehicle_lab for check in checks if check.vehicle_lab and check.corrected_by is None]
    if measured_cars:
        with st.expander("Colours like this one"):
            show_near(history, measured_cars[-1], "this car", colour.id)


def _show_deleted(history: Store, colour: ColourRecord) -> None:
    st.html('<p class="sm-meaning" role="status"><b>This colour is deleted, with its cards and checks.</b></p>')
    if st.button("Bring back", key="colour_undelete", icon=":material/undo:"):
        history.undelete(colour.id)
        st.rerun()


def _edit_colour(history: Store, colour: ColourRecord) -> None:
    with st.container(horizontal=True):
        with (
            st.popover("Edit the colour", icon=":material/edit:"),
            st.form("colour_edit", border=False, enter_to_submit=False),
        ):
            labels = {
                "name": "Name",
                "code": "Paint code, as you write it",
                "finish": "Finish",
                "undercoat": "Undercoat shade",
                "notes": "Notes",
            }
            for field, label in labels.items():
                st.text_input(label, getattr(colour, field), key=f"edit_{field}_{colour.id}")
            st.form_submit_button(
                "Keep these",
                type="primary",
                on_click=keep_first,
                args=("That could not be kept.", "colour_edit", _keep_edit, history, colour, tuple(labels)),
            )
            show_refusal("colour_edit")
        if st.button(
            "Delete", key="colour_delete", icon=":material/delete:", help="It can be brought back, all of it."
        ):
            history.delete(colour.id)
            st.rerun()


def _keep_edit(history: Store, colour: ColourRecord, fields: tuple[str, ...]) -> None:
    history.edit(replace(colour, **{field: st.session_state[f"edit_{field}_{colour.id}"] for field in fields}))
    st.toast("Kept.")


def _show_best(history: Store, story: Timeline, checks: list[CheckRow]) -> None:
    found = history.standing(story.colour.id)
    best = best_told(story, found)
    if best is None and not checks:
        say.lead("Nothing has been checked in this colour yet.")
        return
    left, right = st.columns((1, 1), gap="large")
    shown_check = best.check if best and best.check else checks[-1]
    with left:
        st.header("Best card so far" if best else "The latest check", anchor=False)
        if found:
            st.html(_standing_swatches(found))
        elif shown_check.card_lab and shown_check.vehicle_lab:
            st.html(swatches(np.array(shown_check.card_lab), np.array(shown_check.vehicle_lab)))
    with right:
        told = f"{shown_check.verdict.capitalize()}, {size_words(shown_check)}, {day_and_time(shown_check.created_at)}"
        st.html(f'<p class="sm-figure"><span class="unit"><b>{text(told)}</b></span></p>')
        if found:
            say.meaning(" ".join(standing_words(found)))
        if best and best.card:
            st.html(card_words(best.card))
            with refusal_shown("Its photos cannot be shown."):
                show_photos(history, history.get_check(shown_check.id), width_px=PHOTO_WIDTH_PX)
        elif not any(check.card for check in checks):
            say.note(
                "No spray-out card is noted with these checks. Open one and say what was sprayed, and the best card "
                "is named here with its gun set-up."
            )


def _standing_swatches(found: Standing) -> str:
    """Return the likeliest cards against the one car, each as far off as in its own photo, with its chance below."""
    shown = found.likely(MOST_SWATCHES)
    car = np.array(found.vehicle_lab)
    named = [(day, car + np.array(card.delta_lab)) for day, card in zip(card_days(shown), shown, strict=True)]
    return swatches_on_one_car(named, car, [chance_words(card.chance) for card in shown])


def card_words(card: CardRecord) -> str:
    """Return what is noted of a card as an HTML list; what to repeat comes first."""
    order = ("mix", "gun", "coats", "reducer", "undercoat", "batch", "tinted", "notes", "place")
    told = [
        f"<li>{text(CARD_LABELS[name])}: <b>{text(getattr(card, name))}</b></li>"
        for name in order
        if getattr(card, name)
    ]
    return f'<ul class="sm-lines">{"".join(told) or "<li>Nothing is noted of this card.</li>"}</ul>'


def _show_pictures(checks: list[CheckRow]) -> None:
    if not shown(checks):
        return
    left, right = st.columns((1, 1), gap="large")
    measured = sum(check.delta_e00 is not None for check in checks)
    with left:
        st.header("Difference of each card", anchor=False)
        st.image(chart(checks), alt=chart_words(checks), width=PICTURE_WIDTH_PX)
        last = f" The last {MOST_SHOWN} of {measured} checks." if measured > MOST_SHOWN else ""
        say.note(
            "CIEDE2000; the bar holds the true difference 95 times in 100. Faint: retakes and corrected checks, which "
            f"do not count.{last}"
        )
    if steps_of(checks):
        with right:
            st.header("The way towards the car", anchor=False)
            st.image(path_picture(checks), alt=path_words(checks), width=PICTURE_WIDTH_PX)
            say.note("Numbers as in the other picture; the car is in the middle of both.")


def _show_outcomes(history: Store, checks: list[CheckRow]) -> None:
    kept = [outcome for check in checks for outcome in history.outcomes_of(check.id)]
    if kept:
        st.header("How it turned out", anchor=False)
        show_outcomes(kept)
    with st.expander("Record how it turned out after delivery"), refusal_shown("The outcome could not be kept."):
        ask_outcome(history, checks, "colour")


def _show_entries(history: Store, entries: tuple[TimelineEntry, ...]) -> None:
    st.header("Everything, newest first", anchor=False)
    with_photos = st.toggle("Show the photos", value=len(entries) <= PHOTOS_AT_ONCE, key="colour_photos")
    for entry in reversed(entries):
        _show_entry(history, entry, with_photos)


def _show_entry(history: Store, entry: TimelineEntry, with_photos: bool) -> None:
    with st.container(border=True):
        if entry.check is not None:
            st.html(row_words(entry.check, with_colour=False))
        elif entry.card is not None:
            st.html(f"<b>Card of {day_and_time(entry.at)}, not checked</b> <span>{text(entry.card.mix)}</span>")
        if entry.tint is not None and entry.tint.additions:
            added = ", ".join(f"{each.mass_g:g} g {each.toner}" for each in entry.tint.additions)
            pot = f" to a pot of {entry.tint.pot_size_g:g} g" if entry.tint.pot_size_g else ""
            say.meaning(f"Tinted before this card: {added}{pot}.")
        if entry.card is not None:
            st.html(card_words(entry.card))
            again = history.checked_again(entry.card.id)
            if again:
                say.meaning(again_words(again))
        if entry.check is not None:
            with refusal_shown("This check cannot be shown."):
                _show_check(history, entry.check, with_photos)


def _show_check(history: Store, check: CheckRow, with_photos: bool) -> None:
    whole = history.get_check(check.id)
    if with_photos:
        show_photos(history, whole, width_px=PHOTO_WIDTH_PX)
    with st.container(horizontal=True, vertical_alignment="center"):
        link_to_check(check.id, "Open")
        offer_measuring_again(history, whole, f"again_{check.id}")
