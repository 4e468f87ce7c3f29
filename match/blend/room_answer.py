"""The room's answer: a plan and, where the colours come from a check, the verdict that check leads to in this room."""

from dataclasses import dataclass
from typing import Any

from match.blend.checked import Checked
from match.blend.job_sheet_pdf import JobSheetContent, Swatch
from match.blend.planned_job import PlannedJob
from match.blend.room import Room
from match.blend.sides import Length
from match.blend.words import LEAST_SAID, difference, keeps_within
from match.check.marks.code import MarkCode
from match.check.verdict import (
    Decision,
    Finish,
    Junction,
    Thresholds,
    Tolerances,
    Verdict,
    decide,
    limit_words,
    needs_every_angle,
    odds_words,
    sure_words,
    thresholds,
)
from match.check.words import DEEDS, TOO_FAR, TOO_WIDE
from match.colorimetry import triple
from match.measure.confidence import curve_of
from match.measure.words import difference_words, in_hundred
from match.words import capital

LAMP_BREAKS = "light-breaks-match"
"""The warning of a match that holds under one lamp only: the photos are sound, and it is no *go*."""

_ALLOWED = "is allowed where the colour ends in this room: paint straight, with no fade."
_ALLOWED_AND_FADED = "is allowed where the colour ends in this room. The plan fades it all the same: that paints less."
_FADED = "would show at an edge, and a fade in this room can hide it."
_NOT_ALL_DESCRIBED = (
    "may stop on the sides described, but the others count with a limit of {limit}: give their room too, or fade there."
)
_TOO_MUCH = "is more than this room can hide: tint and spray another card, or find more room."

_AGAINST = "The figures rest on somebody's word on the marks, against this doubt: {doubt}"
_MARKS = frozenset(code.value for code in MarkCode)

IN_ORDER = "Steps, in the order of doing"
NOT_YET = "The steps of this plan, not to be sprayed with this colour yet"
"""What stands above the steps, by whether the verdict is to spray."""


@dataclass(frozen=True)
class RoomAnswer:
    """A planned job with the verdict on it.

    Attributes
    ----------
    planned, room : the plan, and what the room hides
    verdict, reason : what to do, and the one sentence that says why
    decision, thresholds : the chances of each verdict in this room, and the limits that they are counted at
    place : where the limit for *go* comes from
    figures : what the verdict rests on besides, where the colours come from a check
    checked : that check; None where the colours were typed
    """

    planned: PlannedJob
    room: Room
    verdict: Verdict
    reason: str
    decision: Decision
    thresholds: Thresholds
    place: str
    figures: tuple[str, ...] = ()
    checked: Checked | None = None

    @property
    def sure(self) -> str:
        """How sure the verdict is, in words."""
        return sure_words(self.verdict, self.decision)

    @property
    def is_to_spray(self) -> bool:
        """Whether the verdict is to spray this colour."""
        return self.verdict in (Verdict.GO, Verdict.BLEND)

    @property
    def limits(self) -> str:
        """The limits in this room, in a sentence."""
        if self.thresholds.go_below < LEAST_SAID:
            best = limit_words(self.thresholds.blend_below)
            return f"{self.place}: without a fade it shows, blend up to {best}."
        return self.thresholds.sentence(self.place)

    @property
    def objecting(self) -> float:
        """The share of viewers who would object on the side where most do."""
        return max(side.objecting for side in self.planned.plan.sides)

    @property
    def kept(self) -> str:
        """How surely the plan keeps within the limits, and for which share of the viewers that is not enough."""
        sure = keeps_within("this plan", "the limits", self.planned.plan.hides_probability)
        return f"{sure}; {in_hundred(self.objecting)} viewers would still object"

    def as_dict(self) -> dict[str, Any]:
        """Return the verdict for JSON, with a check's own keys; the plan has its own record."""
        return {
            "verdict": self.verdict.value,
            "reason": self.reason,
            "sure": self.sure,
            "probabilities": {each.value: round(chance, 4) for each, chance in self.decision.probabilities.items()},
            "thresholds": self.thresholds.as_dict(),
            "expected_hours": {each.value: round(hours, 3) for each, hours in self.decision.expected_hours.items()},
            "figures": list(self.figures),
            "limits": self.limits,
            "viewers_objecting": round(self.objecting, 4),
            "parts": [each.as_dict() for each in self.planned.parts],
        }

    def sheet(self, heading: str, date: str, invented: bool = False, remarks: tuple[str, ...] = ()) -> JobSheetContent:
        """Return what the job sheet prints."""
        word, deed = DEEDS[self.verdict]
        job = self.planned
        return JobSheetContent(
            heading=heading,
            date=date,
            swatches=self._swatches(),
            verdict=f"{word}. {deed}",
            sureness=capital("; ".join(each for each in (self.sure, self.kept) if each)),
            reasons=(self.reason, *job.part_lines, *self.figures, self.limits),
            areas=job.plan.areas,
            side_lines=job.sheet_lines,
            steps=job.step_texts,
            steps_heading=IN_ORDER if self.is_to_spray else NOT_YET,
            rests_on=job.rests_on,
            remarks=remarks,
            inches=job.unit is Length.INCH,
            invented=invented,
        )

    def _swatches(self) -> tuple[Swatch, ...]:
        """Return both colours by the figures that the check gives of them, else the middle of what was typed."""
        if self.checked is None:
            card, vehicle = self.planned.pairs[0].middle
            return Swatch("card", triple(card)), Swatch("car", triple(vehicle))
        where, name = self.checked.where, self.checked.card_name
        called = f"card, {name}" if name else "card"
        return Swatch(called + where, self.checked.card_lab), Swatch("car" + where, self.checked.vehicle_lab)


