"""The capture sheet: its geometry, its marks as OpenCV draws them, and the printed page measured by another reader."""

import re
import shutil
import subprocess
from dataclasses import replace
from itertools import combinations

import cv2
import numpy as np
import pytest

from match import calibration
from match.errors import CalibrationError, MatchError
from match.photo.regions import Kind
from match.photo.sheet.layout import SheetLayout, hatch_mm, marker_cells, marker_dictionary
from match.photo.sheet.sheet_pdf import WARNING, capture_sheet_pdf

LAYOUT = calibration.load(SheetLayout, "capture", "sheet")
THREE = calibration.load(SheetLayout, "capture", "sheet_of_three")
DPI = 127  # five pixels a millimetre
PX_PER_MM = DPI / 25.4
ISO_216_A4_MM = (210.0, 297.0)
ANSI_LETTER_MM = (8.5 * 25.4, 11 * 25.4)

needs_poppler = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="pdftoppm is not installed")


def boxes(layout=LAYOUT):
    """Return every mark and window as name -> (left, top, right, bottom) in mm."""
    side = layout.marker_side_mm
    marks = {n: (m.left_mm, m.top_mm, m.left_mm + side, m.top_mm + side) for n, m in layout.markers.items()}
    windows = {
        name: (w.left_mm, w.top_mm, w.left_mm + w.width_mm, w.top_mm + w.height_mm)
        for name, w in layout.windows.items()
    }
    return marks | windows


@pytest.fixture(scope="module")
def printed(tmp_path_factory):
    """The A4 page as another program (Poppler) rasterises it, (h, w, 3) uint8."""
    folder = tmp_path_factory.mktemp("sheet")
    (folder / "sheet.pdf").write_bytes(capture_sheet_pdf(LAYOUT, "a4"))
    subprocess.run(
        ["pdftoppm", "-r", str(DPI), "-png", "-singlefile", str(folder / "sheet.pdf"), str(folder / "sheet")],
        check=True,
    )
    return cv2.imread(str(folder / "sheet.png"))


def test_marks_are_the_ones_opencv_draws_for_these_identifiers():
    # Source: OpenCV, cv2.aruco.generateImageMarker of DICT_4X4_50, read back by its own detector.
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    for identifier in (marker.identifier for marker in LAYOUT.markers.values()):
        cells = marker_cells(LAYOUT.dictionary, identifier)
        drawn = np.kron(np.where(cells, 0, 255).astype(np.uint8), np.ones((12, 12), np.uint8))
        _, read, _ = detector.detectMarkers(np.pad(drawn, 24, constant_values=255))
        assert read is not None
        assert read.ravel().tolist() == [identifier]


def test_no_mark_resembles_another_or_itself_turned():
    # The layout's comment says 7 of 16 cells; counted here from OpenCV's own bits.
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    codes = [cv2.aruco.generateImageMarker(dictionary, m.identifier, 6)[1:5, 1:5] for m in LAYOUT.markers.values()]
    apart = [np.sum(np.rot90(a, turn) != b) for a, b in combinations(codes, 2) for turn in range(4)]
    apart += [np.sum(np.rot90(code, turn) != code) for code in codes for turn in (1, 2, 3)]
    assert min(apart) >= 7


def test_no_mark_of_the_sheet_of_three_resembles_any_other_or_itself_turned():
    # The layout's comment says 6 of 16 cells; counted here from OpenCV's own bits.
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    numbers = [m.identifier for layout in (LAYOUT, THREE) for m in layout.markers.values()]
    codes = [cv2.aruco.generateImageMarker(dictionary, number, 6)[1:5, 1:5] for number in numbers]
    assert len(set(numbers)) == 8
    apart = [np.sum(np.rot90(a, turn) != b) for a, b in combinations(codes, 2) for turn in range(4)]
    apart += [np.sum(np.rot90(code, turn) != code) for code in codes for turn in (1, 2, 3)]
    assert min(apart) >= 6


def test_the_sheet_of_three_has_paint_on_both_sides_of_its_cards():
    left, right = (THREE.windows[name].corners_mm().mean(axis=0) for name in ("left-paint", "right-paint"))
    assert len(THREE.cards) == 3
    assert np.allclose((left + right) / 2, THREE.card_centre_mm())


@pytest.mark.parametrize("layout", [LAYOUT, THREE], ids=["one", "three"])
def test_marks_and_windows_lie_apart_with_white_around_each_mark(layout):
    # OpenCV's ArUco guide asks for white around a marker; one cell of it is common practice.
    cell = layout.marker_side_mm / 6
    for (name, a), (_, b) in combinations(boxes(layout).items(), 2):
        gap = max(b[0] - a[2], a[0] - b[2], b[1] - a[3], a[1] - b[3])
        assert gap >= cell, name


def test_windows_show_card_grey_and_paint_on_both_sides_of_the_card():
    windows = LAYOUT.windows
    assert sorted(window.shows for window in windows.values()) == sorted(
        [Kind.CARD, Kind.GREY, Kind.VEHICLE, Kind.VEHICLE]
    )
    assert windows["left-paint"].left_mm < windows["card"].left_mm < windows["right-paint"].left_mm
    left, card, right = (windows[name].corners_mm().mean(axis=0) for name in ("left-paint", "card", "right-paint"))
    assert np.allclose((left + right) / 2, card)  # so that light falling off evenly cancels


