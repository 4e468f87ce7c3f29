"""On a phone the menu covers the page, so it must close once a page was chosen."""

import pytest
from conftest import assert_fits_in_width, shoot
from playwright.sync_api import Page, expect


@pytest.mark.browser
def test_on_a_phone_the_menu_closes_once_a_page_was_chosen(phone: Page, app_url: str):
    phone.goto(app_url)
    phone.get_by_test_id("stExpandSidebarButton").tap()
    phone.get_by_role("link", name="Capture sheet").first.tap()
    expect(phone).to_have_url(f"{app_url}/sheet")
    expect(phone.get_by_test_id("stSidebarCollapseButton")).not_to_be_in_viewport()
    phone.get_by_role("button", name="Download the sheet (A4, PDF)").wait_for()
    assert_fits_in_width(phone)
    shoot(phone, "sheet-390")
    phone.get_by_test_id("stExpandSidebarButton").tap()
    expect(phone.get_by_test_id("stSidebarCollapseButton")).to_be_in_viewport()
    phone.reload()  # as a label's code opens its record where the menu was left open
    phone.get_by_text("Print and cut it").wait_for()
    expect(phone.get_by_test_id("stSidebarCollapseButton")).not_to_be_in_viewport()
