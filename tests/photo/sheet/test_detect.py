"""The capture sheet found on invented photographs from known places, over blur, glare, noise, cover and JPEG."""

import io
import shutil
import subprocess
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import ExifTags, Image

from match import calibration
from match.photo.encoding import linear_to_srgb, srgb_to_linear
from match.photo.found_marks import find_marks
from match.photo.load import load
from match.photo.regions import Kind, check_regions
from match.photo.sheet.detect import SheetFile, read_sheet, scaled
from match.photo.sheet.markers import find_markers
from match.photo.sheet.sheet_pdf import capture_sheet_pdf
from tests.photo.sheet.photograph import Shot, photograph, pose, project

FILE = calibration.load(SheetFile, "capture")
LAYOUT = FILE.sheet
PLAIN = Shot(size=(1000, 750), distance=400)


def taken(shot, focal_35mm=None):
    """Return the reading of an invented photo, and the function from sheet mm to its pixels."""
    photo, seen = photograph(LAYOUT, shot, np.random.default_rng(4))
    search = read_sheet(photo, FILE, grey_reflectance=0.18, focal_35mm=focal_35mm)
    assert search.reading is not None, search.reason
    return search.reading, seen


def corner_errors(reading, seen):
    places = {name: LAYOUT.marker_corners_mm()[marker.identifier] for name, marker in LAYOUT.markers.items()}
    return np.concatenate([found - seen(places[name]) for name, found in reading.markers_px.items()])


def true_tilt(shot):
    _, R, t = pose(shot, np.array(shot.aim))
    sight = -R.T @ t - np.append(LAYOUT.card_centre_mm(), 0.0)
    return np.degrees(np.arccos(-sight[2] / np.linalg.norm(sight)))


def assert_regions_inside_windows(reading, seen):
    for window in reading.windows:
        region = window.region
        if region is None:
            continue
        outline = seen(LAYOUT.windows[window.name].corners_mm()).astype(np.float32)
        for x in (region.x - 0.5, region.x + region.width - 0.5):
            for y in (region.y - 0.5, region.y + region.height - 0.5):
                assert cv2.pointPolygonTest(outline, (float(x), float(y)), True) > 0, window.name


SPOILED = {
    "sharp": PLAIN,
    "slanted": replace(PLAIN, tilt=45, towards=120),
    "grazing": replace(PLAIN, tilt=65, towards=180, distance=330),
    "turned": replace(PLAIN, roll=215, tilt=15, towards=70),
    "blurred": replace(PLAIN, blur=2.5),
    "noisy": replace(PLAIN, noise=0.05),
    "hard JPEG": replace(PLAIN, jpeg=40, tilt=20),
    "uneven light": replace(PLAIN, gradient=1.2, tilt=20, towards=-90),
}


@pytest.mark.parametrize("name", SPOILED)
def test_corners_scale_and_tilt_are_those_of_the_known_camera(name):
    shot = SPOILED[name]
    reading, seen = taken(shot)
    assert len(reading.markers_px) == 4
    # A third of a pixel is a tenth of a millimetre here; blur and noise may double it.
    assert np.sqrt(np.mean(np.sum(corner_errors(reading, seen) ** 2, axis=1))) < 0.5
    middle = LAYOUT.card_centre_mm()
    one_mm = seen(middle + np.array([[0.5, 0], [-0.5, 0], [0, 0.5], [0, -0.5]]))
    area = abs(np.linalg.det(np.stack([one_mm[0] - one_mm[1], one_mm[2] - one_mm[3]])))
    assert reading.mm_per_px == pytest.approx(1 / np.sqrt(area), rel=0.005)
    assert abs(reading.tilt_deg - true_tilt(shot)) < max(1.0, 2.5 * reading.tilt_sd_deg)
    assert reading.tilt_sd_deg < 6
    assert reading.notes == ()
    assert_regions_inside_windows(reading, seen)


