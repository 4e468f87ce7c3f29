"""Named parts beside the card: what already differs from the car before anybody paints, and how the card meets each."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from match.check.verdict import limit_words
from match.check.words import figures_hold
from match.colorimetry import Array
from match.measure.confidence import ConfidenceCurve
from match.measure.finding import Finding, Names, by_pixels, told
from match.measure.measurement import PartReading
from match.measure.uncertainty import Draws
from match.record import rounded

FACE = "face"
"""The angle of a photo that stands alone."""


class PairRead(Protocol):
    """Two paints as one photo, or several together, read them (:class:`match.measure.measurement.Measurement`)."""

    @property
    def card_lab(self) -> Array:
        """(3,) CIELAB of the first."""

    @property
    def vehicle_lab(self) -> Array:
        """(3,) CIELAB of the second."""

    @property
    def delta_e00(self) -> float:
        """CIEDE2000 between them as read."""

    @property
    def interval(self) -> tuple[float, float]:
        """Its 95 % interval."""

    @property
    def confidence(self) -> ConfidenceCurve:
        """That the true difference is at most a size."""

    @property
    def draws(self) -> Draws:
        """Monte-Carlo draws of both."""


@dataclass(frozen=True)
class CheckedPart:
    """A part with a colour of its own.

    Attributes
    ----------
    name : what a person calls it
    card, car : the card against the part, and the part against the car, by angle
    findings : of its own marks
    limit : the CIEDE2000 that passes unseen where two panels meet at a gap
    """

    name: str
    card: Mapping[str, PairRead]
    car: Mapping[str, PairRead]
    findings: tuple[Finding, ...]
    limit: float

    @property
    def figures_hold(self) -> bool:
        """Whether its figures mean something; its own marks may be at fault where the card's are not."""
        return figures_hold(self.findings)

    @property
    def already(self) -> PairRead:
        """The part against the car at the angle where they differ most."""
        return max(self.car.values(), key=lambda read: read.delta_e00)

    def sentences(self, names: Names = by_pixels) -> tuple[str, str]:
        """Return whether it differs before anybody paints and how the card meets it; else its fault and remedy."""
        if not self.figures_hold:
            fault = next(each for each in self.findings if each.spoils)
            return f"The {self.name} is not judged: {fault.clause(names, first=False)}", fault.remedy(names)
        worst = max(self.card.values(), key=lambda read: read.delta_e00)
        return (
            already_words(self.name, "car", self.already.delta_e00, self.already.interval, self.limit),
            f"The card differs from the {self.name} by {_size(worst.delta_e00, worst.interval)}.",
        )

    def as_dict(self) -> dict[str, Any]:
        """Return the part for JSON; both pairs are written as several photos' angles are."""
        return {
            "name": self.name,
            "figures_hold": self.figures_hold,
            "card": {angle: pair_as_dict(read) for angle, read in self.card.items()},
            "car": {angle: pair_as_dict(read) for angle, read in self.car.items()},
            "limit": self.limit,
            "warnings": [each.as_dict() for each in told(self.findings)],
            "sentences": list(self.sentences()),
        }


def already_words(name: str, beside: str, size: float, interval: tuple[float, float], limit: float) -> str:
    """Say whether a part differs from what it lies ``beside`` by more than passes unseen there."""
    low, high = interval
    much = _size(size, interval)
    if size > limit:
        surely = "" if low > limit else "probably "
        return (
            f"The {name} {surely}already differs from the {beside} by {much}, more than the {limit_words(limit)} that "
            "passes there: say so before anybody paints."
        )
    if high > limit:
        passes = f"up to {limit_words(limit)} passes there, and it may be more"
        return f"The {name} reads {much} from the {beside}; {passes}."
    return f"The {name} passes as the {beside}'s colour: they differ by {much}."


def _size(size: float, interval: tuple[float, float]) -> str:
    return f"{size:.1f} ({interval[0]:.1f} to {interval[1]:.1f})"


def pair_as_dict(read: PairRead) -> dict[str, Any]:
    """Return two paints for JSON, with the keys of one angle of several photos."""
    covariance = np.cov((read.draws.card_lab - read.draws.vehicle_lab).T)
    return {
        "card_lab": rounded(read.card_lab),
        "vehicle_lab": rounded(read.vehicle_lab),
        "delta_lab": rounded(read.card_lab - read.vehicle_lab),
        "delta_lab_covariance": [rounded(row) for row in covariance],
        "delta_e00": round(read.delta_e00, 4),
        "delta_e00_interval": rounded(read.interval),
        "confidence": read.confidence.as_dict(),
    }


def checked_parts(
    readings: Sequence[PartReading], limit: float, of_photo: Sequence[Finding] = ()
) -> tuple[CheckedPart, ...]:
    """Return the parts of one photo; ``limit`` as for :class:`CheckedPart`.

    Of what is found ``of_photo``, all that spoils the card's figures spoils those of its parts as well.
    """
    faults = tuple(found for found in of_photo if found.spoils)
    return tuple(
        CheckedPart(each.name, {FACE: each.card}, {FACE: each.car}, each.findings + faults, limit) for each in readings
    )
