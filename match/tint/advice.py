"""Which toner to add and how much where the formula is not known: few toners, never too much, each with its doubt.

Where it is known, :mod:`match.tint.mix_advice` knows more.
"""

import numpy as np
from scipy.special import ndtri

from match.colorimetry import Array, delta_e00, metric_root
from match.tint.answer import SURE, Action, Advice, OtherWay, TonerAmount, WhyNothing
from match.tint.candidates import Judged, Setting, draw, in_formula
from match.tint.card import surely_differs
from match.tint.limits import TintLimits
from match.tint.metamerism import LampShift, lamp_shifts
from match.tint.paint import tinted_reflectance
from match.tint.recovery import smoothest_spectrum
from match.tint.search import Candidate, Choices, lab_after, parts_after
from match.tint.tinting import TintJob, Understanding, understand
from match.tint.units import round_to_scale
from match.tint.words import (
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

BEYOND_LIMITS = 1.0  # share of toner that no paint can take, tried to see whether the limit is what stands in the way
MOST_THINNING = 10.0  # grams of untinted paint per gram of pot; beyond that it is a fresh mix


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
    draws = draw(known, rng)
    setting = Setting(known, limits, draws, metric_root(job.vehicle_lab), goal, batch_g, reserve_g)
    now = float(delta_e00(known.card.lab, job.vehicle_lab))
    if now <= goal:
        return _nothing_to_add(setting, WhyNothing.CLOSE_ENOUGH, "", enough_sentence(goal))
    judged = setting.judged(setting.candidates(setting.choices()))
    untouched = float(setting.differences(setting.nothing).mean())
    if judged and untouched - judged[0].difference >= limits.least_gain:
        return _step(setting, judged)
    gains = bool(judged) and setting.weighted_now - judged[0].candidate.weighted_difference >= limits.least_gain
    if gains or not surely_differs(known.card, job.vehicle_lab, limits):
        said = difference_sentence(known.card.lab, job.vehicle_lab, limits)
        return _nothing_to_add(setting, WhyNothing.WITHIN_DOUBT, PHOTO_AGAIN, said, PHOTO_AGAIN)
    return _nothing_to_add(setting, WhyNothing.NOTHING_HELPS, FRESH_START, *_why_nothing_helps(setting))


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
    if not surely_differs(known.card, known.job.vehicle_lab, limits) and closer >= SURE:
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


def _step_shares(setting: Setting) -> Array:
    """Return (n + 1,) the share of each full amount to add now.

    A toner no card has shown yet: the trade's first-step share. A learned one: short by as much as its strength may
    still surprise, so that it passes its target only with the chance allowed. Untinted paint: all of it.
    """
    belief, limits = setting.known.learned.belief, setting.limits
    short = np.exp(-ndtri(1 - limits.overshoot_chance) * belief.log_strength_sd)
    new = belief.learned_share < limits.learned_share
    return np.append(np.where(new, np.minimum(short, limits.first_step_share), short), 1.0)


def _one_step(setting: Setting, best: Candidate) -> Array:
    """Return the additions of one step: the best that the limit for each toner allows, short of their full amounts."""
    shares, cap = _step_shares(setting), setting.limits.toner_step_share
    if float((best.additions[:-1] * shares[:-1]).max(initial=0.0)) <= cap:
        return best.additions * shares
    most = np.where(np.arange(shares.size) < shares.size - 1, cap / np.maximum(shares, 1e-6), MOST_THINNING)
    allowed = setting.again(best, np.minimum(most, setting.caps), setting.left)
    return (allowed or best).additions * shares


def _need(setting: Setting, best: Candidate) -> Candidate:
    """Return the same toners in the amounts that would close the gap if nothing limited them."""
    return setting.again(best, np.full(best.additions.size, BEYOND_LIMITS), BEYOND_LIMITS) or best


def _weighed(setting: Setting, additions: Array) -> Array:
    """Return additions per gram of pot after rounding their grams to the scale."""
    paint_g = setting.known.pot.paint_g
    grams = [round_to_scale(float(share * paint_g), setting.limits.scale_step_g) for share in additions]
    return np.array(grams) / paint_g


def _amounts(setting: Setting, best: Candidate, step: Array) -> tuple[TonerAmount, ...]:
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
            in_formula(known, names[i]),
            by_toner[i],
        )
        for i in np.flatnonzero(step[:-1])
    )


def _batch(setting: Setting, step: Array) -> dict[str, float]:
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
            setting.names(other.candidate),
            tuple(float(other.candidate.additions[i] * paint_g) for i in other.candidate.used),
            other.difference,
        )
        for other in judged
    )


def _lamps(known: Understanding, step: Array) -> tuple[LampShift, ...]:
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
    wide = setting.candidates(setting.choices(BEYOND_LIMITS))
    if wide and now - wide[0].weighted_difference > limits.least_gain:
        share = float(wide[0].additions[:-1].sum())
        reasons.append(limit_sentence(setting.names(wide[0]), share, wide[0].weighted_difference, limits))
    else:
        reasons.append(direction_sentence(card, car))
    if setting.reserve_g <= 0 and known.pot.added_share > 0:
        untinted = Choices((len(known.model.names),), np.array([MOST_THINNING]), 0.0)
        found = setting.candidates(untinted)
        if found and now - found[0].weighted_difference > limits.least_gain:
            grams = float(found[0].additions[-1]) * known.pot.paint_g
            reasons.append(thinning_sentence(grams, found[0].weighted_difference))
    return (*reasons, FRESH_START)
