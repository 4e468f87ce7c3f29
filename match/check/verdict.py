"""From the confidence distribution of the difference to go, blend, retint or retake: the least expected cost.

Calling go wrongly is a comeback, calling blend needlessly is an hour; the costs and the limits are data in
``calibration/tolerances.toml``. The decision under uncertainty follows JCGM 106:2012 in spirit (a conformity decision
weighs the consequences of being wrong); that document's text has not been read.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import floor, inf, isfinite
from typing import Protocol

from match.calibration import quantity
from match.measure.confidence import ConfidenceCurve


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

    @property
    def place(self) -> str:
        """Where limits come from that nothing but the junction gives, in words."""
        return f"Junction, {self.label}"


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

    @property
    def words(self) -> str:
        """Both limits, "go up to 1.2, blend up to 3.0"."""
        return f"go up to {limit_words(self.go_below)}, blend up to {limit_words(self.blend_below)}"

    def sentence(self, place: str) -> str:
        """Return where they come from and both limits, in a sentence."""
        return f"{place}: {self.words}."

    def as_dict(self) -> dict[str, float]:
        """Return both limits for JSON."""
        return {"go_below": self.go_below, "blend_below": self.blend_below}


@dataclass(frozen=True)
class Decision:
    """The verdict, the probability and cost (hours) of each, and whether the photo leaves it ``undecided``."""

    verdict: Verdict
    probabilities: dict[Verdict, float]
    expected_hours: dict[Verdict, float]
    undecided: bool


@dataclass(frozen=True)
class Allowed:
    """The table of limits: the CIEDE2000 that may meet at full colour at each junction, and that a fade may be given.

    ``faded`` is what a fade may look like: like a gap it keeps the colours from touching, so it is given a gap's limit.
    """

    same_panel: float
    body_line: float
    panel_gap: float
    other_part: float
    largest_fade: float

    def at(self, junction: Junction) -> float:
        """Return what may meet at one junction."""
        return {
            Junction.SAME_PANEL: self.same_panel,
            Junction.BODY_LINE: self.body_line,
            Junction.PANEL_GAP: self.panel_gap,
            Junction.OTHER_PART: self.other_part,
        }[junction]

    @property
    def faded(self) -> float:
        """What a fade may look like (dE_NS)."""
        return self.panel_gap


LIMIT_DECIMALS = 4
"""A limit is worked out of figures of two digits: beyond this there is nothing but what binary fractions leave."""


def allowed(tolerances: Tolerances, most: float = inf) -> Allowed:
    """Return the table of limits from ``tolerances.toml``, nothing above ``most`` where who looks is stricter still."""
    limits = tolerances.limits

    def at(junction: Junction) -> float:
        share = tolerances.junctions[junction.value].share
        limit = limits.perceptibility + share * (limits.acceptability - limits.perceptibility)
        return min(round(limit, LIMIT_DECIMALS), most)  # figures of a few digits: 1.2, as anybody would work it out

    return Allowed(
        at(Junction.SAME_PANEL),
        at(Junction.BODY_LINE),
        at(Junction.PANEL_GAP),
        at(Junction.OTHER_PART),
        limits.blend_to_retint,
    )


class RoomHides(Protocol):
    """The largest CIEDE2000 that a planned room hides, with no fade at all and with the best one."""

    @property
    def largest_without_fade(self) -> float:
        """With the paint stopped at an edge, a gap or a body line: the strictest side's; infinite where none counts."""

    @property
    def largest_delta_e00(self) -> float:
        """With the best fade."""

    @property
    def all_described(self) -> bool:
        """Whether every side of the repair was described; the others count as the junction asked for."""


def thresholds(tolerances: Tolerances, junction: Junction, room: RoomHides | None = None) -> Thresholds:
    """Return the limits at a junction, or those of a planned room around the repair.

    Each side's limit is that of what lies there, the strictest side governs, and sides that nobody described count as
    ``junction``. A room narrows what the table allows and never widens it: width hides the edge of a fade, not the
    difference of its two ends.
    """
    table = allowed(tolerances)
    asked = table.at(junction)
    if room is None:
        return Thresholds(asked, max(table.largest_fade, asked))
    described = room.largest_without_fade
    go_below = described if room.all_described and isfinite(described) else min(described, asked)
    go_below = min(go_below, table.largest_fade)
    hidden = round(room.largest_delta_e00, LIMIT_DECIMALS)  # found by trial: a hair under the shop's limit is the limit
    return Thresholds(go_below, max(min(table.largest_fade, hidden), go_below))


