"""What lies about marks, weighed: borders, the edges of a card, the car's paint, other surfaces.

Every function returns a log-likelihood ratio, as in :mod:`match.check.marks.things`, or a share that one is made of.
"""

from dataclasses import dataclass

import numpy as np

from match.check.marks.rules import BorderRules, Pair, SurroundRules, UnmarkedRules, tailed


@dataclass(frozen=True)
class CardAbout:
    """What is seen about a card's mark, and between it and a car mark, as :mod:`match.check.marks.surround` has it."""

    framed: float
    parted: float
    enclosed: float
    ways: float
    another: bool


def paint_about(share: float, ways: float, rules: SurroundRules) -> float:
    """Return by what share the car's paint is seen about the card, from what lies close by or from the ways out of it.

    Close by a small mark nothing but the card itself may lie; the ways out of it lead on to the paint.
    """
    close_by = min(share / rules.surely, 1.0)
    return close_by if np.isnan(ways) else max(close_by, _lead_to_paint(ways, rules))


def beyond_its_edges(sides: float, rules: SurroundRules) -> float:
    """Return by what share the car's paint is seen beyond the straight edges that frame the card."""
    return _above(sides, rules.paint_beyond)


def _lead_to_paint(ways: float, rules: SurroundRules) -> float:
    """Return by what share the ways out of the card's mark lead to the car's paint on more sides than one."""
    one_side, most = rules.ways
    return float(np.clip((ways - one_side) / (most - one_side), 0.0, 1.0))


def about_the_card(share: float, enclosed: float, rules: SurroundRules) -> float:
    """Return the ratio for a car mark lying on something else, from :func:`paint_about` the card.

    Card and car may lie beside each other on a bench: then no paint is about the card, and borders are soon met all
    round the car's mark as well, from ``enclosed``, the share of the ways straight out of it that cross one.
    """
    all_round = _all_round(enclosed, rules)
    on_car, wrong = (_chance(share, seen) for seen in rules.car_paint)
    beside, panel, anything = (_chance(all_round, seen) for seen in rules.piece_enclosed)
    right = (1.0 - rules.laid_beside) * on_car * panel + rules.laid_beside * (1.0 - share) * beside
    return float(np.log(wrong * anything / right))


def both_about_the_card(shares: tuple[float, float], rules: SurroundRules) -> float:
    """Return the ratio for two car marks not showing one paint in one light, from what of each lies around the card."""
    return _seen(min(shares) / rules.surely, rules.both_about)


def lies_in_more(larger: float, rules: SurroundRules, tail: float) -> float:
    """Return the ratio for a grey mark on something else, from how many times larger than it its surface is."""
    size = float(np.log(max(larger, 1.0)))
    right, share = tailed(size, rules.larger, tail), rules.wrong_is_small
    return float(np.log(share + (1.0 - share) * tailed(size, rules.larger_wrong, tail) / right))


def one_surface(
    border: float, line: float, about: CardAbout, rules: BorderRules, around: SurroundRules, unmarked: UnmarkedRules
) -> float:
    """Return the ratio for card and car marks lying on one surface, the card or the car, from what parts them.

    ``border`` and ``line`` are ``no_border`` and ``no_line`` of :mod:`match.check.marks.things`. A car has gaps and
    body lines, which part two marks on it as one line does, and frame neither; on a card no edge lies between two.
    """
    on_card = border + line + _not_parted(about, around)
    on_car = max(border, float(np.log(rules.car_line))) + max(line, 0.0) + _not_framed(about, around)
    on_car += another_card(about.another, unmarked)
    return float(np.logaddexp(on_card + np.log(1.0 - around.on_the_car), on_car + np.log(around.on_the_car)))


def _not_parted(about: CardAbout, rules: SurroundRules) -> float:
    """Return the ratio for card and car marks lying on the card, from an edge seen between the two.

    Where none is, the borders about the mark say more, a card's rim that hides its edge among them.
    """
    ratio = _seen(about.parted, rules.edge_between)
    return ratio if ratio < 0.0 else max(ratio, _not_enclosed(about.enclosed, rules))


