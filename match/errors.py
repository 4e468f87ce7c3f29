"""The errors a user can meet: each says in one sentence what was found and what to do."""

from collections.abc import Callable
from typing import Any

Called = Callable[[Any], str]
"""What a marked region (:class:`match.photo.regions.Region`) is called where the sentence is read."""


class MatchError(ValueError):
    """Input that is not a measurement at all; a doubtful measurement is a result, not an error.

    An error that points at a region is given a function of what regions are called; :meth:`said` makes its sentence
    with the names that the reader knows, and ``str`` with the regions' pixels.
    """

    def __init__(self, words: str | Callable[[Called], str], *, begins_with: str = "") -> None:
        """Take the sentence, or what makes it; ``begins_with`` is the file's name that it begins with, if it does."""
        super().__init__(words if isinstance(words, str) else words(lambda region: str(region.name)))
        self._words = words
        self.begins_with = begins_with

    def said(self, called: Called) -> str:
        """Return the sentence with regions called by ``called``."""
        return self._words if isinstance(self._words, str) else self._words(called)


class PhotoError(MatchError):
    """A photo that cannot be read as one still colour picture."""


class RegionError(MatchError):
    """A marked region that cannot be measured: outside, too small, overlapping or missing."""


class CalibrationError(MatchError):
    """A calibration file with a missing value, a wrong unit or no source."""


class PlanError(MatchError):
    """A blend that cannot be planned from what was given."""


class TintError(MatchError):
    """Toners, formulas or amounts that cannot be used."""


class StoreError(MatchError):
    """A history that cannot be opened, read or written; what was saved before is untouched."""


class EvidenceError(MatchError):
    """A set of photos whose roles do not fit together."""


class FileError(MatchError):
    """A small file that cannot be read or written, or holds what no such file can."""


class MissingFileError(FileError):
    """A small file that is not there."""


class SavedCheckError(MatchError):
    """A saved check that is none, is of an unknown version, lacks a figure, or may not be used."""


class NetworkError(MatchError):
    """A way in from the shop's network that cannot be opened."""
