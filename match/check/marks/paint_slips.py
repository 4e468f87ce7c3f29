"""The slips of card and car marks, each with its odds."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from match.check.marks import about_marks, things
from match.check.marks.box import Box
from match.check.marks.code import MarkCode
from match.check.marks.evidence import Evidence
from match.check.marks.greys import Implied
from match.check.marks.rules import ColourRules, LightsRules, MarkRules
from match.check.marks.slip import Slip, prior, without
from match.measure.light import TO_COMPONENTS
from match.measure.photo_code import PhotoCode
from match.photo.regions import Kind, Region


def across(boxes: Iterable[Box], rules: MarkRules) -> Iterator[Slip]:
    """Return, of each box, the slip of lying across a border, which needs no other mark to be seen."""
    for box in boxes:
        ratio = things.across(box, rules.across, rules.colour, rules.tail)
        yield Slip(MarkCode.ACROSS, (box.region,), prior(rules.slips.across) + ratio)


def pairs(seen: Evidence, delta_e00: float, rules: MarkRules) -> Iterator[Slip]:
    """Return the slips of two marks on one surface: a card's and a car's, or a grey's and a paint's."""
    card = seen.of_kind(Kind.CARD)
    cars, greys = seen.of_kind(Kind.VEHICLE), seen.of_kind(Kind.GREY)
    for one in card:
        for car in cars:
            ratio = things.card_is_car(seen.boxes[one], seen.boxes[car], delta_e00, seen.frame_px, rules.colour)
            leaks = things.leaking(delta_e00, rules.border)
            border = things.no_border(float(seen.apart.between[one, car]), rules.border, rules.tail, leaks)
            line = things.no_line(_line_of(seen, one, car, rules.colour), rules.border)
            around = seen.around
            parted = _parted(seen, one, car, rules.colour)
            about = about_marks.CardAbout(
                framed=float(around.framed[one]),
                parted=parted,
                enclosed=float(around.enclosed[one]),
                ways=float(around.ways[one]),
                another=around.another[one] is not None,
            )
            ratio += about_marks.one_surface(border, line, about, rules.border, rules.surround, rules.unmarked)
            marks = (seen.regions[one], seen.regions[car])
            odds = prior(rules.slips.one_surface, len(cars)) + ratio
            yield Slip(MarkCode.ONE_SURFACE, marks, odds, mend=_put_on_the_card(seen, one, odds))
    for grey in greys:
        for paint in (*card, *cars):
            ratio = things.paint_is_reference(seen.boxes[grey], seen.boxes[paint], seen.frame_px, rules.colour)
            ratio += things.no_border(float(seen.apart.between[grey, paint]), rules.border, rules.tail)
            marks = (seen.regions[grey], seen.regions[paint])
            rest = without(seen.regions, grey) if len(greys) > 1 else ()
            yield Slip(MarkCode.GREY_WITHOUT_BORDER, marks, prior(rules.slips.grey_on_paint, 2) + ratio, mend=rest)


def _put_on_the_card(seen: Evidence, card: int, log_odds: float) -> tuple[Region, ...]:
    """Return the marks with the card's on the card that is seen without one; none where there is no room for it.

    Nor where its mark is likelier right: a flap of the car looks like a card too, and would match the car.
    """
    there, rest = seen.around.another[card], without(seen.regions, card)
    if there is None or log_odds <= 0.0 or any(there.overlaps(each) for each in rest):
        return ()
    return (there, *rest)


def _line_of(seen: Evidence, card: int, car: int, rules: ColourRules) -> float:
    """Return the line between card and car mark, or the clearest to a car mark that shows the very same.

    A thing between any of them and the card mark may be the card itself.
    """
    lines = [float(seen.apart.lines[card, other]) for other in _same_as(seen, car, rules)]
    if np.isnan(seen.apart.lines[card, car]):
        return np.nan
    known = [line for line in lines if not np.isnan(line)]
    return -np.inf if -np.inf in known else max(known)


def _parted(seen: Evidence, card: int, car: int, rules: ColourRules) -> float:
    """Return by what share an edge is seen between card and car mark, or one that shows the very same.

    Not of a car mark inside the card's outline: it may be close to the car in colour, and the card itself.
    """
    if np.isnan(seen.around.parted[card, car]):
        return 0.0
    return float(np.nanmax(seen.around.parted[card, _same_as(seen, car, rules)]))


def _same_as(seen: Evidence, car: int, rules: ColourRules) -> list[int]:
    """Return a car mark and those that show the very same: if one is beyond an edge, none moves anything."""
    apart = {other: seen.boxes[other].colour - seen.boxes[car].colour for other in seen.of_kind(Kind.VEHICLE)}
    return [other for other in apart if other == car or bool((np.abs(apart[other]) < rules.very_same).all())]


def car_parts(seen: Evidence, around: Implied, rules: MarkRules) -> Iterator[Slip]:
    """Return the slips of two car marks that do not show one paint in one light."""
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
            ratio += about_marks.both_about_the_card(about, rules.surround)
            far, near = sorted(
                (one, other), key=lambda k: -float(np.abs(seen.boxes[k].colour - seen.boxes[card[0]].colour).max())
            )
            marks = (seen.regions[far], seen.regions[near])
            odds = prior(rules.slips.car_elsewhere) + ratio
            yield Slip(MarkCode.CAR_ELSEWHERE, marks, odds, mend=without(seen.regions, far))


def elsewhere(seen: Evidence, delta_e00: float, around: Implied, rules: MarkRules) -> Iterator[Slip]:
    """Return the slips of the card's mark, or all of the car's, on something else; either may lie on the car."""
    card, cars = seen.of_kind(Kind.CARD)[0], seen.of_kind(Kind.VEHICLE)
    marks, values = (seen.regions[card], seen.regions[cars[0]]), {"difference": float(round(delta_e00))}
    odds = prior(rules.slips.far_apart) + things.far_apart(delta_e00, rules.colour)
    yield Slip(PhotoCode.FAR_APART, marks, odds, values)
    share = rules.slips.far_apart + (rules.slips.car_elsewhere if len(cars) == 1 else 0.0)
    ratio = things.on_another_part(delta_e00, rules.colour)
    shows = max(cars, key=lambda car: float(seen.around.car_paint[card, car]))
    ways = [float(each) for each in (seen.around.ways[card], seen.around.kin[card]) if not np.isnan(each)]
    about = float(seen.around.car_paint[card, shows]), max(ways, default=np.nan)
    about_card = max(
        about_marks.paint_about(*about, rules.surround),
        about_marks.beyond_its_edges(float(seen.around.beyond[card]), rules.surround),
    )
    ratio += about_marks.about_the_card(about_card, float(seen.around.enclosed[shows]), rules.surround)
    yield Slip(MarkCode.CAR_NOT_ABOUT, marks[::-1], prior(share) + ratio)
    apart = float(seen.apart.between[card, cars].min())
    edges = float(seen.around.framed[card]), float(seen.around.enclosed[card])
    bare = about_marks.no_card(*edges, max(ways, default=0.0), apart, rules.surround)
    bare += about_marks.another_card(seen.around.another[card] is not None, rules.unmarked)
    odds = prior(rules.slips.far_apart) + bare
    yield Slip(MarkCode.NO_CARD, (marks[0],), odds, mend=_put_on_the_card(seen, card, odds))
    difference = seen.boxes[card].colour - np.mean([seen.boxes[car].colour for car in cars], axis=0)
    darker = np.min(around.paints, axis=0)
    ratio = things.one_paint_in_two_lights(difference, darker, delta_e00, rules.colour.light_colour[0], rules.lights)
    both = rules.lights.card_alone if _on_both_sides(seen, card, cars, rules.lights) else 1.0
    yield Slip(MarkCode.TWO_LIGHTS, marks, prior(both * rules.slips.two_lights) + ratio)


def _on_both_sides(seen: Evidence, card: int, cars: Sequence[int], rules: LightsRules) -> bool:
    """Say whether the card lies between car marks that show nearly the same: no one shadow takes both and leaves it."""
    own = float(seen.boxes[card].colour[0])
    ways = [(seen.boxes[car].centre - seen.boxes[card].centre, float(seen.boxes[car].colour[0])) for car in cars]
    return any(
        float(one @ other) < 0.0 and abs(level - beside) < rules.one_light * abs(level - own)
        for (one, level), (other, beside) in combinations(ways, 2)
    )


def exchanged(seen: Evidence, rules: MarkRules) -> Slip:
    """Return the slip of card and car under each other's name; only one car mark can be the card."""
    card, cars = seen.of_kind(Kind.CARD)[0], seen.of_kind(Kind.VEHICLE)
    ratio = about_marks.exchanged(float(seen.around.area[card]), float(seen.around.area[cars].max()), rules.surround)
    marks = (seen.regions[card], seen.regions[cars[0]])
    kinds = {card: Kind.VEHICLE, cars[0]: Kind.CARD}
    mend = tuple(
        replace(region, kind=kinds[place], sure=()) if place in kinds else region
        for place, region in enumerate(seen.regions)
    )
    return Slip(MarkCode.EXCHANGED, marks, prior(rules.slips.exchanged) + ratio, mend=mend if len(cars) == 1 else ())
