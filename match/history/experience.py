"""Collect how checks turned out, for learning from them."""

from sqlalchemy import Connection, select

from match.history import tables
from match.history.records import ANSWERS, RETAKE, Observed


def observed_outcomes(connection: Connection) -> tuple[Observed, ...]:
    """Return one outcome a check, the latest, with the difference that was measured.

    A check that was corrected counts with its correction's difference; a retake was no measurement and is left out.
    """
    outcome, check = tables.outcome.c, tables.check.c
    newer = select(check.corrects_id, check.id).where(check.corrects_id.is_not(None), check.deleted_at.is_(None))
    corrected_by: dict[int, int] = {row.corrects_id: row.id for row in connection.execute(newer.order_by(check.id))}
    statement = select(outcome.check_id, outcome.hidden, outcome.verdict_followed).where(outcome.deleted_at.is_(None))
    latest = {}
    for row in connection.execute(statement.order_by(outcome.created_at, outcome.id)):
        latest[_current(row.check_id, corrected_by)] = row
    measured = select(check.id, check.delta_e00).where(
        check.delta_e00.is_not(None), check.verdict != RETAKE, check.deleted_at.is_(None)
    )
    told = measured.where(check.id.in_(select(outcome.check_id)) | check.corrects_id.is_not(None))
    differences: dict[int, float] = {row.id: row.delta_e00 for row in connection.execute(told)}
    return tuple(
        Observed(differences[key], row.hidden, row.verdict_followed)
        for key, row in latest.items()
        if isinstance(differences.get(key), float) and row.hidden in ANSWERS and isinstance(row.verdict_followed, str)
    )


def _current(key: int, corrected_by: dict[int, int]) -> int:
    """Follow corrections to the last; a ring of them, which only a forged archive could hold, ends where it began."""
    seen = set()
    while key in corrected_by and key not in seen:
        seen.add(key)
        key = corrected_by[key]
    return key
