"""How far the colour goes, in words, and what is left of it where it stops."""

from dataclasses import replace

import numpy as np

from match.blend.clear import Clear, ClearEnd
from match.blend.options import StopKind, Way
from match.blend.side_plan import Fade, SidePlan
from match.blend.sides import Direction, Length, Side
from match.blend.words import colour_ends

STOPPED = SidePlan(
    Side(Direction.LEFT, 150.0),
    Way.FADE,
    covers_to_mm=50.0,
    fades_to_mm=150.0,
    onto_next_mm=0.0,
    stop=StopKind.GAP,
    left_delta_e00=1.2,
    objecting=0.0,
    fade=Fade(np.array([50.0, 100.0, 150.0]), np.array([1.0, 0.9, 0.6]), 100.0, ()),
    clear=Clear(None, ClearEnd.OPEN, 0.0),
    hides=np.array([True]),
    hides_probability=1.0,
    largest_delta_e00=9.0,
    largest_without_fade=1.0,
)


def fading_to(side, share):
    return replace(side, fade=replace(side.fade, new_share=np.array([1.0, 0.9, share])))


def test_a_fade_that_stops_with_most_of_its_colour_left_says_how_much_of_the_whole():
    # six tenths of the colour make 1.2, so the whole of it makes 1.2 / 0.6 = 2.0
    told = colour_ends(STOPPED, Length.MM)
    assert "no room to fade it out" in told
    assert "1.2 of the 2.0 is left" in told


def test_a_fade_that_is_mostly_out_where_it_stops_is_a_fade_with_a_rest():
    told = colour_ends(fading_to(STOPPED, 0.25), Length.MM)
    assert "then fade to" in told
    assert "1.2 of the difference is left there" in told


def test_a_fade_that_nothing_stops_is_gone():
    for share in (0.0, 0.6):
        told = colour_ends(replace(fading_to(STOPPED, share), stop=None), Length.MM)
        assert told.endswith("then fade, gone by 150 mm.")
