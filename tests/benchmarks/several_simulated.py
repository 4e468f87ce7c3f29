"""Readings of one pair made from numbers, for tests and benchmarks that need to know every number that went in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from match.measure.finding import Finding
from match.measure.uncertainty import Draws

USUAL_SD = (0.35, 0.2, 0.2)
"""CIELAB sd of a careful photo's null difference, of the size that rendered photos of solid paint show."""


@dataclass(frozen=True)
class SimulatedReading:
    """What a measurement of one photo would say."""

    card_lab: np.ndarray
    vehicle_lab: np.ndarray
    draws: Draws
    findings: tuple[Finding, ...] = ()


def simulated(
    difference, vehicle=(50.0, 10.0, 5.0), sd=USUAL_SD, stretch=0.08, seed=0, count=1500, findings=(), pigments=0.0
):
    """Return a reading whose measured difference is exactly ``difference`` and whose draws say how sure it is.

    ``pigments`` is the CIELAB sd, along a*, of what the camera makes of other pigments.
    """
    rng = np.random.default_rng(seed)
    difference, vehicle = np.asarray(difference, dtype=float), np.asarray(vehicle, dtype=float)
    null = rng.standard_normal((count, 3)) * sd
    turned = difference * (1 + stretch * rng.standard_normal((count, 1)))
    vehicles = np.tile(vehicle, (count, 1)) + 0.2 * rng.standard_normal((count, 3))
    of_pigments = pigments * rng.standard_normal((count, 1)) * [0.0, 1.0, 0.0]
    null = null + of_pigments
    draws = Draws(vehicles + turned + null, vehicles, null, of_pigments)
    return SimulatedReading(vehicle + difference, vehicle, draws, findings)
