"""Do the marks lie on things of their own? Pairs of marks, and single ones, weighed against each slip.

Every function returns a log-likelihood ratio: how much likelier what is seen would be with the slip than without it.
"""

import numpy as np

from match.check.marks.box import Box
from match.check.marks.rules import (
    AcrossRules,
    BorderRules,
    ColourRules,
    LightsRules,
    Pair,
    normal,
    normal_of,
    tailed,
)
from match.colorimetry import Array
from match.measure.light import TO_COMPONENTS
from match.photo.regions import Kind


def no_border(between: float, rules: BorderRules, tail: float, leaks: float = 0.0) -> float:
    """Return the ratio for two marks lying on one surface, from the lowest pass between them.

    A pass lower than a surface's own steps, or higher than a usual border, says no more than those do. ``leaks`` is the
    share of right marks whose border has a hole: two colours that are equal show an edge on some sides only.
    """
    between = float(np.clip(between, rules.same[0], rules.apart[0]))
    same, apart = tailed(between, rules.same, tail), tailed(between, rules.apart, tail)
    return float(np.log(same / ((1.0 - leaks) * apart + leaks * same)))


def leaking(delta_e00: float, rules: BorderRules) -> float:
    """Return the share of right marks that are joined by a low pass: fewer the more the colours differ."""
    return rules.leaks * float(np.exp(-delta_e00))


def no_line(line: float, rules: BorderRules) -> float:
    """Return the ratio for two marks joined by a low pass lying on one surface, from the line straight between them.

    On a card there is none; between two marks on the car lies the card itself, if anything.
    """
    if np.isnan(line):
        return 0.0
    if np.isneginf(line):
        return float(np.log(rules.thing_between[1] / rules.thing_between[0]))
    same = tailed(float(np.clip(line, rules.no_line[0], None)), rules.no_line, rules.car_line)
    return float(np.log(same / tailed(float(np.clip(line, None, rules.line[0])), rules.line, rules.car_line)))


def paint_is_reference(grey: Box, paint: Box, frame_px: float, rules: ColourRules) -> float:
    """Return the ratio for a grey mark lying on the paint, from their colours.

    A grey and a paint that are two things differ in brightness as things do, and in colour as paints do, half of which
    are near neutral themselves.
    """
    difference, bright, colour = _apart(grey, paint, frame_px, rules.light, rules.light_colour)
    alike = normal(difference[0], 0.0, bright) * normal(difference[1:], 0.0, colour)
    return float(np.log(alike + 1e-30) - np.log(_two_things(difference, colour, rules)))


def card_is_car(card: Box, car: Box, delta_e00: float, frame_px: float, rules: ColourRules) -> float:
    """Return the ratio for card and car marks lying on one surface, from their colours.

    They are alike as they stand, or once the light across the photo is taken off, as CIEDE2000 between them has it:
    either will do, since light may change more than usual, or be fitted wrongly.
    """
    difference, bright, colour = _apart(card, car, frame_px, rules.light, rules.light_colour)
    alike = normal(difference[0], 0.0, bright) * normal(difference[1:], 0.0, colour)
    error = rules.card_error
    apart = normal(difference[0], 0.0, float(np.hypot(bright, error[0])))
    apart *= normal(difference[1:], 0.0, float(np.hypot(colour, error[1])))
    size = float(np.log(max(delta_e00, 0.3)))
    measured = np.log(normal(size, *rules.one_surface) / normal(size, *rules.apart_usual))
    return float(np.logaddexp(np.log((alike + 1e-30) / (apart + 1e-30)), measured) - np.log(2.0))


def two_parts(
    one: Box,
    other: Box,
    between: float,
    frame_px: float,
    mirrored: Array,
    border: BorderRules,
    rules: ColourRules,
    tail: float,
) -> float:
    """Return the ratio for two car marks that do not show one paint in one light, from colours and border.

    ``mirrored`` (3,) is by how much a reflectance of 1 more that is mirrored changes a mark: much where paint is dark.
    """
    difference, bright, colour = _apart(one, other, frame_px, rules.panel, rules.light_colour)
    room, lamp = (sd**2 * np.outer(mirrored, mirrored) for sd in (rules.veil, rules.veil_lamp))
    usual, elsewhere, rare = (
        normal_of(difference, np.diag([sd, colour, colour]) ** 2 + veil)
        for sd, veil in ((bright, room), (bright, lamp), (rules.things, room))
    )
    usual = (1.0 - rules.veil_other) * usual + rules.veil_other * elsewhere
    alike = (1.0 - tail) * usual + tail * rare + tail * _two_things(difference, colour, rules)
    between = float(np.clip(between, border.same[0], border.apart[0]))
    same, apart = tailed(between, border.same, tail), tailed(between, border.apart, tail)
    seen_right = (1.0 - border.car_parts) * same + border.car_parts * apart
    return float(np.log(_two_things(difference, colour, rules) / alike) + np.log(apart / seen_right))


