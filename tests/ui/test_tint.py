"""The tint page, run without a browser: a checked card in, the advice out, the next card and its verdict."""

import json
import re
from html import unescape

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from match.calibration import OVERRIDE_VARIABLE
from match.check.verdict import Finish
from match.demo.pot import FORMULA, first_card, next_card
from match.history.from_pot import kept_pot
from match.history.place import DATA_VARIABLE
from match.history.records import NewCheck, NewColour
from match.history.store import Store
from match.tint.card_from_check import read_check
from match.tint.path_picture import Place, path_picture, path_words
from match.tint.shelf_file import load_shelf
from match.tint.story import Mix, begin
from match.tint.story_words import cards_of
from match.tint.what_next import load_tint_calibration
from match.ui.session import LatestCheck
from tests.tint.checks import MIX, TOTAL, after, check


class Measured:
    """A stand-in for a measurement: its card and the draws of it."""

    def __init__(self, lab):
        self.card_lab = np.array(lab)
        self.draws = type("Draws", (), {"card_lab": self.card_lab + np.random.default_rng(5).normal(0, 0.3, (500, 3))})


class Result:
    """A stand-in for a check's result, with a known colour instead of a photo."""

    def __init__(self, saved):
        self.saved, self.warnings, self.measurement = saved, (), Measured(saved["card_lab"])

    def as_dict(self):
        return self.saved


def _page() -> None:
    from match.ui.tint import page

    page.page()


def _colour_page() -> None:
    from match.ui.history import colour_page

    colour_page.page()


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv(OVERRIDE_VARIABLE, str(tmp_path))
    return tmp_path


@pytest.fixture
def app() -> AppTest:
    return AppTest.from_function(_page, default_timeout=300)


def checked(app: AppTest, name: str, saved: dict) -> AppTest:
    """Return the page as it is after the check page measured a photo."""
    app.session_state["session_check"] = LatestCheck(name, name, (), Result(saved))
    return ran(app)


def ran(app: AppTest) -> AppTest:
    app.run()
    assert not app.exception
    return app


def press(app: AppTest, label: str) -> AppTest:
    (found,) = [button for button in app.button if label in button.label]
    found.click()
    return ran(app)


def html(app: AppTest) -> str:
    return unescape("\n".join(element.value for element in app.get("html") if not element.value.startswith("<style")))


def told(app: AppTest, what: str) -> str:
    found = re.search(rf'<div class="tint-{what}[^"]*"[^>]*><p class="word">(.*?)</p>', html(app))
    assert found
    return found[1]


def know_formula(app: AppTest) -> AppTest:
    """Type the mix in."""
    app.toggle(key="tint_formula_on").set_value(True)
    ran(app)
    for _ in range(len(MIX) - len(app.session_state["tint_rows"])):
        press(app, "Add a toner")
    for row, (name, parts) in zip(app.session_state["tint_rows"], MIX.items(), strict=True):
        app.selectbox(key=f"tint_toner_{row}").set_value(name)
        app.number_input(key=f"tint_parts_{row}").set_value(parts)
    return ran(app)


def test_without_a_check_the_page_says_what_to_do_and_offers_an_invented_pot(app: AppTest):
    ran(app)
    assert "Check a card" in html(app)
    press(app, "Try an invented pot")
    assert "Invented demonstration" in html(app)
    assert told(app, "advice").startswith("Add ")


@pytest.mark.parametrize("finish", ["metallic", "pearl"])
def test_effect_paint_is_refused_in_a_sentence(app: AppTest, finish: str):
    checked(app, "card.jpg", check(MIX, finish=finish))
    assert "tint advice is for solid colours only" in html(app).lower()
    assert "tint-advice" not in html(app)


def test_choosing_an_effect_finish_on_the_page_refuses_too(app: AppTest):
    checked(app, "card.jpg", check(MIX))
    app.button_group(key="tint_finish").set_value(Finish.PEARL)
    ran(app)
    assert "tint advice is for solid colours only" in html(app).lower()
    assert "tint-advice" not in html(app)


