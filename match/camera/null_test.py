"""The smallest difference a camera can be trusted with, from photos of two spots of one panel.

Such a pair has no difference, so whatever is measured is error. Each photo already expects some of it, from its own
light and texture; what comes on top, photo after photo, is the floor that this phone reaches. With few photos the floor
is poorly known: every size on a grid is weighed by a half-Cauchy prior about the usual floor times its likelihood.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from match.calibration import quantity
from match.colorimetry import Array
from match.errors import EvidenceError
from match.record import Rounded
from match.several.random_effects import positive, spread_grid

if TYPE_CHECKING:
    from match.measure.nearest import CardReading


@dataclass(frozen=True)
class NullRules:
    """Table ``null_test`` of ``calibration/own_camera.toml``."""

    floor_steps: tuple[float, ...] = quantity("CIELAB")


@dataclass(frozen=True)
class NullShot:
    """Two spots of one panel in one photo: their difference (3,), and the covariance (3, 3) that photo expects."""

    name: str
    difference: Array
    covariance: Array


@dataclass(frozen=True)
class CameraFloor(Rounded):
    """The floor of one camera.

    Attributes
    ----------
    floor_sd : CIELAB sd of each component, to be used as ``CameraErrors.pair_floor``; the posterior's median
    interval : its 95 % interval
    colour_share : share of the unexpected error that lies in a* and b*, 0..1 (2/3 when all components err alike)
    shots : photos used
    """

    floor_sd: float
    interval: tuple[float, float]
    colour_share: float
    shots: int


def null_shot(name: str, reading: CardReading, pair_floor: float) -> NullShot:
    """Return a null shot from a measurement whose card and vehicle are two spots of one panel.

    ``pair_floor`` (CIELAB sd) is the floor the measurement already assumed; it is taken out of what the photo expects.
    """
    expected = np.cov(reading.draws.null_difference.T) - pair_floor**2 * np.eye(3)
    return NullShot(name, reading.card_lab - reading.vehicle_lab, positive(expected))


def camera_floor(shots: Sequence[NullShot], usual_floor: float, rules: NullRules) -> CameraFloor:
    """Estimate the floor of one camera.

    Parameters
    ----------
    shots : at least one
    usual_floor : CIELAB sd that a camera has as a rule (``calibration/camera.toml``, ``errors.pair_floor``)
    rules : ``calibration/own_camera.toml``, table ``null_test``

    Raises
    ------
    EvidenceError
        Without any shot.
    """
    if not shots:
        raise EvidenceError("the camera's floor needs photos of two spots of one panel: take at least one")
    grid = spread_grid(rules.floor_steps, usual_floor)
    log_weight = np.log(grid.weight)
    for shot in shots:
        total = shot.covariance + (grid.between_sd**2)[:, None, None] * np.eye(3) + 1e-10 * np.eye(3)
        left = np.einsum("i,gij,j->g", shot.difference, np.linalg.inv(total), shot.difference)
        log_weight = log_weight - 0.5 * (np.linalg.slogdet(total)[1] + left)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    low, middle, high = (_quantile(grid.between_sd, weight, chance) for chance in (0.025, 0.5, 0.975))
    return CameraFloor(middle, (low, high), _colour_share(shots), len(shots))


def _quantile(size: Array, weight: Array, chance: float) -> float:
    """Return a quantile of a distribution on a grid, each point's weight spread halfway to its neighbours."""
    edges = np.concatenate([[size[0]], 0.5 * (size[1:] + size[:-1]), [size[-1]]])
    return float(np.interp(chance, np.concatenate([[0.0], np.cumsum(weight)]), edges))


def _colour_share(shots: Sequence[NullShot]) -> float:
    excess = np.mean([shot.difference**2 - np.diag(shot.covariance) for shot in shots], axis=0)
    excess = np.maximum(excess, 0.0)
    return float((excess[1] + excess[2]) / excess.sum()) if excess.sum() > 0 else 2.0 / 3.0
