"""A planned job: the blend plan with its steps in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from match.blend.instructions import caution_lines, instruction_lines, timeline_lines
from match.blend.plan import BlendPlan, plan_blend
from match.blend.room import BlendCalibration
from match.blend.sides import Direction, Length, Repair
from match.blend.steps import JobPractice, JobSteps, job_steps
from match.blend.viewing import ColourPair, Viewing
from match.blend.wording import need_lines, side_lines


@dataclass(frozen=True)
class PlannedJob:
    """A plan with everything needed to say it in words; lengths are worded in ``unit``."""

    plan: BlendPlan
    repair: Repair
    viewing: Viewing
    steps: JobSteps
    calibration: BlendCalibration
    practice: JobPractice
    pairs: tuple[ColourPair, ...]
    unit: Length

    @property
    def need(self) -> tuple[str, ...]:
        """What the eye asks for, and what was assumed of sides that nobody described."""
        described = {side.side.direction for side in self.plan.sides}
        silent = [direction.value for direction in Direction if direction not in described]
        lines = need_lines(self.plan, self.viewing, self.unit)
        if not silent:
            return lines
        where = " and ".join(silent)
        told = f"Nothing was said of the room {where}: paint and clear are counted to the repair's edge there."
        return (*lines, f"{told} Give that room too where the panel runs on: neither may stop hard on it.")

    @property
    def sides(self) -> tuple[tuple[str, ...], ...]:
        """What to do on each side."""
        return tuple(side_lines(side, self.calibration.practice, self.unit) for side in self.plan.sides)

    @property
    def instructions(self) -> tuple[str, ...]:
        """The job's steps in order, under the words that the data sheet comes first."""
        return instruction_lines(self.plan, self.steps, self.calibration.practice, self.practice, self.unit)

    @property
    def timeline(self) -> tuple[str, ...]:
        """From the first coat to the clear."""
        return timeline_lines(self.steps)

    @property
    def cautions(self) -> tuple[str, ...]:
        """The usual cautions."""
        return caution_lines(self.practice)


def plan_job(
    pairs: Sequence[ColourPair],
    repair: Repair,
    viewing: Viewing,
    calibration: BlendCalibration,
    practice: JobPractice,
    unit: Length,
    coats_to_cover: float | None = None,
) -> PlannedJob:
    """Plan the fade and the job for one or more pairs of colours (an angle or light each; the widest need wins)."""
    plan = plan_blend(pairs, repair, viewing, calibration.vision, calibration.practice, coats_to_cover)
    steps = job_steps(plan, repair, calibration.practice, practice)
    return PlannedJob(plan, repair, viewing, steps, calibration, practice, tuple(pairs), unit)
