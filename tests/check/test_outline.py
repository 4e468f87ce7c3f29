"""A card that hardly differs from its car is seen by its long straight edges; lines of the car are not taken for them.

Drawn terrains, own construction: what lies where is known.
"""

import gc
import weakref

import cv2
import numpy as np
import pytest

from match.check.calibration_files import load_calibration
from match.check.marks.borders import Heights, passes
from match.check.marks.lines import About
from match.check.marks.outline import framed, of_own_surface, outline, parted
from match.check.marks.terrain import terrains
from match.photo.regions import Kind, Region

RULES = load_calibration().marks.outline
MARK = Region(Kind.CARD, 210, 150, 60, 60)
CAR = Region(Kind.VEHICLE, 350, 150, 60, 60)
LEVEL = 110.0


def _land(draw=lambda picture: None, noise=1.5):
    """Return the terrain of a plain panel on which something is drawn before noise is added."""
    picture = np.full((360, 480), LEVEL)
    draw(picture)
    noisy = picture[..., None] + np.random.default_rng(5).normal(0.0, noise, (360, 480, 3))
    return terrains(np.clip(np.round(noisy), 0, 255).astype(np.uint8), 480, 360)


def _card(step, turn_deg=0.0, size=(120, 120)):
    """Return what draws a card about the mark, lighter than the car by so many codes."""

    def draw(picture):
        corners = cv2.boxPoints(((240.0, 180.0), size, turn_deg)).astype(np.int32)
        mask = cv2.fillConvexPoly(np.zeros(picture.shape, np.uint8), corners, 1)
        picture[mask > 0] += step

    return draw


def _framed(land, coat=None):
    coat = np.ones(land.logs.shape[:2], dtype=bool) if coat is None else coat
    return framed(outline(land, MARK, coat, RULES), RULES)


def _parted(land, other):
    sides = outline(land, MARK, np.ones(land.logs.shape[:2], dtype=bool), RULES)
    apart = np.array([other.x + other.width / 2 - 240.0, other.y + other.height / 2 - 180.0])
    return parted(sides, apart, np.array([other.width, other.height]) / 2, RULES)


@pytest.mark.parametrize("turn_deg", [0.0, 17.0, -40.0])
def test_edges_lower_than_the_noise_of_a_pixel_are_seen_along_their_length(turn_deg):
    lands = _land(_card(1.0, turn_deg))
    heights = [Heights(land, (MARK, CAR)) for land in lands]
    assert passes(heights, 1.8).between[0, 1] < 1.0  # by single steps the two look like one surface
    assert _framed(lands[0]) > 2.3


def test_a_large_mark_is_looked_at_smaller_and_its_edges_lie_where_they_are():
    land = _land(_card(3.0, size=(260, 200)))[0]
    large = Region(Kind.CARD, 140, 110, 200, 140)
    sides = outline(land, large, np.ones(land.logs.shape[:2], dtype=bool), RULES)
    assert framed(sides, RULES) > 3.0
    assert [side.distance for side in sides] == pytest.approx([130.0, 130.0, 100.0, 100.0], abs=4.0)


@pytest.mark.parametrize("turn_deg", [15.0, -39.0])
def test_a_turn_that_is_tried_in_a_few_rows_shows_nearly_what_it_shows_in_all(turn_deg):
    about = About(_land(_card(2.0, turn_deg))[0], MARK, RULES)
    clearest = [
        [lines.sure_of(side).max() for lines in about.turned(turn_deg, thinned) for side in (0, 1)]
        for thinned in (True, False)
    ]
    assert min(clearest[1]) > 10.0
    assert clearest[0] == pytest.approx(clearest[1], rel=0.4)


def test_about_a_mark_on_a_plain_panel_hardly_any_side_is_seen():
    assert _framed(_land()[0]) < 0.8


def test_a_larger_step_is_no_less_seen_and_more_noise_hides_it():
    shares = [_framed(_land(_card(step), noise)[0]) for step, noise in ((6.0, 1.5), (1.0, 1.5), (0.3, 4.0))]
    assert shares[0] > 3.5
    assert shares[1] > 2.3
    assert shares[2] < 1.0


def test_lines_that_run_on_past_the_mark_frame_nothing():
    def gaps(picture):
        picture[:, 180:184] -= 40
        picture[:, 300:304] -= 40
        picture[118:122] -= 40
        picture[240:244] -= 40

    assert _framed(_land(gaps)[0]) < 0.8


