"""Marks: fractions of the upright picture to pixels and back, and what is accepted from a browser."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from match.photo.regions import MINIMUM_SIDE_PX, Kind, Region, check_regions
from match.ui.marker.marks import CHECK_KINDS, MOST_MARKS, Mark, from_region, read_marks, to_region, to_regions

SIZES = st.integers(min_value=MINIMUM_SIDE_PX, max_value=12000)
FRACTIONS = st.floats(min_value=0.0, max_value=1.0)


def read(*sent: object) -> list[Mark]:
    return read_marks(list(sent), CHECK_KINDS, default_reflectance=0.18)


def test_a_quarter_of_a_known_photo_is_the_pixels_worked_out_by_hand():
    # 4000 x 3000 pixels: x = 0.25 * 4000, y = 0.5 * 3000, width = 0.1 * 4000, height = 0.2 * 3000.
    mark = Mark("grey", 0.25, 0.5, 0.1, 0.2, 0.18)
    assert to_region(mark, 4000, 3000) == Region(Kind.GREY, 1000, 1500, 400, 600, 0.18)


@given(st.data(), SIZES, SIZES)
def test_a_region_survives_the_way_to_fractions_and_back(data, photo_width, photo_height):
    width = data.draw(st.integers(MINIMUM_SIDE_PX, photo_width))
    height = data.draw(st.integers(MINIMUM_SIDE_PX, photo_height))
    x = data.draw(st.integers(0, photo_width - width))
    y = data.draw(st.integers(0, photo_height - height))
    region = Region(Kind.CARD, x, y, width, height)
    assert to_region(from_region(region, photo_width, photo_height), photo_width, photo_height) == region


@given(FRACTIONS, FRACTIONS, FRACTIONS, FRACTIONS, SIZES, SIZES)
def test_every_mark_becomes_a_region_that_the_measurement_accepts(x, y, width, height, photo_width, photo_height):
    marks = read({"kind": "card", "x": x, "y": y, "width": width, "height": height})
    if not marks:
        assert width == 0 or height == 0 or x == 1 or y == 1 or x + width == x or y + height == y
        return
    region = to_region(marks[0], photo_width, photo_height)
    assert region.x >= 0
    assert region.y >= 0
    assert region.x + region.width <= photo_width
    assert region.y + region.height <= photo_height
    assert min(region.width, region.height) >= MINIMUM_SIDE_PX


@given(st.integers(1, 9), SIZES.filter(lambda size: size > 400))
def test_marks_that_touch_become_regions_that_touch_and_do_not_overlap(tenth, photo_width):
    split = tenth / 10
    left, right = Mark("grey", 0.0, 0.0, split, 1.0, 0.18), Mark("card", split, 0.0, 1.0 - split, 1.0)
    first, second = to_regions([left, right], photo_width, 500)
    assert not first.overlaps(second)
    assert first.x + first.width == second.x


def test_marks_of_the_three_kinds_pass_the_measurement_own_check():
    marks = [
        Mark("grey", 0.05, 0.1, 0.2, 0.2, 0.18),
        Mark("card", 0.3, 0.1, 0.2, 0.2),
        Mark("vehicle", 0.6, 0.1, 0.2, 0.2),
    ]
    check_regions(to_regions(marks, 800, 600), 800, 600)


def test_a_grey_keeps_its_reflectance_and_the_others_have_none():
    box = {"x": 0.1, "y": 0.1, "width": 0.2, "height": 0.2, "reflectance": 0.36}
    grey, card = read({"kind": "grey", **box}, {"kind": "card", **box})
    assert grey.reflectance == 0.36
    assert card.reflectance is None


@pytest.mark.parametrize("reflectance", [None, "18 %", math.nan, 0.0, -1, 1.2, True])
def test_a_grey_without_a_possible_reflectance_gets_the_default(reflectance):
    mark = {"kind": "grey", "x": 0.1, "y": 0.1, "width": 0.2, "height": 0.2, "reflectance": reflectance}
    assert read(mark)[0].reflectance == 0.18


@pytest.mark.parametrize(
    "sent",
    [
        None,
        7,
        "card",
        {"kind": "card"},
        {"kind": "roof", "x": 0.1, "y": 0.1, "width": 0.2, "height": 0.2},
        {"kind": ["card"], "x": 0.1, "y": 0.1, "width": 0.2, "height": 0.2},
        {"kind": "card", "x": math.nan, "y": 0.1, "width": 0.2, "height": 0.2},
        {"kind": "card", "x": math.inf, "y": 0.1, "width": 0.2, "height": 0.2},
        {"kind": "card", "x": "0.1", "y": 0.1, "width": 0.2, "height": 0.2},
        {"kind": "card", "x": 0.1, "y": 0.1, "width": 0.0, "height": 0.2},
        {"kind": "card", "x": 0.1, "y": 0.1, "width": -0.2, "height": 0.2},
        {"kind": "card", "x": 1.2, "y": 0.1, "width": 0.2, "height": 0.2},
    ],
)
def test_what_is_not_a_rectangle_on_the_picture_is_left_out(sent):
    good = {"kind": "vehicle", "x": 0.5, "y": 0.5, "width": 0.1, "height": 0.1}
    assert [mark.kind for mark in read(sent, good)] == ["vehicle"]


@pytest.mark.parametrize("sent", [None, 3, "text", b"bytes", {"regions": []}])
def test_what_is_not_a_list_gives_no_marks(sent):
    assert read_marks(sent, CHECK_KINDS, 0.18) == []


def test_a_mark_over_the_edge_is_cut_at_the_edge():
    (mark,) = read({"kind": "card", "x": -0.1, "y": 0.9, "width": 0.3, "height": 0.3})
    assert (mark.x, mark.y) == (0.0, 0.9)
    assert mark.width == pytest.approx(0.2)
    assert mark.height == pytest.approx(0.1)


def test_a_flood_of_marks_is_cut_off():
    box = {"kind": "grey", "x": 0.1, "y": 0.1, "width": 0.2, "height": 0.2}
    assert len(read(*([box] * 500))) == MOST_MARKS


def test_a_kind_the_measurement_does_not_know_is_left_to_the_page_that_added_it():
    marks = [Mark("room", 0.1, 0.1, 0.2, 0.2), Mark("card", 0.5, 0.5, 0.2, 0.2)]
    assert [region.kind for region in to_regions(marks, 800, 600)] == [Kind.CARD]


def test_kinds_are_told_apart_by_label_and_by_line_without_their_colour():
    assert len({kind.label for kind in CHECK_KINDS}) == len(CHECK_KINDS)
    assert len({kind.dash for kind in CHECK_KINDS}) == len(CHECK_KINDS)
