"""What a check belongs to, told or corrected after it was saved."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from match.history.filing import FiledUnder, filed_under, keep, take_back
from match.history.records import NewCard, NewColour, NewJob
from match.history.store import Store
from tests.history.test_support import full_check, open_store, result

NOTHING = FiledUnder(NewColour(), NewJob(), NewCard())
ALONE = {"colour": None, "job": None, "card": None}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "data") as opened:
        yield opened


def test_what_is_told_of_a_check_that_belonged_to_nothing_is_kept_with_it(store: Store) -> None:
    check = store.save_check(full_check(**ALONE))
    told = FiledUnder(NewColour(name="Invented blue"), NewJob(car=" Small van ", plate="Q 7"), NewCard(gun="1.3 mm"))
    kept = keep(store, check, told)
    assert kept == store.get_check(check.id)
    there = filed_under(store, kept)
    assert (there.colour.name, there.job.car, there.job.plate, there.card.gun) == (
        "Invented blue",
        "Small van",
        "Q 7",
        "1.3 mm",
    )
    assert (there.card.colour, there.card.job) == (kept.colour, kept.job)


def test_a_card_of_several_goes_by_its_name_where_no_mix_is_told(store: Store) -> None:
    several = {**result(), "card_name": "less white"}
    for told, mix in ((NewCard(place="drawer 2"), "less white"), (NewCard(mix="alternate 2"), "alternate 2")):
        check = store.save_check(full_check(**ALONE, result=several))
        kept = keep(store, check, replace(NOTHING, colour=NewColour(code="AB-9"), card=told))
        assert filed_under(store, kept).card.mix == mix


def test_a_car_alone_can_be_told_and_a_colour_alone(store: Store) -> None:
    first = keep(store, store.save_check(full_check(**ALONE)), replace(NOTHING, job=NewJob(plate="Q 7")))
    second = keep(store, store.save_check(full_check(**ALONE)), replace(NOTHING, colour=NewColour(code="AB-9")))
    assert (first.colour, first.card) == (None, None)
    assert first.job is not None
    assert (second.job, second.card) == (None, None)
    assert second.colour is not None


def test_nothing_told_keeps_nothing_and_edits_nothing(store: Store) -> None:
    check = store.save_check(full_check(**ALONE))
    assert keep(store, check, NOTHING) == check
    full = store.save_check(full_check())
    assert keep(store, full, filed_under(store, full)) == full
    assert store.find_colours().total == store.find_jobs().total == 1


def test_a_corrected_name_edits_what_is_kept_and_adds_no_second(store: Store) -> None:
    check = store.save_check(full_check())
    was = filed_under(store, check)
    told = FiledUnder(
        replace(was.colour, name="Morning grey"), replace(was.job, plate="Q 9"), replace(was.card, batch="8")
    )
    kept = keep(store, check, told)
    assert (kept.colour, kept.job, kept.card) == (check.colour, check.job, check.card)
    there = filed_under(store, kept)
    assert (there.colour.name, there.job.plate, there.card.batch) == ("Morning grey", "Q 9", "8")
    assert store.find_colours().total == store.find_jobs().total == 1


def test_a_car_known_by_plate_and_day_is_not_written_down_twice(store: Store) -> None:
    known = store.save_check(full_check())
    job = filed_under(store, known).job
    check = store.save_check(full_check(**ALONE))
    same = NewJob(car=f" {job.car} ", plate=job.plate, day=job.day)
    assert keep(store, check, replace(NOTHING, job=same)).job == known.job
    other = store.save_check(full_check(**ALONE))
    assert keep(store, other, replace(NOTHING, job=replace(same, plate="Q 8"))).job != known.job


def test_a_check_moved_to_another_colour_takes_its_made_up_one_with_it_and_leaves_one_in_use(store: Store) -> None:
    first = store.save_check(full_check(colour=NewColour(name="Made up"), job=None, card=None))
    target = store.add_colour(NewColour(name="The right one"))
    kept = keep(store, first, replace(filed_under(store, first), move_to=target.id))
    assert kept.colour == target.id
    assert [colour.id for colour in store.find_colours().items] == [target.id]
    second = store.save_check(full_check(colour=target.id, job=None, card=None))
    other = store.add_colour(NewColour(name="Another"))
    keep(store, second, replace(filed_under(store, second), move_to=other.id))
    assert {colour.id for colour in store.find_colours().items} == {target.id, other.id}


def test_a_check_taken_back_takes_a_colour_that_holds_nothing_else(store: Store) -> None:
    alone = store.save_check(full_check(colour=NewColour(name="Alone"), job=None, card=None))
    assert take_back(store, alone) == alone.colour
    assert store.find_checks().total == store.find_colours().total == 0
    first = store.save_check(full_check(colour=NewColour(name="Two"), job=None, card=None))
    second = store.save_check(full_check(colour=first.colour, job=None, card=None))
    assert take_back(store, second) == second.id
    assert store.get_check(first.id) == first
    free = store.save_check(full_check(**ALONE))
    assert take_back(store, free) == free.id
