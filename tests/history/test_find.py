"""Searching: words, codes, dates and pages against plain Python, and near colours against every pair compared."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from coloraide import Color
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import select, text, update

from match.colorimetry import delta_e00
from match.errors import StoreError
from match.history import schema, tables
from match.history.canonical import found_by
from match.history.nearest_colours import box_within, nearest_of_each_group
from match.history.records import NewCheck, NewColour, NewJob
from match.history.store import Store
from tests.history.test_support import START, full_check, result


def found(store: Store, **wanted: object) -> list[str]:
    """The notes of the checks found, in the order of the list."""
    return [row.note for row in store.find_checks(**wanted).items]  # type: ignore[arg-type]


def test_a_code_is_found_however_its_punctuation_was_typed(store: Store) -> None:
    for note, code in (("1", "AB-12 / x"), ("2", "ab12"), ("3", "AC 12"), ("4", "xAB12"), ("5", "ÄB-1")):
        store.save_check(NewCheck(result=result(), colour=NewColour(code=code), note=note))
    assert found(store, code="ab 12") == ["2", "1"]
    assert found(store, code="A") == ["3", "2", "1"]
    assert found(store, code="äb") == ["5"]
    assert found(store, code="ab12x") == ["1"]
    assert found(store, code="b12") == []
    with pytest.raises(StoreError, match="neither letters nor digits"):
        store.find_checks(code="--")


def test_words_are_found_in_any_case_and_anywhere(store: Store) -> None:
    store.save_check(full_check("AB-12", note="one"))
    store.save_check(NewCheck(result=result(), colour=NewColour(name="STRASSE grün"), note="two 100%_sure"))
    assert found(store, text="EVENING q 123") == ["one"]
    assert found(store, text="evening two") == []
    assert found(store, text="straße") == found(store, text="GRÜN") == ["two 100%_sure"]
    assert found(store, text="100%_") == ["two 100%_sure"], "% and _ are letters like others"
    assert found(store, text="0%s") == found(store, text="/") == []
    assert found(store, colour="evening GREY", car="hatch") == ["one"]
    assert found(store, colour="evening", car="van") == []
    assert found(store, car="q 123") == ["one"]


def test_a_code_name_or_plate_is_found_with_or_without_its_signs_and_spaces(store: Store) -> None:
    colour = NewColour(code="HS 12-7", name="Harbour-Slate II", notes="a b c")
    store.save_check(NewCheck(result=result(), colour=colour, job=NewJob(car="Estate", plate="Q-12 34"), note="kept"))
    for typed in ("hs12", "HS127", "hs-12", "h.s.12", "harbourslate", "harbour slate", "q1234", "Q 1234", "hs12 q12"):
        assert found(store, text=typed) == ["kept"], typed
    assert found(store, colour="harbour slate") == found(store, car="q1234") == ["kept"]
    assert [each.code for each in store.find_colours("hs12").items] == ["HS 12-7"]
    assert [each.plate for each in store.find_jobs("q1234").items] == ["Q-12 34"]
    assert found(store, text="abc") == found(store, text="7q") == []


def test_the_migration_writes_the_words_that_saving_writes(store: Store) -> None:
    """A history from before the letters and digits alone were kept is searched like one begun today."""
    store.add_colour(NewColour(code="HS-12/7", name="Harbour  Slate", finish="Metallic", notes="Note"))
    store.save_check(full_check())
    store.save_check(NewCheck(result=result(), note="Nothing else"))
    words = [
        select(tables.colour.c.name_key, tables.colour.c.search),
        select(tables.job.c.car_key, tables.job.c.search),
        select(tables.check.c.search),
    ]
    with store._database.writing() as connection:
        saved = [connection.execute(each).all() for each in words]
        connection.execute(update(tables.colour).values(name_key="", search=""))
        connection.execute(update(tables.job).values(car_key="", search=""))
        connection.execute(update(tables.check).values(search=""))
        connection.execute(text("DROP TABLE panel"))
        connection.execute(text(f"UPDATE {schema.VERSION_TABLE} SET version_num = '0006'"))
    schema.bring_up_to_date(store._database)
    with store._database.reading() as connection:
        assert [connection.execute(each).all() for each in words] == saved


def test_an_edit_of_a_colour_or_a_car_changes_what_its_checks_are_found_by(store: Store) -> None:
    check = store.save_check(full_check())
    colour, job = store.get_colour(str(check.colour)), store.get_job(str(check.job))
    store.edit(type(colour)(**(colour.__dict__ | {"name": "Morning mist", "code": "MM1"})))
    store.edit(type(job)(**(job.__dict__ | {"plate": "Z 999"})))
    assert found(store, text="morning 999 mm1") == ["invented check"]
    assert found(store, text="evening") == found(store, text="123") == []
    assert (found(store, code="mm"), found(store, code="ab")) == (["invented check"], [])


def test_dates_span_whole_days_and_times_are_moments(store: Store) -> None:
    for hours in (0, 23, 24, 47, 48):
        at = datetime(2026, 5, 1, tzinfo=UTC) + timedelta(hours=hours)
        store.save_check(NewCheck(result=result(), note=str(hours), created_at=at))
    assert found(store, date_from=date(2026, 5, 2), date_to=date(2026, 5, 2)) == ["47", "24"]
    assert found(store, date_to=date(2026, 5, 1)) == ["23", "0"]
    assert found(store, date_from=datetime(2026, 5, 1, 23, tzinfo=UTC)) == ["48", "47", "24", "23"]
    assert found(store, date_to=datetime(2026, 5, 1, 23, tzinfo=UTC)) == ["0"]
    assert len(found(store, date_to=date.max)) == 5
    with pytest.raises(StoreError, match="time zone"):
        store.find_checks(date_from=datetime(2026, 5, 1))


def test_filters_join_and_unknown_ones_are_refused(store: Store) -> None:
    first = store.save_check(full_check("AB-12", note="first"))
    store.save_check(full_check("AB-13", result=result(0.5, "go"), note="second"))
    assert found(store, verdict="go") == ["second"]
    assert found(store, verdict="go", code="ab12") == []
    assert found(store, verdict="blend", code="ab", text="first", car="small", date_from=START) == ["first"]
    for name, public_id in (("colour_id", first.colour), ("job_id", first.job), ("card_id", first.card)):
        assert found(store, **{name: public_id}) == ["first"]
    assert found(store, colour_id="0" * 32) == []
    with pytest.raises(TypeError, match="by shade"):
        store.find_checks(shade="dark")  # type: ignore[call-arg]


def test_pages_hold_every_check_once_newest_first(store: Store) -> None:
    for number in range(23):
        store.save_check(NewCheck(result=result(), note=f"amber {number}", created_at=START))
    for wanted in ({}, {"text": "amber"}):
        pages = [store.find_checks(page=page, per_page=5, **wanted) for page in range(1, 7)]
        listed = [row.note for page in pages for row in page.items]
        assert listed == [f"amber {number}" for number in reversed(range(23))]
        assert {(page.total, page.pages) for page in pages} == {(23, 5)}
        assert pages[-1].items == ()
    for bad in ({"page": 0}, {"per_page": 0}, {"per_page": 501}):
        with pytest.raises(StoreError, match="count pages from 1"):
            store.find_checks(**bad)


def test_colours_and_jobs_can_be_listed(store: Store) -> None:
    for number in range(3):
        store.add_colour(NewColour(code=f"C{number}", notes="shared"))
        store.add_job(NewJob(car=f"Car {number}", plate="P"))
    assert [colour.code for colour in store.find_colours("shared").items] == ["C2", "C1", "C0"]
    assert [colour.code for colour in store.find_colours(page=2, per_page=2).items] == ["C0"]
    assert [job.car for job in store.find_jobs("car 1").items] == ["Car 1"]


def test_the_nearest_colours_are_those_that_comparing_every_pair_finds(store: Store) -> None:
    """Distances from coloraide, an independent implementation of CIEDE2000, over every check there is."""
    rng = np.random.default_rng(7)
    labs = np.column_stack([rng.uniform(0, 100, 40), rng.normal(0, 30, 40), rng.normal(0, 30, 40)]).round(3)
    labs[:5] = np.array([30.0, 40.0, -90.0]) + rng.normal(0, 3, (5, 3)).round(3)
    colours = [store.add_colour(NewColour(code=f"C{number}")).id for number in range(15)]
    owners: list[str | None] = []
    for number, lab in enumerate(labs):
        owner = colours[number % 15] if number < 36 else None
        saved = store.save_check(NewCheck(result=result(vehicle=lab.tolist()), colour=owner))
        owners.append(owner or saved.id)
    store.save_check(NewCheck(result=result(verdict="retake", vehicle=[50.0, 0.0, 0.0])))
    gone = store.save_check(NewCheck(result=result(vehicle=[50.0, 0.0, 0.0])))
    store.delete(gone.id)
    wrong = store.save_check(NewCheck(result=result(vehicle=[50.0, 0.0, 0.0]), colour=colours[0]))
    store.save_check(NewCheck(result=result(vehicle=labs[0].tolist()), colour=colours[0], corrects=wrong.id))
    for looked_for in ((50.0, 0.0, 0.0), (30.0, 40.0, -90.0), (0.0, 0.0, 0.0), (100.0, 60.0, 90.0), (150.0, 0.0, 0.0)):
        nearest: dict[str, float] = {}
        for owner, lab in zip(owners, labs, strict=True):
            distance = Color("lab-d65", list(looked_for)).delta_e(Color("lab-d65", lab.tolist()), method="2000")
            nearest[str(owner)] = min(distance, nearest.get(str(owner), math.inf))
        expected = sorted(nearest.items(), key=lambda item: item[1])
        pages = [store.nearest_colours(looked_for, page=page, per_page=7) for page in (1, 2, 3, 4)]
        listed = [near for page in pages for near in page.items]
        assert [(near.colour.id if near.colour else near.check.id) for near in listed] == [key for key, _ in expected]
        assert [near.delta_e00 for near in listed] == pytest.approx([distance for _, distance in expected], abs=1e-9)
        assert {page.total for page in pages} == {19}


def test_an_empty_history_has_no_near_colours(store: Store) -> None:
    assert store.nearest_colours((50.0, 0.0, 0.0)).items == ()
    with pytest.raises(StoreError, match="finite"):
        store.nearest_colours((50.0, math.nan, 0.0))


lightness = st.floats(0.0, 100.0)
axis = st.floats(-128.0, 128.0)
lab_values = st.tuples(lightness, axis, axis)
near_steps = st.tuples(*[st.floats(-12.0, 12.0)] * 3)


@given(lab_values, near_steps)
@settings(max_examples=300)
def test_no_colour_within_a_radius_lies_outside_its_box(lab: tuple[float, ...], step: tuple[float, ...]) -> None:
    """CIEDE2000 as colour-science computes it (all 34 pairs of Sharma, Wu and Dalal 2005 agree with it)."""
    first = np.array(lab)
    second = first + np.array(step)
    box = box_within(first, float(delta_e00(first, second)))
    slack = 1.0 + 1e-9
    assert abs(step[0]) <= box.lightness * slack + 1e-9
    assert max(abs(step[1]), abs(step[2])) <= box.chroma * slack + 1e-9


@given(lab_values, lab_values)
@settings(max_examples=300)
def test_the_box_also_holds_far_colours(one: tuple[float, ...], other: tuple[float, ...]) -> None:
    first, second = np.array(one), np.array(other)
    box = box_within(first, float(delta_e00(first, second)))
    assert abs(second[0] - first[0]) <= box.lightness * (1.0 + 1e-9) + 1e-9
    assert np.abs(second[1:] - first[1:]).max() <= box.chroma * (1.0 + 1e-9) + 1e-9


def test_a_box_narrows_what_must_be_compared() -> None:
    """The bounds would be useless if they were true but wide: near a grey, 2 CIEDE2000 stay within a few units."""
    box = box_within(np.array([50.0, 0.0, 0.0]), 2.0)
    assert box.lightness < 2.1
    assert box.chroma < 2.5


def test_the_newest_check_stands_for_a_colour_at_equal_distance() -> None:
    labs = np.array([[50.0, 0.0, 0.0], [50.0, 0.0, 0.0], [60.0, 0.0, 0.0]])
    keys, distances = nearest_of_each_group(labs[0], labs, np.array([4, 9, 2]), np.array([1, 1, 2]))
    assert keys.tolist() == [9, 2]
    assert distances[0] == 0.0


@pytest.mark.parametrize(
    ("name", "lines"),
    [("ab12", ["ab12"]), ("AB-12", ["ab-12", "ab12"]), ("--", ["--"]), ("Sea 漆", ["sea 漆", "sea漆"])],
)
def test_a_name_is_kept_for_searching_once_and_without_its_signs_where_it_has_some(name: str, lines: list[str]) -> None:
    assert found_by(name).split("\n") == lines
