"""The camera page in a real browser: photos kept and taken out again, at the width of a desktop and of a phone."""

import re
from pathlib import Path

import pytest
from coloraide import Color
from conftest import PHONE, assert_fits_at, assert_fits_in_width, settled
from playwright.sync_api import Page, expect
from pointing import choose, drag, swipe

from tests.support.flat_pictures import FIRST, GREYS, SECOND, SIZE, picture

pytestmark = pytest.mark.browser
RED, LIGHTER_RED = (0.30, 0.08, 0.06), (0.324, 0.0864, 0.0648)


def draw(page: Page, kind: str, place: tuple[int, int, int, int], number: int = 0) -> None:
    """Draw a box of a kind by mouse or finger, whichever the page has; ``number`` boxes of it are there already."""
    x, y, width, height = place
    # From the lower right: the name of the box to the left may lie over the upper left corner on a narrow screen.
    corners = ((x + width) / SIZE[0], (y + height) / SIZE[1]), (x / SIZE[0], y / SIZE[1])
    choose(page, kind)
    view = page.locator(".marker .view")
    view.scroll_into_view_if_needed()
    before = None
    while before != (now := view.bounding_box()):  # until it no longer scrolls
        before = now
        page.wait_for_timeout(50)
    is_phone = page.evaluate("matchMedia('(pointer: coarse)').matches")
    (swipe if is_phone else drag)(page, *corners)
    expect(page.locator(f".marker .region[data-kind={kind}]")).to_have_count(number + 1)
    settled(page)


def upload(page: Page, file: Path) -> None:
    page.locator("input[type=file]").set_input_files(file)
    page.locator(".marker .kind").first.wait_for()
    settled(page)


def keep(page: Page, name: str) -> None:
    page.get_by_role("button", name="Keep in this camera's record").click()
    page.get_by_text(f"Kept: {name}").wait_for()
    settled(page)


def keep_null_test(page: Page, app_url: str, file: Path, camera: str) -> None:
    file.write_bytes(picture(RED, LIGHTER_RED, camera=camera))
    page.goto(f"{app_url}/camera")
    page.get_by_role("radio", name="Two spots of one panel").wait_for()
    upload(page, file)
    draw(page, "grey", (205, 475, 80, 80))
    draw(page, "first-spot", FIRST)
    draw(page, "second-spot", SECOND)
    page.get_by_text(f"Taken by: {camera}").wait_for()
    told = page.get_by_text("Between the two spots:").inner_text()
    dark, light = (Color("srgb-linear", each).convert("lab-d65")["l"] for each in (RED, LIGHTER_RED))  # by coloraide
    assert abs(float(re.search(r"([+-]\d+\.\d+) in lightness", told)[1])) == pytest.approx(light - dark, abs=0.4)
    keep(page, file.name)
    page.get_by_role("heading", name=camera).wait_for()
    assert page.locator(".sm-verdict").get_attribute("data-answer") == "poor"  # one paint, and it reads 8 % lighter
    floor = page.locator(".sm-table tr", has_text="Own error (CIELAB)").locator("td").first.inner_text()
    assert float(floor.split()[0]) > 0.5
    assert_fits_in_width(page)


def keep_grey_steps(page: Page, app_url: str, file: Path, camera: str) -> None:
    file.write_bytes(picture(RED, RED, camera=camera))
    page.goto(f"{app_url}/camera")
    page.get_by_role("radio", name="Grey steps").click()
    page.get_by_text("Photograph three or more grey steps").wait_for()
    settled(page)
    upload(page, file)
    for number, (reflectance, (x, y)) in enumerate(GREYS.items()):
        draw(page, "grey", (x + 15, y + 15, 80, 80), number)
        field = page.get_by_role("spinbutton", name="Light the grey reflects, in percent")
        field.fill(f"{100 * reflectance:g}")
        field.press("Enter")
    # The picture is written with the curve of IEC 61966-2-1, so what decodes it needs no other contrast.
    page.get_by_text("Its contrast has to be multiplied by 1.0").wait_for()
    assert_fits_in_width(page)
    keep(page, file.name)


def take_out(page: Page, *files: Path) -> None:
    page.get_by_text("Photos kept").click()
    for file in files:
        photo = page.get_by_text(re.compile(f"^{re.escape(file.name)}: "))
        photo.wait_for()
        assert_fits_in_width(page)
        page.get_by_role("button", name="Take out").first.click()
        photo.wait_for(state="detached")
        settled(page)


def test_on_a_desktop_a_null_test_is_kept_shown_and_taken_out(desktop: Page, app_url: str, tmp_path: Path):
    camera, null = "Invented on a desktop", tmp_path / "null.png"
    keep_null_test(desktop, app_url, null, camera)
    desktop.reload()
    record = desktop.get_by_role("heading", name=camera)
    record.wait_for()
    assert_fits_at(desktop, PHONE["viewport"])
    take_out(desktop, null)
    expect(record).to_have_count(0)
    assert_fits_in_width(desktop)


def test_on_a_phone_grey_steps_are_kept_shown_and_taken_out(phone: Page, app_url: str, tmp_path: Path):
    camera, greys = "Invented on a phone", tmp_path / "greys.png"
    keep_grey_steps(phone, app_url, greys, camera)
    phone.locator(".sm-table tr", has_text="Contrast is multiplied by").wait_for()
    take_out(phone, greys)
    expect(phone.get_by_role("heading", name=camera)).to_have_count(0)
