"""Keep one pot whole: its story, and of its cards and steps those that are not kept yet, in one transaction."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from match.errors import StoreError
from match.history import editing
from match.history.records import NewCard, NewColour, NewPot, NewTintStep, PotRecord
from match.history.saving import Writer, add_card, add_colour, add_pot, add_tint_step
from match.tint.story import Step, Story, story_from


@dataclass(frozen=True)
class KeptPot:
    """What is to be kept of a pot.

    Attributes
    ----------
    story : the whole of it
    colour : public id of a kept colour, or a new one; that of ``before`` where the pot is kept already
    cards : every card of the story, in its order, given the colour's public id
    steps : every step that has a card, given the public ids of all cards
    name : what the pot is called
    before : the pot as it was kept last
    """

    story: Story
    colour: str | NewColour
    cards: Callable[[str], Sequence[NewCard]]
    steps: Callable[[Sequence[str]], Sequence[NewTintStep]]
    name: str
    before: PotRecord | None = None


def keep_pot(writer: Writer, kept: KeptPot) -> str:
    """Save the pot and return its public id.

    Raises :class:`StoreError` when a card or step that is kept is no longer what the story says, or someone kept the
    pot meanwhile.
    """
    before = kept.before
    if before is not None and not same_start(story_from(before.story, before.name), kept.story):
        raise StoreError("steps of this pot that are kept were undone since: keep it as a new pot")
    colour = before.colour if before else kept.colour
    colour_id = add_colour(writer, colour) if isinstance(colour, NewColour) else colour
    held = before.cards if before else ()
    cards = (*held, *(add_card(writer, card) for card in kept.cards(colour_id)[len(held) :]))
    for step in kept.steps(cards)[max(len(held) - 1, 0) :]:
        add_tint_step(writer, step)
    if before is None:
        return add_pot(writer, NewPot(colour=colour_id, story=kept.story.as_record(), name=kept.name, cards=cards))
    editing.edit(writer, replace(before, story=kept.story.as_record(), cards=cards))
    return before.id


def same_start(before: Story, after: Story) -> bool:
    """Return whether the kept cards and steps of a pot stand at the start of its story as it is now."""
    kept, now = ([_said(step) for step in story.steps if step.card is not None] for story in (before, after))
    first = [(story.start.delta_lab, story.vehicle_lab, story.pot_g) for story in (before, after)]
    return first[0] == first[1] and kept == now[: len(kept)]


def _said(step: Step) -> tuple[object, ...]:
    return step.additions_g, step.untinted_g, step.mix_g, step.binder_g, step.card and step.card.delta_lab


def same_story(before: Story, after: Story) -> bool:
    """Return whether two stories say the same; covariances, made sound anew at each reading, are not looked at."""
    return _bare(before) == _bare(after)


def _bare(story: Story) -> Story:
    steps = tuple(
        step if step.card is None else replace(step, card=replace(step.card, covariance=())) for step in story.steps
    )
    return replace(story, start=replace(story.start, covariance=()), steps=steps)
