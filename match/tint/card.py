"""A measured colour with its uncertainty, and the words for a difference between two."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from match.colorimetry import LARGEST_VARIANCE, delta_e00, is_colour
from match.errors import TintError
from match.measure.wording import worded_axes
from match.record import Record
from match.tint.limits import TintLimits
from match.tint.pigment import Floats


@dataclass(frozen=True, eq=False)
class CardColour(Record):
    """Colour of a spray-out card.

    Attributes
    ----------
    lab : (3,) CIELAB, D65, 2 degrees
    covariance : (3, 3) of ``lab`` *relative to the vehicle in the same photo*, CIELAB units squared
    """

    lab: Floats
    covariance: Floats

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


def difference_metric(lab: ArrayLike, step: float = 0.02) -> Floats:
    """Return (3, 3) M with CIEDE2000(lab, lab + d)^2 ~ d' M d for small d, by differences of the library's formula.

    The second derivatives of the squared formula at zero difference; M is symmetric and positive definite.
    """
    lab = np.asarray(lab, dtype=np.float64)
    e = np.eye(3)
    directions = np.array([e[i] + (e[j] if j > i else 0) for i in range(3) for j in range(i, 3)])
    q = (delta_e00(lab - step / 2 * directions, lab + step / 2 * directions) / step) ** 2
    M = np.empty((3, 3))
    pairs = [(i, j) for i in range(3) for j in range(i, 3)]
    along = {i: q[k] for k, (i, j) in enumerate(pairs) if i == j}
    for k, (i, j) in enumerate(pairs):
        M[i, j] = M[j, i] = along[i] if i == j else (q[k] - along[i] - along[j]) / 2
    return M


def metric_root(lab: ArrayLike) -> Floats:
    """Return (3, 3) W such that the length of W d is CIEDE2000 for a small difference d about ``lab``."""
    return np.asarray(np.linalg.cholesky(difference_metric(lab)).T, dtype=np.float64)


def describe(lab: ArrayLike, reference: ArrayLike, limits: TintLimits) -> tuple[str, ...]:
    """Return how ``lab`` differs from ``reference``, largest first, for example ("darker", "redder").

    The words are those of a check (:func:`match.measure.wording.worded_axes`). Terms below ``limits.worth_a_word``
    (CIEDE2000 along that term) are left out; an empty tuple means none is worth a word.
    """
    lab, reference = np.asarray(lab, dtype=np.float64), np.asarray(reference, dtype=np.float64)
    worded = worded_axes(reference)
    axes = np.stack([axis for axis, _ in worded])
    along = axes @ (lab - reference)
    sizes = delta_e00(np.broadcast_to(reference, (3, 3)), reference + along[:, None] * axes)
    order = [place for place in np.argsort(-sizes) if sizes[place] >= limits.worth_a_word]
    return tuple(worded[place][1][0 if along[place] > 0 else 1] for place in order)
