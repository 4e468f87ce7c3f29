"""A check's document: what is written is read, unknown keys stay, and each fault is one sentence that names it."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from match.check.saved import FORMAT, VERSION, read_saved, usable
from match.check.verdict import Finish, Junction, Verdict
from match.errors import SavedCheckError
from match.files import parse_json
from match.photo.region_table import region_table
from match.photo.regions import Kind, Region
from tests.tint.checks import MIX, check

NEW = {"format": FORMAT, "version": VERSION}
side = st.integers(12, 3000)
regions = st.builds(
    lambda kind, x, y, width, height, r: Region(kind, x, y, width, height, r if kind is Kind.GREY else None),
    st.sampled_from(Kind),
    st.integers(0, 5000),
    st.integers(0, 5000),
    side,
    side,
    st.floats(0.01, 1.0),
)
colour = st.lists(st.floats(-100, 100).map(lambda value: round(value, 4)), min_size=3, max_size=3)
UNKNOWN = [0, VERSION + 1, 2.5, True, "2", None, 10**5000, [2]]
FAULT = {"code": "burnt", "text": "The card is burnt out.", "remedy": "Expose less.", "spoils": True}
DOUBT = {"code": "undecided", "text": "Too wide.", "remedy": "Add a photo.", "spoils": True}


@st.composite
def documents(draw):
    """Documents as they are written: figures rounded to four decimals, and keys that nobody knows yet."""
    card, vehicle = draw(colour), draw(colour)
    root = np.array([draw(colour) for _ in range(3)]) / 10
    low, high = sorted(draw(st.tuples(st.floats(0, 50), st.floats(0, 50))))
    more = draw(
        st.dictionaries(
            st.text(min_size=1).map("later_".__add__), st.none() | st.text() | st.lists(st.integers(-(2**53), 2**53))
        )
    )
    return {
        **NEW,
        "photo": draw(st.text(min_size=1)),
        "photo_sha256": draw(st.text("0123456789abcdef", min_size=64, max_size=64)),
        "regions": [region_table(region) for region in draw(st.lists(regions, max_size=5))],
        "verdict": draw(st.sampled_from(Verdict)).value,
        "delta_e00": draw(st.floats(0, 50)),
        "delta_e00_interval": [low, high],
        "card_lab": card,
        "vehicle_lab": vehicle,
        "delta_lab": np.subtract(card, vehicle).round(4).tolist(),
        "delta_lab_covariance": (root @ root.T).round(4).tolist(),
        "card_lab_covariance": (root @ root.T).round(4).tolist(),
        "finish": draw(st.sampled_from(Finish)).value,
        "junction": draw(st.sampled_from(Junction)).value,
        "thresholds": {"go_below": draw(st.floats(0, 5)), "blend_below": draw(st.floats(0, 9))},
        "warnings": draw(st.lists(st.sampled_from([FAULT, DOUBT, {**FAULT, "spoils": False}]), max_size=3)),
        **more,
    }


@given(documents())
def test_what_is_written_is_read_and_no_key_is_lost(written):
    read = read_saved(parse_json(json.dumps(written), "it"), "card.json")
    assert read.document == written
    assert read.version == VERSION
    assert (read.verdict.value, read.finish.value, read.junction.value) == tuple(
        written[key] for key in ("verdict", "finish", "junction")
    )
    assert [list(read.card_lab), list(read.vehicle_lab), list(read.delta_lab)] == [
        written[key] for key in ("card_lab", "vehicle_lab", "delta_lab")
    ]
    assert [list(row) for row in read.delta_lab_covariance] == written["delta_lab_covariance"]
    assert [region_table(region) for region in read.photos[0].regions] == written["regions"]
    assert (read.photos[0].name, read.photos[0].sha256) == (written["photo"], written["photo_sha256"])
    assert (read.delta_e00, list(read.interval)) == (written["delta_e00"], written["delta_e00_interval"])


def test_a_document_of_before_versions_is_version_1():
    read = read_saved(check(MIX), "card.json")
    assert read.version == 1
    assert read.figures_hold
    assert read.photos == ()
    assert read.card_lab_covariance is None


@pytest.mark.parametrize("head", [{}, NEW])
def test_figures_hold_unless_a_fault_of_the_photo_or_the_document_says_otherwise(head):
    def read(**more):
        return read_saved({**head, **check(MIX), **more}, "card.json")

    assert usable(read(warnings=[DOUBT])).figures_hold
    assert usable(read(warnings=[{**FAULT, "spoils": False}])).figures_hold
    with pytest.raises(
        SavedCheckError, match=r"the photo of card.json cannot be relied on: The card is burnt out\. Exp"
    ):
        usable(read(warnings=[DOUBT, FAULT], figures_hold=True))
    with pytest.raises(SavedCheckError, match="its figures do not hold"):
        usable(read(figures_hold=False))


@pytest.mark.parametrize("version", UNKNOWN, ids=range(len(UNKNOWN)))
def test_a_version_that_is_not_known_is_said(version):
    with pytest.raises(SavedCheckError, match="this program knows versions 1 to 4"):
        read_saved({**check(MIX), "format": FORMAT, "version": version}, "card.json")


@pytest.mark.parametrize("parsed", [None, [], "x", 3, {}, {"regions": []}, {"format": "tint-log 1"}])
def test_what_is_no_check_is_said(parsed):
    with pytest.raises(SavedCheckError, match=r"card\.json is not a saved check"):
        read_saved(parsed, "card.json")


FIGURES = ("delta_e00", "delta_e00_interval", "card_lab", "vehicle_lab", "delta_lab", "delta_lab_covariance")
WRONG = [None, "0.5", [], [[1.0]], {}, True, float("nan"), float("inf"), -1e300, 10**5000, [1.0, None, 2.0], [True] * 3]


@pytest.mark.parametrize("key", [*FIGURES, "thresholds", "verdict", "finish", "junction"])
@pytest.mark.parametrize("value", WRONG, ids=range(len(WRONG)))
def test_a_figure_that_is_none_is_named(key, value):
    with pytest.raises(SavedCheckError, match=f"its ({key}|go_below) is ") as refused:
        read_saved({**NEW, **check(MIX), key: value}, "card.json")
    assert str(refused.value).startswith("the check card.json is damaged (its ")
    assert len(str(refused.value)) < 300


@pytest.mark.parametrize("variances", [(0.01, 0.01, -0.0005), (1.0, 1e-4, -0.005)])
def test_what_rounding_makes_of_a_covariance_is_let_pass_and_no_more(variances):
    """A figure of four decimals is off by 5e-5, a matrix of them by less than 1e-3; larger ones are rounded coarser."""
    covariance = np.diag(variances)
    read = read_saved({**NEW, **check(MIX), "delta_lab_covariance": covariance.tolist()}, "card.json")
    assert read.delta_lab_covariance[2][2] == variances[2]
    worse = np.diag((*variances[:2], 4 * variances[2])).tolist()
    with pytest.raises(SavedCheckError, match="not a covariance"):
        read_saved({**NEW, **check(MIX), "delta_lab_covariance": worse}, "card.json")


@pytest.mark.parametrize("key", [*FIGURES, "thresholds", "finish", "junction", "warnings"])
def test_a_missing_key_is_named(key):
    whole = {**NEW, **check(MIX)}
    with pytest.raises(SavedCheckError, match=f"its {key} is missing"):
        read_saved({each: value for each, value in whole.items() if each != key}, "card.json")


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"delta_e00_interval": [3.0, 1.0]}, "a low and a high end"),
        ({"delta_lab": [9.0, 9.0, 9.0]}, "not card_lab less vehicle_lab"),
        ({"delta_lab_covariance": [[-1.0, 0, 0], [0, 1, 0], [0, 0, 1]]}, "not a covariance"),
        ({"delta_lab_covariance": [[1.0, 5, 0], [0, 1, 0], [0, 0, 1]]}, "not a covariance"),
        ({"warnings": [3]}, "a list of tables"),
        ({"warnings": [{"code": "x", "spoils": "yes"}]}, "true or false"),
        ({"figures_hold": "no"}, "true or false"),
        ({"photo": "a.jpg", "photo_sha256": "0", "regions": [{"kind": "card", "x": 1e300}]}, "whole number of pixels"),
        ({"photo": "a.jpg", "photo_sha256": "0", "regions": 3}, "a list of tables"),
        ({"photo": "a.jpg", "regions": []}, "photo_sha256 is missing"),
    ],
)
def test_what_does_not_fit_together_is_said(more, said):
    with pytest.raises(SavedCheckError, match=said):
        read_saved({**NEW, **check(MIX), **more}, "card.json")
