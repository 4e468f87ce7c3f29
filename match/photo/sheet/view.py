"""Where the camera stood: one fit of a pinhole camera to the sheet's marker corners, with what it leaves uncertain.

The textbook camera: a point X on the sheet (z = 0; x right, y down, z into the panel) is seen at K (R X + t), with
square pixels. Focal length and image centre are unknown but not free: a phone's usual values enter as observations with
a spread, so a head-on photo (which says nothing about them) leaves the spread, and a slanted one narrows it. The same
covariance then gives the uncertainty of tilt and of any place on the sheet.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from scipy.optimize import least_squares

from match.calibration import quantity
from match.colorimetry import Array

FULL_FRAME_DIAGONAL_MM = float(np.hypot(36.0, 24.0))
"""A 35 mm equivalent focal length compares diagonals with the 36 x 24 mm frame (CIPA DCG-001, from memory)."""

_ROTATION, _SHIFT, _LOG_FOCAL, _CENTRE = slice(0, 3), slice(3, 6), 6, slice(7, 9)


@dataclass(frozen=True)
class ViewSettings:
    """What is known about a camera before looking; see ``calibration/capture.toml``."""

    corner_sd_px: float = quantity("px")
    usual_focal_mm: float = quantity("mm, 35 mm equivalent")
    usual_focal_sd: float = quantity("log units")
    stated_focal_sd: float = quantity("log units")
    centre_sd: float = quantity("fraction of the diagonal")
    mirrored_doubt: float = quantity("chi-square units")


@dataclass(frozen=True, eq=False)
class View:
    """A camera fitted to the sheet.

    Attributes
    ----------
    parameters : (9,) rotation vector (3), shift in mm (3), logarithm of the focal length in px, image centre in px (2)
    covariance : (9, 9) of the parameters
    corner_error_px : root mean square distance between seen and fitted corners
    other_direction : (3,) the direction to the camera in the mirrored solution, when the corners cannot rule it out
    """

    parameters: Array
    covariance: Array
    corner_error_px: float
    other_direction: Array | None = None

    def project(self, points_mm: Array) -> Array:
        """Return where points (n, 2) mm on the sheet are seen, (n, 2) px."""
        return _project(self.parameters, points_mm)[0]

    def spread_px(self, points_mm: Array) -> Array:
        """Return the standard deviation (n,) px, along its worst direction, of where points (n, 2) mm are seen."""
        slopes = _project(self.parameters, points_mm)[1].reshape(-1, 2, 9)
        return np.asarray(np.sqrt(np.linalg.eigvalsh(slopes @ self.covariance @ slopes.transpose(0, 2, 1))[:, -1]))

    def homography(self) -> Array:
        """Return the matrix (3, 3) from sheet mm to photo px, in homogeneous coordinates."""
        rotation = _rotation(self.parameters)
        plane = np.column_stack([rotation[:, 0], rotation[:, 1], self.parameters[_SHIFT]])
        return np.asarray(_camera_matrix(self.parameters) @ plane)

    def mm_per_px(self, point_mm: Array) -> float:
        """Return the sheet's mm per pixel at a point (2,), the geometric mean of its two directions."""
        step = np.array([[-0.5, 0.0], [0.5, 0.0], [0.0, -0.5], [0.0, 0.5]])
        seen = self.project(point_mm + step)
        return float(1.0 / np.sqrt(abs(np.linalg.det(np.stack([seen[1] - seen[0], seen[3] - seen[2]])))))

    def direction(self, point_mm: Array) -> Array:
        """Return the unit vector (3,) in sheet axes from a point (2,) mm on the sheet to the camera."""
        return _direction(self.parameters, point_mm)

    def tilt_deg(self, point_mm: Array) -> float:
        """Return the angle between the line of sight at a point (2,) mm and the sheet's normal, 0 for head-on."""
        return float(np.degrees(np.arccos(np.clip(-self.direction(point_mm)[2], -1.0, 1.0))))

    def towards_deg(self, point_mm: Array) -> float:
        """Return to which side the camera leans, -180 to 180: 0 the sheet's top, 90 its right."""
        x, y, _ = self.direction(point_mm)
        return float(np.degrees(np.arctan2(x, -y)))

    def tilt_sd_deg(self, point_mm: Array) -> float:
        """Return the standard deviation of the line of sight's angle, along its worst direction, in degrees.

        Where the mirrored solution fits as well, the angle between the two is the answer if it is larger.
        """

        def direction(parameters: Array) -> Array:
            return _direction(parameters, point_mm)

        slopes = _slopes(direction, self.parameters)
        spread = float(np.sqrt(np.linalg.eigvalsh(slopes @ self.covariance @ slopes.T)[-1]))
        if self.other_direction is not None:
            between = np.arccos(np.clip(self.other_direction @ self.direction(point_mm), -1.0, 1.0))
            spread = max(spread, float(between))
        return float(np.degrees(spread))

    def roll_deg(self) -> float:
        """Return how far the sheet's top is turned clockwise on the photo, -180 to 180."""
        down = _rotation(self.parameters)[:2, 1]
        return float(np.degrees(np.arctan2(-down[0], down[1])))

    def distance_mm(self, point_mm: Array) -> float:
        """Return how far the camera is from a point (2,) mm; no surer than the focal length."""
        return float(np.linalg.norm(_camera_place(self.parameters) - np.append(point_mm, 0.0)))


