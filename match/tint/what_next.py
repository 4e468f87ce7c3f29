"""The whole answer about a pot: the advice, whether the last addition moved the right way, where it should land."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from match.calibration import load
from match.check.verdict import chance_words
from match.colorimetry import Array
from match.tint.advice import advise
from match.tint.answer import Action, Advice, WhyNothing
from match.tint.attempt import AttemptCheck, Deed, Trend, check_attempt, stands_still
from match.tint.card import CardColour
from match.tint.earlier_pots import EarlierRules
from match.tint.learn import lab_jacobian
from match.tint.limits import TintLimits
from match.tint.mix_advice import advise_mix
from match.tint.mix_known import know_mix
from match.tint.pot import Pot, add
from match.tint.pour import NextMix
from match.tint.shelf_file import Shelf
from match.tint.shortlist import short_shelf
from match.tint.story import PhotoLimits, PotPractice, Story
from match.tint.strengths import TonerResponse
from match.tint.tinting import TintJob, Wanted, understand
from match.tint.units import parts_to_shares, shares_to_percent
from match.words import listed

SEED = 20
"""Seeds the draws of what is not known, so that the same story always gets the same advice."""

HOW_TO = (
    "Stir the pot well before and after adding: unstirred toner shows up in the next card, not in this one.",
    "Weigh every addition, drop by drop near the end: toner cannot be taken out.",
    "Tint the small pot, never the batch; tint the batch once a card from the pot has passed.",
    "Spray the next card with the same gun set-up, to full hiding, and let it dry or clear it as the first.",
)
CARE = (
    "Toners and thinners are flammable and harm skin and lungs: gloves, eye protection, fresh air, no flames. The "
    "product's data sheet comes first."
)
CAUTIONS = (*HOW_TO, CARE)

HEADLINES = {
    WhyNothing.CLOSE_ENOUGH: "Stop here: it is close enough.",
    WhyNothing.WITHIN_DOUBT: "Photograph the card again before adding anything.",
    WhyNothing.TOO_SMALL: "This pot is too small to tint.",
    WhyNothing.NOTHING_HELPS: "These toners do not get there: start from another alternate.",
}

ATTEMPT_DEEDS = {
    Deed.GO_ON: "Go on with the same.",
    Deed.HALVE: "Go on, with half or less.",
    Deed.OTHER: "Take another toner.",
    Deed.MIX: "Weigh the next mix.",
    Deed.ADD: "Add what is left.",
    Deed.END: "Stop adding.",
    Deed.PHOTO: "Photograph the card again.",
}


@dataclass(frozen=True)
class TintCalibration:
    """The numbers tinting rests on."""

    limits: TintLimits
    photos: PhotoLimits
    pot: PotPractice
    earlier: EarlierRules


def load_tint_calibration() -> TintCalibration:
    """Read ``calibration/tint.toml``, the user's own copy first."""
    return TintCalibration(
        load(TintLimits, "tint", "limits"),
        load(PhotoLimits, "tint", "photos"),
        load(PotPractice, "tint", "pot"),
        load(EarlierRules, "tint", "earlier"),
    )


@dataclass(frozen=True, eq=False)
class Answer:
    """What to do with a pot.

    Attributes
    ----------
    story : the pot so far
    advice : the next step
    attempt : what became of the last addition, when a card that counts followed it
    pot_g : paint in the pot now, g
    landing : (3, 3) covariance of the advice's predicted card
    formula_parts : the formula with everything added after the step, in the formula's own parts; none if not known
    next_mix : the next mix, whether or not it is what is advised; none where the formula is not known
    """

    story: Story
    advice: Advice
    attempt: AttemptCheck | None
    pot_g: float
    landing: Array
    formula_parts: Mapping[str, float] | None
    next_mix: NextMix | None = None

    @property
    def in_doubt(self) -> bool:
        """Return whether a move that should have been seen was not: then the next step is not to be followed."""
        return (
            self.attempt is not None
            and self.advice.why is not WhyNothing.CLOSE_ENOUGH
            and stands_still(self.attempt.move)
        )

    @property
    def faint(self) -> bool:
        """Return whether no move was seen, expected or not: then the next step rests on little."""
        return self.attempt is not None and not self.attempt.move.seen

    @property
    def responses(self) -> tuple[TonerResponse, ...]:
        """Return the strengths of the toners of the next step and of those used so far."""
        used = {response.name: response for response in (self.attempt.responses if self.attempt else ())}
        return tuple({**used, **{amount.name: amount.response for amount in self.advice.amounts}}.values())

    def as_dict(self) -> dict[str, Any]:
        """Return the answer for JSON."""
        return {
            "headline": headline(self),
            "pot_g": self.pot_g,
            "advice": self.advice.as_dict(),
            "next_mix": self.next_mix.as_dict() if self.next_mix else None,
            "attempt": self.attempt.as_dict() if self.attempt else None,
            "predicted_covariance": self.landing.tolist(),
            "formula_parts": None if self.formula_parts is None else dict(self.formula_parts),
            "log": self.story.as_dict(),
        }


