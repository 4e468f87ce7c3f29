"""A photo and its marks become a verdict: composition only, no formulas."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

import numpy as np

from match import calibration as files
from match.check import words
from match.check.marks.borders import PREVIEW_SIDE_PX
from match.check.marks.judgement import conclude, evidence, told_of, weigh
from match.check.marks.rules import MarkRules
from match.check.next_step import NextStep, NextStepFile, next_steps, predicted_step
from match.check.step_errors import PhotoErrors, StepCode
from match.check.verdict import (
    Decision,
    Finish,
    Junction,
    RoomHides,
    Thresholds,
    Tolerances,
    Verdict,
    decide,
    needs_every_angle,
    sure_words,
    thresholds,
)
from match.check.viewers import Viewers, load_viewers
from match.measure.finding import Finding, Line, Names, Told, by_pixels, remedies_of, text_of, told
from match.measure.measurement import CameraCalibration, Measurement, measure_cards
from match.measure.photo_code import PhotoCode
from match.measure.sampling import Patch, log_step
from match.measure.tone import GreyTolerance, prior_curve
from match.measure.uncertainty import ConfidenceCurve
from match.measure.wording import direction, meaning, off_by
from match.photo.regions import MOST_CARDS, Kind, Region, check_regions
from match.record import rounded

METHOD_VERSION = "6"
"""Raised whenever the same photo could give another answer, and kept with every saved check."""

MOST_PIXELS = 100_000
"""A region with more pixels than this is thinned: its mean is then known far better than its light."""


SAID_BY_MARKS = (
    PhotoCode.GREY_ON_PAINT,
    PhotoCode.FAR_APART,
    PhotoCode.GREYS_DISAGREE,
    PhotoCode.GREY_CAST,
    PhotoCode.GREY_UNEVEN,
)
"""Findings of a photo's quality that a wrong mark brings with it: not said twice."""


class CropLike(Protocol):
    """One region's pixels (see :class:`match.photo.load.Crop`)."""

    @property
    def linear(self) -> Any:
        """(h, w, 3) linear light in sRGB primaries."""

    @property
    def code(self) -> Any:
        """(h, w, 3) encoded values as fractions of full scale."""


class PhotoLike(Protocol):
    """What a check needs of a photo (see :class:`match.photo.load.Photo`)."""

    @property
    def width(self) -> int:
        """Pixels, upright."""

    @property
    def height(self) -> int:
        """Pixels, upright."""

    @property
    def scene_linear(self) -> bool:
        """Whether the file was decoded to light without a tone curve."""

    @property
    def code_step(self) -> float:
        """Quantisation step of the file's codes, full scale being 1."""

    @property
    def notes(self) -> tuple[str, ...]:
        """What the user should know of the file."""

    def crop(self, x: int, y: int, width: int, height: int, step: int = 1) -> CropLike:
        """Return every ``step``-th pixel of one rectangle, upright."""

    def preview(self, longest_side_px: int) -> Any:
        """Return the upright picture in sRGB codes, (h, w, 3) of whole numbers to 255, at most that long."""


class RoomLike(RoomHides, Protocol):
    """What the blend planner answers (see :class:`match.blend.room.Room`)."""

    def place(self, asked: str) -> str:
        """Return where the limits come from; ``asked`` is the junction that sides not described count as."""

    def as_dict(self) -> dict[str, Any]:
        """Return the plan for JSON."""


Planner = Callable[[Measurement], RoomLike]


@dataclass(frozen=True)
class GreyReference:
    """A grey reference; see ``calibration/greys.toml``."""

    label: str
    reflectance: float = files.quantity("luminous reflectance")
    tolerance: float = files.quantity("fraction")
    neutral: float = field(default=0.0, metadata={"unit": "log units", "low": None, "high": None})


