"""What the guided check asks for, by what lies on the bench."""

from dataclasses import replace

import pytest

from match.check.verdict import Verdict
from match.photo.regions import Kind
from match.ui.guided import places
from match.ui.guided.places import BoxFault
from match.ui.guided.steps import ORDER, Ask, Facts, Step, asked, following, step_after
from match.ui.guided.words import SAID, place_words
from match.ui.marker.marks import Mark

DARK, MID, LIGHT = (Mark("grey", 0.21, y, 0.05, 0.05, grey) for y, grey in ((0.44, 0.04), (0.52, 0.18), (0.60, 0.75)))
CARD = Mark("card", 0.47, 0.50, 0.15, 0.20)
LEFT, RIGHT = Mark("vehicle", 0.31, 0.50, 0.10, 0.20), Mark("vehicle", 0.68, 0.50, 0.12, 0.20)
ALL = (DARK, MID, LIGHT, CARD, LEFT, RIGHT)
BENCH = Facts("check")
MARKED = replace(BENCH, right=frozenset(Kind), sides=2, verdict=Verdict.BLEND)


def moved(mark: Mark, place: Mark) -> Mark:
    """Return the box of one kind, drawn where another thing lies."""
    return replace(place, kind=mark.kind, reflectance=mark.reflectance)


@pytest.mark.parametrize(
    ("mark", "fault"),
    [
        (MID, None),
        (replace(MID, reflectance=0.36), BoxFault.OTHER_GREY),
        (moved(MID, LIGHT), BoxFault.OTHER_GREY),
        (LIGHT, None),
        (moved(MID, CARD), BoxFault.NOT_GREY),
        (CARD, None),
        (moved(CARD, LEFT), BoxFault.NOT_CARD),
        (replace(CARD, y=0.74), BoxFault.NOT_CARD),
        (LEFT, None),
        (moved(LEFT, CARD), BoxFault.NOT_CAR),
        (moved(RIGHT, DARK), BoxFault.NOT_CAR),
        (replace(LEFT, y=0.0), BoxFault.NOT_CAR),  # the wall behind
        (replace(LEFT, y=0.3), None),
    ],
)
def test_a_box_lies_right_on_what_it_names_alone(mark, fault):
    assert places.fault_of(mark, ALL) is fault


def test_both_sides_of_the_card_count_and_two_boxes_on_one_side_are_one():
    assert places.sides([LEFT, replace(LEFT, y=0.3)], ALL) == 1
    assert places.sides([LEFT, RIGHT, moved(LEFT, CARD)], ALL) == 2


def test_what_is_done_for_a_person_lies_right_and_keeps_their_right_boxes():
    own = replace(CARD, width=0.14)
    done = places.with_right([moved(MID, CARD), own], Kind.GREY, ALL)
    assert done == [own, MID]
    assert places.first_fault(places.all_right(ALL), ALL) is None
    assert [each.kind for each in places.all_right(ALL)] == ["grey", "card", "vehicle", "vehicle"]


def test_the_slip_leaves_the_card_and_stays_in_the_picture():
    (card,) = (each for each in places.with_slip(ALL) if each.kind == "card")
    assert card.y >= CARD.y + CARD.height
    assert card.y + card.height <= 1.0
    assert places.first_fault(places.with_slip(ALL), ALL) is BoxFault.NOT_CARD


@pytest.mark.parametrize(
    ("step", "facts", "then"),
    [
        (Step.GREY, BENCH, Step.GREY),
        (Step.GREY, replace(BENCH, right=frozenset({Kind.CARD}), sides=1), Step.GREY),  # in an order of one's own
        (Step.GREY, replace(BENCH, right=frozenset({Kind.GREY, Kind.CARD}), sides=1), Step.CAR),
        (Step.GREY, replace(MARKED, is_pending=True), Step.GREY),
        (Step.CAR, replace(MARKED, fault=BoxFault.OTHER_GREY), Step.CAR),
        (Step.GREY, MARKED, Step.READ),
        (Step.READ, MARKED, Step.READ),  # read, not run past
        (Step.SLIP, MARKED, Step.SLIP),
        (Step.SLIP, replace(MARKED, verdict=None), Step.SLIP),
        (Step.SLIP, replace(MARKED, verdict=Verdict.RETAKE), Step.MEND),
        (Step.MEND, replace(MARKED, verdict=None), Step.MEND),
        (Step.MEND, MARKED, Step.ROOM),
        (Step.ROOM, replace(MARKED, page="blend", is_room_changed=True), Step.ROOM),
        (Step.SAVE, replace(MARKED, is_saved=True), Step.SAVE),
    ],
)
def test_a_step_is_done_when_its_deed_is(step, facts, then):
    assert step_after(step, facts) is then


