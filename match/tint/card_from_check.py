"""A let-down's card from a saved check."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from match.check.saved import SavedCheck, usable
from match.check.verdict import Finish
from match.errors import TintError
from match.tint.card import CardColour
from match.tint.own_toner import LetDown

DIFFERENCE_ONLY = (
    "The saved check holds the doubt of the difference from the car only; the toner's own doubt is somewhat larger."
)


def read_letdown(saved: SavedCheck, percent: float) -> tuple[LetDown, str]:
    """Return the let-down of a saved check with a note about its doubt, empty when there is none.

    Parameters
    ----------
    saved : the check; the let-down is the card
    percent : toner in toner plus white, by weight, above 0 and at most 100

    Raises
    ------
    SavedCheckError, TintError
        When its photo cannot be relied on, or the check is of an effect paint, whose one view is not all of it.
    """
    if saved.finish is not Finish.SOLID:
        raise TintError(
            f"the check of {saved.name} is of a {saved.finish.value}: toner in white is solid, so check it as that"
        )
    usable(saved)
    own = saved.card_lab_covariance
    colour = card_colour(saved.card_lab, saved.delta_lab_covariance if own is None else own)
    return LetDown(percent / 100, colour), DIFFERENCE_ONLY if own is None else ""


def card_colour(lab: ArrayLike, covariance: ArrayLike) -> CardColour:
    """Return a card from its CIELAB and a covariance that may have been rounded."""
    C = np.asarray(covariance, dtype=np.float64)
    values, vectors = np.linalg.eigh((C + C.T) / 2)
    sound = vectors @ np.diag(np.maximum(values, 0.0)) @ vectors.T
    return CardColour(np.asarray(lab, dtype=np.float64), (sound + sound.T) / 2)