def test_edges_beyond_which_no_paint_of_the_car_lies_are_not_those_of_a_card_on_it():
    land = _land(_card(4.0))[0]
    inside = np.zeros(land.logs.shape[:2], dtype=bool)
    inside[121:239, 181:299] = True
    assert _framed(land) > 3.5
    assert _framed(land, inside) < 0.5


def test_paint_behind_a_white_rim_is_seen():
    def rimmed(picture):
        _card(100.0, size=(150, 150))(picture)
        _card(-100.0)(picture)

    land = _land(rimmed)[0]
    assert _framed(land, land.logs[..., 0] < land.logs[180, 240, 0] + 0.1) > 3.5


def test_a_car_mark_beyond_an_edge_is_parted_and_one_within_the_outline_is_not():
    land = _land(_card(2.0, size=(200, 120)))[0]
    assert _parted(land, CAR) > 0.9
    assert np.isnan(_parted(land, Region(Kind.VEHICLE, 282, 150, 40, 60)))


def test_between_two_marks_on_one_card_no_edge_is_seen_however_clear_its_other_edges_are():
    def beside(picture):
        picture[120:240, 180:] += 3.0  # the card runs on to the right, out of the picture

    assert _parted(_land(beside)[0], CAR) < 0.2


def _surface(draw, *arguments):
    """Return of the plain picture what OpenCV fills, as the mark's own surface."""
    return draw(np.zeros((360, 480), np.uint8), *arguments, 1, -1) > 0


def _corners(turn_deg=0.0, size=(160, 110), middle=(250.0, 170.0)):
    return cv2.boxPoints((middle, size, turn_deg)).round().astype(np.int32)


@pytest.mark.parametrize("turn_deg", [0.0, 25.0, -60.0])
def test_a_surface_that_is_a_rectangle_has_its_edges_for_sides(turn_deg):
    """The middle of the rectangle is 10 right of the mark's and 10 above it, and its sides are 160 and 110 long."""
    land, surface = _land()[0], _surface(cv2.drawContours, [_corners(turn_deg)], 0)
    sides = of_own_surface(land, MARK, surface, RULES)
    assert framed(sides, RULES) > 3.9
    corners = _corners(turn_deg) - np.array([240.0, 180.0])
    for side in sides:  # a rectangle reaches as far in the direction of each of its sides
        assert side.distance == pytest.approx((corners @ np.array(side.normal)).max(), abs=2.0)
    assert sorted(one.distance + other.distance for one, other in (sides[:2], sides[2:])) == pytest.approx(
        [110.0, 160.0], abs=3.0
    )


def test_a_car_mark_beyond_such_a_surface_is_parted_and_one_within_it_is_not():
    sides = of_own_surface(_land()[0], MARK, _surface(cv2.drawContours, [_corners()], 0), RULES)
    beyond, within, half = np.array([140.0, 0.0]), np.array([50.0, 0.0]), np.array([20.0, 20.0])
    assert parted(sides, beyond, half, RULES) > 0.9
    assert np.isnan(parted(sides, within, half, RULES))


@pytest.mark.parametrize(
    "surface",
    [
        _surface(cv2.ellipse, (240, 180), (90, 60), 0, 0, 360),  # fills pi / 4 of the rectangle about it
        _surface(cv2.drawContours, [_corners(middle=(80.0, 170.0))], 0),  # cut off by the frame
        _surface(cv2.drawContours, [_corners(size=(420, 300), middle=(240.0, 180.0))], 0),  # most of the photo
        _surface(cv2.drawContours, [_corners(size=(40, 40), middle=(240.0, 180.0))], 0),  # the mark is larger
        _surface(cv2.drawContours, [_corners(middle=(310.0, 170.0))], 0),  # the mark lies over its left side
        np.zeros((360, 480), bool),
    ],
    ids=["ellipse", "cut off", "most of the photo", "within the mark", "beside it", "nothing"],
)
def test_any_other_surface_has_no_sides(surface):
    assert of_own_surface(_land()[0], MARK, surface, RULES) == ()


def test_what_a_mark_was_looked_at_in_goes_with_the_last_look():
    """A dozen turned pictures a card: kept until the next search for garbage, a few checks would fill the memory."""
    gc.disable()
    try:
        about = About(_land()[0], MARK, RULES)
        looked = [weakref.ref(lines) for lines in about.turned(12.0)]
        looked.append(weakref.ref(about))
        del about
        assert [each() for each in looked] == [None, None, None]
    finally:
        gc.enable()
