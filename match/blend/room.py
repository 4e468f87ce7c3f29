"""The room around a repair feeds the verdict: composition of a measurement with the blend planner."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

import numpy as np

from match import calibration as files
from match.blend.coat_plans import BlendPractice
from match.blend.need import Range
from match.blend.paint import SOLID, Paint
from match.blend.parts import MeasuredPart, PartAnswer, hold_to_parts, parts_beside
from match.blend.plan import BlendPlan, plan_blend
from match.blend.plan_record import as_dict
from match.blend.sides import Direction, Repair
from match.blend.viewing import ColourPair, Judging, Viewing, Vision
from match.check.parts import CheckedPart, PairRead, checked_parts
from match.check.verdict import Finish, Tolerances, allowed
from match.check.viewers import Viewers, load_viewers
from match.colorimetry import Array, delta_e00, fresnel_reflectance
from match.errors import PlanError
from match.measure.confidence import ConfidenceCurve
from match.measure.measurement import Measurement
from match.measure.uncertainty import Draws
from match.record import rounded
from match.several.photo_set import Angle
from match.several.travel import ANGLE_WORDS

PLAN_SAMPLES = 1200
"""Monte-Carlo draws that a plan works on: the interval's ends then move by about 2 % of its width."""


SAMPLING_SEED = 20
"""One for every plan, so that what is planned at once and from the saved check is one answer."""
LENGTH_STEPS = 3
"""CIEDE2000 is nearly a length along one direction: each step brings a sample's size nearer, the third within 0.001."""
SMALLEST_SIZE = 1e-6


@dataclass(frozen=True)
class BlendCalibration:
    """All the numbers a plan rests on."""

    vision: Vision
    practice: BlendPractice
    judging: Judging
    tolerances: Tolerances
    viewers: Viewers

    def viewing(self, judge: str | None = None, light_lux: float | None = None, *distances_m: float) -> Viewing:
        """Return how the result will be looked at; what is not given takes the shipped starting point.

        ``judge`` is a name in ``vision.toml``; raises :class:`PlanError` for one that is not there.
        """
        chosen = judge or self.judging.usual
        if chosen not in self.judging.strictness:
            known = ", ".join(self.judging.strictness)
            raise PlanError(f"nobody called {chosen!r} judges the result: choose one of {known}")
        start, strictness = self.judging.viewing, self.judging.strictness[chosen]
        return Viewing(
            start.light if light_lux is None else light_lux,
            distances_m or start.distances,
            strictness,
            allowed(self.tolerances, most=strictness.gap_limit),
            self.viewers,
            start.mirrored * float(fresnel_reflectance(0.0, start.refractive_index)),
        )


def load_blend_calibration() -> BlendCalibration:
    """Read the eye's and the trade's numbers, the user's own copies first."""
    tolerances = files.load(Tolerances, "tolerances")
    return BlendCalibration(
        vision=files.load(Vision, "vision"),
        practice=files.load(BlendPractice, "practice"),
        judging=files.load(Judging, "vision"),
        tolerances=tolerances,
        viewers=load_viewers(tolerances),
    )


@dataclass(frozen=True)
class Room:
    """What the room says to the verdict: the largest CIEDE2000 it hides with no fade at all, and with the best one."""

    plan: BlendPlan
    parts: tuple[PartAnswer, ...] = ()

    @property
    def largest_without_fade(self) -> float:
        """Where the colour may stop with no fade, by the strictest side; infinite where no side has colour beyond."""
        return min(side.largest_without_fade for side in self.plan.sides)

    @property
    def largest_delta_e00(self) -> float:
        """The largest CIEDE2000, in the measured direction, that the room hides."""
        return self.plan.largest_delta_e00

    @property
    def all_described(self) -> bool:
        """Whether all four sides were described."""
        return {side.side.direction for side in self.plan.sides} == set(Direction)

    def place(self, asked: str) -> str:
        """Return where the limit for *go* comes from; ``asked`` is the junction that sides not described count as."""
        told = []
        limits = {side.largest_without_fade for side in self.plan.sides}
        if isfinite(self.largest_without_fade) and (len(limits) > 1 or not self.all_described):
            told.append(f"strictest {self.plan.strictest.side.name}")
        if not self.all_described or not isfinite(self.largest_without_fade):
            told.append(f"sides not described count as {asked}")
        return f"The room around the repair ({'; '.join(told)})" if told else "The room around the repair"

    def as_dict(self) -> dict[str, Any]:
        """Return the plan for JSON."""
        parts = {"parts": [each.as_dict() for each in self.parts]} if self.parts else {}
        return {**as_dict(self.plan), **parts}


