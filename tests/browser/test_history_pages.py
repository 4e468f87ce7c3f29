"""Saving and finding again in a real browser: a check outlives the app that saved it."""

import os
from pathlib import Path

import pytest
from conftest import ROOT, assert_fits_in_width, click_at_once, settled, shoot
from playwright.sync_api import Page

from tests.support.serving import started

pytestmark = pytest.mark.browser


def save_demo(page: Page, url: str) -> None:
    page.goto(url)
    page.get_by_role("button", name="Try the demo photo").click()
    page.locator(".sm-verdict").wait_for()
    page.get_by_role("button", name="Save this check").click()
    page.locator(".sm-saved").wait_for()
    settled(page)


def test_a_saved_check_and_the_work_on_the_bench_are_still_there_after_the_server_was_killed(
    desktop: Page, phone: Page, port_besides: int, tmp_path: Path
):
    own = {**os.environ, "SPRAYOUT_DATA": str(tmp_path / "data")}
    with started(ROOT / "app.py", tmp_path / "first.txt", own, port_besides, fresh=False) as (server, address):
        url = f"http://{address[0]}:{address[1]}"
        save_demo(desktop, url)
        difference = desktop.locator(".sm-figure .number").first.inner_text()
        desktop.get_by_text("Name its colour, car and card").click()
        desktop.get_by_label("Gun set-up").fill("1.3 mm, 2 bar")
        shoot(desktop, "save-1280")
        desktop.get_by_role("button", name="Keep these").click()  # and away at once: what was pressed is kept
        click_at_once(desktop.get_by_role("link", name="In the history"))
        desktop.get_by_role("heading", name="Check of").wait_for()
        shoot(desktop, "history-check-1280")
        server.kill()
    with started(ROOT / "app.py", tmp_path / "second.txt", own, port_besides, fresh=False):
        desktop.goto(url)
        desktop.get_by_role("button", name="Go on where you were").wait_for()
        shoot(desktop, "bench-offer-1280")
        desktop.get_by_role("button", name="Go on where you were").click()
        desktop.locator(".sm-saved").wait_for()
        assert desktop.locator(".sm-figure .number").first.inner_text() == difference
        phone.goto(url)
        phone.get_by_role("button", name="Try the demo photo").wait_for()
        settled(phone)
        assert phone.get_by_role("button", name="Go on where you were").count() == 0, "another browser, another bench"
        phone.goto(f"{url}/history")
        row = phone.locator(".sm-row")
        row.wait_for()
        assert row.count() == 1
        assert row.locator("b").inner_text().startswith(difference)
        assert "Harbour Slate" in row.inner_text()
        assert_fits_in_width(phone)
        shoot(phone, "history-390")
        phone.get_by_role("button", name="Open").tap()
        phone.get_by_role("heading", name="Check of").wait_for()
        assert "check=" in phone.url
        phone.reload()
        phone.get_by_role("heading", name="Check of").wait_for()
        phone.go_back()
        row.wait_for()
        phone.get_by_role("link", name="Colour", exact=True).tap()
        phone.get_by_role("heading", name="Best card so far").wait_for()
        assert "1.3 mm, 2 bar" in phone.locator(".sm-lines").first.inner_text()
        phone.locator("[data-testid=stImage] img").first.wait_for()
        assert_fits_in_width(phone)
        shoot(phone, "colour-390")
