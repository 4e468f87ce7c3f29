"""Weigh the evidence for every slip that marks may have, and say which one it looks like.

Each slip starts with the share of photos that have it (``calibration/marks.toml``); what the photo shows multiplies its
odds against right marks by a likelihood ratio. The photo is sent back when the probability of any slip is above the
one at which taking another photo costs as much as a wrong *go* would.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from match.check.marks import things
from match.check.marks.borders import Heights, Passes, passes, terrains
from match.check.marks.box import Box, look
from match.check.marks.code import MarkCode
from match.check.marks.greys import (
    SAME_STEP,
    Account,
    FrameLight,
    Implied,
    accounts,
    frame_light,
    implied,
    only_grey_ratios,
    robust,
    tone_fit,
)
from match.check.marks.rules import MarkRules
from match.check.marks.surround import Surround, surround
from match.colorimetry import Array
from match.measure.finding import Code, Finding
from match.measure.light import TO_COMPONENTS
from match.measure.photo_code import PhotoCode
from match.measure.sampling import Patch
from match.measure.tone import ToneFit
from match.photo.regions import Kind, Region

THE_SAME = np.array([0.08, 0.02, 0.02])
"""Log units a component: two car marks closer than this differ by no more than a CIEDE2000 of 2, light included."""


@dataclass(frozen=True)
class Slip:
    """One slip and how likely it is.

    Attributes
    ----------
    code, regions, values : what would be said of it
    log_odds : of this slip against right marks
    mend : all marks as they would be without the slip, where that can be said; else empty
    """

    code: Code
    regions: tuple[Region, ...]
    log_odds: float
    values: dict[str, float] = field(default_factory=dict)
    mend: tuple[Region, ...] = ()


@dataclass(frozen=True)
class MarkJudgement:
    """The probability of any slip, and the slips to tell of, the likeliest first; none where the marks are believed.

    ``asked`` are the marks of which a person's word would do, empty where it would not; ``believed`` are the slips that
    it has already spoken against.
    """

    probability: float
    slips: tuple[Slip, ...] = ()
    asked: tuple[Region, ...] = ()
    believed: tuple[Slip, ...] = ()


@dataclass(frozen=True, eq=False)
class Evidence:
    """What the photo shows of its marks; ``boxes``, ``apart``, ``around`` and ``regions`` are in the same order."""

    regions: tuple[Region, ...]
    boxes: tuple[Box, ...]
    apart: Passes
    around: Surround
    frame: FrameLight
    frame_px: float

    def of_kind(self, kind: Kind) -> list[int]:
        """Return the places of the marks of a kind."""
        return [place for place, region in enumerate(self.regions) if region.kind is kind]

    def of_card(self, card: int) -> Evidence:
        """Return what is seen of one card, by its place among the marks: without the other cards."""
        return _evidence_of_card(self, card)


def _evidence_of_card(seen: Evidence, card: int) -> Evidence:
    places = [k for k, region in enumerate(seen.regions) if k == card or region.kind is not Kind.CARD]
    between, lines = (each[np.ix_(places, places)] for each in (seen.apart.between, seen.apart.lines))
    apart = Passes(between, lines, seen.apart.sides[places])
    boxes = tuple(seen.boxes[k] for k in places)
    regions = tuple(box.region for box in boxes)
    return Evidence(regions, boxes, apart, seen.around.of(places), seen.frame, seen.frame_px)


def evidence(
    patches: Sequence[Patch], preview: NDArray[np.uint8], photo_px: tuple[int, int], rules: MarkRules
) -> Evidence:
    """Return what marks and frame show; ``preview`` is a small sRGB picture (h, w, 3) of a photo of ``photo_px``."""
    regions = tuple(patch.region for patch in patches)
    heights = [Heights(land, regions) for land in terrains(preview, *photo_px)]
    return Evidence(
        regions,
        tuple(look(patch) for patch in patches),
        passes(heights, rules.border.own_step),
        surround(heights[0], rules.border.own_step, rules.surround),
        frame_light(preview),
        float(max(photo_px)),
    )


def told_of(judged: MarkJudgement) -> tuple[Finding, ...]:
    """Return the slips as findings: they rule a verdict out, but are a caution where a person spoke against them."""
    told = [Finding(slip.code, True, slip.regions, slip.values) for slip in judged.slips]
    return (*told, *(Finding(slip.code, False, slip.regions, slip.values) for slip in judged.believed))


def weigh(seen: Evidence, curve: ToneFit, tolerance: float, delta_e00: float, rules: MarkRules) -> list[Slip]:
    """Return every slip with its odds.

    Parameters
    ----------
    seen : the evidence
    curve, tolerance : the prior of the camera's tone curve, and the greys' relative standard deviation
    delta_e00 : CIEDE2000 between card and car as marked
    """
    greys = seen.of_kind(Kind.GREY)
    stated = [seen.regions[place].reflectance or 1.0 for place in greys]
    noise = np.full(len(greys), float(np.hypot(tolerance, _light_noise(seen, greys, rules))))
    levels = np.array([seen.boxes[place].colour[0] for place in greys])
    fit = tone_fit(levels, stated, curve, noise)
    around = _implied(seen, greys, fit.gain, curve, rules)
    slips = [*across(seen.boxes, rules), *_pairs(seen, delta_e00, rules), *_car_parts(seen, around, rules)]
    slips += [*_elsewhere(seen, delta_e00, rules), _exchanged(seen, rules)]
    if len(greys) > 1:
        wide = tone_fit(levels, stated, replace(curve, covariance=4.0 * curve.covariance), noise)
        right = robust(fit, wide, rules.tail)
        others = accounts(levels, stated, curve, noise, rules.greys)
        slips += [_account_slip(seen, greys, other, right, rules) for other in others]
    alone = len(greys) == 1
    return [
        *slips,
        _value_slip(seen, greys, around, rules),
        *(_elsewhere_slip(seen, k, around, rules, alone) for k in greys),
    ]


def conclude(slips: Sequence[Slip], wrong_go_hours: float, rules: MarkRules) -> MarkJudgement:
    """Return the judgement: told of are the likeliest slip, and others about other marks that would do alone."""
    limit = rules.another_photo / (rules.another_photo + wrong_go_hours)
    probability = _of_any(slips, (), rules)
    if probability <= limit:
        unsaid = [replace(each, regions=()) for each in slips]
        believed = () if _of_any(unsaid, (), rules) <= limit else _named(slips, limit)[:1]
        return MarkJudgement(probability, believed=believed)
    told = _named([replace(each, log_odds=_log_odds(each, (), rules)) for each in slips], limit)
    named = tuple({region for slip in told for region in slip.regions})
    enough = _of_any(slips, named, rules) <= limit
    return MarkJudgement(probability, told, named if enough else ())


def _of_any(slips: Sequence[Slip], said: Sequence[Region], rules: MarkRules) -> float:
    """Return the probability of any slip, were the marks ``said`` to be right too."""
    odds = np.exp(np.minimum([_log_odds(slip, said, rules) for slip in slips], 50.0)).sum()
    return float(odds / (1.0 + odds))


def _log_odds(slip: Slip, said: Sequence[Region], rules: MarkRules) -> float:
    """Return the odds of a slip with a person's word on all its marks, where it was given."""
    spoken = bool(slip.regions) and all(region.sure or region in said for region in slip.regions)
    right, wrong = rules.answered
    return slip.log_odds + (float(np.log(wrong / right)) if spoken else 0.0)


