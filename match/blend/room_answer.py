"""The room's answer: a plan and, where the colours come from a check, the verdict that check leads to in this room."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from match.blend.checked import Checked
from match.blend.job_sheet_pdf import JobSheetContent, Swatch
from match.blend.plan_figure_pdf import sheet_sides
from match.blend.planned_job import PlannedJob
from match.blend.room import Room, room_of
from match.blend.sides import Length
from match.blend.wording import LEAST_SAID, difference, sureness
from match.check.verdict import (
    Decision,
    Finish,
    Junction,
    Thresholds,
    Tolerances,
    Verdict,
    chance_words,
    decide,
    thresholds,
)
from match.check.words import DEEDS
from match.colorimetry import Array

LAMP_BREAKS = "light-breaks-match"
"""The warning of a match that holds under one lamp only: the photos are sound, and it is no *go*."""

_UNSEEN = "is not seen where the colour ends in this room: paint straight, with no fade."
_FADED = "would show at an edge, and a fade in this room can hide it."
_TOO_MUCH = "is more than this room can hide: tint and spray another card, or find more room."


@dataclass(frozen=True)
class RoomAnswer:
    """A planned job with the verdict on it, in words.

    Attributes
    ----------
    planned, room : the plan, and what the room hides
    verdict, reason : what to do, and the one sentence that says why
    figures : what the verdict rests on, where the colours come from a check
    """

    planned: PlannedJob
    room: Room
    verdict: Verdict
    reason: str
    figures: tuple[str, ...] = ()

    @property
    def limits(self) -> str:
        """What this room hides, with no fade and with the best one, in a sentence."""
        bare, best = difference(self.room.largest_without_fade), difference(self.room.largest_delta_e00)
        if self.planned.plan.hides_without_fade.all():
            return (
                f"In this room all of this difference hides with no fade, and up to {best} CIEDE2000 with the best one."
            )
        if self.room.largest_without_fade < LEAST_SAID:
            return f"In this room the best fade hides up to {best} CIEDE2000 in this direction; without one it shows."
        return f"In this room up to {bare} CIEDE2000 hides with no fade, and up to {best} with the best one."

    def as_dict(self) -> dict[str, Any]:
        """Return the verdict for JSON; the plan has its own record."""
        return {
            "verdict": self.verdict.value,
            "reason": self.reason,
            "figures": list(self.figures),
            "limits": self.limits,
            "largest_without_fade": round(self.room.largest_without_fade, 4),
        }

    def sheet(self, heading: str, date: str, invented: bool = False, remarks: tuple[str, ...] = ()) -> JobSheetContent:
        """Return what the job sheet prints."""
        word, deed = DEEDS[self.verdict]
        job = self.planned
        card, vehicle = job.pairs[0].middle
        return JobSheetContent(
            heading=heading,
            date=date,
            swatches=(Swatch("card", _triple(card)), Swatch("car", _triple(vehicle))),
            verdict=f"{word}. {deed}",
            sureness=f"this plan hides the difference: {sureness(job.plan.hides_probability)}",
            reasons=(self.reason, *self.figures, self.limits),
            need=job.need,
            repair_width_mm=job.repair.width_mm,
            repair_height_mm=job.repair.height_mm,
            sides=sheet_sides(job.plan, job.calibration.practice, job.unit),
            steps=job.instructions,
            timeline=job.timeline,
            cautions=job.cautions,
            remarks=remarks,
            inches=job.unit is Length.INCH,
            invented=invented,
        )


def answer_for_colours(planned: PlannedJob) -> RoomAnswer:
    """Return what the plan alone calls for, where the colours were typed and no photo was checked."""
    plan = planned.plan
    size = f"A difference of {plan.delta_e00:.1f}"
    room = room_of(plan, planned.pairs[0])
    if plan.hides_without_fade.mean() >= 0.5:
        return RoomAnswer(planned, room, Verdict.GO, f"{size} {_UNSEEN}")
    if plan.hides_probability >= 0.5:
        return RoomAnswer(planned, room, Verdict.BLEND, f"{size} {_FADED}")
    return RoomAnswer(planned, room, Verdict.RETINT, f"{size} {_TOO_MUCH}")


def answer_for_check(planned: PlannedJob, checked: Checked, tolerances: Tolerances) -> RoomAnswer:
    """Return the check's verdict by what this room hides; the least expected cost decides, as for any check.

    Parameters
    ----------
    planned : for ``checked.pairs``
    tolerances : ``calibration/tolerances.toml``
    """
    room = room_of(planned.plan, checked.pairs[0])
    limits = thresholds(tolerances, Junction.PANEL_GAP, room)  # a room knows its own junctions
    decision = decide(checked.confidence, limits, tolerances)
    verdict, reason = _decided(checked, decision, limits, tolerances)
    low, high = checked.interval
    chances = ", ".join(f"{each.value} {chance_words(chance)}" for each, chance in decision.probabilities.items())
    figures = (
        f"Difference {checked.delta_e00:.2f} CIEDE2000, 95 % sure between {low:.2f} and {high:.2f}.",
        f"The true difference calls for, in this room: {chances}.",
    )
    return RoomAnswer(planned, room, verdict, reason, figures)


def _decided(checked: Checked, decision: Decision, limits: Thresholds, tolerances: Tolerances) -> tuple[Verdict, str]:
    if decision.undecided:
        low, high = checked.interval
        return Verdict.RETAKE, (
            f"The difference lies somewhere between {low:.1f} and {high:.1f}: too wide to choose between go and retint."
        )
    spoiled = next((each for each in checked.warnings if each.spoils and each.code != LAMP_BREAKS), None)
    if spoiled:
        return Verdict.RETAKE, spoiled.text
    if decision.verdict is Verdict.GO and checked.finish is not Finish.SOLID and not checked.angles_seen:
        return Verdict.RETAKE, f"A {checked.finish.value} seen from one angle can be off at another: take the flop too."
    broken = next((each for each in checked.warnings if each.code == LAMP_BREAKS), None)
    if decision.verdict is Verdict.GO and broken:
        return (Verdict.BLEND if limits.blend_below > limits.go_below else Verdict.RETINT), broken.text
    return decision.verdict, _reason(checked.delta_e00, decision.verdict, limits, tolerances)


def _reason(delta_e00: float, verdict: Verdict, limits: Thresholds, tolerances: Tolerances) -> str:
    size = f"A difference of {delta_e00:.1f}"
    if verdict is Verdict.GO:
        return f"{size} {_UNSEEN}"
    if verdict is Verdict.BLEND:
        if delta_e00 < limits.go_below:
            return f"{size} may hide here with no fade, but the photo may be off: a fade is the safer call."
        return f"{size} {_FADED}"
    if delta_e00 >= tolerances.limits.blend_to_retint:
        return f"{size} is more than a fade should be asked to hide: tint and spray another card."
    if delta_e00 >= limits.blend_below:
        return f"{size} {_TOO_MUCH}"
    return (
        f"{size} is close to the {difference(limits.blend_below)} this room hides, and the photo may be off by more "
        "than that leaves: a comeback would cost more than another card."
    )


def _triple(values: Array) -> tuple[float, float, float]:
    first, second, third = (float(value) for value in values)
    return first, second, third
