"""The words of a check: its headline, reasons, advice, and the doubts that only a verdict can have.

Headline and advice may be a finding's: then its words are made where they are read.
"""

from collections.abc import Sequence

from match.check.next_step import STEPS_TOLD, NextStep
from match.check.step_errors import StepCode
from match.check.verdict import Decision, Finish, Thresholds, Verdict, limit_words, odds_words, size_words
from match.measure.finding import Code, Finding, Line, Words
from match.measure.measurement import Measurement
from match.measure.words import difference_words, direction

DEEDS = {
    Verdict.GO: ("Go", "Spray it as mixed."),
    Verdict.BLEND: ("Blend", "Fade it out across the room you have."),
    Verdict.RETINT: ("Retint", "Change the mix first."),
    Verdict.RETAKE: ("Retake", "This photo cannot decide."),
}
"""Each verdict in a word, and what it tells to do."""

DOUBTS = (
    "undecided",
    "angles-missing",
    "angle-missing",
    "angles-alike",
    "angles-swapped",
    "angle-miscalled",
    "light-breaks-match",
)
"""Spoiling findings that leave the figures what they are: the photo is sound and says too little."""

_REMEDIES = {
    "paint and light": "Add a second photo with the card moved to the car's other side: uneven light cancels. "
    "Or even out the light, mark the car on both sides of the card, and keep reflections off.",
    "grey reference": "Use a clean grey card that fills more of the frame.",
    "tone curve": "Put three grey steps in the frame, or take the photo as camera raw.",
    "camera colour": "Take the photo in daylight or under daylight lamps.",
    "mirrored surroundings": "Hold something black and matt where the paint mirrors it, and keep bright walls out.",
}


TOO_WIDE = "the difference is likely between {low:.1f} and {high:.1f}, and neither go nor retint can be ruled out"
"""Why an undecided verdict is *retake*; a template, without its full stop."""

TOO_FAR = "is more than a fade should be asked to hide: tint and spray another card."
"""What is said of a size that calls for *retint*."""


class DoubtCode(Code):
    """What a verdict can lack although the photo is sound."""

    UNDECIDED = (
        "undecided",
        lambda found: Words(
            f"{TOO_WIDE}.",
            f"{STEPS_TOLD[StepCode(found.values['step'])]}."
            if "step" in found.values
            else _REMEDIES[str(found.values["source"])],
        ),
    )
    ONE_SIDED = (
        "one-sided",
        "the car is marked on one side of the card only, so uneven light shows in full. With a second box on the "
        "other side, {low:.1f} to {high:.1f} would become about {then_low:.1f} to {then_high:.1f}.",
        "Mark the car on the card's other side too, where the photo shows it.",
    )
    ANGLES_MISSING = (
        "angles-missing",
        "this is one view, and a {finish} can be nearer face-on than at the flop.",
        "Take one more photo from a low angle (the flop) and one near the lamp's glare, and check all three together.",
    )


def figures_hold(findings: Sequence[Finding]) -> bool:
    """Say whether a measurement's figures mean something in spite of these findings."""
    return not any(finding.spoils and finding.code not in DOUBTS for finding in findings)


NOT_KNOWN = "not known while the photo is at fault"
"""Direction and meaning of a difference whose figures do not hold."""


def faulty_reading(delta_e00: float) -> str:
    """Return all that may be said of a difference (CIEDE2000) whose figures do not hold."""
    return f"It reads {delta_e00:.1f} CIEDE2000, but the photo's fault may be larger than that."


def too_uncertain(measurement: Measurement, better: Sequence[NextStep]) -> Finding:
    """Return that the difference may be anything from go to retint, with the best step or the source of most error."""
    source = max(measurement.budget, key=lambda name: measurement.budget[name])
    low, high = measurement.interval
    values: dict[str, float | str] = {"low": round(low, 1), "high": round(high, 1), "source": source}
    if better:
        values["step"] = better[0].code.value
    return Finding(DoubtCode.UNDECIDED, True, values=values)


def one_sided(step: NextStep) -> Finding:
    """Return that the car is marked on one side of the card only, with what a second box would bring."""
    (low, high), (then_low, then_high) = step.present, step.predicted
    sizes = {"low": low, "high": high, "then_low": then_low, "then_high": then_high}
    return Finding(DoubtCode.ONE_SIDED, False, values={name: round(size, 1) for name, size in sizes.items()})


def angles_missing(finish: Finish) -> Finding:
    """Return that one view of an effect finish is one view."""
    return Finding(DoubtCode.ANGLES_MISSING, True, values={"finish": finish.value})


def headline(verdict: Verdict, m: Measurement, limits: Thresholds, findings: Sequence[Finding]) -> Line:
    """Return the one sentence that says why, or the finding that does."""
    size = f"{m.delta_e00:.1f}"
    if verdict is Verdict.RETAKE:
        return next(found for found in findings if found.spoils)
    if verdict is Verdict.GO:
        allowed = f"{limit_words(limits.go_below)} allowed where the colour ends here: paint straight."
        if m.delta_e00 < limits.go_below:
            return f"A difference of {size_words(m.delta_e00, limits.go_below)} is under the {allowed}"
        read = size_words(m.delta_e00, limits.go_below)
        return f"The difference reads {read}, but without the photo's own errors it is likely under the {allowed}"
    if verdict is Verdict.BLEND:
        if m.delta_e00 < limits.go_below:
            return f"The difference reads {size}, but this photo is not sure enough to leave a hard edge: fade it."
        return f"A difference of {size} would show at an edge, and a fade can hide it."
    if m.delta_e00 < limits.blend_below:
        return f"The difference reads {size}, but it may be more than a fade can hide: tint and spray another card."
    return f"A difference of {size} {TOO_FAR}"


def reasons_of(m: Measurement, decision: Decision, limits: Thresholds, towards: str, place: str) -> tuple[str, ...]:
    """Return what the verdict rests on, in figures; ``place`` is where the limits come from."""
    reasons = [
        f"{difference_words(m.delta_e00, m.interval)}; {towards}.",
        limits.sentence(place),
        f"The true difference calls for: {odds_words(decision)}.",
    ]
    if m.delta_e00 - m.unbiased_delta_e00 > 0.05:
        reasons.append(
            f"Errors of the photo alone would show some difference even between equal colours; "
            f"without that lift {m.unbiased_delta_e00:.2f} is left."
        )
    return tuple(reasons)


def advice(verdict: Verdict, ways: Sequence[str], findings: Sequence[Finding]) -> tuple[Line, ...]:
    """Return what to do next, in order; ``ways`` are those in which the card is off."""
    if verdict is Verdict.RETAKE:
        return tuple(found for found in findings if found.spoils)
    if verdict is Verdict.GO:
        return (
            "Paint with the gun set-up and coats of the card, and keep the card with the job.",
            "On an open panel end with the gun's own soft edge; a masked edge belongs in a gap or at a body line.",
        )
    if verdict is Verdict.BLEND:
        return (
            "Cover the primer, then let each coat reach further than the one before.",
            "Clear the whole panel to an edge or a body line.",
        )
    return (
        f"Correct the colour first: {direction(ways)}." if ways else "Spray another card.",
        "Tint a small weighed pot, not the batch, and spray a new card with the same gun set-up.",
    )
