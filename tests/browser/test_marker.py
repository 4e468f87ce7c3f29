"""The region marker by mouse, finger and keyboard; every fact is read back from Python, not from the page."""

import pytest
from playwright.sync_api import Page
from pointing import afresh, choose, drag, on_screen, received, swipe, tap, wait_for

from match.photo.cut_outs import box_names
from match.ui.marker.marks import CHECK_KINDS, read_marks, to_regions

pytestmark = pytest.mark.browser
PIXEL = 0.004  # of the picture's width on the desktop: some three pixels of the screen


@pytest.fixture
def mouse(marker_desktop: Page) -> Page:
    return afresh(marker_desktop)


@pytest.fixture
def finger(marker_phone: Page) -> Page:
    return afresh(marker_phone)


def box(mark: dict) -> list[float]:
    return [mark["x"], mark["y"], mark["width"], mark["height"]]


def test_the_mouse_draws_the_three_kinds_in_turn_where_it_was_dragged_told_apart_by_label_and_line(mouse: Page):
    page = mouse
    drag(page, (0.1, 0.2), (0.2, 0.4))
    drag(page, (0.3, 0.2), (0.5, 0.6))
    drag(page, (0.9, 0.8), (0.6, 0.3))
    marks = wait_for(page, lambda marks: len(marks) == 3)
    assert [mark["kind"] for mark in marks] == ["grey", "card", "vehicle"]
    assert box(marks[0]) == pytest.approx([0.1, 0.2, 0.1, 0.2], abs=PIXEL)
    assert box(marks[1]) == pytest.approx([0.3, 0.2, 0.2, 0.4], abs=PIXEL)
    assert box(marks[2]) == pytest.approx([0.6, 0.3, 0.3, 0.5], abs=PIXEL)
    assert [mark["reflectance"] for mark in marks] == [0.18, None, None]
    assert [text.text_content() for text in page.locator(".region .text").all()] == ["Grey 18 %", "Card", "Car"]
    patterns = {line.get_attribute("stroke-dasharray") for line in page.locator(".region .line").all()}
    assert len(patterns) == 3


def test_the_mouse_moves_resizes_and_deletes(mouse: Page):
    page = mouse
    choose(page, "card")
    drag(page, (0.2, 0.2), (0.4, 0.4))
    wait_for(page, lambda marks: len(marks) == 1)
    choose(page, "")
    drag(page, (0.3, 0.3), (0.5, 0.35))
    (moved,) = wait_for(page, lambda marks: marks[0]["x"] > 0.35)
    assert box(moved) == pytest.approx([0.4, 0.25, 0.2, 0.2], abs=PIXEL)
    drag(page, (0.6, 0.45), (0.7, 0.65))
    (larger,) = wait_for(page, lambda marks: marks[0]["width"] > 0.25)
    assert box(larger) == pytest.approx([0.4, 0.25, 0.3, 0.4], abs=PIXEL)
    drag(page, (0.4, 0.25), (0.95, 0.95))
    (least,) = wait_for(page, lambda marks: marks[0]["width"] < 0.25)
    assert least["width"] * 4000 == pytest.approx(12, abs=0.5)  # never smaller than can be measured
    page.get_by_role("button", name="Delete the selected box").click()
    wait_for(page, lambda marks: marks == [])


def test_a_card_drawn_over_another_is_the_same_card_and_elsewhere_it_is_one_more(mouse: Page):
    page = mouse
    for kind, left in (("card", 0.1), ("grey", 0.7), ("card", 0.15), ("card", 0.4)):
        choose(page, kind)
        drag(page, (left + 0.1, 0.5), (left, 0.2))
    marks = wait_for(page, lambda marks: len(marks) == 3)
    cards = [(round(mark["x"], 2), mark["name"]) for mark in marks if mark["kind"] == "card"]
    assert cards == [(0.15, "Card 1"), (0.4, "Card 2")]


def test_a_car_box_may_be_called_after_a_part_and_needs_no_name(mouse: Page):
    page = mouse
    for left in (0.1, 0.5):
        choose(page, "vehicle")
        drag(page, (left + 0.1, 0.5), (left, 0.2))
    asked = page.get_by_role("textbox", name="Another part? Its name")
    assert asked.input_value() == ""
    asked.fill("bumper")
    asked.press("Enter")
    marks = wait_for(page, lambda marks: any(mark.get("name") for mark in marks))
    assert [mark.get("name", "") for mark in marks] == ["", "bumper"]
    page.get_by_text("bumper", exact=True).wait_for()
    asked.fill("")
    asked.press("Enter")
    wait_for(page, lambda marks: not any(mark.get("name") for mark in marks))