def _two_things(difference: Array, colour: float, rules: ColourRules) -> float:
    share, (near, far) = rules.neutral_share, rules.neutral
    chroma = share * normal(difference[1:], 0.0, float(np.hypot(colour, near)))
    chroma += (1.0 - share) * normal(difference[1:], 0.0, far)
    return normal(difference[0], 0.0, rules.things) * chroma + 1e-12


def _apart(one: Box, other: Box, frame_px: float, light: Pair, light_colour: Pair) -> tuple[Array, float, float]:
    """Return the difference (3,) and how much of it light may make, in brightness and in colour."""
    distance = float(np.linalg.norm(one.centre - other.centre)) / frame_px
    return one.colour - other.colour, light[0] + light[1] * distance, light_colour[0] + light_colour[1] * distance


def not_neutral(grey: Box, rules: ColourRules) -> float:
    """Return the ratio for a grey mark lying on something else, from how neutral it is."""
    cast = grey.colour[1:]
    usual, failed = (normal(cast, 0.0, sd) for sd in rules.grey_cast)
    right = (1.0 - rules.cast_failed) * usual + rules.cast_failed * failed
    near, far = rules.neutral
    white_balance = rules.grey_cast[0]
    other = rules.neutral_share * normal(cast, 0.0, float(np.hypot(near, white_balance)))
    other += (1.0 - rules.neutral_share) * normal(cast, 0.0, float(np.hypot(far, white_balance)))
    return float(np.log(other + 1e-12) - np.log(right + 1e-12))  # a cast that neither explains speaks for neither


def no_thing_of_its_own(sides: int, rules: BorderRules) -> float:
    """Return the ratio for a grey mark inside a larger surface, which reaches the frame's sides more often."""
    right, wrong = rules.reaches_edge
    return float(np.log(wrong / right) if sides else np.log((1.0 - wrong) / (1.0 - right)))


def across(box: Box, rules: AcrossRules, colour: ColourRules, tail: float) -> float:
    """Return the ratio for a box over a border, from the sharpest jump in it.

    A grey and what lies beside it differ as things do, the two halves of a folded grey card by little.
    """
    jump = float(np.clip(np.log(max(box.jump_sd, 1e-3)), rules.one[0], rules.two[0]))
    ratio = float(np.log(tailed(jump, rules.two, tail) / tailed(jump, rules.one, tail)))
    if box.region.kind is Kind.GREY:
        folded, worn = (normal(box.jump, 0.0, sd) for sd in rules.fold)
        one = rules.fold_share * folded + (1.0 - rules.fold_share) * worn
        ratio += float(np.log(normal(box.jump, 0.0, colour.things) / one))
    return ratio


def far_apart(delta_e00: float, rules: ColourRules) -> float:
    """Return the ratio for card or car marks on something else, from CIEDE2000 between them."""
    size = float(np.log(max(delta_e00, 0.3)))
    return float(np.log(normal(size, *rules.apart_wrong)) - np.log(normal(size, *rules.apart_usual)))


def one_paint_in_two_lights(
    difference: Array, reflects: Array, delta_e00: float, light_colour: float, rules: LightsRules
) -> float:
    """Return the ratio for one paint seen in shadow, in brighter light or mirroring something, at either mark.

    ``difference`` (3,) is what the marks differ by in components, ``reflects`` (3,) the log reflectances of the darker.
    Shadow changes brightness alone, and what is mirrored adds the same to every channel; a card that is off is so in
    any direction of colour.
    """
    difference = difference * np.sign(difference[0] or 1.0)  # the lighter one against the darker
    mirrored = _mirrors(float(difference[0]), reflects)
    shade, gloss = (float(np.linalg.norm(difference[1:] - change)) for change in (np.zeros(2), mirrored))
    size = float(np.log(max(delta_e00, 0.3)))
    exact = float(np.hypot(rules.exact, light_colour))
    in_line = 0.5 * sum(normal(np.array([miss, 0.0]), 0.0, exact) for miss in (shade, gloss))
    any_way = normal(np.array([shade, 0.0]), 0.0, float(np.hypot(exact, rules.any_way * np.linalg.norm(difference))))
    usual = any_way * normal(size, *rules.usual)
    return float(np.log(in_line * normal(size, *rules.apart) + 1e-30) - np.log(usual + 1e-30))


def _mirrors(brighter: float, reflects: Array) -> Array:
    """Return the change (2,) of the colour components where so much is mirrored that brightness rises so far."""
    added = np.linspace(0.0, 1.0, 200)[:, None]
    changes = np.log1p(added / np.exp(reflects)) @ TO_COMPONENTS.T
    return np.array([np.interp(brighter, changes[:, 0], changes[:, each]) for each in (1, 2)])


def on_another_part(delta_e00: float, rules: ColourRules) -> float:
    """Return the ratio for all car marks on something else, which may be another part of the car, from CIEDE2000."""
    size, share = float(np.log(max(delta_e00, 0.3))), rules.other_part_share
    wrong = (1.0 - share) * normal(size, *rules.apart_wrong) + share * normal(size, *rules.other_part)
    return float(np.log(wrong) - np.log(normal(size, *rules.apart_usual)))
