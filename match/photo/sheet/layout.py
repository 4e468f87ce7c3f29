"""The capture sheet's geometry: the one description that the printed page and the search on a photo share.

Millimetres from the top left corner of the frame, x to the right, y down. The numbers are in
``calibration/capture.toml``; an edge loads them as ``calibration.load(SheetLayout, "capture", LAYOUT_OF_CARDS[1])``.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from match.calibration import quantity
from match.colorimetry import Array
from match.errors import CalibrationError
from match.photo.regions import Kind

LAYOUT_OF_CARDS = {1: "sheet", 3: "sheet_of_three"}
"""The table of ``calibration/capture.toml`` that holds the layout for so many cards."""

BORDER_CELLS = 1
"""An ArUco marker has one black cell around its code, the value OpenCV's detector expects unless told otherwise."""


@dataclass(frozen=True)
class Marker:
    """A marker's place and its number in the dictionary."""

    identifier: int
    left_mm: float = quantity("mm")
    top_mm: float = quantity("mm")


@dataclass(frozen=True)
class Window:
    """A window to be cut out, and what is seen through it."""

    kind: str
    label: str
    left_mm: float = quantity("mm")
    top_mm: float = quantity("mm")
    width_mm: float = quantity("mm")
    height_mm: float = quantity("mm")

    @property
    def shows(self) -> Kind:
        """What is seen through the window; raises :class:`CalibrationError` for a word that is not a kind."""
        try:
            return Kind(self.kind)
        except ValueError:
            raise CalibrationError(
                f"the sheet's window kind {self.kind!r} is not one of {', '.join(Kind)}: correct capture.toml"
            ) from None

    def corners_mm(self, inset_mm: float = 0.0) -> Array:
        """Return the corners (4, 2) clockwise from the top left, moved inwards by ``inset_mm``."""
        return rectangle_mm(self.left_mm, self.top_mm, self.width_mm, self.height_mm, inset_mm)


@dataclass(frozen=True)
class Paper:
    """A paper the sheet can be printed on."""

    label: str
    width_mm: float = quantity("mm")
    height_mm: float = quantity("mm")


@dataclass(frozen=True)
class SheetLayout:
    """Everything on the capture sheet that must be where it is; see ``calibration/capture.toml``."""

    dictionary: str
    markers: dict[str, Marker]
    windows: dict[str, Window]
    papers: dict[str, Paper]
    frame_width_mm: float = quantity("mm")
    frame_height_mm: float = quantity("mm")
    instructions_top_mm: float = quantity("mm")
    marker_side_mm: float = quantity("mm")
    hatch_period_mm: float = quantity("mm")
    hatch_line_mm: float = quantity("mm")
    ruler_across_mm: float = quantity("mm")
    ruler_down_mm: float = quantity("mm")

    def marker_corners_mm(self) -> dict[int, Array]:
        """Return each marker's corners (4, 2) clockwise from its top left, by identifier, as OpenCV orders them."""
        side = self.marker_side_mm
        return {
            marker.identifier: rectangle_mm(marker.left_mm, marker.top_mm, side, side)
            for marker in self.markers.values()
        }

    @property
    def cards(self) -> tuple[Window, ...]:
        """The windows for cards, in the order of the file."""
        return tuple(window for window in self.windows.values() if window.shows is Kind.CARD)

    def card_centre_mm(self) -> Array:
        """Return the middle (2,) of the windows for cards, where tilt and scale are reported."""
        return np.asarray(np.mean([window.corners_mm().mean(axis=0) for window in self.cards], axis=0))


def rectangle_mm(left_mm: float, top_mm: float, width_mm: float, height_mm: float, inset_mm: float = 0.0) -> Array:
    """Return the corners (4, 2) of a rectangle clockwise from the top left, moved inwards by ``inset_mm``."""
    x0, x1 = left_mm + inset_mm, left_mm + width_mm - inset_mm
    y0, y1 = top_mm + inset_mm, top_mm + height_mm - inset_mm
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def marker_dictionary(name: str) -> cv2.aruco.Dictionary:
    """Return OpenCV's predefined dictionary of that name, raising :class:`CalibrationError` for an unknown one."""
    number = getattr(cv2.aruco, name, None) if name.startswith("DICT_") else None
    if number is None:
        raise CalibrationError(f"OpenCV has no marker dictionary {name!r}: correct capture.toml, e.g. DICT_4X4_50")
    return cv2.aruco.getPredefinedDictionary(number)


def marker_cells(dictionary: str, identifier: int) -> NDArray[np.bool_]:
    """Return a marker as cells (n, n), border included, True where black; n is 6 for a 4 x 4 dictionary."""
    code = marker_dictionary(dictionary)
    cells = code.markerSize + 2 * BORDER_CELLS
    drawn = cv2.aruco.generateImageMarker(code, identifier, cells, borderBits=BORDER_CELLS)
    return np.asarray(drawn == 0)


def hatch_mm(x_mm: Array, y_mm: Array, layout: SheetLayout) -> NDArray[np.bool_]:
    """Return True where the print in an uncut window is black: stripes falling at 45 degrees to the right."""
    across = (x_mm - y_mm) / np.sqrt(2.0)
    return np.asarray(np.mod(across, layout.hatch_period_mm) < layout.hatch_line_mm)