def _not_framed(about: CardAbout, rules: SurroundRules) -> float:
    """Return the ratio for the card's mark lying on the car, from how many of its sides are seen as a card's edges.

    Where hardly any is, it says as much that no border is about the mark, or that the ways out of it lead nowhere. A
    card laid on a bench has no paint beyond its edges, but borders all round.
    """
    ratio = _seen(_above(about.framed, rules.sides_seen), rules.card_framed)
    bare = np.isnan(about.ways)
    rest = _bare(about.enclosed, rules) if bare else _led_nowhere(about.ways, about.enclosed, rules)
    return ratio if ratio < 0.0 else max(ratio * (1.0 - _all_round(about.enclosed, rules)), rest)


def _bare(enclosed: float, rules: SurroundRules) -> float:
    """Return the ratio for the card's mark lying on the car, from hardly any border about it."""
    return _seen(1.0 - _above(enclosed, rules.hardly_enclosed), rules.card_open)


def _led_nowhere(ways: float, enclosed: float, rules: SurroundRules) -> float:
    """Return the ratio for the card's mark lying on the car, from ways out of its surface that come to no car paint.

    A card laid on a bench has no paint about it, but borders all round.
    """
    share = (1.0 - _lead_to_paint(ways, rules)) * (1.0 - _all_round(enclosed, rules))
    return _seen(share, rules.led_nowhere)


def _not_enclosed(enclosed: float, rules: SurroundRules) -> float:
    """Return the ratio for card and car marks lying on one surface, from how far borders enclose the card's mark."""
    return _seen(_all_round(enclosed, rules), rules.card_enclosed)


def no_card(framed: float, enclosed: float, ways: float, between: float, rules: SurroundRules) -> float:
    """Return the ratio for the card's mark lying on another thing than the card, from no edges seen about it.

    ``ways`` is the share of those out of it that come to the car's paint, which one side of a panel may. Where no
    border parts it from the car's mark either, the two may well be equal: then no edges need be seen.
    """
    bare = (
        (1.0 - _above(framed, rules.any_edges))
        * (1.0 - _all_round(enclosed, rules))
        * (1.0 - _lead_to_paint(ways, rules))
    )
    parted = _above(between, rules.border_seen)
    right, wrong, equal = rules.no_edges
    return _seen(bare, (parted * right + (1.0 - parted) * equal, wrong))


def another_card(another: bool, rules: UnmarkedRules) -> float:
    """Return the ratio for the card's mark lying on another thing, from whether a card is seen that has no mark."""
    return _seen(float(another), rules.seen)


def exchanged(card_area: float, car_area: float, rules: SurroundRules) -> float:
    """Return the ratio for card and car marks being exchanged, from how much of the photo each one's surface takes."""
    ratio = float(np.log((card_area + 1e-3) / (car_area + 1e-3)))
    return _seen(_above(ratio, rules.much_larger), rules.card_is_larger)


def _seen(share: float, rules: Pair) -> float:
    """Return the ratio of what is seen of right marks and of wrong ones, where it is seen by a share."""
    right, wrong = (_chance(min(share, 1.0), seen) for seen in rules)
    return float(np.log(wrong / right))


def _chance(share: float, seen: float) -> float:
    """Return the chance of what is seen by a share, where it is seen at all with a probability."""
    return share * seen + (1.0 - share) * (1.0 - seen)


def _all_round(enclosed: float, rules: SurroundRules) -> float:
    """Return by what share borders all round are seen, but for a hole or a corner."""
    return _above(enclosed, rules.all_round)


def _above(value: float, step: Pair) -> float:
    """Return by what share a value is above a step, given as its middle and its width."""
    middle, width = step
    return float(1.0 / (1.0 + np.exp((middle - value) / width)))
