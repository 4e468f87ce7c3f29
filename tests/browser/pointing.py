"""Mouse and finger on the region marker, in fractions of the picture."""

import json
import re
import time
from collections.abc import Callable

from playwright.sync_api import Page

Point = tuple[float, float]


def afresh(page: Page) -> Page:
    """Return the page with a new marker that holds no marks."""
    before = page.locator("[class*=st-key-marker-]")
    before.wait_for()
    turn = int(re.search(r"st-key-marker-(\d+)", before.get_attribute("class"))[1])
    page.evaluate("localStorage.clear()")  # the marker remembers the last grey there
    page.get_by_role("button", name="Start again").click()
    page.locator(f".st-key-marker-{turn}").wait_for(state="detached")
    page.locator(f".st-key-marker-{turn + 1} .marker .kind").first.wait_for()
    wait_for(page, lambda marks: marks == [])
    return page


def received(page: Page) -> list[dict]:
    """Return the marks as Python has them."""
    return json.loads(page.locator("[data-testid=stText]").inner_text())


def wait_for(page: Page, condition: Callable[[list[dict]], bool]) -> list[dict]:
    """Return the marks as soon as they fulfil ``condition``."""
    end = time.monotonic() + 120
    while time.monotonic() < end:
        marks = received(page)
        if condition(marks):
            return marks
        page.wait_for_timeout(50)
    raise AssertionError(f"the marks never became as expected: {received(page)}")


def on_screen(page: Page, point: Point) -> Point:
    box = page.locator(".marker .sheet").bounding_box()
    return box["x"] + point[0] * box["width"], box["y"] + point[1] * box["height"]


def drag(page: Page, start: Point, end: Point) -> None:
    """Drag with the mouse."""
    (x1, y1), (x2, y2) = on_screen(page, start), on_screen(page, end)
    page.mouse.move(x1, y1)
    page.mouse.down()
    page.mouse.move((x1 + x2) / 2, (y1 + y2) / 2)
    page.mouse.move(x2, y2, steps=2)
    page.mouse.up()


def swipe(page: Page, start: Point, end: Point) -> None:
    """Drag with a finger over the picture."""
    swipe_over_screen(page, on_screen(page, start), on_screen(page, end))


def swipe_over_screen(page: Page, start: Point, end: Point) -> None:
    """Drag with a finger, as the browser's own touch input; places in px of the window."""
    (x1, y1), (x2, y2) = start, end
    session = page.context.new_cdp_session(page)
    send = lambda kind, points: session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})  # noqa: E731
    send("touchStart", [{"x": x1, "y": y1}])
    for step in range(1, 7):
        send("touchMove", [{"x": x1 + (x2 - x1) * step / 6, "y": y1 + (y2 - y1) * step / 6}])
        page.wait_for_timeout(20)
    send("touchEnd", [])


def tap(page: Page, point: Point) -> None:
    page.touchscreen.tap(*on_screen(page, point))


def choose(page: Page, kind: str) -> None:
    """Press the button of a kind; the empty name is for adjusting."""
    button = page.locator(f'.marker button.kind[data-kind="{kind}"]')
    if page.evaluate("matchMedia('(pointer: coarse)').matches"):
        button.tap()
    else:
        button.click()
