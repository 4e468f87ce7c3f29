"""Region files and marks on the command line: read, written, and refused with one clear sentence."""

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from match.check.marks_file import marks_from_table, read_marks
from match.check.verdict import Finish, Junction
from match.errors import FileError, RegionError
from match.photo.region_table import read_region, region_table
from match.photo.regions import EVERY_QUESTION, Kind, Region, parse_region

whole = st.integers(0, 5000)
side = st.integers(12, 3000)
regions = st.builds(
    lambda kind, x, y, w, h, r: Region(kind, x, y, w, h, r if kind is Kind.GREY else None),
    st.sampled_from(Kind),
    whole,
    whole,
    side,
    side,
    st.floats(0.01, 1.0),
)


SPOT = {"kind": "card", "x": 1, "y": 2, "width": 30, "height": 40}


@given(st.lists(regions, max_size=6))
def test_marks_survive_writing_and_reading(marks):
    table = json.loads(json.dumps({"regions": [region_table(each) for each in marks]}))
    assert list(marks_from_table(table, "x", 0.18).regions) == marks


@given(regions, st.lists(st.sampled_from(["mark-across", "mark-grey-value"]), min_size=1, unique=True))
def test_a_word_is_undone_where_the_mark_or_what_is_said_of_it_changes(mark, asked):
    said = replace(mark, sure=tuple(asked))
    table = json.loads(json.dumps(region_table(said)))
    assert read_region(table, "it", 0.18) == said
    other = {"kind": "card" if mark.kind is not Kind.CARD else "vehicle", "x": mark.x + 1, "width": mark.width + 1}
    for changed in [{key: value} for key, value in other.items()] + (
        [{"reflectance": 0.5 * mark.reflectance + 0.01}] if mark.kind is Kind.GREY else []
    ):
        assert read_region({**table, **changed}, "it", 0.18).sure == ()
    assert read_region({**table, "sure": True}, "it", 0.18) == replace(mark, sure=(EVERY_QUESTION,))
    assert region_table(replace(mark, sure=(EVERY_QUESTION,)))["sure"] is True


def test_a_toml_file_says_the_same_as_a_json_file(tmp_path):
    (tmp_path / "a.json").write_text(
        '{"regions": [{"kind": "card", "x": 1, "y": 2, "width": 30, "height": 40}], "finish": "pearl"}'
    )
    (tmp_path / "a.toml").write_text(
        'finish = "pearl"\n[[regions]]\nkind = "card"\nx = 1\ny = 2\nwidth = 30\nheight = 40\n'
    )
    assert read_marks(tmp_path / "a.json", 0.18) == read_marks(tmp_path / "a.toml", 0.18)
    assert read_marks(tmp_path / "a.json", 0.18).finish is Finish.PEARL


def test_a_grey_without_a_reflectance_is_the_default_card():
    table = {"regions": [{"kind": "grey", "x": 0, "y": 0, "width": 20, "height": 20}], "junction": "body-line"}
    marks = marks_from_table(table, "x", 0.18)
    assert marks.regions[0].reflectance == 0.18
    assert marks.junction is Junction.BODY_LINE


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ([], "no list called regions"),
        ({"regions": [3]}, "not a table"),
        ({"regions": [{"kind": "door"}]}, "use one of grey, card, vehicle"),
        ({"regions": [{"kind": "card", "x": 1.5, "y": 0, "width": 20, "height": 20}]}, "whole number"),
        ({"regions": [{"kind": "card", "x": 1, "y": 0, "width": 20}]}, "height = None"),
        ({"regions": [{"kind": "grey", "x": 1, "y": 0, "width": 20, "height": 20, "reflectance": 18}]}, "0.18 or 18%"),
        ({"regions": [{"kind": "grey", "x": 1, "y": 0, "width": 20, "height": 20, "reflectance": "a"}]}, "number"),
        ({"regions": [], "finish": "matt"}, "solid, metallic, pearl"),
        *(({"regions": [{**SPOT, "sure": sure}]}, "sure = ") for sure in (3, ["mark-across"], {"asked": ["a"]})),
        ({"regions": [{**SPOT, "sure": {"asked": "a", "of": "card 1,2,30,40"}}]}, "a list of what was asked"),
    ],
)
def test_a_bad_region_file_is_named(table, says):
    with pytest.raises(RegionError, match=says):
        marks_from_table(table, "marks.json", 0.18)


@pytest.mark.parametrize("text", ["{", "\xff\xfe"])
def test_a_file_that_is_neither_json_nor_toml_is_named(tmp_path, text):
    (tmp_path / "bad.json").write_bytes(text.encode("latin-1"))
    with pytest.raises(FileError, match=r"is not (JSON|text)"):
        read_marks(tmp_path / "bad.json", 0.18)


def test_a_missing_region_file_is_named(tmp_path):
    with pytest.raises(FileError, match="cannot be read"):
        read_marks(tmp_path / "none.json", 0.18)


@pytest.mark.parametrize(("text", "value"), [("1,2,30,40@0.2", 0.2), ("1,2,30,40@20%", 0.2), (" 1, 2,30,40 ", 0.18)])
def test_a_grey_is_typed_with_or_without_its_reflectance(text, value):
    assert parse_region(Kind.GREY, text, 0.18) == Region(Kind.GREY, 1, 2, 30, 40, value)


@pytest.mark.parametrize("text", ["", "1,2,3", "a,b,c,d", "1,2,3,4,5", "1.5,2,3,4", "1,2,30,40@", "1,2,30,40@x"])
def test_a_mistyped_grey_is_refused(text):
    with pytest.raises(RegionError):
        parse_region(Kind.GREY, text, 0.18)


def test_only_a_grey_takes_a_reflectance():
    with pytest.raises(RegionError, match="only a grey"):
        parse_region(Kind.CARD, "1,2,30,40@0.2", 0.18)
