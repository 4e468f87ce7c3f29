"""Saving and finding again in a real browser: a check outlives the app that saved it."""

import os
from pathlib import Path

import pytest
from conftest import ROOT, _serve, settled
from playwright.sync_api import Page

from tests.support.serving import started

pytestmark = pytest.mark.browser


def shoot(page: Page, path: Path) -> None:
    """Save a screenshot of every screenful where SCREENSHOTS names a folder for them: they cost more than the test."""
    if "SCREENSHOTS" not in os.environ:
        return
    main = page.locator("[data-testid=stMain]")
    tall = main.evaluate("main => main.scrollHeight")
    for index, top in enumerate(range(0, tall, page.viewport_size["height"] - 100)):
        main.evaluate("(main, top) => main.scrollTo(0, top)", top)
        page.wait_for_timeout(150)
        page.screenshot(path=path.with_name(f"{path.name}-{index}.png"))


def assert_fits_in_width(page: Page) -> None:
    wide = page.locator("[data-testid=stMain]").evaluate("main => [main.scrollWidth, main.clientWidth]")
    assert wide[0] <= wide[1]


def save_demo(page: Page, url: str) -> None:
    page.goto(url)
    page.get_by_role("button", name="Try the demo photo").click()
    page.locator(".sm-verdict").wait_for()
    page.get_by_role("button", name="Save this check").click()
    page.locator(".sm-saved").wait_for()
    settled(page)


def log_an_addition(page: Page) -> None:
    page.get_by_role("link", name="Tint").first.click()
    page.get_by_role("heading", name="Which toner, and how much?").wait_for()
    settled(page)
    page.get_by_text("Save, open or try").click()
    page.get_by_role("button", name="Try an invented pot").click()
    page.locator(".tint-advice[data-action=tint]").wait_for()
    settled(page)
    page.get_by_role("button", name="Log it, then spray a card").click()
    page.locator(".tint-advice[data-action=spray]").wait_for()
    settled(page)


def test_a_saved_check_and_the_work_on_the_bench_are_still_there_after_the_server_was_killed(
    desktop: Page, phone: Page, browser, tmp_path: Path, pictures: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("SPRAYOUT_DATA", str(tmp_path / "data"))
    with started(ROOT / "app.py", tmp_path / "first.txt") as (server, (host, port)):
        save_demo(desktop, f"http://{host}:{port}")
        difference = desktop.locator(".sm-figure .number").first.inner_text()
        desktop.get_by_text("Name its colour, car and card").click()
        desktop.get_by_label("Gun set-up").fill("1.3 mm, 2 bar")
        desktop.locator(".st-key-save_panel").screenshot(path=pictures / "save-1280.png")
        desktop.get_by_role("button", name="Keep these").click()  # and away at once: what was pressed is kept
        desktop.get_by_role("link", name="In the history").click()
        desktop.get_by_role("heading", name="Check of").wait_for()
        shoot(desktop, pictures / "history-check-1280")
        log_an_addition(desktop)
        server.kill()
    for url in _serve(ROOT / "app.py", tmp_path / "second.txt"):
        desktop.goto(f"{url}/tint")
        desktop.get_by_role("button", name="Go on where you were").wait_for()
        desktop.screenshot(path=pictures / "bench-offer-1280.png")
        desktop.get_by_role("button", name="Go on where you were").click()
        desktop.locator(".tint-advice[data-action=spray]").wait_for()
        settled(desktop)
        desktop.get_by_role("link", name="Check").first.click()
        desktop.locator(".sm-saved").wait_for()
        assert desktop.locator(".sm-figure .number").first.inner_text() == difference
        phone.goto(f"{url}/tint")
        phone.get_by_role("button", name="Try an invented pot").wait_for()
        settled(phone)
        assert phone.get_by_role("button", name="Go on where you were").count() == 0, "another browser, another bench"
        phone.goto(f"{url}/history")
        row = phone.locator(".sm-row")
        row.wait_for()
        assert row.count() == 1
        assert row.locator("b").inner_text().startswith(difference)
        assert "Harbour Slate" in row.inner_text()
        assert_fits_in_width(phone)
        shoot(phone, pictures / "history-390")
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
        shoot(phone, pictures / "colour-390")
