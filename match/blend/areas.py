"""Several repairs on one panel: those between which no fade has room are covered as one area, the others each alone."""

from collections.abc import Sequence
from dataclasses import replace

from match.blend.sides import Direction, Repair, Side

Box = tuple[float, float, float, float]
"""Left, top, right and bottom in mm from the panel's upper left corner."""

TOUCH_MM = 1e-6
"""Areas that share no more than an edge do not meet."""


def joined(repairs: Sequence[Repair]) -> Repair:
    """Return the upright rectangle around several repairs as one, with each side's room from the repair nearest to it.

    All must have the same sides. Where the panel's edge is slanted or hollow the nearest place of it counts, and where
    the rectangle runs over it there is no room left.
    """
    if len(repairs) == 1:
        return repairs[0]
    left, top = min(each.left_mm for each in repairs), min(each.top_mm for each in repairs)
    width = max(each.edge_mm(Direction.RIGHT) for each in repairs) - left
    height = max(each.edge_mm(Direction.DOWN) for each in repairs) - top
    sides = tuple(_nearest(side.direction, repairs) for side in repairs[0].sides)
    covers = sorted((covered for each in repairs for covered in each.covers), key=lambda covered: covered[0])
    return Repair(width, height, sides, left, top, tuple(covers), repairs[0].panel)


def _nearest(direction: Direction, repairs: Sequence[Repair]) -> Side:
    sides = [next(side for side in each.sides if side.direction is direction) for each in repairs]
    edges = [each.edge_mm(direction) for each in repairs]
    outermost = max(edges)
    nearest = sides[edges.index(outermost)]
    room = max(0.0, min(edge + side.room_mm for edge, side in zip(edges, sides, strict=True)) - outermost)
    limits = [side.end_limit for side in sides if side.end_limit is not None]
    return replace(
        nearest,
        room_mm=room,
        lines_mm=tuple(at for at in nearest.lines_mm if at < room),
        end_limit=min(limits) if limits else None,
    )


def around(boxes: Sequence[Box]) -> Box:
    """Return the box around all of these."""
    lefts, tops, rights, bottoms = zip(*boxes, strict=True)
    return min(lefts), min(tops), max(rights), max(bottoms)


def meeting(boxes: Sequence[Box]) -> list[list[int]]:
    """Return the numbers of the boxes in groups, in order: those that overlap, also by way of another, together."""
    groups: list[list[int]] = []
    for number, box in enumerate(boxes):
        met = [group for group in groups if any(_overlap(box, boxes[other]) for other in group)]
        groups = [group for group in groups if group not in met]
        groups.append(sorted([number, *(other for group in met for other in group)]))
    return sorted(groups)


def _overlap(one: Box, other: Box) -> bool:
    across = min(one[2], other[2]) - max(one[0], other[0])
    upright = min(one[3], other[3]) - max(one[1], other[1])
    return across > TOUCH_MM and upright > TOUCH_MM
