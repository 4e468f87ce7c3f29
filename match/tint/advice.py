"""Which toner to add and how much where the formula is not known: few toners, never too much, each with its doubt.

Where it is known, :mod:`match.tint.mix_advice` knows more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from match.colorimetry import delta_e00, metric_root, squared_reach
from match.tint.answer import Action, Advice, Expected, OtherWay, TonerAmount, WhyNothing
from match.tint.limits import TintLimits
from match.tint.metamerism import LampShift, lamp_shifts
from match.tint.paint import tinted_reflectance
from match.tint.pigment import Floats
from match.tint.recovery import smoothest_spectrum
from match.tint.search import UNTINTED, Aim, Candidate, Choices, lab_after, parts_after, search
from match.tint.tinting import TintJob, Understanding, understand
from match.tint.units import round_to_scale
from match.tint.wording import (
    FRESH_START,
    LARGER_POT,
    PHOTO_AGAIN,
    amount_sentences,
    difference_sentence,
    direction_sentence,
    enough_sentence,
    foreign_sentences,
    lamp_sentences,
    limit_sentence,
    sure_direction_sentence,
    thinning_sentence,
)

DRAWS = 400
SHORTLIST = 8
BEYOND_LIMITS = 1.0  # share of toner that no paint can take, tried to see whether the limit is what stands in the way
SURE = 0.9  # chance of coming closer from which a direction is called sure
MOST_THINNING = 10.0  # grams of untinted paint per gram of pot; beyond that it is a fresh mix


@dataclass(frozen=True, eq=False)
class Setting:
    """What every step of one advice looks at.

    Attributes
    ----------
    known : what the model and the cards say
    limits : what may be added and what is worth doing
    draws : (DRAWS, 3 + 4n) draws of start colour and toner responses
    W : (3, 3) CIELAB to CIEDE2000 about the car
    goal : CIEDE2000 at which tinting stops
    batch_g, reserve_g : untinted paint, g, to be tinted later and at hand for thinning
    """

    known: Understanding
    limits: TintLimits
    draws: Floats
    W: Floats
    goal: float
    batch_g: float
    reserve_g: float

    @property
    def nothing(self) -> Floats:
        """Return (n + 1,) no additions."""
        return np.zeros(len(self.known.model.names) + 1)

    @property
    def weighted_now(self) -> float:
        """Return the length of W (card - car), comparable with the search's weighted differences."""
        return float(np.linalg.norm(self.W @ (self.known.card.lab - self.known.job.vehicle_lab)))

    def differences(self, additions: Floats) -> Floats:
        """Return (DRAWS,) CIEDE2000 from the car after ``additions`` (n + 1,) per gram of paint in the pot."""
        spread = np.broadcast_to(additions, (self.draws.shape[0], additions.size))
        labs = lab_after(self.known.model, self.known.pot, self.draws, spread)
        return delta_e00(labs, np.broadcast_to(self.known.job.vehicle_lab, labs.shape))

    def expected(self, additions: Floats) -> Expected:
        """Return the summary of :meth:`differences`."""
        d = self.differences(additions)
        low, high = np.percentile(d, [5, 95])
        return Expected(float(d.mean()), float(low), float(high), float(np.mean(d <= self.goal)))


@dataclass(frozen=True, eq=False)
class Judged:
    """A candidate with its expected CIEDE2000 and the price it must be worth."""

    candidate: Candidate
    difference: float
    price: float


