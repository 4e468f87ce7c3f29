"""The camera fit, against invented cameras whose place is known and against OpenCV's own solvers."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from match import calibration
from match.photo.sheet.detect import SheetFile
from match.photo.sheet.inside import largest_upright_rectangle
from match.photo.sheet.view import fit_view, focal_px
from tests.photo.sheet.photograph import Shot, pose, project

FILE = calibration.load(SheetFile, "capture")
LAYOUT = FILE.sheet
CORNERS_MM = np.concatenate(list(LAYOUT.marker_corners_mm().values()))
MIDDLE = LAYOUT.card_centre_mm()


def seen(shot, scatter_px=0.0, rng=None, kept=slice(None)):
    """Return the marks' corners (n, 2) px of a known camera, its true line of sight (3,), and K, R, t."""
    K, R, t = pose(shot, np.array(shot.aim))
    corners = project(K, R, t, CORNERS_MM[kept])
    if scatter_px:
        corners = corners + rng.normal(0.0, scatter_px, corners.shape)
    sight = -R.T @ t - np.append(MIDDLE, 0.0)
    return corners, sight / np.linalg.norm(sight), (K, R, t)


def fit(corners, shot, kept=slice(None), focal_35mm=None):
    return fit_view(CORNERS_MM[kept], corners, shot.size, FILE.view, focal_35mm)


@pytest.mark.parametrize(("tilt", "towards"), [(0, 0), (15, 90), (30, 180), (45, -60), (60, 30)])
def test_tilt_and_its_side_are_those_of_the_known_camera(tilt, towards):
    shot = Shot(tilt=tilt, towards=towards, aim=tuple(MIDDLE))  # aimed at the card: its tilt there is the shot's
    corners, _, _ = seen(shot)
    view = fit(corners, shot, focal_35mm=shot.focal_35mm)
    assert view.tilt_deg(MIDDLE) == pytest.approx(tilt, abs=0.02)
    if tilt:
        assert view.towards_deg(MIDDLE) == pytest.approx(towards, abs=0.05) or towards == 180
    assert view.corner_error_px < 0.001
    assert view.distance_mm(MIDDLE) == pytest.approx(shot.distance, rel=0.001)


def test_pose_agrees_with_opencv_when_the_camera_is_known():
    # Source: OpenCV, cv2.solvePnP (iterative) with the true camera matrix.
    shot = Shot(tilt=38, towards=120, roll=20)
    corners, _, (K, _, _) = seen(shot, 0.2, np.random.default_rng(3))
    flat = np.column_stack([CORNERS_MM, np.zeros(len(CORNERS_MM))])
    _, rotation, shift = cv2.solvePnP(flat, corners, K, None)
    R = cv2.Rodrigues(rotation)[0]
    sight = -R.T @ shift.ravel() - np.append(MIDDLE, 0.0)
    tilt = np.degrees(np.arccos(-sight[2] / np.linalg.norm(sight)))
    sharp = replace(FILE.view, stated_focal_sd=1e-4, centre_sd=1e-4)
    view = fit_view(CORNERS_MM, corners, shot.size, sharp, shot.focal_35mm)
    assert view.tilt_deg(MIDDLE) == pytest.approx(tilt, abs=0.02)


def test_places_agree_with_opencv_homography():
    # Source: OpenCV, cv2.findHomography (least squares) on the same corners.
    shot = Shot(tilt=35, towards=-100, roll=-15, focal_35mm=40)
    corners, _, _ = seen(shot, 0.1, np.random.default_rng(5))
    expected = cv2.findHomography(CORNERS_MM, corners, 0)[0]
    view = fit(corners, shot)
    windows = np.concatenate([window.corners_mm() for window in LAYOUT.windows.values()])
    by_opencv = cv2.perspectiveTransform(windows[:, None], expected)[:, 0]
    assert np.abs(view.project(windows) - by_opencv).max() < 0.25
    by_own = cv2.perspectiveTransform(windows[:, None], view.homography())[:, 0]
    assert np.abs(view.project(windows) - by_own).max() < 1e-6


def test_scale_is_distance_over_focal_length_when_head_on():
    # Source: the pinhole camera, an object's size on the picture is its size times focal length over distance.
    shot = Shot(distance=500.0, focal_35mm=26.0)
    corners, _, _ = seen(shot)
    expected = shot.distance / focal_px(26.0, *shot.size)
    assert fit(corners, shot).mm_per_px(MIDDLE) == pytest.approx(expected, rel=1e-4)


def test_focal_length_in_pixels_follows_the_diagonals():
    # Source: CIPA DCG-001 (from memory): the 35 mm equivalent compares diagonals; 36 x 24 mm has 43.27 mm.
    assert focal_px(43.2666, 3000, 4000) == pytest.approx(5000.0, rel=1e-5)