@pytest.mark.parametrize(
    ("step", "facts", "ask"),
    [
        (Step.GREY, BENCH, Ask.TAP_GREY),
        (Step.GREY, replace(BENCH, fault=BoxFault.NOT_GREY), Ask.NOT_GREY),
        (Step.CARD, replace(BENCH, fault=BoxFault.OTHER_GREY), Ask.OTHER_GREY),
        (Step.CARD, replace(BENCH, fault=BoxFault.NOT_CARD), Ask.NOT_CARD),
        (Step.CARD, replace(BENCH, right=frozenset({Kind.GREY})), Ask.TAP_CARD),
        (Step.CARD, BENCH, Ask.TAP_GREY),  # taken off again
        (Step.CAR, replace(BENCH, right=frozenset({Kind.GREY})), Ask.TAP_CARD),
        (Step.CAR, replace(BENCH, right=frozenset({Kind.GREY, Kind.CARD})), Ask.TAP_CAR),
        (Step.CAR, replace(BENCH, right=frozenset(Kind), sides=1), Ask.TAP_OTHER_SIDE),
        (Step.CAR, replace(BENCH, fault=BoxFault.NOT_CAR), Ask.NOT_CAR),
        (Step.CARD, replace(BENCH, is_pending=True), Ask.ACCEPT),
        (Step.READ, MARKED, Ask.READ),
        (Step.READ, replace(MARKED, verdict=None), Ask.BOX_MISSING),
        (Step.READ, replace(MARKED, verdict=Verdict.RETAKE), Ask.REFUSED),
        (Step.SLIP, MARKED, Ask.SLIP),
        (Step.SLIP, replace(MARKED, fault=BoxFault.NOT_CARD), Ask.SLIP_FURTHER),
        (Step.SLIP, replace(MARKED, verdict=None), Ask.BOX_MISSING),
        (Step.MEND, replace(MARKED, verdict=Verdict.RETAKE), Ask.MEND),
        (Step.ROOM, MARKED, Ask.TO_ROOM),
        (Step.ROOM, replace(MARKED, verdict=Verdict.RETAKE), Ask.REFUSED),
        (Step.ROOM, replace(MARKED, page="blend"), Ask.ROOM),
        (Step.ROOM, replace(MARKED, page="blend", is_room_changed=True), Ask.ROOM_PLANNED),
        (Step.SAVE, replace(MARKED, page="blend"), Ask.TO_SAVE),
        (Step.SAVE, MARKED, Ask.SAVE),
        (Step.SAVE, replace(MARKED, verdict=Verdict.RETAKE), Ask.BOX_MISSING),
        (Step.SAVE, replace(MARKED, is_saved=True), Ask.SAVED),
        (Step.SLIP, replace(MARKED, page="blend"), Ask.ELSEWHERE),  # its turn comes
        (Step.ROOM, replace(MARKED, page="tint"), Ask.ELSEWHERE),
    ],
)
def test_one_thing_is_asked_for_at_a_time(step, facts, ask):
    assert asked(step, facts) is ask


def test_everything_asked_for_has_words_of_its_own_that_a_phone_holds():
    assert set(SAID) == set(Ask)
    assert len(set(SAID.values())) == len(Ask)
    assert max(map(len, SAID.values())) <= 110  # three lines at 390 px, as looked at
    assert place_words(ORDER[-1]).endswith(f"step {len(ORDER)} of {len(ORDER)}")
    assert following(ORDER[-1]) is ORDER[-1]
