"""Several cards in one photo, marked and named in a real browser."""

import numpy as np
import pytest
from conftest import PHONE, assert_fits_at, settled, shoot
from playwright.sync_api import Page, expect
from pointing import choose, drag

from match.photo.regions import Kind
from tests.support.png import png
from tests.support.synthetic import CardsScene

pytestmark = pytest.mark.browser
SCENE = CardsScene(((0.24, 0.1, 0.1), (0.205, 0.1, 0.1), (0.17, 0.11, 0.1)))


def photo() -> bytes:
    return png(np.rint(SCENE.photo().image * 255))


def mark_everything(page: Page) -> None:
    """Draw every mark with the mouse, cards first, from left to right: without a car nothing is measured yet."""
    height, width = SCENE.photo().image.shape[:2]
    for region in sorted(SCENE.marks(), key=lambda region: region.kind is not Kind.CARD):
        choose(page, region.kind.value)
        start = (region.x / width, region.y / height)
        drag(page, start, (start[0] + region.width / width, start[1] + region.height / height))


def test_three_cards_are_marked_named_and_compared_and_fit_on_a_phone(desktop: Page, app_url: str):
    page = desktop
    page.goto(app_url)
    page.get_by_role("button", name="Try the demo photo").wait_for()
    file = {"name": "three.png", "mimeType": "image/png", "buffer": photo()}
    page.locator("input[type=file]").set_input_files(file)
    page.locator(".marker .kind").first.wait_for()
    clear = page.get_by_role("button", name="Clear them and mark by hand")
    page.locator(".sm-found, .sm-waiting").first.wait_for()
    if clear.count():
        clear.click()
    page.locator(".sm-waiting").wait_for()
    settled(page)
    mark_everything(page)
    page.locator(".sm-verdict").wait_for()
    page.get_by_role("heading", name="The cards").wait_for()
    settled(page)
    assert page.locator(".marker .region[data-kind=card]").count() == sum(r.kind is Kind.CARD for r in SCENE.marks())
    expect(page.get_by_text("Card 2 is the nearest to the car")).to_be_visible()
    page.locator(".marker .region[data-kind=card]").nth(1).click(position={"x": 20, "y": 20})
    name = page.get_by_role("textbox", name="What this card is called")
    name.fill("less white")
    name.press("Enter")
    expect(page.get_by_text("Less white is the nearest to the car")).to_be_visible()
    page.get_by_role("radio", name="Card 1").click()
    expect(page.get_by_text("The verdict is that of Card 1, which you chose; less white reads nearer.")).to_be_visible()
    shoot(page, "cards-1280")
    assert_fits_at(page, PHONE["viewport"])
    page.set_viewport_size(PHONE["viewport"])
    shoot(page, "cards-390")
