"""Find the colours met before that are nearest to a colour, with the help of the database's index."""

from __future__ import annotations

import math
from functools import cache
from itertools import chain

import numpy as np
from sqlalchemy import ColumnElement, Connection, func, select

from match.history import tables
from match.history.find import check_rows, colours_of, page_bounds
from match.history.nearest import Array, Box, Keys, box_within, nearest_of_each_group
from match.history.records import NearColour, Page
from match.history.timeline import RETAKE

_FIRST_RADIUS = 2.0  # CIEDE2000; any start is right, this one often finds a page at once
_group = func.coalesce(tables.check.c.colour_id, -tables.check.c.id)


def near_colours(connection: Connection, lab: Array, page: int, per_page: int) -> Page[NearColour]:
    """List the colours whose vehicle came nearest to ``lab``, each once, by widening a box until it is sure."""
    limit, offset = page_bounds(page, per_page)
    total = int(connection.execute(select(func.count(_group.distinct())).where(*_measured())).scalar_one())
    wanted = min(offset + limit, total)
    radius = _FIRST_RADIUS
    while True:
        box = box_within(lab, radius)
        keys, distances = nearest_of_each_group(lab, *_inside(connection, lab, box))
        sure = int(np.searchsorted(distances, radius, side="right"))
        if sure >= wanted or math.isinf(box.lightness):
            break
        radius *= _growth(sure, wanted)
    rows = check_rows(connection, keys[offset:wanted].tolist())
    colours = colours_of(connection, rows)
    found = zip(rows, distances[offset:wanted].tolist(), strict=True)
    items = tuple(NearColour(colours.get(row.colour or ""), row, distance) for row, distance in found)
    return Page(items, page, per_page, total)


def _growth(sure: int, wanted: int) -> float:
    """Return how much wider to look: colours fill a space, so their number grows with the radius cubed."""
    return float(min(max(1.1 * (wanted / max(sure, 1)) ** (1.0 / 3.0), 1.3), 2.0))


@cache
def _measured() -> tuple[ColumnElement[bool], ...]:
    """Select live checks that were measurements of a vehicle and were not corrected."""
    check, newer = tables.check.c, tables.check.alias("newer")
    corrected = select(newer.c.corrects_id).where(newer.c.corrects_id.is_not(None), newer.c.deleted_at.is_(None))
    return (
        check.deleted_at.is_(None),
        check.vehicle_l.is_not(None),
        check.verdict != RETAKE,
        check.id.not_in(corrected),
    )


def _inside(connection: Connection, lab: Array, box: Box) -> tuple[Array, Keys, Keys]:
    """Return the colours in a box: (labs, check keys, groups); checks of no colour are groups of their own."""
    check = tables.check.c
    conditions = list(_measured())
    axes = (check.vehicle_l, check.vehicle_a, check.vehicle_b)
    for axis, middle, half in zip(axes, lab.tolist(), (box.lightness, box.chroma, box.chroma), strict=True):
        if math.isfinite(half):
            conditions.append(axis.between(middle - half, middle + half))
    rows = connection.execute(select(*axes, check.id, _group).where(*conditions)).all()
    table = np.fromiter(chain.from_iterable(rows), np.float64, 5 * len(rows)).reshape(-1, 5)
    return table[:, :3], table[:, 3].astype(np.int64), table[:, 4].astype(np.int64)