def needs_every_angle(verdict: Verdict) -> bool:
    """Return whether a verdict on an effect finish waits for the angles not seen yet, any of which may be the worst.

    *Go* and *blend* do, a blend because one colour faded out must hide at every angle; *retint* stands on any angle.
    """
    return verdict in (Verdict.GO, Verdict.BLEND)


def decide(confidence: ConfidenceCurve, limits: Thresholds, tolerances: Tolerances) -> Decision:
    """Choose the verdict of least expected cost; *retake* when go and retint both remain possible.

    A narrow room takes the fade away, it does not make a hard edge safer: *go* is on offer only where it would be the
    verdict with all the room that the shop allows a fade.
    """
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
    roomy = {Verdict.GO: below_go, Verdict.BLEND: 1.0 - beyond_any_blend - below_go, Verdict.RETINT: beyond_any_blend}
    costs = tolerances.costs
    edge_stands = costs.go.expected(roomy) <= min(costs.blend.expected(roomy), costs.retint.expected(roomy))
    offered = [verdict for verdict in hours if verdict is not Verdict.GO or edge_stands]
    # Each end by the curve that gives it the better chance: a photo full of noise has room for both.
    perhaps_go = max(below_go, confidence.perhaps_at_most(limits.go_below))
    best = min(offered, key=lambda verdict: hours[verdict])
    # Blend lies between and survives being wrong a little to either side; the two ends must be surer of each other.
    limit = tolerances.decision.undecided if best is Verdict.BLEND else tolerances.decision.opposite
    undecided = min(perhaps_go, beyond_any_blend) > limit
    return Decision(Verdict.RETAKE if undecided else best, probabilities, hours, undecided)


def odds_words(decision: Decision) -> str:
    """Return the chances of all three, "go 59 %, blend 33 %, retint 8 %"."""
    return ", ".join(f"{each.value} {chance_words(chance)}" for each, chance in decision.probabilities.items())


def sure_words(verdict: Verdict, decision: Decision) -> str:
    """Return how sure a verdict is, to stand beside its word; nothing beside *retake*.

    Where it is not the likeliest, all the odds come first.
    """
    if verdict is Verdict.RETAKE:
        return ""
    chance = decision.probabilities[verdict]
    if chance >= max(decision.probabilities.values()):
        return f"{chance_words(chance)} likely right"
    if verdict is not decision.verdict:
        return odds_words(decision)
    cheapest = decision.expected_hours[verdict] <= min(decision.expected_hours.values())
    why = f"{verdict.value} costs least if wrong" if cheapest else "too little room for a fade makes no edge safer"
    return f"{odds_words(decision)}; {why}"


def limit_words(limit: float) -> str:
    """Return a limit (CIEDE2000) as it is said everywhere: to a tenth, or to a hundredth where it was set so.

    One that a room or a film gives has more digits than it is known to, and is rounded down so that "under" stays true.
    """
    if abs(limit - round(limit, 2)) < 10.0**-LIMIT_DECIMALS:
        return f"{limit:.2f}".removesuffix("0")
    return f"{floor(10.0 * limit) / 10.0:.1f}"


def size_words(delta_e00: float, limit: float) -> str:
    """Return a difference to be told beside a limit: to a tenth, or to a hundredth where the two would read alike."""
    size = f"{delta_e00:.1f}"
    return f"{delta_e00:.2f}" if float(size) == float(limit_words(limit)) else size


def chance_words(probability: float) -> str:
    """Return a probability in whole per cent, never a certainty: no photo gives one."""
    if probability < 0.005:
        return "under 1 %"
    return "over 99 %" if probability >= 0.995 else f"{100.0 * probability:.0f} %"