def _named(slips: Sequence[Slip], limit: float) -> tuple[Slip, ...]:
    named: list[Slip] = []
    for slip in sorted(slips, key=lambda each: -each.log_odds):
        taken = {region for each in named for region in each.regions}
        alone = 1.0 / (1.0 + np.exp(-slip.log_odds)) > limit
        if not named or (alone and not taken & set(slip.regions)):
            named.append(slip)
    return tuple(named)


def _prior(share: float, ways: int = 1) -> float:
    return float(np.log(share / max(ways, 1)))


def across(boxes: Iterable[Box], rules: MarkRules) -> Iterator[Slip]:
    """Return, of each box, the slip of lying across a border, which needs no other mark to be seen."""
    for box in boxes:
        ratio = things.across(box, rules.across, rules.colour, rules.tail)
        yield Slip(MarkCode.ACROSS, (box.region,), _prior(rules.slips.across) + ratio)


def _pairs(seen: Evidence, delta_e00: float, rules: MarkRules) -> Iterator[Slip]:
    card = seen.of_kind(Kind.CARD)
    cars, greys = seen.of_kind(Kind.VEHICLE), seen.of_kind(Kind.GREY)
    for one in card:
        for car in cars:
            ratio = things.card_is_car(seen.boxes[one], seen.boxes[car], delta_e00, seen.frame_px, rules.colour)
            leaks = things.leaking(delta_e00, rules.border)
            ratio += things.no_border(float(seen.apart.between[one, car]), rules.border, rules.tail, leaks)
            ratio += things.no_line(_line_of(seen, one, car, cars), rules.border)
            ratio += things.not_enclosed(float(seen.around.enclosed[one]), rules.surround)
            marks = (seen.regions[one], seen.regions[car])
            yield Slip(MarkCode.ONE_SURFACE, marks, _prior(rules.slips.one_surface, len(cars)) + ratio)
    for grey in greys:
        for paint in (*card, *cars):
            ratio = things.paint_is_reference(seen.boxes[grey], seen.boxes[paint], seen.frame_px, rules.colour)
            ratio += things.no_border(float(seen.apart.between[grey, paint]), rules.border, rules.tail)
            marks = (seen.regions[grey], seen.regions[paint])
            rest = _without(seen.regions, grey) if len(greys) > 1 else ()
            yield Slip(MarkCode.GREY_ON_PAINT, marks, _prior(rules.slips.grey_on_paint, 2) + ratio, mend=rest)


