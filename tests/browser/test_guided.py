"""The guided check by finger at a phone's width: tapped, refused, put right, reloaded, left."""

import pytest
from conftest import settled
from playwright.sync_api import Page, expect
from pointing import choose, swipe, tap

from match.ui.guided.steps import Ask
from match.ui.guided.words import SAID

pytestmark = pytest.mark.browser
GREY, CARD, LEFT, RIGHT = (0.235, 0.547), (0.55, 0.6), (0.36, 0.6), (0.75, 0.6)
"""The demo photo's middle grey patch, its card, and the car on both sides, as a person sees them."""

STRIP_ABOVE_KINDS = """([strip, kinds]) => {
    const [above, below] = [strip, kinds].map(each => each.getBoundingClientRect());
    return kinds.isConnected && 0 <= above.top && above.height > 0 && above.bottom <= below.top;
}"""


def test_a_first_check_is_practised_by_finger_and_left_without_a_trace(phone: Page, app_url: str):
    phone.goto(app_url)
    begin = phone.get_by_role("button", name="Practise on the demo photo")
    begin.wait_for()
    settled(phone)  # what was left here may be looked for first, above the button
    begin.tap()
    say = phone.locator(".st-key-guided_strip .say")

    def asks(ask: Ask) -> None:
        expect(say).to_contain_text(SAID[ask])

    asks(Ask.TAP_GREY)
    phone.evaluate("localStorage.setItem('sprayout-last-grey', '0.75')")  # of the person's own, no guide here
    phone.locator(".marker .kind").first.wait_for()
    settled(phone)
    seen = [phone.locator(each).element_handle() for each in (".st-key-guided_strip", ".marker .kinds")]
    phone.wait_for_function(STRIP_ABOVE_KINDS, arg=seen)  # the page may still be scrolling
    choose(phone, "grey")
    for point, then in ((GREY, Ask.TAP_CARD), (CARD, Ask.TAP_CAR), (LEFT, Ask.TAP_OTHER_SIDE), (RIGHT, Ask.READ)):
        tap(phone, point)
        asks(then)
    verdict = phone.locator(".sm-verdict")
    expect(verdict).to_have_attribute("data-verdict", "blend")
    phone.reload()
    asks(Ask.READ)
    phone.get_by_role("link", name="Show the answer").tap()
    expect(verdict).to_be_in_viewport()
    expect(say).to_be_in_viewport()
    phone.get_by_role("button", name="Next", exact=True).tap()
    asks(Ask.SLIP)
    phone.get_by_role("link", name="Show the photo").tap()
    expect(phone.locator(".marker .view")).to_be_in_viewport()
    tap(phone, LEFT)  # a box that came back from Python, without a name
    phone.locator(".region.selected[data-kind=vehicle]").first.wait_for()
    expect(phone.get_by_role("textbox", name="Another part? Its name")).to_have_value("")
    tap(phone, CARD)
    phone.locator(".region.selected[data-kind=card]").wait_for()
    swipe(phone, CARD, (CARD[0], 0.88))
    asks(Ask.MEND)
    expect(verdict).to_have_attribute("data-verdict", "retake")
    phone.get_by_role("button", name="Undo the last step").tap()
    asks(Ask.TO_ROOM)
    wide = phone.locator("[data-testid=stMain]").evaluate("main => [main.scrollWidth, main.clientWidth]")
    assert wide[0] <= wide[1]
    phone.get_by_role("button", name="Leave").tap()
    begin.wait_for()
    expect(say).to_have_count(0)
    assert phone.evaluate("localStorage.getItem('sprayout-last-grey')") == "0.75"
