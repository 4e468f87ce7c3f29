"""The tint page in a real browser: the loop from advice to the next card, at the width of a desktop and of a phone."""

import json
from pathlib import Path

import pytest
from conftest import settled
from playwright.sync_api import Page
from test_check_page import assert_fits_in_width, scroll_through

pytestmark = pytest.mark.browser


def settle(page: Page) -> None:
    """Wait until the run that is under way has ended: a button of the run before does nothing."""
    page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for()


def open_invented_pot(page: Page, app_url: str) -> None:
    page.goto(f"{app_url}/tint")
    page.get_by_role("button", name="Try an invented pot").click()
    page.locator(".tint-advice[data-action=tint]").wait_for()
    settle(page)


def add_and_spray(page: Page) -> None:
    mixed = page.locator(".tint-advice").get_attribute("data-action") == "next-mix"
    name = "I weighed the next mix" if mixed else "Log it, then spray a card"
    page.get_by_role("button", name=name).click()
    page.locator(".tint-advice[data-action=spray]").wait_for()
    settle(page)
    page.get_by_role("button", name="Spray the invented next card").click()
    page.locator(".tint-attempt").wait_for()
    settle(page)


def test_the_pot_outlives_another_page_and_is_tinted_until_the_page_says_stop_and_saved(
    desktop: Page, app_url: str, pictures: Path
):
    open_invented_pot(desktop, app_url)
    scroll_through(desktop, pictures, "tint-advice-1280")
    advised = desktop.locator(".tint-advice .word").inner_text()
    assert advised.startswith("Add ")
    assert "black" in advised
    add_and_spray(desktop)
    attempt = desktop.locator(".tint-attempt .word").inner_text()
    assert attempt.startswith("It moved")
    desktop.get_by_role("link", name="Check").click()
    desktop.get_by_text("Does the card match the car?").wait_for()
    desktop.get_by_role("link", name="Tint").click()
    desktop.locator(".tint-attempt").wait_for()
    settle(desktop)
    assert desktop.locator(".tint-attempt .word").inner_text() == attempt
    assert desktop.get_by_label("Parts").first.input_value() == "60.00"
    for _ in range(3):
        if desktop.locator(".tint-attempt").get_attribute("data-recommendation") == "stop":
            break
        add_and_spray(desktop)
    assert desktop.locator(".tint-attempt").get_attribute("data-recommendation") == "stop"
    assert desktop.locator(".tint-advice").get_attribute("data-action") == "stop"
    scroll_through(desktop, pictures, "tint-stop-1280")
    assert desktop.locator("[data-testid=stException]").count() == 0
    desktop.get_by_text("Save, open or try").click()
    settled(desktop)
    with desktop.expect_download() as download:
        desktop.get_by_role("button", name="Save this pot (JSON)").click()
    saved = json.loads(download.value.path().read_text(encoding="utf-8"))
    assert saved["format"] == "tint-log 1"
    assert all(step["card"] for step in saved["steps"])


def test_on_a_phone_the_page_fits_and_keeps_the_advice_in_view(phone: Page, app_url: str, pictures: Path):
    open_invented_pot(phone, app_url)
    assert_fits_in_width(phone)
    strip = phone.locator(".tint-strip")
    assert strip.inner_text() == phone.locator(".tint-advice .word").inner_text()
    assert strip.bounding_box()["y"] + strip.bounding_box()["height"] == pytest.approx(844, abs=1)
    add_and_spray(phone)
    assert_fits_in_width(phone)
    scroll_through(phone, pictures, "tint-390")