def advise(
    job: TintJob,
    limits: TintLimits,
    rng: np.random.Generator,
    *,
    goal: float,
    batch_g: float = 0.0,
    reserve_g: float = 0.0,
) -> Advice:
    """Return the next step for a job.

    Parameters
    ----------
    job : the job with all its cards
    limits : what may be added and what is worth doing
    rng : for the draws of what is not known
    goal : CIEDE2000 at which tinting stops
    batch_g : untinted paint that will be tinted once the pot is right, g
    reserve_g : untinted paint of the same mix that may go into the pot, g
    """
    known = understand(job, limits)
    draws = _draws(known, rng)
    setting = Setting(known, limits, draws, metric_root(job.vehicle_lab), goal, batch_g, reserve_g)
    now = float(delta_e00(known.card.lab, job.vehicle_lab))
    if now <= goal:
        return _nothing_to_add(setting, WhyNothing.CLOSE_ENOUGH, "", enough_sentence(goal))
    judged = _judged(setting, _candidates(setting, _choices(setting)))
    untouched = float(setting.differences(setting.nothing).mean())
    if judged and untouched - judged[0].difference >= limits.least_gain:
        return _step(setting, judged)
    gains = bool(judged) and setting.weighted_now - judged[0].candidate.weighted_difference >= limits.least_gain
    if gains or not _surely_different(setting):
        said = difference_sentence(known.card.lab, job.vehicle_lab, limits)
        return _nothing_to_add(setting, WhyNothing.WITHIN_DOUBT, PHOTO_AGAIN, said, PHOTO_AGAIN)
    return _nothing_to_add(setting, WhyNothing.NOTHING_HELPS, FRESH_START, *_why_nothing_helps(setting))


def _draws(known: Understanding, rng: np.random.Generator) -> Floats:
    learned = known.learned
    root = np.linalg.cholesky(learned.covariance + 1e-12 * np.eye(learned.mean.size))
    return np.asarray(learned.mean + rng.standard_normal((DRAWS, learned.mean.size)) @ root.T, dtype=np.float64)


def _surely_different(setting: Setting) -> bool:
    card = setting.known.card
    d = card.lab - setting.known.job.vehicle_lab
    return bool(d @ np.linalg.solve(card.covariance, d) > squared_reach(setting.limits.confidence))


def _choices(setting: Setting, total_share: float | None = None) -> Choices:
    """Return what may go into the pot; ``total_share`` replaces the limit on all toner, to see if it is in the way."""
    names, pot = setting.known.model.names, setting.known.pot
    allowed = names if setting.known.job.allowed is None else setting.known.job.allowed
    left = _left(setting) if total_share is None else max(0.0, total_share - pot.added_share)
    columns = [names.index(name) for name in allowed]
    caps = [left] * len(columns)
    if setting.reserve_g > 0 and pot.added_share > 0:
        columns.append(len(names))
        caps.append(setting.reserve_g / pot.paint_g)
    return Choices(tuple(columns), np.array(caps), left)


def _candidates(setting: Setting, choices: Choices) -> list[Candidate]:
    known = setting.known
    aim = Aim(known.model, known.pot, known.learned.mean, known.job.vehicle_lab, setting.W)
    return search(aim, choices, int(setting.limits.most_toners))


def _judged(setting: Setting, candidates: list[Candidate]) -> list[Judged]:
    """Return a shortlist, best first by expected difference plus price."""
    priced = sorted(
        ((c, _price(setting, c)) for c in candidates), key=lambda pair: pair[0].weighted_difference + pair[1]
    )
    judged = [Judged(c, float(setting.differences(c.additions).mean()), price) for c, price in priced[:SHORTLIST]]
    return sorted(judged, key=lambda j: j.difference + j.price)


def _price(setting: Setting, candidate: Candidate) -> float:
    """Return what a set must gain to be preferred: for each addition after the first, each toner not in the formula."""
    foreign = sum(not _in_formula(setting.known, name) for name in _names(setting, candidate) if name != UNTINTED)
    return setting.limits.toner_gain * (len(candidate.used) - 1) + setting.limits.outside_gain * foreign


def _in_formula(known: Understanding, name: str) -> bool:
    """Return whether a toner is in the mix, or whether that is not known (then none is called foreign)."""
    return known.base.guessed or name in known.base.formula


def _names(setting: Setting, candidate: Candidate) -> tuple[str, ...]:
    return tuple((*setting.known.model.names, UNTINTED)[i] for i in candidate.used)


