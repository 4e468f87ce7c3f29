"""A pot's story as records of the history: its cards, and what was added between them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from match.colorimetry import triple
from match.errors import TintError
from match.history.pots import KeptPot
from match.history.reader import Reader
from match.history.record_kinds import POT
from match.history.records import Addition, NewCard, NewColour, NewTintStep, PotRecord, UnreadableRecord
from match.tint.earlier_pots import MOST_POTS, same_pot
from match.tint.foreseen import Foreseen, foreseen
from match.tint.limits import TintLimits
from match.tint.pot import Pot
from match.tint.shelf_file import Shelf
from match.tint.story import Step, Story, story_from
from match.tint.story_words import cards_of
from match.words import listed


def kept_pot(
    story: Story, colour: str | NewColour, shelf: Shelf, limits: TintLimits, before: PotRecord | None = None
) -> KeptPot:
    """Return what the history keeps of a pot.

    Parameters
    ----------
    story : the pot
    colour : public id of a kept colour, or a new one
    shelf, limits : for the predictions, each made from the cards before its step only
    before : the pot as it was kept last, if it was
    """
    predicted, pots = foreseen(story, shelf, limits), story.job(shelf).log.pots()  # before a store waits for them
    return KeptPot(
        story,
        colour,
        lambda colour_id: new_cards(story, colour_id),
        lambda card_ids: new_steps(story, card_ids, predicted, pots),
        f"{story.pot_g:g} g pot, {story.start.name}",
        before,
    )


@dataclass(frozen=True)
class EarlierPots:
    """The newest pots kept in a history, and those among them that cannot be read and so teach nothing."""

    stories: tuple[Story, ...]
    unreadable: tuple[UnreadableRecord, ...]


def earlier_pots(history: Reader, story: Story | None) -> EarlierPots:
    """Return the newest pots kept in a history, without the one that is to be tinted."""
    pots, broken = history.newest_pots(MOST_POTS + 1)
    stories, unreadable = list[Story](), list(broken)
    for pot in pots:
        try:
            kept = story_from(pot.story, pot.name)
        except TintError as error:
            unreadable.append(UnreadableRecord(POT.name, pot.id, str(error)))
            continue
        if story is None or not same_pot(kept, story):
            stories.append(kept)
    return EarlierPots(tuple(stories), tuple(unreadable))


def new_cards(story: Story, colour_id: str) -> tuple[NewCard, ...]:
    """Return every card of the story for the history, in their order."""
    formula = story.mix.formula or {}
    mix = ", ".join(f"{name} {parts:g}" for name, parts in formula.items())
    added = ["", *(_added(story, number) for number, step in enumerate(story.steps) if step.card is not None)]
    return tuple(
        NewCard(colour=colour_id, mix=mix, batch=f"test pot of {story.pot_g:g} g", tinted=tinted, notes=card.name)
        for card, tinted in zip(cards_of(story), added, strict=True)
    )


def new_steps(
    story: Story, card_ids: Sequence[str], predictions: Sequence[Foreseen], pots: Sequence[Pot]
) -> tuple[NewTintStep, ...]:
    """Return every step that has a card, with the colour that was predicted for it.

    Parameters
    ----------
    story : the pot
    card_ids : the history's public ids of the story's cards, in the order of :func:`new_cards`
    predictions : for every card after the first, made from the cards before it only
    pots : at the start and after each step
    """
    predicted = {told.number: told for told in predictions}
    steps, seen = [], 0
    for number, step in enumerate(story.steps):
        if step.card is None:
            continue
        additions = tuple(Addition(name, grams) for name, grams in (step.mix_g or step.additions_g).items())
        steps.append(
            NewTintStep(
                card_before=card_ids[seen],
                card_after=card_ids[seen + 1],
                additions=additions,
                pot_size_g=_pot_size_g(step, pots[number]),
                predicted_lab=triple(np.array(story.vehicle_lab) + predicted[seen + 2].delta_lab),
                notes=_notes(step),
            )
        )
        seen += 1
    return tuple(steps)


def _pot_size_g(step: Step, before: Pot) -> float | None:
    """Return the paint that the additions went into; a fresh can has none."""
    if step.mix_g is not None:
        return None
    return before.paint_g if step.paint_g is None else step.paint_g


def _notes(step: Step) -> str:
    if step.mix_g is not None:
        return "next mix, a fresh can"
    return f"{step.untinted_g:.2f} g untinted paint" if step.untinted_g > 0 else ""


def _added(story: Story, number: int) -> str:
    step = story.steps[number]
    amounts = [f"{grams:.2f} g {name}" for name, grams in (step.mix_g or step.additions_g).items()]
    said = listed(amounts) if amounts else ""
    return f"next mix: {said}" if step.mix_g is not None else said