def test_the_loop_from_card_to_card_with_a_photo_of_each(app: AppTest):
    # Source: the recipe itself: 1 part of black was left out; each card is the model's own mixture.
    checked(app, "first.jpg", check(MIX))
    know_formula(app)
    said = re.fullmatch(r"Add (\d\.\d\d) g black to the 100 g pot\.", told(app, "advice"))
    grams = float(said[1])
    assert 0.5 * 100 / TOTAL < grams < 100 / TOTAL
    assert "stops short" in html(app)
    assert "The formula once this is added" in html(app)  # its parts count the advice, which nobody poured yet
    assert "mostly from the pigment model" in html(app)
    press(app, "Log it")
    assert told(app, "advice") == "Now spray a card from the pot."
    assert "Check the next card" in [link.proto.label for link in app.get("page_link")]
    checked(app, "second.jpg", check(after(grams)))
    press(app, "use the check of second.jpg")
    assert told(app, "attempt") == "It moved as predicted"
    assert "learned from your cards" in html(app)
    assert f"<td>{grams:.2f} g</td>" in html(app)  # in the pot
    story = app.session_state["tint_story"]
    assert [step.additions_g for step in story.steps] == [{"black": grams}]


def test_the_last_card_ends_tinting_and_gives_the_batch_what_the_pot_got(app: AppTest):
    # Source: proportion: what went into 100 g goes six times into 600 g.
    checked(app, "first.jpg", check(MIX))
    know_formula(app)
    app.number_input(key="tint_batch").set_value(600.0)
    ran(app)
    app.number_input(key=next(w.key for w in app.number_input if w.key.startswith("tint_add_0_black"))).set_value(1.15)
    press(app, "Log it")
    checked(app, "second.jpg", check(after(1.15)))
    press(app, "use the check of second.jpg")
    assert told(app, "advice") == "Stop here: it is close enough."
    assert "Stop adding." in html(app)
    assert '<th scope="row">black</th><td>6.90 g</td>' in html(app)
    assert "Calculated in full" not in html(app)
    assert "The formula with all that was added" in html(app)


def test_a_card_left_out_takes_its_verdict_with_it_and_comes_back(app: AppTest):
    checked(app, "first.jpg", check(MIX))
    press(app, "Log it")
    checked(app, "second.jpg", check(after(0.5)))
    press(app, "use the check of second.jpg")
    assert "tint-attempt" in html(app)
    (box,) = app.checkbox
    box.uncheck()
    ran(app)
    assert "tint-attempt" not in html(app)
    (box,) = app.checkbox
    box.check()
    assert "tint-attempt" in html(ran(app))
    press(app, "Undo the last step")
    assert app.session_state["tint_story"].steps == ()


def test_a_card_that_did_not_move_gets_no_next_amount(app: AppTest):
    checked(app, "first.jpg", check(MIX))
    know_formula(app)
    app.number_input(key=next(w.key for w in app.number_input if w.key.startswith("tint_add_0_black"))).set_value(1.5)
    press(app, "Log it")
    checked(app, "second.jpg", check({**MIX, "black": 2.0001}))
    press(app, "use the check of second.jpg")
    assert told(app, "attempt") == "No move seen"
    assert told(app, "advice") == "Add nothing yet: find out why the card did not move."
    assert "tint-faint" in html(app)


def test_an_amount_can_be_changed_and_the_pot_weighed_again_before_it_is_logged(app: AppTest):
    checked(app, "first.jpg", check(MIX))
    (before,) = [w for w in app.number_input if w.label.startswith("Paint in the pot")]
    before.set_value(80.0)
    app.selectbox(key="tint_other_0").set_value("violet")
    app.number_input(key="tint_other_g_0").set_value(0.2)
    press(app, "Log it")
    (step,) = app.session_state["tint_story"].steps
    assert step.paint_g == 80.0
    assert step.additions_g["violet"] == 0.2
    assert "Added:" in html(app)


def test_adding_nothing_is_refused(app: AppTest):
    checked(app, "first.jpg", check(MIX))
    for field in [w for w in app.number_input if w.key.startswith("tint_add_")]:
        field.set_value(0.0)
    press(app, "Log it")
    assert "Nothing was added" in html(app)


def test_a_new_check_may_begin_a_new_pot_or_repeat_this_one(app: AppTest):
    press(ran(app), "Try an invented pot")
    checked(app, "other.jpg", check(MIX))
    assert "not in this pot's log" in html(app)
    press(app, "Begin a new pot with it")
    assert app.session_state["tint_story"] is None
    assert "other.jpg" in html(app)


def test_the_invented_pot_is_tinted_until_the_page_says_stop(app: AppTest):
    press(ran(app), "Try an invented pot")
    for _ in range(4):
        mixed = 'data-action="next-mix"' in html(app)
        press(app, "I weighed the next mix" if mixed else "Log it, then spray a card")
        press(app, "Spray the invented next card")
        if told(app, "advice").startswith("Stop"):
            break
    assert 'class="tint-attempt" data-recommendation="stop"' in html(app)
    assert 'class="tint-advice" data-action="stop"' in html(app)


