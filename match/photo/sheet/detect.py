"""Read the capture sheet on a photo: its windows as regions, its scale, and where the camera stood.

The composition of ``markers`` (where the marks are), ``view`` (the camera) and ``inside`` (upright rectangles).
"""

from dataclasses import dataclass, replace
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from match.calibration import quantity
from match.colorimetry import Array
from match.photo.regions import MINIMUM_SIDE_PX, Kind, Region
from match.photo.sheet.inside import largest_upright_rectangle
from match.photo.sheet.layout import SheetLayout, Window, hatch_mm
from match.photo.sheet.markers import DetectionSettings, find_markers, side_px
from match.photo.sheet.view import View, ViewSettings, fit_view

Grey = NDArray[np.uint8]

HATCH_PX_PER_MM = 2.0
BY_HAND = "or mark the regions by hand"


@dataclass(frozen=True)
class WindowSettings:
    """How a window becomes a region; see ``calibration/capture.toml``."""

    margin_mm: float = quantity("mm")
    margin_spread: float = quantity("standard deviations")
    hatch_correlation: float = quantity("1")


@dataclass(frozen=True)
class SheetFile:
    """The parts of ``calibration/capture.toml`` that reading the sheet needs."""

    sheet: SheetLayout
    sheet_of_three: SheetLayout
    detection: DetectionSettings
    view: ViewSettings
    windows: WindowSettings

    @property
    def layouts(self) -> tuple[SheetLayout, ...]:
        """Every layout that a photo may show."""
        return self.sheet, self.sheet_of_three


@dataclass(frozen=True, eq=False)
class WindowReading:
    """A window as the photo shows it.

    Attributes
    ----------
    name : its name in the layout
    kind : what it shows
    corners_px : (4, 2) clockwise from the printed top left; may lie outside the photo
    region : the largest upright rectangle well inside it, None when there is none or the window is not cut out
    cut_out : False when the printed stripes are still seen in it
    """

    name: str
    kind: Kind
    corners_px: Array
    region: Region | None
    cut_out: bool


@dataclass(frozen=True, eq=False)
class SheetReading:
    """What the sheet says about a photo.

    Attributes
    ----------
    windows : every window of the layout
    markers_px : marker name to its corners (4, 2) on the photo, clockwise from the printed top left
    homography : (3, 3) from sheet mm to photo px
    corner_error_px : root mean square distance between the marks' corners and the fitted sheet
    mm_per_px : scale at the card's middle, the mean of both directions
    tilt_deg : angle between the line of sight at the card's middle and the sheet's normal, 0 for head-on
    tilt_sd_deg : its standard deviation along its worst direction
    towards_deg : to which side the camera leans: 0 the sheet's top, 90 its right, -90 its left, 180 its bottom
    roll_deg : how far the sheet's top is turned clockwise on the photo
    distance_mm : from the camera to the card's middle; a rough figure where the focal length is not stated
    notes : plain sentences on what is missing or doubtful
    """

    windows: tuple[WindowReading, ...]
    markers_px: dict[str, Array]
    homography: Array
    corner_error_px: float
    mm_per_px: float
    tilt_deg: float
    tilt_sd_deg: float
    towards_deg: float
    roll_deg: float
    distance_mm: float
    notes: tuple[str, ...]

    @property
    def regions(self) -> tuple[Region, ...]:
        """The regions of all windows that can be measured."""
        return tuple(window.region for window in self.windows if window.region is not None)


@dataclass(frozen=True, eq=False)
class SheetSearch:
    """The outcome of looking for the sheet: a reading, or the reason why there is none (empty when there is one).

    ``saw_sheet`` says whether at least one of its marks was read, though that gave no reading.
    """

    reading: SheetReading | None
    reason: str = ""
    saw_sheet: bool = False


