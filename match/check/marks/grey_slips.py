"""The slips of grey marks, each with its odds."""

from dataclasses import replace

import numpy as np

from match.check.marks import about_marks, things
from match.check.marks.code import MarkCode
from match.check.marks.evidence import Evidence
from match.check.marks.greys import Account, Implied, only_grey_ratios
from match.check.marks.rules import MarkRules
from match.check.marks.slip import Slip, prior, without
from match.colorimetry import Array
from match.photo.regions import Kind


def light_noise(seen: Evidence, greys: list[int], rules: MarkRules) -> float:
    """Return by how much (log units) the light on the greys may differ."""
    centres = np.array([seen.boxes[place].centre for place in greys])
    extent = float(np.linalg.norm(np.ptp(centres, axis=0))) / seen.frame_px
    return rules.greys.light[0] + rules.greys.light[1] * extent


def account_slip(seen: Evidence, greys: list[int], other: Account, right: float, rules: MarkRules) -> Slip:
    """Return the slip of another account of the greys than what is said of them, whose log density is ``right``."""
    ratio = other.log_density - right
    if other.kind == "stray":
        odds = prior(rules.slips.grey_elsewhere) + np.log(other.share) + ratio
        return Slip(
            MarkCode.GREY_STRAY,
            (seen.regions[greys[other.stray]],),
            odds,
            mend=without(seen.regions, greys[other.stray]),
        )
    marks = tuple(seen.regions[place] for place in greys)
    if other.kind == "ladder":
        return Slip(MarkCode.LADDER, marks, prior(rules.slips.ladder) + ratio)
    moved = [place for place, source in enumerate(other.order) if place != source]
    told = {greys[k]: seen.regions[greys[other.order[k]]].reflectance for k in moved}
    mend = tuple(
        replace(region, reflectance=told[place], sure=()) if place in told else region
        for place, region in enumerate(seen.regions)
    )
    code = MarkCode.GREYS_SWAPPED if len(moved) == 2 else MarkCode.GREYS_TURNED
    odds = prior(rules.slips.greys_swapped) + np.log(other.share) + ratio
    return Slip(code, tuple(marks[k] for k in moved), odds, mend=mend)


def value_slip(seen: Evidence, greys: list[int], around: Implied, rules: MarkRules) -> Slip:
    """Return the slip of a wrong reflectance: the only grey's, or all of them by one factor."""
    first = seen.regions[greys[0]]
    stated = first.reflectance or 1.0
    steps = np.array([step for step in rules.greys.steps if abs(np.log(step / stated)) > rules.greys.same_step])
    frame = np.array([around.log_density(float(np.log(step / stated)), rules.frame) for step in steps])
    densities = frame - around.log_density(0.0, rules.frame)
    if len(greys) > 1:
        odds = prior(rules.slips.ladder_scale, len(steps)) + _log_sum(densities)
        return Slip(MarkCode.LADDER, tuple(seen.regions[place] for place in greys), odds)
    owned = np.log(only_grey_ratios(stated, steps, seen.around.beside[greys[0]], rules.greys, rules.surround))
    each = prior(rules.slips.grey_value) + densities + owned
    likely = float(steps[int(np.argmax(each))])
    values = {"percent": round(100.0 * stated, 1), "likely": round(100.0 * likely, 1)}
    mended = tuple(replace(r, reflectance=likely, sure=()) if r.kind is Kind.GREY else r for r in seen.regions)
    others = tuple(zip(steps.tolist(), each.tolist(), strict=True))
    white = _log_sum(each) - around.gain_of_white(rules.frame)
    return Slip(MarkCode.GREY_VALUE, (first,), _log_sum(each), values, mended, others, white)


def elsewhere_slip(seen: Evidence, place: int, around: Implied, rules: MarkRules, alone: bool) -> Slip:
    """Return the slip of a grey mark on something that is neither grey reference nor the marked paint."""
    box = seen.boxes[place]
    ratio = things.not_neutral(box, rules.colour)
    ratio += things.no_thing_of_its_own(int(seen.apart.sides[place]), rules.border)
    ratio += about_marks.lies_in_more(float(seen.around.larger[place]), rules.surround, rules.tail)
    if alone:
        stated = box.region.reflectance or 1.0
        lowest, highest = np.log(rules.greys.anything)
        anything = np.linspace(lowest, highest, 9)
        densities = np.array([around.log_density(float(log - np.log(stated)), rules.frame) for log in anything])
        ratio += _log_sum(densities) - float(np.log(len(anything))) - around.log_density(0.0, rules.frame)
    percent = round(100.0 * (box.region.reflectance or 1.0), 1)
    rest = () if alone else without(seen.regions, place)
    odds = prior(rules.slips.grey_elsewhere, len(seen.of_kind(Kind.GREY))) + ratio
    return Slip(MarkCode.GREY_ELSEWHERE, (box.region,), odds, {"percent": percent}, rest)


def _log_sum(values: Array) -> float:
    return float(np.logaddexp.reduce(values))
