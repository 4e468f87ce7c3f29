"""Libraries that take a second to import, imported while the person looks at the first screen, whichever it is.

Two threads that import parts of one library at once can each meet the other's half, so whoever needs them waits.
"""

import gc
from importlib import import_module
from threading import Event, Thread

from match.colorimetry import colour_science

HEAD_START_SECONDS = 1.0
"""Engineering choice: the first screen reaches the browser before the import takes the processor."""

_needed = Event()
_importing: Thread | None = None


def begin() -> None:
    """Begin to import in the background, once for everybody; no page is imported, as a page belongs to a visit."""
    global _importing
    if _importing is None:
        _importing = Thread(target=_import, name="libraries", daemon=True)
        _importing.start()


def wait() -> None:
    """Wait for the import, if it was begun."""
    _needed.set()
    if _importing is not None:
        _importing.join()


def _import() -> None:
    _needed.wait(HEAD_START_SECONDS)
    for name in ("match.photo.found_marks", "match.several.judge", "match.history.store", "match.history.filing"):
        import_module(name)
    colour_science()
    _take_out_of_the_search_for_garbage()


def _take_out_of_the_search_for_garbage() -> None:
    """Say that what is imported stays: Streamlit has Python look for garbage in everything after each run of a page.

    Among the two hundred thousand objects of these libraries the search took a tenth of a second after every press.
    """
    gc.collect()
    gc.freeze()
