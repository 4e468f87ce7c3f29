"""Regions proposed without the sheet: on pictures drawn here, on rendered scenes, and never over a hand-made mark."""

from collections import Counter
from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from match import calibration
from match.demo.scene.canvas import Material
from match.demo.scene.description import Camera, Layout, Paint, Scene
from match.demo.scene.render import captured, developed
from match.demo.scene.settings import ScenePhysics
from match.photo.proposals.patches import find_patches, overlap, work_picture
from match.photo.proposals.propose import ProposalSettings, merge, propose
from match.photo.regions import Kind, Region, check_regions
from match.tint.pigment import TonerFile

SETTINGS = calibration.load(ProposalSettings, "capture", "proposal")
GREY_CARD = (0.18,)
BLUE, LIKE_BLUE, GREY, SILVER, LIKE_SILVER = (
    (40, 70, 130),
    (44, 76, 138),
    (118, 118, 118),
    (176, 178, 180),
    (168, 170, 171),
)


def drawn(panel, card=None, greys=(), card_turn=0.0, rng_key=1, noise=1.5):
    """Return a picture (480, 640, 3): a card with a light edge in the middle, greys (box, colour) beside it."""
    picture = np.full((480, 640, 3), panel, dtype=np.float64)
    picture *= np.linspace(0.93, 1.07, 640)[:, None]
    if card is not None:
        for size, colour in (((130, 170), (235, 235, 230)), ((124, 164), card)):
            corners = cv2.boxPoints(((330.0, 240.0), size, card_turn))
            cv2.fillConvexPoly(picture, np.round(corners).astype(np.int32), colour)
    for (left, top, width, height), colour in greys:
        picture[top : top + height, left : left + width] = colour
    picture = cv2.GaussianBlur(picture, (0, 0), 0.8)
    picture += np.random.default_rng(rng_key).normal(0, noise, picture.shape)
    return np.clip(np.round(picture), 0, 255).astype(np.uint8)


def inside(region, left, top, width, height):
    return (
        left <= region.x
        and top <= region.y
        and region.x + region.width <= left + width
        and region.y + region.height <= top + height
    )


def by_kind(found, kind):
    return [region for region in found.regions if region.kind is kind]


@pytest.mark.parametrize("turn", [0.0, 7.0, -12.0])
def test_card_paint_and_grey_are_found_where_they_were_drawn(turn):
    picture = drawn(BLUE, LIKE_BLUE, [((60, 180, 90, 110), GREY)], card_turn=turn)
    found = propose(picture, SETTINGS, grey_reflectances=GREY_CARD)
    (card,), (grey,) = by_kind(found, Kind.CARD), by_kind(found, Kind.GREY)
    assert inside(card, 330 - 62, 240 - 82, 124, 164)
    assert card.width * card.height > 0.3 * 124 * 164
    assert inside(grey, 60, 180, 90, 110)
    assert grey.reflectance == 0.18
    left, right = sorted(by_kind(found, Kind.VEHICLE), key=lambda region: region.x)
    assert left.x > 150
    assert left.x + left.width < 330 - 62
    assert right.x > 330 + 62
    assert found.notes == ()
    check_regions(found.regions, 640, 480)  # raises unless they can be measured as they are


def test_regions_come_in_pixels_of_the_picture_given():
    small = drawn(BLUE, LIKE_BLUE, [((60, 180, 90, 110), GREY)])
    large = cv2.resize(small, None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC)
    (card,) = by_kind(propose(large, SETTINGS, grey_reflectances=GREY_CARD), Kind.CARD)
    assert inside(card, 3 * (330 - 62), 3 * (240 - 82), 3 * 124, 3 * 164)
    assert card.width > 200


