"""The steps of a job in words: a title and a few short lines each, for page, booth and job sheet alike."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from match.blend.amounts import Mix
from match.blend.coat_plans import BlendPractice
from match.blend.film import Gun
from match.blend.job_practice import JobPractice
from match.blend.options import StopKind
from match.blend.paint import CoatOrder
from match.blend.sides import Direction, Length
from match.blend.step import BY_HAND, COLOUR, Deed, JobSteps, Reach, Step
from match.blend.viewing import ColourPair, Viewing
from match.blend.words import MM_STEP, distance, from_edge, hands, length
from match.words import capital, listed

BAR_PER_PSI = 0.0689476  # exact to the digits: 1 psi = 6894.76 Pa
SHEET_FIRST = "Common practice, as a starting point: the product's technical data sheet comes first."

DULL = "ready when it is dull all over"
NO_STRING = "ready when a gloved finger on the masking beside it pulls no string"

TITLES = {
    Deed.WASH: "Wash",
    Deed.PROTECT: "Protect yourself and others",
    Deed.DEGREASE: "Degrease",
    Deed.MASK: "Mask",
    Deed.SCUFF: "Scuff",
    Deed.TACK: "Tack off",
    Deed.MIX_BASE: "Mix the colour",
    Deed.WET_BED: "Wet the fade zone",
    Deed.STIR: "Reduce the thin coat",
    Deed.GROUND_COAT: "Ground coat",
    Deed.BASE_COAT: "Colour coat",
    Deed.MID_COAT: "Mid-coat",
    Deed.ORIENT: "Orientation coat",
    Deed.MIX_CLEAR: "Mix the clear",
    Deed.CLEAR_COAT: "Clear coat",
    Deed.CLEAN: "Clean up",
    Deed.LOOK: "Look at it",
    Deed.RECORD: "Write down how it came out",
    Deed.NIBS: "Dust nibs and runs",
}
_COLOUR_PART = (Deed.MIX_BASE, Deed.WET_BED, Deed.STIR, *COLOUR)
PARTS = {
    Deed.WASH: "Wash",
    Deed.PROTECT: "Protect yourself and others",
    **dict.fromkeys((Deed.DEGREASE, Deed.MASK, Deed.SCUFF, Deed.TACK), "Degrease, mask, scuff, tack off"),
    **dict.fromkeys(_COLOUR_PART, "Colour"),
    **dict.fromkeys((Deed.MIX_CLEAR, Deed.CLEAR_COAT), "Clear"),
    **dict.fromkeys((Deed.CLEAN, Deed.LOOK, Deed.NIBS, Deed.RECORD), "Clean up, look, polish, write down"),
}
"""Which part of the job a step belongs to; each part's steps follow one another."""
ORDER_REASONS = {
    CoatOrder.INSIDE_OUT: "Each coat goes further than the one before: you see that it covers before the fade is laid.",
    CoatOrder.OUTSIDE_IN: (
        "Each coat stays shorter than the one before: its dry overspray falls on wet colour and is buried."
    ),
}
ALL_SIDES = "on every side"
EDGES = {
    StopKind.BODY_LINE: "foam tape, or tape folded back: a hard edge leaves a ridge under the clear",
    StopKind.GAP: "tape inside the gap, where a hard edge cannot be seen",
}


@dataclass(frozen=True)
class StepText:
    """One step in words; ``wait_min`` is the lowest and highest wait after it, 0 for none.

    ``set_up`` is the gun's, empty where nothing is sprayed: on paper it stands only where it changes.
    """

    deed: Deed
    title: str
    lines: tuple[str, ...]
    set_up: str = ""
    wait_min: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Told:
    """All that the words of a job rest on; ``areas`` says what is covered as one where there are several repairs."""

    steps: JobSteps
    practice: BlendPractice
    job: JobPractice
    viewing: Viewing
    pairs: tuple[ColourPair, ...]
    unit: Length
    areas: tuple[str, ...] = ()


def by_sheet(line: str) -> str:
    """Return what a job's figures rest on where a paint line's data sheet was typed."""
    return f"By the data sheet of {line} as you typed it; what it does not say is common practice."


def step_texts(told: Told) -> tuple[StepText, ...]:
    """Return every step in words, in order."""
    return tuple(_text(step, told) for step in told.steps.steps)


def mix_words(mix: Mix) -> str:
    """Return "200 ml clear and 100 ml hardener"."""
    return listed([f"{amount:.0f} ml {name}" for name, amount in mix.parts])


