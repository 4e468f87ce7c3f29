"""The numbers of ``calibration/marks.toml``, and the densities that they describe."""

from dataclasses import dataclass

import numpy as np

from match.calibration import quantity
from match.colorimetry import Array

Pair = tuple[float, ...]


@dataclass(frozen=True)
class SlipShares:
    """How many photos have each slip."""

    one_surface: float = quantity("probability")
    grey_on_paint: float = quantity("probability")
    grey_elsewhere: float = quantity("probability")
    grey_value: float = quantity("probability")
    greys_swapped: float = quantity("probability")
    ladder: float = quantity("probability")
    ladder_scale: float = quantity("probability")
    across: float = quantity("probability")
    car_elsewhere: float = quantity("probability")
    two_lights: float = quantity("probability")
    far_apart: float = quantity("probability")
    exchanged: float = quantity("probability")


@dataclass(frozen=True)
class BorderRules:
    """Passes between marks."""

    same: tuple[float, ...] = quantity("log ratio")
    apart: tuple[float, ...] = quantity("log ratio")
    leaks: float = quantity("probability")
    line: tuple[float, ...] = quantity("log ratio")
    no_line: tuple[float, ...] = quantity("log ratio")
    car_line: float = quantity("probability")
    thing_between: tuple[float, ...] = quantity("probability")
    own_step: float = quantity("1")
    car_parts: float = quantity("probability")
    reaches_edge: tuple[float, ...] = quantity("probability")


@dataclass(frozen=True)
class ColourRules:
    """Differences in brightness and colour."""

    light: tuple[float, ...] = quantity("log units, and log units per frame")
    light_colour: tuple[float, ...] = quantity("log units, and log units per frame")
    panel: tuple[float, ...] = quantity("log units, and log units per frame")
    veil: float = quantity("reflectance")
    veil_lamp: float = quantity("reflectance")
    veil_other: float = quantity("probability")
    card_error: tuple[float, ...] = quantity("log units")
    things: float = quantity("log units")
    very_same: tuple[float, ...] = quantity("log units")
    neutral: tuple[float, ...] = quantity("log units")
    neutral_share: float = quantity("probability")
    grey_cast: tuple[float, ...] = quantity("log units")
    cast_failed: float = quantity("probability")
    apart_usual: tuple[float, ...] = quantity("log CIEDE2000")
    one_surface: tuple[float, ...] = quantity("log CIEDE2000")
    apart_wrong: tuple[float, ...] = quantity("log CIEDE2000")
    other_part: tuple[float, ...] = quantity("log CIEDE2000")
    other_part_share: float = quantity("probability")


@dataclass(frozen=True)
class LightsRules:
    """One paint in two lights."""

    exact: float = quantity("log units")
    card_alone: float = quantity("fraction")
    one_light: float = quantity("fraction")
    any_way: float = quantity("fraction")
    apart: tuple[float, ...] = quantity("log CIEDE2000")
    usual: tuple[float, ...] = quantity("log CIEDE2000")


@dataclass(frozen=True)
class FrameRules:
    """What a whole frame reflects."""

    lightest: tuple[float, ...] = quantity("log reflectance")
    lightest_dull: tuple[float, ...] = quantity("log reflectance")
    lightest_lamp: tuple[float, ...] = quantity("log reflectance")
    lightest_shares: tuple[float, ...] = quantity("probability")
    mean: tuple[float, ...] = quantity("log reflectance")
    exposed: tuple[float, ...] = quantity("log reflectance")
    exposed_left: float = quantity("fraction")
    close_up: tuple[float, ...] = quantity("probability, and log units")
    paint_darkest: tuple[float, ...] = quantity("log reflectance")
    paint_lightest: tuple[float, ...] = quantity("log reflectance")
    channel_error: float = quantity("fraction")
    tone: float = quantity("fraction")
    burnt_out: float = quantity("fraction of full scale")
    same_level: float = quantity("log units")


@dataclass(frozen=True)
class GreyRules:
    """Several greys together."""

    light: tuple[float, ...] = quantity("log units, and log units per frame")
    stray: float = quantity("log units")
    other_slope: float = quantity("log true per log decoded")
    other_tolerance: float = quantity("log units")
    steps: tuple[float, ...] = quantity("luminous reflectance")
    same_step: float = quantity("log units")
    ends: tuple[float, ...] = quantity("luminous reflectance")
    anything: tuple[float, ...] = quantity("luminous reflectance")
    standard: float = quantity("luminous reflectance")
    stated_right: tuple[float, ...] = quantity("probability")
    stated_wrong: tuple[float, ...] = quantity("probability")
    is_standard: float = quantity("probability")
    left_standing: tuple[float, ...] = quantity("probability")


