"""The errors a user can meet: each says in one sentence what was found and what to do."""


class MatchError(ValueError):
    """Input that is not a measurement at all; a doubtful measurement is a result, not an error."""


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
