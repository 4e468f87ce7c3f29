"""Keep one pot whole: its story, and of its cards and steps those that are not kept yet, in one transaction."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from match.errors import StoreError
from match.history import editing
from match.history.records import NewCard, NewColour, NewPot, NewTintStep, PotRecord
from match.history.saving import Writer, add_card, add_colour, add_pot, add_tint_step


@dataclass(frozen=True)
class KeptPot:
    """What is to be kept of a pot.

    Attributes
    ----------
    story : the whole of it, as ``Story.as_record`` gives it
    colour : public id of a kept colour, or a new one; that of ``before`` where the pot is kept already
    cards : every card of the story, in its order, given the colour's public id
    steps : every step that has a card, given the public ids of all cards
    name : what the pot is called
    before : the pot as it was kept last
    """

    story: Mapping[str, Any]
    colour: str | NewColour
    cards: Callable[[str], Sequence[NewCard]]
    steps: Callable[[Sequence[str]], Sequence[NewTintStep]]
    name: str
    before: PotRecord | None = None


def keep_pot(writer: Writer, kept: KeptPot) -> str:
    """Save the pot and return its public id.

    Raises
    ------
    StoreError
        When a card or step that is kept is no longer what the story says, or someone kept the pot meanwhile.
    """
    before = kept.before
    if before is not None:
        _require_same_start(before.story, kept.story)
    colour = before.colour if before else kept.colour
    colour_id = add_colour(writer, colour) if isinstance(colour, NewColour) else colour
    held = before.cards if before else ()
    cards = (*held, *(add_card(writer, card) for card in kept.cards(colour_id)[len(held) :]))
    for step in kept.steps(cards)[max(len(held) - 1, 0) :]:
        add_tint_step(writer, step)
    if before is None:
        return add_pot(writer, NewPot(colour=colour_id, story=kept.story, name=kept.name, cards=cards))
    editing.edit(writer, replace(before, story=kept.story, cards=cards))
    return before.id


def same_start(before: Mapping[str, Any], after: Mapping[str, Any]) -> bool:
    """Return whether the kept cards and steps of a pot stand at the start of its story as it is now."""
    measured = [step for step in before["steps"] if step["card"] is not None]
    now = [step for step in after["steps"] if step["card"] is not None][: len(measured)]
    said = [[_said(step) for step in steps] for steps in (measured, now)]
    first = [[story["start"]["delta_lab"], story["vehicle_lab"], story["pot_g"]] for story in (before, after)]
    return bool(said[0] == said[1] and first[0] == first[1])


def _said(step: Mapping[str, Any]) -> tuple[object, ...]:
    amounts = (step[name] for name in ("additions_g", "untinted_g", "mix_g", "binder_g"))
    return (*amounts, step["card"]["delta_lab"])


def _require_same_start(before: Mapping[str, Any], after: Mapping[str, Any]) -> None:
    if not same_start(before, after):
        raise StoreError(
            "steps of this pot that are kept were undone since: keep it as a new pot, or open the kept one"
        )
