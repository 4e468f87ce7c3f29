"""The sentences of an advice, in the painter's words."""

from collections.abc import Mapping, Sequence

import numpy as np

from match.check.verdict import chance_words, limit_words
from match.colorimetry import Array
from match.tint.answer import TonerAmount
from match.tint.card import describe
from match.tint.limits import TintLimits
from match.tint.metamerism import LampShift
from match.words import capital, listed


def difference_sentence(card: Array, car: Array, limits: TintLimits) -> str:
    """Return how the paint in the pot differs from the car."""
    words = describe(card, car, limits)
    return f"The paint in the pot is {listed(words)} than the car." if words else "The paint is near the car."


def amount_sentences(amounts: Sequence[TonerAmount], untinted_g: float, limits: TintLimits) -> list[str]:
    """Return why each amount is what it is, and what is hard about weighing it."""
    reasons = []
    most = 100 * limits.toner_step_share
    capped = [a for a in amounts if a.percent >= most - 0.02]
    first = [a for a in amounts if a not in capped and a.response.learned_share < limits.learned_share]
    if capped:
        reasons.append(
            f"{capital(listed([a.name for a in capped]))}: one step is limited to {most:.0f} % of the pot for each "
            "toner; more steps will follow."
        )
    if first:
        whose = "its strength" if len(first) == 1 else "their strengths"
        reasons.append(
            f"{capital(listed([a.name for a in first]))}: only {100 * first[0].step_share:.0f} % of the calculated "
            f"amount, because the cards have not yet shown {whose} here, and toner cannot be taken out."
        )
    reasons += [
        f"{capital(a.name)}: {100 * a.step_share:.0f} % of the calculated amount; its strength here is "
        f"{a.response.words}."
        for a in amounts
        if a not in capped and a.response.learned_share >= limits.learned_share
    ]
    return reasons + weighing_sentences(amounts, untinted_g, limits)


def weighing_sentences(amounts: Sequence[TonerAmount], untinted_g: float, limits: TintLimits) -> list[str]:
    """Return what thins the pot out, and what is hard to weigh."""
    reasons = []
    if untinted_g > 0:
        reasons.append(f"{untinted_g:.2f} g of untinted paint of the same mix thins out toner that went too far.")
    reasons += [
        f"{a.pot_g:.2f} g is hard to weigh: tint a larger pot, or let the toner down in untinted paint first."
        for a in amounts
        if a.pot_g < limits.least_weighed_g
    ]
    return reasons


def addition_sentences(amounts: Sequence[TonerAmount], untinted_g: float, limits: TintLimits) -> list[str]:
    """Return why an addition found by the model of the whole mix is what it is."""
    short = any(a.step_share < 0.95 for a in amounts)
    reasons = ["The step stops short where the model cannot be trusted further; the next card tells more."]
    return (reasons if short else []) + weighing_sentences(amounts, untinted_g, limits)


def mix_sentences(on_top: bool) -> list[str]:
    """Return why a next mix is advised."""
    if on_top:
        return ["The pours go on top of what is in the pot."]
    return ["A fresh can, because what is too much in the pot cannot be taken out of it."]


def foreign_sentences(foreign: Sequence[str], gain: float) -> list[str]:
    """Return why toners from outside the formula are in a step, and their risk."""
    if not foreign:
        return []
    verb, they = ("is", "it gains") if len(foreign) == 1 else ("are", "they gain")
    return [
        f"{capital(listed(foreign))} {verb} not in the formula: the formula's own toners leave more, and {they} about "
        f"{gain:.1f}. The match may part in another light: compare in daylight and under a lamp."
    ]


def weak_sentences(weak: Mapping[str, str]) -> list[str]:
    """Return why weak versions, with the toners that they are of, are in a step."""
    return [
        f"{capital(name)} in place of {strong}: of that the dose would be too small to weigh."
        for name, strong in weak.items()
    ]


def enough_sentence(goal: float) -> str:
    """Return that the paint is near enough."""
    return f"The paint in the pot is within {limit_words(goal)} of the car: stop here."


def further_sentence(grams: Mapping[str, float], untinted_g: float, difference: float) -> str:
    """Return what one more step would bring although none is needed."""
    return f"Not needed, but {_pours(grams, untinted_g)} more would bring it nearer still, to about {difference:.1f}."


def step_sentence(grams: Mapping[str, float], untinted_g: float) -> str:
    """Return the step that may be taken without another photo."""
    return f"Or go on at once: add {_pours(grams, untinted_g)}."


def _pours(grams: Mapping[str, float], untinted_g: float) -> str:
    pours = [f"{g:.2f} g {name}" for name, g in grams.items()]
    return listed([*pours, f"{untinted_g:.2f} g untinted paint"] if untinted_g > 0 else pours)


def sure_direction_sentence(chance: float) -> str:
    """Return that the step goes the right way although the photo leaves its size open."""
    return (
        f"How far off the card is, the photo leaves open; that this step goes the right way is {chance_words(chance)}."
    )


LARGER_POT = "The amounts are below what the scale can weigh: tint a larger pot."


def unreachable_sentence(nearest: float) -> str:
    """Return how near the toners at hand come."""
    return f"The toners at hand come no nearer than about {nearest:.1f}."


LITTLE_GAIN = "By this one photo the next step would gain next to nothing for the card that it costs."


PHOTO_AGAIN = (
    "Photograph the same card again, card and car changed over: two photos decide what one leaves open, and cost "
    "no paint."
)


def lamp_sentences(lamps: Sequence[LampShift], limits: TintLimits) -> list[str]:
    """Return a warning where the match is expected to part in lamp light."""
    worst = max(lamps, key=lambda shift: shift.index)
    if worst.index <= limits.metamerism:
        return []
    return [f"Under a {worst.words} the match is expected to part by about {worst.index:.1f}."]


def limit_sentence(names: Sequence[str], share: float, difference: float, limits: TintLimits) -> str:
    """Return that the match would take more toner than the paint can hold."""
    return (
        f"Coming to {difference:.1f} from the car would take about {100 * share:.0f} % of {listed(names)}; with what "
        f"is in the pot that is more than the {100 * limits.total_share:.0f} % the paint can take."
    )


def direction_sentence(card: Array, car: Array) -> str:
    """Return why no toner helps, from where the card stands."""
    darker = bool(card[0] < car[0])
    stronger = bool(np.hypot(card[1], card[2]) > np.hypot(car[1], car[2]))
    if darker and stronger:
        return "The card is already too dark and too colourful: every toner on the shelf darkens or dulls it further."
    if darker:
        return "The card is already too dark: every toner on the shelf that would correct the hue darkens it further."
    if stronger:
        return "The card is already too colourful: toner cannot be taken out, and greying it would darken it too far."
    return "No toner on the shelf moves this paint towards the car."


def thinning_sentence(untinted_g: float, difference: float) -> str:
    """Return how much untinted paint would rescue an over-tinted pot."""
    return (
        f"The pot is over-tinted: about {untinted_g:.0f} g of untinted paint of the same mix would bring it to about "
        f"{difference:.1f} from the car."
    )


FRESH_START = "Start from another alternate of the formula, or from a fresh mix."