@pytest.mark.parametrize("picture", ["even", "gradient", "noise", "stripes", "disc"])
def test_picture_of_nothing_gives_no_proposal(picture):
    rng = np.random.default_rng(0)
    shown = np.full((480, 640, 3), 120, np.uint8)
    if picture == "gradient":
        shown = np.broadcast_to(np.linspace(20, 230, 640).astype(np.uint8)[None, :, None], shown.shape).copy()
    if picture == "noise":
        coarse = rng.integers(0, 256, (30, 40, 3)).astype(np.uint8)
        shown = cv2.resize(coarse, (640, 480), interpolation=cv2.INTER_CUBIC)
    if picture == "stripes":
        shown[:, np.arange(640) // 40 % 2 == 0] = 60
    if picture == "disc":
        cv2.circle(shown, (320, 240), 90, (30, 60, 140), -1)
    found = propose(shown, SETTINGS, grey_reflectances=GREY_CARD)
    assert found.proposals == ()
    assert len(found.notes) == 2
    assert all("by hand" in note for note in found.notes)


def test_lone_neutral_patch_on_a_silver_car_is_left_to_the_user():
    found = propose(drawn(SILVER, LIKE_SILVER), SETTINGS, grey_reflectances=GREY_CARD)
    assert found.proposals == ()


def test_silver_card_and_grey_card_are_told_apart_by_the_paint():
    picture = drawn(SILVER, LIKE_SILVER, [((60, 180, 90, 110), GREY)])
    found = propose(picture, SETTINGS, grey_reflectances=GREY_CARD)
    assert inside(by_kind(found, Kind.CARD)[0], 330 - 62, 240 - 82, 124, 164)
    assert inside(by_kind(found, Kind.GREY)[0], 60, 180, 90, 110)


def test_two_patches_as_near_to_the_paint_as_each_other_give_no_card():
    picture = drawn(BLUE, LIKE_BLUE, [((60, 180, 90, 110), (46, 79, 141)), ((480, 180, 90, 110), GREY)])
    assert by_kind(propose(picture, SETTINGS, grey_reflectances=GREY_CARD), Kind.CARD) == []


STEPS = [((70, 130, 60, 50), (44, 44, 44)), ((70, 200, 60, 50), GREY), ((70, 270, 60, 50), (232, 232, 232))]


def test_three_steps_take_the_reflectances_in_order_of_lightness():
    # Codes 44, 118, 232 are linear 0.025, 0.181, 0.806 by IEC 61966-2-1.
    found = propose(drawn(BLUE, LIKE_BLUE, STEPS), SETTINGS, grey_reflectances=(0.80, 0.025, 0.18))
    greys = by_kind(found, Kind.GREY)
    assert [grey.reflectance for grey in greys] == [0.025, 0.18, 0.80]
    for grey, (box, _) in zip(greys, STEPS, strict=True):
        assert inside(grey, *box)


@pytest.mark.parametrize("reflectances", [GREY_CARD, (0.1, 0.3), (0.17, 0.18, 0.19)])
def test_steps_that_do_not_fit_the_users_reference_are_not_guessed(reflectances):
    found = propose(drawn(BLUE, LIKE_BLUE, STEPS), SETTINGS, grey_reflectances=reflectances)
    assert by_kind(found, Kind.GREY) == []
    assert "grey" in found.notes[0]


def test_paint_beside_the_card_keeps_off_a_gap():
    picture = drawn(BLUE, LIKE_BLUE, [((60, 180, 90, 110), GREY)])
    picture[:, 440:448] = 8
    found = propose(picture, SETTINGS, grey_reflectances=GREY_CARD)
    for region in by_kind(found, Kind.VEHICLE):
        assert region.x + region.width <= 440 or region.x >= 448


def test_the_same_rectangle_is_one_patch():
    lab, _ = work_picture(drawn(BLUE, LIKE_BLUE, [((60, 180, 90, 110), GREY)]), SETTINGS.patches.work_side_px)
    patches = find_patches(lab, SETTINGS.patches)
    pairs = [(a, b) for index, a in enumerate(patches) for b in patches[index + 1 :]]
    assert all(overlap(a.corners_px, b.corners_px) < SETTINGS.patches.same_overlap for a, b in pairs)
    assert all(0 < patch.support <= 1 for patch in patches)


SOLID = Paint((("white", 0.2), ("green-shade blue", 0.8)), true_delta_e00=2.0)
SCENES = {
    "solid": Scene(SOLID, size_px=(800, 600)),
    "metallic": Scene(replace(SOLID, finish="metallic", flop=0.6, flake_sd=0.15), size_px=(800, 600)),
    "turned, three greys, noise": Scene(
        SOLID,
        camera=Camera(full_well_electrons=6000.0, blur_px=1.0),
        layout=Layout(card_angle_deg=6.0, grey_size=(0.09, 0.20)),
        greys=(0.04, 0.18, 0.75),
        size_px=(1000, 750),
    ),
}


@pytest.mark.parametrize("name", SCENES)
def test_proposals_on_a_rendered_scene_lie_on_what_they_name(name):
    # Source: the renderer's own map of what covers each pixel.
    scene = SCENES[name]
    physics = calibration.load(ScenePhysics, "scene", "physics")
    capture = captured(scene, calibration.load(TonerFile, "toners"), physics)
    image = developed(capture, scene.camera, scene.light.lamp, np.random.default_rng(1))
    found = propose(image, SETTINGS, grey_reflectances=scene.greys)
    assert Counter(region.kind for region in found.regions) == {
        Kind.GREY: len(scene.greys),
        Kind.CARD: 1,
        Kind.VEHICLE: 2,
    }
    for region in found.regions:
        shown = capture.material[region.y : region.y + region.height, region.x : region.x + region.width]
        if region.kind is Kind.GREY:
            assert np.mean(shown == Material.GREY + scene.greys.index(region.reflectance)) > 0.98
        else:
            assert np.mean(shown == (Material.CARD if region.kind is Kind.CARD else Material.VEHICLE)) > 0.98


def marks():
    return st.lists(
        st.builds(
            Region,
            st.sampled_from(Kind),
            st.integers(0, 300),
            st.integers(0, 300),
            st.integers(12, 120),
            st.integers(12, 120),
            st.none(),
        ),
        max_size=6,
    )


@settings(max_examples=80)
@given(marks(), marks())
def test_hand_made_marks_win_and_proposals_only_fill_gaps(hand_made, proposed):
    merged = merge(hand_made, proposed)
    assert list(merged[: len(hand_made)]) == hand_made
    added = merged[len(hand_made) :]
    assert all(region in proposed for region in added)
    assert not {region.kind for region in added} & {region.kind for region in hand_made}
    for index, region in enumerate(added):
        assert not any(region.overlaps(other) for other in (*hand_made, *added[:index]))
    assert sum(region.kind is Kind.CARD for region in added) <= 1


def test_all_proposals_are_taken_when_nothing_is_marked():
    proposed = (
        Region(Kind.GREY, 0, 0, 20, 20, 0.18),
        Region(Kind.CARD, 40, 0, 20, 20),
        Region(Kind.VEHICLE, 80, 0, 20, 20),
    )
    assert merge((), proposed) == proposed
