"""A measured colour with its uncertainty, and the words for a difference between two."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from match.colorimetry import LARGEST_VARIANCE, Array, delta_e00, is_beyond, is_colour
from match.errors import TintError
from match.measure.words import worded_axes
from match.record import Record
from match.tint.limits import TintLimits

LEAST_VARIANCE = 1e-6  # CIELAB squared: a saved covariance is rounded to 1e-4 and must still be one


@dataclass(frozen=True, eq=False)
class CardColour(Record):
    """Colour of a spray-out card.

    Attributes
    ----------
    lab : (3,) CIELAB, D65, 2 degrees
    covariance : (3, 3) of ``lab`` *relative to the vehicle in the same photo*, CIELAB units squared
    """

    lab: Array
    covariance: Array

    def __post_init__(self) -> None:
        """Check shapes and that the covariance is one."""
        object.__setattr__(self, "lab", np.asarray(self.lab, dtype=np.float64))
        object.__setattr__(self, "covariance", np.asarray(self.covariance, dtype=np.float64))
        if not is_colour(self.lab):
            raise TintError("a card colour needs three numbers L*, a*, b*: measure the card again")
        C = self.covariance
        sound = C.shape == (3, 3) and bool(np.all(np.abs(C) <= LARGEST_VARIANCE)) and np.allclose(C, C.T, atol=1e-9)
        if not sound or np.linalg.eigvalsh(C).min() < -1e-9:
            raise TintError("a card colour needs a 3 by 3 covariance that is symmetric and not negative")


@dataclass(frozen=True)
class CheckedCard:
    """What tinting needs of a check.

    Attributes
    ----------
    name : of the photo or file, for the reader
    delta_lab : card less car, CIELAB
    covariance : (3 rows of 3) of ``delta_lab``
    vehicle_lab : the car in this photo, CIELAB D65, 2 degrees
    goal : CIEDE2000 under which the card is allowed where the new paint meets the old
    """

    name: str
    delta_lab: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    vehicle_lab: tuple[float, ...]
    goal: float


def sound_covariance(covariance: Array) -> Array:
    """Return the nearest covariance that is symmetric and positive: a saved one is rounded.

    Raises ``ValueError`` for what is no covariance of a colour.
    """
    if not np.all(np.abs(covariance) <= LARGEST_VARIANCE):
        raise ValueError
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
    if values.min() < -0.01 * max(float(values.max()), LEAST_VARIANCE) - 1e-3:
        raise ValueError
    sound = vectors @ np.diag(np.maximum(values, LEAST_VARIANCE)) @ vectors.T
    return np.asarray((sound + sound.T) / 2, dtype=np.float64)


def surely_differs(card: CardColour, lab: Array, limits: TintLimits) -> bool:
    """Return whether a card differs from CIELAB ``lab`` (3,) by more than its doubt."""
    return is_beyond(card.lab - lab, card.covariance, limits.confidence)


def describe(lab: ArrayLike, reference: ArrayLike, limits: TintLimits) -> tuple[str, ...]:
    """Return how ``lab`` differs from ``reference``, largest first, for example ("darker", "redder").

    The words are those of a check (:func:`match.measure.words.worded_axes`). Terms below ``limits.worth_a_word``
    (CIEDE2000 along that term) are left out; an empty tuple means none is worth a word.
    """
    lab, reference = np.asarray(lab, dtype=np.float64), np.asarray(reference, dtype=np.float64)
    worded = worded_axes(reference)
    axes = np.stack([axis for axis, _ in worded])
    along = axes @ (lab - reference)
    sizes = delta_e00(np.broadcast_to(reference, (3, 3)), reference + along[:, None] * axes)
    order = [place for place in np.argsort(-sizes) if sizes[place] >= limits.worth_a_word]
    return tuple(worded[place][1][0 if along[place] > 0 else 1] for place in order)
