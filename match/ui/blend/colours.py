"""Which two colours the plan is for: those of the last check, an invented pair, or two that are typed."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import streamlit as st

from match.blend.checked import Checked, checked_now
from match.blend.room import SAMPLING_SEED, samples_from
from match.blend.viewing import ColourPair
from match.several.photo_set import Angle
from match.several.travel import ANGLE_WORDS
from match.ui import session
from match.ui.kit import say
from match.ui.kit.choice import one_of
from match.ui.kit.typed import number
from match.ui.marker.box_names import called_in

DEMO_CARD, DEMO_VEHICLE = (43.1, 6.8, -29.2), (42.0, 5.0, -31.0)
DEMO_SD = 0.12
"""Invented demonstration: two close blues, and how far each of L*, a*, b* of their difference may be off."""
LABEL = ANGLE_WORDS[Angle.FACE]


class Source(StrEnum):
    """Where the colours come from, in the words of the page."""

    CHECK = "The last check"
    DEMO = "Demo pair"
    TYPED = "Type two colours"


@dataclass(frozen=True)
class Colours:
    """The colours to plan for, the angle that governs first; ``checked`` is the check they come from, where they do."""

    pairs: tuple[ColourPair, ...]
    words: str
    invented: bool
    checked: Checked | None = None

    @property
    def pair(self) -> ColourPair:
        """The angle that governs."""
        return self.pairs[0]


def ask_colours() -> Colours:
    """Ask where the colours come from, and return them."""
    check = session.latest_check()
    sources = [Source.CHECK, Source.DEMO, Source.TYPED] if check else [Source.DEMO, Source.TYPED]
    chosen = one_of("Card and car", sources, sources[0], f"blend_source_{len(sources)}")
    if check and chosen is Source.CHECK:
        return _said(_from_check(check))
    if chosen is Source.TYPED:
        return _ask_labs()
    hint = "" if check else " Check a photo first to use its colours."
    return _said(_demo(), hint)


def _said(colours: Colours, hint: str = "") -> Colours:
    say.note(colours.words + hint)
    return colours


def _from_check(check: session.LatestCheck) -> Colours:
    warnings = check.result.said(called_in(check)).warnings
    name = check.cards.front_card.name if check.cards else ""
    checked = checked_now(check.result, check.together, warnings, name)
    photo = session.photo()
    invented = photo is not None and photo.is_demo and photo.digest == check.photo_digest
    name = "the demo photo: invented car and card" if invented else check.photo_name
    return Colours(checked.pairs, f"From {name}.", invented, checked)


def _demo() -> Colours:
    covariance = np.eye(3) * DEMO_SD**2
    samples = samples_from(np.array(DEMO_CARD), np.array(DEMO_VEHICLE), covariance, SAMPLING_SEED)
    return Colours((ColourPair(LABEL, *samples),), "Two invented blues.", True)


def _ask_labs() -> Colours:
    say.note("CIELAB under D65, 2 degree observer, both read face-on through the clear.")
    card, vehicle = _ask_lab("Card", DEMO_CARD), _ask_lab("Car", DEMO_VEHICLE)
    spread = number(
        "The difference may be off by (standard deviation of each of L*, a*, b*)",
        DEMO_SD,
        0.0,
        5.0,
        key="blend_lab_sd",
        step=0.05,
        digits=2,
        tip="How far repeat readings of the same pair scatter. 0 takes both colours as exact.",
    )
    if spread == 0.0:
        return Colours((ColourPair(LABEL, card[np.newaxis], vehicle[np.newaxis]),), "As typed.", False)
    samples = samples_from(card, vehicle, np.eye(3) * spread**2, SAMPLING_SEED)
    return Colours((ColourPair(LABEL, *samples),), "As typed.", False)


def _ask_lab(whose: str, start: tuple[float, float, float]) -> np.ndarray:
    bounds = {"L*": (0.0, 100.0), "a*": (-128.0, 128.0), "b*": (-128.0, 128.0)}
    with st.container(horizontal=True):
        values = [
            number(
                f"{whose} {name}",
                value,
                low,
                high,
                key=f"blend_lab_{whose.lower()}_{name[0].lower()}",
                step=0.1,
                digits=1,
                width=110,
            )
            for (name, (low, high)), value in zip(bounds.items(), start, strict=True)
        ]
    return np.array(values)