def test_regions_can_be_measured_as_they_are():
    reading, _ = taken(PLAIN)
    assert [region.kind for region in reading.regions] == [Kind.CARD, Kind.VEHICLE, Kind.VEHICLE, Kind.GREY]
    assert [region.reflectance for region in reading.regions] == [None, None, None, 0.18]
    check_regions(reading.regions, *PLAIN.size)  # raises when one is missing, outside, too small or overlapping


def test_regions_use_most_of_a_head_on_window():
    reading, _ = taken(PLAIN)
    for window in reading.windows:
        size = LAYOUT.windows[window.name]
        free = (size.width_mm - 8) * (size.height_mm - 8)  # 4 mm clear on every side
        assert window.region.width * window.region.height * reading.mm_per_px**2 > 0.9 * free


@pytest.mark.parametrize("hidden", [("top-left",), ("top-left", "bottom-right"), ("bottom-left", "bottom-right")])
def test_three_marks_and_even_two_are_enough(hidden):
    reading, seen = taken(replace(PLAIN, hidden=hidden, tilt=25, towards=60))
    assert set(reading.markers_px) == set(LAYOUT.markers) - set(hidden)
    assert len(reading.regions) == 4
    assert_regions_inside_windows(reading, seen)
    assert hidden[0].replace("-", " ") in reading.notes[0]


def test_mark_covered_at_one_edge_does_not_pull_the_sheet():
    # A strip of 6 mm over the outer edge of one mark: OpenCV does not read it, or it must not move the windows.
    reading, seen = taken(replace(PLAIN, cover=((-2, -2, 6, 40),)))
    for window in reading.windows:
        assert np.abs(window.corners_px - seen(LAYOUT.windows[window.name].corners_mm())).max() < 1.5


def test_one_mark_is_reported_and_not_enough():
    shot = replace(PLAIN, hidden=("top-left", "top-right", "bottom-left"))
    photo, _ = photograph(LAYOUT, shot, np.random.default_rng(4))
    search = read_sheet(photo, FILE, grey_reflectance=0.18)
    assert search.reading is None
    assert "Only the sheet's bottom right mark" in search.reason


