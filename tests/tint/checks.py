"""Checks as ``check --json`` prints them, of invented paints from the tinting table whose truth is known."""

from match.colorimetry import delta_e00
from tests.support.documents import document
from tests.tint.table import BLUE, lab_of

CAR = lab_of(BLUE)
MIX = {**BLUE, "black": 2.0}
"""The car's own paint with 1 part of black left out."""
TOTAL = sum(MIX.values())
FORMULA = ",".join(f"{name}={parts:g}" for name, parts in MIX.items())


def check(mix, car=CAR, finish="solid", sd=0.25, warnings=()):
    """Return a check's document, rounded as it is printed; of no version, as at first."""
    lab = lab_of(mix)
    apart = float(delta_e00(lab, car))
    return document(apart, "retint", lab, car, sd, finish=finish, warnings=list(warnings))


def after(grams, pot_g=100.0, strength=1.0):
    """Return the mix after grams of black went into a pot of it."""
    return {**MIX, "black": MIX["black"] + strength * TOTAL * grams / pot_g}
