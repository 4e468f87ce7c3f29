"""A measurement becomes a verdict: composition only, no formulas."""

from collections.abc import Callable
from typing import Any, Protocol

from match.check import words
from match.check.calibration_files import Calibration
from match.check.next_step import NextStep, next_steps, predicted_step
from match.check.parts import checked_parts
from match.check.result import CheckResult
from match.check.settings import CheckSettings
from match.check.step_errors import PhotoErrors, StepCode
from match.check.verdict import (
    Decision,
    Finish,
    RoomHides,
    Thresholds,
    Verdict,
    allowed,
    decide,
    needs_every_angle,
    thresholds,
)
from match.measure.finding import Finding
from match.measure.measurement import Measurement
from match.measure.words import direction, off_by


class RoomLike(RoomHides, Protocol):
    """What the blend planner answers (see :class:`match.blend.room.Room`)."""

    def place(self, asked: str) -> str:
        """Return where the limits come from; ``asked`` is the junction that sides not described count as."""

    def as_dict(self) -> dict[str, Any]:
        """Return the plan for JSON."""


Planner = Callable[[Measurement], RoomLike]


def judge(
    measurement: Measurement,
    settings: CheckSettings,
    calibration: Calibration,
    planner: Planner | None = None,
    notes: tuple[str, ...] = (),
) -> CheckResult:
    """Decide on the measurement of one photo; with a ``planner``, by what the room really hides."""
    tolerances = calibration.tolerances
    room = planner(measurement) if planner else None
    limits = thresholds(tolerances, settings.junction, room)
    decision = decide(measurement.confidence, limits, tolerances)
    hold = words.figures_hold(measurement.findings)
    errors = errors_of(measurement, calibration)
    better = surer(errors, decision, limits, calibration, settings)
    doubts = []
    if settings.finish is not Finish.SOLID and needs_every_angle(decision.verdict):
        doubts.append(words.angles_missing(settings.finish))
    if decision.undecided and hold:  # an interval of figures that do not hold says nothing
        doubts.append(words.too_uncertain(measurement, better))
    # A fault of the photo or its marks is put right first: more photos of it would not help.
    findings = [*doubts, *measurement.findings] if hold else [*measurement.findings, *doubts]
    findings += _one_sided(errors, limits, calibration, settings)
    verdict = Verdict.RETAKE if any(f.spoils for f in findings) else decision.verdict
    ways = off_by(measurement.card_lab, measurement.vehicle_lab, measurement.delta_lab_sd)
    asked = tolerances.junctions[settings.junction.value]
    place = room.place(asked.label) if room else asked.place
    if hold:
        reasons = words.reasons_of(measurement, decision, limits, direction(ways), place)
    else:
        reasons = (words.faulty_reading(measurement.delta_e00),)
    return CheckResult(
        verdict=verdict,
        because=words.headline(verdict, measurement, limits, findings),
        reasons=reasons,
        next_steps=words.advice(verdict, ways if hold else (), findings),
        warnings=tuple(findings),
        notes=notes,
        ways=ways if hold else None,
        meaning=calibration.meaning(measurement.delta_e00) if hold else words.NOT_KNOWN,
        measurement=measurement,
        confidence=measurement.confidence,
        decision=decision,
        thresholds=limits,
        settings=settings,
        tolerances_version=tolerances.version,
        calibration_fingerprint=calibration.fingerprint,
        blend=room.as_dict() if room else None,
        better=better,
        parts=checked_parts(measurement.parts, allowed(tolerances).panel_gap, measurement.findings),
    )


def errors_of(measurement: Measurement, calibration: Calibration, here: int = 1, there: int = 0) -> PhotoErrors:
    """Return what a measurement's errors come from; ``here`` and ``there`` are its photos on the card's two sides."""
    others = measurement.other_steps
    greys = tuple(calibration.greys.tolerance(each, others) for each in measurement.light.reflectances)
    return PhotoErrors(measurement, calibration.camera, greys, here, there)


def surer(
    errors: PhotoErrors, decision: Decision, limits: Thresholds, calibration: Calibration, settings: CheckSettings
) -> tuple[NextStep, ...]:
    """Return what would make the decision surer; nothing where it is sure, or the photo itself is at fault."""
    if not words.figures_hold(errors.measurement.findings):
        return ()
    return next_steps(errors, decision, limits, calibration.tolerances, calibration.steps, settings.seed)


def _one_sided(
    errors: PhotoErrors, limits: Thresholds, calibration: Calibration, settings: CheckSettings
) -> tuple[Finding, ...]:
    """Say that the car is marked on one side of the card only, where it is and the figures hold."""
    if not words.figures_hold(errors.measurement.findings):
        return ()
    second = predicted_step(
        StepCode.SECOND_CAR_BOX, errors, limits, calibration.tolerances, calibration.steps, settings.seed
    )
    return (words.one_sided(second),) if second else ()
