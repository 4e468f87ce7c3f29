"""From a spectrum to a camera's numbers, and from those to linear light in a display's primaries.

Camera value = sum over wavelength of lamp x reflectance x sensitivity. Lamps, measured sensitivities and the 24-patch
chart (ISO 17321-1) are the published ones that colour-science carries. Sums run over 380 to 780 nm by 1 nm, with the
31-band reflectances joined by straight lines and held constant beyond 400 and 700 nm, so a lamp's narrow lines count.
"""

from functools import cache

import numpy as np

from match.colorimetry import Array, colour_science
from match.demo.scene.description import COLORIMETRIC_SENSOR, Camera, Profile
from match.errors import MatchError
from match.tint.pigment import WAVELENGTHS_NM

FINE_NM: Array = np.arange(380.0, 781.0, 1.0)
OBSERVER = "CIE 1931 2 Degree Standard Observer"
CHART = "ISO 17321-1"


@cache
def lamp_power(name: str) -> Array:
    """Return the spectral power of a published lamp at :data:`FINE_NM`, (401,), of any scale."""
    distributions = colour_science().SDS_ILLUMINANTS
    if name not in distributions:
        raise MatchError(f"no lamp is called {name!r}: use a published name such as D65, A, FL11 or LED-B3")
    found = distributions[name]
    return np.asarray(np.interp(FINE_NM, found.wavelengths, found.values), dtype=np.float64)


@cache
def measured_sensitivities(sensor: int) -> Array:
    """Return R, G, B sensitivities of camera ``sensor`` at :data:`FINE_NM`, (401, 3); zero where not measured."""
    colour = colour_science()
    if sensor == COLORIMETRIC_SENSOR:
        found = colour.MSDS_CMFS[OBSERVER]
    else:
        cameras = list(colour.MSDS_CAMERA_SENSITIVITIES.values())
        if not 0 <= sensor < len(cameras):
            raise MatchError(f"no camera has the index {sensor}: use 0 to {len(cameras) - 1}")
        found = cameras[sensor]
    columns = [
        np.interp(FINE_NM, found.wavelengths, column, left=0.0, right=0.0) for column in np.transpose(found.values)
    ]
    return np.asarray(np.maximum(np.stack(columns, axis=-1), 0.0), dtype=np.float64)


def sensitivities(camera: Camera) -> Array:
    """Return the camera's sensitivities (401, 3): the measured ones shifted and widened by a few nm.

    No two sensors of one make are alike to the nanometre, and filters of other makes differ by several; a shift of a
    few nm and a Gaussian widening stay physically plausible: non-negative, single-peaked where the measured ones are.
    """
    measured = measured_sensitivities(camera.sensor)
    shifted = np.stack(
        [
            np.interp(FINE_NM - shift, FINE_NM, column)
            for shift, column in zip(camera.sensor_shift_nm, measured.T, strict=True)
        ],
        axis=-1,
    )
    if camera.sensor_blur_nm < 0.1:  # the grid of 1 nm cannot tell it from none
        return shifted
    kernel = np.exp(-0.5 * ((FINE_NM - FINE_NM[200]) / camera.sensor_blur_nm) ** 2)
    kernel /= kernel.sum()
    return np.asarray(np.stack([np.convolve(column, kernel, mode="same") for column in shifted.T], axis=-1))


@cache
def _band_weights() -> Array:
    """Return (401, 31): fine reflectance = this @ 31-band reflectance."""
    return np.stack([np.interp(FINE_NM, WAVELENGTHS_NM, unit) for unit in np.eye(WAVELENGTHS_NM.size)], axis=-1)


def response_weights(camera: Camera, lamp: str) -> Array:
    """Return (31, 3): reflectance @ weights = camera values, green 1 for a perfect white under this lamp."""
    fine = sensitivities(camera) * lamp_power(lamp)[:, None]
    return np.asarray(_band_weights().T @ fine / fine[:, 1].sum())


@cache
def chart_reflectances() -> Array:
    """Return the 24 published chart spectra at the 31 bands, (24, 31); the last six are the neutral row."""
    patches = colour_science().SDS_COLOURCHECKERS[CHART].values()
    return np.stack([np.interp(WAVELENGTHS_NM, patch.wavelengths, patch.values) for patch in patches])


@cache
def display_matrix(profile: Profile) -> Array:
    """Return XYZ (Y = 1 for white) -> linear RGB of the profile's primaries, (3, 3), D65."""
    colour = colour_science()
    space = colour.RGB_COLOURSPACES["sRGB" if profile == "srgb" else "Display P3"]
    return np.asarray(np.linalg.inv(colour.normalised_primary_matrix(space.primaries, space.whitepoint)))


@cache
def colour_matrix(camera: Camera, lamp: str) -> Array:
    """Return the (3, 3) matrix from white-balanced camera values to linear light in the profile's primaries.

    Least squares over the 24 chart spectra seen under ``lamp``, against their colours under D65 (the 2 degree observer,
    through :func:`response_weights` of the colour-matching functions), with each row summing to 1 so that a white stays
    white.
    """
    seen = _balanced(chart_reflectances(), camera, lamp)
    wanted = chart_colours(camera.profile)
    # Row sums of 1: regress (wanted - blue) on (red - blue) and (green - blue), and give blue the rest.
    others = seen[:, :2] - seen[:, 2:]
    solution, *_ = np.linalg.lstsq(others, wanted - seen[:, 2:], rcond=None)
    return np.column_stack([solution.T, 1 - solution.sum(axis=0)])


def _balanced(reflectances: Array, camera: Camera, lamp: str) -> Array:
    weights = response_weights(camera, lamp)
    return np.asarray(reflectances @ weights / weights.sum(axis=0))


def chart_colours(profile: Profile) -> Array:
    """Return the chart's true linear RGB (24, 3) under D65 in the profile's primaries, white (1, 1, 1)."""
    return display_colour(chart_reflectances(), profile)


def display_colour(reflectances: Array, profile: Profile) -> Array:
    """Return linear RGB (..., 3) of reflectances (..., 31) under D65, white exactly (1, 1, 1)."""
    weights = response_weights(Camera(), "D65")
    to_display = display_matrix(profile)
    white = np.linalg.solve(to_display, np.ones(3))
    return np.asarray(reflectances @ (weights / weights.sum(axis=0) * white) @ to_display.T)


def rendering_matrix(camera: Camera, lamp: str) -> Array:
    """Return the camera's own matrix: between D65's and the lamp's, then its saturation boost."""
    share = camera.matrix_lamp_share
    matrix = (1 - share) * colour_matrix(camera, "D65") + share * colour_matrix(camera, lamp)
    luminance = np.linalg.inv(display_matrix(camera.profile))[1]
    grey = np.outer(np.ones(3), luminance)
    return np.asarray((grey + camera.saturation * (np.eye(3) - grey)) @ matrix)
