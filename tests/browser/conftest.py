"""A headless Chromium and the app as a process of its own, for tests that need real pointers, keys and layout."""

import os
import shutil
import socket
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page, Request, ViewportSize, expect, sync_playwright

from tests.support.serving import ROOT, served
from tests.support.watching import environment

HERE = Path(__file__).parent
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    # Each page lives for seconds, too short for what compiling it a second and a third time would save.
    "--js-flags=--no-opt --no-maglev --always-sparkplug",
]
CHROMIUMS = ("chromium-headless-shell", "chromium", "chromium-browser")
"""The first that is there: Chromium's own small headless browser draws the same pages for less than the whole one."""
DESKTOP = {"viewport": {"width": 1280, "height": 900}}
expect.set_options(timeout=120_000)  # a bound, not a measure, as for the pages below
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}


def _chromium() -> str | None:
    names = (os.environ["CHROMIUM"],) if "CHROMIUM" in os.environ else CHROMIUMS
    return next((path for name in names if (path := shutil.which(name))), None)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = _chromium()
    if path is None:
        reason = "there is no Chromium on this computer: install the package chromium"
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield launched
        launched.close()


@pytest.fixture(scope="session")
def app_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the app below keeps its data; ``attempts.log`` has a line for each attempt to reach another machine."""
    return tmp_path_factory.mktemp("app")


@pytest.fixture(scope="session")
def app_url(browser: Browser, app_folder: Path) -> Iterator[str]:
    """The whole app, with a history, camera records and calibration of its own: nobody's are read or written."""
    own = {
        "SPRAYOUT_DATA": str(app_folder / "data"),
        "SPRAYOUT_CALIBRATION": str(app_folder / "calibration"),
        "STREAMLIT_SERVER_ADDRESS": "0.0.0.0",  # more than the README ever says
    }
    watched = environment(app_folder / "attempts.log", **own)
    with served(ROOT / "app.py", app_folder / "log.txt", watched) as (address, port):
        yield f"http://{address}:{port}"


@pytest.fixture(scope="session")
def port_besides() -> Iterator[int]:
    """The port of all servers besides the app's own, one after another: what a browser compiled it knows by address.

    A socket that does not listen keeps the port from whoever looks for a free one between them.
    """
    with socket.socket() as kept:
        kept.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        kept.bind(("127.0.0.1", 0))
        port = kept.getsockname()[1]
        if sys.platform != "linux":  # elsewhere it would keep the servers from it too
            kept.close()
        yield port


