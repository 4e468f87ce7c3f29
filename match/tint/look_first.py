"""Where to look first when a card is not where it was predicted: at what is likelier than the theory of colour.

Most cards that miss do so by hand or camera. How the card misses says which is the likeliest: on the line of the
predicted move, toner that was not stirred in, or that an earlier card had not shown yet; in lightness alone, a film
that lets the ground through, then a gun set wetter or drier; any other way, the photo. The order is an engineering
choice; all of them are named.
"""

from enum import StrEnum
from typing import Protocol

import numpy as np

from match.colorimetry import Array

ALONG_DEGREES = 25.0
"""Engineering choice: a move within this of the predicted direction is along it; photos leave some 10 to 20 open."""

LIGHTNESS_SHARE = 0.8
"""Engineering choice: a miss of which this share of its length is lightness is one of lightness."""


class Look(StrEnum):
    """What to look at."""

    STIRRING = "stirring"
    HIDING = "hiding"
    GUN = "gun"
    PHOTO = "photo"


class Miss(Protocol):
    """What is looked at of a move (see :class:`match.tint.attempt.Move`)."""

    @property
    def moved(self) -> Array:
        """(3,) CIELAB from card to card."""

    @property
    def predicted(self) -> Array:
        """(3,) CIELAB predicted."""

    @property
    def angle_degrees(self) -> float:
        """Between the two."""

    @property
    def seen(self) -> bool:
        """Whether the card moved beyond its noise."""


def look_first(move: Miss) -> tuple[Look, ...]:
    """Return where to look when a card does not agree with its prediction, the likeliest first."""
    if not move.seen or move.angle_degrees <= ALONG_DEGREES:
        return (Look.STIRRING, Look.PHOTO, Look.HIDING, Look.GUN)
    off = move.moved - move.predicted
    if abs(float(off[0])) >= LIGHTNESS_SHARE * float(np.linalg.norm(off)):
        return (Look.HIDING, Look.GUN, Look.PHOTO, Look.STIRRING)
    return (Look.PHOTO, Look.HIDING, Look.GUN, Look.STIRRING)


LOOK_TITLE = "The card is not where it should be. Look first at what is likelier than the toners:"

LOOK_WORDS = {
    Look.STIRRING: "Was the pot stirred before the card, and before the card before it? Was the weight read right?",
    Look.HIDING: "Does the card hide, and did the one before? Photograph the black and white field: page Coats, or the "
    "command coats hiding. A first card that did not hide is best left behind: begin anew with the next one, its "
    "formula counting all that was added.",
    Look.GUN: "Was the gun set as before: pressure, distance, coats, flash-off?",
    Look.PHOTO: "Are both photos sound: same car, panel and grey, no lamp or sky mirrored? Photograph it again.",
}


def look_words(looks: tuple[Look, ...]) -> tuple[str, ...]:
    """Return the questions in their order."""
    return tuple(LOOK_WORDS[look] for look in looks)
