"""Weigh the evidence for every slip that marks may have, and say which one it looks like.

Each slip starts with the share of photos that have it (``calibration/marks.toml``); what the photo shows multiplies its
odds against right marks by a likelihood ratio. The photo is sent back when the probability of any slip is above the
one at which taking another photo costs as much as a wrong *go* would.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from match.check.marks import grey_slips, paint_slips
from match.check.marks.evidence import Evidence
from match.check.marks.greys import Implied, accounts, implied, robust, tone_fit
from match.check.marks.rules import MarkRules
from match.check.marks.slip import Slip
from match.measure.finding import Finding
from match.measure.tone import ToneFit
from match.photo.regions import Kind, Region


@dataclass(frozen=True)
class MarkJudgement:
    """The probability of any slip, and the slips to tell of, the likeliest first; none where the marks are believed.

    ``asked`` are the marks of which a person's word would do, empty where it would not; ``believed`` are the slips that
    it has already spoken against.
    """

    probability: float
    slips: tuple[Slip, ...] = ()
    asked: tuple[Region, ...] = ()
    believed: tuple[Slip, ...] = ()


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
    """Return the judgement: told of are the likeliest slip, and others about other marks that would do alone."""
    limit = rules.another_photo / (rules.another_photo + wrong_go_hours)
    probability = _of_any(slips, (), rules)
    if probability <= limit:
        unsaid = [replace(each, regions=()) for each in slips]
        believed = () if _of_any(unsaid, (), rules) <= limit else _named(slips, limit)[:1]
        return MarkJudgement(probability, believed=believed)
    told = _named([replace(each, log_odds=_log_odds(each, (), rules)) for each in slips], limit)
    named = tuple({region for slip in told for region in slip.regions})
    enough = _of_any(slips, named, rules) <= limit
    return MarkJudgement(probability, told, named if enough else ())


def _of_any(slips: Sequence[Slip], said: Sequence[Region], rules: MarkRules) -> float:
    """Return the probability of any slip, were the marks ``said`` to be right too."""
    odds = np.exp(np.minimum([_log_odds(slip, said, rules) for slip in slips], 50.0)).sum()
    return float(odds / (1.0 + odds))


def _log_odds(slip: Slip, said: Sequence[Region], rules: MarkRules) -> float:
    """Return the odds of a slip with a person's word on all its marks, where it was given."""
    spoken = bool(slip.regions) and all(region.sure or region in said for region in slip.regions)
    right, wrong = rules.answered
    return slip.log_odds + (float(np.log(wrong / right)) if spoken else 0.0)


def _named(slips: Sequence[Slip], limit: float) -> tuple[Slip, ...]:
    named: list[Slip] = []
    for slip in sorted(slips, key=lambda each: -each.log_odds):
        taken = {region for each in named for region in each.regions}
        alone = 1.0 / (1.0 + np.exp(-slip.log_odds)) > limit
        if not named or (alone and not taken & set(slip.regions)):
            named.append(slip)
    return tuple(named)
