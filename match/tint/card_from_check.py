"""A let-down's card from a saved check."""

from __future__ import annotations

import json
from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike

from match.errors import TintError
from match.tint.card import CardColour
from match.tint.own_toner import LetDown

DIFFERENCE_ONLY = (
    "The saved check holds the doubt of the difference from the car only; the toner's own doubt is somewhat larger."
)


def read_letdown(text: str, name: str, percent: float) -> tuple[LetDown, str]:
    """Return the let-down of a check's JSON with a note about its doubt, empty when there is none.

    Parameters
    ----------
    text : what ``check --json`` prints; the let-down is the card
    name : of the file, for messages
    percent : toner in toner plus white, by weight, above 0 and at most 100
    """
    try:
        saved = json.loads(text)
        if not isinstance(saved, Mapping):
            raise TypeError
        spoilt = [w["text"] for w in saved["warnings"] if w["spoils"] and w["code"] not in {"undecided"}]
        own = "card_lab_covariance" in saved
        covariance = saved["card_lab_covariance" if own else "delta_lab_covariance"]
        colour = card_colour(saved["card_lab"], covariance)
    except (KeyError, TypeError, ValueError, RecursionError):
        raise TintError(f"{name} is not a check's JSON: write one with `check PHOTO --json`") from None
    if spoilt:
        raise TintError(f"the photo of {name} cannot be relied on: {spoilt[0]}")
    return LetDown(percent / 100, colour), "" if own else DIFFERENCE_ONLY


def card_colour(lab: ArrayLike, covariance: ArrayLike) -> CardColour:
    """Return a card from its CIELAB and a covariance that may have been rounded."""
    C = np.asarray(covariance, dtype=np.float64)
    values, vectors = np.linalg.eigh((C + C.T) / 2)
    sound = vectors @ np.diag(np.maximum(values, 0.0)) @ vectors.T
    return CardColour(np.asarray(lab, dtype=np.float64), (sound + sound.T) / 2)
