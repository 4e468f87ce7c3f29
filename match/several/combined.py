"""What one or more photos of a pair, at one angle under one lamp, say together."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from match.colorimetry import Array, SignedTerms, delta_e00, signed_terms
from match.measure.confidence import ConfidenceCurve, confidence_curve
from match.measure.finding import Finding, findings_for_json
from match.measure.uncertainty import Draws
from match.record import by_name, rounded


@dataclass(frozen=True)
class Outlier:
    """A photo that disagrees with the others.

    ``chance`` is the probability of so large a disagreement in a photo that is like the others; ``delta_e00_without``
    what the others give.
    """

    name: str
    chance: float
    delta_e00_without: float

    def as_dict(self) -> dict[str, Any]:
        """Return the outlier for JSON."""
        return {
            "photo": self.name,
            "chance": round(self.chance, 6),
            "delta_e00_without": round(self.delta_e00_without, 4),
        }


@dataclass(frozen=True)
class Combined:
    """Card against vehicle from all photos of one angle and lamp; every CIELAB is D65, 2 degree.

    Attributes
    ----------
    names, left_out : photos that count, and photos that do not because a finding spoils them
    card_lab, vehicle_lab : (3,) best estimates
    covariance : (3, 3) of card minus vehicle
    draws : card, vehicle and null difference, (n, 3) each
    confidence, delta_e00, unbiased_delta_e00, interval, terms : as in a single photo's measurement
    between_sd : (3,) how far one placement lies from another beyond each photo's own noise; None for one photo
    gradient_lab, gradient_sd : (3,) half the disagreement of the two sides, and its sd; None without a swap
    outliers : photos that disagree with the rest; they still count
    budget : sd of the difference (CIEDE2000) from "camera and grey" and from "light and placement"
    findings : what is wrong, photo by photo and with the set
    """

    names: tuple[str, ...]
    left_out: tuple[str, ...]
    card_lab: Array
    vehicle_lab: Array
    covariance: Array
    draws: Draws
    confidence: ConfidenceCurve
    delta_e00: float
    unbiased_delta_e00: float
    interval: tuple[float, float]
    terms: SignedTerms
    between_sd: Array | None
    gradient_lab: Array | None
    gradient_sd: Array | None
    outliers: tuple[Outlier, ...]
    budget: dict[str, float]
    findings: tuple[Finding, ...]

    @property
    def delta_lab(self) -> Array:
        """Card minus vehicle (3,)."""
        return self.card_lab - self.vehicle_lab

    @property
    def delta_lab_sd(self) -> Array:
        """Standard deviation of card minus vehicle (3,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def sentence(self) -> str:
        """The result in one sentence."""
        count = len(self.names)
        photos = "one photo" if count == 1 else f"{count} photos together"
        low, high = self.interval
        return f"From {photos}: difference {self.delta_e00:.1f}, 95 % sure between {low:.1f} and {high:.1f}."

    def as_dict(self) -> dict[str, Any]:
        """Return the result for JSON, without the draws."""
        return {
            **by_name(self, "left_out", "card_lab", "vehicle_lab", "delta_lab", "delta_e00", "budget", "sentence"),
            **by_name(self, "between_sd", "gradient_lab", "gradient_sd"),
            "photos": list(self.names),
            "delta_lab_covariance": [rounded(row) for row in self.covariance],
            "delta_e00_unbiased": round(self.unbiased_delta_e00, 4),
            "delta_e00_interval": rounded(self.interval),
            "confidence": self.confidence.as_dict(),
            "outliers": [outlier.as_dict() for outlier in self.outliers],
            "findings": findings_for_json(self.findings),
        }


def with_confidence(found: Combined, confidence: ConfidenceCurve) -> Combined:
    """Return the result with another confidence, and the interval that follows from it."""
    return replace(found, confidence=confidence, interval=confidence.interval(0.95))


def summary(
    names: tuple[str, ...],
    card_lab: Array,
    vehicle_lab: Array,
    draws: Draws,
    between_sd: Array | None,
    gradient: tuple[Array, Array] | None,
) -> Combined:
    """Return the result that estimates and draws amount to, without findings.

    Parameters
    ----------
    names : the photos that count
    card_lab, vehicle_lab : (3,) best estimates
    draws : measurements that might have come out
    between_sd : (3,), None for one photo
    gradient : half the disagreement of two sides and its sd, (3,) each; None without a swap
    """
    confidence = confidence_curve(card_lab, vehicle_lab, draws)
    difference = draws.card_lab - draws.vehicle_lab
    stretched = difference - draws.null_difference - (card_lab - vehicle_lab)
    return Combined(
        names=names,
        left_out=(),
        card_lab=card_lab,
        vehicle_lab=vehicle_lab,
        covariance=np.cov(difference.T),
        draws=draws,
        confidence=confidence,
        delta_e00=float(delta_e00(card_lab, vehicle_lab)),
        unbiased_delta_e00=confidence.median,
        interval=confidence.interval(0.95),
        terms=signed_terms(card_lab, vehicle_lab),
        between_sd=between_sd,
        gradient_lab=gradient[0] if gradient else None,
        gradient_sd=gradient[1] if gradient else None,
        outliers=(),
        budget={
            "camera and grey": _size(stretched + draws.of_pigments, vehicle_lab),
            "light and placement": _size(draws.null_difference - draws.of_pigments, vehicle_lab),
        },
        findings=(),
    )


def _size(shift: Array, vehicle_lab: Array) -> float:
    """Return the root mean square CIEDE2000 of shifts (n, 3) from the vehicle's colour."""
    few = shift[:500]
    return float(np.sqrt(np.mean(delta_e00(vehicle_lab + few, np.broadcast_to(vehicle_lab, few.shape)) ** 2)))