def focal_px(focal_35mm: float, width_px: int, height_px: int) -> float:
    """Return a 35 mm equivalent focal length in pixels of an uncropped photo."""
    return focal_35mm * float(np.hypot(width_px, height_px)) / FULL_FRAME_DIAGONAL_MM


def fit_view(
    corners_mm: Array,
    corners_px: Array,
    size_px: tuple[int, int],
    settings: ViewSettings,
    focal_35mm: float | None = None,
) -> View | None:
    """Fit a camera to corners on the sheet (n, 2) and on the photo (n, 2), n >= 8; None when no fit makes sense.

    Parameters
    ----------
    size_px : width and height of the photo
    focal_35mm : the focal length the photo's Exif block states, in mm of 35 mm equivalent, when it states one
    """
    width, height = size_px
    focal_mm, focal_sd = settings.usual_focal_mm, settings.usual_focal_sd
    if focal_35mm is not None and focal_35mm > 0:
        focal_mm, focal_sd = focal_35mm, settings.stated_focal_sd
    centre_sd = settings.centre_sd * np.hypot(width, height)
    usual = np.array([np.log(focal_px(focal_mm, width, height)), (width - 1) / 2, (height - 1) / 2])
    usual_sd = np.array([focal_sd, centre_sd, centre_sd])
    fits = [
        fit
        for start in _starts(corners_mm, corners_px, usual)
        if (fit := _fit(start, corners_mm, corners_px, usual, usual_sd, settings)) is not None
    ]
    if not fits:
        return None
    corner_sd = min(fit.corner_sd for fit in fits)
    best, *others = sorted(fits, key=lambda fit: fit.misfit(corner_sd))
    middle, view = corners_mm.mean(axis=0), best.view
    for other in others:
        apart = other.view.direction(middle) @ view.direction(middle)
        in_doubt = other.misfit(corner_sd) - best.misfit(corner_sd) < settings.mirrored_doubt
        if in_doubt and apart < np.cos(np.radians(1.0)):
            return replace(view, other_direction=other.view.direction(middle))
    return view


@dataclass(frozen=True, eq=False)
class _Fit:
    """A camera with the squares it leaves: of the corners in px, and of the usual values in standard deviations."""

    view: View
    corner_sd: float
    squares_px: float
    squares_usual: float

    def misfit(self, corner_sd: float) -> float:
        """Return chi-square with a corner scatter common to the fits compared."""
        return self.squares_px / corner_sd**2 + self.squares_usual


def _starts(corners_mm: Array, corners_px: Array, usual: Array) -> list[Array]:
    """Return a pose (9,) at the usual focal length, and the mirrored one that a flat sheet from afar allows as well.

    The first is Zhang's (2000, IEEE TPAMI 22:1330): the homography's columns, freed of K, are r1, r2 and t. The second
    turns the sheet's normal to the other side of the line of sight.
    """
    homography, _ = cv2.findHomography(corners_mm, corners_px, 0)
    if homography is None:
        return []
    columns = np.linalg.inv(_camera_matrix(np.concatenate([np.zeros(6), usual]))) @ homography
    columns = columns / np.sqrt(np.linalg.norm(columns[:, 0]) * np.linalg.norm(columns[:, 1]))
    columns = columns * np.sign(columns[2, 2])
    u, _, v = np.linalg.svd(np.column_stack([columns[:, :2], np.cross(columns[:, 0], columns[:, 1])]))
    rotation, shift = u @ v, columns[:, 2]
    middle = rotation @ np.append(corners_mm.mean(axis=0), 0.0) + shift
    sight, normal = middle / np.linalg.norm(middle), rotation[:, 2]
    mirrored_normal = 2 * (normal @ sight) * sight - normal
    axis = np.cross(normal, mirrored_normal)
    sine = np.linalg.norm(axis)
    turn = axis / sine * np.arctan2(sine, normal @ mirrored_normal) if sine > 1e-9 else np.zeros(3)
    mirrored = cv2.Rodrigues(turn)[0] @ rotation
    mirrored_shift = middle - mirrored @ np.append(corners_mm.mean(axis=0), 0.0)
    return [
        np.concatenate([np.ravel(cv2.Rodrigues(pose)[0]), place, usual])
        for pose, place in ((rotation, shift), (mirrored, mirrored_shift))
    ]


