"""Checks as ``check --json`` prints them, of invented paints from the tinting table whose truth is known."""

import numpy as np

from match.colorimetry import delta_e00
from tests.tint.table import BLUE, lab_of

CAR = lab_of(BLUE)
MIX = {**BLUE, "black": 2.0}
"""The car's own paint with 1 part of black left out."""
TOTAL = sum(MIX.values())
FORMULA = ",".join(f"{name}={parts:g}" for name, parts in MIX.items())


def check(mix, car=CAR, finish="solid", sd=0.25, warnings=()):
    """Return the part of a check's JSON that is read again, rounded as it is printed; of no version, as at first."""
    lab = lab_of(mix)
    apart = float(delta_e00(lab, car))
    return {
        "verdict": "retint",
        "delta_e00": round(apart, 4),
        "delta_e00_interval": [round(0.8 * apart, 4), round(1.2 * apart, 4)],
        "card_lab": lab.round(4).tolist(),
        "vehicle_lab": car.round(4).tolist(),
        "delta_lab": (lab - car).round(4).tolist(),
        "delta_lab_covariance": (sd**2 * np.eye(3)).round(4).tolist(),
        "finish": finish,
        "junction": "panel-gap",
        "warnings": list(warnings),
        "thresholds": {"go_below": 0.8, "blend_below": 3.0},
    }


def after(grams, pot_g=100.0, strength=1.0):
    """Return the mix after grams of black went into a pot of it."""
    return {**MIX, "black": MIX["black"] + strength * TOTAL * grams / pot_g}
