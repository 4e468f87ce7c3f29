"""What was marked, cut out of the photo and enlarged, and the photo with its marks on it: for the eye, never measured.

Both take a small upright picture of the photo, as :meth:`match.photo.load.Photo.preview` gives it, and the marks in the
full photo's pixels.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from match.photo.regions import LABELS, Region

Picture = NDArray[np.uint8]

SURROUND = 0x94
"""Code of the neutral grey around a cut-out: a Munsell N6, as around every colour shown."""

MARGIN = 0.25
"""Engineering choice: of the box's longer side, shown around it, so that what it lies on is seen."""

DARK, LIGHT = 0x16, 0xFF


def box_names(regions: Sequence[Region]) -> list[str]:
    """Return each region's name as it stands on the photo: ``Card``, ``Grey 18 %``, ``Car (2)``."""
    plain = [region.label or LABELS[region.kind] + _share(region) for region in regions]
    return [
        f"{name} ({plain[: index + 1].count(name)})" if plain.count(name) > 1 else name
        for index, name in enumerate(plain)
    ]


def _share(region: Region) -> str:
    return "" if region.reflectance is None else f" {round(region.reflectance * 100, 1):g} %"


def cut_outs(
    preview: Picture, photo_size_px: tuple[int, int], regions: Sequence[Region], side_px: int = 144
) -> tuple[Picture, ...]:
    """Return one square picture (side, side, 3) of each region: the box with a little around it, on neutral grey.

    Parameters
    ----------
    preview : (rows, columns, 3) the upright photo, of any size
    photo_size_px : width and height of the full photo, in whose pixels the regions are
    regions : what to cut out
    side_px : of each square
    """
    return tuple(_cut_out(preview, _scale(preview, photo_size_px), region, side_px) for region in regions)


def _scale(preview: Picture, photo_size_px: tuple[int, int]) -> tuple[float, float]:
    return preview.shape[1] / photo_size_px[0], preview.shape[0] / photo_size_px[1]


def _cut_out(preview: Picture, scale: tuple[float, float], region: Region, side_px: int) -> Picture:
    left, top, right, bottom = _corners(region, scale)
    margin = MARGIN * max(right - left, bottom - top)
    height, width = preview.shape[:2]
    x0, y0 = max(0, int(left - margin)), max(0, int(top - margin))
    x1, y1 = min(width, int(np.ceil(right + margin))), min(height, int(np.ceil(bottom + margin)))
    square = np.full((side_px, side_px, 3), SURROUND, dtype=np.uint8)
    if x1 <= x0 or y1 <= y0:
        return square
    times = side_px / max(x1 - x0, y1 - y0)
    size = max(1, round((x1 - x0) * times)), max(1, round((y1 - y0) * times))
    how = cv2.INTER_AREA if times < 1.0 else cv2.INTER_LINEAR
    shown = np.asarray(cv2.resize(np.ascontiguousarray(preview[y0:y1, x0:x1]), size, interpolation=how), dtype=np.uint8)
    x, y = (side_px - size[0]) // 2, (side_px - size[1]) // 2
    square[y : y + size[1], x : x + size[0]] = shown
    corner = round(x + (left - x0) * times), round(y + (top - y0) * times)
    opposite = round(x + (right - x0) * times), round(y + (bottom - y0) * times)
    _outline(square, corner, opposite)
    return square


def _corners(region: Region, scale: tuple[float, float]) -> tuple[float, float, float, float]:
    across, down = scale
    return (
        region.x * across,
        region.y * down,
        (region.x + region.width) * across,
        (region.y + region.height) * down,
    )


def _outline(picture: Picture, corner: tuple[int, int], opposite: tuple[int, int]) -> None:
    """Draw a box that shows on light and on dark alike."""
    cv2.rectangle(picture, corner, opposite, (DARK, DARK, DARK), 3)
    cv2.rectangle(picture, corner, opposite, (LIGHT, LIGHT, LIGHT), 1)


def with_marks(
    preview: Picture, photo_size_px: tuple[int, int], regions: Sequence[Region], names: Sequence[str]
) -> Picture:
    """Return a copy of the upright photo with every region outlined and named.

    Parameters
    ----------
    preview, photo_size_px, regions : as for :func:`cut_outs`
    names : of the regions, in plain Latin letters
    """
    drawn = np.ascontiguousarray(preview).copy()
    size = max(0.4, max(drawn.shape[:2]) / 1600)
    for region, name in zip(regions, names, strict=True):
        left, top, right, bottom = (round(value) for value in _corners(region, _scale(preview, photo_size_px)))
        _outline(drawn, (left, top), (right, bottom))
        (wide, tall), below = cv2.getTextSize(name, cv2.FONT_HERSHEY_SIMPLEX, size, 1)
        foot = top - 4 if top - tall - below - 8 >= 0 else bottom + tall + 8
        x = min(max(left, 0), max(drawn.shape[1] - wide - 6, 0))
        cv2.rectangle(drawn, (x, foot - tall - 4), (x + wide + 6, foot + below), (DARK, DARK, DARK), -1)
        white = (LIGHT, LIGHT, LIGHT)
        cv2.putText(drawn, name, (x + 3, foot - 1), cv2.FONT_HERSHEY_SIMPLEX, size, white, 1, cv2.LINE_AA)
    return drawn
