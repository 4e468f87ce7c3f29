"""The first look at a photo: what is seen, and what speaks against it; the pictures are made to show each."""

import numpy as np
import pytest

from match import calibration
from match.check.calibration_files import load_calibration
from match.check.first_look import LookCode, LookLimits, first_look, names_by_kind
from match.measure.photo_code import PhotoCode
from match.photo.regions import Kind, Region
from tests.support.synthetic import ArrayPhoto, FlatScene

CAMERA = load_calibration().camera
LIMITS = calibration.load(LookLimits, "network", "look")
SCENE = FlatScene(card=(0.24, 0.11, 0.1), greys=(0.04, 0.18, 0.75))


def look(photo, marks):
    return first_look(photo, marks, CAMERA.sampling, CAMERA.quality, LIMITS)


def codes(found):
    return [finding.code for finding in found.findings]


def test_a_good_photo_is_said_to_be_good():
    found = look(SCENE.photo(), SCENE.marks())
    assert found.seen == (Kind.GREY, Kind.CARD, Kind.VEHICLE)
    assert found.findings == ()


@pytest.mark.parametrize(
    ("lacking", "code"),
    [(Kind.GREY, LookCode.NO_GREY), (Kind.CARD, LookCode.NO_CARD), (Kind.VEHICLE, LookCode.NO_PAINT)],
)
def test_what_is_not_seen_is_said(lacking, code):
    found = look(SCENE.photo(), [mark for mark in SCENE.marks() if mark.kind is not lacking])
    assert codes(found) == [code]
    assert all(finding.spoils for finding in found.findings)
    assert lacking not in found.seen


def framed(code, other, share, scene_linear=False):
    """Return a photo of one code with a part of another: what a window or a lens cap does to a frame."""
    image = np.full((800, 1000, 3), code)
    image[: round(800 * share)] = other
    return ArrayPhoto(image, scene_linear)


@pytest.mark.parametrize(
    ("photo", "expected"),
    [
        (framed(0.5, 1.0, 0.04), []),
        (framed(0.5, 1.0, 0.08), [LookCode.BURNT_FRAME]),
        (framed(0.5, (1.0, 0.2, 0.2), 0.08), [LookCode.BURNT_FRAME]),
        (framed(0.5, 0.0, 0.4), []),
        (framed(0.5, 0.0, 0.6), [LookCode.DARK_FRAME]),
        (framed(0.2, 0.01, 0.9, scene_linear=True), []),
    ],
)
def test_a_frame_burnt_out_or_black_is_said(photo, expected):
    """Camera raw is linear: a code of 0.01 there is one of 0.1 in a picture."""
    found = look(photo, []).findings
    assert LookCode.NOTHING in [finding.code for finding in found]
    assert [finding.code for finding in found if finding.code is not LookCode.NOTHING] == expected


def test_a_region_burnt_out_is_named_by_what_it_is():
    burnt = framed(1.0, 1.0, 1.0)
    found = look(burnt, [Region(Kind.CARD, 100, 100, 200, 200)])
    clipped = next(finding for finding in found.findings if finding.code is PhotoCode.CLIPPED)
    assert clipped.text(names_by_kind) == "The card is burnt out in 100 % of its pixels."
    assert LookCode.BURNT_FRAME not in codes(found), "said of the card already"