def gun_words(gun: Gun, unit: Length, step: Step | None = None) -> str:
    """Return a gun's set-up in words, pressure in psi and bar, with a step's own factors and overlap."""
    low, high = gun.gun_distance[0], gun.gun_distance[-1]
    psi = gun.air_pressure[0], gun.air_pressure[-1]
    overlap = (gun.overlap, gun.overlap)
    if step is not None:
        low, high = low * step.distance[0], high * step.distance[1]
        psi = psi[0] * step.pressure[0], psi[1] * step.pressure[1]
        overlap = step.overlap if step.overlap[1] > 0.0 else overlap
    return (
        f"Gun ({gun.words}): {length(low, unit)} to {length(high, unit)} from the panel, "
        f"{psi[0]:.0f} to {psi[1]:.0f} psi ({psi[0] * BAR_PER_PSI:.1f} to {psi[1] * BAR_PER_PSI:.1f} bar), needle "
        f"{gun.needle_low:g} to {gun.needle_high:g} turns open, fan {length(gun.fan_width, unit)}, "
        f"{_percent(overlap)} overlap."
    )


def hours(minutes: float) -> str:
    """Return minutes as "1 h 05 min"."""
    whole, rest = divmod(round(minutes), 60)
    return f"{whole} h {rest:02d} min" if whole else f"{rest} min"


def _text(step: Step, told: Told) -> StepText:
    title = TITLES[step.deed] + (f" {step.coat} of {step.coats}" if step.coats > 1 else "")
    lines = _LINES.get(step.deed, _by_hand)(step, told)
    set_up = "" if step.gun is None else gun_words(step.gun, told.unit, step)
    return StepText(step.deed, title, tuple(line for line in lines if line), set_up, step.wait_min)


def _by_hand(step: Step, told: Told) -> list[str]:
    lines = [told.job.by_hand[BY_HAND[step.deed]].words]
    if step.deed is Deed.SCUFF:
        lines.append(_clear_to(step, told))
    return lines


def _protect(_step: Step, told: Told) -> list[str]:
    return [caution.words for caution in told.job.cautions.values()]


def _mask(step: Step, told: Told) -> list[str]:
    lines = [
        f"{'Part that stays' if each.painted else 'Glass, lamp or trim'} {each.side}, "
        f"{length(each.to_mm, told.unit)} from the {'nearest ' if told.areas else ''}repair: cover it."
        for each in step.reaches
        if each.mask not in EDGES
    ]
    lines += [
        f"{capital(_of(each.repair) + each.side)}, at {length(each.to_mm, told.unit)}: {EDGES[each.mask]}."
        for each in step.reaches
        if each.mask in EDGES
    ]
    lines.append("Cover the panels beside it, glass, lamps, trim, tyres and everything else that is not painted.")
    if told.steps.silent:
        where = listed([direction.value for direction in told.steps.silent])
        lines.append(
            f"Nothing was said of the room {where}: the paint is counted as on the furthest side. Measure it first; "
            "neither colour nor clear may stop hard on the panel."
        )
    return lines


def _mix(step: Step, _told: Told) -> list[str]:
    assert step.mix is not None
    mix = step.mix
    return [
        f"{capital(mix_words(mix))}: {mix.total_ml:.0f} ml ready to spray.",
        f"About {mix.total_ml - mix.reserve_ml:.0f} ml of it will be sprayed; {mix.reserve_ml:.0f} ml are reserve and "
        "what stays in cup and gun.",
    ]


def _mix_base(step: Step, told: Told) -> list[str]:
    lines = ["Stir, strain."]
    if step.coats > 1:
        lines.insert(0, "This is the ground." if step.coat == 1 else "This is the mid-coat.")
    if _differ(told.steps) and step.coat == step.coats:
        lines.append(ORDER_REASONS[told.steps.order])
    return [*_mix(step, told), *lines, *(told.areas if step.coat == 1 else ())]


def _differ(steps: JobSteps) -> bool:
    """Return whether the coats of colour differ in reach on any side."""
    coats = [each for each in steps.of(*COLOUR) if each.deed is not Deed.ORIENT]
    reaches = [{each.to_mm for each in row if each.sprayed} for row in zip(*(c.reaches for c in coats), strict=True)]
    return any(len(each) > 1 for each in reaches)


def _wet_bed(step: Step, told: Told) -> list[str]:
    lines = [f"One wet coat of clear blender, about {step.ready_ml:.0f} ml, so that dry edges lie down in it:"]
    ends = [(each, length(each.ease_from_mm, told.unit), length(each.to_mm, told.unit)) for each in step.reaches]
    lines += _on_sides([(each, f"from {inner} to {outer} from the repair") for each, inner, outer in ends], told)
    return [*lines, "Go on with the colour while it is wet."]


def _stir(step: Step, told: Told) -> list[str]:
    assert step.mix is not None
    paint, reducer = (amount for _, amount in step.mix.parts)
    further = f"stir in {reducer:.0f} ml reducer, {100 * told.practice.fade.last_coat_reduction:.0f} % more"
    if step.coat == 1:
        return [f"Pour {paint:.0f} ml of the mix into the cup and {further}.", "After this coat pour the rest on top."]
    return [f"Keep {paint:.0f} ml in the cup for the last coat, pour off what is more, and {further}."]


