"""The tint page in a real browser: from advice to the next card, at the width of a desktop and of a phone."""

import json

import pytest
from conftest import DESKTOP, PHONE, assert_fits_in_width, settled, shoot
from playwright.sync_api import Page

pytestmark = pytest.mark.browser


def test_a_pot_is_tinted_outlives_another_page_and_is_saved_and_a_phone_keeps_its_advice_in_view(
    desktop: Page, app_url: str
):
    desktop.goto(f"{app_url}/tint")
    desktop.get_by_role("button", name="Try an invented pot").click()
    desktop.locator(".tint-advice[data-action=tint]").wait_for()
    settled(desktop)
    shoot(desktop, "tint-advice-1280")
    advised = desktop.locator(".tint-advice .word").inner_text()
    assert advised.startswith("Add ")
    assert "black" in advised
    desktop.set_viewport_size(PHONE["viewport"])
    strip = desktop.locator(".tint-strip")
    strip.wait_for()
    assert strip.inner_text() == advised
    assert strip.bounding_box()["y"] + strip.bounding_box()["height"] == pytest.approx(844, abs=1)
    assert_fits_in_width(desktop)
    desktop.set_viewport_size(DESKTOP["viewport"])
    desktop.get_by_role("button", name="Log it, then spray a card").click()
    desktop.locator(".tint-advice[data-action=spray]").wait_for()
    desktop.get_by_role("button", name="Spray the invented next card").click()
    desktop.locator(".tint-attempt").wait_for()
    settled(desktop)
    attempt = desktop.locator(".tint-attempt .word").inner_text()
    assert attempt.startswith("It moved")
    desktop.get_by_role("link", name="Check").click()
    desktop.get_by_text("Does the card match the car?").wait_for()
    desktop.get_by_role("link", name="Tint").click()
    desktop.locator(".tint-attempt").wait_for()
    settled(desktop)
    assert desktop.locator(".tint-attempt .word").inner_text() == attempt
    assert desktop.get_by_label("Parts").first.input_value() == "60.00"
    desktop.set_viewport_size(PHONE["viewport"])
    assert_fits_in_width(desktop)
    shoot(desktop, "tint-390")
    desktop.get_by_text("Save, open or try").click()
    settled(desktop)
    with desktop.expect_download() as download:
        desktop.get_by_role("button", name="Save this pot (JSON)").press("Enter")  # where it lies may still move
    saved = json.loads(download.value.path().read_text(encoding="utf-8"))
    assert saved["format"] == "tint-log 1"
    assert saved["steps"]
    assert all(step["card"] for step in saved["steps"])
