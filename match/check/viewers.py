"""Which share of viewers sees a difference, and which share objects to it.

Published thresholds are those of half the viewers. Around them viewers are taken to scatter as a bell curve over the
logarithm of the difference, the usual psychometric function of constant stimuli; its width is in
``calibration/viewers.toml``.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from match import calibration as files
from match.calibration import quantity
from match.check.verdict import Limits, Tolerances
from match.colorimetry import Array

SMALLEST = 1e-6
"""CIEDE2000 below which a difference counts as this one, which nobody sees."""


@dataclass(frozen=True)
class _Spread:
    spread: float = quantity("log units")


@dataclass(frozen=True)
class Viewers:
    """Half of the viewers see ``perceptibility`` and half object to ``acceptability``, both CIEDE2000."""

    perceptibility: float
    acceptability: float
    spread: float

    def seeing(self, delta_e00: ArrayLike) -> Array:
        """Return the share (...) of viewers who see a difference (...) side by side."""
        return self._beyond(delta_e00, self.perceptibility)

    def objecting(self, delta_e00: ArrayLike) -> Array:
        """Return the share (...) of viewers who object to it."""
        return self._beyond(delta_e00, self.acceptability)

    def _beyond(self, delta_e00: ArrayLike, half: float) -> Array:
        size = np.maximum(np.asarray(delta_e00, dtype=np.float64), SMALLEST)
        return np.asarray(ndtr(np.log(size / half) / self.spread))


def load_viewers(tolerances: Tolerances) -> Viewers:
    """Return the viewers whose halves are the shop's own limits."""
    limits: Limits = tolerances.limits
    return Viewers(limits.perceptibility, limits.acceptability, files.load(_Spread, "viewers").spread)
