"""Marks found for the user: said in plain words, waiting to be accepted, never over a hand-made mark."""

import re
from dataclasses import replace

import numpy as np
import pytest
from coloraide import Color

from match import calibration
from match.photo import load as photo_reading
from match.photo.regions import Kind, check_regions
from match.photo.sheet.layout import SheetLayout
from match.ui import session
from match.ui.marker.first_marks import Source, first_marks, joined
from match.ui.marker.marks import Mark, to_regions
from match.ui.session import marker_key
from tests.photo.proposals.test_propose import BLUE, GREY, LIKE_BLUE, drawn
from tests.photo.sheet.photograph import Shot, photograph
from tests.support.png import png
from tests.ui.test_check import CARD, VEHICLE, html, opened, photo, verdict
from tests.ui.test_check import GREY as GREY_MARK

SHEET = calibration.load(SheetLayout, "capture", "sheet")
TILTED = Shot(tilt=24.0, towards=90.0, roll=3.0)


def sheet_photo() -> tuple[np.ndarray, object]:
    """Return a photo of the sheet on a panel, (h, w, 3), and where a place on the sheet lies on it."""
    grey, place = photograph(SHEET, replace(TILTED, jpeg=None), np.random.default_rng(5))
    return np.stack([grey] * 3, axis=-1), place


def encoded(picture: np.ndarray) -> bytes:
    return png(picture)


def find(picture: np.ndarray):
    return first_marks(photo_reading.load(encoded(picture), "shop.png"), 0.18)


def test_the_sheet_is_said_with_the_scale_and_tilt_of_the_camera_that_took_it():
    picture, place = sheet_photo()
    found = find(picture)
    assert found.start.source is Source.SHEET
    assert found.start.pending
    assert [mark.kind for mark in found.marks].count("vehicle") == 2
    # The pinhole camera of tests/photo/sheet/photograph.py: its own projection of 20 mm on the card gives the scale.
    (x0, y0), (x1, y1) = place([[83.0, 80.0], [103.0, 80.0]])
    across = 20.0 / np.hypot(x1 - x0, y1 - y0)
    scale = float(re.search(r"is ([\d.]+) mm", found.start.sentences[0])[1])
    tilt, give = map(float, re.search(r"by (\d+)° \(give or take (\d+)°", found.start.sentences[0]).groups())
    assert scale == pytest.approx(across, rel=0.1)  # a tilted sheet is shorter one way; the mean of both is told
    assert abs(tilt - TILTED.tilt) <= give


def test_without_a_sheet_what_the_picture_shows_is_proposed_and_named():
    found = find(drawn(BLUE, LIKE_BLUE, [((60, 180, 90, 110), GREY)]))
    assert found.start.source is Source.PICTURE
    assert found.start.sentences[0].startswith("No capture sheet is in the photo.")
    for named in ("a card", "the car's paint", "a grey reference", "18 %"):
        assert named in found.start.sentences[0]
    check_regions(to_regions(found.marks, 640, 480), 640, 480)


def test_an_empty_panel_has_nothing_to_accept():
    found = find(drawn(BLUE))
    assert found.marks == ()
    assert not found.start.pending
    assert "by hand" in found.start.sentences[0]


def test_a_hand_made_mark_stays_as_it_was_and_no_second_of_its_kind_is_added():
    found = find(drawn(BLUE, LIKE_BLUE, [((60, 180, 90, 110), GREY)]))
    by_hand = [Mark("grey", 0.02, 0.02, 0.06, 0.06, 0.36)]
    both = joined(by_hand, found, 640, 480)
    assert both.marks[0] == by_hand[0]
    assert [mark.kind for mark in both.marks].count("grey") == 1
    assert {mark.kind for mark in both.marks} == {kind.value for kind in Kind}


def test_found_marks_are_measured_only_after_they_are_accepted():
    app = opened(encoded(sheet_photo()[0]), None)
    assert verdict(app) is None
    assert "session_check" not in app.session_state
    assert "These marks were found for you" in html(app)
    assert "The capture sheet was found" in html(app)
    app.button(key="use_marks").click().run()
    assert not app.exception
    assert verdict(app) is not None
    # The card sends back 0.30 of the light, the car 0.32 (see Shot); coloraide has CIEDE2000 of those two greys.
    card, car = (Color("srgb-linear", [light] * 3) for light in (TILTED.card, TILTED.vehicle))
    check = app.session_state["session_check"].result
    low, high = check.as_dict()["delta_e00_interval"]
    assert low <= card.delta_e(car, method="2000") <= high
    assert "The capture sheet was found" in html(app)


def test_found_marks_can_be_cleared_and_looked_for_again_beside_a_mark_by_hand():
    content = encoded(drawn(BLUE, LIKE_BLUE, [((60, 180, 90, 110), GREY)]))
    app = opened(content, None)
    app.button(key="clear_marks").click().run()
    assert "<li>Card</li>" in html(app)
    own = {"kind": "grey", "x": 0.12, "y": 0.42, "width": 0.06, "height": 0.1, "reflectance": 0.18}
    app.session_state[session_key(app, content)] = {"regions": [own]}
    app.run()
    app.button(key="find_marks").click().run()
    marks = app.session_state["session_marks"][session.chosen("shop.png", content).digest]
    assert (marks[0].x, marks[0].y) == (0.12, 0.42)
    assert [mark.kind for mark in marks].count("grey") == 1
    app.button(key="use_marks").click().run()
    assert verdict(app) is not None


def session_key(app, content: bytes) -> str:
    digest = session.chosen("shop.png", content).digest
    turn = app.session_state["session_turns"][digest]
    return f"{marker_key(digest)}-{turn}"


def test_a_photo_marked_by_hand_is_never_searched():
    app = opened(photo(), [GREY_MARK, CARD, VEHICLE])
    assert "found for you" not in html(app)
    assert verdict(app) is not None
