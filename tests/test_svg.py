"""What the pictures share: scales end and step in round figures, and the plane puts a colour where it is named."""

from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from match.svg import LabPlane, delta_words, diamond, label, line, picture, ring, round_step, scale_end, ticks

sizes = st.floats(1e-3, 1e6)


@given(st.floats(1.0, 1e6))
def test_a_scale_holds_its_largest_value_without_wasting_half_of_itself(largest):
    end = scale_end(largest)
    assert largest <= end * (1 + 1e-6)
    assert end <= 2 * largest * (1 + 1e-6)


def test_a_scale_of_nothing_still_has_a_length():
    assert scale_end(0.0) == 1.0


@given(sizes, st.integers(1, 12))
def test_steps_are_round_and_few_enough(end, most):
    step = round_step(end, most)
    assert f"{step:.3e}".split("e")[0] in ("1.000", "2.000", "2.500", "5.000")
    found = ticks(end, most)
    assert len(found) - 1 <= most
    assert found[0] == 0.0
    assert end - found[-1] < step * (1 + 1e-6)


def test_redder_is_right_yellower_up_and_lighter_up():
    plane = LabPlane(4.0)
    assert plane.at((0, 4, 0)) == pytest.approx((plane.x0 + plane.half, plane.y0))
    assert plane.at((0, 0, 4)) == pytest.approx((plane.x0, plane.y0 - plane.half))
    assert plane.level((4, 0, 0)) == pytest.approx((plane.bar_x, plane.y0 - plane.half))


def test_the_words_say_the_directions_of_the_picture():
    assert delta_words((1.0, -2.0, 0.04)) == ["1.0 lighter", "2.0 greener", "0.0 yellower"]


def test_a_line_needs_two_points():
    assert line([]) == line([(1.0, 2.0)]) == ""
    assert "M1.0 2.0L3.0 4.0" in line([(1.0, 2.0), (3.0, 4.0)])


def test_every_piece_is_well_formed():
    pieces = [LabPlane(3.0).ground(), LabPlane(3.0).doubt((1, 1, 1), (0.5, 0.2), 30.0, 0.4), ring(1, 2)]
    drawn = ElementTree.fromstring(picture(100, 50, [*pieces, diamond(5, 5, 9), label(1, 2, "car")]))
    assert drawn.get("viewBox") == "0 0 100 50"
    assert {"circle", "rect", "path", "ellipse", "text"} <= {each.tag.rpartition("}")[2] for each in drawn.iter()}
