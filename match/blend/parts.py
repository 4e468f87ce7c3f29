"""Parts beside the repair with a colour of their own: what already differs, and whether the new colour may meet them.

A plastic bumper cover is often not the wing's colour, and a repainted door not the car's. The card is measured against
such a part too. Where its colour surely passes there, it may run up to the part; where not, the fade must be finished
before, so that the part meets the colour it met all along. A part is marked in the photo of the card, or has a check of
its own: two checks are joined by the card that both of them show.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from match.blend.need import Range, interval
from match.blend.sides import Direction, End, Repair, Side
from match.blend.viewing import ColourPair
from match.check.parts import already_words
from match.check.verdict import Allowed, limit_words
from match.colorimetry import Array, delta_e00
from match.errors import PlanError
from match.words import listed, shown

NOTHING_PASSES = 0.0


@dataclass(frozen=True)
class PartColour:
    """A part that was measured: its name, the side it lies on, and the card beside it (every angle).

    ``is_whole`` says whether its check saw all that a *go* must see: every angle of an effect finish, nothing in doubt.
    ``already`` is CIEDE2000 between part and panel where one photo shows both; else it is taken from two checks.
    """

    name: str
    direction: Direction
    pairs: tuple[ColourPair, ...]
    is_whole: bool = True
    already: Range | None = None


@dataclass(frozen=True)
class MeasuredPart:
    """A named part of a check: the card beside it (every angle), and how far it already is from the panel.

    ``figures_hold`` says whether its own marks are sound; ``is_whole`` as for :class:`PartColour`.
    """

    name: str
    pairs: tuple[ColourPair, ...]
    already: Range
    figures_hold: bool
    is_whole: bool


def parts_beside(repair: Repair, measured: Sequence[MeasuredPart]) -> list[PartColour]:
    """Return the parts that the repair's sides name, raising :class:`PlanError` for one whose colour is not known."""
    known = {part.name: part for part in measured}
    found = []
    for side in repair.sides:
        if not side.part:
            continue
        if side.part not in known:
            names = listed(list(known)) if known else "no part"
            raise PlanError(
                f"{shown(side.part)} is given {side.direction.value}, and the check holds {names}: mark it with its "
                "name in the photo, or correct the name"
            )
        part = known[side.part]
        if not part.figures_hold:
            raise PlanError(f"the mark of the {part.name} is at fault, so its colour is not known: mark it again")
        found.append(PartColour(part.name, side.direction, part.pairs, part.is_whole, part.already))
    return found


@dataclass(frozen=True)
class PartAnswer:
    """What a part asks for.

    Attributes
    ----------
    name, direction : which part, and where it lies
    already : CIEDE2000 between the part and the panel as they are, median and 95 % interval
    card : CIEDE2000 between card and part, likewise
    limit : what passes where they meet
    passes : how surely the card's colour passes there, as far as it was seen
    is_whole : whether all was seen that must be
    may_meet : whether the new colour may run up to the part in full
    """

    name: str
    direction: Direction
    already: Range
    card: Range
    limit: float
    passes: float
    is_whole: bool
    may_meet: bool

    def as_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            "name": self.name,
            "side": self.direction.name.lower(),
            "already_delta_e00": round(self.already.median, 4),
            "card_delta_e00": round(self.card.median, 4),
            "limit": self.limit,
            "passes_probability": round(self.passes, 4),
            "is_whole": self.is_whole,
            "may_meet": self.may_meet,
        }


def judge_parts(
    repair: Repair, car: Sequence[ColourPair], parts: Sequence[PartColour], allowed: Allowed, sureness: float
) -> tuple[Repair, tuple[PartAnswer, ...]]:
    """Return the repair with each part's side held to the part's own colour, and what was found of each part.

    Raises :class:`PlanError` for a part on a side that was not described, that may be painted, or where nothing is
    painted.

    Parameters
    ----------
    repair : the sides as they were described
    car : card and panel, the angle that governs first
    parts : card and part, likewise
    allowed : what passes at each kind of end
    sureness : how surely the card's colour must pass beside a part to run up to it
    """
    found = {part.direction: part for part in parts}
    if len(found) != len(parts):
        raise PlanError("two parts lie in the same direction: give each of left, right, up and down at most one")
    for direction in set(found) - {side.direction for side in repair.sides}:
        raise PlanError(
            f"the {found[direction].name} lies {direction.value}, and no room is given there: add that side"
        )
    answers, sides = [], []
    for side in repair.sides:
        if side.direction not in found:
            sides.append(side)
            continue
        answer = _judged(side, car[0], found[side.direction], allowed, sureness)
        answers.append(answer)
        end_limit = None if answer.may_meet else NOTHING_PASSES
        sides.append(replace(side, label=side.label or f"towards the {answer.name}", end_limit=end_limit))
    return replace(repair, sides=tuple(sides)), tuple(answers)


def hold_to_parts(
    repairs: Sequence[Repair],
    car: Sequence[ColourPair],
    parts: Sequence[PartColour],
    allowed: Allowed,
    sureness: float,
) -> tuple[tuple[Repair, ...], tuple[PartAnswer, ...]]:
    """Return every repair of a panel held to the parts beside it, and what was found of each part, once.

    All repairs have the same sides; see :func:`judge_parts`.
    """
    judged = [judge_parts(repair, car, parts, allowed, sureness) for repair in repairs]
    return tuple(repair for repair, _ in judged), judged[0][1]


def may_lie(side: Side) -> bool:
    """Return whether a part that keeps its colour can lie at a side's end."""
    return side.end not in (End.NEXT_PANEL, End.NO_EDGE) and side.car_colour_beyond


def _judged(side: Side, car: ColourPair, part: PartColour, allowed: Allowed, sureness: float) -> PartAnswer:
    if not may_lie(side):
        raise PlanError(
            f"the side {side.direction.value} ends at no part that keeps its colour: give it as an edge, kept or other"
        )
    limit = allowed.other_part if side.end is End.OTHER_PART else allowed.panel_gap
    sizes = np.max([delta_e00(pair.card_lab, pair.vehicle_lab) for pair in part.pairs], axis=0)
    passes = float(np.mean(sizes <= limit))
    already = part.already or interval(_between(car, part.pairs[0]))
    meets = part.is_whole and passes >= sureness
    card = interval(sizes)
    return PartAnswer(part.name, part.direction, already, card, limit, passes, part.is_whole, meets)


def _between(car: ColourPair, part: ColourPair) -> Array:
    """Return CIEDE2000 (n,) between panel and part, each read against the card that both photos show."""
    count = min(len(car.card_lab), len(part.card_lab))
    moved = part.vehicle_lab[:count] + car.card_lab[:count] - part.card_lab[:count]
    return delta_e00(car.vehicle_lab[:count], moved)


def part_lines(answers: Sequence[PartAnswer]) -> tuple[str, ...]:
    """Return what was found of the parts, in sentences: what differs before anybody paints comes first."""
    lines = []
    for each in answers:
        ends = each.already.low, each.already.high
        if each.already.high > each.limit:
            lines.append(already_words(each.name, "panel", each.already.median, ends, each.limit))
    for each in answers:
        passes = f"up to {limit_words(each.limit)} passes there"
        beside = f"The card differs from the {each.name} by {each.card.median:.1f}; {passes}"
        if each.may_meet:
            lines.append(f"{beside}: the new colour may run up to it.")
        elif not each.is_whole:
            lines.append(f"{beside}, but its own check leaves that open: the fade ends before it.")
        else:
            lines.append(f"{beside}: the fade ends before it, so that it meets the colour it met before.")
    return tuple(lines)
