"""Which toner to add and how much: few toners, never too much, with the doubt about each number."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2, norm

from match.tint.answer import ENOUGH, MEASURE, STOP, THIN, TINT, Advice, Expected, OtherWay, TonerAmount
from match.tint.card import metric_root
from match.tint.learn import responses
from match.tint.limits import TintLimits
from match.tint.metamerism import LampShift, lamp_shifts
from match.tint.paint import tinted_reflectance
from match.tint.pigment import Floats
from match.tint.recovery import smoothest_spectrum
from match.tint.search import UNTINTED, Aim, Candidate, Choices, lab_after, parts_after, search
from match.tint.tinting import TintJob, Understanding, understand
from match.tint.units import round_to_scale
from match.tint.viewing import colour_difference
from match.tint.wording import (
    FRESH_START,
    amount_sentences,
    difference_sentence,
    direction_sentence,
    lamp_sentences,
    limit_sentence,
    thinning_sentence,
)

DRAWS = 400
SHORTLIST = 8
BEYOND_LIMITS = 1.0  # share of toner that no paint can take, tried to see whether the limit is what stands in the way
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
        return colour_difference(labs, np.broadcast_to(self.known.job.vehicle_lab, labs.shape))

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
    now = float(colour_difference(known.card.lab, job.vehicle_lab))
    if now <= goal:
        return _nothing_to_add(setting, ENOUGH, f"The paint in the pot is within {goal:.1f} of the car: stop here.")
    if not _surely_different(setting):
        return _nothing_to_add(
            setting,
            MEASURE,
            f"The difference of {now:.1f} is no larger than the doubt about the measurement: photograph the card again "
            "before adding anything.",
        )
    judged = _judged(setting, _candidates(setting, _choices(setting)))
    untouched = float(setting.differences(setting.nothing).mean())
    if judged and untouched - judged[0].difference >= limits.least_gain:
        return _step(setting, judged)
    if judged and setting.weighted_now - judged[0].candidate.weighted_difference >= limits.least_gain:
        return _nothing_to_add(
            setting,
            MEASURE,
            f"An addition could help, but the doubt about the difference of {now:.1f} is as large as the gain: "
            "photograph the card again, or spray another, before adding anything.",
        )
    return _nothing_to_add(setting, STOP, *_why_nothing_helps(setting))


def _draws(known: Understanding, rng: np.random.Generator) -> Floats:
    learned = known.learned
    root = np.linalg.cholesky(learned.covariance + 1e-12 * np.eye(learned.mean.size))
    return np.asarray(learned.mean + rng.standard_normal((DRAWS, learned.mean.size)) @ root.T, dtype=np.float64)


def _surely_different(setting: Setting) -> bool:
    card = setting.known.card
    d = card.lab - setting.known.job.vehicle_lab
    return bool(d @ np.linalg.solve(card.covariance, d) > chi2.ppf(setting.limits.confidence, 3))


def _choices(setting: Setting, total_share: float | None = None) -> Choices:
    """Return what may go into the pot; ``total_share`` replaces the limit on all toner, to see if it is in the way."""
    names, pot = setting.known.model.names, setting.known.pot
    allowed = names if setting.known.job.allowed is None else setting.known.job.allowed
    left = max(0.0, (total_share or setting.limits.total_share) - pot.added_share)
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
    shares = _step_shares(setting)
    step = _weighed(setting, _one_step(setting, best.candidate.additions * shares))
    if not np.any(step):
        small = f"The amounts are below what a scale with steps of {limits.scale_step_g:g} g can weigh: "
        return _nothing_to_add(setting, STOP, f"{small}tint a larger pot.")
    amounts = _amounts(setting, best.candidate, step)
    untinted_g = round_to_scale(float(step[-1]) * known.pot.paint_g, limits.scale_step_g)
    lamps = _lamps(known, step)
    reasons = [difference_sentence(known.card.lab, known.job.vehicle_lab, limits)]
    reasons += amount_sentences(amounts, untinted_g, limits) + lamp_sentences(amounts, lamps, limits)
    reasons += (
        ["The formula is not known, so the amounts are a rougher guess than usual."] if known.base.guessed else []
    )
    return Advice(
        TINT if amounts else THIN,
        amounts,
        untinted_g,
        float(colour_difference(known.card.lab, known.job.vehicle_lab)),
        setting.expected(setting.nothing),
        setting.expected(step),
        best.difference,
        lab_after(known.model, known.pot, known.learned.mean, step),
        lamps,
        _others(setting, judged[1:3]),
        _batch(setting, step),
        tuple(reasons),
    )


def _step_shares(setting: Setting) -> Floats:
    """Return (n + 1,) the share of each full amount to add now.

    A toner no card has shown yet: the trade's first-step share. A learned one: short by as much as its strength may
    still surprise, so that it passes its target only with the chance allowed. Untinted paint: all of it.
    """
    belief, limits = setting.known.learned.belief, setting.limits
    short = np.exp(-norm.ppf(1 - limits.overshoot_chance) * belief.log_strength_sd)
    new = belief.learned_share < limits.learned_share
    return np.append(np.where(new, np.minimum(short, limits.first_step_share), short), 1.0)


def _one_step(setting: Setting, additions: Floats) -> Floats:
    """Return additions drawn in proportion so that no toner exceeds the share allowed in one step."""
    most = float(additions[:-1].max(initial=0.0))
    return additions * min(1.0, setting.limits.toner_step_share / most) if most > 0 else additions


def _weighed(setting: Setting, additions: Floats) -> Floats:
    """Return additions per gram of pot after rounding their grams to the scale."""
    paint_g = setting.known.pot.paint_g
    grams = [round_to_scale(float(share * paint_g), setting.limits.scale_step_g) for share in additions]
    return np.array(grams) / paint_g


def _amounts(setting: Setting, best: Candidate, step: Floats) -> tuple[TonerAmount, ...]:
    known = setting.known
    by_toner, batch = responses(known.learned.belief), _batch(setting, step)
    paint_g, names = known.pot.paint_g, known.model.names
    return tuple(
        TonerAmount(
            names[i],
            round_to_scale(float(step[i]) * paint_g, setting.limits.scale_step_g),
            float(100 * step[i]),
            float(best.additions[i] * paint_g),
            float(step[i] / best.additions[i]),
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


def _nothing_to_add(setting: Setting, action: str, *reasons: str) -> Advice:
    known = setting.known
    now = setting.expected(setting.nothing)
    difference = float(colour_difference(known.card.lab, known.job.vehicle_lab))
    lamps = _lamps(known, setting.nothing)
    batch = _batch(setting, setting.nothing)
    return Advice(action, (), 0.0, difference, now, now, difference, known.card.lab, lamps, (), batch, reasons)


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