def test_a_click_where_nothing_grows_draws_nothing_and_a_box_stays_inside_the_picture(mouse: Page):
    page = mouse
    choose(page, "card")
    page.mouse.click(*on_screen(page, (0.5, 0.95)))  # marker_app.py grows nothing down there
    page.get_by_text("No clean, even surface lies there").wait_for()
    drag(page, (0.8, 0.8), (0.95, 0.95))
    (drawn,) = wait_for(page, lambda marks: len(marks) == 1)
    choose(page, "")
    drag(page, (0.87, 0.87), (1.2, 1.02))
    (moved,) = wait_for(page, lambda marks: marks != [drawn])
    assert moved["x"] + moved["width"] == pytest.approx(1.0, abs=1e-4)
    assert moved["y"] + moved["height"] == pytest.approx(1.0, abs=1e-4)


def test_a_finger_draws_moves_resizes_and_deletes_by_corners_and_buttons_large_enough_for_it(finger: Page):
    page = finger
    choose(page, "vehicle")
    swipe(page, (0.3, 0.3), (0.6, 0.6))
    (drawn,) = wait_for(page, lambda marks: len(marks) == 1)
    assert drawn["kind"] == "vehicle"
    assert box(drawn) == pytest.approx([0.3, 0.3, 0.3, 0.3], abs=0.01)
    choose(page, "")
    assert page.locator(".marker .grip:visible").count() == 4
    for target in [*page.locator(".marker button:visible").all(), *page.locator(".marker .grip").all()]:
        size = target.bounding_box()
        assert round(min(size["width"], size["height"]), 3) >= 44  # WCAG 2.2, success criterion 2.5.5 (AAA)
    tap(page, (0.45, 0.45))
    swipe(page, (0.45, 0.45), (0.55, 0.35))
    (moved,) = wait_for(page, lambda marks: marks[0]["x"] > 0.35)
    assert box(moved) == pytest.approx([0.4, 0.2, 0.3, 0.3], abs=0.01)
    swipe(page, (0.71, 0.51), (0.81, 0.71))
    (larger,) = wait_for(page, lambda marks: marks[0]["width"] > 0.35)
    assert box(larger) == pytest.approx([0.4, 0.2, 0.4, 0.5], abs=0.01)
    page.get_by_role("button", name="Delete the selected box").tap()
    wait_for(page, lambda marks: marks == [])


def test_a_finger_that_scrolls_past_neither_draws_nor_moves(finger: Page):
    page = finger
    choose(page, "card")
    swipe(page, (0.3, 0.3), (0.6, 0.6))
    (drawn,) = wait_for(page, lambda marks: len(marks) == 1)
    choose(page, "")
    tap(page, (0.9, 0.9))
    page.evaluate("document.querySelector('[data-testid=stMain]').style.height = '420px'")
    swipe(page, (0.45, 0.5), (0.45, 0.1))
    swipe(page, (0.9, 0.5), (0.9, 0.1))
    page.wait_for_timeout(400)
    assert received(page) == [drawn]
    assert page.evaluate("document.querySelector('[data-testid=stMain]').scrollTop") > 20


def test_taps_mark_grey_card_and_both_sides_of_the_car_in_turn(finger: Page):
    page = finger
    choose(page, "grey")
    for count, left in enumerate((0.2, 0.4, 0.6, 0.8), start=1):
        tap(page, (left, 0.3))
        marks = wait_for(page, lambda marks, count=count: len(marks) == count)
        if count == 1:
            assert page.get_by_label("Which grey is this?").is_visible()
        if count == 3:
            assert "other side" in page.locator(".hint").inner_text()
    assert [mark["kind"] for mark in marks] == ["grey", "card", "vehicle", "vehicle"]
    assert box(marks[1]) == pytest.approx([0.37, 0.27, 0.06, 0.06], abs=0.01)
    assert "A reflection is near" in page.locator(".hint").inner_text()
    tap(page, (0.4, 0.3))
    assert page.locator('.kind[data-kind=""]').get_attribute("aria-pressed") == "true"
    assert len(received(page)) == 4


def test_a_stroke_over_another_box_or_its_label_draws_and_moves_nothing(finger: Page):
    page = finger
    choose(page, "card")
    swipe(page, (0.3, 0.3), (0.5, 0.5))
    (card,) = wait_for(page, lambda marks: len(marks) == 1)
    choose(page, "vehicle")
    label = page.locator(".region .plate").bounding_box()
    sheet = page.locator(".marker .sheet").bounding_box()
    start = (
        (label["x"] + label["width"] / 2 - sheet["x"]) / sheet["width"],
        (label["y"] + label["height"] / 2 - sheet["y"]) / sheet["height"],
    )
    swipe(page, start, (start[0] + 0.3, 0.05))
    marks = wait_for(page, lambda marks: len(marks) == 2)
    assert marks[0] == card
    swipe(page, (0.4, 0.4), (0.9, 0.9))
    marks = wait_for(page, lambda marks: len(marks) == 3)
    assert marks[0] == card
    assert box(marks[2]) == pytest.approx([0.4, 0.4, 0.5, 0.5], abs=0.01)


