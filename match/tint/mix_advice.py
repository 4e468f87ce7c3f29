"""What to do with a pot whose formula is known: add to it, weigh the next mix, stop, or start from another."""

from dataclasses import dataclass

import numpy as np

from match.colorimetry import Array, delta_e00, metric_root
from match.tint.answer import SURE, Action, Advice, Expected, OtherWay, TonerAmount, WhyNothing
from match.tint.card import surely_differs
from match.tint.limits import TintLimits
from match.tint.metamerism import LampShift, lamp_shifts
from match.tint.mix_known import know_mix, mix_responses
from match.tint.pigment import opaque_reflectance
from match.tint.place import Place, expected_now
from match.tint.pour import NextMix, Pour, on_top_of, running_totals
from match.tint.recovery import smoothest_spectrum
from match.tint.tinting import TintJob, Wanted
from match.tint.units import round_to_scale
from match.tint.ways import WayOn, addition, best_way
from match.tint.whole_mix import mix_reflectance, spectra
from match.tint.words import (
    FRESH_START,
    LITTLE_GAIN,
    PHOTO_AGAIN,
    addition_sentences,
    difference_sentence,
    enough_sentence,
    foreign_sentences,
    further_sentence,
    lamp_sentences,
    mix_sentences,
    step_sentence,
    sure_direction_sentence,
    unreachable_sentence,
    weak_sentences,
)
from match.tint.worth import gain, is_worth_a_card, photographed_again, ways_on

EVEN_CHANCE = 0.5  # of being within the goal, from which a card that reads within it is left alone


@dataclass(frozen=True, eq=False)
class MixAdvice:
    """The advice with what belongs to it.

    Attributes
    ----------
    advice : the next step
    next_mix : the next mix, whether or not it is what is advised; none when there is nothing to gain
    landing : (3, 3) covariance of the next card, spraying included
    parts : the paint after the step in the formula's own parts, the untinted mix in it making up all of them
    """

    advice: Advice
    next_mix: NextMix | None
    landing: Array
    parts: dict[str, float]


def advise_mix(job: TintJob, limits: TintLimits, *, goal: float, wanted: Wanted) -> MixAdvice:
    """Return what to do with a job whose formula is known.

    Parameters
    ----------
    job : the job with all its cards
    limits : what may be poured and what is worth doing
    goal : CIEDE2000 at which tinting stops
    wanted : what the shop wants
    """
    known = know_mix(job, limits)
    place = Place(known, limits, metric_root(job.vehicle_lab), goal, wanted)
    now = expected_now(place)
    enough = float(delta_e00(known.card.lab, job.vehicle_lab)) <= goal
    if enough and now.chance_within_goal >= EVEN_CHANCE:
        further = best_way(place, addition) if Action.TINT in wanted.ways else None
        if further is None or gain(now, further) < limits.offer_gain:
            return _nothing(place, now, WhyNothing.CLOSE_ENOUGH, None, (enough_sentence(goal),), "")
        told = (
            enough_sentence(goal),
            further_sentence(further.grams, further.untinted_g, further.expected.difference),
            *foreign_sentences(further.foreign, further.gain),
        )
        return _nothing(place, now, WhyNothing.CLOSE_ENOUGH, None, told, "", others=(_other(further),))
    sure = surely_differs(known.card, known.job.vehicle_lab, limits)
    ways = ways_on(place)
    worth = [way for way in ways if way.nearest < limits.out_of_reach and is_worth_a_card(way, now, sure, limits)]
    mix = next((way for way in ways if way.action is Action.NEXT_MIX), None)
    said = difference_sentence(known.card.lab, job.vehicle_lab, limits)
    if worth:
        best = min(worth, key=lambda way: way.expected.difference + limits.paint_gain * way.poured_g / place.mix_g)
        if gain(now, best) < limits.least_gain and not photographed_again(job):
            pours = step_sentence(best.grams, best.untinted_g) if best.action is Action.TINT else ""
            reasons = (said, LITTLE_GAIN, PHOTO_AGAIN, *((pours,) if pours else ()))
            others = (_other(best),) if best.action is Action.TINT else ()
            return _nothing(place, now, WhyNothing.WITHIN_DOUBT, mix, reasons, PHOTO_AGAIN, others)
        return _step(place, now, best, mix, [way for way in ways if way is not best])
    if enough:
        return _nothing(place, now, WhyNothing.CLOSE_ENOUGH, mix, (enough_sentence(goal), PHOTO_AGAIN), PHOTO_AGAIN)
    nearest = min((way.nearest for way in ways), default=now.difference)
    if not sure or nearest <= goal:
        return _nothing(place, now, WhyNothing.WITHIN_DOUBT, mix, (said, PHOTO_AGAIN), PHOTO_AGAIN)
    return _nothing(
        place,
        now,
        WhyNothing.NOTHING_HELPS,
        mix,
        (said, unreachable_sentence(nearest), FRESH_START),
        FRESH_START,
    )


