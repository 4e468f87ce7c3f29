"""What several photos say together: every angle at a glance, travel, flake, lamps, and the photos that disagree."""

import streamlit as st

from match.check.verdict import Finish
from match.several.angles_picture import angles_picture, angles_words
from match.several.judge import SetAnswer
from match.ui.kit.notices import sentence, steps
from match.ui.kit.style import text

PICTURE_WIDTH_PX = 430


def show_together(answer: SetAnswer, finish: Finish) -> None:
    """Show the angles and what follows from them."""
    left, right = st.columns([1, 1], gap="large")
    with left:
        st.header("Every angle", anchor=False)
        st.image(angles_picture(answer.effect), alt=angles_words(answer.effect), width=PICTURE_WIDTH_PX)
    with right:
        st.header("What the photos say together", anchor=False)
        st.html(steps(_told(answer, finish)))
        if answer.flake_sentences:
            st.html(_flake(answer))


def _told(answer: SetAnswer, finish: Finish) -> list[str]:
    """Return one sentence a point: size from all photos, travel and its cause, lamps, photos left out."""
    told = [
        f"{combined.sentence} ({', '.join(combined.names)}, {angle.value.replace('-', ' ')})"
        for angle, combined in answer.by_angle.items()
        if len(combined.names) > 1
    ]
    if finish is not Finish.SOLID:
        told += [travel.sentence for travel in answer.effect.travels]
        told.append(answer.effect.signature.sentence)
    told += [each.sentence for each in answer.lights]
    told += answer.unpaired
    return told or ["One photo so far: another of the card laid again makes the answer surer."]


def _flake(answer: SetAnswer) -> str:
    told = " ".join(text(sentence(each)) for each in answer.flake_sentences)
    return f'<p class="sm-title">Flake</p><p class="sm-meaning">{told}</p>'
