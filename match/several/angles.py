"""Metallic and pearl: one verdict from several angles.

The worst angle governs. While an angle that the finish needs is missing there is neither *go* nor *blend*, since the
one not seen may be the worst; *retint* stands on any angle.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from match.check.verdict import Decision, Finish, Thresholds, Tolerances, Verdict, decide, needs_every_angle
from match.colorimetry import triple
from match.measure.confidence import ConfidenceCurve
from match.measure.finding import Finding, Line, findings_for_json, remedies_of, text_of
from match.measure.words import direction, off_by
from match.record import by_name, rounded
from match.several.angle_order import OrderRules, order_findings
from match.several.combined import Combined
from match.several.findings import angle_missing, angle_undecided
from match.several.photo_set import Angle, Tilt
from match.several.travel import ANGLE_WORDS, Cause, Signature, TechniqueRules, Travel, signature, travels
from match.words import capital

NEEDED = {
    Finish.SOLID: (Angle.FACE,),
    Finish.METALLIC: (Angle.FACE, Angle.FLOP),
    Finish.PEARL: (Angle.NEAR_GLARE, Angle.FACE, Angle.FLOP),
}
"""The angles without which a finish is never *go* nor *blend*: the one not seen may be the worst."""

_SEVERITY = {Verdict.GO: 0, Verdict.BLEND: 1, Verdict.RETINT: 2}


@dataclass(frozen=True)
class AngleResult:
    """One angle: difference (CIEDE2000), 95 % interval, the ways in which the card is off, and its own decision."""

    angle: Angle
    delta_e00: float
    interval: tuple[float, float]
    delta_lab: tuple[float, float, float]
    delta_lab_sd: tuple[float, float, float]
    ways: tuple[str, ...]
    decision: Decision
    verdict: Verdict

    @property
    def sentence(self) -> str:
        """The angle in one sentence."""
        low, high = self.interval
        called = "cannot decide" if self.verdict is Verdict.RETAKE else self.verdict.value
        return (
            f"{capital(ANGLE_WORDS[self.angle])}: difference {self.delta_e00:.1f} ({low:.1f} to {high:.1f}), "
            f"{direction(self.ways)}: {called}."
        )

    def as_dict(self) -> dict[str, Any]:
        """Return the angle for JSON."""
        said = by_name(self, "delta_e00", "delta_lab", "delta_lab_sd", "verdict")
        interval = {"delta_e00_interval": rounded(self.interval), "direction": direction(self.ways)}
        return said | interval | by_name(self.decision, "probabilities")


@dataclass(frozen=True)
class EffectVerdict:
    """The verdict over all angles.

    Attributes
    ----------
    verdict, because : the verdict, and its headline or the finding that makes it
    worst : the angle that governs
    angles : every angle photographed
    probabilities : that the worst angle's true difference calls for go, blend or retint
    missing : needed angles without a photo
    travels, signature : card's change from angle to angle against the car's, and what it points to
    findings, reasons, next_steps : the weightiest first
    """

    verdict: Verdict
    because: Line
    worst: Angle
    angles: tuple[AngleResult, ...]
    probabilities: dict[Verdict, float]
    missing: tuple[Angle, ...]
    travels: tuple[Travel, ...]
    signature: Signature
    findings: tuple[Finding, ...]
    reasons: tuple[str, ...]
    next_steps: tuple[Line, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the verdict for JSON."""
        return {
            **by_name(self, "verdict", "probabilities", "reasons"),
            "reason": text_of(self.because),
            "worst_angle": self.worst.value,
            "angles": {result.angle.value: result.as_dict() for result in self.angles},
            "missing_angles": [angle.value for angle in self.missing],
            "travel": [travel.as_dict() for travel in self.travels],
            "signature": self.signature.as_dict(),
            "findings": findings_for_json(self.findings),
            "advice": list(remedies_of(self.next_steps)),
        }


def effect_verdict(
    by_angle: Mapping[Angle, Combined],
    finish: Finish,
    limits: Thresholds,
    tolerances: Tolerances,
    technique: TechniqueRules,
    order: OrderRules,
    tilts: Mapping[str, Tilt] | None = None,
) -> EffectVerdict:
    """Decide over all angles.

    Parameters
    ----------
    by_angle : at least one angle, all under the same lamp
    finish : decides which angles are needed
    limits, tolerances : as in :func:`match.check.verdict.decide`, the same at every angle
    technique, order : ``calibration/several.toml``, tables ``technique`` and ``angles``
    tilts : from how far off straight on photos were taken, by name, where they show the capture sheet
    """
    angles = tuple(_angle(angle, by_angle[angle], limits, tolerances) for angle in Angle if angle in by_angle)
    missing = tuple(angle for angle in NEEDED[finish] if angle not in by_angle)
    joint = decide(largest_of([by_angle[result.angle].confidence for result in angles]), limits, tolerances)
    verdict, worst = _governed(angles, joint)
    called = order_findings(by_angle, tilts or {}, finish, order)
    unseen = missing or any(found.spoils for found in called)
    if unseen and needs_every_angle(verdict):
        verdict = Verdict.RETAKE
    cause = signature(by_angle, technique)
    findings = (
        *_missing_findings(missing, verdict, finish),
        *_own_findings(by_angle),
        *_angle_findings(angles),
        *(called if verdict is Verdict.RETAKE else tuple(replace(found, spoils=False) for found in called)),
    )
    return EffectVerdict(
        verdict=verdict,
        because=_headline(verdict, worst, findings),
        worst=worst.angle,
        angles=angles,
        probabilities=joint.probabilities,
        missing=missing,
        travels=travels(by_angle),
        signature=cause,
        findings=findings,
        reasons=tuple(result.sentence for result in angles) + _causes(by_angle, cause, finish),
        next_steps=_advice(verdict, worst, cause, findings),
    )


