"""What a check answers: the verdict with everything it rests on, and its form as JSON."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from match.check import words
from match.check.next_step import NextStep
from match.check.parts import CheckedPart
from match.check.settings import CheckSettings
from match.check.verdict import Decision, Thresholds, Verdict, sure_words
from match.colorimetry import triple
from match.measure.confidence import ConfidenceCurve
from match.measure.finding import Finding, Line, Names, Told, by_pixels, remedies_of, text_of, told
from match.measure.measurement import Measurement
from match.measure.words import direction
from match.record import rounded

METHOD_VERSION = "10"
"""Raised whenever the same photo could give another answer, and kept with every saved check."""


@dataclass(frozen=True)
class CheckWords:
    """The sentences of a check that name regions: why, what to do next, and what is wrong."""

    reason: str
    advice: tuple[str, ...]
    warnings: tuple[Told, ...]


@dataclass(frozen=True)
class CheckResult:
    """A verdict with everything it rests on; ``confidence`` is what the decision was taken on.

    ``because`` and ``next_steps`` are what :meth:`said` words; ``better`` is what would make an unsure answer surer;
    ``ways`` are those in which the card is off, None where the photo is at fault; ``photos`` is how many were judged
    together; ``parts`` are those with a colour of their own that were marked beside the card.
    """

    verdict: Verdict
    because: Line
    reasons: tuple[str, ...]
    next_steps: tuple[Line, ...]
    warnings: tuple[Finding, ...]
    notes: tuple[str, ...]
    ways: tuple[str, ...] | None
    meaning: str
    measurement: Measurement
    confidence: ConfidenceCurve
    decision: Decision
    thresholds: Thresholds
    settings: CheckSettings
    tolerances_version: str
    calibration_fingerprint: str
    blend: dict[str, Any] | None = field(default=None)
    photos: int = 1
    better: tuple[NextStep, ...] = ()
    parts: tuple[CheckedPart, ...] = ()

    def said(self, names: Names = by_pixels) -> CheckWords:
        """Return what the photo's regions are named in, by the names that the reader knows."""
        return CheckWords(
            text_of(self.because, names),
            remedies_of(self.next_steps, names),
            told(self.warnings, names, self.photos, self.because),
        )

    @property
    def sure(self) -> str:
        """How sure the verdict is, in words."""
        return sure_words(self.verdict, self.decision)

    @property
    def direction(self) -> str:
        """In which way the card is off, in words."""
        return words.NOT_KNOWN if self.ways is None else direction(self.ways)

    @property
    def figures_hold(self) -> bool:
        """Whether the figures mean something: not where the photo itself is at fault, only where it leaves a doubt."""
        return self.verdict is not Verdict.RETAKE or words.figures_hold(self.warnings)

    @property
    def delta_lab(self) -> tuple[float, float, float]:
        """Card minus vehicle in CIELAB."""
        return triple(self.measurement.card_lab - self.measurement.vehicle_lab)

    def as_dict(self) -> dict[str, Any]:
        """Return the result for JSON; ``delta_L``, ``delta_C`` and ``delta_H`` are CIEDE2000's dL', dC' and dH'."""
        m, said = self.measurement, self.said()
        return {
            "verdict": self.verdict.value,
            "reason": said.reason,
            "sure": self.sure,
            "reasons": list(self.reasons),
            "figures_hold": self.figures_hold,
            "probabilities": {v.value: round(p, 4) for v, p in self.decision.probabilities.items()},
            "delta_e00": round(m.delta_e00, 4),
            "delta_e00_interval": [round(m.interval[0], 4), round(m.interval[1], 4)],
            "confidence": self.confidence.as_dict(),
            "delta_e00_unbiased": round(m.unbiased_delta_e00, 4),
            "delta_L": round(m.terms.delta_lightness, 4),
            "delta_C": round(m.terms.delta_chroma, 4),
            "delta_H": round(m.terms.delta_hue, 4),
            "weighted_terms": rounded((m.terms.lightness, m.terms.chroma, m.terms.hue)),
            "delta_lab": rounded(self.delta_lab),
            "delta_lab_sd": rounded(m.delta_lab_sd),
            "delta_lab_covariance": [rounded(row) for row in np.cov((m.draws.card_lab - m.draws.vehicle_lab).T)],
            "card_lab_covariance": [rounded(row) for row in np.cov(m.draws.card_lab.T)],
            "card_lab": rounded(m.card_lab),
            "vehicle_lab": rounded(m.vehicle_lab),
            "colour_conditions": "CIELAB, D65, 2 degree observer",
            "direction": self.direction,
            "meaning": self.meaning,
            "thresholds": self.thresholds.as_dict(),
            "expected_hours": {v.value: round(h, 3) for v, h in self.decision.expected_hours.items()},
            "budget": {source: round(size, 4) for source, size in m.budget.items()},
            "warnings": [each.as_dict() for each in said.warnings],
            "notes": list(self.notes),
            "rejected_share": {s.region.name: round(s.rejected_share, 4) for s in m.samples},
            "blend": self.blend,
            "advice": list(said.advice),
            "next_steps": [each.as_dict() for each in self.better],
            "finish": self.settings.finish.value,
            "junction": self.settings.junction.value,
            "method_version": METHOD_VERSION,
            "tolerances_version": self.tolerances_version,
            "calibration": self.calibration_fingerprint,
            **({"parts": [each.as_dict() for each in self.parts]} if self.parts else {}),
        }
