"""What the eye asks of a fade: its width, how sure that is, and how large a difference a given width hides.

A fade is hidden when it passes three tests at once. Its visibility must be below the limit of detection, which decides
for lightness; the difference it looks like, dE_NS faded by the same law, must be below what the table of limits gives a
fade, which decides for colour: the eye is dull for edges of pure colour, but people object to them all the same; and a
change too narrow to be seen as a fade is an edge with no line, for which the table has a limit of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from match.blend.edge import far_end_steps, no_line_terms
from match.blend.viewing import ColourPair, Viewing, Vision
from match.blend.visibility import (
    LARGEST_SCALE,
    RampLaw,
    angle_deg,
    largest_scale,
    required_width_deg,
    step_terms,
    visibility,
    width_mm,
)
from match.colorimetry import Array, delta_e00
from match.errors import PlanError

WIDTHS_TRIED_MM = np.geomspace(5.0, 10_000.0, 48)
SMALLEST_DIRECTION = 0.05
"""CIEDE2000 below which a difference has no direction worth keeping; a difference of lightness then stands for it."""


@dataclass(frozen=True)
class Range:
    """A median and the 95 % interval over the samples."""

    median: float
    low: float
    high: float


@dataclass(frozen=True)
class Need:
    """What the eye asks, over n samples, at the largest inspection distance; the worst of the angles and lights given.

    Attributes
    ----------
    straight_mm : width in mm of the narrowest straight fade that hides the difference (n,); 0 none, infinite never
    step_visibility : visibility of a hard paint edge with no line, threshold units (n,)
    delta_e00 : CIEDE2000 between card and vehicle (n,)
    read : the same as it was read, the largest of the angles
    no_line : dE_NS, the same difference with no line between the colours (n,)
    worst : the angle or light that asks for the widest fade
    by_distance_mm : (distance in m, median straight width in mm) for each inspection distance
    narrowest_mm, widest_mm : the width under the narrowest law, and under the widest with nothing mirrored and colour
        mechanisms as castleCSF leaves them, of the middle of the samples; the median of ``straight_mm`` lies between
    """

    straight_mm: Array
    step_visibility: Array
    delta_e00: Array
    read: float
    no_line: Array
    far_end_steps: float
    worst: str
    by_distance_mm: tuple[tuple[float, float], ...]
    narrowest_mm: float
    widest_mm: float


@dataclass(frozen=True)
class LargestDifference:
    """The largest difference hidden by a straight fade of a given width, in the direction measured.

    ``scale`` (m,) multiplies the measured difference at each of ``straight_mm`` (m,), rising from 0 mm;
    ``measured_delta_e00`` is the difference at a scale of 1.
    """

    pairs: tuple[tuple[Array, Array], ...]
    measured_delta_e00: float
    straight_mm: Array
    scale: Array

    def scale_at(self, straight_mm: ArrayLike) -> Array:
        """Return the factor (...) at any straight width in mm; an infinite width hides the largest factor tried."""
        width = np.asarray(straight_mm, dtype=np.float64)
        scale = np.interp(width, self.straight_mm, self.scale)  # past its last place it stays as it is there
        return np.asarray(np.where(np.isinf(width), LARGEST_SCALE, scale))

    def delta_e00_at(self, scale: float) -> float:
        """Return CIEDE2000 of the difference times ``scale``, the largest over the angles; infinite at the end."""
        if scale >= LARGEST_SCALE:
            return float("inf")
        return _scaled_delta_e00(self.pairs, scale)


def blend_need(pairs: Sequence[ColourPair], viewing: Viewing, vision: Vision) -> Need:
    """Return what the eye asks for, one pair of colours an angle or light, all with the same number of samples."""
    _check_pairs(pairs)
    distance = viewing.deciding_distance_m
    seen = [_tests(pair.card_lab, pair.vehicle_lab, viewing, vision) for pair in pairs]
    angles = np.array([_required_deg(tests, viewing, vision.ramp) for tests in seen])
    widest = angles.max(axis=0)
    straight = width_mm(widest, distance)
    differences = np.array([delta_e00(pair.card_lab, pair.vehicle_lab) for pair in pairs])
    asked = float(np.median(straight))  # of a small difference more than its middle asks for
    low = _middle_mm(pairs, viewing, replace(vision, ramp=vision.ramp.narrowest()))
    high = _middle_mm(pairs, replace(viewing, veil=0.0), _widest(vision))
    return Need(
        straight_mm=straight,
        step_visibility=np.max([visibility(tests.detection, 0.0, vision.ramp) for tests in seen], axis=0),
        delta_e00=differences.max(axis=0),
        read=max(pair.delta_e00 for pair in pairs),
        no_line=np.max([visibility(tests.appearance, 0.0, vision.ramp) for tests in seen], axis=0),
        far_end_steps=float(far_end_steps(np.median(differences.max(axis=0)), vision.edge)),
        worst=pairs[int(np.argmax(np.median(angles, axis=1)))].label,
        by_distance_mm=tuple((d, float(width_mm(np.median(widest), d))) for d in sorted(viewing.distances_m)),
        narrowest_mm=min(low, asked),
        widest_mm=max(high, asked),
    )


def straight_width_mm(pair: ColourPair, viewing: Viewing, vision: Vision) -> Array:
    """Return the width in mm (n,) of the narrowest straight fade that hides one pair, as :func:`blend_need` has it."""
    asked = _required_deg(_tests(pair.card_lab, pair.vehicle_lab, viewing, vision), viewing, vision.ramp)
    return width_mm(asked, viewing.deciding_distance_m)


def _middle_mm(pairs: Sequence[ColourPair], viewing: Viewing, vision: Vision) -> float:
    """Return the width in mm that the middle of the samples asks for, the widest of the angles."""
    asked = [_required_deg(_tests(*pair.middle, viewing, vision), viewing, vision.ramp) for pair in pairs]
    return float(max(width_mm(each, viewing.deciding_distance_m) for each in asked))


def _widest(vision: Vision) -> Vision:
    """Return the eye that asks for the widest fade: the widest law, and colour mechanisms as castleCSF leaves them."""
    cones = replace(vision.eye.cones, own_adaptation=0.0)
    return replace(vision, eye=replace(vision.eye, cones=cones), ramp=vision.ramp.widest())


def largest_difference(pairs: Sequence[ColourPair], viewing: Viewing, vision: Vision) -> LargestDifference:
    """Return how far the measured difference may grow, or must shrink, for straight fades of 0 to 10 m."""
    middles = tuple(_with_direction(*pair.middle) for pair in pairs)
    edge = float(width_mm(edge_deg(vision.ramp), viewing.deciding_distance_m))
    steps = edge * np.array([1.0 - 1e-9, 1.0])  # there the limit of an edge gives way to that of a fade
    widths = np.sort(np.concatenate([[0.0], WIDTHS_TRIED_MM, steps]))
    angles = angle_deg(widths, viewing.deciding_distance_m)
    scales = [_largest_scale(card, vehicle, angles, viewing, vision) for card, vehicle in middles]
    return LargestDifference(middles, _scaled_delta_e00(middles, 1.0), widths, np.min(scales, axis=0))


def edge_excess(card: Array, vehicle: Array, straight_mm: Array, viewing: Viewing, vision: Vision) -> Array:
    """Return the visibility of straight fades (m,) between two colours (3,) as a share of what passes."""
    tests, table = _tests(card, vehicle, viewing, vision), viewing.allowed
    width = angle_deg(straight_mm, viewing.deciding_distance_m)
    detected = visibility(tests.detection, width, vision.ramp) / viewing.strictness.visibility_limit
    faded = np.maximum(detected, visibility(tests.appearance, width, vision.ramp) / table.faded)
    as_edge = np.where(width < edge_deg(vision.ramp) * (1.0 - 1e-7), tests.size / table.same_panel, 0.0)
    return np.asarray(np.maximum(faded, as_edge))


def faded_difference(pairs: Sequence[ColourPair], straight_mm: float, viewing: Viewing, vision: Vision) -> Array:
    """Return what a straight fade of this width looks like (n,): dE_NS as an abrupt edge would show it, the worst."""
    width = angle_deg(straight_mm, viewing.deciding_distance_m)
    terms = [no_line_terms(pair.card_lab, pair.vehicle_lab, vision.edge) for pair in pairs]
    return np.asarray(np.max([visibility(each, width, vision.ramp) for each in terms], axis=0))


def edge_deg(law: RampLaw) -> float:
    """Return the width in degrees below which a change is seen as an edge (Campbell, Johnstone and Ross 1981)."""
    return law.achromatic_width


@dataclass(frozen=True)
class _Tests:
    """The terms (..., 3) of an abrupt edge: detection in thresholds, appearance in dE_NS; ``size`` (...), CIEDE2000."""

    detection: Array
    appearance: Array
    size: Array


def _tests(card: Array, vehicle: Array, viewing: Viewing, vision: Vision) -> _Tests:
    return _Tests(
        step_terms(card, vehicle, viewing.light_lux, vision.eye, viewing.veil),
        no_line_terms(card, vehicle, vision.edge),
        np.asarray(delta_e00(card, vehicle)),
    )


def _required_deg(tests: _Tests, viewing: Viewing, law: RampLaw) -> Array:
    both = np.stack([tests.detection, tests.appearance], axis=-2)  # in one search, which costs as much as each alone
    limits = np.array([viewing.strictness.visibility_limit, viewing.allowed.faded])
    faded = required_width_deg(both, limits, law).max(axis=-1)
    shows_as_edge = tests.size > viewing.allowed.same_panel
    return np.asarray(np.maximum(faded, np.where(shows_as_edge, edge_deg(law), 0.0)))


def _largest_scale(card: Array, vehicle: Array, angles: Array, viewing: Viewing, vision: Vision) -> Array:
    def moved(scale: Array) -> Array:
        lab = vehicle + scale[..., np.newaxis] * (card - vehicle)
        lab[..., 0] = np.clip(lab[..., 0], 0.0, 100.0)
        return lab

    def detection(scale: Array) -> Array:
        return step_terms(moved(scale), vehicle, viewing.light_lux, vision.eye, viewing.veil)

    def appearance(scale: Array) -> Array:
        return no_line_terms(moved(scale), vehicle, vision.edge)

    def size(scale: Array) -> Array:
        length = delta_e00(moved(scale), vehicle)
        return np.stack([length, np.zeros_like(length), np.zeros_like(length)], axis=-1)

    table = viewing.allowed
    detected = largest_scale(detection, angles, viewing.strictness.visibility_limit, vision.ramp)
    faded = np.minimum(detected, largest_scale(appearance, angles, table.faded, vision.ramp))
    edge, fade = largest_scale(size, np.zeros(2), np.array([table.same_panel, table.largest_fade]), vision.ramp)
    return np.asarray(np.minimum(faded, np.where(angles < edge_deg(vision.ramp) * (1.0 - 1e-10), edge, fade)))


def interval(samples: Array) -> Range:
    """Return the median and 95 % interval of samples that may be infinite."""
    low, median, high = np.quantile(samples, [0.025, 0.5, 0.975], method="inverted_cdf")
    return Range(float(median), float(low), float(high))


def _check_pairs(pairs: Sequence[ColourPair]) -> None:
    if not pairs:
        raise PlanError("no colours are given: measure the card and the car first")
    if len({len(pair.card_lab) for pair in pairs}) > 1:
        raise PlanError("the angles have different numbers of samples: draw the same number for each")


def _scaled_delta_e00(pairs: tuple[tuple[Array, Array], ...], scale: float) -> float:
    return max(float(delta_e00(vehicle + scale * (card - vehicle), vehicle)) for card, vehicle in pairs)


def _with_direction(card: Array, vehicle: Array) -> tuple[Array, Array]:
    if float(delta_e00(card, vehicle)) >= SMALLEST_DIRECTION:
        return card, vehicle
    towards_middle_grey = 1.0 if vehicle[0] < 50.0 else -1.0
    return vehicle + np.array([towards_middle_grey, 0.0, 0.0]), vehicle