def read_sheet(grey: Grey, file: SheetFile, *, grey_reflectance: float, focal_35mm: float | None = None) -> SheetSearch:
    """Look for the capture sheet on a photo.

    Parameters
    ----------
    grey : (h, w) uint8, the upright photo's encoded grey values
    file : layout and settings
    grey_reflectance : luminous reflectance (0 to 1) of the card in the grey window
    focal_35mm : focal length as the Exif block states it, in mm of 35 mm equivalent; None when it does not. Leave it
        None for a cropped photo: the stated length no longer fits it.

    Returns
    -------
    A reading when at least two marks agree on where the sheet is, else a plain reason.
    """
    every = find_markers(grey, file.layouts, file.detection)
    layout = max(file.layouts, key=lambda each: len(_names(each).keys() & every.keys()))
    names = _names(layout)
    found = {identifier: corners for identifier, corners in every.items() if identifier in names}
    kept = _agreeing(found, layout, file.detection.stray_corner)
    if len(kept) < 2:
        return _no_sheet([names[identifier] for identifier in found])
    places = layout.marker_corners_mm()
    corners_mm = np.concatenate([places[identifier] for identifier in kept])
    corners_px = np.concatenate([found[identifier] for identifier in kept])
    height, width = grey.shape
    view = fit_view(corners_mm, corners_px, (width, height), file.view, focal_35mm)
    if view is None:
        return _no_sheet([names[identifier] for identifier in kept])
    windows = tuple(
        _read_window(grey, name, window, view, file, layout, grey_reflectance)
        for name, window in layout.windows.items()
    )
    missing = [name for identifier, name in names.items() if identifier not in kept]
    middle = layout.card_centre_mm()
    return SheetSearch(
        SheetReading(
            windows=windows,
            markers_px={names[identifier]: found[identifier] for identifier in kept},
            homography=view.homography(),
            corner_error_px=view.corner_error_px,
            mm_per_px=view.mm_per_px(middle),
            tilt_deg=view.tilt_deg(middle),
            tilt_sd_deg=view.tilt_sd_deg(middle),
            towards_deg=view.towards_deg(middle),
            roll_deg=view.roll_deg(),
            distance_mm=view.distance_mm(middle),
            notes=(*_marker_notes(missing), *_window_notes(windows)),
        )
    )


def scaled(reading: SheetReading, scale: float, size_px: tuple[int, int]) -> SheetReading:
    """Return the reading of a reduced picture in pixels of its photo, ``scale`` times as large: ``size_px`` wide, high.

    Pixels are counted from their centres, so that (x + 0.5) scales.
    """
    if scale == 1.0:
        return reading
    windows = tuple(
        replace(
            window,
            corners_px=(window.corners_px + 0.5) * scale - 0.5,
            region=None if window.region is None else window.region.scaled(scale, size_px),
        )
        for window in reading.windows
    )
    shift = (scale - 1.0) / 2.0
    return replace(
        reading,
        windows=windows,
        markers_px={name: (corners + 0.5) * scale - 0.5 for name, corners in reading.markers_px.items()},
        homography=np.array([[scale, 0.0, shift], [0.0, scale, shift], [0.0, 0.0, 1.0]]) @ reading.homography,
        corner_error_px=reading.corner_error_px * scale,
        mm_per_px=reading.mm_per_px / scale,
    )


def _names(layout: SheetLayout) -> dict[int, str]:
    return {marker.identifier: name for name, marker in layout.markers.items()}


def _agreeing(found: dict[int, Array], layout: SheetLayout, stray_corner: float) -> list[int]:
    """Return the largest set of markers, best fitting first, whose corners one flat sheet explains; else empty."""
    places = layout.marker_corners_mm()
    for count in range(len(found), 1, -1):
        fitting = []
        for chosen in combinations(sorted(found), count):
            miss = _stray(np.stack([places[i] for i in chosen]), np.stack([found[i] for i in chosen]))
            if miss < stray_corner:
                fitting.append((miss, chosen))
        if fitting:
            return list(min(fitting)[1])
    return []


def _stray(corners_mm: Array, corners_px: Array) -> float:
    """Return the largest distance of a corner from one common homography, as a fraction of its marker's side."""
    flat_mm, flat_px = corners_mm.reshape(-1, 2), corners_px.reshape(-1, 2)
    homography, _ = cv2.findHomography(flat_mm, flat_px, 0)
    if homography is None:
        return float("inf")
    seen = cv2.perspectiveTransform(flat_mm[:, None], homography)[:, 0]
    away = np.linalg.norm(seen - flat_px, axis=1).reshape(-1, 4).max(axis=1)
    sides = np.array([side_px(corners) for corners in corners_px])
    return float(np.max(away / sides))


