"""The capture sheet's page: a true PDF for each paper, and a drawing with marks that OpenCV reads."""

from xml.etree import ElementTree

import cv2
import numpy as np
from streamlit.testing.v1 import AppTest

from match import calibration
from match.photo.sheet.layout import SheetLayout, marker_dictionary
from match.photo.sheet.sheet_pdf import STEPS, WARNING
from match.ui.sheet.picture import sheet_picture
from tests.support.drawings import tinted
from tests.ui.test_check import html

LAYOUT = calibration.load(SheetLayout, "capture", "sheet")


def sheet_page() -> None:
    from match.ui.sheet import page

    page.page()


def test_the_page_tells_how_to_print_cut_and_use_it_and_offers_both_papers():
    app = AppTest.from_function(sheet_page, default_timeout=300).run()
    assert not app.exception
    for words in (*STEPS, WARNING):
        assert words in html(app)
    assert [button.label for button in app.get("download_button")] == ["Download the sheet (A4, PDF)"]
    app.button_group(key="sheet_paper").set_value("letter").run()
    assert [button.label for button in app.get("download_button")] == ["Download the sheet (US Letter, PDF)"]


def test_the_drawing_shows_the_marks_that_opencv_finds_on_the_printed_page():
    root = ElementTree.fromstring(sheet_picture(LAYOUT))
    canvas = np.full((1000, 1000), 255, dtype=np.uint8)
    scale = 4.0
    for path in root.iter("{http://www.w3.org/2000/svg}path"):
        for bar in path.get("d").split("z")[:-1]:
            x, y, wide, high = (
                float(part) for part in bar[1:].split("H")[0].replace("h", " ").replace("v", " ").split()
            )
            left, top = round((x + 20) * scale), round((y + 20) * scale)
            canvas[top : top + round(high * scale), left : left + round(wide * scale)] = 0
    detector = cv2.aruco.ArucoDetector(marker_dictionary(LAYOUT.dictionary))
    _, found, _ = detector.detectMarkers(canvas)
    assert found is not None
    assert sorted(found.ravel().tolist()) == sorted(marker.identifier for marker in LAYOUT.markers.values())


def test_the_drawing_is_neutral():
    assert tinted(sheet_picture(LAYOUT)) == set()
