"""Documents of invented checks, with all that a reader asks of one."""

from collections.abc import Sequence
from typing import Any

import numpy as np


def document(
    difference: float,
    verdict: str,
    card: Sequence[float] = (50.0, 1.0, 2.0),
    vehicle: Sequence[float] = (51.0, 1.5, 2.0),
    sd: float = 0.25,
    **more: Any,
) -> dict[str, Any]:
    """Return a document of version 1; figures to four decimals, as they are printed."""
    found: dict[str, Any] = {
        "verdict": verdict,
        "reason": "an invented reason",
        "reasons": ["an invented reason, é ü 漆"],
        "delta_e00": round(difference, 4),
        "delta_e00_interval": [round(0.8 * difference, 4), round(1.2 * difference, 4)],
        "card_lab": np.round(card, 4).tolist(),
        "vehicle_lab": np.round(vehicle, 4).tolist(),
        "delta_lab": np.round(np.subtract(card, vehicle), 4).tolist(),
        "delta_lab_covariance": (sd**2 * np.eye(3)).round(4).tolist(),
        "finish": "solid",
        "junction": "panel-gap",
        "warnings": [],
        "thresholds": {"go_below": 0.8, "blend_below": 3.0},
    }
    return found | more
