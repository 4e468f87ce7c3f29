"""The coats page in a real browser: hiding and let-down steps, at the width of a desktop and of a phone."""

import io
import re

import numpy as np
import pytest
from coloraide import Color
from conftest import DESKTOP, PHONE, assert_fits_at, assert_fits_in_width, settled
from PIL import Image
from playwright.sync_api import Page, expect

from match.demo import card_photos

pytestmark = pytest.mark.browser


def open_demo(page: Page, app_url: str, question: str, button: str) -> None:
    page.goto(f"{app_url}/coats")
    page.get_by_role("radio", name=question).click()
    page.get_by_role("button", name=button).click()
    page.locator(".sm-verdict").wait_for()
    page.locator(".marker .region").first.wait_for()
    settled(page)
    assert_fits_in_width(page)


def figure(page: Page, name: str) -> float:
    """Return the first number beside a name in one of the page's tables."""
    row = page.locator(".sm-table tr", has_text=name)
    return float(re.search(r"\d+(\.\d+)?", row.locator("td").first.inner_text())[0])


def change(page: Page, field: str, number: str) -> None:
    box = page.get_by_role("spinbutton", name=field)
    box.fill(number)
    box.press("Enter")


def luminance(content: bytes, place) -> float:
    """Return CIE Y of a place's mean colour, by coloraide's sRGB (IEC 61966-2-1)."""
    codes = np.asarray(Image.open(io.BytesIO(content)).convert("RGB"))
    patch = codes[place.y : place.y + place.height, place.x : place.x + place.width].reshape(-1, 3)
    return Color("srgb", patch.mean(axis=0) / 255).convert("xyz-d65")["y"]


def see_that_the_demo_card_does_not_hide(page: Page, app_url: str) -> None:
    open_demo(page, app_url, "Does the card hide?", "Try the demo card")
    assert_fits_at(page, PHONE["viewport"])
    assert page.locator(".sm-verdict").get_attribute("data-answer") == "shows"
    shown = card_photos.hiding_demo()
    black, white = (luminance(shown.content, place) for place in shown.places)
    assert figure(page, "Contrast ratio") == pytest.approx(black / white, abs=0.01)
    assert figure(page, "On this card") == 2.0
    needed = figure(page, "Needed to hide")
    assert needed > 2.0
    # Kubelka's film (1948) hides by scattering times thickness alone: a card that looks the same at one and a half
    # times the coats needs one and a half times as many.
    change(page, "Coats of colour on this card", "3")
    page.locator(".sm-table tr", has_text="On this card").get_by_text("3", exact=True).wait_for()
    settled(page)
    assert figure(page, "Needed to hide") == pytest.approx(1.5 * needed, abs=0.15)
    assert_fits_at(page, PHONE["viewport"])


def test_on_a_desktop_the_coats_that_hide_the_demo_card_are_planned_with_on_the_blend_page(desktop: Page, app_url: str):
    see_that_the_demo_card_does_not_hide(desktop, app_url)
    coats = figure(desktop, "Spray in all")
    assert coats >= figure(desktop, "Needed to hide")
    desktop.get_by_role("button", name="Plan the blend with").click()
    desktop.get_by_text("Done: the Blend page now plans").wait_for()
    desktop.get_by_role("link", name="Blend").click()
    folded = desktop.get_by_text("Coats and undercoat", exact=True)
    folded.wait_for()
    settled(desktop)
    folded.click()
    expect(desktop.get_by_role("spinbutton", name="Coats until the primer no longer shows")).to_have_value(
        f"{coats:.1f}"
    )


def test_on_a_phone_the_demo_steps_give_the_coats_the_invented_car_was_given(phone: Page, app_url: str):
    open_demo(phone, app_url, "How many mid-coats?", "Try the demo steps")
    verdict = phone.locator(".sm-verdict")
    assert verdict.get_attribute("data-verdict") == "go"
    assert f"Spray {card_photos.CAR_MID_COATS:.1f} mid-coats." in verdict.inner_text()
    phone.locator("[data-testid=stImage] img").wait_for()
    change(phone, "Mid-coats on this step", "2")  # a lie: two unlike photos are then said to show two coats
    phone.locator(".sm-notices").get_by_text("the two photos disagree").wait_for()
    settled(phone)
    assert verdict.get_attribute("data-verdict") != "go"
    assert_fits_in_width(phone)
    assert_fits_at(phone, DESKTOP["viewport"])