@pytest.mark.parametrize("texture", ["plain", "noise", "stripes"])
def test_photo_without_the_sheet_gives_a_plain_reason(texture):
    rng = np.random.default_rng(1)
    photo = np.full((600, 800), 120, np.uint8)
    if texture == "noise":
        photo = cv2.GaussianBlur(rng.integers(0, 256, photo.shape).astype(np.uint8), (0, 0), 3)
    if texture == "stripes":
        photo = np.tile((np.arange(800) // 20 % 2 * 200).astype(np.uint8), (600, 1))
    search = read_sheet(photo, FILE, grey_reflectance=0.18)
    assert search.reading is None
    assert "not found" in search.reason
    assert "by hand" in search.reason


def test_stray_mark_elsewhere_in_the_picture_is_left_out():
    shot = replace(PLAIN, hidden=("top-left",), surround=0.8)
    photo, seen = photograph(LAYOUT, shot, np.random.default_rng(4))
    stray = cv2.aruco.generateImageMarker(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), LAYOUT.markers["top-left"].identifier, 72
    )
    photo[660:732, 20:92] = stray
    reading = read_sheet(photo, FILE, grey_reflectance=0.18).reading
    assert set(reading.markers_px) == {"top-right", "bottom-right", "bottom-left"}
    assert_regions_inside_windows(reading, seen)


def test_two_marks_that_do_not_belong_together_are_refused():
    photo = np.full((600, 800), 230, np.uint8)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    photo[50:150, 50:150] = cv2.aruco.generateImageMarker(dictionary, 0, 100)
    photo[300:340, 400:440] = cv2.aruco.generateImageMarker(dictionary, 1, 40)
    search = read_sheet(photo, FILE, grey_reflectance=0.18)
    assert search.reading is None
    assert "one flat sheet" in search.reason


def test_glare_over_one_mark_leaves_the_windows_in_place():
    reading, seen = taken(replace(PLAIN, glare=(0.36, 0.2, 0.07), tilt=10))
    assert len(reading.markers_px) == 3
    assert_regions_inside_windows(reading, seen)


def test_uncut_windows_are_named_and_give_no_region():
    reading, _ = taken(replace(PLAIN, uncut=("card", "grey"), tilt=30, towards=45, blur=1.5))
    assert {window.name for window in reading.windows if not window.cut_out} == {"card", "grey"}
    assert {region.kind for region in reading.regions} == {Kind.VEHICLE}
    assert all("cut it out" in note for note in reading.notes)


def test_sheet_on_a_curved_panel_keeps_regions_inside_the_windows():
    reading, seen = taken(replace(PLAIN, size=(800, 600), radius=800.0, tilt=35, towards=90))
    assert_regions_inside_windows(reading, seen)
    flat, _ = taken(replace(PLAIN, size=(800, 600), tilt=35, towards=90))
    assert reading.corner_error_px > flat.corner_error_px  # the bend shows as corners off the plane


def test_window_beyond_the_photo_is_named():
    reading, _ = taken(replace(PLAIN, aim=(240.0, 103.0), distance=300))
    outside = {window.name for window in reading.windows if window.region is None}
    assert outside == {"left-paint"}
    assert any("left paint window" in note for note in reading.notes)


def test_corners_are_refined_far_below_the_detectors_own():
    # Source: OpenCV's detector without refinement on the same photo.
    photo, seen = photograph(LAYOUT, replace(PLAIN, tilt=20), np.random.default_rng(4))
    raw, identifiers, _ = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    ).detectMarkers(photo)
    refined = find_markers(photo, [LAYOUT], FILE.detection)
    places = LAYOUT.marker_corners_mm()
    by_detector = np.concatenate(
        [quad.reshape(4, 2) - seen(places[int(i)]) for quad, i in zip(raw, identifiers.ravel(), strict=True)]
    )
    own = np.concatenate([refined[i] - seen(places[i]) for i in refined])
    assert np.sqrt(np.mean(own**2)) < 0.3 * np.sqrt(np.mean(by_detector**2))


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="pdftoppm is not installed")
def test_the_printed_page_itself_is_found(tmp_path):
    # The page as Poppler draws it at 150 dpi, photographed by a known homography.
    (tmp_path / "sheet.pdf").write_bytes(capture_sheet_pdf(LAYOUT, "letter"))
    subprocess.run(
        ["pdftoppm", "-r", "150", "-gray", "-singlefile", "-png", tmp_path / "sheet.pdf", tmp_path / "sheet"],
        check=True,
    )
    page = cv2.imread(str(tmp_path / "sheet.png"), 0)
    shot = replace(PLAIN, tilt=30, towards=-150, roll=10, focal_35mm=28)
    K, R, t = pose(shot, np.array(shot.aim))
    paper = LAYOUT.papers["letter"]
    margin = (np.array([paper.width_mm, paper.height_mm]) - [LAYOUT.frame_width_mm, LAYOUT.frame_height_mm]) / 2
    step = 25.4 / 150
    to_mm = np.array([[step, 0, step / 2 - margin[0]], [0, step, step / 2 - margin[1]], [0, 0, 1]])
    to_photo = K @ np.stack([R[:, 0], R[:, 1], t], axis=-1) @ to_mm
    light = srgb_to_linear(cv2.warpPerspective(page, to_photo, shot.size, borderValue=90) / 255.0)
    photo = np.round(255 * linear_to_srgb(cv2.GaussianBlur(light, (0, 0), 1.0))).astype(np.uint8)
    reading = read_sheet(photo, FILE, grey_reflectance=0.18).reading
    assert len(reading.markers_px) == 4
    errors = corner_errors(reading, lambda points: project(K, R, t, points))
    assert np.sqrt(np.mean(np.sum(errors**2, axis=1))) < 0.4
    assert reading.tilt_deg == pytest.approx(true_tilt(shot), abs=2.0)
    assert not any(window.cut_out for window in reading.windows)
    assert reading.regions == ()