def _step(setting: Setting, judged: list[Judged]) -> Advice:
    """Return the advice to add the best set, short of its full amounts."""
    known, limits, best = setting.known, setting.limits, judged[0]
    step = _weighed(setting, _one_step(setting, best.candidate))
    if not np.any(step):
        return _nothing_to_add(setting, WhyNothing.TOO_SMALL, LARGER_POT, LARGER_POT)
    amounts = _amounts(setting, _need(setting, best.candidate), step)
    untinted_g = round_to_scale(float(step[-1]) * known.pot.paint_g, limits.scale_step_g)
    lamps = _lamps(known, step)
    reasons = [difference_sentence(known.card.lab, known.job.vehicle_lab, limits)]
    closer = float(np.mean(setting.differences(step) < setting.differences(setting.nothing)))
    if not _surely_different(setting) and closer >= SURE:
        reasons.append(sure_direction_sentence(closer))
    foreign = tuple(amount.name for amount in amounts if not amount.in_formula)
    reasons += amount_sentences(amounts, untinted_g, limits)
    reasons += foreign_sentences(foreign, limits.outside_gain) + lamp_sentences(lamps, limits)
    reasons += (
        ["The formula is not known, so the amounts are a rougher guess than usual."] if known.base.guessed else []
    )
    return Advice(
        Action.TINT,
        amounts,
        untinted_g,
        float(delta_e00(known.card.lab, known.job.vehicle_lab)),
        setting.expected(setting.nothing),
        setting.expected(step),
        best.difference,
        lab_after(known.model, known.pot, known.learned.mean, step),
        lamps,
        _others(setting, judged[1:3]),
        _batch(setting, step),
        tuple(reasons),
        chance_closer=closer,
    )


def _step_shares(setting: Setting) -> Floats:
    """Return (n + 1,) the share of each full amount to add now.

    A toner no card has shown yet: the trade's first-step share. A learned one: short by as much as its strength may
    still surprise, so that it passes its target only with the chance allowed. Untinted paint: all of it.
    """
    belief, limits = setting.known.learned.belief, setting.limits
    short = np.exp(-ndtri(1 - limits.overshoot_chance) * belief.log_strength_sd)
    new = belief.learned_share < limits.learned_share
    return np.append(np.where(new, np.minimum(short, limits.first_step_share), short), 1.0)


def _one_step(setting: Setting, best: Candidate) -> Floats:
    """Return the additions of one step: the best that the limit for each toner allows, short of their full amounts."""
    shares, cap = _step_shares(setting), setting.limits.toner_step_share
    if float((best.additions[:-1] * shares[:-1]).max(initial=0.0)) <= cap:
        return best.additions * shares
    most = np.where(np.arange(shares.size) < shares.size - 1, cap / np.maximum(shares, 1e-6), MOST_THINNING)
    allowed = _again(setting, best, np.minimum(most, _caps(setting)), _left(setting))
    return (allowed or best).additions * shares


def _need(setting: Setting, best: Candidate) -> Candidate:
    """Return the same toners in the amounts that would close the gap if nothing limited them."""
    return _again(setting, best, np.full(best.additions.size, BEYOND_LIMITS), BEYOND_LIMITS) or best


def _again(setting: Setting, best: Candidate, caps: Floats, total: float) -> Candidate | None:
    """Return the best amounts of all toners of a set within other caps (n + 1,); nothing where one falls out."""
    found = _candidates(setting, Choices(best.used, caps[list(best.used)], total))
    return next((candidate for candidate in found if candidate.used == best.used), None)


def _left(setting: Setting) -> float:
    """Return the share of toner that the pot may still take."""
    return max(0.0, setting.limits.total_share - setting.known.pot.added_share)


def _caps(setting: Setting) -> Floats:
    """Return (n + 1,) most of each toner and of untinted paint, grams per gram of pot."""
    reserve = setting.reserve_g / setting.known.pot.paint_g
    return np.append(np.full(len(setting.known.model.names), _left(setting)), reserve)


