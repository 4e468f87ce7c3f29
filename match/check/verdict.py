"""From the confidence distribution of the difference to go, blend, retint or retake: the least expected cost.

Calling go wrongly is a comeback, calling blend needlessly is an hour; the costs and the limits are data in
``calibration/tolerances.toml``. The decision under uncertainty follows JCGM 106:2012 in spirit (a conformity decision
weighs the consequences of being wrong); that document's text has not been read.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from match.calibration import quantity
from match.measure.uncertainty import ConfidenceCurve


class Verdict(StrEnum):
    """What to do with this colour."""

    GO = "go"
    BLEND = "blend"
    RETINT = "retint"
    RETAKE = "retake"


class Finish(StrEnum):
    """The kind of paint."""

    SOLID = "solid"
    METALLIC = "metallic"
    PEARL = "pearl"


class Junction(StrEnum):
    """What lies between the new paint and the paint it is compared with."""

    SAME_PANEL = "same-panel"
    BODY_LINE = "body-line"
    PANEL_GAP = "panel-gap"
    OTHER_PART = "other-part"


@dataclass(frozen=True)
class Limits:
    """CIEDE2000 limits."""

    perceptibility: float = quantity("CIEDE2000")
    acceptability: float = quantity("CIEDE2000")
    blend_to_retint: float = quantity("CIEDE2000")


@dataclass(frozen=True)
class JunctionRule:
    """How a junction moves the limit for go between perceptibility (0) and acceptability (1)."""

    label: str
    share: float = quantity("fraction")


@dataclass(frozen=True)
class Costs:
    """Hours that one decision costs, by what the true difference would have called for."""

    when_go: float = quantity("h")
    when_blend: float = quantity("h")
    when_retint: float = quantity("h")

    def expected(self, probability: Mapping[Verdict, float]) -> float:
        """Return the mean cost in hours."""
        return (
            self.when_go * probability[Verdict.GO]
            + self.when_blend * probability[Verdict.BLEND]
            + self.when_retint * probability[Verdict.RETINT]
        )


@dataclass(frozen=True)
class CostTable:
    """The costs of the three decisions."""

    go: Costs
    blend: Costs
    retint: Costs


@dataclass(frozen=True)
class DecisionRule:
    """When a photo cannot decide."""

    undecided: float = quantity("probability")
    opposite: float = quantity("probability")


@dataclass(frozen=True)
class Tolerances:
    """Everything in ``calibration/tolerances.toml``."""

    version: str
    limits: Limits
    junctions: dict[str, JunctionRule]
    costs: CostTable
    decision: DecisionRule


@dataclass(frozen=True)
class Thresholds:
    """CIEDE2000 below which the colour may be painted straight, and below which a blend can hide it."""

    go_below: float
    blend_below: float


@dataclass(frozen=True)
class Decision:
    """The verdict, the probability and cost (hours) of each, and whether the photo leaves it ``undecided``."""

    verdict: Verdict
    probabilities: dict[Verdict, float]
    expected_hours: dict[Verdict, float]
    undecided: bool


class RoomHides(Protocol):
    """The largest CIEDE2000 that a planned room hides, with no fade at all and with the best one."""

    @property
    def largest_without_fade(self) -> float:
        """With the paint stopped at an edge, a gap or a body line."""

    @property
    def largest_delta_e00(self) -> float:
        """With the best fade."""


def thresholds(tolerances: Tolerances, junction: Junction, room: RoomHides | None = None) -> Thresholds:
    """Return the limits at a junction, or those of a planned room, which knows every junction around the repair.

    A plan can only narrow what the shop allows: width hides the edge of a fade, not the difference of its two ends.
    """
    limits = tolerances.limits
    if room is None:
        share = tolerances.junctions[junction.value].share
        go_below = limits.perceptibility + share * (limits.acceptability - limits.perceptibility)
        return Thresholds(go_below, max(limits.blend_to_retint, go_below))
    go_below = min(room.largest_without_fade, limits.blend_to_retint)
    return Thresholds(go_below, max(min(limits.blend_to_retint, room.largest_delta_e00), go_below))


def decide(confidence: ConfidenceCurve, limits: Thresholds, tolerances: Tolerances) -> Decision:
    """Choose the verdict of least expected cost; *retake* when go and retint both remain possible."""
    below_go = confidence.at_most(limits.go_below)
    below_blend = max(confidence.at_most(limits.blend_below), below_go)
    probabilities = {
        Verdict.GO: below_go,
        Verdict.BLEND: below_blend - below_go,
        Verdict.RETINT: 1.0 - below_blend,
    }
    hours = {
        Verdict.GO: tolerances.costs.go.expected(probabilities),
        Verdict.BLEND: tolerances.costs.blend.expected(probabilities),
        Verdict.RETINT: tolerances.costs.retint.expected(probabilities),
    }
    if limits.blend_below <= limits.go_below:
        hours.pop(Verdict.BLEND)  # no room at all: a fade is not on offer
    # Against the shop's plain limit, not the room's: a narrow room makes blending rare, it does not make a photo worse.
    beyond_any_blend = 1.0 - confidence.at_most(max(tolerances.limits.blend_to_retint, limits.go_below))
    # Each end by the curve that gives it the better chance: a photo full of noise has room for both.
    perhaps_go = max(below_go, confidence.perhaps_at_most(limits.go_below))
    best = min(hours, key=lambda verdict: hours[verdict])
    # Blend lies between and survives being wrong a little to either side; the two ends must be surer of each other.
    limit = tolerances.decision.undecided if best is Verdict.BLEND else tolerances.decision.opposite
    undecided = min(perhaps_go, beyond_any_blend) > limit
    return Decision(Verdict.RETAKE if undecided else best, probabilities, hours, undecided)


def chance_words(probability: float) -> str:
    """Return a probability in whole per cent, never a certainty: no photo gives one."""
    if probability < 0.005:
        return "under 1 %"
    return "over 99 %" if probability > 0.995 else f"{100.0 * probability:.0f} %"
