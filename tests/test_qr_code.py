"""QR codes are read back by another library's decoder: OpenCV's, which shares no code with the encoder."""

import re

import cv2
import numpy as np
import pytest

from match.qr_code import MOST_BYTES, QUIET_ZONE, qr_picture, qr_squares


def _read(squares):
    light = np.pad(np.where(squares, 0, 255).astype(np.uint8), QUIET_ZONE, constant_values=255)
    return cv2.QRCodeDetector().detectAndDecode(np.kron(light, np.ones((6, 6), np.uint8)))[0]


@pytest.mark.parametrize(
    "text",
    [
        "https://192.168.178.21:8502/enter#Zm9vYmFyYmF6cXV4Zm9vYg",
        "http://[fd00::2]:8502/enter#a-b_c",
        "0123456789" * 3,
        "CARD HS 12-7",
        "Grün, Ωmega, Жук",
        "x" * 200,
    ],
)
def test_a_code_is_read_back_as_it_was_given(text):
    assert _read(qr_squares(text)) == text


def test_a_code_is_as_large_as_the_standard_says():
    """ISO/IEC 18004:2015, table 7: version 1-M holds 14 bytes, 2-M 26; a version has 17 + 4 v squares a side."""
    assert qr_squares("a" * 14).shape == (21, 21)
    assert qr_squares("a" * 15).shape == (25, 25)
    assert qr_squares("a" * 26).shape == (25, 25)
    assert qr_squares("a" * 27).shape == (29, 29)


def test_the_picture_holds_the_same_squares():
    squares = qr_squares("https://192.0.2.7:8502/")
    drawn = np.zeros_like(squares)
    for x, y, run in re.findall(r"M(\d+) (\d+)h(\d+)v1", qr_picture("https://192.0.2.7:8502/")):
        column = int(x) - QUIET_ZONE
        drawn[int(y) - QUIET_ZONE, column : column + int(run)] = True
    assert (drawn == squares).all()


def test_a_text_too_long_to_be_read_is_refused():
    with pytest.raises(ValueError, match="500 bytes"):
        qr_squares("ü" * (MOST_BYTES // 2 + 1))
