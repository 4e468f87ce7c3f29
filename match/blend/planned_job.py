"""A planned job: the blend plan with its steps in words."""

from collections.abc import Sequence
from dataclasses import dataclass

from match.blend.coat_plans import BlendPractice
from match.blend.job_practice import JobPractice
from match.blend.paint import SOLID, Paint
from match.blend.parts import PartAnswer, part_lines
from match.blend.plan import BlendPlan, plan_blend
from match.blend.room import BlendCalibration
from match.blend.sides import Length, Repair
from match.blend.step import JobSteps
from match.blend.step_words import SHEET_FIRST, StepText, Told, by_sheet, step_texts
from match.blend.steps import job_steps
from match.blend.undercoat import over_undercoats, usual_coats
from match.blend.undercoat_words import covering_lines
from match.blend.viewing import ColourPair, Viewing
from match.blend.words import area_lines, need_lines, sheet_lines, side_lines, sides_told
from match.words import listed


@dataclass(frozen=True)
class PlannedJob:
    """A plan with everything needed to say it in words; lengths are worded in ``unit``.

    ``paint_line`` names the data sheet that the practices follow, empty where they are common practice alone;
    ``covering`` says how many coats are planned where nobody said how many cover; ``parts`` is what was found of parts
    with a colour of their own, to which the plan is held already.
    """

    plan: BlendPlan
    viewing: Viewing
    steps: JobSteps
    calibration: BlendCalibration
    practice: JobPractice
    pairs: tuple[ColourPair, ...]
    unit: Length
    paint_line: str = ""
    covering: tuple[str, ...] = ()
    parts: tuple[PartAnswer, ...] = ()

    @property
    def part_lines(self) -> tuple[str, ...]:
        """What was found of parts with a colour of their own."""
        return part_lines(self.parts)

    @property
    def rests_on(self) -> str:
        """What the steps' figures rest on: common practice, or the data sheet of a paint line where it was typed."""
        return by_sheet(self.paint_line) if self.paint_line else SHEET_FIRST

    @property
    def need(self) -> tuple[str, ...]:
        """What the eye asks for, and what was assumed of sides that nobody described."""
        lines = (*need_lines(self.plan, self.viewing, self.unit), *self.areas)
        return (*lines, self.not_described) if self.not_described else lines

    @property
    def areas(self) -> tuple[str, ...]:
        """What is covered as one, where there are several repairs."""
        return area_lines(self.plan, self.unit)

    @property
    def not_described(self) -> str:
        """What was assumed of sides that nobody described; empty where all were."""
        if not self.steps.silent:
            return ""
        where = listed([direction.value for direction in self.steps.silent])
        return f"Nothing said of the room {where}: counted as on the furthest side."

    @property
    def sides(self) -> tuple[tuple[str, ...], ...]:
        """What to do on each side; sides of several repairs that are alike are told once."""
        told = sides_told(self.plan, self.unit)
        return tuple(side_lines(sides, self.calibration.practice, self.unit) for sides in told)

    @property
    def sheet_lines(self) -> tuple[tuple[str, ...], ...]:
        """What the job sheet says of each side beside the steps."""
        told = sides_told(self.plan, self.unit)
        return tuple(sheet_lines(sides, self.calibration.practice, self.unit) for sides in told)

    @property
    def step_texts(self) -> tuple[StepText, ...]:
        """The job's steps in words, in the order of doing."""
        blending = self.calibration.practice
        told = Told(self.steps, blending, self.practice, self.viewing, self.pairs, self.unit, self.areas)
        return step_texts(told)


def plan_job(
    pairs: Sequence[ColourPair],
    repairs: Sequence[Repair],
    viewing: Viewing,
    calibration: BlendCalibration,
    practice: JobPractice,
    unit: Length,
    coats_to_cover: float | None = None,
    paint: Paint = SOLID,
    paint_line: str = "",
    parts: tuple[PartAnswer, ...] = (),
) -> PlannedJob:
    """Plan the fade and the job for one panel's repairs, and one or more pairs of colours: the widest need wins."""
    plan = plan_blend(pairs, repairs, viewing, calibration.vision, calibration.practice, coats_to_cover, paint)
    steps = job_steps(plan, calibration.practice, practice, paint)
    told = _covering(plan, pairs[0], calibration.practice, paint) if coats_to_cover is None else ()
    return PlannedJob(plan, viewing, steps, calibration, practice, tuple(pairs), unit, paint_line, told, parts)


def _covering(plan: BlendPlan, pair: ColourPair, practice: BlendPractice, paint: Paint) -> tuple[str, ...]:
    lab, cover = pair.middle[0], practice.cover
    found = over_undercoats(lab, usual_coats(lab, cover, practice.hiding), cover, practice.hiding)
    return covering_lines(lab, plan.coats_to_cover, paint.undercoat, found, cover)
