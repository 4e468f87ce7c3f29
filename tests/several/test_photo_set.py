"""Photo sets: what a file may say, and the sentence for each thing it may not."""

import re
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from match.errors import EvidenceError, RegionError
from match.photo.regions import Kind, Region
from match.several.photo_set import Angle, MarkedPhoto, PhotoUse, Role, check_uses, is_let_down
from match.several.photo_set_file import parse_photo_set

TEXT = """
[[photos]]
path = "face-1.jpg"
light = "daylight"
grey = ["40,300,80,60@18%", "140,300,80,60@0.75"]
card = "200,120,150,150"
vehicle = ["20,120,150,150", "380,120,150,150"]

[[photos]]
path = "face-2.jpg"
role = "swap"
light = "daylight"

[[photos]]
path = "flop.jpg"
angle = "flop"
light = "daylight"

[[photos]]
path = "lamp.jpg"
light = "tungsten"
"""


def parsed(*entries):
    return parse_photo_set({"photos": list(entries)}, 0.18)


def test_a_file_is_read_as_written():
    found = parse_photo_set(tomllib.loads(TEXT), 0.18)
    first = found[0]
    assert first.use == PhotoUse(Angle.FACE, Role.FIRST, "daylight")
    assert first.regions[:2] == (Region(Kind.GREY, 40, 300, 80, 60, 0.18), Region(Kind.GREY, 140, 300, 80, 60, 0.75))
    assert [region.kind for region in first.regions] == [Kind.GREY, Kind.GREY, Kind.CARD, Kind.VEHICLE, Kind.VEHICLE]
    assert [each.use.light for each in found] == ["daylight", "daylight", "daylight", "tungsten"]
    assert (found[1].use.role, found[2].use.angle) == (Role.SWAP, Angle.FLOP)


def test_a_grey_without_reflectance_takes_the_default():
    assert parsed({"path": "a", "grey": "1,2,30,40"})[0].regions[0].reflectance == 0.18


def test_a_word_on_a_mark_is_read_and_counts_no_more_where_the_mark_is_another():
    entry = {"path": "a", "grey": "1,2,30,40@9%", "card": "50,2,30,40", "vehicle": "90,2,30,40"}
    value = {"asked": "mark-grey-value", "of": ["grey 1,2,30,40@0.09"]}
    pair = {"asked": "mark-one-surface", "of": ["card 50,2,30,40", "vehicle 90,2,30,40"]}
    (photo,) = parsed(entry | {"sure": [value, pair]})
    assert [r.sure for r in photo.regions] == [("mark-grey-value",), ("mark-one-surface",), ("mark-one-surface",)]
    for changed in ({"grey": "1,2,30,40@18%"}, {"grey": "1,2,31,40@9%"}):
        assert parsed(entry | changed | {"sure": [value]})[0].regions[0].sure == ()
    for wrong in (["mark-grey-value"], [{"asked": "x"}], [{"asked": "x", "of": ["door 1,2,30,40"]}]):
        with pytest.raises(EvidenceError, match="sure"):
            parsed(entry | {"sure": wrong})


def test_a_let_down_card_is_known_by_its_mid_coats():
    steps = parsed(*({"path": str(coats), "mid_coats": coats} for coats in (1, 2, 2.5)))
    assert is_let_down(steps)
    assert [photo.use.mid_coats for photo in steps] == [1.0, 2.0, 2.5]