def _step(place: Place, now: Expected, best: WayOn, mix: WayOn | None, others: list[WayOn]) -> MixAdvice:
    known, limits = place.known, place.limits
    amounts = _amounts(place, best) if best.action is Action.TINT else ()
    lamps = _lamps(place, best)
    reasons = [difference_sentence(known.card.lab, known.job.vehicle_lab, limits)]
    if not surely_differs(known.card, known.job.vehicle_lab, limits) and best.closer >= SURE:
        reasons.append(sure_direction_sentence(best.closer))
    reasons += (
        addition_sentences(amounts, best.untinted_g, limits)
        if best.action is Action.TINT
        else mix_sentences(best.on_top)
    )
    weak = {name: strong for name in best.grams if (strong := known.job.shelf[name].weak_of) in best.names}
    reasons += weak_sentences(weak) + foreign_sentences(best.foreign, best.gain) + lamp_sentences(lamps, limits)
    advice = Advice(
        best.action,
        amounts,
        best.untinted_g if best.action is Action.TINT else 0.0,
        float(delta_e00(known.card.lab, known.job.vehicle_lab)),
        now,
        best.expected,
        best.expected.difference,
        best.lab,
        lamps,
        tuple(_other(way) for way in others),
        _batch(place, best),
        tuple(reasons),
        chance_closer=best.closer,
    )
    landing = best.covariance + limits.card_sd**2 * np.eye(3)
    return MixAdvice(advice, _next_mix(place, mix), landing, _parts(place, best))


def _other(way: WayOn) -> OtherWay:
    return OtherWay(tuple(way.grams), tuple(way.grams.values()), way.expected.difference)


def _nothing(
    place: Place,
    now: Expected,
    why: WhyNothing,
    mix: WayOn | None,
    reasons: tuple[str, ...],
    way_out: str,
    others: tuple[OtherWay, ...] = (),
) -> MixAdvice:
    known = place.known
    car, card = known.job.vehicle_lab, known.card
    difference = float(delta_e00(card.lab, car))
    advice = Advice(
        why.action,
        (),
        0.0,
        difference,
        now,
        now,
        difference,
        card.lab,
        (),
        others,
        _batch(place, None),
        reasons,
        why,
        way_out,
    )
    landing = card.covariance + place.limits.card_sd**2 * np.eye(3)
    return MixAdvice(advice, _next_mix(place, mix), landing, _parts(place, None))


def _amounts(place: Place, way: WayOn) -> tuple[TonerAmount, ...]:
    known, paint_g = place.known, place.known.pot.paint_g
    batch = _batch(place, way)
    by_toner = {response.name: response for response in mix_responses(way.believed.belief, tuple(way.grams))}
    return tuple(
        TonerAmount(
            name,
            grams,
            100 * grams / paint_g,
            way.full_g[name],
            grams / way.full_g[name] if way.full_g[name] > 0 else 1.0,
            batch.get(name, 0.0),
            name in (known.job.formula or {}),
            by_toner[name],
        )
        for name, grams in way.grams.items()
    )


def _batch(place: Place, way: WayOn | None) -> dict[str, float]:
    """Return grams of each toner that bring the untinted batch to the paint after the step; empty where none can."""
    known, step_g = place.known, place.limits.scale_step_g
    formula, batch_g = known.job.formula or {}, place.wanted.batch_g
    total = sum(formula.values())
    held = {name: batch_g * known.job.toner_share * parts / total for name, parts in formula.items()}
    names, shares = (way.names, way.shares) if way else (known.model.names, known.shares_now)
    by_name = {n: s / known.job.toner_share for n, s in _by_name(names, shares).items()}
    needed = on_top_of(held, by_name, batch_g * known.job.toner_share)
    rounded = {name: round_to_scale(g, step_g) for name, g in (needed or {}).items()}
    return {name: g for name, g in rounded.items() if g > 0}


def _parts(place: Place, way: WayOn | None) -> dict[str, float]:
    """Return the paint after a step in the formula's parts; a fresh can makes up as many as the formula has."""
    known = place.known
    whole = sum((known.job.formula or {}).values()) / known.job.toner_share
    untinted = known.pot.base_share
    if way is not None:
        untinted = (untinted * known.pot.paint_g + way.untinted_g) / way.total_g if way.on_top else 0.0
    names, shares = (way.names, way.shares) if way else (known.model.names, known.shares_now)
    return {name: share * whole / (untinted or 1.0) for name, share in _by_name(names, shares).items()}


def _next_mix(place: Place, way: WayOn | None) -> NextMix | None:
    if way is None:
        return None
    formula = place.known.job.formula or {}
    before = _by_name(place.known.model.names, place.known.shares_now)
    after = _by_name(way.names, way.shares)
    totals = running_totals(way.grams, place.limits.scale_step_g)
    toners = tuple(
        Pour(name, g, total, 100 * after[name], 100 * before.get(name, 0.0), name in formula)
        for (name, g), total in zip(way.grams.items(), totals, strict=True)
    )
    expected = way.expected
    return NextMix(
        toners,
        way.on_top,
        way.binder_g,
        round_to_scale(way.poured_g, place.limits.scale_step_g),
        round_to_scale(way.total_g, place.limits.scale_step_g),
        expected.difference,
        expected.low,
        expected.high,
        expected.chance_within_goal,
        way.foreign,
        _lamps(place, way),
        way.gain,
    )


def _lamps(place: Place, way: WayOn) -> tuple[LampShift, ...]:
    """Return the lamp shifts of the next card against the car, taking the car as painted from the formula's toners."""
    known, mean = place.known, place.known.belief.mean
    K, S = spectra(known.model, mean)
    own = known.model.shares(known.job.formula or {})
    internal = opaque_reflectance(own @ K, own @ S)
    car = smoothest_spectrum(known.job.vehicle_lab, known.job.optics, internal).measured
    return lamp_shifts(mix_reflectance(way.believed.model, way.believed.belief.mean, way.shares), car)


def _by_name(names: tuple[str, ...], shares: Array) -> dict[str, float]:
    return {name: float(share) for name, share in zip(names, shares, strict=True) if share > 0}
