"""The blend page in a real browser, at the width of a desktop and of a phone."""

import re

import pytest
from conftest import assert_fits_in_width, settled, shoot
from playwright.sync_api import Page, expect
from pointing import swipe_over_screen

pytestmark = pytest.mark.browser

MOST_WORDS = 530
"""The page is asked to do with 500; the open choice of who looks and the icons' names count here besides."""


def open_blend(page: Page, app_url: str) -> None:
    page.goto(f"{app_url}/blend")
    page.get_by_text("Who looks, and how").click()
    judge = page.get_by_text("An ordinary owner", exact=True)
    judge.wait_for()
    judge.click()
    wait_for(page, "blend")
    page.get_by_text("What this rests on, and how it may be wrong").wait_for()


def wait_for(page: Page, verdict: str) -> None:
    page.locator(f".sm-verdict[data-verdict={verdict}]").wait_for()


def set_room(page: Page, side: str, room: str) -> None:
    field = page.locator(f".st-key-blend_side_{side}").get_by_role("spinbutton", name="Room", exact=False)
    field.fill(room)
    field.press("Enter")


def test_the_same_card_is_blend_then_retint_in_a_narrow_room_and_its_job_sheet_is_saved(desktop: Page, app_url: str):
    open_blend(desktop, app_url)
    assert_fits_in_width(desktop)
    assert len(desktop.locator("[data-testid=stMain]").inner_text().split()) <= MOST_WORDS
    shoot(desktop, "blend-1280")
    picture = desktop.locator(".st-key-blend_stage img").last
    before = picture.get_attribute("src")
    assert ".png" in before  # a JPEG would draw edges of its own
    set_room(desktop, "left", "80")
    wait_for(desktop, "retint")
    assert "bring the card under" in desktop.locator(".sm-notices").first.inner_text().lower()
    desktop.wait_for_function(
        "before => [...document.querySelectorAll('.st-key-blend_stage img')].at(-1).getAttribute('src') !== before",
        arg=before,
    )
    desktop.get_by_text("Job sheet", exact=True).click()
    desktop.get_by_role("button", name="Save the job sheet (PDF)").wait_for()
    settled(desktop)
    with desktop.expect_download() as download:
        desktop.get_by_role("button", name="Save the job sheet (PDF)").press("Enter")  # where it lies may still move
    assert download.value.path().read_bytes().startswith(b"%PDF")


def test_on_a_phone_the_verdict_stays_in_view_and_repairs_and_edges_are_moved_by_finger_and_by_keys(
    phone: Page, app_url: str
):
    open_blend(phone, app_url)
    assert_fits_in_width(phone)
    strip = phone.locator(".sm-strip")
    assert strip.inner_text().startswith("Blend")
    assert strip.locator("b").evaluate("word => getComputedStyle(word).display") == "inline"
    set_room(phone, "left", "80")
    wait_for(phone, "retint")
    box = strip.bounding_box()
    assert box["y"] + box["height"] <= 844 + 1
    assert strip.inner_text().startswith("Retint")
    phone.get_by_text("What this rests on, and how it may be wrong").tap()
    phone.get_by_text("How it may be wrong", exact=True).wait_for()
    assert_fits_in_width(phone)
    shoot(phone, "blend-390")
    settled(phone)
    phone.locator(".st-key-blend_panel input").first.tap()
    phone.get_by_role("option", name="Plain rectangle").tap()
    repair, right = phone.locator(".board .repair"), phone.get_by_role("slider", name="Right edge")
    repair.scroll_into_view_if_needed()
    assert_fits_in_width(phone)
    settled(phone)
    box = repair.bounding_box()
    assert min(box["width"], box["height"]) >= 44
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    scrolled = phone.evaluate("scrollY")
    swipe_over_screen(phone, middle, (middle[0] - 60, middle[1] + 20))
    left = phone.locator(".st-key-blend_place_left_plain_mm input")
    expect(left).not_to_have_value("400")  # in the middle of 1000 mm less its own 200
    assert phone.evaluate("scrollY") == scrolled
    settled(phone)
    moved = float(left.input_value())
    expect(repair).to_have_attribute("aria-label", re.compile(f"^Repair 1: {moved:g} mm from the left"))
    repair.focus()
    phone.keyboard.press("Shift+ArrowRight")
    expect(left).to_have_value(f"{moved + 50:g}")
    right.focus()
    phone.keyboard.press("ArrowLeft")
    expect(phone.locator(".st-key-blend_panel_width_plain_mm input")).to_have_value("990")
    expect(right).to_have_attribute("aria-valuenow", "990")
    settled(phone)
    left.fill("100")
    left.press("Enter")
    expect(repair).to_have_attribute("aria-label", re.compile("^Repair 1: 100 mm from the left"))
