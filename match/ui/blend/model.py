"""In plain words: what the plan's width rests on, how far each doubtful number moves it, and where it may be wrong."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import streamlit as st

from match.blend.need import straight_width_mm
from match.blend.room_answer import RoomAnswer
from match.blend.sides import Length
from match.blend.viewing import ColourPair, Viewing, Vision
from match.blend.words import length
from match.colorimetry import Array
from match.ui.blend.answer import calibration
from match.ui.kit import say
from match.ui.kit.notices import bullets, table

SHARE = 0.2
"""How far a number without a range of its own is moved, up and down, to show what hangs on it."""

DOUBTS = (
    "The eye's figures come from patterns on screens in a laboratory. A car is curved, glossy and lit unevenly: that "
    "can hide an edge, and a reflection running along the panel can show it.",
    "How fast an edge of pure colour fades from sight is the weakest part: nobody published it. Two readings of "
    "published contrast sensitivities, both our own, differ by a factor of twelve; the value used lies between them.",
    "The limits of what passes at an edge or a gap are borrowed from a study of dental ceramics, read in its abstract "
    "only. No such study of cars was found.",
    "A fade hides the edge, not the difference: someone who compares the two ends can still see it.",
    "One face-on colour is planned. A metallic or pearl laid thin in a fade lies differently, and may show at the flop "
    "although the colour is hidden face-on.",
    "The spray pass is a bell-shaped band and hiding a single curve for each paint. Your gun, your hand and your paint "
    "differ: spray a test panel before a car.",
)


@dataclass(frozen=True)
class Choice:
    """A number that is a judgement: its words, its value, and the two values tried instead."""

    words: str
    value: float
    tried: tuple[float, float]
    put: Callable[[float], tuple[Viewing, Vision]]


def show_model(found: RoomAnswer, pair: ColourPair) -> None:
    """Show the folded explanation."""
    with st.expander("What this rests on, and how it may be wrong"):
        job = found.planned
        now, rows = _moved(pair.label, *pair.middle, job.viewing, job.unit)
        fade, planned = job.calibration.practice.fade, length(job.plan.straight_mm.median, job.unit)
        beside = "" if planned == now else f"; the plan counts how far off they may be as well, and asks for {planned}"
        st.html(
            '<p class="sm-meaning">These numbers of the eye are engineering choices or are borrowed. Each is moved '
            "alone, for the viewing above and both colours taken as exact: as they are, these ask for an even change "
            f"over {now}{beside}.</p>" + table(("Number", "Value used", "Tried instead", "Width then"), rows)
        )
        say.meaning(
            "What may stop at a body line, a gap or another part stands in tolerances.toml: it moves where a colour "
            f"may stop, not the width. The strip kept covered ({length(fade.covered_strip, job.unit)}), the shape of "
            "the spray pass, the steps between coats and the tight gun's film are common practice or choices too: "
            "they move where the paint ends, about as much as they are moved. All are in the files vision.toml and "
            "practice.toml, each with its source, and your own copies take their place."
        )
        st.html('<p class="sm-title">How it may be wrong</p>' + bullets("sm-need", DOUBTS))


@st.cache_data(max_entries=32, show_spinner=False)
def _moved(
    label: str, card_lab: Array, vehicle_lab: Array, viewing: Viewing, unit: Length
) -> tuple[str, list[tuple[str, ...]]]:
    """Return the width asked for and the table's rows; the room has no part in them."""
    pair, vision = ColourPair(label, card_lab[np.newaxis], vehicle_lab[np.newaxis]), calibration().vision
    now = _width(pair, viewing, vision, unit)
    return now, [_row(choice, pair, unit, now) for choice in choices(viewing, vision)]


def choices(viewing: Viewing, vision: Vision) -> tuple[Choice, ...]:
    """Return the numbers that are judgements, with the range that each has on file or :data:`SHARE` up and down."""
    ramp, strictness = vision.ramp, viewing.strictness

    def seen(limit: float) -> tuple[Viewing, Vision]:
        return replace(viewing, strictness=replace(strictness, visibility_limit=limit)), vision

    def passes(limit: float) -> tuple[Viewing, Vision]:
        return replace(viewing, allowed=replace(viewing.allowed, panel_gap=limit)), vision

    return (
        Choice(
            "Width at which a change of lightness begins to fade from sight (degrees)",
            ramp.achromatic_width,
            (ramp.achromatic_width_low, ramp.achromatic_width_high),
            lambda value: (viewing, replace(vision, ramp=replace(ramp, achromatic_width=value))),
        ),
        Choice(
            "How much wider a change of pure colour must be (times)",
            ramp.chroma_stretch,
            (ramp.chroma_stretch_low, ramp.chroma_stretch_high),
            lambda value: (viewing, replace(vision, ramp=replace(ramp, chroma_stretch=value))),
        ),
        Choice(
            f"What {strictness.words} still does not notice (thresholds)",
            strictness.visibility_limit,
            _around(strictness.visibility_limit),
            seen,
        ),
        Choice(
            f"What {strictness.words} lets a fade look like (CIEDE2000)",
            viewing.allowed.faded,
            _around(viewing.allowed.faded),
            passes,
        ),
    )


def _around(value: float) -> tuple[float, float]:
    return (1.0 - SHARE) * value, (1.0 + SHARE) * value


def _row(choice: Choice, pair: ColourPair, unit: Length, now: str) -> tuple[str, ...]:
    low, high = choice.tried
    then = [_width(pair, *choice.put(value), unit) for value in choice.tried]
    moved = "no other width" if set(then) == {now} else " to ".join(then)
    return choice.words, f"{choice.value:.3g}", f"{low:.3g} to {high:.3g}", moved


def _width(pair: ColourPair, viewing: Viewing, vision: Vision, unit: Length) -> str:
    return length(float(straight_width_mm(pair, viewing, vision)[0]), unit)