def test_every_step_is_undone_and_done_again(mouse: Page):
    page = mouse
    choose(page, "grey")
    drag(page, (0.1, 0.2), (0.2, 0.4))
    (grey,) = wait_for(page, lambda marks: len(marks) == 1)
    page.get_by_label("Which grey is this?").select_option("0.9")
    wait_for(page, lambda marks: marks[0]["reflectance"] == 0.9)
    choose(page, "")
    drag(page, (0.15, 0.3), (0.35, 0.3))
    (moved,) = wait_for(page, lambda marks: marks[0]["x"] > 0.25)
    page.locator(".marker .view").focus()
    page.keyboard.press("Control+z")
    wait_for(page, lambda marks: box(marks[0]) == box(grey) and marks[0]["reflectance"] == 0.9)
    page.keyboard.press("Control+z")
    wait_for(page, lambda marks: marks == [grey])
    page.get_by_role("button", name="Undo the last step").click()
    wait_for(page, lambda marks: marks == [])
    assert page.get_by_role("button", name="Undo the last step").is_disabled()
    for _ in range(3):
        page.locator(".marker .view").focus()
        page.keyboard.press("Control+Shift+z")
    wait_for(page, lambda marks: marks == [moved])


def test_a_grey_box_is_placed_by_a_dozen_keys(mouse: Page):
    page = mouse
    wide = page.locator(".marker .sheet").bounding_box()["width"]
    page.locator(".marker .view").focus()
    page.keyboard.press("Enter")
    wait_for(page, lambda marks: len(marks) == 1)
    for key in ("Home", "Shift+ArrowRight", "Shift+ArrowRight", "c", "c", "c", "Shift+ArrowRight", "ArrowDown"):
        page.keyboard.press(key)
    (placed,) = wait_for(page, lambda marks: marks[0]["x"] < 0.1 and marks[0]["width"] > 0.161)
    assert (placed["x"] * wide, placed["y"]) == (pytest.approx(20, abs=0.1), 0)
    assert (placed["width"] - 0.16) * wide == pytest.approx(10, abs=0.1)
    assert (placed["height"] - 0.16) * wide * 0.75 == pytest.approx(1, abs=0.1)


def test_a_box_is_placed_by_typing_its_figures_and_stops_at_the_photo_s_edge(mouse: Page):
    page = mouse
    page.locator(".marker .view").focus()
    page.keyboard.press("Enter")
    wait_for(page, lambda marks: len(marks) == 1)
    page.locator(".marker .figures summary").focus()
    page.keyboard.press("Enter")
    for name, typed in (("Width", 400), ("Height", 300), ("From the left", 1000), ("From the top", 600)):
        field = page.get_by_role("spinbutton", name=name)
        field.fill(str(typed))
        field.press("Tab")
    (placed,) = wait_for(page, lambda marks: marks[0]["y"] == pytest.approx(600 / 3000, abs=1e-4))
    assert box(placed) == pytest.approx([1000 / 4000, 600 / 3000, 400 / 4000, 300 / 3000], abs=1e-4)
    page.get_by_role("spinbutton", name="From the left").fill("9000")
    page.keyboard.press("Enter")
    wait_for(page, lambda marks: marks[0]["x"] == pytest.approx(0.9, abs=1e-4))
    assert page.get_by_role("spinbutton", name="From the left").input_value() == "3600"
    page.keyboard.press("Tab")
    page.locator(".marker .view").focus()
    page.keyboard.press("Control+z")
    wait_for(page, lambda marks: box(marks[0]) == box(placed))


