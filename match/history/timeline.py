"""The story of one colour: cards, tints and checks in order, and the best card so far."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, or_, select

from match.check.cards import load_comparing_rules
from match.history import tables
from match.history.best_card import Standing, standing
from match.history.find import check_lines, get_record, linked_records, parted
from match.history.readable import readable
from match.history.record_kinds import CARD, COLOUR, PANEL, POT, TINT_STEP, public_select
from match.history.records import CardRecord, CheckRow, Timeline, TimelineEntry, TintStepRecord, UnreadableRecord


def timeline(connection: Connection, colour_id: str) -> Timeline:
    """Return everything that happened to a colour, oldest first."""
    colour = get_record(connection, COLOUR, colour_id)
    cards, broken_cards = linked_records(connection, CARD, "colour", colour_id)
    steps, broken_steps = _tint_steps(connection, colour_id)
    checks, broken_checks = _checks(connection, colour_id)
    entries = arranged(cards, checks, steps)
    pots, broken_pots = linked_records(connection, POT, "colour", colour_id)
    panels, broken_panels = linked_records(connection, PANEL, "colour", colour_id)
    broken = (*broken_cards, *broken_steps, *broken_checks, *broken_pots, *broken_panels)
    return Timeline(colour, entries, steps, best_entry(entries), pots, panels, broken)


def compared_cards(connection: Connection, colour_id: str) -> Standing | None:
    """Return how the cards of a colour stand against its car, by what each check keeps of its uncertainty."""
    checks, _ = _checks(connection, colour_id)
    check, body = tables.check.c, tables.check_body.c
    statement = select(check.uid, body.result).join(tables.check_body, body.check_id == check.id)
    rows = connection.execute(statement.where(check.uid.in_([each.id for each in checks])))
    documents: dict[str, Any] = {row.uid: row.result for row in rows}
    return standing([(each, documents.get(each.id)) for each in checks], load_comparing_rules().told_apart)


def _checks(connection: Connection, colour_id: str) -> tuple[list[CheckRow], tuple[UnreadableRecord, ...]]:
    check, colour = tables.check.c, tables.colour.c
    key = select(colour.id).where(colour.uid == colour_id).scalar_subquery()
    live = select(check.id).where(check.colour_id == key, check.deleted_at.is_(None))
    keys = list(connection.execute(live.order_by(check.created_at, check.id)).scalars())
    return parted(check_lines(connection, keys))


def _tint_steps(
    connection: Connection, colour_id: str
) -> tuple[tuple[TintStepRecord, ...], tuple[UnreadableRecord, ...]]:
    step, card, colour = tables.tint_step.c, tables.card.c, tables.colour.c
    cards = select(card.id).join(tables.colour, colour.id == card.colour_id).where(colour.uid == colour_id)
    touching = or_(step.card_before_id.in_(cards), step.card_after_id.in_(cards))
    statement = public_select(TINT_STEP).where(touching, step.deleted_at.is_(None))
    return readable(TINT_STEP, connection.execute(statement.order_by(step.created_at, step.id)).mappings())


def arranged(
    cards: Sequence[CardRecord], checks: Sequence[CheckRow], steps: Sequence[TintStepRecord]
) -> tuple[TimelineEntry, ...]:
    """Put checks beside their cards in order of time; a card that was never checked stands alone."""
    by_id = {card.id: card for card in cards}
    tint_to = {step.card_after: step for step in steps if step.card_after is not None}
    entries = [
        TimelineEntry(check.created_at, by_id.get(check.card or ""), check, tint_to.get(check.card or ""))
        for check in checks
    ]
    checked = {check.card for check in checks}
    entries += [
        TimelineEntry(card.created_at, card, None, tint_to.get(card.id)) for card in cards if card.id not in checked
    ]
    return tuple(sorted(entries, key=lambda entry: entry.at))


def best_told(story: Timeline, found: Standing | None) -> TimelineEntry | None:
    """Return the entry of the best card so far: that of the comparison, which knows each card by its newest check.

    Where the verdict of that check is another card's of the same photo, the figures are the best card's own, and the
    card noted with the check, which is the other, is left out.
    """
    if found is None:
        return story.best
    best = found.best
    entry = next((entry for entry in story.entries if entry.check and entry.check.id == best.check), story.best)
    if entry is None or entry.check is None or entry.check.id != best.check or best.gave_verdict:
        return entry
    own = replace(
        entry.check,
        verdict=best.verdict,
        delta_e00=best.delta_e00,
        delta_e00_interval=best.interval,
        card_lab=best.card_lab,
    )
    return replace(entry, card=None, check=own)


def best_entry(entries: Sequence[TimelineEntry]) -> TimelineEntry | None:
    """Return the entry whose card came nearest the vehicle, the newest of equals.

    A check without a card, without a difference, corrected by a later one, or to be retaken does not count.
    """
    best: TimelineEntry | None = None
    least = float("inf")
    for entry in entries:
        check = entry.check
        if check is None or entry.card is None or check.delta_e00 is None:
            continue
        if check.stands and check.delta_e00 <= least:
            best, least = entry, check.delta_e00
    return best
