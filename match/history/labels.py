"""What stands on the label of a card: what the person needs who pulls it from the drawer, and the way to its record."""

from collections.abc import Iterable
from dataclasses import dataclass

from match.history.addresses import record_address
from match.history.records import CardRecord, CheckRow, ColourRecord, TimelineEntry
from match.history.words import size_words


@dataclass(frozen=True)
class Label:
    """One label, in words.

    Attributes
    ----------
    colour, code : as written
    mix, coats, gun, place : as noted of the card
    day : when the card was checked, or kept where it never was
    verdict : with the difference; empty where the card was never checked
    address : of the record
    """

    colour: str
    code: str
    mix: str
    day: str
    coats: str
    gun: str
    verdict: str
    place: str
    address: str


def card_labels(colour: ColourRecord, entries: Iterable[TimelineEntry], desk: str) -> tuple[Label, ...]:
    """Return a label for every card of a colour, by its newest check, in the order of the entries."""
    newest: dict[str, tuple[CardRecord, CheckRow | None]] = {}
    for entry in entries:
        if entry.card is not None:
            earlier = newest.get(entry.card.id, (None, None))[1]
            check = entry.check if entry.check is not None and entry.check.stands else earlier
            newest[entry.card.id] = (entry.card, check)
    return tuple(card_label(colour, card, check, desk) for card, check in newest.values())


def card_label(colour: ColourRecord, card: CardRecord, check: CheckRow | None, desk: str) -> Label:
    """Return the label of a card; its code opens the check, or its colour where it was never checked."""
    kind, record = ("check", check.id) if check else ("colour", colour.id)
    at = check.created_at if check else card.created_at
    return Label(
        colour.name,
        colour.code,
        ", ".join(part for part in (card.mix, card.tinted) if part),
        at.astimezone().strftime("%Y-%m-%d"),
        card.coats,
        card.gun,
        f"{check.verdict.capitalize()}, {size_words(check)}" if check else "",
        card.place,
        record_address(kind, record, desk),
    )
