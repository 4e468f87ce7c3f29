"""Every measured vehicle colour in memory, read again whenever the history has changed in any way."""

from __future__ import annotations

import numpy as np
from sqlalchemy import Connection, func, select

from match.history import tables
from match.history.nearest import Gamut, gamut
from match.history.timeline import RETAKE

Stamp = tuple[int | None, ...]


class GamutCache:
    """The gamut of one store; safe to share between threads, since a stamped gamut is replaced as one."""

    def __init__(self) -> None:
        self._kept: tuple[Stamp, Gamut] | None = None

    def current(self, connection: Connection) -> Gamut:
        """Return the gamut of the state that this transaction sees."""
        stamp = _stamp(connection)
        kept = self._kept
        if kept is None or kept[0] != stamp:
            kept = (stamp, _read(connection))
            self._kept = kept
        return kept[1]


def _stamp(connection: Connection) -> Stamp:
    """Return numbers that differ whenever a check was added, deleted, brought back or moved.

    Counts are there because a server's transactions may finish in another order than their keys were given.
    """
    check, revision = tables.check.c, tables.revision.c
    live = select(func.count(), func.max(check.id)).where(check.deleted_at.is_(None))
    changes = select(func.count(), func.max(revision.id))
    return (*connection.execute(live).one(), *connection.execute(changes).one())


def _read(connection: Connection) -> Gamut:
    """Read the vehicle's colour of every live, uncorrected check that was a measurement; unnamed ones stay apart."""
    check = tables.check.c
    newer = tables.check.alias("newer")
    corrected = select(newer.c.corrects_id).where(newer.c.corrects_id.is_not(None), newer.c.deleted_at.is_(None))
    statement = select(
        check.id, func.coalesce(check.colour_id, -check.id), check.vehicle_l, check.vehicle_a, check.vehicle_b
    ).where(
        check.deleted_at.is_(None),
        check.vehicle_l.is_not(None),
        check.verdict != RETAKE,
        check.id.not_in(corrected),
    )
    rows = np.array(connection.execute(statement).all(), dtype=np.float64).reshape(-1, 5)
    return gamut(rows[:, 2:].copy(), rows[:, 0].astype(np.int64), rows[:, 1].astype(np.int64))
