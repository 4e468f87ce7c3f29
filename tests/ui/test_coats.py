"""The coats page and the camera page, run without a browser on flat pictures of known reflectances."""

from html import unescape

import pytest
from coloraide import Color
from streamlit.testing.v1 import AppTest

from match.camera.records_file import read_cameras, records_file
from match.coats.rules import load_coats_rules
from match.demo import card_photos
from match.ui import session
from match.ui.marker import page_photo
from match.ui.marker.page_photo import marks_key
from match.ui.marker.tapped import Tap
from match.ui.session import marker_key
from tests.support.flat_pictures import FIRST, SECOND, SIZE, fraction, grey_fractions, picture
from tests.ui.test_check import APP

RED = (0.30, 0.08, 0.06)
CAMERA = "Invented 3"
FIELDS = [*grey_fractions(), fraction("over-black", FIRST), fraction("over-white", SECOND)]
PAIR = [*grey_fractions(), fraction("card", FIRST), fraction("vehicle", SECOND)]
SPOTS = [*grey_fractions(), fraction("first-spot", FIRST), fraction("second-spot", SECOND)]


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("SPRAYOUT_DATA", str(tmp_path / "shop"))


def coats_page():
    from match.ui.coats import page

    page.page()


def camera_page():
    from match.ui.camera import page

    page.page()


def opened(function, key, page, content, marks):
    """Return a page after a photo was uploaded with these marks on it."""
    app = AppTest.from_function(function, default_timeout=300)
    return uploaded(app.run(), key, page, content, marks)


def uploaded(app, key, page, content, marks, name="shop.png"):
    app.session_state[marks_key(session.chosen(name, content), page)] = {"regions": marks}
    app.file_uploader(key=key).upload(name, content, "image/png")
    app.run()
    assert not app.exception
    return app


def html(app):
    return unescape("\n".join(element.value for element in app.get("html")))


def test_a_card_that_hides_may_be_compared_with_the_car():
    app = opened(coats_page, "hiding_file", "hiding", picture(RED, RED), FIELDS)
    assert 'data-answer="no trace seen"' in html(app)
    assert "may be compared with the car" in html(app)
    assert "no valid match" not in html(app)


def test_a_card_that_does_not_hide_is_refused_and_its_coats_go_to_the_blend_page():
    app = opened(coats_page, "hiding_file", "hiding", picture((0.26, 0.08, 0.06), (0.34, 0.11, 0.08)), FIELDS)
    assert 'data-answer="shows"' in html(app)
    assert "it gives no valid match" in html(app)
    # 0.8 is the coats' own sureness (calibration/coats.toml); the 95 % are those of the interval alone.
    assert f"Spray in all, {100 * load_coats_rules().card.hiding.coats_sureness:.0f}\u00a0% sure to hide" in html(app)
    assert "to be sure" not in html(app)
    app.button(key="hiding_carry").click().run()
    assert not app.exception
    assert app.session_state["blend_coats"] > 2.0
    assert f"plans with {app.session_state['blend_coats']:g} coats" in html(app)


def test_no_answer_before_both_fields_are_marked():
    app = opened(coats_page, "hiding_file", "hiding", picture(RED, RED), FIELDS[:-1])
    assert "data-answer" not in html(app)
    assert "Over black ✓ marked" in html(app)
    assert "Over white</li>" in html(app)


def test_the_demo_card_says_that_it_is_invented():
    app = AppTest.from_function(coats_page, default_timeout=300).run()
    app.button(key="hiding_demo").click().run()
    assert not app.exception
    assert "invented card" in html(app)
    assert 'data-answer="shows"' in html(app)


def let_down(app=None):
    app = app or AppTest.from_function(coats_page, default_timeout=300)
    app.session_state["coats_question"] = "How many mid-coats?"
    return app.run()


def test_the_demo_steps_find_the_coats_the_invented_car_was_given():
    app = let_down()
    app.button(key="let_down_demo").click().run()
    assert not app.exception
    assert 'data-verdict="go"' in html(app)
    assert f"{card_photos.CAR_MID_COATS:.1f} mid-coats" in html(app)
    assert "a last coat of" in html(app)
    assert "go up to 1.2, blend up to 3.0. The true difference that is left calls for: go " in html(app)
    assert 'class="sure">over 99 % likely right' in html(app)
    assert "(95 % sure between 0.0 and " in html(app)


