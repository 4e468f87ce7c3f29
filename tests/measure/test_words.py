"""The directions of colour that have words: at right angles, each as long as a unit of CIELAB."""

import numpy as np
import pytest

from match.measure.words import off_by, worded_axes

PALE, RED, YELLOW, BLUE = [60.0, 5.0, -4.0], [40.0, 50.0, 20.0], [70.0, -8.0, 60.0], [30.0, 15.0, -50.0]


@pytest.mark.parametrize("vehicle", [PALE, RED, YELLOW, BLUE])
def test_worded_directions_are_a_rotation_of_lightness_and_the_colour_plane(vehicle):
    axes = np.array([axis for axis, _ in worded_axes(np.array(vehicle))])
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-12)
    np.testing.assert_allclose(axes[0], [1.0, 0.0, 0.0])


@pytest.mark.parametrize(
    ("vehicle", "change", "words"),
    [
        (PALE, (3.0, 0.0, 0.0), ("lighter",)),
        (PALE, (0.0, 3.0, 0.0), ("redder",)),
        (PALE, (0.0, 0.0, -3.0), ("bluer",)),
        (RED, (0.0, 5.0, 2.0), ("more chromatic",)),  # away from the neutral axis along the car's own hue
        (YELLOW, (0.0, 0.8, -6.0), ("less chromatic",)),
        (RED, (0.0, -2.0, 5.0), ("yellower",)),  # at right angles to it
        (BLUE, (0.0, 5.0, 1.5), ("redder",)),
        (PALE, (0.5, 0.0, 0.0), ()),
    ],
)
def test_a_change_along_one_direction_is_said_by_its_word_alone(vehicle, change, words):
    """CIELAB's axes (CIE 15): +L* lighter, +a* redder, +b* yellower, and chroma the distance from neutral."""
    car = np.array(vehicle)
    assert off_by(car + np.array(change), car, np.full(3, 0.5)) == words