def largest_of(curves: list[ConfidenceCurve]) -> ConfidenceCurve:
    """Return the confidence curve of the largest of several differences, taken as independent.

    Errors that the angles share make the chance that all of them are small higher than this, not lower.
    """
    size = np.unique(np.concatenate([curve.size for curve in curves]))
    unbiased = np.prod([np.interp(size, curve.size, curve.unbiased) for curve in curves], axis=0)
    cautious = np.prod([np.interp(size, curve.size, curve.cautious) for curve in curves], axis=0)
    return ConfidenceCurve(size, unbiased, cautious)


def _angle(angle: Angle, combined: Combined, limits: Thresholds, tolerances: Tolerances) -> AngleResult:
    decision = decide(combined.confidence, limits, tolerances)
    spoiled = any(finding.spoils for finding in combined.findings)
    return AngleResult(
        angle=angle,
        delta_e00=combined.delta_e00,
        interval=combined.interval,
        delta_lab=triple(combined.delta_lab),
        delta_lab_sd=triple(combined.delta_lab_sd),
        ways=off_by(combined.card_lab, combined.vehicle_lab, combined.delta_lab_sd),
        decision=decision,
        verdict=Verdict.RETAKE if spoiled else decision.verdict,
    )


def _governed(angles: tuple[AngleResult, ...], joint: Decision) -> tuple[Verdict, AngleResult]:
    """Return the verdict and the angle that makes it.

    A sure *retint* at one angle stands whatever the others say; short of that, an angle that cannot decide leaves the
    whole undecided; else the worst angle governs, or the least expected cost over all angles where that is worse.
    """
    decided = [result for result in angles if result.verdict is not Verdict.RETAKE]
    undecided = [result for result in angles if result.verdict is Verdict.RETAKE]
    if decided:
        worst = max(decided, key=lambda result: (_SEVERITY[result.verdict], result.delta_e00))
        if worst.verdict is Verdict.RETINT or not undecided:
            cheapest = min(joint.expected_hours, key=lambda verdict: joint.expected_hours[verdict])
            return max(worst.verdict, cheapest, key=lambda verdict: _SEVERITY[verdict]), worst
    return Verdict.RETAKE, max(undecided, key=lambda result: result.interval[1])


def _missing_findings(missing: tuple[Angle, ...], verdict: Verdict, finish: Finish) -> tuple[Finding, ...]:
    if verdict is Verdict.RETINT:
        return ()
    return tuple(angle_missing(angle, finish) for angle in missing)


def _own_findings(by_angle: Mapping[Angle, Combined]) -> tuple[Finding, ...]:
    return tuple(found for angle in Angle if angle in by_angle for found in by_angle[angle].findings)


def _angle_findings(angles: tuple[AngleResult, ...]) -> tuple[Finding, ...]:
    return tuple(angle_undecided(result.angle, result.interval) for result in angles if result.decision.undecided)


def _headline(verdict: Verdict, worst: AngleResult, findings: tuple[Finding, ...]) -> Line:
    where, size = ANGLE_WORDS[worst.angle], f"{worst.delta_e00:.1f}"
    if verdict is Verdict.RETAKE:
        return next(found for found in findings if found.spoils)
    if verdict is Verdict.GO:
        return f"The card matches at every angle needed; the largest difference is {size}, {where}."
    if verdict is Verdict.BLEND:
        return f"The worst angle governs: a difference of {size} {where} would show at an edge, and a fade can hide it."
    return f"The worst angle governs: a difference of {size} {where} is more than a fade should be asked to hide."


def _causes(by_angle: Mapping[Angle, Combined], cause: Signature, finish: Finish) -> tuple[str, ...]:
    if finish is Finish.SOLID:
        return ()
    return (*(travel.sentence for travel in travels(by_angle)), cause.sentence)


def _advice(verdict: Verdict, worst: AngleResult, cause: Signature, findings: tuple[Finding, ...]) -> tuple[Line, ...]:
    if verdict is Verdict.RETAKE:
        return tuple(found for found in findings if found.spoils)
    if verdict is Verdict.GO:
        return ("Paint with the gun set-up and coats of the card.", "Keep the card with the job.")
    if cause.cause is Cause.ORIENTATION:
        return cause.advice
    if verdict is Verdict.BLEND:
        return ("Cover the primer, then let each coat reach further than the one before.",)
    first = f"Correct the colour first: {direction(worst.ways)}." if worst.ways else "Spray another card."
    return (first, "Judge the next card at the same angles.")
