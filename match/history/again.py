"""A card held against its car again: whether their difference changed, and which of the two did.

The difference of card and car in one photo is free of most of that photo's errors; so a change of it beyond what both
photos keep of their uncertainty is real. Each colour by itself also moves with the light and the grey of the day, both
alike: of the two, the one that kept still but for that common move is likelier the one that did not change.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np

from match import calibration
from match.calibration import quantity
from match.check.saved import SavedCheck
from match.colorimetry import Array, delta_e00, is_beyond

SURE = 0.95


@dataclass(frozen=True)
class AgainRules:
    """Table ``again`` of ``calibration/cards.toml``."""

    absolute_sd: float = quantity("CIELAB")


class Changed(StrEnum):
    """What has changed between two checks of one card."""

    NOTHING = "nothing"
    CARD = "card"
    CAR = "car"
    EITHER = "either"


@dataclass(frozen=True)
class Again:
    """Two checks of one card.

    Attributes
    ----------
    first_at, last_at : when
    before, after : CIEDE2000 of card and car
    change : CIEDE2000 by which the card moved against the car
    changed : what did, as far as it can be told
    """

    first_at: datetime
    last_at: datetime
    before: float
    after: float
    change: float
    changed: Changed


def load_again_rules() -> AgainRules:
    """Read the rules, the user's own copy first."""
    return calibration.load(AgainRules, "cards", "again")


def compared_again(kept: Sequence[tuple[datetime, SavedCheck]], rules: AgainRules, told_apart: float) -> Again | None:
    """Compare the first and the last check of one card against one car.

    Parameters
    ----------
    kept : checks with their times, oldest first
    rules : how far one photo leaves a colour by itself open
    told_apart : chance from which card or car is named

    Returns
    -------
    None where fewer than two checks have figures that hold.
    """
    holding = [(at, check) for at, check in kept if check.figures_hold]
    if len(holding) < 2:
        return None
    (first_at, first), (last_at, last) = holding[0], holding[-1]
    car = 0.5 * (np.array(first.vehicle_lab) + np.array(last.vehicle_lab))
    moved = np.array(last.delta_lab) - np.array(first.delta_lab)
    noise = np.array(first.delta_lab_covariance) + np.array(last.delta_lab_covariance)
    real = is_beyond(moved, noise + 1e-6 * np.eye(3), SURE)
    card_move, car_move = np.subtract((last.card_lab, last.vehicle_lab), (first.card_lab, first.vehicle_lab))
    return Again(
        first_at,
        last_at,
        first.delta_e00,
        last.delta_e00,
        float(delta_e00(car + np.array(first.delta_lab), car + np.array(last.delta_lab))),
        _which(card_move, car_move, rules, told_apart) if real else Changed.NOTHING,
    )


def _which(card_move: Array, car_move: Array, rules: AgainRules, told_apart: float) -> Changed:
    """Return which of two moves holds a change beside the move of the light, common to both.

    If the card alone changed, the car's move is the light's, normal with twice the variance of one photo; if the car
    alone, the card's is. The chances before are taken as equal.
    """
    log_odds = (float(card_move @ card_move) - float(car_move @ car_move)) / (4.0 * rules.absolute_sd**2)
    card = 1.0 / (1.0 + np.exp(-np.clip(log_odds, -500.0, 500.0)))
    if card >= told_apart:
        return Changed.CARD
    return Changed.CAR if card <= 1.0 - told_apart else Changed.EITHER
