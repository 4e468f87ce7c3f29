"""Boxes are named as on the photo, also where the coordinates of one begin like those of another."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from match.errors import RegionError
from match.measure.finding import Finding
from match.measure.photo_code import PhotoCode
from match.photo.cut_outs import box_names
from match.photo.regions import EVERY_QUESTION, Kind, Region, check_regions
from match.ui.marker.box_names import called_in_set, called_on, said_right

FIRST, SECOND = (Region(Kind.VEHICLE, 60, y, 40, 40) for y in (11, 110))


def burnt(region, percent=30, photo=""):
    return Finding(PhotoCode.CLIPPED, True, (region,), {"percent": percent}, photo)


def test_one_box_is_not_taken_for_another_whose_coordinates_begin_alike():
    names = called_on((FIRST, SECOND))
    assert burnt(FIRST).text(names) == "The box “Car (1)” is burnt out in 30 % of its pixels."
    assert burnt(SECOND).text(names) == "The box “Car (2)” is burnt out in 30 % of its pixels."


def test_what_a_person_said_of_a_box_is_told_of_that_box():
    assert said_right((FIRST, SECOND)) == ""
    assert "said that “Car (2)” is right as marked." in said_right((FIRST, replace(SECOND, sure=(EVERY_QUESTION,))))
    assert "said that “Car (2)” is inside one surface." in said_right((FIRST, replace(SECOND, sure=("mark-across",))))


def test_a_set_names_each_box_as_on_its_own_photo():
    names = called_in_set({"one": (FIRST, SECOND), "two": (SECOND,)})
    assert "“Car (2)”" in burnt(SECOND, photo="one").text(names)
    assert "“Car”" in burnt(SECOND, photo="two").text(names)
    assert "at 60,110" in burnt(SECOND, photo="three").text(names)


places = st.builds(
    Region,
    st.sampled_from([Kind.CARD, Kind.VEHICLE]),
    st.integers(0, 1200),
    st.integers(0, 1200),
    st.integers(12, 1200),
    st.integers(12, 1200),
)


@given(st.lists(places, min_size=1, max_size=6, unique=True), st.integers(0, 100))
def test_no_box_s_name_stands_inside_a_number(regions, percent):
    for region, name in zip(regions, box_names(regions), strict=True):
        said = burnt(region, percent).text(called_on(regions))
        assert said == f"The box “{name}” is burnt out in {percent} % of its pixels."


def test_an_error_names_the_boxes_that_it_points_at():
    card = Region(Kind.CARD, 60, 100, 40, 40)
    regions = (Region(Kind.GREY, 0, 0, 40, 40, 0.18), card, FIRST, SECOND)
    with pytest.raises(RegionError) as refused:
        check_regions(regions, 400, 400)
    assert str(refused.value) == "the card region at 60,100 overlaps the vehicle region at 60,110: move them apart"
    assert refused.value.said(called_on(regions)) == "the box “Card” overlaps the box “Car (2)”: move them apart"
