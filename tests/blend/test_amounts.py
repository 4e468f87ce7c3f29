"""What is poured, by hand arithmetic."""

from dataclasses import replace

import pytest

from match import calibration
from match.blend.amounts import thinned
from match.blend.job_practice import JobPractice

JOB = calibration.load(JobPractice, "practice")


@pytest.mark.parametrize(
    ("sprayed", "reduction", "paint", "reducer"), [(150.0, 0.5, 120.0, 60.0), (90.0, 2.0, 50.0, 100.0)]
)
def test_a_coat_that_is_reduced_further_holds_its_share_of_reducer_in_cup_and_gun_too(
    sprayed, reduction, paint, reducer
):
    """150 ml at half as much reducer as paint are 100 ml of paint; 20 ml more stay in the gun, and half of each."""
    mix = thinned(sprayed, reduction, replace(JOB, base=replace(JOB.base, left_in_gun=20.0)))
    assert dict(mix.parts) == {"paint": paint, "reducer": reducer}
    assert mix.reserve_ml == pytest.approx(paint + reducer - sprayed)
