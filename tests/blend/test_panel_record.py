"""A kept panel comes back as it was described, and one that cannot be is refused, naming what is wrong."""

import pytest

from match.blend.panel import Around, Panel
from match.blend.panel_record import panel_as_record, panel_from
from match.blend.sides import Direction, End, NextPanel, Spot
from match.errors import PlanError

PANEL = Panel(
    "door",
    1100.0,
    640.0,
    (Spot(100.0, 200.0, 120.0, 80.0),),
    (
        Around(Direction.LEFT, 140.0, End.NEXT_PANEL, next_panel=NextPanel(500.0)),
        Around(Direction.UP, end=End.KEPT_PART, car_colour_beyond=False),
    ),
)


def test_a_side_keeps_the_room_said_by_hand_and_one_of_which_none_was_said_still_has_none():
    assert panel_from(panel_as_record(PANEL)) == PANEL


@pytest.mark.parametrize("room_mm", [-1.0, True, "140", float("nan")])
def test_a_room_that_is_no_length_is_refused_by_name(room_mm):
    kept = panel_as_record(PANEL)
    kept["sides"][0]["room_mm"] = room_mm
    with pytest.raises(PlanError, match="the room of a side of the panel is no length"):
        panel_from(kept)
