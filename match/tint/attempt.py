"""Whether the last tint moved the paint the right way, and what that says about the next."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.special import ndtri

from match.colorimetry import Array, delta_e00, is_beyond, metric_root
from match.errors import TintError
from match.record import Record
from match.tint.answer import Action, Advice, WhyNothing
from match.tint.card import CardColour, describe
from match.tint.learn import lab_jacobian, predicted_lab
from match.tint.limits import TintLimits
from match.tint.look_first import Look, look_first
from match.tint.mix_known import know_mix, mix_responses
from match.tint.strengths import Z90, TonerResponse
from match.tint.tinting import TintJob, understand
from match.words import capital, listed

STOOD_STILL = "A move of about {size:.1f} should have been seen: add nothing before the cause is found."
HALF_WAY = 0.5
DRAWS = 4000


class Trend(StrEnum):
    """Which way the last tint took the paint, as far as the photos tell."""

    CLOSER = "closer"
    FARTHER = "farther"
    UNCLEAR = "no clear change"


class Deed(StrEnum):
    """What to do after a tint."""

    GO_ON = "go on"
    HALVE = "halve"
    OTHER = "another toner"
    END = "stop"
    MIX = "next mix"
    ADD = "addition"
    """What is left of a next mix."""
    PHOTO = "photo"
    """One more of the same card, before anything is added."""


@dataclass(frozen=True, eq=False)
class Move(Record):
    """How far a tint moved the card, against the prediction.

    Attributes
    ----------
    moved : (3,) CIELAB, card after less card before
    size : CIEDE2000 between the two cards
    uncertainty : standard deviation of the move along itself, CIEDE2000
    seen : whether the move is larger than its uncertainty explains
    predicted : (3,) CIELAB move predicted before the card was sprayed
    predicted_size : its CIEDE2000
    visible : whether the predicted move is one that the photos could show
    angle_degrees, angle_sd : between move and prediction, in a space where CIEDE2000 is length; 0 is as predicted
    ratio, ratio_sd : move along the prediction / predicted size
    as_predicted : whether the move agrees with the prediction within both uncertainties
    """

    moved: Array
    size: float
    uncertainty: float
    seen: bool
    predicted: Array
    predicted_size: float
    visible: bool
    angle_degrees: float
    angle_sd: float
    ratio: float
    ratio_sd: float
    as_predicted: bool


@dataclass(frozen=True, eq=False)
class AttemptCheck(Record):
    """The verdict on one tint.

    Attributes
    ----------
    move : how far it went and whether as predicted
    difference_before, difference_after : CIEDE2000 of the two cards from the car
    chance_closer : 0..1 that the paint really came closer to the car
    trend : which way it went
    left : (3,) CIELAB still missing, car less card
    left_words : how the card now differs from the car, largest first
    recommendation : what to do now
    reasons : short sentences for the painter, besides those of ``next_step``
    in_pot_g : grams in the pot now
    added_g : grams poured in since the start
    responses : each used toner's strength in this colour by all cards
    next_step : the advice that follows
    look_first : where to look before the toners are blamed, the likeliest first
    """

    move: Move
    difference_before: float
    difference_after: float
    chance_closer: float
    trend: Trend
    left: Array
    left_words: tuple[str, ...]
    recommendation: Deed
    reasons: tuple[str, ...]
    in_pot_g: dict[str, float]
    added_g: dict[str, float]
    responses: tuple[TonerResponse, ...]
    next_step: Advice
    look_first: tuple[Look, ...] = ()


def check_attempt(job: TintJob, limits: TintLimits, rng: np.random.Generator, next_step: Advice) -> AttemptCheck:
    """Return whether the last measured step of ``job`` moved the right way.

    Parameters
    ----------
    job : the job with all its cards
    limits : for the spread of spraying and the level of confidence
    rng : for the chance that the card came closer
    next_step : the advice that follows
    """
    measured = [i for i, step in enumerate(job.log.steps) if step.after is not None]
    if not measured:
        raise TintError("there is no card after a tint yet: add the toner, spray a card and photograph it")
    job = job.up_to(measured[-1] + 1)
    (_, before), (pot_after, after) = job.log.cards()[-2:]
    predicted, doubt = predicted_move(job, limits)
    move = compare_move(predicted, doubt, before, after, metric_root(job.vehicle_lab), limits)
    chance, trend = _trend(before, after, job.vehicle_lab, limits, rng)
    last = job.log.steps[-1]
    added = None if last.mix_g is not None else {name: g for name, g in last.additions_g.items() if g > 0}
    recommendation, why = _recommendation(move, trend, next_step, added, limits)
    return AttemptCheck(
        move,
        float(delta_e00(before.lab, job.vehicle_lab)),
        float(delta_e00(after.lab, job.vehicle_lab)),
        chance,
        trend,
        job.vehicle_lab - after.lab,
        describe(after.lab, job.vehicle_lab, limits),
        recommendation,
        (*_move_sentences(move, trend), *why),
        pot_after.contents_g,
        job.log.running_total_g(),
        _responses(job, limits),
        next_step,
        _looks(move, next_step),
    )


def predicted_move(job: TintJob, limits: TintLimits) -> tuple[Array, Array]:
    """Return the move (3,) predicted for the last card from those before it, and its covariance (3, 3)."""
    (before, _), (after, _) = job.log.cards()[-2:]
    if job.formula is not None:
        return know_mix(job, limits, cards=len(job.log.cards()) - 1).move(before, after)
    measured = [i for i, step in enumerate(job.log.steps) if step.after is not None]
    known = understand(job.up_to(measured[-2] + 1 if len(measured) > 1 else 0), limits)
    model, u = known.model, known.learned.mean
    x0, x1 = (model.parts(pot.parts_of_base) for pot in (before, after))
    J = lab_jacobian(model, u, x1) - lab_jacobian(model, u, x0)
    return predicted_lab(model, u, x1) - predicted_lab(model, u, x0), J @ known.learned.covariance @ J.T


def _responses(job: TintJob, limits: TintLimits) -> tuple[TonerResponse, ...]:
    """Return the strengths of the toners that were added, or of every toner of the mix where the formula is known."""
    if job.formula is not None:
        known = know_mix(job, limits)
        return mix_responses(known.belief, known.model.names)
    held = job.log.cards_with_added()
    return tuple(r for r in understand(job, limits).learned.belief.responses(held) if held.get(r.name, 0))


def compare_move(
    predicted: Array, doubt: Array, before: CardColour, after: CardColour, W: Array, limits: TintLimits
) -> Move:
    """Return the move from card to card against what was predicted from the cards before it.

    Parameters
    ----------
    predicted, doubt : (3,) and (3, 3) of :func:`predicted_move`
    before, after : the cards
    W : (3, 3) from :func:`match.colorimetry.metric_root`
    limits : for the spread of spraying and the level of confidence
    """
    noise = before.covariance + after.covariance + 2 * limits.card_sd**2 * np.eye(3)
    moved = after.lab - before.lab
    m, p, N = W @ moved, W @ predicted, W @ noise @ W.T
    size, length = float(np.linalg.norm(m)), float(np.linalg.norm(p))
    along = m / size if size > 0 else np.zeros(3)
    sd = float(np.sqrt(along @ N @ along)) if size > 0 else float(np.sqrt(np.trace(N) / 3))
    across = float(np.sqrt(max(np.trace(N) - sd**2, 0.0) / 2))
    forward = p / length if length > 0 else np.zeros(3)
    cosine = float(np.clip(along @ forward, -1.0, 1.0))
    return Move(
        moved,
        float(delta_e00(before.lab, after.lab)),
        sd,
        is_beyond(moved, noise, limits.confidence),
        predicted,
        float(delta_e00(before.lab, before.lab + predicted)),
        is_beyond(predicted, noise, limits.confidence),
        float(np.degrees(np.arccos(cosine))),
        float(np.degrees(np.arctan2(across, size))) if size > 0 else 180.0,
        float(m @ forward / length) if length > 0 else 0.0,
        float(np.sqrt(forward @ N @ forward) / length) if length > 0 else float("inf"),
        not is_beyond(moved - predicted, noise + doubt, limits.confidence),
    )


def _trend(
    before: CardColour, after: CardColour, car: Array, limits: TintLimits, rng: np.random.Generator
) -> tuple[float, Trend]:
    """Return the chance that the card came closer, and the word for it."""
    spread = limits.card_sd**2 * np.eye(3)
    draws = [
        rng.multivariate_normal(card.lab, card.covariance + spread, size=DRAWS, method="eigh")
        for card in (before, after)
    ]
    far, near = (delta_e00(lab, np.broadcast_to(car, lab.shape)) for lab in draws)
    chance = float(np.mean(near < far))
    if chance >= limits.confidence:
        return chance, Trend.CLOSER
    return chance, Trend.FARTHER if chance <= 1 - limits.confidence else Trend.UNCLEAR


def _recommendation(
    move: Move, trend: Trend, next_step: Advice, last: dict[str, float] | None, limits: TintLimits
) -> tuple[Deed, tuple[str, ...]]:
    """Return the recommendation with the reasons that led to it; ``last`` is the last addition, none after a mix."""
    if next_step.why is WhyNothing.CLOSE_ENOUGH:
        return Deed.END, ()
    if stands_still(move):
        return Deed.END, (STOOD_STILL.format(size=move.predicted_size),)
    if next_step.why is WhyNothing.WITHIN_DOUBT:
        return Deed.PHOTO, ()
    if next_step.action is Action.NEXT_MIX:
        return Deed.MIX, ()
    if not next_step.amounts:
        return Deed.END, ()
    if last is None:
        return Deed.ADD, ()
    wanted = {amount.name: amount.pot_g for amount in next_step.amounts}
    z = float(ndtri(limits.confidence))
    sideways = move.seen and move.angle_degrees - z * move.angle_sd > limits.turn_degrees
    shared = [name for name in wanted if name in last]
    if not shared or (sideways and trend is not Trend.CLOSER and set(wanted) != set(last)):
        return Deed.OTHER, (f"What is left asks for {listed(list(wanted))}.",)
    share = max(wanted[name] / last[name] for name in shared)
    if move.ratio - z * move.ratio_sd > 1 and move.ratio > limits.strong_ratio:
        return Deed.HALVE, (f"{capital(listed(shared))} moved the paint {move.ratio:.1f} times as far as predicted.",)
    if share <= limits.halve_share:
        return Deed.HALVE, (f"Add about {100 * share:.0f} % of the last amount of {listed(shared)}.",)
    return Deed.GO_ON, (f"What is left still asks for {listed(list(wanted))}.",)


def _looks(move: Move, next_step: Advice) -> tuple[Look, ...]:
    """Return where to look first; nothing where the card agrees, or is close enough however it came there."""
    agrees = move.as_predicted and not stands_still(move)
    return () if agrees or next_step.why is WhyNothing.CLOSE_ENOUGH else look_first(move)


def stands_still(move: Move) -> bool:
    """Return whether the card did not move beyond its noise, and surely by less than half of what was predicted."""
    return not move.seen and move.visible and move.ratio + Z90 * move.ratio_sd < HALF_WAY


def _move_sentences(move: Move, trend: Trend) -> tuple[str, ...]:
    if not move.seen:
        return (f"No move seen: {move.size:.1f} between the cards is within what spraying and measuring vary by.",)
    sentences = [f"The paint moved by {move.size:.1f} (give or take {move.uncertainty:.1f})."]
    if not move.as_predicted:
        sentences.append(
            "It went the other way from what the toners added do."
            if move.ratio < 0.0
            else f"It went {move.ratio:.1f} times as far as predicted along the predicted way, "
            f"{move.angle_degrees:.0f} degrees off it."
        )
    elif trend is Trend.FARTHER:  # else the headline says so
        sentences.append("It moved as predicted.")
    words = {Trend.CLOSER: "It came closer to the car.", Trend.FARTHER: "It moved away from the car."}
    sentences.append(words.get(trend, "Whether it came closer to the car is not clear."))
    return tuple(sentences)
