"""The same pair under a second, very different lamp: whether a match breaks when the light changes.

Two paints can match under one lamp and differ under another (metamerism; ASTM D4086 speaks of its detection). A camera
sees the shift of the difference between two lamps, but through three colour filters that are not the eye's: it can find
such a failure, and it can miss one. So a shift that is seen is said, and one that is not seen is no proof of safety.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np

from match.calibration import quantity
from match.check.verdict import Thresholds
from match.colorimetry import Array
from match.measure.confidence import confidence_curve
from match.measure.finding import Finding, findings_for_json
from match.measure.uncertainty import Draws
from match.record import by_name, rounded
from match.several.combined import Combined
from match.several.findings import SetCode


@dataclass(frozen=True)
class LightRules:
    """Table ``lights`` of ``calibration/several.toml``."""

    shift_limit: float = quantity("CIEDE2000")
    lamp_stretch_sd: float = quantity("fraction")
    sureness: float = quantity("probability")


class LightShift(StrEnum):
    """Whether the difference shifts between the two lamps."""

    SEEN = "seen"
    NOT_SEEN = "not seen"
    UNSURE = "unsure"


@dataclass(frozen=True)
class LightCheck:
    """How the difference shifts from a first to a second lamp.

    Attributes
    ----------
    first, second : the lamps' names
    first_delta_e00, second_delta_e00 : difference under each (CIEDE2000)
    shift_lab, shift_sd : (3,) second difference minus first, CIELAB, and its sd
    shift_delta_e00, interval : size of the shift and its 95 % interval (CIEDE2000)
    shift : whether it is seen
    risk : what it risks, in one sentence
    findings : with ``spoils`` when the match holds under one lamp only
    """

    first: str
    second: str
    first_delta_e00: float
    second_delta_e00: float
    shift_lab: Array
    shift_sd: Array
    shift_delta_e00: float
    interval: tuple[float, float]
    shift: LightShift
    risk: str
    findings: tuple[Finding, ...]

    @property
    def sentence(self) -> str:
        """The result in one sentence."""
        low, high = self.interval
        return (
            f"From {self.first} to {self.second} the difference between card and car shifts by "
            f"{self.shift_delta_e00:.1f} ({low:.1f} to {high:.1f}): {self.risk}"
        )

    def as_dict(self) -> dict[str, Any]:
        """Return the result for JSON."""
        names = ("first", "second", "first_delta_e00", "second_delta_e00", "sentence")
        shifted = ("shift", "shift_lab", "shift_sd", "shift_delta_e00")
        more = {"shift_interval": rounded(self.interval), "findings": findings_for_json(self.findings)}
        return by_name(self, *names, *shifted) | more


def compare_lights(
    first: tuple[str, Combined],
    second: tuple[str, Combined],
    limits: Thresholds,
    rules: LightRules,
    rng: np.random.Generator,
) -> LightCheck:
    """Compare the difference under two lamps.

    Parameters
    ----------
    first, second : the lamp's name and the pair's result under it, at the same angle
    limits : of the junction; a match that holds under one lamp only is measured against them
    rules : ``calibration/several.toml``, table ``lights``
    rng : for the shift's draws

    Notes
    -----
    A camera's own colour matrix is worse under a lamp it was not made for, and stretches or turns the difference. That
    error is added in proportion to the difference under the second lamp, in every direction alike.
    """
    one, two = first[1], second[1]
    vehicle = one.vehicle_lab
    shift = two.delta_lab - one.delta_lab
    draws = _shift_draws(one, two, shift, rules, rng)
    confidence = confidence_curve(vehicle + shift, vehicle, draws)
    chance_small = confidence.at_most(rules.shift_limit)
    chance_large = 1.0 - float(np.interp(rules.shift_limit, confidence.size, confidence.unbiased))
    seen = LightShift.UNSURE
    if chance_large >= rules.sureness:
        seen = LightShift.SEEN
    elif chance_small >= rules.sureness:
        seen = LightShift.NOT_SEEN
    breaks = _breaks(one, two, limits, seen)
    return LightCheck(
        first=first[0],
        second=second[0],
        first_delta_e00=one.delta_e00,
        second_delta_e00=two.delta_e00,
        shift_lab=shift,
        shift_sd=(draws.card_lab - draws.vehicle_lab).std(axis=0),
        shift_delta_e00=confidence.median,
        interval=confidence.interval(0.95),
        shift=seen,
        risk=_risk(first, second, seen, breaks),
        findings=_findings(first, second, seen, breaks),
    )


def _shift_draws(one: Combined, two: Combined, shift: Array, rules: LightRules, rng: np.random.Generator) -> Draws:
    """Draw the shift; what equal paints would show is light, placement and the lamp's stretch of a real difference."""
    count = len(one.draws.card_lab)
    vehicle = np.broadcast_to(one.vehicle_lab, (count, 3))
    # Each result's draws are shuffled: two photos measured with one seed share random numbers, not errors.
    parts = []
    for combined in (one, two):
        # What the camera makes of other pigments it makes under both lamps: another lamp changes half of it at
        # most (tests/benchmarks/camera_metamers.py), little beside the shift that is looked for.
        drawn = combined.draws.card_lab - combined.draws.vehicle_lab - combined.draws.of_pigments - combined.delta_lab
        parts.append(drawn[rng.integers(len(drawn), size=count)])
    lamp = rules.lamp_stretch_sd * float(np.linalg.norm(two.delta_lab)) * rng.standard_normal((count, 3))
    null = parts[1] - parts[0] + lamp
    return Draws(vehicle + shift + null, vehicle, null)


def _breaks(one: Combined, two: Combined, limits: Thresholds, seen: LightShift) -> bool:
    """Return whether the pair is surely more than *go* allows under one lamp and not under the other."""
    if seen is not LightShift.SEEN:
        return False
    within = [combined.delta_e00 <= limits.go_below for combined in (one, two)]
    return within[0] != within[1]


def _risk(first: tuple[str, Combined], second: tuple[str, Combined], seen: LightShift, breaks: bool) -> str:
    if breaks:
        holds, fails = (first, second) if first[1].delta_e00 < second[1].delta_e00 else (second, first)
        return (
            f"a match under {holds[0]} that breaks under {fails[0]}, where the difference is {fails[1].delta_e00:.1f}."
        )
    if seen is LightShift.SEEN:
        return "the pigments differ, so the colour will look right in one light and wrong in another."
    if seen is LightShift.NOT_SEEN:
        return "no break of the match is seen. A camera can find one, it cannot prove there is none: look yourself."
    return "too uncertain to tell. Repeat both photos, and look yourself under both lamps."


def _findings(
    first: tuple[str, Combined], second: tuple[str, Combined], seen: LightShift, breaks: bool
) -> tuple[Finding, ...]:
    if seen is not LightShift.SEEN:
        return ()
    code = SetCode.LIGHT_BREAKS_MATCH if breaks else SetCode.LIGHT_SHIFTS_DIFFERENCE
    return (Finding(code, breaks, values={"first": first[0], "second": second[0]}),)