@dataclass(frozen=True)
class Greys:
    """The grey references a shop may own, and the one assumed when nothing is said."""

    default: str
    greys: dict[str, GreyReference]

    @property
    def default_reflectance(self) -> float:
        """Luminous reflectance (0 to 1) of the default grey."""
        return self.greys[self.default].reflectance

    @property
    def named(self) -> dict[str, float]:
        """Reflectance of every grey by its name, as it may be typed in place of a number."""
        return {name: grey.reflectance for name, grey in self.greys.items()}

    def tolerance(self, reflectance: float) -> GreyTolerance:
        """Return how well the grey of this reflectance is known; the default's tolerance for a user's own."""
        for grey in self.greys.values():
            if abs(grey.reflectance - reflectance) < 1e-6:
                return GreyTolerance(grey.tolerance, grey.neutral)
        return GreyTolerance(self.greys[self.default].tolerance)


@dataclass(frozen=True)
class Calibration:
    """All the numbers a check rests on; ``fingerprint`` changes when any of them does."""

    camera: CameraCalibration
    greys: Greys
    tolerances: Tolerances
    viewers: Viewers
    marks: MarkRules
    steps: NextStepFile
    fingerprint: str

    def meaning(self, delta_e00: float) -> str:
        """Say what a CIEDE2000 difference looks like, by the shop's own limits."""
        return meaning(float(self.viewers.seeing(delta_e00)), float(self.viewers.objecting(delta_e00)))


def load_calibration() -> Calibration:
    """Read the calibration files, the user's own copies first."""
    tolerances = files.load(Tolerances, "tolerances")
    return Calibration(
        camera=files.load(CameraCalibration, "camera"),
        greys=files.load(Greys, "greys"),
        tolerances=tolerances,
        viewers=load_viewers(tolerances),
        marks=files.load(MarkRules, "marks"),
        steps=files.load(NextStepFile, "next_steps"),
        fingerprint=files.fingerprint("camera", "greys", "tolerances", "viewers", "marks", "next_steps"),
    )


@dataclass(frozen=True)
class CheckSettings:
    """What the user says of the job, and the Monte-Carlo's seed and number of draws."""

    finish: Finish = Finish.SOLID
    junction: Junction = Junction.PANEL_GAP
    seed: int = 20
    draws: int = 2500


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
    together.
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

    def said(self, names: Names = by_pixels) -> CheckWords:
        """Return what the photo's regions are named in, by the names that the reader knows."""
        return CheckWords(
            text_of(self.because, names),
            remedies_of(self.next_steps, names),
            told(self.warnings, names, self.photos),
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
        return _triple(self.measurement.card_lab - self.measurement.vehicle_lab)

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
            "thresholds": {"go_below": self.thresholds.go_below, "blend_below": self.thresholds.blend_below},
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
        }


def check_photo(
    photo: PhotoLike,
    regions: Sequence[Region],
    settings: CheckSettings,
    calibration: Calibration,
    planner: Planner | None = None,
) -> CheckResult:
    """Measure the marked regions of one photo and decide.

    Raises
    ------
    RegionError
        When a region is missing, outside, too small, or overlaps another kind.
    """
    measurement = measure_photo(photo, regions, settings, calibration)
    return judge(measurement, settings, calibration, planner, photo.notes)


def measure_photo(
    photo: PhotoLike, regions: Sequence[Region], settings: CheckSettings, calibration: Calibration
) -> Measurement:
    """Measure the marked regions of one photo, and judge the marks themselves; see :func:`check_photo`."""
    check_regions(regions, photo.width, photo.height)
    patches, measured = _measured(photo, regions, settings, calibration)
    (measurement,) = with_marks_judged(measured, patches, photo, calibration)
    return measurement


def measure_regions(
    photo: PhotoLike, regions: Sequence[Region], settings: CheckSettings, calibration: Calibration
) -> Measurement:
    """Measure regions whose marks are not to be judged: two places that may well be of one surface."""
    check_regions(regions, photo.width, photo.height)
    (measurement,) = _measured(photo, regions, settings, calibration)[1]
    return measurement