def thinned(samples: Array) -> Array:
    """Return at most :data:`PLAN_SAMPLES` rows of (n, 3) samples; draws are independent, so the first will do."""
    return samples[:PLAN_SAMPLES]


def measured_pair(label: str, draws: Draws, confidence: ConfidenceCurve, read: float) -> ColourPair:
    """Return the samples of a measurement, their sizes spread as its confidence curve says.

    The draws scatter about the colours as read, so noise lifts their differences, and a plan that counted them would
    find other chances than the verdict. Each keeps its direction and its rank and is given the size of that rank.
    """
    card, vehicle = thinned(draws.card_lab), thinned(draws.vehicle_lab)
    count = len(card)
    ranks = np.argsort(np.argsort(delta_e00(card, vehicle)))
    wanted = np.interp((ranks + 0.5) / count, confidence.cautious, confidence.size)
    for _ in range(LENGTH_STEPS):
        size = np.maximum(delta_e00(card, vehicle), SMALLEST_SIZE)
        card = vehicle + (card - vehicle) * (wanted / size)[:, np.newaxis]
    return ColourPair(label, card, vehicle, read)


def pair_as_saved(label: str, read: PairRead) -> ColourPair:
    """Return the samples that a plan from the saved check would draw, of the rounded figures that are saved."""
    card, vehicle = (np.array(rounded(lab)) for lab in (read.card_lab, read.vehicle_lab))
    covariance = np.cov((read.draws.card_lab - read.draws.vehicle_lab).T)
    samples = samples_from(card, vehicle, np.array([rounded(row) for row in covariance]), SAMPLING_SEED)
    drawn = Draws(*samples, samples[0] - samples[1] - (card - vehicle))
    return measured_pair(label, drawn, read.confidence, read.delta_e00)


def part_as_saved(part: CheckedPart, is_whole: bool) -> MeasuredPart:
    """Return a part with the samples that a plan from the saved check would draw; ``is_whole`` as for a part."""
    pairs = tuple(pair_as_saved(ANGLE_WORDS[Angle(angle)], read) for angle, read in part.card.items())
    low, high = part.already.interval
    already = Range(part.already.delta_e00, low, high)
    return MeasuredPart(part.name, pairs, already, part.figures_hold, is_whole)


def planner(
    repairs: Sequence[Repair],
    viewing: Viewing,
    calibration: BlendCalibration,
    coats_to_cover: float | None = None,
    paint: Paint = SOLID,
) -> Callable[[Measurement], Room]:
    """Return what plans a blend for a measurement, to be given to :func:`match.check.check.judge`."""

    def plan(measurement: Measurement) -> Room:
        pair = pair_as_saved(ANGLE_WORDS[Angle.FACE], measurement)
        read, is_whole = checked_parts(measurement.parts, viewing.allowed.panel_gap), paint.finish is Finish.SOLID
        measured = [part_as_saved(each, is_whole) for each in read]
        sureness = calibration.practice.fade.sureness
        beside = parts_beside(repairs[0], measured)
        held, parts = hold_to_parts(repairs, [pair], beside, viewing.allowed, sureness)
        made = plan_blend([pair], held, viewing, calibration.vision, calibration.practice, coats_to_cover, paint)
        return Room(made, parts)

    return plan


def samples_from(card_lab: Array, vehicle_lab: Array, covariance: Array, seed: int) -> tuple[Array, Array]:
    """Return (n, 3) samples of card and vehicle for two Labs whose difference has a 3 x 3 covariance."""
    rng = np.random.default_rng(seed)
    error = rng.multivariate_normal(np.zeros(3), covariance, size=PLAN_SAMPLES, method="eigh")
    return card_lab + error, np.broadcast_to(vehicle_lab, error.shape).copy()