@pytest.mark.parametrize("roll", [-170, -90, -10, 0, 45, 90, 179])
def test_roll_turns_with_the_camera(roll):
    # A camera turned one way sees the sheet turned the other way by as much.
    shot = Shot(roll=roll, tilt=10, towards=0)
    view = fit(seen(shot)[0], shot)
    assert abs((view.roll_deg() + roll + 180) % 360 - 180) < 3


def test_stated_deviation_of_the_tilt_covers_its_error():
    # Cameras drawn from what the settings call usual: the error in units of its deviation must not be large.
    rng = np.random.default_rng(8)
    scores = []
    for _ in range(30):
        usual = FILE.view.usual_focal_mm * np.exp(rng.normal(0, FILE.view.usual_focal_sd))
        shot = Shot(
            tilt=rng.uniform(0, 60), towards=rng.uniform(0, 360), roll=rng.uniform(0, 360), focal_35mm=float(usual)
        )
        corners, sight, _ = seen(shot, FILE.view.corner_sd_px, rng)
        moved = corners + rng.normal(0, FILE.view.centre_sd * np.hypot(*shot.size), 2)  # the image centre's own error
        view = fit(moved, shot)
        error = np.degrees(np.arccos(np.clip(view.direction(MIDDLE) @ sight, -1, 1)))
        scores.append(error / view.tilt_sd_deg(MIDDLE))
    assert np.percentile(scores, 95) < 2.5  # Rayleigh, two directions at the worst one's deviation: 2.45
    assert np.median(scores) > 0.15  # nor is it so wide that it says nothing


def test_stated_focal_length_makes_the_tilt_surer():
    shot = Shot(tilt=20, towards=45)
    corners, _, _ = seen(shot, 0.2, np.random.default_rng(1))
    assert fit(corners, shot, focal_35mm=26.0).tilt_sd_deg(MIDDLE) < fit(corners, shot).tilt_sd_deg(MIDDLE)


def test_two_marks_leave_far_places_less_sure_than_four():
    shot = Shot(tilt=25, towards=10)
    rng = np.random.default_rng(2)
    far = LAYOUT.windows["grey"].corners_mm()
    four = fit(seen(shot, 0.2, rng)[0], shot)
    two = fit(seen(shot, 0.2, rng, slice(0, 8))[0], shot, slice(0, 8))
    assert two.spread_px(far).max() > 2 * four.spread_px(far).max()


@settings(max_examples=60)
@given(st.integers(0, 300), st.integers(0, 200), st.integers(1, 90), st.integers(1, 90))
def test_an_upright_rectangle_is_its_own_largest(x, y, width, height):
    corners = np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]]) - 0.5
    assert largest_upright_rectangle(corners, 400, 300) == (x, y, width, height)


@pytest.mark.parametrize(("half_width", "half_height"), [(100, 100), (120, 60), (40, 130)])
def test_largest_rectangle_in_a_rhombus_has_half_its_area(half_width, half_height):
    # Source: elementary geometry: with |x|/a + |y|/b = 1 the product 4xy is largest at x = a/2, y = b/2.
    rhombus = np.array([[0, -half_height], [half_width, 0], [0, half_height], [-half_width, 0]]) + 200.0
    _, _, width, height = largest_upright_rectangle(rhombus, 500, 500)
    assert width * height == pytest.approx(2 * half_width * half_height / 2, rel=0.06)


@settings(max_examples=80)
@given(st.floats(0, 90), st.floats(20, 150), st.floats(20, 150), st.floats(-50, 350), st.floats(-50, 350))
def test_largest_rectangle_lies_inside_the_window_and_on_the_photo(turn, wide, high, x, y):
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    box = np.array([[-wide, -high], [wide, -high], [wide, high], [-wide, high]]) / 2
    polygon = box @ np.array([[c, s], [-s, c]]) + [x, y]
    found = largest_upright_rectangle(polygon, 300, 300)
    if found is None:
        return
    left, top, width, height = found
    assert left >= 0
    assert top >= 0
    assert left + width <= 300
    assert top + height <= 300
    for px in (left - 0.5, left + width - 0.5):
        for py in (top - 0.5, top + height - 0.5):
            assert cv2.pointPolygonTest(polygon.astype(np.float32), (px, py), True) > -0.01


def test_a_window_outside_the_photo_has_no_rectangle():
    square = np.array([[0.0, 0], [50, 0], [50, 50], [0, 50]])
    assert largest_upright_rectangle(square - 60, 100, 100) is None
    assert largest_upright_rectangle(square + 200, 100, 100) is None
