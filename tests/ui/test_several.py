"""Several photos on the check page: an effect finish is judged at every angle, and the worst one governs."""

import json

import pytest
from coloraide import Color

from match.check.check import judge
from match.check.settings import CheckSettings
from match.check.verdict import Finish, Verdict
from match.several.judge import SECOND_LIGHT, judge_set
from match.several.photo_set import Angle, MarkedPhoto, PhotoUse, Role, Tilt
from match.ui import measured, session
from match.ui.marker.marks import CHECK_KINDS, from_region, read_marks, to_regions
from tests.support.synthetic import FlatScene
from tests.ui.test_check import BLUE, MARKS, SIZE, html, opened, photo, verdict

FLOP_CAR, FLOP_CARD = (24.0, 1.0, -18.0), (31.0, 1.0, -18.0)
GLARE = (62.0, 0.0, -20.0)
FACE, NEAR_GLARE, FLOP = 0, 1, 2
"""Numbers of the answers to what a photo shows."""


def add(app, content: bytes, name: str, shows: int | None = None):
    """Add a photo, accept the marks it starts with, and say what it ``shows``: the number of the answer."""
    count = len(app.session_state["session_added"]) if "session_added" in app.session_state else 0
    app.file_uploader(key=f"add_photo-{count + 1}").upload(name, content, "image/png")
    app.run()
    assert not app.exception
    assert verdict(app) is None  # nothing is measured before its marks are accepted
    app.button(key="use_marks").click().run()
    assert not app.exception
    return app if shows is None else say(app, content, shows)


def say(app, content: bytes, shows: int):
    app.selectbox(key=f"use-{session.chosen('', content).digest[:12]}").select_index(shows).run()
    assert not app.exception
    return app


def metallic(content: bytes):
    app = opened(content, MARKS)
    app.button_group(key="check_finish").set_value(Finish.METALLIC).run()
    assert not app.exception
    return app


def measured_photo(name: str, use: PhotoUse, card, car, tilt: Tilt | None = None):
    chosen = session.chosen(f"{name}.png", photo(card, car))
    regions = to_regions(read_marks(MARKS, CHECK_KINDS, 0.18), *SIZE)
    return measured.photo_of_set(chosen, MarkedPhoto(name, use, regions, tilt=tilt))


def judged(*photos, finish=Finish.METALLIC):
    return judge_set(photos, CheckSettings(finish=finish), measured.several_rules(), lambda _: "not compared here")


def test_one_face_on_photo_of_a_metallic_is_never_go_and_the_missing_one_is_named():
    app = metallic(photo())
    assert verdict(app) == "retake"
    assert "There is no photo at the flop" in html(app)
    assert "Take one more photo." in html(app)
    assert "<b>Face</b> ✓ taken" in html(app)
    assert "<b>Flop</b> Stand on the lamp's own side" in html(app)


def test_a_metallic_that_matches_face_on_but_not_at_the_flop_is_refused_for_the_flop():
    app = metallic(photo())
    add(app, photo(FLOP_CARD, FLOP_CAR), "flop.png", FLOP)
    assert "Photo 1 does not count yet" in html(app)  # nobody was asked from where it was taken
    say(app, photo(), FACE)
    assert verdict(app) == "retint"
    add(app, photo(GLARE, GLARE), "glare.png", NEAR_GLARE)
    assert verdict(app) == "retint"
    check = app.session_state["session_check"]
    assert check.result.said().reason.startswith("The worst angle governs")
    assert "at the flop" in check.result.said().reason
    assert check.photo_name == "flop.png"
    assert {each.angle for each in check.together.effect.angles} == set(Angle)
    expected = Color("lab-d65", FLOP_CARD).delta_e(Color("lab-d65", FLOP_CAR), method="2000")
    low, high = check.result.measurement.interval
    assert low <= expected <= high
    assert "The card darkens" in html(app)  # the travel in words: less than the car, since the card's flop is lighter
    saved = json.loads(json.dumps(check.document()))
    assert [each["photo"] for each in saved["photos"]] == ["shop.png", "flop.png", "glare.png"]
    assert saved["together"]["effect"]["worst_angle"] == "flop"


