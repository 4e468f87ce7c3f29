"""A finding's words are made last, with the names that the reader knows; nothing is replaced in them afterwards."""

from hypothesis import given
from hypothesis import strategies as st

from match.measure.finding import Code, Finding, Words, told
from match.photo.regions import Kind, Region
from match.words import capital, listed

CARD = Region(Kind.CARD, 60, 11, 40, 40)
FAR = Region(Kind.CARD, 60, 110, 40, 40)


class Fault(Code):
    BURNT = "burnt", "{Region} is burnt out in {percent:.0f} %.", "Turn {region} away."
    COUNTED = "counted", lambda found: Words("the light is {how}.", "Wait.", {"how": "low" if found.spoils else "fair"})
    LEFT_OUT = "left-out", "{photo} does not count: {why}", "{why_remedy}"


def burnt(photo="", of=(), region=CARD, percent=12):
    return Finding(Fault.BURNT, True, (region,), {"percent": percent}, photo, of)


def test_words_are_made_with_the_names_that_the_reader_knows():
    assert burnt().text() == "The card region at 60,11 is burnt out in 12 %."
    assert burnt().remedy(lambda region, photo="": "the box “Card”") == "Turn the box “Card” away."


def test_words_that_depend_on_what_was_found():
    assert [Finding(Fault.COUNTED, spoils).text() for spoils in (True, False)] == [
        "The light is low.",
        "The light is fair.",
    ]


def test_a_finding_said_of_something_goes_on_in_lower_case():
    assert burnt(of=("2 mid-coats", "IMG_1.jpg")).text().startswith("2 mid-coats: IMG_1.jpg: the card region at")


def test_a_file_name_at_the_head_of_a_sentence_stays_as_it_is():
    found = Finding(Fault.LEFT_OUT, False, values={"photo": "img {1}.jpg"}, why=burnt())
    assert found.text() == "img {1}.jpg does not count: the card region at 60,11 is burnt out in 12 %."
    assert found.remedy() == "Turn the card region at 60,11 away."


def test_each_photo_s_box_is_named_as_on_that_photo():
    boxes = {"a": "the box “Card”", "b": "the box “Card (2)”"}
    said = told([burnt("a", ("a",)), burnt("b", ("b",))], lambda region, photo="": boxes[photo], 2)
    assert [each.text for each in said] == [
        "a: the box “Card” is burnt out in 12 %.",
        "b: the box “Card (2)” is burnt out in 12 %.",
    ]


def test_what_photos_have_in_common_is_said_once_and_of_all_without_a_name():
    two = [burnt("a", ("a",)), burnt("b", ("b",))]
    assert told(two, photos=3)[0].text == "a and b: the card region at 60,11 is burnt out in 12 %."
    assert told(two, photos=2)[0].text == "The card region at 60,11 is burnt out in 12 %."
    assert len(told([burnt("a", ("a",)), burnt("b", ("b",), FAR)], photos=2)) == 2


@given(st.integers(0, 100), st.text(min_size=1, max_size=8).filter(str.isprintable))
def test_a_name_stands_only_where_its_region_does(percent, name):
    said = burnt(region=FAR, percent=percent).text(lambda region, photo="": f"the box “{name}”")
    assert said == f"The box “{name}” is burnt out in {percent} %."


def test_lists_and_capitals():
    assert [listed(words) for words in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]
    assert capital("car, HDR") == "Car, HDR"
    assert capital("") == ""