def _line_of(seen: Evidence, card: int, car: int, cars: list[int]) -> float:
    """Return the line between card and car mark, or the clearest to a car mark that shows the very same.

    A mark that shows what another does, which lies beyond a line, moves nothing, wherever it lies; but a thing between
    any of them and the card mark may be the card itself.
    """
    lines = [
        float(seen.apart.lines[card, other])
        for other in cars
        if other == car or bool((np.abs(seen.boxes[other].colour - seen.boxes[car].colour) < THE_SAME).all())
    ]
    known = [line for line in lines if not np.isnan(line)]
    if not known or np.isnan(seen.apart.lines[card, car]):
        return np.nan
    return -np.inf if -np.inf in known else max(known)


def _car_parts(seen: Evidence, around: Implied, rules: MarkRules) -> Iterator[Slip]:
    cars, card = seen.of_kind(Kind.VEHICLE), seen.of_kind(Kind.CARD)
    paints = dict(
        zip((k for k in range(len(seen.regions)) if k not in seen.of_kind(Kind.GREY)), around.paints, strict=True)
    )
    for index, one in enumerate(cars):
        for other in cars[:index]:
            between = float(seen.apart.between[one, other])
            mirrored = TO_COMPONENTS @ np.exp(-0.5 * (paints[one] + paints[other]))
            pair = (seen.boxes[one], seen.boxes[other], between, seen.frame_px, mirrored)
            ratio = things.two_parts(*pair, rules.border, rules.colour, rules.tail)
            about = float(seen.around.car_paint[card[0], one]), float(seen.around.car_paint[card[0], other])
            ratio += things.both_about_the_card(about, rules.surround)
            far, near = sorted(
                (one, other), key=lambda k: -float(np.abs(seen.boxes[k].colour - seen.boxes[card[0]].colour).max())
            )
            marks = (seen.regions[far], seen.regions[near])
            odds = _prior(rules.slips.car_elsewhere) + ratio
            yield Slip(MarkCode.CAR_ELSEWHERE, marks, odds, mend=_without(seen.regions, far))


def _elsewhere(seen: Evidence, delta_e00: float, rules: MarkRules) -> Iterator[Slip]:
    """Return the slips of the card's mark, or all of the car's, on something else; either may lie on the car."""
    card, cars = seen.of_kind(Kind.CARD)[0], seen.of_kind(Kind.VEHICLE)
    marks, values = (seen.regions[card], seen.regions[cars[0]]), {"difference": float(round(delta_e00))}
    odds = _prior(rules.slips.far_apart) + things.far_apart(delta_e00, rules.colour)
    yield Slip(PhotoCode.FAR_APART, marks, odds, values)
    share = rules.slips.far_apart + (rules.slips.car_elsewhere if len(cars) == 1 else 0.0)
    ratio = things.on_another_part(delta_e00, rules.colour)
    ratio += things.about_the_card(float(seen.around.car_paint[card, cars].max()), rules.surround)
    yield Slip(MarkCode.CAR_NOT_ABOUT, marks[::-1], _prior(share) + ratio)


def _exchanged(seen: Evidence, rules: MarkRules) -> Slip:
    """Return the slip of card and car under each other's name; only one car mark can be the card."""
    card, cars = seen.of_kind(Kind.CARD)[0], seen.of_kind(Kind.VEHICLE)
    ratio = things.exchanged(float(seen.around.area[card]), float(seen.around.area[cars].max()), rules.surround)
    marks = (seen.regions[card], seen.regions[cars[0]])
    kinds = {card: Kind.VEHICLE, cars[0]: Kind.CARD}
    mend = tuple(replace(region, kind=kinds.get(place, region.kind)) for place, region in enumerate(seen.regions))
    return Slip(MarkCode.EXCHANGED, marks, _prior(rules.slips.exchanged) + ratio, mend=mend if len(cars) == 1 else ())


def _without(regions: tuple[Region, ...], place: int) -> tuple[Region, ...]:
    return tuple(region for index, region in enumerate(regions) if index != place)


