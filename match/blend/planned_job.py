"""A planned job: the blend plan, its steps in words, and what its sheet prints."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from match.blend.instructions import caution_lines, instruction_lines, timeline_lines
from match.blend.job_sheet_pdf import JobSheetContent, Swatch
from match.blend.plan import BlendPlan, plan_blend
from match.blend.plan_figure_pdf import sheet_sides
from match.blend.room import BlendCalibration
from match.blend.sides import Direction, Length, Repair
from match.blend.steps import JobPractice, JobSteps, job_steps
from match.blend.viewing import ColourPair, Viewing
from match.blend.wording import need_lines, side_lines, sureness
from match.check.verdict import Verdict
from match.colorimetry import Array


@dataclass(frozen=True)
class PlannedJob:
    """A plan with everything needed to say it in words; lengths are worded in ``unit``."""

    plan: BlendPlan
    repair: Repair
    viewing: Viewing
    steps: JobSteps
    calibration: BlendCalibration
    practice: JobPractice
    card_lab: Array
    vehicle_lab: Array
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

    @property
    def call(self) -> Verdict:
        """What the plan alone calls for, where no photo was checked."""
        if self.plan.hides_without_fade.mean() >= 0.5:
            return Verdict.GO
        return Verdict.BLEND if self.plan.hides_probability >= 0.5 else Verdict.RETINT

    def verdict(self) -> str:
        """Return that call in words."""
        return {
            Verdict.GO: "Go: in this room the gun's own soft edge is fade enough",
            Verdict.BLEND: "Blend",
            Verdict.RETINT: "Retint: this room does not hide the difference",
        }[self.call]

    def sheet(
        self, heading: str, date: str, verdict: str, reasons: tuple[str, ...] = (), invented: bool = False
    ) -> JobSheetContent:
        """Return what the job sheet prints."""
        return JobSheetContent(
            heading=heading,
            date=date,
            swatches=(Swatch("card", _triple(self.card_lab)), Swatch("car", _triple(self.vehicle_lab))),
            verdict=verdict,
            sureness=f"this plan hides the difference: {sureness(self.plan.hides_probability)}",
            reasons=reasons,
            need=self.need,
            repair_width_mm=self.repair.width_mm,
            repair_height_mm=self.repair.height_mm,
            sides=sheet_sides(self.plan, self.calibration.practice, self.unit),
            steps=self.instructions,
            timeline=self.timeline,
            cautions=self.cautions,
            inches=self.unit is Length.INCH,
            invented=invented,
        )


def plan_job(
    pairs: list[ColourPair],
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
    card, vehicle = pairs[0].middle
    return PlannedJob(plan, repair, viewing, steps, calibration, practice, card, vehicle, unit)


def _triple(values: Array) -> tuple[float, float, float]:
    first, second, third = (float(value) for value in np.asarray(values))
    return first, second, third
