"""The answer on the tint page: what became of the last addition, what to add, where it should land, and why."""

from collections.abc import Callable

import numpy as np
import streamlit as st

from match.check.verdict import limit_words
from match.colorimetry import Array
from match.tint.answer import Action
from match.tint.look_first import LOOK_TITLE, look_words
from match.tint.path_picture import Place, path_picture, path_words, story_places
from match.tint.pour import BINDER, NextMix
from match.tint.shelf_file import Shelf
from match.tint.story import Story
from match.tint.what_next import (
    ATTEMPT_DEEDS,
    CARE,
    HOW_TO,
    LAMP_NOTE,
    LEARNING_NOTE,
    Answer,
    attempt_headline,
    earlier_sentence,
    expected_card,
    formula_title,
    headline,
    lamp_lines,
    landing_sentence,
    left_sentence,
    other_mix_sentence,
    percents,
    strength_sentence,
)
from match.ui.kit.cautions import spraying
from match.ui.kit.layout import PICTURE_WIDTH_PX
from match.ui.kit.notices import bullets, folded, steps, table
from match.ui.kit.style import text
from match.ui.kit.swatches import screen_colour
from match.ui.tint import state
from match.words import capital


def show_attempt(found: Answer) -> None:
    """Show whether the last addition moved the card the right way, and what is left."""
    attempt = found.attempt
    if attempt is None:
        return
    deed = ATTEMPT_DEEDS[attempt.recommendation]
    st.html(
        f'<div class="tint-attempt" data-recommendation="{text(attempt.recommendation)}" role="status">'
        f'<p class="word">{text(attempt_headline(attempt))}</p><p class="deed">{text(deed)}</p></div>'
        + (f'<p class="sm-title">{text(LOOK_TITLE)}</p>' if attempt.look_first else "")
        + (steps(look_words(attempt.look_first)) if attempt.look_first else "")
        + f'<p class="sm-meaning">{text(capital(left_sentence(attempt)))}</p>'
        + _items(attempt.reasons)
    )


def show_advice(found: Answer) -> None:
    """Show the next step large, with its amounts; greyed where the last card showed no move."""
    advice = found.advice
    faint = " tint-faint" if found.faint else ""
    lands = [landing_sentence(advice)] if advice.is_step else []
    open_reasons, folded_reasons = ((), advice.reasons) if advice.is_step else (advice.reasons, ())
    items = [] if found.in_doubt else [*lands, *open_reasons]
    why = folded("Why", _items(folded_reasons)) if folded_reasons and not found.in_doubt else ""
    st.html(
        f'<div class="tint-advice{faint}" data-action="{text(advice.action)}" role="status">'
        f'<p class="word">{text(headline(found))}</p></div>' + _items(items) + why
    )


def show_pours(found: Answer, ask_mixed: Callable[[NextMix], None]) -> None:
    """Show the next mix as a pour list with the press that logs it; both folded away where an addition is advised."""
    mix = found.next_mix
    if mix is None or found.in_doubt or not found.advice.is_step:
        return
    rows = [(pour.name, f"{pour.g:.2f} g", f"{pour.running_total_g:.2f} g") for pour in mix.toners]
    rows += [(BINDER, f"{mix.binder_g:.2f} g", f"{mix.poured_g:.2f} g")] if mix.binder_g > 0 else []
    told = table(("Toner", "Pour", "Scale shows"), rows)
    is_advised = found.advice.action is Action.NEXT_MIX
    with st.container() if is_advised else st.expander("The next mix instead"):
        st.html(_items([each for each in (other_mix_sentence(found),) if each]) + told)
        ask_mixed(mix)


def show_amounts(found: Answer) -> None:
    """Show the amounts for pot and batch, and the formula after the step."""
    advice = found.advice
    if found.in_doubt or not (advice.amounts or found.story.steps):
        return
    rows = [
        (amount.name, f"{amount.pot_g:.2f} g", f"{amount.percent:.2f} %", f"{amount.full_g:.2f} g")
        for amount in advice.amounts
    ]
    if rows:
        st.html(table(("Toner", "Now, into the pot", "Of the pot", "Calculated in full"), rows))
    if any(advice.batch_g.values()):
        batch = [(name, f"{grams:.2f} g") for name, grams in advice.batch_g.items()]
        st.html(
            '<p class="sm-title">For the whole batch, all that was added and this step</p>'
            + table(("Toner", "Into the untinted batch"), batch)
            + '<p class="sm-note">Only once a card from the pot has passed.</p>'
        )
    if found.formula_parts is not None and found.advice.action is not Action.NEXT_MIX:
        percent = percents(found.formula_parts)
        formula = [(name, f"{parts:.2f}", f"{percent[name]:.2f} %") for name, parts in found.formula_parts.items()]
        st.html(folded(formula_title(advice), table(("Toner", "Parts", "Percent"), formula)))


def show_path(story: Story, shelf: Shelf, found: Answer | None) -> None:
    """Show the colours side by side and the path; while a card is awaited, where it should land."""
    car = np.array(story.vehicle_lab)
    cards, predicted = story_places(story, state.foreseen(story))
    landing = None
    if found is None:
        expected = expected_card(story, shelf, state.calibration().limits)
        landing = Place("next card", expected.lab - car, expected.covariance)
    elif found.advice.is_step and not found.in_doubt:
        landing = Place("next card", found.advice.predicted_lab - car, found.landing)
    fields = [(f"Card {len(cards)}", car + cards[-1].delta_lab)]
    fields += [("Next, expected", car + landing.delta_lab)] if landing else []
    st.html(_fields([*fields, ("Car", car)]))
    st.image(path_picture(cards, landing, predicted), alt=path_words(cards, landing, predicted), width=PICTURE_WIDTH_PX)
    st.html(
        folded(
            "How to read it",
            f"<p>Tinting stops at {limit_words(story.goal)} CIEDE2000 from the car, the check's limit for go. Each "
            "card against the car in its own photo; a white number is where that card was predicted. Dashed: where the "
            "last card and the next may lie (two standard deviations).</p>",
        )
    )


def show_grounds(found: Answer) -> None:
    """Show what is model and what is learned, the lamps and the cautions."""
    if found.responses:
        said = [capital(strength_sentence(response)) for response in found.responses]
        earlier = earlier_sentence(state.taught_shelf().pots)
        notes = [f'<p class="sm-note">{text(note)}</p>' for note in (earlier, LEARNING_NOTE) if note]
        st.html(folded("How strong each toner is here", _items(said) + "".join(notes)))
    if found.advice.is_step and not found.in_doubt:
        st.header("In lamp light", anchor=False)
        st.html(_items(lamp_lines(found.advice)) + folded("How sure that is", f"<p>{LAMP_NOTE}</p>"))


def show_cautions() -> None:
    """Show how to add and spray."""
    st.header("Take care", anchor=False)
    st.html(f'<p class="sm-meaning">{CARE}</p>' + folded("How to add, and spray the card", steps(HOW_TO)) + spraying())


def _fields(fields: list[tuple[str, Array]]) -> str:
    colours = "".join(f'<div style="background:{screen_colour(lab)}"></div>' for _, lab in fields)
    names = "".join(f"<span>{text(name)}</span>" for name, _ in fields)
    told = ", ".join(name for name, _ in fields)
    return (
        f'<div class="sm-stage"><div class="sm-pair tint-pair" role="img" aria-label="Side by side: {text(told)}.">'
        f'{colours}</div><div class="sm-names">{names}</div></div>'
    )


def _items(lines: tuple[str, ...] | list[str]) -> str:
    return bullets("tint-items", lines) if lines else ""
