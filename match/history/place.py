"""The history is found where the user said it is."""

from __future__ import annotations

import os

from match.history.store import Store

DATA_VARIABLE = "SPRAYOUT_DATA"
"""Names the data folder, or the address of a shared database, where no ``--data`` does."""


def history_place(given: str | None = None) -> str | None:
    """Return where the history is: as given, else as the environment says, else None for the user's data folder."""
    return given or os.environ.get(DATA_VARIABLE) or None


def open_history(given: str | None = None) -> Store:
    """Open the history; raises :class:`match.errors.StoreError` when it cannot be opened."""
    return Store.open(history_place(given))
