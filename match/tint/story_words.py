"""One pot's story in plain lines, for page, command line and history alike."""

from collections.abc import Sequence

import numpy as np

from match.colorimetry import delta_e00
from match.tint.foreseen import Foreseen
from match.tint.search import UNTINTED
from match.tint.story import Card, Step, Story
from match.words import listed


def cards_of(story: Story) -> tuple[Card, ...]:
    """Return the story's cards in their order."""
    return (story.start, *(step.card for step in story.steps if step.card is not None))


def added_words(step: Step) -> str:
    """Return what a step poured."""
    if step.mix_g is not None:
        return f"the next mix, {sum(step.mix_g.values()) + step.binder_g:.2f} g in a fresh can"
    amounts = [f"{grams:.2f} g {name}" for name, grams in step.additions_g.items()]
    amounts += [f"{step.untinted_g:.2f} g {UNTINTED}"] if step.untinted_g > 0 else []
    return listed(amounts) if amounts else "nothing, a second photo of the same pot"


def card_words(story: Story, number: int) -> str:
    """Return a card's name and its distance from the car; ``number`` counts from 1."""
    card = cards_of(story)[number - 1]
    return f"Card {number}, {card.name}: {card_difference(story, card):.1f} from the car"


def card_difference(story: Story, card: Card) -> float:
    """Return CIEDE2000 of a card from the story's car."""
    car = np.array(story.vehicle_lab)
    return float(delta_e00(car + np.array(card.delta_lab), car))


def formula_words(story: Story) -> str:
    """Return the formula, or that it is not known."""
    formula = story.mix.formula
    if formula is None:
        return f"{story.pot_g:g} g of a mix whose formula is not known"
    return f"{story.pot_g:g} g of the mix " + ", ".join(f"{name} {parts:g}" for name, parts in formula.items())


def foreseen_words(story: Story, told: Foreseen) -> str:
    """Return what was predicted for a card, beside what it was."""
    car = np.array(story.vehicle_lab)
    predicted = float(delta_e00(car + told.delta_lab, car))
    agrees = "" if told.as_seen else ", further off than both errors explain"
    return f"predicted {predicted:.1f}{agrees}"


def story_lines(story: Story, predictions: Sequence[Foreseen]) -> tuple[str, ...]:
    """Return the whole story, a line for the mix and one for each step."""
    by_card = {told.number: told for told in predictions}
    lines, number = [f"{formula_words(story)}.", f"{card_words(story, 1)}."], 1
    for step in story.steps:
        said = f"Then {added_words(step)}"
        if step.card is None:
            lines.append(f"{said}; the card is still to come.")
            continue
        number += 1
        left_out = "" if step.card.used else ", left out"
        predicted = f" ({foreseen_words(story, by_card[number])})" if number in by_card else ""
        lines.append(f"{said}. {card_words(story, number)}{predicted}{left_out}.")
    return tuple(lines)
