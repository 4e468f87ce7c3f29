"""The drawer of cards: where a colour's card lies, and what became of a card between its checks."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, select

from match.check.cards import load_comparing_rules
from match.check.saved import SavedCheck, read_saved
from match.check.verdict import Verdict
from match.errors import SavedCheckError
from match.history import tables
from match.history.again import Again, compared_again, load_again_rules
from match.history.records import CheckRow


def places_of(connection: Connection, rows: Sequence[CheckRow]) -> dict[str, str]:
    """Return by check where a card of its colour lies: its own card, else the newest of the colour that has a place."""
    card, colour = tables.card.c, tables.colour.c
    wanted = {row.colour for row in rows if row.colour is not None}
    statement = (
        select(card.uid, colour.uid.label("colour"), card.place)
        .join(tables.colour, colour.id == card.colour_id)
        .where(colour.uid.in_(wanted), card.place != "", card.deleted_at.is_(None))
        .order_by(card.created_at, card.id)
    )
    own, newest = dict[str, str](), dict[str, str]()
    for found in connection.execute(statement):
        own[found.uid] = newest[found.colour] = found.place
    return {row.id: own.get(row.card or "") or newest.get(row.colour or "", "") for row in rows}


def checked_again(connection: Connection, card_id: str) -> Again | None:
    """Return what became of a card since it was first checked; None where it was not checked twice against one car."""
    check, card, body = tables.check.c, tables.card.c, tables.check_body.c
    newer = tables.check.alias("newer")
    corrected = select(newer.c.corrects_id).where(newer.c.corrects_id.is_not(None), newer.c.deleted_at.is_(None))
    statement = (
        select(check.created_at, check.job_id, body.result)
        .join(tables.card, card.id == check.card_id)
        .join(tables.check_body, body.check_id == check.id)
        .where(
            card.uid == card_id,
            check.deleted_at.is_(None),
            check.verdict != Verdict.RETAKE,
            check.id.not_in(corrected),
        )
        .order_by(check.created_at, check.id)
    )
    rows = connection.execute(statement).all()
    cars = [row.job_id for row in rows if row.job_id is not None]
    kept = [_read(row) for row in rows if not cars or row.job_id in (None, cars[-1])]
    return compared_again([each for each in kept if each], load_again_rules(), load_comparing_rules().told_apart)


def _read(row: Any) -> tuple[datetime, SavedCheck] | None:
    """Return a check with its time; None where it cannot be read, which the verification says."""
    if not isinstance(row.created_at, datetime):
        return None
    try:
        return row.created_at, read_saved(row.result, "this check")
    except SavedCheckError:
        return None
