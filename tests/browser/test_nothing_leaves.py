"""The app, opened to the network and full of hostile names, fetches nothing from elsewhere and asks nobody anything."""

import socket
import urllib.request
from pathlib import Path

import pytest
from conftest import settled
from playwright.sync_api import Page, expect

from match.history.records import NewCard, NewCheck, NewColour, NewJob
from match.history.store import Store
from tests.support.documents import document

pytestmark = pytest.mark.browser
NAME = "![a](http://name.invalid/x.png) **bold** $x^2$ :red[r]"
PAGES = {
    "Check": "",
    "Blend": "blend",
    "Tint": "tint",
    "Coats": "coats",
    "History": "history",
    "Colours": "colour",
    "Camera": "camera",
    "Capture sheet": "sheet",
    "Phone": "phone",
}


@pytest.fixture(scope="module")
def hostile(app_folder: Path, app_url: str) -> tuple[str, str, str, Path]:
    """The app, watched from its start; its address, a colour's and a check's id, and the log of attempts."""
    with Store.open(app_folder / "data") as store:
        colour = store.add_colour(NewColour(name=NAME, code=NAME[:60])).id
        job = store.add_job(NewJob(car=NAME)).id
        card = NewCard(colour=colour, job=job, mix=NAME)
        check = store.save_check(NewCheck(result=document(1.0, "go"), card=card, note=NAME)).id
    return app_url, colour, check, app_folder / "attempts.log"


def test_names_show_as_typed_and_no_page_fetches_or_looks_up_anything(desktop: Page, hostile) -> None:
    address, colour, check, log = hostile
    fetched: list[str] = []
    desktop.on("request", lambda request: fetched.append(request.url))
    for page in PAGES.values():
        with urllib.request.urlopen(f"{address}/{page}", timeout=60) as answer:
            assert answer.headers["content-security-policy"].startswith("default-src 'self';")
    desktop.goto(address)
    for title, page in reversed(PAGES.items()):  # the first is shown already
        desktop.get_by_role("link", name=title, exact=True).first.click()
        expect(desktop).to_have_url(f"{address}/{page}")
        settled(desktop)
        expect(desktop.locator("h1").first).to_be_visible()
    for page in (f"history?check={check}", f"colour?colour={colour}"):
        desktop.goto(f"{address}/{page}")
        expect(desktop.locator("h1").first).to_be_visible()
    expect(desktop.get_by_role("heading", level=1)).to_contain_text("**bold** $x^2$")
    assert desktop.locator("h1 img, h1 strong, h1 .katex").count() == 0
    assert fetched
    own = (address, address.replace("http", "ws"), "data:", "blob:")
    assert [url for url in fetched if not url.startswith(own)] == []
    assert log.read_text(encoding="utf-8") == ""


def test_the_policy_keeps_a_picture_from_elsewhere_out(desktop: Page, hostile) -> None:
    """Were a name to reach Markdown after all: the browser itself refuses."""
    page = desktop.context.new_page()  # whose requests to elsewhere are wanted here
    page.goto(hostile[0])
    blocked = page.evaluate(
        """() => new Promise(done => {
            document.addEventListener("securitypolicyviolation", event => done(event.blockedURI), {once: true});
            setTimeout(() => done("nothing was refused"), 60000);
            const picture = document.createElement("img");
            picture.src = "http://name.invalid/x.png";
            document.body.append(picture);
        })"""
    )
    page.close()
    assert blocked.startswith("http://name.invalid")


def test_a_foreign_websocket_is_refused_and_asks_nobody(hostile) -> None:
    address, _, _, log = hostile
    host, port = address.removeprefix("http://").split(":")
    for origin, code in (("http://name.invalid", b"403"), (address, b"101"), ("http://192.0.2.9:8501", b"403")):
        with socket.create_connection((host, int(port)), timeout=60) as plain:
            lines = (
                "GET /_stcore/stream HTTP/1.1",
                f"Host: {host}:{port}",
                f"Origin: {origin}",
                "Connection: Upgrade",
                "Upgrade: websocket",
                "Sec-WebSocket-Version: 13",
                "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==",  # the example of RFC 6455, section 1.3
            )
            plain.sendall("\r\n".join((*lines, "", "")).encode())
            assert plain.recv(100).split()[1] == code, origin
    assert log.read_text(encoding="utf-8") == ""
