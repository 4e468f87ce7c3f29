"""The strip of what was marked: the right pixels, enlarged, on neutral grey; and the photo with its marks on it."""

import numpy as np
import pytest

from match.photo.cut_outs import SURROUND, box_names, cut_outs, with_marks
from match.photo.regions import Kind, Region

RED, BLUE = (200, 30, 30), (30, 30, 200)
CARD, CAR = Region(Kind.CARD, 200, 100, 400, 200), Region(Kind.VEHICLE, 1000, 600, 100, 300)
GREY = Region(Kind.GREY, 1400, 100, 100, 100, 0.18)


def preview():
    """A photo of 1600 x 1200 at a quarter of its size, a colour in each marked box and mid grey around."""
    picture = np.full((300, 400, 3), 128, dtype=np.uint8)
    for region, colour in ((CARD, RED), (CAR, BLUE)):
        rows = slice(region.y // 4, (region.y + region.height) // 4)
        picture[rows, region.x // 4 : (region.x + region.width) // 4] = colour
    return picture


def test_every_box_is_cut_out_and_enlarged_to_one_size():
    card, car = cut_outs(preview(), (1600, 1200), (CARD, CAR), 120)
    assert card.shape == car.shape == (120, 120, 3)
    assert tuple(card[60, 60]) == RED
    assert tuple(car[60, 60]) == BLUE
    assert (card == RED).all(axis=2).mean() > 0.15


def test_what_is_around_the_photo_is_neutral_grey():
    wide, _ = cut_outs(preview(), (1600, 1200), (CARD, CAR), 120)
    assert tuple(wide[2, 60]) == (SURROUND, SURROUND, SURROUND)


def test_a_box_at_the_photo_s_corner_and_one_smaller_than_a_pixel_are_shown():
    corner = Region(Kind.GREY, 0, 0, 12, 12, 0.18)
    shown = cut_outs(np.full((20, 30, 3), 90, dtype=np.uint8), (3000, 2000), (corner,))
    assert shown[0].shape == (144, 144, 3)


def test_marks_are_drawn_on_a_copy_and_named():
    before = preview()
    drawn = with_marks(before, (1600, 1200), (CARD, CAR, GREY), box_names((CARD, CAR, GREY)))
    assert np.array_equal(before, preview())
    changed = (drawn != before).any(axis=2)
    assert changed[CARD.y // 4, CARD.x // 4 : (CARD.x + CARD.width) // 4].all()
    assert not changed[CARD.y // 4 + 10 : CARD.y // 4 + 40, CARD.x // 4 + 10 : CARD.x // 4 + 90].any()


@pytest.mark.parametrize("regions", [(), (GREY,)])
def test_there_are_as_many_cut_outs_as_boxes(regions):
    assert len(cut_outs(preview(), (1600, 1200), regions)) == len(regions) == len(box_names(regions))
