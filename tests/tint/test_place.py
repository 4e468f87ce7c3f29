"""Which toners from outside the mix are thought of, and in which order."""

from dataclasses import replace

import pytest

from match.colorimetry import metric_root
from match.tint.mix_known import know_mix
from match.tint.place import Place, outside_toners
from match.tint.tinting import Wanted
from tests.tint.table import LIMITS, SHELF, job, lab_of

MIX = {"white": 80.0, "black": 1.0, "green-shade blue": 3.0}


def placed(car, shelf=SHELF):
    known = know_mix(replace(job(MIX, car), shelf=shelf), LIMITS)
    return Place(known, LIMITS, metric_root(car), 0.8, Wanted())


def test_from_outside_come_all_toners_but_those_of_the_mix_and_their_weak_versions():
    shelf = {**SHELF, "weak black": replace(SHELF["black"], name="weak black", weak_of="black")}
    outside = placed(lab_of(MIX), shelf).outside
    assert set(outside) == set(SHELF) - set(MIX)
    assert len(set(outside)) == len(outside)


@pytest.mark.parametrize("name", ["magenta", "violet", "yellow", "green"])
def test_the_toner_that_the_cars_paint_holds_is_among_the_first_tried(name):
    # Source: the recipe itself. Of duller toners, such as oxide red, clearer ones with the mix's own take the place.
    place = placed(lab_of({**MIX, name: 4.0}))
    assert name in outside_toners(place, place.known.shares_now, ())
