"""Marks found in the photo, and several photos of one card, in a real browser."""

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Page, expect
from test_check_page import assert_fits_in_width, scroll_through

from match import calibration
from match.photo.sheet.layout import SheetLayout
from tests.photo.sheet.photograph import Shot, photograph
from tests.ui.test_check import BLUE, photo

pytestmark = pytest.mark.browser
FLOP_CAR, FLOP_CARD = (24.0, 1.0, -18.0), (31.0, 1.0, -18.0)
GLARE = (62.0, 0.0, -20.0)
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


def settle(page: Page) -> None:
    """Wait until the page is no longer being drawn: a list that opens meanwhile would close again."""
    page.wait_for_timeout(200)
    page.locator('[data-testid=stApp][data-test-script-state="notRunning"]').wait_for()


def accept(page: Page) -> None:
    settle(page)
    page.get_by_role("button", name="Use these marks").click()
    page.locator(".sm-verdict").wait_for()
    settle(page)


def say(page: Page, number: int, shows: str) -> None:
    """Answer what a photo shows; a list that opens at the foot of the window closes again as the page scrolls."""
    settle(page)
    box = page.get_by_role("combobox", name=f"What photo {number} shows")
    box.evaluate("box => box.scrollIntoView({block: 'center'})")
    page.wait_for_timeout(200)
    box.click()
    page.get_by_role("option", name=shows).click()
    settle(page)


def test_on_a_phone_a_photo_of_the_sheet_marks_itself_and_is_measured_once_accepted(
    phone: Page, app_url: str, pictures: Path
):
    phone.goto(app_url)
    phone.get_by_role("button", name="Try the demo photo").wait_for()
    upload(phone, sheet_photo(), "sheet.jpg")
    phone.locator(".sm-found").wait_for()
    phone.locator(".marker .region[data-kind=vehicle]").nth(1).wait_for()
    assert phone.locator(".marker .region").count() == 4
    assert phone.locator(".sm-verdict").count() == 0
    assert_fits_in_width(phone)
    scroll_through(phone, pictures, "found-390")
    accept(phone)
    assert_fits_in_width(phone)
    phone.goto(f"{app_url}/sheet")
    phone.get_by_role("button", name="Download the sheet (A4, PDF)").wait_for()
    assert_fits_in_width(phone)
    scroll_through(phone, pictures, "sheet-390")


def test_a_metallic_that_matches_face_on_and_not_at_the_flop_is_refused(desktop: Page, app_url: str, pictures: Path):
    desktop.goto(app_url)
    desktop.get_by_role("button", name="Try the demo photo").wait_for()
    upload(desktop, photo(BLUE, BLUE), "face.png")
    desktop.locator(".sm-waiting, .sm-found").first.wait_for()
    clear = desktop.get_by_role("button", name="Clear them and mark by hand")
    clear.or_(desktop.locator(".sm-waiting")).first.wait_for()
    settle(desktop)
    if clear.count():
        clear.click()
        desktop.locator(".sm-waiting").wait_for()
    desktop.locator(".marker .kind").first.wait_for()
    settle(desktop)
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
    scroll_through(desktop, pictures, "effect-one-1280")
    upload(desktop, photo(FLOP_CARD, FLOP_CAR), "flop.png")
    desktop.locator(".sm-found").wait_for()
    scroll_through(desktop, pictures, "effect-carried-1280")
    say(desktop, 1, "Face")
    say(desktop, 2, "Flop")
    accept(desktop)
    upload(desktop, photo(GLARE, GLARE), "glare.png")
    desktop.locator(".sm-found").wait_for()
    accept(desktop)
    say(desktop, 3, "Near the glare")
    desktop.locator(".sm-verdict[data-verdict=retint]").wait_for()
    assert "at the flop" in desktop.locator(".sm-reason").inner_text()
    desktop.wait_for_timeout(500)
    assert_fits_in_width(desktop)
    scroll_through(desktop, pictures, "effect-1280")
    desktop.set_viewport_size({"width": 390, "height": 844})
    desktop.wait_for_timeout(500)
    assert_fits_in_width(desktop)
    scroll_through(desktop, pictures, "effect-390")