def _weighed(setting: Setting, additions: Floats) -> Floats:
    """Return additions per gram of pot after rounding their grams to the scale."""
    paint_g = setting.known.pot.paint_g
    grams = [round_to_scale(float(share * paint_g), setting.limits.scale_step_g) for share in additions]
    return np.array(grams) / paint_g


def _amounts(setting: Setting, best: Candidate, step: Floats) -> tuple[TonerAmount, ...]:
    known = setting.known
    by_toner = known.learned.belief.responses(known.job.log.cards_with_added())
    batch = _batch(setting, step)
    paint_g, names = known.pot.paint_g, known.model.names
    return tuple(
        TonerAmount(
            names[i],
            round_to_scale(float(step[i]) * paint_g, setting.limits.scale_step_g),
            float(100 * step[i]),
            float(best.additions[i] * paint_g),
            float(min(1.0, step[i] / best.additions[i])) if best.additions[i] > 0 else 1.0,
            batch[names[i]],
            _in_formula(known, names[i]),
            by_toner[i],
        )
        for i in np.flatnonzero(step[:-1])
    )


def _batch(setting: Setting, step: Floats) -> dict[str, float]:
    """Return grams of each toner for the untinted batch that make it the paint in the pot after ``step``."""
    known = setting.known
    parts = parts_after(known.model, known.pot, step)
    step_g = setting.limits.scale_step_g
    return {
        known.model.names[i]: round_to_scale(float(parts[i]) * setting.batch_g, step_g) for i in np.flatnonzero(parts)
    }


def _others(setting: Setting, judged: list[Judged]) -> tuple[OtherWay, ...]:
    paint_g = setting.known.pot.paint_g
    return tuple(
        OtherWay(
            _names(setting, other.candidate),
            tuple(float(other.candidate.additions[i] * paint_g) for i in other.candidate.used),
            other.difference,
        )
        for other in judged
    )


def _lamps(known: Understanding, step: Floats) -> tuple[LampShift, ...]:
    """Return the lamp shifts of the next card against the car, taking the car as painted from the formula's toners."""
    car = smoothest_spectrum(known.job.vehicle_lab, known.job.optics, known.base.internal).measured
    parts = parts_after(known.model, known.pot, step)
    return lamp_shifts(tinted_reflectance(known.model, parts, known.learned.belief.log_strengths), car)


def _nothing_to_add(setting: Setting, why: WhyNothing, way_out: str, *reasons: str) -> Advice:
    known = setting.known
    now = setting.expected(setting.nothing)
    difference = float(delta_e00(known.card.lab, known.job.vehicle_lab))
    lamps = _lamps(known, setting.nothing)
    batch = _batch(setting, setting.nothing)
    lab = known.card.lab
    return Advice(why.action, (), 0.0, difference, now, now, difference, lab, lamps, (), batch, reasons, why, way_out)


def _why_nothing_helps(setting: Setting) -> tuple[str, ...]:
    """Return plain reasons why no allowed addition helps, and what does."""
    known, limits = setting.known, setting.limits
    card, car = known.card.lab, known.job.vehicle_lab
    now = setting.weighted_now
    reasons = [difference_sentence(card, car, limits)]
    wide = _candidates(setting, _choices(setting, BEYOND_LIMITS))
    if wide and now - wide[0].weighted_difference > limits.least_gain:
        share = float(wide[0].additions[:-1].sum())
        reasons.append(limit_sentence(_names(setting, wide[0]), share, wide[0].weighted_difference, limits))
    else:
        reasons.append(direction_sentence(card, car))
    if setting.reserve_g <= 0 and known.pot.added_share > 0:
        untinted = Choices((len(known.model.names),), np.array([MOST_THINNING]), 0.0)
        found = _candidates(setting, untinted)
        if found and now - found[0].weighted_difference > limits.least_gain:
            grams = float(found[0].additions[-1]) * known.pot.paint_g
            reasons.append(thinning_sentence(grams, found[0].weighted_difference))
    return (*reasons, FRESH_START)