def _implied(seen: Evidence, greys: list[int], gain: float, curve: ToneFit, rules: MarkRules) -> Implied:
    paints = np.array([box.colour for box in seen.boxes if box.region.kind is not Kind.GREY])
    return implied(seen.frame, paints, np.array([seen.boxes[k].colour for k in greys]), gain, curve, rules.frame)


def _light_noise(seen: Evidence, greys: list[int], rules: MarkRules) -> float:
    centres = np.array([seen.boxes[place].centre for place in greys])
    extent = float(np.linalg.norm(np.ptp(centres, axis=0))) / seen.frame_px
    return rules.greys.light[0] + rules.greys.light[1] * extent


def _account_slip(seen: Evidence, greys: list[int], other: Account, right: float, rules: MarkRules) -> Slip:
    ratio = other.log_density - right
    if other.kind == "stray":
        odds = _prior(rules.slips.grey_elsewhere) + np.log(other.share) + ratio
        return Slip(
            MarkCode.GREY_STRAY,
            (seen.regions[greys[other.stray]],),
            odds,
            mend=_without(seen.regions, greys[other.stray]),
        )
    marks = tuple(seen.regions[place] for place in greys)
    if other.kind == "ladder":
        return Slip(MarkCode.LADDER, marks, _prior(rules.slips.ladder) + ratio)
    moved = [place for place, source in enumerate(other.order) if place != source]
    told = {greys[k]: seen.regions[greys[other.order[k]]].reflectance for k in moved}
    mend = tuple(
        replace(region, reflectance=told[place]) if place in told else region
        for place, region in enumerate(seen.regions)
    )
    code = MarkCode.GREYS_SWAPPED if len(moved) == 2 else MarkCode.GREYS_TURNED
    odds = _prior(rules.slips.greys_swapped) + np.log(other.share) + ratio
    return Slip(code, tuple(marks[k] for k in moved), odds, mend=mend)


def _value_slip(seen: Evidence, greys: list[int], around: Implied, rules: MarkRules) -> Slip:
    """Return the slip of a wrong reflectance: the only grey's, or all of them by one factor."""
    first = seen.regions[greys[0]]
    stated = first.reflectance or 1.0
    steps = np.array([step for step in rules.greys.steps if abs(np.log(step / stated)) > SAME_STEP])
    densities = np.array([around.log_density(float(np.log(step / stated)), rules.frame) for step in steps])
    densities -= around.log_density(0.0, rules.frame)
    if len(greys) == 1:
        densities += np.log(only_grey_ratios(stated, steps, seen.around.beside[greys[0]], rules.greys, rules.surround))
        odds = _prior(rules.slips.grey_value) + _log_sum(densities)
    else:
        odds = _prior(rules.slips.ladder_scale, len(steps)) + _log_sum(densities)
    likely = float(steps[int(np.argmax(densities))])
    values = {"percent": round(100.0 * stated, 1), "likely": round(100.0 * likely, 1)}
    if len(greys) > 1:
        return Slip(MarkCode.LADDER, tuple(seen.regions[place] for place in greys), odds)
    mended = tuple(replace(r, reflectance=likely) if r.kind is Kind.GREY else r for r in seen.regions)
    return Slip(MarkCode.GREY_VALUE, (first,), odds, values, mended)


def _elsewhere_slip(seen: Evidence, place: int, around: Implied, rules: MarkRules, alone: bool) -> Slip:
    """Return the slip of a grey mark on something that is neither grey reference nor the marked paint."""
    box = seen.boxes[place]
    ratio = things.not_neutral(box, rules.colour)
    ratio += things.no_thing_of_its_own(int(seen.apart.sides[place]), rules.border)
    ratio += things.lies_in_more(float(seen.around.larger[place]), rules.surround, rules.tail)
    if alone:
        stated = box.region.reflectance or 1.0
        anything = np.linspace(np.log(0.03), np.log(0.85), 9)
        densities = np.array([around.log_density(float(log - np.log(stated)), rules.frame) for log in anything])
        ratio += _log_sum(densities) - float(np.log(len(anything))) - around.log_density(0.0, rules.frame)
    percent = round(100.0 * (box.region.reflectance or 1.0), 1)
    rest = () if alone else _without(seen.regions, place)
    odds = _prior(rules.slips.grey_elsewhere, len(seen.of_kind(Kind.GREY))) + ratio
    return Slip(MarkCode.GREY_ELSEWHERE, (box.region,), odds, {"percent": percent}, rest)


def _log_sum(values: Array) -> float:
    return float(np.logaddexp.reduce(values))
