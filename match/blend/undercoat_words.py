"""What colour class and undercoat ask for, in words and as rows of a table."""

from collections.abc import Sequence

import numpy as np

from match.blend.undercoat import MOST_COATS, CoverPractice, OverUndercoat, best_undercoat
from match.colorimetry import Array

LEAST_LIGHTER = 0.05
"""Lightness below which a shade is called neither lighter nor darker: it would round to nothing."""


def class_words(lab: Array, practice: CoverPractice) -> str:
    """Return why a colour (3,) takes more than the common coats; empty where it does not."""
    return next((each.words for each in practice.classes.values() if each.holds(lab)), "")


def coats_words(coats: float) -> str:
    """Return a number of coats, or that no sensible number is enough."""
    if not np.isfinite(coats):
        return f"more than {MOST_COATS:g} coats"
    return "1 coat" if coats == 1.0 else f"{coats:g} coats"


def covering_lines(
    lab: Array, planned: float, undercoat: str | None, found: Sequence[OverUndercoat], practice: CoverPractice
) -> tuple[str, ...]:
    """Return how many coats are planned and why, and which undercoat would take the fewest."""
    why = class_words(lab, practice) or "as most colours"
    chosen = next((each for each in found if each.name == undercoat), None)
    over = f" over {chosen.words}" if chosen else ""
    first = f"Coats to cover{over}: {planned:g} ({why}; no hiding card told)."
    best = best_undercoat(tuple(found))
    if best.coats >= planned:
        return (first,)
    return (first, f"Over {best.words} it would be {coats_words(best.coats)}.")


def undercoat_rows(found: Sequence[OverUndercoat]) -> list[tuple[str, str, str]]:
    """Return one row an undercoat: its shade, its coats, and what is left of it after the coats that hide a chart."""
    return [(each.words.capitalize(), coats_words(each.coats), _left(each)) for each in found]


def _left(each: OverUndercoat) -> str:
    if abs(each.lightness) < LEAST_LIGHTER:
        return f"{each.left_delta_e00:.1f}"
    return f"{each.left_delta_e00:.1f}, {abs(each.lightness):.1f} {'lighter' if each.lightness > 0.0 else 'darker'}"
