"""From an own photo without the sheet to the answer by tapping, at a phone's width."""

import numpy as np
import pytest
from conftest import assert_fits_in_width, settled
from playwright.sync_api import Page, expect
from pointing import choose, tap

from tests.support.png import png

pytestmark = pytest.mark.browser
MOST_TAPS = 6


def photo(size, things, seed):
    """Return an invented picture as PNG: things of (left, top, right, bottom) in fractions and their sRGB colour."""
    wide, high = size
    picture = np.full((high, wide, 3), (70, 100, 145), dtype=np.int16)
    for (left, top, right, bottom), colour in things:
        picture[round(top * high) : round(bottom * high), round(left * wide) : round(right * wide)] = colour
    picture += np.random.default_rng(seed).integers(-1, 2, picture.shape, dtype=np.int16)
    return png(picture)


GREY, CARD = (118, 118, 118), (82, 112, 157)
ELSE = (40, 30, 25)
LAYOUTS = {
    "wide": (
        (900, 600),
        [((0.02, 0.25, 0.2, 0.75), GREY), ((0.42, 0.25, 0.64, 0.75), CARD)],
        [(0.1, 0.5), (0.53, 0.5), (0.31, 0.5), (0.77, 0.5)],
    ),
    "portrait and crowded": (
        (600, 900),
        [
            ((0.35, 0.4, 0.68, 0.62), CARD),
            ((0.3, 0.8, 0.7, 1.0), GREY),  # runs out of the frame: it is not found without a tap
            ((0.0, 0.0, 1.0, 0.1), ELSE),
            ((0.0, 0.72, 0.2, 0.9), (200, 180, 60)),
        ],
        [(0.5, 0.9), (0.5, 0.5), (0.17, 0.5), (0.85, 0.5)],
    ),
}


def test_an_own_photo_is_answered_after_at_most_six_taps_and_fits(phone: Page, app_url: str):
    phone.goto(app_url)
    answer_by_taps(phone, "wide")
    phone.get_by_text("Details", exact=True).tap()
    phone.locator(".sm-table").first.wait_for()
    assert_fits_in_width(phone)
    phone.get_by_role("button", name="Start again", exact=True).tap()
    answer_by_taps(phone, "portrait and crowded")


def answer_by_taps(phone: Page, layout: str) -> None:
    phone.get_by_role("button", name="Try the demo photo").wait_for()
    settled(phone)
    size, things, points = LAYOUTS[layout]
    file = {"name": f"{layout}.png", "mimeType": "image/png", "buffer": photo(size, things, len(layout))}
    phone.locator("input[type=file]").set_input_files(file)
    phone.locator(".marker .kind").first.wait_for()
    phone.locator(".sm-waiting, .sm-found").first.wait_for()
    taps = 0
    by_hand = phone.get_by_role("button", name="Clear them and mark by hand")
    if phone.locator(".sm-found").is_visible():
        by_hand.tap()
        taps += 1
        phone.locator(".sm-waiting").wait_for()
    expect(phone.locator(".marker")).to_have_count(1)  # the one with found marks is gone
    settled(phone)
    assert phone.locator(".sm-waiting li").all_inner_texts() == ["Grey", "Card", "Car"]
    assert_fits_in_width(phone)
    choose(phone, "grey")
    taps += 1
    for count, point in enumerate(points, start=1):
        tap(phone, point)
        taps += 1
        expect(phone.locator(".marker .region")).to_have_count(count)
    assert taps <= MOST_TAPS
    # the answer is below, out of sight: the line above the photo says so
    expect(phone.locator(".marker .hint")).to_contain_text("All marked: go on below.")
    # One side of the car already gives an answer; with both it is sure of itself.
    expect(phone.locator(".sm-verdict")).to_have_attribute("data-verdict", "retint")
    settled(phone)
