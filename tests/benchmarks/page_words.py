"""How many words a page shows at a phone's width before anything is unfolded, the demo photo or pot on it.

``python -m tests.benchmarks.page_words`` prints them; a folder as argument takes a picture of each page besides, at a
phone's and a desktop's width.
"""

import os
import re
import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from tests.support.serving import ROOT, served

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
DESKTOP = {"viewport": {"width": 1280, "height": 900}}
_WORD = re.compile(r"\w[\w'.,%*-]*")


def words(page: Page) -> int:
    """Return the words that the page shows: what is folded, and the menu, do not count."""
    page.locator('[data-testid=stApp][data-test-script-state="notRunning"]').wait_for()
    page.wait_for_timeout(1500)
    page.add_style_tag(content="[data-testid=stIconMaterial] { display: none !important; }")  # its text is its name
    return len(_WORD.findall(page.locator("[data-testid=stMain]").inner_text()))


def _start(page: Page, url: str) -> None:
    page.goto(url)
    page.get_by_role("button", name="Try the demo photo").wait_for()


def _check(page: Page, url: str) -> None:
    _start(page, url)
    page.get_by_role("button", name="Try the demo photo").click()
    page.locator(".sm-verdict").wait_for()


def _blend(page: Page, url: str) -> None:
    _check(page, url)
    page.get_by_role("link", name="Plan the blend for your room").click()
    page.get_by_text("What the eye asks for").wait_for()


def _tint(page: Page, url: str) -> None:
    page.goto(f"{url}/tint")
    page.get_by_role("button", name="Try an invented pot").click()
    page.locator(".tint-advice").wait_for()


PAGES = {"start": _start, "check": _check, "blend": _blend, "tint": _tint}


def main(folder: Path | None) -> None:
    """Print the words of every page."""
    with tempfile.TemporaryDirectory() as home, sync_playwright() as playwright:
        own = {**os.environ, "SPRAYOUT_DATA": f"{home}/data", "SPRAYOUT_CALIBRATION": f"{home}/calibration"}
        chromium = shutil.which("chromium") or shutil.which("chromium-browser")
        browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        with served(ROOT / "app.py", Path(home) / "log.txt", own) as (address, port):
            for name, opened in PAGES.items():
                for width, options in ((390, PHONE), (1280, DESKTOP)):
                    page = browser.new_context(**options).new_page()
                    page.set_default_timeout(120_000)
                    opened(page, f"http://{address}:{port}")
                    if width == PHONE["viewport"]["width"]:
                        print(f"{name:6} {words(page):5d} words")
                    if folder is not None:
                        _pictures(page, folder, f"{name}-{width}")
                    page.context.close()
        browser.close()


def _pictures(page: Page, folder: Path, name: str) -> None:
    """Take the page whole."""
    page.wait_for_timeout(500)
    page.locator('[data-testid=stApp][data-test-script-state="notRunning"]').wait_for()
    size = page.viewport_size
    tall = page.locator("[data-testid=stMain]").evaluate("main => main.scrollHeight")
    page.set_viewport_size({"width": size["width"], "height": min(tall + 20, 12_000)})
    page.wait_for_timeout(400)
    page.screenshot(path=folder / f"{name}.png")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if sys.argv[1:] else None)
