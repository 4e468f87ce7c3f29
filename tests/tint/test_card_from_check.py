"""A card's covariance as it was saved, and the derivative of CIELAB in the dark."""

import numpy as np
import pytest

from match.tint.card_from_check import card_colour
from match.tint.recovery import lab_jacobian_of_reflectance
from match.tint.viewing import lab_from_reflectance, viewing

SOUND = np.array([[0.4, 0.1, 0.0], [0.1, 0.3, -0.05], [0.0, -0.05, 0.2]])


def test_a_sound_covariance_stays_as_it_was_saved():
    np.testing.assert_allclose(card_colour((50.0, 1.0, 2.0), SOUND).covariance, SOUND, atol=1e-12)


def test_a_covariance_that_rounding_made_impossible_becomes_the_nearest_that_is_none():
    """Higham 1988 (from memory): the nearest in the Frobenius norm sets the negative eigenvalues to nothing."""
    values, vectors = np.array([0.5, 0.2, -0.01]), np.linalg.qr(np.arange(9.0).reshape(3, 3) ** 1.5 + np.eye(3))[0]
    found = card_colour((50.0, 1.0, 2.0), vectors @ np.diag(values) @ vectors.T).covariance
    np.testing.assert_allclose(found, vectors @ np.diag([0.5, 0.2, 0.0]) @ vectors.T, atol=1e-12)


@pytest.mark.parametrize("level", [0.003, 0.2])
def test_the_derivative_of_cielab_is_that_of_differences_in_the_dark_too(level):
    reflectance = level * np.linspace(0.8, 1.2, 31)
    derivative = lab_jacobian_of_reflectance(reflectance, viewing())
    for band in (3, 15, 24):
        step = 1e-3 * level * np.eye(31)[band]
        change = (lab_from_reflectance(reflectance + step) - lab_from_reflectance(reflectance - step)) / (2e-3 * level)
        np.testing.assert_allclose(derivative[:, band], change, rtol=1e-4, atol=1e-6)