def _coat(step: Step, told: Told) -> list[str]:
    lines = []
    if step.deed is Deed.ORIENT:
        lines.append("A light coat over the colour, against mottling: it lays the flake evenly.")
    lines += _on_sides([(each, _way(each, told)) for each in step.reaches], told)
    lines.append(f"About {step.passes} passes, {step.ready_ml:.0f} ml, {hours(max(1.0, step.minutes))}.")
    return [*lines, _wait(step)]


def _on_sides(ways: list[tuple[Reach, str]], told: Told) -> list[str]:
    """Return one line for all sides of a repair that are handled alike, and the same lines once for several repairs."""
    by_repair: dict[str, list[tuple[Reach, str]]] = {}
    for reach, way in ways:
        by_repair.setdefault(reach.repair, []).append((reach, way))
    same: dict[tuple[str, ...], list[str]] = {}
    for repair, its_ways in by_repair.items():
        same.setdefault(tuple(_on_one(its_ways, told)), []).append(repair)
    return [f"{capital(_of(listed(repairs)) + line)}." for lines, repairs in same.items() for line in lines]


def _on_one(ways: list[tuple[Reach, str]], told: Told) -> list[str]:
    alike: dict[str, list[str]] = {}
    for reach, way in ways:
        alike.setdefault(way, []).append(reach.side)
    every = len(alike) == 1 and len(ways) == len(Direction) and not told.steps.silent
    return [f"{ALL_SIDES if every else listed(sides)}: {way}" for way, sides in alike.items()]


def _of(repair: str) -> str:
    return f"{repair}, " if repair else ""


def _way(reach: Reach, told: Told) -> str:
    unit = told.unit
    if not reach.sprayed:
        return "keep this coat inside the repair"
    if reach.mask is not None:
        return f"full strokes from the repair to {length(reach.to_mm, unit)}, over the edge of the tape"
    if reach.to_mm - reach.ease_from_mm < MM_STEP and abs(reach.to_mm) < MM_STEP:
        return "the middle of the last pass along the repair's edge"
    count = hands(reach.to_mm / told.practice.fade.hand_width)
    if reach.to_mm - reach.ease_from_mm < MM_STEP:
        return f"from the repair out, the middle of the last pass at {length(reach.to_mm, unit)} ({count})"
    begin = from_edge(reach.ease_from_mm, unit)
    return f"begin to ease the trigger off {begin}, let it go at {length(reach.to_mm, unit)} ({count})"


def _clear(step: Step, told: Told) -> list[str]:
    width, height = step.sizes_mm[0]
    return [
        _clear_to(step, told),
        f"{length(width, told.unit)} by {length(height, told.unit)}, about {step.passes} passes, {step.ready_ml:.0f} "
        f"ml, {hours(max(1.0, step.minutes))}, run-off counted.",
        "Start and end every stroke off the panel; never stop at a gap.",
        _wait(step) if step.coat < step.coats else "Then leave it in still, clean air as the data sheet says.",
    ]


def _clear_to(step: Step, told: Told) -> str:
    ends = listed([f"{each.side} to {length(each.to_mm, told.unit)}" for each in step.reaches])
    return f"The whole of what is cleared, from the {'nearest ' if told.areas else ''}repair: {ends}."


def _look(_step: Step, told: Told) -> list[str]:
    viewing, unit = told.viewing, told.unit
    seen = listed([distance(each, unit) for each in sorted(viewing.distances_m)])
    differences = listed([f"{pair.delta_e00:.1f} {pair.label}" for pair in told.pairs])
    return [
        f"Once hard: from {seen}, in about {viewing.light_lux:g} lux and under a second kind of lamp, and outdoors.",
        f"The plan was made for a difference of {differences}; walk round to see the flop.",
    ]


def _record(_step: Step, _told: Told) -> list[str]:
    return ["In the history, at this check: accepted, or came back and why. Later verdicts learn from it."]


def _wait(step: Step) -> str:
    if not step.wait_min[1]:
        return ""
    ready = NO_STRING if step.deed is Deed.CLEAR_COAT else DULL
    return f"Wait {step.wait_min[0]:.0f} to {step.wait_min[1]:.0f} minutes: {ready}."


def _percent(ends: tuple[float, float]) -> str:
    low, high = (round(100 * end) for end in ends)
    return f"{low} %" if np.isclose(low, high) else f"{low} to {high} %"


_LINES: dict[Deed, Callable[[Step, Told], list[str]]] = {
    Deed.PROTECT: _protect,
    Deed.MASK: _mask,
    Deed.MIX_BASE: _mix_base,
    Deed.WET_BED: _wet_bed,
    Deed.STIR: _stir,
    **dict.fromkeys(COLOUR, _coat),
    Deed.MIX_CLEAR: _mix,
    Deed.CLEAR_COAT: _clear,
    Deed.LOOK: _look,
    Deed.RECORD: _record,
}