def measure_photo_cards(
    photo: PhotoLike, regions: Sequence[Region], settings: CheckSettings, calibration: Calibration
) -> tuple[Measurement, ...]:
    """Measure every card of one photo together, in the order of their marks; raises as :func:`check_photo` does."""
    check_regions(regions, photo.width, photo.height, most_cards=MOST_CARDS)
    patches, measured = _measured(photo, regions, settings, calibration)
    return with_marks_judged(measured, patches, photo, calibration)


def _measured(
    photo: PhotoLike, regions: Sequence[Region], settings: CheckSettings, calibration: Calibration
) -> tuple[list[Patch], tuple[Measurement, ...]]:
    patches = [read_patch(photo, region) for region in regions]
    measured = measure_cards(
        patches,
        frame_px=float(max(photo.width, photo.height)),
        grey_tolerance=calibration.greys.tolerance,
        scene_linear=photo.scene_linear,
        calibration=calibration.camera,
        seed=settings.seed,
        count=settings.draws,
    )
    return patches, measured


def with_marks_judged(
    measured: Sequence[Measurement], patches: Sequence[Patch], photo: PhotoLike, calibration: Calibration
) -> tuple[Measurement, ...]:
    """Return each card's measurement with what is doubtful of its marks; quality says nothing of the same slip."""
    rules, cost = calibration.marks, calibration.tolerances.costs.go.when_blend
    seen = evidence(patches, np.asarray(photo.preview(PREVIEW_SIDE_PX)), (photo.width, photo.height), rules)
    curve = prior_curve(calibration.camera.tone, photo.scene_linear)
    tolerance = max(
        calibration.greys.tolerance(r.reflectance).relative for r in seen.regions if r.reflectance is not None
    )
    cards = seen.of_kind(Kind.CARD)
    judged = []
    for card, measurement in zip(cards, measured, strict=True):
        slips = weigh(seen.of_card(card), curve, tolerance, measurement.delta_e00, rules)
        doubts = conclude(slips, cost, rules).slips
        if doubts:
            kept = tuple(found for found in measurement.findings if found.code not in SAID_BY_MARKS)
            mended = doubts[0].mend if len(cards) == 1 else ()
            measurement = replace(measurement, findings=told_of(doubts) + kept, mended=mended)
        judged.append(measurement)
    return tuple(judged)


def read_patch(photo: PhotoLike, region: Region) -> Patch:
    """Return the pixels of one region, thinned where there are more than :data:`MOST_PIXELS`."""
    step = max(1, round(np.sqrt(region.width * region.height / MOST_PIXELS)))
    crop = photo.crop(region.x, region.y, region.width, region.height, step)
    code = np.asarray(crop.code)
    rounding = log_step(code, photo.code_step, photo.scene_linear)
    if photo.scene_linear:
        code = np.sqrt(np.maximum(code, 0.0))  # limits for clipping and darkness are meant for encoded values
    return Patch(region, np.asarray(crop.linear, dtype=np.float64), code, step, rounding)


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
    findings = list(measurement.findings)
    errors = errors_of(measurement, calibration)
    better = surer(errors, decision, limits, calibration, settings)
    if decision.undecided:
        findings.insert(0, words.too_uncertain(measurement, better))
    if settings.finish is not Finish.SOLID and needs_every_angle(decision.verdict):
        findings.insert(0, words.angles_missing(settings.finish))
    findings += _one_sided(errors, limits, calibration, settings)
    verdict = Verdict.RETAKE if any(f.spoils for f in findings) else decision.verdict
    ways = off_by(measurement.card_lab, measurement.vehicle_lab, measurement.delta_lab_sd)
    asked = tolerances.junctions[settings.junction.value].label
    place = room.place(asked) if room else f"Junction, {asked}"
    hold = words.figures_hold(findings)
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
    )


def errors_of(measurement: Measurement, calibration: Calibration, here: int = 1, there: int = 0) -> PhotoErrors:
    """Return what a measurement's errors come from; ``here`` and ``there`` are its photos on the card's two sides."""
    greys = tuple(calibration.greys.tolerance(reflectance) for reflectance in measurement.light.reflectances)
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


def _triple(values: Any) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])