def test_a_saved_pot_opens_as_it_was(app: AppTest):
    press(ran(app), "Try an invented pot")
    press(app, "Log it")
    press(app, "Spray the invented next card")
    before, saved = told(app, "attempt"), json.dumps(app.session_state["tint_story"].as_dict())
    fresh = ran(AppTest.from_function(_page, default_timeout=300))
    fresh.file_uploader(key="tint_upload").upload("pot.json", saved.encode(), "application/json")
    ran(fresh)
    assert told(fresh, "attempt") == before
    assert json.dumps(fresh.session_state["tint_story"].as_dict()) == saved


@pytest.mark.parametrize("content", [b"", b"{}", b'{"format": "tint-log 1"}', b"\xff\x00"])
def test_a_file_that_is_neither_pot_nor_check_is_refused(app: AppTest, content: bytes):
    ran(app)
    app.file_uploader(key="tint_upload").upload("pot.json", content, "application/json")
    ran(app)
    assert "This file cannot be used." in html(app)


def test_an_own_toner_is_added_by_name_and_can_be_chosen(app: AppTest, own_folder):
    press(ran(app), "Try an invented pot")
    app.text_input(key="tint_own_name").set_value("my <b>black</b>")
    app.selectbox(key="tint_own_like").set_value("black")
    press(app, "Put it on the shelf")
    assert "my <b>black</b>" in app.session_state["tint_allowed"]
    assert (own_folder / "own_toners.toml").is_file()
    press(app, "Take it off the shelf")
    assert "my <b>black</b>" not in app.session_state["tint_allowed"]


def test_a_pasted_list_names_its_bad_rows_and_fills_a_new_shelf_with_the_good_ones(app: AppTest):
    press(ran(app), "Try an invented pot")
    app.text_area(key="tint_list_pasted").set_value("name;like;strength\ndeep;violet;0,8\nodd;mau<b>ve;1")
    app.text_input(key="tint_list_new_shelf").set_value("line two")
    ran(app)
    assert "Line 3, odd" in html(app)
    assert "o pigment class is called 'mau<b>ve'" in html(app)  # as text, not as a tag
    press(app, "Put the 1 good rows")
    assert "1 toners are on the shelf." in html(app)
    assert app.session_state["tint_allowed"] == ["deep"]
    app.selectbox(key="tint_list_shelf").set_value("")
    ran(app)
    assert "deep" not in app.session_state["tint_allowed"]
    assert "white" in app.session_state["tint_allowed"]


def test_a_toner_is_measured_from_a_checked_let_down_which_is_then_no_card_of_the_pot(app: AppTest):
    checked(app, "letdown.jpg", check({"white": 95.0, "violet": 5.0}))
    press(app, "Take the card of letdown.jpg")
    assert "tint-advice" not in html(app)
    app.text_input(key="tint_measured_name").set_value("my violet")
    press(app, "Measure it")
    assert "Its strength is known to about" in html(app)
    assert "my violet" in app.session_state["tint_allowed"]


def test_the_path_runs_from_the_card_towards_the_car_and_is_told_in_words():
    card = Place("card 1", np.array([4.0, -2.0, 1.0]), 0.1 * np.eye(3))
    landing = Place("next card", np.array([1.0, -0.5, 0.2]), 0.4 * np.eye(3))
    picture = path_picture([card], landing)
    assert picture.count("<ellipse") == 2
    assert ">1</text>" in picture
    words = path_words([card], landing)
    assert "card 1: 4.0 lighter, 2.0 greener, 1.0 yellower; next card: 1.0 lighter" in words


def test_a_covariance_is_drawn_turned_as_it_lies():
    # Source: a covariance with equal variances and full correlation lies along the diagonal: 45 degrees upwards.
    turned = Place("card", np.array([0.0, 0.0, 0.0]), np.array([[1.0, 0, 0], [0, 1.0, 0.9], [0, 0.9, 1.0]]))
    assert "rotate(-45.0 " in path_picture([turned], None) or "rotate(135.0 " in path_picture([turned], None)


def test_a_check_keeps_its_difference_to_the_printed_digit():
    saved = check(MIX)
    assert read_check(saved, "card.json").delta_lab == pytest.approx(saved["delta_lab"])


def test_where_an_addition_is_advised_the_next_mix_is_logged_where_it_stands(app: AppTest):
    press(ran(app), "Try an invented pot")
    assert not told(app, "advice").startswith("Weigh the next mix")
    (instead,) = [fold for fold in app.expander if fold.label == "The next mix instead"]
    logging = [button.label for button in app.button if button.label.startswith("I weighed the next mix")]
    assert [button.label for button in instead.button] == logging
    assert len(logging) == 1


