"""Print how long a blend plan for four sides takes, with its samples: first call, a new paint, and new rooms only."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np

from match import calibration
from match.blend.coat_plans import BlendPractice
from match.blend.picture import panel_picture
from match.blend.plan import BlendPlan, plan_blend
from match.blend.sides import Direction, End, NextPanel, Repair, Side
from match.blend.viewing import ColourPair, Strictness, Vision
from tests.support.viewing import looked_at

ROUNDS = 9
REPAIR = Repair(
    300.0,
    200.0,
    (
        Side(Direction.LEFT, 400.0),
        Side(Direction.RIGHT, 120.0, End.NEXT_PANEL, next_panel=NextPanel(600.0)),
        Side(Direction.UP, 300.0, lines_mm=(60.0, 200.0)),
        Side(Direction.DOWN, 90.0, End.KEPT_PART),
    ),
)


def main() -> None:
    """Time plans of 1000 to 4000 samples, one or three angles."""
    vision = calibration.load(Vision, "vision")
    practice = calibration.load(BlendPractice, "practice")
    viewing = looked_at(calibration.load(Strictness, "vision", "strictness", "ordinary"), 1.0, 2.0)

    def plan(pairs: list[ColourPair], repair: Repair) -> BlendPlan:
        return plan_blend(pairs, [repair], viewing, vision, practice)

    start = time.perf_counter()
    plan(_pairs(1000, 1, 0), REPAIR)
    print(f"first call in this process (imports of colour-science included): {time.perf_counter() - start:.2f} s")
    print(f"processor time, which other work on the machine does not count; median (least) of {ROUNDS}")
    print("samples  angles   new paint [s]   new rooms [s]")
    for samples, angles in ((1000, 1), (2000, 1), (4000, 1), (1000, 3)):
        paints, rooms = [], []
        for turn in range(ROUNDS):
            pairs = _pairs(samples, angles, turn + 1)
            wider = replace(REPAIR, sides=(replace(REPAIR.sides[0], room_mm=410.0 + turn), *REPAIR.sides[1:]))
            for repair, times in ((REPAIR, paints), (wider, rooms)):
                start = time.process_time()
                plan(pairs, repair)
                times.append(time.process_time() - start)
        first, second = (f"{np.median(t):.3f} ({min(t):.3f})" for t in (paints, rooms))
        print(f"{samples:7d}  {angles:6d}   {first:>13s}   {second:>13s}")
    pairs = _pairs(1000, 1, 99)
    done = plan(pairs, REPAIR)
    start = time.process_time()
    panel_picture(done, pairs[0])
    print(f"panel picture, 720 pixels wide: {time.process_time() - start:.3f} s")


def _pairs(samples: int, angles: int, number: int) -> list[ColourPair]:
    draw = np.random.default_rng(number)
    vehicle = np.array([45.0 + 0.2 * number, 8.0, -20.0])
    return [
        ColourPair(
            f"angle {k}",
            vehicle + np.array([2.0 + 0.2 * k, 0.4, 0.3]) + draw.normal(0.0, 0.2, (samples, 3)),
            vehicle + draw.normal(0.0, 0.2, (samples, 3)),
        )
        for k in range(angles)
    ]


if __name__ == "__main__":
    main()