def test_steps_that_are_all_far_from_the_car_will_not_do():
    car = (0.10, 0.20, 0.30)
    app = uploaded(let_down(), "let_down_file-0", "let-down", picture((0.16, 0.22, 0.26), car, ground=car), PAIR)
    assert "Two steps are needed" in html(app)
    second = picture((0.15, 0.20, 0.24), car, ground=car, grain=9)
    app = uploaded(app, "let_down_file-1", "let-down", second, PAIR, name="second.png")
    assert "These boxes come from the step before" in html(app)
    assert "Two steps are needed" in html(app)  # not looked at, it does not count
    app.button(key="let_down_accept").click().run()
    assert not app.exception
    assert Color("srgb-linear", (0.15, 0.20, 0.24)).delta_e(Color("srgb-linear", car), method="2000") > 5
    assert 'data-verdict="retint"' in html(app)
    assert "No step will do." in html(app)


def test_two_photos_of_one_step_alone_are_no_let_down_card():
    app = uploaded(let_down(), "let_down_file-0", "let-down", picture(RED, RED), PAIR)
    app = uploaded(app, "let_down_file-1", "let-down", picture(RED, RED, grain=9), PAIR, name="second.png")
    app.button(key="let_down_accept").click().run()
    second = session.chosen("second.png", picture(RED, RED, grain=9)).digest[:12]
    app.number_input(key=f"let_down_coats-{second}").set_value(1.0).run()
    assert not app.exception
    assert "Two steps are needed" in html(app)


def test_a_null_test_is_kept_shown_used_and_taken_out(tmp_path):
    off = picture(RED, tuple(1.08 * value for value in RED), camera=CAMERA)
    app = opened(camera_page, "camera_file-0", "camera-null", off, SPOTS)
    assert f"Taken by: <b>{CAMERA}</b>" in html(app)
    app.button(key="camera_keep").click().run()
    assert not app.exception
    assert read_cameras(records_file()).by_name[CAMERA].nulls
    assert "Kept: shop.png" in html(app)
    assert 'data-answer="poor"' in html(app)
    assert "Switch off HDR" in html(app)

    check = AppTest.from_file(str(APP), default_timeout=300)
    content = picture(RED, RED, camera=CAMERA)
    check.session_state[marker_key(session.chosen("shop.png", content).digest)] = {"regions": PAIR}
    check.run()
    check.file_uploader(key="photo_file").upload("shop.png", content, "image/png")
    check.run()
    assert not check.exception
    assert any(CAMERA in note for note in check.session_state["session_check"].result.notes)

    next(button for button in app.button if button.label == "Take out").click().run()
    assert not app.exception
    assert read_cameras(records_file()).by_name == {}


def test_a_tap_marks_a_spot_on_pages_with_a_photo_of_their_own(monkeypatch):
    given = {}
    monkeypatch.setattr(page_photo, "region_marker", lambda *_, **options: given.update(options) or [])
    page_photo.mark(session.chosen("shop.png", picture(RED, RED)), "camera-null", ())
    x, y, wide, high = FIRST
    box = given["grow"](Tap(1, "first-spot", (x + wide / 2) / SIZE[0], (y + high / 2) / SIZE[1]), [])
    assert x - 20 < box.x * SIZE[0] < x + wide / 4
    assert y - 20 < box.y * SIZE[1] < y + high / 4
    assert wide / 2 < box.width * SIZE[0] < wide + 40
    assert high / 2 < box.height * SIZE[1] < high + 40


def test_a_photo_that_names_no_camera_is_no_camera_s():
    app = opened(camera_page, "camera_file-0", "camera-null", picture(RED, RED), SPOTS)
    assert "does not say which camera took it" in html(app)
    assert "camera_keep" not in [button.key for button in app.button]
    assert not records_file().exists()


def test_two_greys_are_too_few_and_damaged_records_are_said():
    app = AppTest.from_function(camera_page, default_timeout=300)
    app.session_state["camera_trial"] = "Grey steps"
    app = uploaded(app.run(), "camera_file-0", "camera-greys", picture(RED, RED), SPOTS[:2])
    assert "mark at least 3" in html(app)
    records_file().parent.mkdir(exist_ok=True)
    records_file().write_text("{")
    app.run()
    assert not app.exception
    assert "The camera records cannot be used" in html(app)
