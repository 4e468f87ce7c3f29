"""What a browser sends of a tap, and what it is answered."""

import math

import pytest

from match.photo.proposals.tap import Doubt, GrownBox
from match.ui.marker.marks import CHECK_KINDS
from match.ui.marker.tapped import Tap, for_browser, read_tap


def test_a_tap_is_read_as_it_was_sent():
    assert read_tap({"number": 7, "kind": "card", "x": 0.25, "y": 1}, CHECK_KINDS) == Tap(7, "card", 0.25, 1.0)


@pytest.mark.parametrize(
    "sent",
    [
        None,
        "tap",
        {},
        {"number": 7, "kind": "bus", "x": 0.5, "y": 0.5},
        {"number": 7, "kind": ["card"], "x": 0.5, "y": 0.5},
        {"number": "7", "kind": "card", "x": 0.5, "y": 0.5},
        {"number": 7, "kind": "card", "x": math.nan, "y": 0.5},
        {"number": 7, "kind": "card", "x": True, "y": 0.5},
        {"number": 7, "kind": "card", "x": 0.5, "y": 1.5},
        {"number": 7, "kind": "card", "x": 0.5},
    ],
)
def test_what_is_no_tap_is_none(sent):
    assert read_tap(sent, CHECK_KINDS) is None


def test_the_answer_holds_the_box_and_every_doubt_in_words():
    tap = Tap(7, "card", 0.5, 0.5)
    assert for_browser(tap, None)["box"] is None
    assert for_browser(tap, None)["words"]
    sure = for_browser(tap, GrownBox(0.1, 0.2, 0.3, 0.4))
    assert sure == {"number": 7, "kind": "card", "box": {"x": 0.1, "y": 0.2, "width": 0.3, "height": 0.4}, "words": ""}
    told = [for_browser(tap, GrownBox(0.1, 0.2, 0.3, 0.4, (doubt,)))["words"] for doubt in Doubt]
    assert all(told)
    assert len(set(told)) == len(Doubt)