@pytest.mark.parametrize(
    ("entries", "sentence"),
    [
        ([], "holds no photo"),
        ([{"angle": "face"}], "photo 1 of the photo-set file has no path"),
        ([{"path": "a", "angel": "face"}], "a: nothing is called 'angel'"),
        ([{"path": "a", "angle": "side"}], "a: angle is 'side': write one of near-glare, face, flop"),
        ([{"path": "a", "role": 3}], "a: role is 3: write one of first, repeat, swap"),
        ([{"path": "a", "light": " "}], "a: light is ' ': give the lamp a name"),
        ([{"path": "a", "mid_coats": "two"}], "a: mid_coats is 'two': give the number of coats"),
        ([{"path": "a", "mid_coats": True}], "a: mid_coats is True"),
        ([{"path": "a", "mid_coats": -1}], "a: mid_coats is -1"),
        ([{"path": "a", "card": 5}], "a: card must be a region as text"),
        ([{"path": "a"}, {"path": "a"}], "a is listed 2 times"),
        ([{"path": "a", "role": "swap"}], "a is called a swap, but no photo at the face angle under 'one light' is"),
        ([{"path": "a"}, {"path": "b", "role": "repeat", "angle": "flop"}], "b is called a repeat"),
        ([{"path": "a", "mid_coats": 1}, {"path": "b"}], "b does not say how many mid-coats its card carries"),
        ([{"path": "a", "mid_coats": 1}], "a let-down card needs at least two steps"),
    ],
)
def test_what_does_not_fit_is_told_in_one_sentence(entries, sentence):
    with pytest.raises(EvidenceError) as told:
        parsed(*entries)
    assert sentence in str(told.value)
    assert "\n" not in str(told.value)


def test_a_wrong_region_is_told_as_on_the_command_line():
    with pytest.raises(RegionError, match="is not X,Y,W,H"):
        parsed({"path": "a", "card": "1,2,3"})


@pytest.mark.parametrize("document", [{}, {"photos": "a.jpg"}, {"photos": ["a.jpg"]}])
def test_a_file_without_a_list_of_photos_says_how_to_start_one(document):
    with pytest.raises(EvidenceError, match=r"\[\[photos\]\]"):
        parse_photo_set(document, 0.18)


scalars = st.none() | st.booleans() | st.integers(-5, 30) | st.floats(allow_nan=True) | st.text(max_size=12)


region_texts = st.builds("{},{},{},{}".format, *[st.integers(0, 500)] * 2, *[st.integers(12, 500)] * 2)
path = {"path": st.sampled_from(["a.jpg", "flop of the card.png"])}
right = {
    "angle": st.sampled_from([angle.value for angle in Angle]),
    "role": st.just("first"),
    "light": st.sampled_from(["daylight", " tungsten "]),
    "grey": st.lists(region_texts, max_size=2),
    "card": region_texts,
    "vehicle": region_texts,
}


@given(st.fixed_dictionaries(path, optional=right))
def test_every_entry_written_rightly_is_read_as_written(entry):
    (photo,) = parsed(entry)
    assert photo.name == entry["path"]
    assert photo.use.angle is Angle(entry.get("angle", "face"))
    assert photo.use.light == entry.get("light", photo.use.light).strip()
    count = len(entry.get("grey", [])) + ("card" in entry) + ("vehicle" in entry)
    assert len(photo.regions) == count


@given(
    st.fixed_dictionaries(path, optional=right),
    st.sampled_from(["path", *right, "mid_coats", "x"]),
    scalars | st.lists(scalars, max_size=2),
)
def test_an_entry_with_anything_at_all_in_one_place_is_read_or_refused_in_one_sentence(entry, key, value):
    told = ""
    try:
        (photo,) = parsed(entry | {key: value})
    except (EvidenceError, RegionError) as refused:
        told = str(refused)
    if told:
        assert re.fullmatch(r"[^\n]{15,}", told)
    else:
        assert key != "x"
        assert photo.name == (value if key == "path" else entry["path"])
        assert photo.use.mid_coats is None


def test_uses_are_checked_without_a_file_too():
    check_uses([MarkedPhoto("a", PhotoUse(), ()), MarkedPhoto("b", PhotoUse(role=Role.REPEAT), ())])
    with pytest.raises(EvidenceError, match="a is called a repeat"):
        check_uses([MarkedPhoto("a", PhotoUse(role=Role.REPEAT), ())])