def test_the_focal_length_a_photo_states_gives_the_distance():
    shot = replace(PLAIN, focal_35mm=77.0, distance=1150)  # a phone's long lens
    picture, _ = photograph(LAYOUT, shot, np.random.default_rng(4))
    exif = Image.Exif()
    detail = exif.get_ifd(ExifTags.IFD.Exif)
    detail[ExifTags.Base.FocalLengthIn35mmFilm] = 77
    detail[ExifTags.Base.ExifImageWidth], detail[ExifTags.Base.ExifImageHeight] = shot.size
    file = io.BytesIO()
    Image.fromarray(picture).convert("RGB").save(file, "JPEG", quality=92, exif=exif)
    found = find_marks(load(file.getvalue()), [0.18])
    assert found.sheet is not None
    assert found.sheet.distance_mm == pytest.approx(1150, rel=0.05)
    assert found.sheet.tilt_deg < 3


def test_a_reading_of_a_reduced_photo_is_told_in_pixels_of_the_whole_one():
    reading, seen = taken(replace(PLAIN, tilt=20))
    whole = scaled(reading, 2.0, (2000, 1500))
    # A pixel covers (x - 0.5, x + 0.5), so what is seen at x lies at 2 x + 0.5 where each pixel is cut in four.
    errors = np.concatenate(
        [
            found - (2.0 * seen(LAYOUT.marker_corners_mm()[LAYOUT.markers[name].identifier]) + 0.5)
            for name, found in whole.markers_px.items()
        ]
    )
    assert np.max(np.abs(errors)) < 1.0
    assert whole.mm_per_px == reading.mm_per_px / 2
    corner = whole.homography @ [0.0, 0.0, 1.0]
    np.testing.assert_allclose(corner[:2] / corner[2], 2.0 * seen(np.array([[0.0, 0.0]]))[0] + 0.5, atol=1.5)
    check_regions(whole.regions, 2000, 1500)
    assert [region.width for region in whole.regions] == [2 * region.width for region in reading.regions]


@pytest.mark.parametrize("shot", [PLAIN, replace(PLAIN, tilt=35, towards=60), replace(PLAIN, hidden=("top-left",))])
def test_the_sheet_of_three_is_told_by_its_marks_and_names_its_cards(shot):
    layout = FILE.sheet_of_three
    photo, seen = photograph(layout, shot, np.random.default_rng(4))
    reading = read_sheet(photo, FILE, grey_reflectance=0.18).reading
    assert reading is not None
    kinds = [region.kind for region in reading.regions]
    assert kinds == [Kind.CARD, Kind.CARD, Kind.CARD, Kind.VEHICLE, Kind.VEHICLE, Kind.GREY]
    check_regions(reading.regions, *shot.size, most_cards=3)
    for window in reading.windows:
        outline = seen(layout.windows[window.name].corners_mm()).astype(np.float32)
        region = window.region
        for x in (region.x, region.x + region.width - 1):
            for y in (region.y, region.y + region.height - 1):
                assert cv2.pointPolygonTest(outline, (float(x), float(y)), True) > 0, window.name
    found = find_marks(load(written(photo), "sheet.png"), [0.18])
    assert [r.label for r in found.regions if r.kind is Kind.CARD] == ["Card 1", "Card 2", "Card 3"]


def test_an_uncut_window_of_the_sheet_of_three_is_no_card():
    photo, _ = photograph(FILE.sheet_of_three, replace(PLAIN, uncut=("card-3",)), np.random.default_rng(4))
    reading = read_sheet(photo, FILE, grey_reflectance=0.18).reading
    assert sum(region.kind is Kind.CARD for region in reading.regions) == 2


def written(photo):
    content = io.BytesIO()
    Image.fromarray(np.repeat(photo[..., None], 3, axis=2)).save(content, "PNG")
    return content.getvalue()