def test_a_metallic_that_matches_at_face_and_flop_is_go_once_it_is_said_which_photo_shows_which():
    app = metallic(photo())
    add(app, photo(FLOP_CAR, FLOP_CAR), "flop.png")
    assert verdict(app) is None  # no photo is taken for the flop by its order
    assert "Say what photo 2 shows" in html(app)
    say(say(app, photo(FLOP_CAR, FLOP_CAR), FLOP), photo(), FACE)
    assert verdict(app) == "go"


def test_a_photo_added_while_the_finish_was_a_solid_is_asked_for_its_angle_once_it_is_a_metallic():
    app = opened(photo(), MARKS)
    app.toggle(key="more_photos").set_value(True).run()
    add(app, photo(edge=0.8), "again.png")
    assert verdict(app) == "go"
    app.button_group(key="check_finish").set_value(Finish.METALLIC).run()
    assert not app.exception
    assert verdict(app) is None
    assert "Say what photo 2 shows" in html(app)


def test_two_photos_called_by_each_others_angle_are_named_and_exchanged_by_one_press():
    app = metallic(photo())
    add(app, photo(FLOP_CAR, FLOP_CAR), "flop.png", FACE)
    say(app, photo(), FLOP)
    assert verdict(app) == "retake"
    assert "The car is lighter in Photo 1, called flop, than in Photo 2, called face-on" in html(app)
    app.button(key="exchange_angles").click().run()
    assert not app.exception
    assert verdict(app) == "go"
    assert "were exchanged. Look whether that is right." in html(app)
    assert session_use(app, photo()) == PhotoUse()
    assert session_use(app, photo(FLOP_CAR, FLOP_CAR)) == PhotoUse(Angle.FLOP)


def session_use(app, content: bytes) -> PhotoUse:
    return app.session_state["session_uses"][session.chosen("", content).digest]


@pytest.mark.parametrize(
    ("straight", "low", "code", "words"),
    [
        (70.0, 5.0, "angles-swapped", "Photo 1, called face-on, was taken 70° off straight on"),
        (5.0, 12.0, "angle-miscalled", "Photo 2 is called flop, but by the capture sheet it was taken 12° off"),
        (55.0, 65.0, "angle-miscalled", "Photo 1 is called face-on, but by the capture sheet it was taken 55° off"),
    ],
)
def test_a_photo_that_the_capture_sheet_shows_from_elsewhere_is_named(straight, low, code, words):
    first = measured_photo("Photo 1", PhotoUse(), BLUE, BLUE, Tilt(straight, 1.0))
    second = measured_photo("Photo 2", PhotoUse(Angle.FLOP), FLOP_CAR, FLOP_CAR, Tilt(low, 1.0))
    result, _ = judged(first, second)
    assert result.verdict is Verdict.RETAKE
    assert [found.code for found in result.warnings if found.spoils] == [code]
    assert words in result.said().reason


def test_photos_taken_from_where_they_are_called_are_believed():
    first = measured_photo("Photo 1", PhotoUse(), BLUE, BLUE, Tilt(12.0, 1.0))
    second = measured_photo("Photo 2", PhotoUse(Angle.FLOP), FLOP_CAR, FLOP_CAR, Tilt(57.0, 2.0))
    assert judged(first, second)[0].verdict is Verdict.GO


def test_an_added_photo_begins_with_the_boxes_of_the_first():
    app = metallic(photo())
    flop = photo(FLOP_CAR, FLOP_CAR)
    app.file_uploader(key="add_photo-1").upload("flop.png", flop, "image/png").run()
    assert "These boxes come from your first photo" in html(app)
    marks = app.session_state["session_marks"][session.chosen("flop.png", flop).digest]
    assert [mark.as_dict() for mark in marks] == [{"reflectance": None, **mark} for mark in MARKS]


def test_the_same_photo_twice_is_refused_and_a_photo_can_be_taken_out_again():
    app = metallic(photo())
    app.file_uploader(key="add_photo-1").upload("shop.png", photo(), "image/png").run()
    assert "A photo counts once" in html(app)
    add(app, photo(FLOP_CAR, FLOP_CAR), "flop.png", FLOP)
    say(app, photo(), FACE)
    assert verdict(app) == "go"
    app.button(key="remove_photo").click().run()
    assert verdict(app) == "retake"


