"""An invented pot to try tinting without a photo: its paint, its car and the cards sprayed from it are made up.

The invented toners tint a little stronger than the model thinks, so that the cards have something to teach.
"""

import numpy as np

from match.colorimetry import Array
from match.tint.card import CheckedCard
from match.tint.pigment import formula_toners, paint_reflectance
from match.tint.shelf_file import Shelf
from match.tint.story import Story
from match.tint.viewing import lab_from_reflectance

NAME = "invented card {}"
FORMULA = {"white": 60.0, "green-shade blue": 20.0, "black": 2.0, "violet": 0.5}
CAR = {"white": 60.0, "green-shade blue": 20.0, "black": 3.0, "violet": 1.6}
HIDDEN_STRENGTH = 1.2
SD, GOAL = 0.25, 0.8
NOISE_SEED = 7


def first_card(shelf: Shelf) -> CheckedCard:
    """Return the check of the untinted paint's card."""
    return _checked(_lab(FORMULA, shelf), shelf, NAME.format(1), 0)


def next_card(story: Story, shelf: Shelf) -> CheckedCard:
    """Return the check of a card sprayed from the story's pot as it stands."""
    recipe = {
        name: share * (1.0 if name in ("white", "green-shade blue") else HIDDEN_STRENGTH)
        for name, share in story.pot.shares(FORMULA).items()
    }
    number = 1 + sum(step.card is not None for step in story.steps)
    return _checked(_lab(recipe, shelf), shelf, NAME.format(number + 1), number)


def is_demo(story: Story) -> bool:
    """Return whether a story is of the invented pot."""
    return story.start.name == NAME.format(1)


def _checked(lab: Array, shelf: Shelf, name: str, number: int) -> CheckedCard:
    car = _lab(CAR, shelf)
    noise = np.random.default_rng([NOISE_SEED, number]).normal(0.0, SD / 2, 3)
    rows = tuple(tuple(float(value) for value in row) for row in SD**2 * np.eye(3))
    return CheckedCard(name, tuple(float(v) for v in lab - car + noise), rows, tuple(float(v) for v in car), GOAL)


def _lab(recipe: dict[str, float], shelf: Shelf) -> Array:
    toners, shares = formula_toners(shelf.toners, recipe)
    return lab_from_reflectance(paint_reflectance(toners, shares, shelf.optics))
