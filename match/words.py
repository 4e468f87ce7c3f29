"""Small things that every sentence is put together with."""

from __future__ import annotations

from collections.abc import Sequence


def capital(words: str) -> str:
    """Return the words with a capital first letter and the rest as it is."""
    return words[:1].upper() + words[1:]


def listed(words: Sequence[str]) -> str:
    """Return ``one``, ``one and two`` or ``one, two and three``."""
    return " and ".join(part for part in (", ".join(words[:-1]), *words[-1:]) if part)