def answer_for_colours(planned: PlannedJob, junction: Junction, tolerances: Tolerances) -> RoomAnswer:
    """Return what the plan calls for where the colours were typed and no photo was checked; see the next function."""
    room, limits, place = _limits(planned, junction, tolerances)
    decision = decide(curve_of(planned.plan.need.delta_e00), limits, tolerances)
    figures = (f"Difference {planned.plan.delta_e00:.2f} CIEDE2000, as typed.", _calls_for(decision))
    verdict = decision.verdict
    if verdict is Verdict.RETAKE:
        reason = "These two colours may be anything from alike to far apart: type how far they may be off, or measure."
    else:
        reason = _reason(planned.plan.delta_e00, verdict, limits, room, tolerances)
    return RoomAnswer(planned, room, verdict, reason, decision, limits, place, figures)


def answer_for_check(planned: PlannedJob, checked: Checked, tolerances: Tolerances) -> RoomAnswer:
    """Return the check's verdict by what this room hides; the least expected cost decides, as for any check.

    Parameters
    ----------
    planned : for ``checked.pairs``
    tolerances : ``calibration/tolerances.toml``
    """
    room, limits, place = _limits(planned, checked.junction, tolerances)
    decision = decide(checked.confidence, limits, tolerances)
    verdict, reason = _decided(checked, decision, limits, room, tolerances)
    figures = (
        *((f"Of several cards, this is {checked.card_name}.",) if checked.card_name else ()),
        f"{difference_words(checked.delta_e00, checked.interval)}{checked.where}.",
        _calls_for(decision),
        *(_AGAINST.format(doubt=each.text) for each in checked.warnings if each.code in _MARKS and not each.spoils),
    )
    return RoomAnswer(planned, room, verdict, reason, decision, limits, place, figures, checked)


def _limits(planned: PlannedJob, junction: Junction, tolerances: Tolerances) -> tuple[Room, Thresholds, str]:
    room = Room(planned.plan)
    place = room.place(tolerances.junctions[junction.value].label)
    return room, thresholds(tolerances, junction, room), place


def _calls_for(decision: Decision) -> str:
    return f"The true difference calls for, in this room: {odds_words(decision)}."


def _decided(
    checked: Checked, decision: Decision, limits: Thresholds, room: Room, tolerances: Tolerances
) -> tuple[Verdict, str]:
    if decision.undecided:
        low, high = checked.interval
        return Verdict.RETAKE, f"{capital(TOO_WIDE).format(low=low, high=high)}."
    spoiled = next((each for each in checked.warnings if each.spoils and each.code != LAMP_BREAKS), None)
    if spoiled:
        return Verdict.RETAKE, spoiled.text
    if checked.finish is not Finish.SOLID and not checked.angles_seen and needs_every_angle(decision.verdict):
        return Verdict.RETAKE, f"A {checked.finish.value} seen from one angle can be off at another: take the flop too."
    broken = next((each for each in checked.warnings if each.code == LAMP_BREAKS), None)
    if decision.verdict is Verdict.GO and broken:
        return (Verdict.BLEND if limits.blend_below > limits.go_below else Verdict.RETINT), broken.text
    return decision.verdict, _reason(checked.delta_e00, decision.verdict, limits, room, tolerances)


def _reason(delta_e00: float, verdict: Verdict, limits: Thresholds, room: Room, tolerances: Tolerances) -> str:
    size = f"A difference of {delta_e00:.1f}"
    if verdict is Verdict.GO:
        return f"{size} {_ALLOWED_AND_FADED if room.plan.needs_fade else _ALLOWED}"
    if verdict is Verdict.BLEND:
        if delta_e00 < limits.go_below:
            return f"{size} may hide here with no fade, but the photo may be off: a fade is the safer call."
        if delta_e00 < room.largest_without_fade:
            return f"{size} {_NOT_ALL_DESCRIBED.format(limit=difference(limits.go_below))}"
        return f"{size} {_FADED}"
    if delta_e00 >= tolerances.limits.blend_to_retint:
        return f"{size} {TOO_FAR}"
    if delta_e00 >= limits.blend_below:
        return f"{size} {_TOO_MUCH}"
    return (
        f"{size} is close to the {difference(limits.blend_below)} this room hides, and the photo may be off by more "
        "than that leaves: a comeback would cost more than another card."
    )