def _read_window(
    grey: Grey, name: str, window: Window, view: View, file: SheetFile, layout: SheetLayout, grey_reflectance: float
) -> WindowReading:
    corners_px = view.project(window.corners_mm())
    cut_out = _hatch_correlation(grey, window, view, layout) < file.windows.hatch_correlation
    region = _region(grey.shape, window, view, file, grey_reflectance) if cut_out else None
    return WindowReading(name, window.shows, corners_px, region, cut_out)


def _region(
    shape: tuple[int, ...], window: Window, view: View, file: SheetFile, grey_reflectance: float
) -> Region | None:
    """Return the largest upright rectangle in the window, clear of its edges by the margin and by what is unsure."""
    spread_px = float(np.max(view.spread_px(window.corners_mm())))
    middle = window.corners_mm().mean(axis=0)
    inset_mm = file.windows.margin_mm + file.windows.margin_spread * spread_px * view.mm_per_px(middle)
    if 2 * inset_mm >= min(window.width_mm, window.height_mm):
        return None
    fitted = largest_upright_rectangle(view.project(window.corners_mm(inset_mm)), shape[1], shape[0])
    if fitted is None or min(fitted[2:]) < MINIMUM_SIDE_PX:
        return None
    return Region(window.shows, *fitted, grey_reflectance if window.shows is Kind.GREY else None)


def _hatch_correlation(grey: Grey, window: Window, view: View, layout: SheetLayout) -> float:
    """Return how well the window shows the print it carries before it is cut out, -1 to 1."""
    width, height = (round(side * HATCH_PX_PER_MM) for side in (window.width_mm, window.height_mm))
    step = 1.0 / HATCH_PX_PER_MM
    to_mm = np.array([[step, 0, window.left_mm + step / 2], [0, step, window.top_mm + step / 2], [0, 0, 1.0]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    seen = cv2.warpPerspective(grey, view.homography() @ to_mm, (width, height), flags=flags).astype(np.float64)
    columns, rows = np.meshgrid(np.arange(width, dtype=np.float64), np.arange(height, dtype=np.float64))
    x_mm = np.asarray(window.left_mm + (columns + 0.5) * step)
    printed = hatch_mm(x_mm, np.asarray(window.top_mm + (rows + 0.5) * step), layout)
    shown, expected = seen - seen.mean(), printed.mean() - printed
    size = float(np.sqrt(np.sum(shown**2) * np.sum(expected**2)))
    return float(np.sum(shown * expected)) / size if size > 0 else 0.0


def _no_sheet(read: list[str]) -> SheetSearch:
    return SheetSearch(None, _missing_reason(read), saw_sheet=bool(read))


def _missing_reason(read: list[str]) -> str:
    if not read:
        return (
            "The capture sheet was not found: none of its four black marks can be read. Take the photo again with "
            f"them sharp, whole and free of glare, {BY_HAND}."
        )
    words = " and ".join(name.replace("-", " ") for name in read)
    if len(read) == 1:
        return (
            f"Only the sheet's {words} mark can be read, and two are needed. Take the photo again with all four in "
            f"the picture, {BY_HAND}."
        )
    return (
        f"The marks that were read ({words}) do not lie where one flat sheet has them. Lay the sheet flat and see "
        f"that only one is in the picture, {BY_HAND}."
    )


def _marker_notes(missing: list[str]) -> list[str]:
    if not missing:
        return []
    words = " and ".join(name.replace("-", " ") for name in missing)
    return [f"The sheet's {words} mark could not be read; the others were enough. Check where the regions lie."]


def _window_notes(windows: tuple[WindowReading, ...]) -> list[str]:
    notes = []
    for window in windows:
        name = f"{window.name.replace('-', ' ')} window"
        if not window.cut_out:
            notes.append(f"The {name} shows the printed stripes: cut it out, and take the photo again.")
        elif window.region is None:
            notes.append(f"The {name} is too small or too uncertain on this photo, or outside it: go closer.")
    return notes
