"""A phone comes in by the QR code, its photo stands on the desk looked at, and one press shuts it out."""

import io
import os
import socket
import sys
from collections.abc import Iterator

import cv2
import numpy as np
import pytest
from conftest import settled, shoot
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from tests.support.serving import ROOT, served

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(sys.platform != "linux", reason="only there is all of 127.0.0.0/8 this computer's own"),
]
NETWORK = "127.0.0.2"


@pytest.fixture(scope="module")
def desk_address(browser: Browser, port_besides: int, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("phone")
    with socket.socket() as probe:
        probe.bind((NETWORK, 0))
        port = probe.getsockname()[1]
    own = {
        "SPRAYOUT_DATA": str(folder / "data"),
        "SPRAYOUT_CALIBRATION": str(folder / "calibration"),
        "SPRAYOUT_PHONE": str(port),
        "SPRAYOUT_PHONE_ADDRESS": NETWORK,
    }
    environment = {**os.environ, **own}
    with served(ROOT / "app.py", folder / "log.txt", environment, port_besides, fresh=False) as (address, desk_port):
        yield f"http://{address}:{desk_port}"


def _is_narrow(page: Page) -> None:
    wide, screen = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert wide <= screen


def test_a_phone_comes_in_sends_a_photo_and_is_shut_out(desktop: Page, browser: Browser, desk_address: str) -> None:
    desktop.goto(f"{desk_address}/phone")
    code = desktop.get_by_alt_text("QR code of the phone's way in")
    expect(code).to_be_visible()
    settled(desktop)
    code.evaluate("image => image.decode()")  # its place stands on the page before it is loaded
    shown = cv2.imdecode(np.frombuffer(code.screenshot(animations="disabled"), np.uint8), cv2.IMREAD_COLOR)
    address = cv2.QRCodeDetectorAruco().detectAndDecode(shown)[0]
    place = address.partition("/enter#")[0]
    assert place.startswith(f"http://{NETWORK}:")

    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    phone = context.new_page()
    phone.set_default_timeout(120_000)
    phone.goto(f"{place}/phone")
    expect(phone.get_by_role("heading", name="Enter the access code")).to_be_visible()
    _is_narrow(phone)
    shoot(phone, "code-390")
    phone.goto(address)
    phone.wait_for_url(f"{place}/")
    phone.goto(f"{place}/phone")
    phone.get_by_text("Press Upload").wait_for()
    assert phone.get_by_alt_text("QR code of the phone's way in").count() == 0

    file = io.BytesIO()
    Image.fromarray(np.full((300, 400, 3), 255, np.uint8)).save(file, "JPEG")
    phone.locator("input[type=file]").set_input_files(
        {"name": "card.jpg", "mimeType": "image/jpeg", "buffer": file.getvalue()}
    )
    expect(desktop.get_by_text("Nothing was recognised.")).to_be_visible()
    expect(phone.get_by_text("Nothing was recognised.")).to_be_visible()
    _is_narrow(phone)
    shoot(phone, "phone-390")
    shoot(desktop, "phone-1280")

    expect(desktop.get_by_text("One phone is in.")).to_be_visible()
    desktop.get_by_role("button", name="Shut all phones out").click()
    expect(desktop.get_by_text("No phone is in.")).to_be_visible()
    expect(phone.get_by_role("heading", name="Enter the access code")).to_be_visible()
    phone.goto(address)  # the spent code of before
    expect(phone.get_by_role("alert")).to_contain_text("That code does not hold.")
    context.close()
