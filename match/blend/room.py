"""The room around a repair feeds the verdict: composition of a measurement with the blend planner."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from match import calibration as files
from match.blend.coat_plans import BlendPractice
from match.blend.plan import BlendPlan, plan_blend
from match.blend.record import as_dict
from match.blend.sides import Repair
from match.blend.viewing import ColourPair, Judging, Viewing, Vision
from match.colorimetry import Array, delta_e00
from match.errors import PlanError
from match.measure.measurement import Measurement

PLAN_SAMPLES = 1200
"""Monte-Carlo draws that a plan works on: the interval's ends then move by about 2 % of its width."""


@dataclass(frozen=True)
class BlendCalibration:
    """All the numbers a plan rests on."""

    vision: Vision
    practice: BlendPractice
    judging: Judging

    def viewing(self, judge: str | None = None, light_lux: float | None = None, *distances_m: float) -> Viewing:
        """Return how the result will be looked at; what is not given takes the shipped starting point.

        ``judge`` is a name in ``vision.toml``; raises :class:`PlanError` for one that is not there.
        """
        chosen = judge or self.judging.usual
        if chosen not in self.judging.strictness:
            known = ", ".join(self.judging.strictness)
            raise PlanError(f"nobody called {chosen!r} judges the result: choose one of {known}")
        start = self.judging.viewing
        return Viewing(
            start.light if light_lux is None else light_lux,
            distances_m or start.distances,
            self.judging.strictness[chosen],
        )


def load_blend_calibration() -> BlendCalibration:
    """Read the eye's and the trade's numbers, the user's own copies first."""
    return BlendCalibration(
        vision=files.load(Vision, "vision"),
        practice=files.load(BlendPractice, "practice"),
        judging=files.load(Judging, "vision"),
    )


@dataclass(frozen=True)
class Room:
    """What the room says to the verdict: the largest CIEDE2000 it hides with no fade at all, and with the best one."""

    plan: BlendPlan
    largest_without_fade: float

    @property
    def largest_delta_e00(self) -> float:
        """The largest CIEDE2000, in the measured direction, that the room hides."""
        return self.plan.largest_delta_e00

    def as_dict(self) -> dict[str, Any]:
        """Return the plan for JSON."""
        return as_dict(self.plan)


def room_of(plan: BlendPlan, pair: ColourPair) -> Room:
    """Read from the samples of a plan's first pair, at the angle that governs, where hiding without a fade ends.

    Along the measured direction a larger difference is never easier to hide, so the size that separates the samples
    hidden without a fade from the others is the quantile of all sizes at their share.
    """
    sizes = delta_e00(pair.card_lab, pair.vehicle_lab)
    share = float(plan.hides_without_fade.mean())
    return Room(plan, float(np.quantile(sizes, share)) if share > 0.0 else 0.0)


def thinned(samples: Array) -> Array:
    """Return at most :data:`PLAN_SAMPLES` rows of (n, 3) samples; draws are independent, so the first will do."""
    return samples[:PLAN_SAMPLES]


def planner(
    repair: Repair, viewing: Viewing, calibration: BlendCalibration, coats_to_cover: float | None = None
) -> Callable[[Measurement], Room]:
    """Return what plans a blend for a measurement, to be given to :func:`match.check.check.check_photo`."""

    def plan(measurement: Measurement) -> Room:
        card, vehicle = thinned(measurement.draws.card_lab), thinned(measurement.draws.vehicle_lab)
        pair = ColourPair("face-on", card, vehicle)
        made = plan_blend([pair], repair, viewing, calibration.vision, calibration.practice, coats_to_cover)
        return room_of(made, pair)

    return plan


def samples_from(card_lab: Array, vehicle_lab: Array, covariance: Array, seed: int) -> tuple[Array, Array]:
    """Return (n, 3) samples of card and vehicle for two Labs whose difference has a 3 x 3 covariance."""
    rng = np.random.default_rng(seed)
    error = rng.multivariate_normal(np.zeros(3), covariance, size=PLAN_SAMPLES, method="eigh")
    return card_lab + error, np.broadcast_to(vehicle_lab, error.shape).copy()