def test_a_solid_asks_for_one_photo_and_offers_more_on_request():
    app = opened(photo(), MARKS)
    assert verdict(app) == "go"
    assert app.session_state["session_check"].together is None
    assert not [each for each in app.file_uploader if str(each.key).startswith("add_photo")]
    app.toggle(key="more_photos").set_value(True).run()
    add(app, photo((BLUE[0] + 0.1, *BLUE[1:]), BLUE), "again.png")
    assert verdict(app) == "go"
    together = app.session_state["session_check"].together
    assert [each.use.role for each in together.photos] == [Role.FIRST, Role.REPEAT]


def test_a_photo_that_disagrees_with_its_repeats_is_named():
    off = (BLUE[0] + 6.0, BLUE[1], BLUE[2])
    face, again = PhotoUse(), PhotoUse(role=Role.REPEAT)
    cards = (BLUE, BLUE, BLUE, off)
    photos = [
        measured_photo(f"Photo {n}", face if n == 1 else again, card, BLUE) for n, card in enumerate(cards, start=1)
    ]
    result, _ = judged(*photos, finish=Finish.SOLID)
    named = [found.text() for found in result.warnings if found.code == "photo-disagrees"]
    assert [text.split(" disagrees")[0] for text in named] == ["Photo 4"]


def test_a_match_that_breaks_under_the_second_lamp_is_not_go():
    first = measured_photo("Photo 1", PhotoUse(), BLUE, BLUE)
    second = measured_photo("Photo 2", PhotoUse(light=SECOND_LIGHT), (BLUE[0], BLUE[1] + 9.0, BLUE[2]), BLUE)
    result, answer = judged(first, second, finish=Finish.SOLID)
    assert answer.effect.verdict is Verdict.GO
    assert result.verdict in (Verdict.BLEND, Verdict.RETINT)
    assert "match under one of the first lamp and the second lamp only" in result.said().reason


def test_a_set_whose_photo_is_at_fault_gives_no_figures_as_a_single_photo_gives_none():
    result, _ = judged(measured_photo("Photo 1", PhotoUse(), (99.9, 0.0, 0.0), (99.9, 0.0, 0.0)), finish=Finish.SOLID)
    assert result.verdict is Verdict.RETAKE
    assert not result.figures_hold
    single = judge(result.measurement, CheckSettings(), measured.calibration())
    assert (result.reasons, result.direction, result.meaning) == (single.reasons, single.direction, single.meaning)
    assert len(result.reasons) == 1


def test_a_second_lamp_without_its_partner_is_said_not_to_count():
    first = measured_photo("Photo 1", PhotoUse(), BLUE, BLUE)
    second = measured_photo("Photo 2", PhotoUse(Angle.FLOP, light=SECOND_LIGHT), FLOP_CAR, FLOP_CAR)
    _, answer = judged(first, second, finish=Finish.SOLID)
    assert answer.unpaired == (
        "Photo 2 was taken at the flop under the second lamp, and none of the photos under the first lamp was: it does "
        "not count yet.",
    )


@pytest.mark.parametrize("finish", [Finish.METALLIC, Finish.PEARL])
def test_flake_is_compared_in_words_for_effect_finishes(finish):
    app = opened(photo(), MARKS)
    app.button_group(key="check_finish").set_value(finish).run()
    assert "Flake" in html(app)


def test_a_word_can_be_given_on_the_marks_of_every_photo_that_is_in_doubt():
    scenes = [FlatScene(card=card, greys=(0.09,)) for card in ((0.24, 0.11, 0.1), (0.241, 0.11, 0.1))]
    first, second = (scene.png() for scene in scenes)
    app = opened(first, [from_region(region, *scenes[0].size).as_dict() for region in scenes[0].marks()])
    app.toggle(key="more_photos").set_value(True).run()
    add(app, second, "again.png")
    assert verdict(app) == "retake"
    for content in (first, second):
        app.button(key=f"marks_are_right_{session.chosen('', content).digest[:12]}").click().run()
        assert not app.exception
    assert verdict(app) not in (None, "retake")
    assert html(app).count("said that “Grey 9 %” is really a grey of 9 %. The figures rest on that word.") == 2
