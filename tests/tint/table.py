"""A tinting table for the tests: invented paints whose truth is known."""

from dataclasses import replace

import numpy as np

from match import calibration
from match.tint.card import CardColour
from match.tint.limits import TintLimits
from match.tint.pigment import Toner, TonerFile, formula_toners, paint_reflectance, toner_set
from match.tint.pot import TintLog, TintStep, add
from match.tint.tinting import TintJob
from match.tint.viewing import lab_from_reflectance

FILE = calibration.load(TonerFile, "toners")
SHELF = toner_set(FILE)
LIMITS = calibration.load(TintLimits, "tint", "limits")

BLUE = {"white": 60.0, "green-shade blue": 20.0, "black": 3.0, "violet": 2.0}


def lab_of(recipe: dict[str, float], shelf: dict[str, Toner] = SHELF) -> np.ndarray:
    """Return the CIELAB of a recipe in parts by weight."""
    toners, shares = formula_toners(shelf, recipe)
    return lab_from_reflectance(paint_reflectance(toners, shares, FILE.optics))


def card(lab: np.ndarray, car: np.ndarray, sd: float = 0.25) -> CardColour:
    """Return a card measured without error, but with the doubt of a good photo."""
    d = np.asarray(lab) - car
    return CardColour(lab, sd**2 * np.eye(3) + 0.08**2 * np.outer(d, d))


def job(mix: dict[str, float], car: np.ndarray, pot_g: float = 100.0, sd: float = 0.25, **more) -> TintJob:
    """Return a fresh job for a mix on the table and a car."""
    return TintJob(SHELF, FILE.optics, car, TintLog(pot_g, card(lab_of(mix), car, sd)), mix, **more)


def tinted(
    before: TintJob,
    mix: dict[str, float],
    additions_g: dict[str, float],
    shelf: dict[str, Toner] = SHELF,
    untinted_g: float = 0.0,
    sd: float = 0.25,
) -> TintJob:
    """Return the job after an addition whose card shows the truth of ``shelf``."""
    pot = add(before.log.pots()[-1], additions_g, untinted_g)
    total = sum(mix.values())
    recipe = dict(mix)
    for name, parts in pot.parts_of_base.items():
        recipe[name] = recipe.get(name, 0.0) + parts * total
    after = card(lab_of(recipe, shelf), before.vehicle_lab, sd)
    step = TintStep(additions_g, untinted_g, after=after)
    return replace(before, log=replace(before.log, steps=(*before.log.steps, step)))
