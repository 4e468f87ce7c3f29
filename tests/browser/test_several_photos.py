"""Marks found in the photo, and several photos of one card, in a real browser."""

import io

import numpy as np
import pytest
from conftest import PHONE, assert_fits_at, assert_fits_in_width, settled, shoot
from PIL import Image
from playwright.sync_api import Page, expect

from match import calibration
from match.photo.sheet.layout import SheetLayout
from tests.photo.sheet.photograph import Shot, photograph
from tests.ui.test_check import BLUE, photo

pytestmark = pytest.mark.browser
FLOP_CAR, FLOP_CARD = (24.0, 1.0, -18.0), (31.0, 1.0, -18.0)
BOXES = (("grey", (0.05, 0.3, 0.12, 0.4)), ("card", (0.30, 0.3, 0.16, 0.4)), ("vehicle", (0.54, 0.3, 0.16, 0.4)))


def sheet_photo() -> bytes:
    layout = calibration.load(SheetLayout, "capture", "sheet")
    grey, _ = photograph(layout, Shot(tilt=24.0, towards=90.0, roll=3.0), np.random.default_rng(5))
    written = io.BytesIO()
    Image.fromarray(np.stack([grey] * 3, axis=-1)).save(written, "JPEG", quality=92)
    return written.getvalue()


def upload(page: Page, content: bytes, name: str, which: int = 0) -> None:
    file = {"name": name, "mimeType": "image/png", "buffer": content}
    page.locator("input[type=file]").nth(which).set_input_files(file)


def accept(page: Page) -> None:
    page.get_by_role("button", name="Use these marks").click()
    page.locator(".sm-verdict").wait_for()
    settled(page)


def say(page: Page, number: int, shows: str) -> None:
    """Answer what a photo shows; a list that opens at the foot of the window closes again as the page scrolls."""
    settled(page)
    box = page.get_by_role("combobox", name=f"What photo {number} shows")
    box.evaluate("box => box.scrollIntoView({block: 'center'})")
    page.wait_for_timeout(200)
    box.click()
    page.get_by_role("option", name=shows).click()
    settled(page)


def test_on_a_phone_a_photo_of_the_sheet_marks_itself_and_is_measured_once_accepted(phone: Page, app_url: str):
    phone.goto(app_url)
    phone.get_by_role("button", name="Try the demo photo").wait_for()
    upload(phone, sheet_photo(), "sheet.jpg")
    phone.locator(".sm-found").wait_for()
    phone.locator(".marker .region[data-kind=vehicle]").nth(1).wait_for()
    assert phone.locator(".marker .region").count() == 4
    assert phone.locator(".sm-verdict").count() == 0
    assert_fits_in_width(phone)
    shoot(phone, "found-390")
    accept(phone)
    assert_fits_in_width(phone)


def test_a_metallic_that_matches_face_on_and_not_at_the_flop_is_refused(desktop: Page, app_url: str):
    desktop.goto(app_url)
    desktop.get_by_role("button", name="Try the demo photo").wait_for()
    upload(desktop, photo(BLUE, BLUE), "face.png")
    desktop.locator(".sm-waiting, .sm-found").first.wait_for()
    clear = desktop.get_by_role("button", name="Clear them and mark by hand")
    clear.or_(desktop.locator(".sm-waiting")).first.wait_for()
    settled(desktop)
    if clear.count():
        clear.click()
        desktop.locator(".sm-waiting").wait_for()
    desktop.locator(".marker .kind").first.wait_for()
    settled(desktop)
    expect(desktop.locator(".marker")).to_have_count(1)  # the one with found marks is gone
    sheet = desktop.locator(".marker .sheet").bounding_box()
    for kind, (x, y, wide, high) in BOXES:
        desktop.locator(f'.marker button.kind[data-kind="{kind}"]').click()
        desktop.mouse.move(sheet["x"] + x * sheet["width"], sheet["y"] + y * sheet["height"])
        desktop.mouse.down()
        desktop.mouse.move(sheet["x"] + (x + wide) * sheet["width"], sheet["y"] + (y + high) * sheet["height"], steps=3)
        desktop.mouse.up()
    desktop.locator(".sm-verdict").wait_for()
    desktop.get_by_role("radio", name="Metallic").click()
    desktop.get_by_text("There is no photo at the flop").first.wait_for()
    assert desktop.locator(".sm-verdict").get_attribute("data-verdict") == "retake"
    shoot(desktop, "effect-one-1280")
    upload(desktop, photo(FLOP_CARD, FLOP_CAR), "flop.png")
    desktop.locator(".sm-found").wait_for()
    shoot(desktop, "effect-carried-1280")
    say(desktop, 1, "Face")
    say(desktop, 2, "Flop")
    accept(desktop)
    desktop.locator(".sm-verdict[data-verdict=retint]").wait_for()
    assert "at the flop" in desktop.locator(".sm-reason").inner_text()
    settled(desktop)
    assert_fits_in_width(desktop)
    shoot(desktop, "effect-1280")
    assert_fits_at(desktop, PHONE["viewport"])