def test_a_pot_is_kept_in_the_history_step_by_step(app: AppTest, tmp_path, monkeypatch):
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path / "history"))
    press(ran(app), "Try an invented pot")
    press(app, "Log it")
    press(app, "Spray the invented next card")
    app.toggle(key="tint_history_on").set_value(True)
    ran(app)
    press(app, "Keep this pot")
    assert "The colour has no name" in html(app)
    app.text_input(key="tint_keep_name").set_value("Invented blue")
    press(app, "Keep this pot")
    assert "2 cards and 1 steps are kept under" in html(app)
    assert told(app, "advice") == "Weigh the next mix: 100 g, fresh can."
    assert "Scale shows" in html(app)
    press(app, "I weighed the next mix")
    press(app, "Spray the invented next card")
    press(app, "Keep this pot")
    assert "Keep this pot" not in [button.label for button in app.button]
    with Store.open(tmp_path / "history") as store:
        (colour,) = store.find_colours().items
        kept = store.timeline(colour.id).tint_steps
    steps = app.session_state["tint_story"].steps
    added = [{addition.toner: addition.mass_g for addition in step.additions} for step in kept]
    assert added == [dict(step.mix_g or step.additions_g) for step in steps]
    assert steps[1].mix_g is not None
    assert kept[0].card_after == kept[1].card_before
    assert kept[0].pot_size_g == 100.0
    assert kept[1].pot_size_g is None  # a fresh can


def test_a_kept_pot_is_gone_on_with_from_its_address_and_shown_with_its_colour(app, tmp_path, monkeypatch):
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path / "history"))
    shelf = load_shelf()
    story = begin(first_card(shelf), 100.0, Mix(FORMULA)).added({"black": 0.2})
    story = story.sprayed(next_card(story, shelf))
    with Store.open(tmp_path / "history") as store:
        limits = load_tint_calibration().limits
        pot = store.keep_pot(kept_pot(story, NewColour(name="Invented blue"), shelf, limits))
    app.query_params["pot"] = pot.id
    ran(app)
    opened = app.session_state["tint_story"]
    assert [card.name for card in cards_of(opened)] == [card.name for card in cards_of(story)]
    assert opened.mix.formula == FORMULA
    app.toggle(key="tint_history_on").set_value(True)
    ran(app)
    assert "2 cards and 1 steps are kept under Invented blue" in html(app)
    assert "Keep this pot" not in [button.label for button in app.button]  # nothing came since
    other = begin(read_check(check(MIX), "another"), 100.0, Mix(MIX))
    with Store.open(tmp_path / "history") as store:
        store.keep_pot(kept_pot(other, pot.colour, shelf, limits))
    app.toggle(key="tint_earlier_on").set_value(True)
    ran(app)
    assert "what one earlier pot of this shop taught" in html(app)  # not from itself
    colours = AppTest.from_function(_colour_page, default_timeout=300)
    colours.query_params["colour"] = pot.colour
    ran(colours)
    shown = html(colours)
    assert "Then 0.20 g black. Card 2" in shown
    assert "(predicted " in shown
    colours.selectbox(key=f"ended_{pot.id}").set_value("held")
    next(button for button in colours.button if button.form_id == f"pot_end_{pot.id}").click()
    ran(colours)
    with Store.open(tmp_path / "history") as store:
        assert store.get_pot(pot.id).ended == "held"


def test_a_pot_begins_with_a_check_kept_earlier(app: AppTest, tmp_path, monkeypatch):
    monkeypatch.setenv(DATA_VARIABLE, str(tmp_path / "history"))
    with Store.open(tmp_path / "history") as store:
        store.save_check(NewCheck(result={**check(MIX), "verdict": "retint"}, colour=NewColour(name="Kept blue")))
        store.save_check(NewCheck(result={**check(MIX, finish="pearl"), "verdict": "retint"}))
    ran(app)
    app.toggle(key="tint_history_on").set_value(True)
    ran(app)
    rows = app.selectbox(key="tint_begin_check").options
    app.selectbox(key="tint_begin_check").select_index(next(i for i, row in enumerate(rows) if "no colour" in row))
    ran(app)
    press(app, "Begin a new pot with it")
    assert "solid colours only" in html(app)
    app.selectbox(key="tint_begin_check").select_index(next(i for i, row in enumerate(rows) if "Kept blue" in row))
    ran(app)
    press(app, "Begin a new pot with it")
    assert told(app, "advice").startswith("Add ")
    assert "Kept blue" in html(app)
