"""The check page in a real browser, at the width of a desktop and of a phone."""

import pytest
from conftest import assert_fits_in_width, settled, shoot
from playwright.sync_api import Page

pytestmark = pytest.mark.browser
BELOW = ("Zoom in", "Undo the last step", "Delete the selected box")
"""Buttons below the photo, in one row on a phone too."""


def test_the_demo_s_answer_is_saved_and_its_card_box_dragged_onto_the_car_is_found_out(desktop: Page, app_url: str):
    desktop.goto(app_url)
    desktop.get_by_role("button", name="Try the demo photo").click()
    desktop.locator(".sm-verdict").wait_for()
    desktop.locator(".marker .region[data-kind=vehicle]").first.wait_for()
    shoot(desktop, "check-1280")
    verdict = desktop.locator(".sm-verdict").get_attribute("data-verdict")
    assert verdict in {"go", "blend", "retint"}
    assert_fits_in_width(desktop)
    card, vehicle = desktop.locator(".sm-card").bounding_box(), desktop.locator(".sm-car").bounding_box()
    assert card["x"] + card["width"] == pytest.approx(vehicle["x"], abs=0.5)
    desktop.get_by_text("Details", exact=True).click()
    with desktop.expect_download() as download:
        desktop.get_by_role("button", name="Save the figures (JSON)").press("Enter")  # where it lies may still move
    assert f'"verdict": "{verdict}"' in download.value.path().read_text(encoding="utf-8")
    settled(desktop)
    body = desktop.locator(".region[data-kind=card] .body")
    body.scroll_into_view_if_needed()
    box = body.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    desktop.mouse.move(x, y)
    desktop.mouse.down()
    desktop.mouse.move(x, y + 1.45 * box["height"], steps=4)  # off the card, onto the vehicle's own paint
    desktop.mouse.up()
    desktop.locator(".sm-verdict[data-verdict=retake]").wait_for()


def test_on_a_phone_the_demo_photo_comes_into_view_with_its_verdict(phone: Page, app_url: str):
    phone.goto(app_url)
    phone.get_by_role("button", name="Try the demo photo").wait_for()
    settled(phone)
    shoot(phone, "start-390")
    phone.get_by_role("button", name="Try the demo photo").tap()
    phone.locator(".sm-verdict").wait_for()
    phone.wait_for_function("() => document.querySelector('[data-testid=stMain]').scrollTop < 120")
    phone.wait_for_timeout(300)
    view = phone.locator(".marker .view").bounding_box()
    assert view["y"] >= 0
    assert view["y"] + view["height"] <= 844
    below = [phone.get_by_role("button", name=name, exact=True).bounding_box()["y"] for name in BELOW]
    assert below == [below[0]] * len(BELOW)
    assert_fits_in_width(phone)
    shoot(phone, "check-390")
    line = phone.locator(".sm-strip")
    assert line.inner_text().startswith("Blend · ")
    box = line.bounding_box()
    assert box["y"] + box["height"] <= 844 + 1
    line.tap()  # shows the answer in full, below the app's header
    phone.wait_for_function("() => document.querySelector('.sm-verdict').getBoundingClientRect().top < 120")
    assert phone.locator(".sm-verdict").bounding_box()["y"] > 50