def _fit(
    start: Array, corners_mm: Array, corners_px: Array, usual: Array, usual_sd: Array, settings: ViewSettings
) -> _Fit | None:
    """Return the camera nearest to ``start``, None when it is behind the sheet.

    The fit is repeated with the corners' own scatter when that is larger than expected: a sheet that is not quite flat.
    """
    corner_sd, parameters = settings.corner_sd_px, start
    for _ in range(2):

        def miss(trial: Array, sd: float = corner_sd) -> Array:
            seen = _project(trial, corners_mm)[0]
            return np.concatenate([((seen - corners_px) / sd).ravel(), (trial[6:] - usual) / usual_sd])

        def slopes(trial: Array, sd: float = corner_sd) -> Array:
            known = np.column_stack([np.zeros((3, 6)), np.diag(1.0 / usual_sd)])
            return np.vstack([_project(trial, corners_mm)[1] / sd, known])

        solved = least_squares(miss, parameters, jac=slopes, method="lm", x_scale="jac", max_nfev=100)
        parameters = np.asarray(solved.x, dtype=np.float64)
        away = np.linalg.norm(_project(parameters, corners_mm)[0] - corners_px, axis=1)
        error_px = float(np.sqrt(np.mean(away**2)))
        freedom = (2 * away.size - 6) / (2 * away.size)
        corner_sd = max(settings.corner_sd_px, error_px / np.sqrt(2.0 * freedom))
    seen_from_front = _camera_place(parameters)[2] < 0 and parameters[5] > 0
    if not (np.all(np.isfinite(parameters)) and seen_from_front):
        return None
    jacobian = slopes(parameters)
    covariance = np.asarray(np.linalg.pinv(jacobian.T @ jacobian, hermitian=True), dtype=np.float64)
    squares_usual = float(np.sum(((parameters[6:] - usual) / usual_sd) ** 2))
    return _Fit(View(parameters, covariance, error_px), corner_sd, float(np.sum(away**2)), squares_usual)


def _camera_matrix(parameters: Array) -> Array:
    focal = np.exp(parameters[_LOG_FOCAL])
    x, y = parameters[_CENTRE]
    return np.array([[focal, 0.0, x], [0.0, focal, y], [0.0, 0.0, 1.0]])


def _rotation(parameters: Array) -> Array:
    return np.asarray(cv2.Rodrigues(parameters[_ROTATION])[0], dtype=np.float64)


def _camera_place(parameters: Array) -> Array:
    """Return the camera's centre (3,) in sheet mm."""
    return np.asarray(-_rotation(parameters).T @ parameters[_SHIFT])


def _direction(parameters: Array, point_mm: Array) -> Array:
    towards = _camera_place(parameters) - np.append(point_mm, 0.0)
    return np.asarray(towards / np.linalg.norm(towards))


def _project(parameters: Array, points_mm: Array) -> tuple[Array, Array]:
    """Return pixels (n, 2) and their slopes (2n, 9) by the parameters."""
    flat = np.column_stack([points_mm, np.zeros(len(points_mm))])
    camera = _camera_matrix(parameters)
    seen, slopes = cv2.projectPoints(flat, parameters[_ROTATION], parameters[_SHIFT], camera, None)
    log_focal = (slopes[:, 6] + slopes[:, 7]) * camera[0, 0]
    return (
        np.asarray(seen, dtype=np.float64).reshape(-1, 2),
        np.column_stack([slopes[:, :6], log_focal, slopes[:, 8:10]]).astype(np.float64),
    )


def _slopes(function: Callable[[Array], Array], parameters: Array) -> Array:
    """Return central differences (m, 9) of a function of the parameters."""
    columns = []
    for index in range(parameters.size):
        step = np.zeros_like(parameters)
        step[index] = 1e-5 * max(1.0, abs(parameters[index]))
        columns.append((function(parameters + step) - function(parameters - step)) / (2 * step[index]))
    return np.column_stack(columns)