@dataclass(frozen=True)
class SurroundRules:
    """What lies around a mark."""

    one_paint: tuple[float, ...] = quantity("log units")
    kin: tuple[float, ...] = quantity("log units")
    surely: float = quantity("fraction")
    ways: tuple[float, ...] = quantity("fraction")
    led_nowhere: tuple[float, ...] = quantity("probability")
    paint_beyond: tuple[float, ...] = quantity("sides")
    car_paint: tuple[float, ...] = quantity("probability")
    laid_beside: float = quantity("probability")
    piece_enclosed: tuple[float, ...] = quantity("probability")
    all_round: tuple[float, ...] = quantity("fraction")
    card_enclosed: tuple[float, ...] = quantity("probability")
    on_the_car: float = quantity("probability")
    hardly_enclosed: tuple[float, ...] = quantity("fraction")
    card_open: tuple[float, ...] = quantity("probability")
    edge_between: tuple[float, ...] = quantity("probability")
    sides_seen: tuple[float, ...] = quantity("sides")
    card_framed: tuple[float, ...] = quantity("probability")
    both_about: tuple[float, ...] = quantity("probability")
    larger: tuple[float, ...] = quantity("log ratio")
    larger_wrong: tuple[float, ...] = quantity("log ratio")
    wrong_is_small: float = quantity("probability")
    any_edges: tuple[float, ...] = quantity("sides")
    border_seen: tuple[float, ...] = quantity("log ratio")
    no_edges: tuple[float, ...] = quantity("probability")
    card_is_larger: tuple[float, ...] = quantity("probability")
    much_larger: tuple[float, ...] = quantity("log ratio")
    steps_beside: tuple[float, ...] = quantity("probability")
    light_end: tuple[float, ...] = quantity("probability")
    middle: tuple[float, ...] = quantity("probability")
    dark_end: tuple[float, ...] = quantity("probability")
    least_step: float = quantity("fraction")
    one_size: float = quantity("ratio")
    straight: float = quantity("fraction")
    noisy: float = quantity("ratio")
    soon: float = quantity("ratio")
    no_step: float = quantity("log units")


@dataclass(frozen=True)
class OutlineRules:
    """Straight edges about a card's mark."""

    rectangle: tuple[float, ...] = quantity("fraction")
    reach: tuple[float, ...] = quantity("ratio, and fraction of the picture")
    paint: tuple[float, ...] = quantity("log units")
    rounding: float = quantity("fraction")
    stands_out: tuple[float, ...] = quantity("standard errors, and power")
    surely: float = quantity("standard errors")


@dataclass(frozen=True)
class UnmarkedRules:
    """A card in the photo that no mark lies on."""

    size: tuple[float, ...] = quantity("fraction of the picture")
    rectangle: tuple[float, ...] = quantity("fraction")
    alike: tuple[float, ...] = quantity("log units")
    seen: tuple[float, ...] = quantity("probability")


@dataclass(frozen=True)
class AcrossRules:
    """A border through a box."""

    one: tuple[float, ...] = quantity("log ratio")
    two: tuple[float, ...] = quantity("log ratio")
    fold: tuple[float, ...] = quantity("log units")
    fold_share: float = quantity("probability")


@dataclass(frozen=True)
class MarkRules:
    """Everything in ``calibration/marks.toml``."""

    slips: SlipShares
    border: BorderRules
    colour: ColourRules
    lights: LightsRules
    frame: FrameRules
    greys: GreyRules
    across: AcrossRules
    surround: SurroundRules
    outline: OutlineRules
    unmarked: UnmarkedRules
    another_photo: float = quantity("h")
    answered: tuple[float, ...] = quantity("probability")
    answered_figure: tuple[float, ...] = quantity("probability")
    tail: float = quantity("probability")


def normal(value: float | Array, mean: float, sd: float) -> float:
    """Return the normal density of a value, or of all values of an array that are independent."""
    z = (np.asarray(value) - mean) / sd
    return float(np.exp(-0.5 * np.sum(z * z)) / (sd * np.sqrt(2.0 * np.pi)) ** np.size(value))


def normal_of(difference: Array, covariance: Array) -> float:
    """Return the density of a difference (n,) that is normal about nothing with this covariance (n, n)."""
    _, size = np.linalg.slogdet(covariance)
    square = float(difference @ np.linalg.solve(covariance, difference))
    return float(np.exp(-0.5 * (square + size + len(difference) * np.log(2.0 * np.pi))))


def tailed(value: float, about: Pair, tail: float) -> float:
    """Return the normal density with a share ``tail`` spread over six log units, the widest that is met."""
    return (1.0 - tail) * normal(value, about[0], about[1]) + tail / 6.0