def answer(story: Story, shelf: Shelf, limits: TintLimits, wanted: Wanted | None = None) -> Answer:
    """Return what to do with the pot of ``story``.

    Parameters
    ----------
    story : the pot so far; its last addition must have a card
    shelf : toners
    limits : what may be added and what is worth doing
    wanted : what the shop wants to do
    """
    job, wanted = story.job(shelf), wanted or Wanted()
    rng = np.random.default_rng(SEED)
    pot_g = job.log.pots()[-1].paint_g
    if story.mix.formula is not None:
        mixed = advise_mix(job, limits, goal=story.goal, wanted=wanted)
        advice, landing, next_mix = mixed.advice, mixed.landing, mixed.next_mix
        parts: dict[str, float] | None = mixed.parts
    else:
        job = short_shelf(job)
        amounts = {"batch_g": wanted.batch_g, "reserve_g": wanted.reserve_g}
        advice, next_mix, parts = advise(job, limits, rng, goal=story.goal, **amounts), None, None
        after = add(job.log.pots()[-1], {amount.name: amount.pot_g for amount in advice.amounts}, advice.untinted_g)
        landing = _landing(job, limits, after)
    attempt = check_attempt(job, limits, rng, advice) if _moved(story) else None
    return Answer(story, advice, attempt, pot_g, landing, parts, next_mix)


def _moved(story: Story) -> bool:
    """Return whether the newest step added something and its card counts."""
    if not story.steps:
        return False
    last = story.steps[-1]
    return last.card is not None and last.card.used and bool(last.additions_g or last.untinted_g or last.mix_g)


def _landing(job: TintJob, limits: TintLimits, after: Pot) -> Array:
    """Return the predicted card's covariance: what is not known of start, strengths and directions, and of spraying."""
    known = understand(job, limits)
    J = lab_jacobian(known.model, known.learned.mean, known.model.parts(after.parts_of_base))
    return np.asarray(J @ known.learned.covariance @ J.T + limits.card_sd**2 * np.eye(3), dtype=np.float64)


def earlier_sentence(pots: int) -> str:
    """Say from how many earlier pots the toners' strengths begin; empty for none."""
    if not pots:
        return ""
    whose = "one earlier pot" if pots == 1 else f"{pots} earlier pots"
    return f"The toners' strengths begin with what {whose} of this shop taught."


def percents(parts: Mapping[str, float]) -> dict[str, float]:
    """Return parts by weight in percent."""
    return shares_to_percent(parts_to_shares(parts))


def headline(found: Answer) -> str:
    """Return the advice in one sentence."""
    advice = found.advice
    if found.in_doubt:
        return "Add nothing yet: find out why the card did not move."
    if advice.action is Action.TINT:
        amounts = [f"{amount.pot_g:.2f} g {amount.name}" for amount in advice.amounts]
        amounts += [f"{advice.untinted_g:.2f} g untinted paint"] if advice.untinted_g > 0 else []
        return f"Add {listed(amounts)} to the {found.pot_g:.6g} g pot."
    if advice.action is Action.NEXT_MIX and found.next_mix:
        mix = found.next_mix
        return (
            f"Pour {mix.poured_g:g} g on top." if mix.on_top else f"Weigh the next mix: {mix.total_g:g} g, fresh can."
        )
    return HEADLINES[advice.why] if advice.why else ""


def attempt_headline(attempt: AttemptCheck) -> str:
    """Return in a few words what became of the last addition."""
    if not attempt.move.seen:
        return "No move seen"
    if attempt.trend is Trend.FARTHER:
        return "It moved the wrong way"
    if attempt.move.as_predicted:
        return "It moved as predicted"
    if attempt.move.angle_degrees > 90.0:
        return "It moved against what was added: check the weights, the stirring and both photos"
    return "It moved the right way" if attempt.trend is Trend.CLOSER else "It moved, but perhaps not closer"


def left_sentence(attempt: AttemptCheck) -> str:
    """Return what is still missing."""
    before, after = attempt.difference_before, attempt.difference_after
    told = f"{before:.1f} before, {after:.1f} now (CIEDE2000 from the car)"
    return f"{told}: the card is {listed(attempt.left_words)} than the car." if attempt.left_words else f"{told}."


def landing_sentence(advice: Advice) -> str:
    """Return where the next card should land."""
    after = advice.after
    return (
        f"The next card should land about {after.difference:.1f} from the car (likely {after.low:.1f} to "
        f"{after.high:.1f}). Chance that it is close enough then: {chance_words(after.chance_within_goal)}."
    )


def other_mix_sentence(found: Answer) -> str:
    """Return what the next mix would do where an addition is advised; empty where there is nothing to say."""
    mix = found.next_mix
    if found.advice.action is not Action.TINT or mix is None:
        return ""
    return (
        f"Or the next mix, {mix.total_g:g} g: about {mix.expected_difference:.1f} from the car, chance "
        f"{chance_words(mix.chance_within_goal)}."
    )


def formula_title(advice: Advice) -> str:
    """Return what stands over the formula's parts, which count an advised addition before it is poured."""
    return "The formula once this is added" if advice.amounts else "The formula with all that was added"


def strength_sentence(response: TonerResponse) -> str:
    """Return a toner's strength in this colour and where the number comes from."""
    return (
        f"{response.name}: {response.strength:.2f} times its described strength (likely {response.low:.2f} to "
        f"{response.high:.2f}), {response.words}."
    )


LAMP_NOTE = (
    "The car's spectrum is not known, so this takes the car to be painted from the pot's own toners. If it is not, "
    "expect more. Compare card and car in daylight and under the lamps it will stand under."
)


def lamp_lines(advice: Advice) -> tuple[str, ...]:
    """Return how far the match may part under each lamp."""
    return tuple(f"Under a {lamp.words}: about {lamp.index:.1f} CIEDE2000." for lamp in advice.lamps)


LEARNING_NOTE = (
    "The cards correct the strengths modestly: a few cards cannot teach a toner. Unlearned, a strength is the pigment "
    "class's, and may be off by a quarter or more."
)


def expected_card(story: Story, shelf: Shelf, limits: TintLimits) -> CardColour:
    """Return the colour of paint from the pot as it stands, the last addition included, by all that is known."""
    job = story.job(shelf)
    return understand(job, limits).card if job.formula is None else know_mix(job, limits).card