def test_frame_fits_both_papers_with_a_printers_margin():
    # Common practice: office printers leave about 6 mm unprinted at each edge.
    for paper in LAYOUT.papers.values():
        assert paper.width_mm - LAYOUT.frame_width_mm >= 12
        assert paper.height_mm - LAYOUT.frame_height_mm >= 12
    assert max(bottom for *_, bottom in boxes().values()) <= LAYOUT.instructions_top_mm


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", ISO_216_A4_MM), ("letter", ANSI_LETTER_MM)])
def test_page_has_the_size_of_the_paper_standard(paper, size_mm):
    page = capture_sheet_pdf(LAYOUT, paper)
    box = re.search(rb"/MediaBox \[ ?([\d. ]+)\]", page)
    points = [float(value) for value in box.group(1).split()]
    assert np.allclose(np.array(points[2:]) / 72 * 25.4, size_mm, atol=0.01)
    assert page.count(b"/Type /Page\n") == 1


@needs_poppler
def test_rulers_have_their_length_on_the_page(printed):
    dark = printed.max(axis=2) < 128
    across = max(longest_run(row) for row in dark[round(230 * PX_PER_MM) :])
    assert across / PX_PER_MM == pytest.approx(LAYOUT.ruler_across_mm, abs=0.4)
    right_margin = dark[round(230 * PX_PER_MM) :, round(190 * PX_PER_MM) :]
    down = max(longest_run(column) for column in right_margin.T)
    assert down / PX_PER_MM == pytest.approx(LAYOUT.ruler_down_mm, abs=0.4)


def longest_run(line):
    """Return the longest run of True; a line drawn along pixels is unbroken."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(int), [0]])))
    return int(np.max(edges[1::2] - edges[::2], initial=0))


@needs_poppler
def test_marks_lie_on_the_page_where_the_layout_says(printed):
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    corners, identifiers, _ = detector.detectMarkers(cv2.cvtColor(printed, cv2.COLOR_BGR2GRAY))
    margin = (np.array(ISO_216_A4_MM) - [LAYOUT.frame_width_mm, LAYOUT.frame_height_mm]) / 2
    assert sorted(identifiers.ravel().tolist()) == sorted(m.identifier for m in LAYOUT.markers.values())
    for quad, identifier in zip(corners, identifiers.ravel(), strict=True):
        expected = (LAYOUT.marker_corners_mm()[int(identifier)] + margin) * PX_PER_MM - 0.5
        assert np.abs(quad.reshape(4, 2) - expected).max() < 1.6  # the detector's own corners, not refined


@needs_poppler
def test_page_is_black_and_white_only(printed):
    assert np.array_equal(printed[..., 0], printed[..., 1])
    assert np.array_equal(printed[..., 1], printed[..., 2])


@needs_poppler
def test_stripes_printed_in_a_window_are_the_ones_the_photo_is_searched_for(printed):
    window = LAYOUT.windows["card"]
    x, y = np.meshgrid(np.arange(65.0, 121, 0.5), np.arange(42.0, 118, 0.5))
    margin = (np.array(ISO_216_A4_MM) - [LAYOUT.frame_width_mm, LAYOUT.frame_height_mm]) / 2
    at = [
        np.round((value + offset) * PX_PER_MM - 0.5).astype(int) for value, offset in zip((x, y), margin, strict=True)
    ]
    assert window.left_mm < x.min()
    assert window.top_mm < y.min()
    black = printed[at[1], at[0], 0] < 128
    assert np.mean(black == hatch_mm(x, y, LAYOUT)) > 0.97


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")
def test_page_says_in_words_what_matters(tmp_path):
    (tmp_path / "sheet.pdf").write_bytes(capture_sheet_pdf(LAYOUT, "letter"))
    words = subprocess.run(["pdftotext", "-layout", tmp_path / "sheet.pdf", "-"], capture_output=True, check=True)
    text = " ".join(words.stdout.decode().split())
    for phrase in (
        WARNING,
        "100 %",
        "ruler",
        "Cut out",
        "matte paper",
        "SPRAY-OUT CARD",
        "CAR PAINT",
        "YOUR GREY CARD",
    ):
        assert phrase in text


def test_the_same_sheet_is_the_same_file():
    assert capture_sheet_pdf(LAYOUT) == capture_sheet_pdf(LAYOUT)


def test_unknown_paper_is_refused_with_the_choices():
    with pytest.raises(MatchError, match="a4 or letter"):
        capture_sheet_pdf(LAYOUT, "a5")


def test_sheet_larger_than_the_paper_is_refused():
    with pytest.raises(MatchError, match="does not fit on A4"):
        capture_sheet_pdf(replace(LAYOUT, frame_width_mm=211.0))


def test_unknown_dictionary_and_window_kind_are_refused():
    with pytest.raises(CalibrationError, match="no marker dictionary"):
        marker_dictionary("DetectorParameters")
    with pytest.raises(CalibrationError, match="window kind"):
        _ = replace(LAYOUT.windows["card"], kind="dog").shows
