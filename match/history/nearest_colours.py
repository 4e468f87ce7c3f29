"""Find the colours met before that are nearest to a colour, with the help of the database's index.

How far in L, a and b another colour can be when CIEDE2000 says it is near has exact bounds, and an index searches them:
comparing with all of 100,000 checks takes four to eight times the processor time, 0.36 s.

CIEDE2000 squared is x^2 + y^2 + z^2 + R_T y z with x = dL'/S_L, y = dC'/S_C, z = dH'/S_H (Sharma, Wu and Dalal 2005,
equations 8 to 22). Every bound here follows from that formula, so that no colour within a radius lies outside the box.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import chain

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import ColumnElement, Connection, func, select

from match.colorimetry import Array, delta_e00
from match.history import tables
from match.history.drawer import places_of
from match.history.find import check_lines, colours_of, page_bounds, parted
from match.history.records import RETAKE, CheckRow, NearColour, Page

Keys = NDArray[np.int64]

_GREATEST_STRETCH = 1.5  # a' = a (1 + G) with G at most 0.5
_GREATEST_SIN_2_DTHETA = math.sin(math.radians(60.0))  # dTheta is at most 30 degrees
_FIRST_RADIUS = 2.0  # CIEDE2000; any start is right, this one often finds a page at once
_group = func.coalesce(tables.check.c.colour_id, -tables.check.c.id)


@dataclass(frozen=True)
class Box:
    """Half widths in L, a and b; infinite where nothing can be said."""

    lightness: float
    chroma: float


def box_within(lab: Array, radius: float) -> Box:
    """Return a box about ``lab`` that holds every colour within ``radius`` (CIEDE2000) of it.

    Lightness: S_L is at most 1 + 0.015 |mean L - 50|, and the mean is half the difference away from ``lab``.
    a and b: with R = |R_T|, y^2 + z^2 + R_T y z is at least (1 - R / 2) (y^2 + z^2); S_C and S_H are at most
    1 + 0.045 C' at the mean chroma; and dC'^2 + dH'^2 is the squared chord in (a', b), never shorter than the step in a
    or in b. The chord bounds the mean chroma, which bounds R and so the chord again.
    """
    shrink = 1.0 - 0.0075 * radius
    lightness = radius * (1.0 + 0.015 * abs(float(lab[0]) - 50.0)) / shrink if shrink > 0.0 else math.inf
    chroma = math.hypot(_GREATEST_STRETCH * float(lab[1]), float(lab[2]))
    chord = _chord(radius, chroma, _GREATEST_SIN_2_DTHETA * 2.0)
    for _ in range(4):
        if math.isinf(chord):
            break
        mean_7 = (chroma + 0.5 * chord) ** 7
        chord = _chord(radius, chroma, _GREATEST_SIN_2_DTHETA * 2.0 * math.sqrt(mean_7 / (mean_7 + 25.0**7)))
    return Box(lightness, chord)


def _chord(radius: float, chroma: float, rotation: float) -> float:
    """Return the longest chord in (a', b) within ``radius``, the size of R_T being at most ``rotation``."""
    reach = radius / math.sqrt(1.0 - 0.5 * rotation)
    shrink = 1.0 - 0.0225 * reach
    return reach * (1.0 + 0.045 * chroma) / shrink if shrink > 0.0 else math.inf


def nearest_of_each_group(lab: Array, labs: Array, check_keys: Keys, groups: Keys) -> tuple[Keys, Array]:
    """Return one check of each group, the nearest to ``lab``, nearest group first: (check keys, CIEDE2000).

    Parameters
    ----------
    lab
        The colour looked for, CIELAB (3,).
    labs, check_keys, groups
        Colours (n, 3) with the keys of their checks (n,) and of the groups they belong to (n,). The newest check wins a
        tie.
    """
    if len(labs) == 0:
        return np.empty(0, np.int64), np.empty(0)
    distances = np.atleast_1d(delta_e00(labs, np.broadcast_to(lab, labs.shape)))
    order = np.lexsort((-check_keys, distances))
    _, first_seen = np.unique(groups[order], return_index=True)
    kept = order[np.sort(first_seen)]
    return check_keys[kept], distances[kept]


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
    listed = check_lines(connection, keys[offset:wanted].tolist())
    rows, broken = parted(listed)
    colours, places = colours_of(connection, rows), places_of(connection, rows)
    found = zip(listed, distances[offset:wanted].tolist(), strict=True)
    items = tuple(
        NearColour(colours.get(row.colour or ""), row, distance, places[row.id])
        for row, distance in found
        if isinstance(row, CheckRow)
    )
    return Page(items, page, per_page, total, broken)


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


def _is_whole(lab: Sequence[object], keys: Sequence[object]) -> bool:
    is_colour = all(isinstance(part, float) and math.isfinite(part) for part in lab)
    return is_colour and all(isinstance(key, int) for key in keys)


def _inside(connection: Connection, lab: Array, box: Box) -> tuple[Array, Keys, Keys]:
    """Return the colours in a box: (labs, check keys, groups); checks of no colour are groups of their own."""
    check = tables.check.c
    conditions = list(_measured())
    axes = (check.vehicle_l, check.vehicle_a, check.vehicle_b)
    for axis, middle, half in zip(axes, lab.tolist(), (box.lightness, box.chroma, box.chroma), strict=True):
        if math.isfinite(half):
            conditions.append(axis.between(middle - half, middle + half))
    found = connection.execute(select(*axes, check.id, _group).where(*conditions))
    rows = [row for row in found if _is_whole(row[:3], row[3:])]  # what was altered may hold text in any column
    table = np.fromiter(chain.from_iterable(rows), np.float64, 5 * len(rows)).reshape(-1, 5)
    return table[:, :3], table[:, 3].astype(np.int64), table[:, 4].astype(np.int64)
