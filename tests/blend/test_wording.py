"""What a painter is told of each coat, by hand arithmetic on invented coats."""

from dataclasses import replace

import numpy as np
import pytest

from match import calibration
from match.blend.coat_plans import BlendPractice
from match.blend.film import Coat
from match.blend.plan import plan_blend
from match.blend.sides import Direction, Length, Repair, Side
from match.blend.viewing import ColourPair, Strictness, Vision
from match.blend.wording import coat_lines
from tests.support.viewing import looked_at

PRACTICE = calibration.load(BlendPractice, "practice")
VEHICLE = np.array([[45.0, 8.0, -20.0]])
PAIR = ColourPair("face on", VEHICLE + np.array([2.1, 0.3, 0.4]), VEHICLE)
OWNER = calibration.load(Strictness, "vision", "strictness", "ordinary")
SIDE = plan_blend(
    [PAIR],
    Repair(300.0, 200.0, (Side(Direction.LEFT, 500.0),)),
    looked_at(OWNER, 1.0, 2.0),
    calibration.load(Vision, "vision"),
    PRACTICE,
).sides[0]


def lines(*coats):
    return coat_lines(replace(SIDE, fade=replace(SIDE.fade, coats=coats)), PRACTICE, Length.MM)


@pytest.mark.parametrize(
    ("reach", "ease", "begin"),
    [
        (300.0, 120.0, "180 mm outside the repair's edge"),
        (50.0, 120.0, "70 mm inside the repair's edge"),
        (120.0, 120.0, "at the repair's edge"),
    ],
)
def test_the_trigger_is_eased_off_over_the_length_before_the_reach(reach, ease, begin):
    (told,) = lines(Coat(reach, ease, 0.5))
    assert told.startswith(f"Coat 1: begin to ease the trigger off {begin}, let it go {reach:.0f} mm from it (")


def test_coats_that_are_alike_share_a_line_and_count_on():
    told = lines(Coat(100.0, 0.0, 0.5), Coat(100.0, 0.0, 0.5), Coat(200.0, 0.0, 0.5, reduced=True))
    assert [line.partition(":")[0] for line in told] == ["Coats 1 to 2", "Coat 3, reduced a further 15 %"]
    assert "run the middle of the last pass 100 mm from the repair" in told[0]
