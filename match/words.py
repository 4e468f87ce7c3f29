"""Small things that every sentence is put together with."""

import reprlib
import unicodedata
from collections.abc import Sequence

INVENTED = "Invented demonstration: no real car, paint or measurement."
"""What every page and sheet says of demo data."""

GIANT = 10**15
"""From here on a whole number is no weight, pixel or count, and says nothing written out."""


_FORMULA_STARTS = ("=", "+", "-", "@", "\N{MINUS SIGN}")


def begins_formula(cell: str) -> bool:
    """Return whether a spreadsheet would run a text; full-width and small signs are read as plain ones there."""
    return unicodedata.normalize("NFKC", cell.lstrip()[:1]).startswith(_FORMULA_STARTS)


def capital(words: str) -> str:
    """Return the words with a capital first letter and the rest as it is."""
    return words[:1].upper() + words[1:]


def listed(words: Sequence[str]) -> str:
    """Return ``one``, ``one and two`` or ``one, two and three``."""
    return " and ".join(part for part in (", ".join(words[:-1]), *words[-1:]) if part)


def shown(value: object) -> str:
    """Return a value that a file holds where another belongs, in a few signs; Python writes no giant number at all."""
    return "a giant number" if isinstance(value, int) and abs(value) >= GIANT else reprlib.repr(value)