@pytest.fixture(scope="module")
def marker_url(browser: Browser, port_besides: int, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A page that holds the region marker alone and prints what Python received."""
    log = tmp_path_factory.mktemp("marker") / "log.txt"
    with served(HERE / "marker_app.py", log, port=port_besides, fresh=False) as (address, port):
        yield f"http://{address}:{port}"


@pytest.fixture(scope="session")
def desktop_page(browser: Browser) -> Iterator[Page]:
    yield from _opened(browser, DESKTOP)


@pytest.fixture(scope="session")
def phone_page(browser: Browser) -> Iterator[Page]:
    yield from _opened(browser, PHONE)


@pytest.fixture
def desktop(desktop_page: Page) -> Iterator[Page]:
    yield from _lent(desktop_page, DESKTOP["viewport"])


@pytest.fixture
def phone(phone_page: Page) -> Iterator[Page]:
    yield from _lent(phone_page, PHONE["viewport"])


@pytest.fixture(scope="module")
def marker_desktop(desktop_page: Page, marker_url: str) -> Iterator[Page]:
    """One page for a whole module: opening it costs more than any test of it."""
    yield from _beside(desktop_page, marker_url)


@pytest.fixture(scope="module")
def marker_phone(phone_page: Page, marker_url: str) -> Iterator[Page]:
    yield from _beside(phone_page, marker_url)


def _beside(page: Page, url: str) -> Iterator[Page]:
    """Open one more page in the same browser, and show the address there."""
    more = page.context.new_page()
    for lent in _lent(more, more.viewport_size):
        lent.goto(url)
        yield lent
    more.close()


def _opened(browser: Browser, options: dict) -> Iterator[Page]:
    """Open a browser of its own with one page; in a new one, Streamlit's scripts take two seconds to compile."""
    context = browser.new_context(**options)
    page = context.new_page()
    page.set_default_timeout(120_000)  # a bound, not a measure: the first page of all waits for every library to load
    yield page
    context.close()


def _lent(page: Page, size: ViewportSize) -> Iterator[Page]:
    """Lend the page, remembering nothing; script errors and requests to other hosts fail the test that held it."""
    faults: list[str] = []

    def failed(error: object) -> None:
        faults.append(str(error))

    def requested(request: Request) -> None:
        if _is_foreign(request.url):
            faults.append(request.url)

    page.set_viewport_size(size)
    page.on("pageerror", failed)
    page.on("request", requested)
    yield page
    page.remove_listener("pageerror", failed)
    page.remove_listener("request", requested)
    page.unroute_all()
    if page.url.startswith("http"):
        page.evaluate("localStorage.clear(); sessionStorage.clear()")
    page.goto("about:blank")
    page.context.clear_cookies()
    assert faults == []


def _is_foreign(url: str) -> bool:
    return not url.startswith(("http://127.0.0.1", "ws://127.0.0.1", "data:", "blob:"))


def shoot(page: Page, name: str) -> None:
    """Save a picture of every screenful where SCREENSHOTS names a folder for them: they cost more than the test."""
    if "SCREENSHOTS" not in os.environ:
        return
    folder = Path(os.environ["SCREENSHOTS"])
    folder.mkdir(parents=True, exist_ok=True)
    main = page.locator("[data-testid=stMain]")
    if not main.count():  # no page of the app's own
        page.screenshot(path=folder / f"{name}.png")
        return
    tall = main.evaluate("main => main.scrollHeight")
    for index, top in enumerate(range(0, tall, page.viewport_size["height"] - 100)):
        main.evaluate("(main, top) => main.scrollTo(0, top)", top)
        page.wait_for_timeout(150)
        page.screenshot(path=folder / f"{name}-{index}.png")
    main.evaluate("main => main.scrollTo(0, 0)")


def assert_fits_in_width(page: Page) -> None:
    wide = page.locator("[data-testid=stMain]").evaluate("main => [main.scrollWidth, main.clientWidth]")
    assert wide[0] <= wide[1]


def assert_fits_at(page: Page, size: ViewportSize) -> None:
    """Show the page at another size of window, wait until it fits there, and go back."""
    before = page.viewport_size
    page.set_viewport_size(size)
    page.wait_for_function(
        "() => { const main = document.querySelector('[data-testid=stMain]');"
        " return main.scrollWidth <= main.clientWidth }"
    )
    settled(page)
    assert_fits_in_width(page)
    page.set_viewport_size(before)


def settled(page: Page) -> None:
    """Wait until the page is drawn whole: an expander opened while it is still being drawn closes again."""
    page.locator('[data-testid=stApp][data-test-script-state="notRunning"]').wait_for()


def _once_drawn(press: Callable[..., None]) -> Callable[..., None]:
    """Return a press that waits for the page: one while it is still being drawn may meet what is just being replaced.

    A finger sees that nothing came of it and presses again; a test waits two minutes for what never comes.
    """

    def pressed(self: Locator, *arguments: Any, **options: Any) -> None:
        if self.page.locator("[data-testid=stApp]").count():
            settled(self.page)
        press(self, *arguments, **options)

    return pressed


click_at_once = Locator.click
"""For tests of what becomes of a press that comes before the page is drawn."""

Locator.click, Locator.tap = _once_drawn(Locator.click), _once_drawn(Locator.tap)  # type: ignore[method-assign]
