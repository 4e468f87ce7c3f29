"""Weigh the evidence for every slip that marks may have, and say which one it looks like.

Each slip starts with the share of photos that have it (``calibration/marks.toml``); what the photo shows multiplies its
odds against right marks by a likelihood ratio. The photo is sent back when the probability of any slip is above the
one at which taking another photo costs as much as a wrong *go* would.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from match.check.marks import grey_slips, paint_slips
from match.check.marks.code import MarkCode
from match.check.marks.evidence import Evidence
from match.check.marks.greys import Implied, accounts, implied, robust, tone_fit
from match.check.marks.rules import MarkRules
from match.check.marks.slip import Slip
from match.measure.finding import Finding
from match.measure.tone import ToneFit
from match.photo.regions import Kind, Region

FIGURES = (MarkCode.GREY_VALUE, MarkCode.LADDER)
"""Slips of what is printed on the reference: nothing in the photo shows it to a person who looks again."""

MOST_QUESTIONS = 3
"""Questions that a person is asked about one photo, one after the other; with more doubts another photo is better."""


@dataclass(frozen=True)
class MarkJudgement:
    """The probability of any slip, and the slips to tell of, the likeliest first; none where the marks are believed.

    ``asked`` are the slips against which a person's word would do, empty where it would not; ``believed`` are those
    that it has already spoken against.
    """

    probability: float
    slips: tuple[Slip, ...] = ()
    asked: tuple[Slip, ...] = ()
    believed: tuple[Slip, ...] = ()

    @property
    def other_steps(self) -> tuple[tuple[float, float], ...]:
        """What the only grey may be instead of what is stated, each with its chance; a person's word left it open."""
        odds = {step: np.exp(each) for slip in self.believed for step, each in slip.others}
        return tuple((step, float(each / (1.0 + sum(odds.values())))) for step, each in odds.items())

    def with_word(self, region: Region) -> Region:
        """Return the region as it would be with a person's word on all that is asked of it."""
        asked = [slip.code.value for slip in self.asked if region.unsaid in {each.unsaid for each in slip.regions}]
        return replace(region, sure=tuple(dict.fromkeys((*region.sure, *asked))))


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
    noise = np.full(len(greys), float(np.hypot(tolerance, grey_slips.light_noise(seen, greys, rules))))
    levels = np.array([seen.boxes[place].colour[0] for place in greys])
    fit = tone_fit(levels, stated, curve, noise)
    around = _implied(seen, greys, fit.gain, curve, rules)
    slips = [
        *paint_slips.across(seen.boxes, rules),
        *paint_slips.pairs(seen, delta_e00, rules),
        *paint_slips.car_parts(seen, around, rules),
    ]
    slips += [*paint_slips.elsewhere(seen, delta_e00, around, rules), paint_slips.exchanged(seen, rules)]
    if len(greys) > 1:
        wide = tone_fit(levels, stated, replace(curve, covariance=4.0 * curve.covariance), noise)
        right = robust(fit, wide, rules.tail)
        others = accounts(levels, stated, curve, noise, rules.greys)
        slips += [grey_slips.account_slip(seen, greys, other, right, rules) for other in others]
    alone = len(greys) == 1
    return [
        *slips,
        grey_slips.value_slip(seen, greys, around, rules),
        *(grey_slips.elsewhere_slip(seen, k, around, rules, alone) for k in greys),
    ]


def _implied(seen: Evidence, greys: list[int], gain: float, curve: ToneFit, rules: MarkRules) -> Implied:
    paints = np.array([box.colour for box in seen.boxes if box.region.kind is not Kind.GREY])
    return implied(seen.frame, paints, np.array([seen.boxes[k].colour for k in greys]), gain, curve, rules.frame)


def conclude(slips: Sequence[Slip], wrong_go_hours: float, rules: MarkRules) -> MarkJudgement:
    """Return the judgement: told of are the likeliest slip, and others about other marks that would do alone.

    A word speaks against the slip that was asked about, and against no other of the same mark.
    """
    limit = rules.another_photo / (rules.another_photo + wrong_go_hours)
    held = [_answered(slip, rules) if _is_spoken(slip) else slip for slip in slips]
    believed = _believed(slips, held, limit)
    # What the figures bear is no longer a slip that could turn them; a carried one that they do not hold still is.
    probability = _of_any([slip for slip in held if not (slip.is_carried and any(slip is each for each in believed))])
    if probability <= limit:
        return MarkJudgement(probability, believed=believed)
    doubted = [slip for slip in held if not slip.is_carried]
    told = tuple(_with_help(slip, limit) for slip in _named(doubted, limit))
    return MarkJudgement(probability, told, told if _would_do(doubted, limit, rules) else ())


def _of_any(held: Sequence[Slip]) -> float:
    """Return the probability that any of the slips happened."""
    odds = np.exp([min(slip.log_odds, 50.0) for slip in held]).sum()
    return float(odds / (1.0 + odds))


def _is_spoken(slip: Slip) -> bool:
    return bool(slip.regions) and all(region.answers(slip.code.value) for region in slip.regions)


def _answered(slip: Slip, rules: MarkRules) -> Slip:
    """Return the slip with a person's word against it: of a figure it is worth less than of a place that is seen."""
    right, wrong = rules.answered_figure if slip.code in FIGURES else rules.answered
    word = float(np.log(wrong / right))
    others = tuple((step, odds + word) for step, odds in slip.others)
    return replace(slip, log_odds=slip.log_odds + word, others=others, spoken=True)


def _believed(slips: Sequence[Slip], held: Sequence[Slip], limit: float) -> tuple[Slip, ...]:
    """Return the slips that would have been told of without the word against them."""
    if _of_any(slips) <= limit:
        return ()
    spoken = sorted(
        ((was, now) for was, now in zip(slips, held, strict=True) if now.spoken), key=lambda p: -p[0].log_odds
    )
    alone = tuple(now for was, now in spoken if was.alone() > limit)
    return alone or tuple(now for _, now in spoken[:1])


def _would_do(doubted: Sequence[Slip], limit: float, rules: MarkRules) -> bool:
    """Say whether a person's word on one question after the other, the likeliest slip first, would do."""
    left = sorted(doubted, key=lambda slip: -slip.log_odds)
    for place, slip in enumerate(left[:MOST_QUESTIONS]):
        if slip.spoken or not slip.regions:
            return False
        left[place] = _answered(slip, rules)
        if _of_any([each for each in left if not each.is_carried]) <= limit:
            return True
    return False


def _with_help(slip: Slip, limit: float) -> Slip:
    """Return the slip with a value that says so where something white in the frame would settle it."""
    helped = replace(slip, log_odds=slip.if_white).alone() <= limit
    return replace(slip, values={**slip.values, "white": 1.0}) if helped else slip


def _named(slips: Sequence[Slip], limit: float) -> tuple[Slip, ...]:
    named: list[Slip] = []
    for slip in sorted(slips, key=lambda each: -each.log_odds):
        taken = {region for each in named for region in each.regions}
        if not named or (slip.alone() > limit and not taken & set(slip.regions)):
            named.append(slip)
    return tuple(named)
