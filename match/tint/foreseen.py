"""Every card of a pot against what was predicted for it from the cards before it alone."""

from dataclasses import dataclass, replace

import numpy as np

from match.colorimetry import Array, is_beyond
from match.record import Record
from match.tint.limits import TintLimits
from match.tint.shelf_file import Shelf
from match.tint.story import Story
from match.tint.what_next import expected_card


@dataclass(frozen=True, eq=False)
class Foreseen(Record):
    """What was predicted for one card.

    Attributes
    ----------
    number : of the card, the first card of the pot being 1
    delta_lab : (3,) CIELAB, predicted card less car
    covariance : (3, 3) of the card about it: the model's doubt, spraying and measuring
    as_seen : whether the card agrees within that
    """

    number: int
    delta_lab: Array
    covariance: Array
    as_seen: bool


def foreseen(story: Story, shelf: Shelf, limits: TintLimits) -> tuple[Foreseen, ...]:
    """Return the prediction for every card after the first, in their order."""
    found, number = list[Foreseen](), 1
    for place, step in enumerate(story.steps):
        if step.card is None:
            continue
        number += 1
        unseen = replace(story, steps=(*story.steps[:place], replace(step, card=None)))
        expected = expected_card(unseen, shelf, limits)
        delta = expected.lab - np.array(story.vehicle_lab)
        covariance = expected.covariance + np.array(step.card.covariance) + limits.card_sd**2 * np.eye(3)
        off = np.array(step.card.delta_lab) - delta
        found.append(Foreseen(number, delta, covariance, not is_beyond(off, covariance, limits.confidence)))
    return tuple(found)
