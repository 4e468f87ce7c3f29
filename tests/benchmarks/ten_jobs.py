"""Print the plans of ten invented jobs as a painter reads them; every colour is invented."""

from __future__ import annotations

import numpy as np

from match import calibration
from match.blend.job_practice import JobPractice
from match.blend.paint import SOLID, Paint
from match.blend.panel import Panel
from match.blend.panel_shape import PanelFile
from match.blend.planned_job import plan_job
from match.blend.room import load_blend_calibration
from match.blend.sides import Direction, End, Length, Repair, Side, Spot
from match.blend.viewing import ColourPair
from match.check.verdict import Finish

Triple = tuple[float, float, float]
METALLIC = Paint(Finish.METALLIC)
LEFT, RIGHT, UP, DOWN = Direction.LEFT, Direction.RIGHT, Direction.UP, Direction.DOWN
DOOR = (Side(LEFT, 400.0), Side(RIGHT, 350.0), Side(UP, 150.0, End.KEPT_PART, False), Side(DOWN, 250.0))
WING = (Side(LEFT, 500.0), Side(RIGHT, 120.0, End.OTHER_PART, label="to the bumper"), Side(UP, 200.0), Side(DOWN, 90.0))
QUARTER = (Side(LEFT, 300.0), Side(RIGHT, 250.0), Side(UP, 400.0, End.NO_EDGE, break_mm=900.0), Side(DOWN, 200.0))
BONNET = tuple(Side(each, 550.0) for each in Direction)
APART = (Spot(150.0, 220.0, 200.0, 150.0), Spot(1150.0, 260.0, 90.0, 60.0))
NEAR = (Spot(250.0, 220.0, 200.0, 150.0), Spot(560.0, 260.0, 90.0, 60.0))
BLUE, SILVER, WHITE, BLACK, RED = (
    (42.0, 5.0, -31.0),
    (72.0, 0.0, -1.0),
    (92.0, -0.5, 2.0),
    (6.0, 0.0, -1.0),
    (42, 60, 38),
)


def alone(sides: tuple[Side, ...]) -> tuple[Repair, ...]:
    """Return one repair with these sides."""
    return (Repair(200.0, 150.0, sides),)


def on_a_door(*spots: Spot) -> tuple[Repair, ...]:
    """Return several repairs on a long door."""
    return Panel("door", 1450.0, 650.0, spots).repairs(calibration.load(PanelFile, "panels").shape("door"))


JOBS: tuple[tuple[str, tuple[Repair, ...], Triple, Triple, Paint, float], ...] = (
    ("solid door", alone(DOOR), BLUE, (1.3, 0.8, 0.6), SOLID, 2.0),
    ("light metallic door", alone(DOOR), SILVER, (1.2, 0.1, 0.3), METALLIC, 2.0),
    ("wing beside a kept bumper", alone(WING), BLUE, (1.4, 0.3, 0.2), SOLID, 2.0),
    ("quarter panel with no edge", alone(QUARTER), BLUE, (1.2, 0.4, 0.3), SOLID, 2.0),
    ("bonnet centre", alone(BONNET), BLUE, (1.7, 0.2, 0.3), SOLID, 2.0),
    ("two repairs far apart on a door", on_a_door(*APART), BLUE, (1.3, 0.3, 0.3), SOLID, 2.0),
    ("two repairs near each other on a door", on_a_door(*NEAR), BLUE, (1.3, 0.3, 0.3), SOLID, 2.0),
    ("three-stage wing", alone(WING), (80.0, 0.0, 4.0), (1.0, 0.2, 0.5), Paint(Finish.PEARL, 3), 3.0),
    ("black door", alone(DOOR), BLACK, (0.9, 0.1, 0.2), SOLID, 2.0),
    ("white door", alone(DOOR), WHITE, (-0.8, 0.1, 0.6), SOLID, 3.0),
    ("a red that hides badly", alone(DOOR), RED, (0.9, 1.5, 0.9), SOLID, 5.0),
)


def main() -> None:
    """Plan and print every job."""
    shipped, practice = load_blend_calibration(), calibration.load(JobPractice, "practice")
    for name, repairs, car, off, paint, coats in JOBS:
        vehicle = np.array([car], dtype=np.float64)
        pair = ColourPair("face-on", vehicle + np.array(off), vehicle)
        job = plan_job([pair], repairs, shipped.viewing("ordinary"), shipped, practice, Length.MM, coats, paint)
        print(f"\n=== {name}: {job.plan.delta_e00:.1f} CIEDE2000, {coats:g} coats to cover ===")
        print("\n".join(job.areas))
        for lines in job.sides:
            print("\n".join(lines))
        for number, step in enumerate(job.step_texts, start=1):
            print(f"{number}. {step.title}")
            print("\n".join(f"   {line}" for line in (*step.lines, step.set_up) if line))


if __name__ == "__main__":
    main()
