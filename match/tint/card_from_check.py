"""Cards from saved checks: one of a pot, or a let-down of a toner."""

import numpy as np
from numpy.typing import ArrayLike

from match.check.saved import SavedCheck, read_saved, usable
from match.check.verdict import Finish
from match.errors import TintError
from match.tint.card import CardColour, CheckedCard, sound_covariance
from match.tint.own_toner import LetDown

EFFECT_PAINT = (
    "tint advice is for solid colours only; in a metallic or pearl, toner also changes the flop and how the flake "
    "shows, which one colour cannot tell: compare alternates of the formula by spraying them"
)
DIFFERENCE_ONLY = (
    "The saved check holds the doubt of the difference from the car only; the toner's own doubt is somewhat larger."
)


def read_check(saved: object, name: str) -> CheckedCard:
    """Return what tinting needs of a check's parsed document called ``name``.

    Raises
    ------
    SavedCheckError
        When it is not a check that can be read, or its photo cannot be relied on.
    TintError
        When the paint is not solid.
    """
    return checked_from(read_saved(saved, name))


def checked_from(saved: SavedCheck) -> CheckedCard:
    """Return what tinting needs of a saved check; raises as :func:`read_check` does."""
    if saved.finish is not Finish.SOLID:
        raise TintError(f"the check of {saved.name} is of a {saved.finish.value}: {EFFECT_PAINT}")
    usable(saved)
    rows = sound_covariance(np.array(saved.delta_lab_covariance))
    goal = saved.thresholds.go_below
    name = f"{saved.name}, {saved.card_name}" if saved.card_name else saved.name
    return CheckedCard(name, saved.delta_lab, tuple(tuple(row) for row in rows.tolist()), saved.vehicle_lab, goal)


def read_letdown(saved: SavedCheck, percent: float) -> tuple[LetDown, str]:
    """Return the let-down of a saved check with a note about its doubt, empty when there is none.

    Raises :class:`match.errors.SavedCheckError` or :class:`TintError` when its photo cannot be relied on, or the check
    is of an effect paint, whose one view is not all of it.

    Parameters
    ----------
    saved : the check; the let-down is the card
    percent : toner in toner plus white, by weight, above 0 and at most 100
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