def test_the_keyboard_draws_selects_moves_resizes_and_deletes(mouse: Page):
    page = mouse
    wide = page.locator(".marker .sheet").bounding_box()["width"]
    page.locator(".marker .view").focus()
    page.keyboard.press("Enter")
    (grey,) = wait_for(page, lambda marks: len(marks) == 1)
    assert grey["kind"] == "grey"
    for key, repeats in (("ArrowLeft", 20), ("ArrowDown", 6), ("Control+ArrowRight", 9), ("Control+ArrowUp", 4)):
        for _ in range(repeats):
            page.keyboard.press(key)
    (nudged,) = wait_for(page, lambda marks: marks[0]["x"] != grey["x"])
    assert (nudged["x"] - grey["x"]) * wide == pytest.approx(-20, abs=0.1)
    assert (nudged["y"] - grey["y"]) * wide * 0.75 == pytest.approx(6, abs=0.1)
    assert (nudged["width"] - grey["width"]) * wide == pytest.approx(9, abs=0.1)
    assert (nudged["height"] - grey["height"]) * wide * 0.75 == pytest.approx(-4, abs=0.1)
    choose(page, "card")
    drag(page, (0.7, 0.2), (0.8, 0.4))
    wait_for(page, lambda marks: len(marks) == 2)
    page.locator(".marker .view").focus()
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Delete")
    (left,) = wait_for(page, lambda marks: len(marks) == 1)
    assert left["kind"] == "grey"


def test_zoom_makes_the_hand_finer(mouse: Page):
    page = mouse
    choose(page, "card")
    drag(page, (0.45, 0.45), (0.55, 0.55))
    (drawn,) = wait_for(page, lambda marks: len(marks) == 1)
    choose(page, "")
    at_one = page.locator(".marker .sheet").bounding_box()["width"]
    for _ in range(4):
        page.get_by_role("button", name="Zoom in").click()
    assert page.locator(".marker .sheet").bounding_box()["width"] == pytest.approx(4 * at_one, rel=0.01)
    x, y = on_screen(page, (0.5, 0.5))
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 40, y, steps=4)
    page.mouse.up()
    (moved,) = wait_for(page, lambda marks: marks != [drawn])
    assert (moved["x"] - drawn["x"]) * at_one == pytest.approx(10, abs=0.5)


def test_a_zoomed_picture_is_panned_by_the_mouse_without_drawing(mouse: Page):
    page = mouse
    choose(page, "")
    for _ in range(3):
        page.get_by_role("button", name="Zoom in").click()
    view = page.locator(".marker .view")
    before = view.evaluate("view => view.scrollLeft")
    middle = view.bounding_box()
    page.mouse.move(middle["x"] + 300, middle["y"] + 200)
    page.mouse.down()
    page.mouse.move(middle["x"] + 220, middle["y"] + 200, steps=4)
    page.mouse.up()
    assert view.evaluate("view => view.scrollLeft") == pytest.approx(before + 80, abs=2)
    assert received(page) == []


def test_the_grey_is_told_its_reflectance_below_the_picture_and_words_from_python_stay_words(mouse: Page):
    page = mouse
    drag(page, (0.1, 0.2), (0.2, 0.4))
    wait_for(page, lambda marks: len(marks) == 1)
    assert page.locator(".greys option").nth(1).inner_text().startswith("<img")
    assert page.locator(".greys img").count() == 0
    assert page.title() != "broken"
    page.get_by_label("Which grey is this?").select_option("0.9")
    wait_for(page, lambda marks: marks[0]["reflectance"] == 0.9)
    percent = page.get_by_label("Light the grey reflects, in percent")
    percent.fill("36.2")
    percent.press("Enter")
    wait_for(page, lambda marks: marks[0]["reflectance"] == 0.362)
    percent.fill("400")
    percent.press("Enter")
    assert percent.input_value() == "36.2"
    assert page.locator(".region .text").text_content() == "Grey 36.2 %"


def test_a_box_has_the_same_name_on_the_photo_and_in_the_sentences(mouse: Page):
    page = mouse
    for kind, left in (("grey", 0.1), ("grey", 0.25), ("card", 0.4), ("vehicle", 0.55), ("vehicle", 0.7)):
        choose(page, kind)
        drag(page, (left, 0.3), (left + 0.1, 0.5))
    marks = wait_for(page, lambda marks: len(marks) == 5)
    regions = to_regions(read_marks(marks, CHECK_KINDS, 0.18), 4000, 3000)
    labels = [text.text_content() for text in page.locator(".region .text").all()]
    assert labels == box_names(regions) == ["Grey 18 % (1)", "Grey 18 % (2)", "Card", "Car (1)", "Car (2)"]


def test_the_photo_comes_inside_the_message_where_its_address_does_not_work(desktop: Page, marker_url: str):
    desktop.route("**/media/**", lambda route: route.abort())
    page = desktop
    page.goto(marker_url)
    page.wait_for_function(
        "() => [...document.querySelectorAll('*')].some(e => e.shadowRoot?.querySelector('.sheet img')"
        "?.src.startsWith('data:image/jpeg'))"
    )
    drag(page, (0.1, 0.2), (0.2, 0.4))
    wait_for(page, lambda marks: len(marks) == 1)
