"""What a history keeps and gives back: on the embedded database, and on a real PostgreSQL server."""

from __future__ import annotations

import dataclasses
import os
import threading
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import select, text

from match.errors import SavedCheckError, StoreError
from match.history import schema, tables
from match.history.database import Database, locate
from match.history.records import (
    Addition,
    NewCard,
    NewCheck,
    NewColour,
    NewJob,
    NewOutcome,
    NewTintStep,
)
from match.history.store import Store
from match.history.words import size_words
from tests.history.test_support import (
    PHOTO,
    START,
    Clock,
    full_check,
    password_free,
    require_postgres,
    result,
)

BOTH = (pytest.param("sqlite", id="sqlite"), pytest.param("postgres", id="postgres", marks=pytest.mark.postgres))


def test_a_check_comes_back_as_it_was_saved(store: Store) -> None:
    given = full_check()
    saved = store.save_check(given, [(PHOTO, "card.jpg"), (b"second", "panel é.png")])
    assert store.get_check(saved.id) == saved
    assert saved.result == given.result
    assert (saved.regions, saved.settings) == (given.regions, given.settings)
    assert (saved.verdict, saved.delta_e00, saved.delta_e00_interval) == ("blend", 1.5, (1.2, 1.8))
    assert (saved.card_lab, saved.vehicle_lab) == ((50.0, 1.0, 2.0), (51.0, 1.5, 2.0))
    assert (saved.code, saved.colour_name, saved.car, saved.plate) == (
        "AB-12",
        "Evening grey",
        "Small hatchback",
        "Q 123",
    )
    assert (saved.method_version, saved.tolerances_version, saved.tolerances_hash) == ("1", "3", "ab" * 32)
    assert [(photo.name, photo.state) for photo in saved.photos] == [("card.jpg", "whole"), ("panel é.png", "whole")]
    assert [store.photo_bytes(photo.sha256) for photo in saved.photos] == [PHOTO, b"second"]


def test_a_photo_is_named_by_the_hash_of_its_bytes(store: Store) -> None:
    """FIPS 180-4's example: the SHA-256 of the bytes "abc"."""
    saved = store.save_check(NewCheck(result=result()), [(b"abc", "a.jpg")])
    assert saved.photos[0].sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_the_same_photo_is_kept_once(store: Store, tmp_path: Path) -> None:
    for _ in range(2):
        store.save_check(NewCheck(result=result()), [(PHOTO, "a.jpg"), (PHOTO, "b.jpg")])
    assert len([path for path in tmp_path.rglob("photos/*/*") if path.is_file()]) == 1


def test_every_kind_of_record_comes_back_as_it_was_saved(store: Store) -> None:
    colour = store.add_colour(NewColour(code="K7", name="Sea", finish="solid", undercoat="light", notes="n"))
    job = store.add_job(NewJob(car="Estate", plate="", day=date(2026, 2, 28), notes="two doors"))
    before = store.add_card(NewCard(colour=colour.id, job=job.id, mix="standard"))
    after = store.add_card(NewCard(colour=colour.id, tinted="a drop of black"))
    step = store.add_tint_step(
        NewTintStep(
            card_before=before.id,
            card_after=after.id,
            additions=(Addition("black", 0.4), Addition("fine white", 1.2)),
            pot_size_g=120.0,
            predicted_lab=(49.0, 1.0, -2.5),
        )
    )
    check = store.save_check(NewCheck(result=result(), card=after.id))
    outcome = store.add_outcome(NewOutcome(check=check.id, hidden="yes", came_back="no", day=date(2026, 3, 9)))
    assert (check.colour, check.job) == (colour.id, None)
    assert store.get_colour(colour.id) == colour
    assert store.get_job(job.id) == job
    assert store.get_card(before.id) == before
    assert step in store.timeline(str(before.colour)).tint_steps
    assert store.outcomes_of(check.id) == (outcome,)
    assert (job.day, step.additions[0], step.predicted_lab) == (
        date(2026, 2, 28),
        Addition("black", 0.4),
        (49.0, 1.0, -2.5),
    )


def test_times_are_utc_whatever_zone_they_came_in(store: Store) -> None:
    assert store.save_check(NewCheck(result=result())).created_at == START
    at = datetime(2026, 7, 1, 0, 30, 0, 123456, tzinfo=timezone(timedelta(hours=2)))
    saved = store.save_check(NewCheck(result=result(), created_at=at))
    assert saved.created_at == at
    assert saved.created_at.tzinfo is UTC


def test_a_correction_is_a_new_check_and_the_old_one_stays(store: Store) -> None:
    first = store.save_check(full_check())
    second = store.save_check(NewCheck(result=result(0.5, "go"), corrects=first.id))
    assert store.get_check(first.id) == dataclasses.replace(first, corrected_by=second.id)
    assert second.corrects == first.id
    assert (second.colour, second.job, second.card) == (first.colour, first.job, first.card)


def test_an_edit_keeps_what_was_there_before(store: Store) -> None:
    colour = store.add_colour(NewColour(code="K7", name="Sea"))
    edited = store.edit(dataclasses.replace(colour, name="Deep sea"))
    again = store.edit(dataclasses.replace(edited, undercoat="dark"))
    assert (again.name, again.undercoat, again.version) == ("Deep sea", "dark", 3)
    assert store.get_colour(colour.id) == again
    kept = store.revisions(colour.id)
    assert [revision.change for revision in kept] == ["edit", "edit"]
    assert [revision.before["name"] for revision in kept] == ["Sea", "Deep sea"]


def test_revisions_stay_in_order_when_the_clock_is_set_back(tmp_path: Path) -> None:
    times = [START, START + timedelta(hours=2), START + timedelta(hours=1)]
    with Store.open(tmp_path, clock=lambda: times.pop(0)) as store:
        colour = store.add_colour(NewColour(code="K7", name="first"))
        for name in ("second", "third"):
            colour = store.edit(dataclasses.replace(colour, name=name))
        assert [revision.before["name"] for revision in store.revisions(colour.id)] == ["first", "second"]


def test_an_edit_of_every_kind_comes_back(store: Store) -> None:
    check = store.save_check(full_check())
    card, job = store.get_card(str(check.card)), store.get_job(str(check.job))
    later = store.add_card(NewCard(colour=check.colour))
    step = store.add_tint_step(NewTintStep(card_before=card.id))
    outcome = store.add_outcome(NewOutcome(check=check.id, hidden="unsure"))
    for record in (
        dataclasses.replace(card, gun="1.4 mm"),
        dataclasses.replace(job, day=date(2026, 5, 1)),
        dataclasses.replace(step, card_after=later.id, additions=(Addition("blue", 0.3),), pot_size_g=80.0),
        dataclasses.replace(outcome, hidden="no", came_back="yes"),
    ):
        assert store.edit(record) == dataclasses.replace(record, version=2)
    note = store.edit_check(check.id, note="seen again in the sun")
    assert (note.note, note.version, note.result) == ("seen again in the sun", 2, check.result)
    assert [revision.before["note"] for revision in store.revisions(check.id)] == ["invented check"]


def test_what_a_check_said_before_is_brought_back_and_can_be_undone_in_turn(store: Store) -> None:
    check = store.save_check(NewCheck(result=result(), note="first"))
    colour = store.add_colour(NewColour(code="K7"))
    edited = store.edit_check(check.id, note="second", colour=colour.id)
    back = store.bring_back(store.revisions(check.id)[0])
    assert (back.note, back.colour, back.result) == ("first", None, check.result)
    again = store.bring_back(store.revisions(check.id)[1])
    assert (again.note, again.colour) == (edited.note, edited.colour) == ("second", colour.id)


def test_an_edit_that_changes_nothing_leaves_no_revision(store: Store) -> None:
    colour = store.add_colour(NewColour(code="K7"))
    assert store.edit(colour) == colour
    assert store.revisions(colour.id) == ()


def test_an_edit_of_an_old_copy_is_refused_and_loses_nothing(store: Store) -> None:
    colour = store.add_colour(NewColour(code="K7"))
    store.edit(dataclasses.replace(colour, name="first station"))
    with pytest.raises(StoreError, match="changed meanwhile"):
        store.edit(dataclasses.replace(colour, name="second station"))
    assert store.get_colour(colour.id).name == "first station"


def test_a_measurement_is_never_edited(store: Store) -> None:
    check = store.save_check(full_check())
    with pytest.raises(StoreError, match="new check"):
        store.edit(dataclasses.replace(check, delta_e00=0.1))  # type: ignore[type-var]
    card = store.get_card(str(check.card))
    other = store.add_colour(NewColour(code="other"))
    with pytest.raises(StoreError, match="colour of a spray-out card cannot be edited"):
        store.edit(dataclasses.replace(card, colour=other.id))
    assert store.get_check(check.id) == check


def test_a_check_can_be_given_its_colour_and_car_later(store: Store) -> None:
    unnamed = store.save_check(NewCheck(result=result()))
    colour, job = store.add_colour(NewColour(code="late")), store.add_job(NewJob(car="Van"))
    named = store.edit_check(unnamed.id, colour=colour.id, job=job.id)
    assert (named.code, named.car) == ("late", "Van")
    assert [row.id for row in store.find_checks(text="late van").items] == [unnamed.id]
    card = store.add_card(NewCard(colour=store.add_colour(NewColour(code="else")).id))
    with pytest.raises(StoreError, match="another colour"):
        store.edit_check(unnamed.id, card=card.id)


def test_deleting_hides_and_undeleting_brings_back_everything_that_went_along(store: Store) -> None:
    check = store.save_check(full_check(), [(PHOTO, "a.jpg")])
    outcome = store.add_outcome(NewOutcome(check=check.id, hidden="yes"))
    step = store.add_tint_step(NewTintStep(card_before=str(check.card)))
    store.delete(str(check.colour))
    assert store.find_checks().total == 0
    assert store.find_colours().total == 0
    assert store.nearest_colours((51.0, 1.5, 2.0)).items == ()
    assert store.outcomes_of(check.id) == ()
    assert store.get_check(check.id).deleted_at is not None
    assert store.photo_bytes(check.photos[0].sha256) == PHOTO
    assert [(gone.kind, gone.id, gone.title) for gone in store.deleted()] == [
        ("colour", check.colour, "AB-12 Evening grey")
    ]
    store.undelete(str(check.colour))
    assert store.get_check(check.id) == check
    assert store.outcomes_of(check.id) == (outcome,)
    assert step in store.timeline(str(check.colour)).tint_steps
    assert store.deleted() == ()
    assert [revision.change for revision in store.revisions(str(check.colour))] == ["delete", "undelete"]


def test_what_was_deleted_by_itself_stays_deleted_when_its_colour_comes_back(store: Store) -> None:
    first = store.save_check(full_check())
    second = store.save_check(NewCheck(result=result(), colour=first.colour))
    store.delete(second.id)
    store.delete(str(first.colour))
    store.undelete(str(first.colour))
    assert [row.id for row in store.find_checks().items] == [first.id]
    store.undelete(second.id)
    assert store.find_checks().total == 2


def test_what_hangs_from_something_deleted_cannot_come_back_alone(store: Store) -> None:
    check = store.save_check(full_check())
    store.delete(check.id)
    store.delete(str(check.colour))
    with pytest.raises(StoreError, match="bring back the colour"):
        store.undelete(check.id)
    store.delete(str(check.job))
    store.undelete(str(check.colour))
    assert store.get_card(str(check.card)).deleted_at is not None, "its job is still deleted"
    with pytest.raises(StoreError, match="bring back the job"):
        store.undelete(str(check.card))


def test_nothing_can_be_added_to_or_changed_in_something_deleted(store: Store) -> None:
    colour = store.add_colour(NewColour(code="K7"))
    store.delete(colour.id)
    for attempt in (
        lambda: store.save_check(NewCheck(result=result(), colour=colour.id)),
        lambda: store.add_card(NewCard(colour=colour.id)),
        lambda: store.edit(dataclasses.replace(colour, name="x")),
        lambda: store.delete(colour.id),
    ):
        with pytest.raises(StoreError, match="is deleted"):
            attempt()
    with pytest.raises(StoreError, match="nothing to bring back"):
        store.undelete(store.add_colour(NewColour(code="K8")).id)


UNFIT = (
    (NewCheck(result={}), "not a saved check"),
    (NewCheck(result=result(float("nan"))), "its delta_e00 is nan"),
    (NewCheck(result=result(delta_e00_interval=[2.0, 1.0])), "a low and a high end"),
    (NewCheck(result=result(delta_e00_interval=3)), "a list of 2 numbers"),
    (NewCheck(result=result(card_lab=[1.0, 2.0])), "a list of 3 numbers"),
    (NewCheck(result=result(other=float("inf"))), "JSON cannot"),
    (NewCheck(result=result(other={1: 2})), "not text"),
    (NewCheck(result=result(other={"a set"})), "JSON cannot"),
    (NewCheck(result=result(), note="a\x00b"), "not text"),
    (NewCheck(result=result(), note="\ud800"), "not text"),
    (NewCheck(result=result(), note="x" * 30_000), "shorten"),
    (NewCheck(result=result(), method_version="x" * 65), "shorten"),
    (NewCheck(result=result(), colour="0" * 32), "there is no colour"),
    (NewCheck(result=result(), colour=NewColour()), "neither a code nor a name"),
    (NewCheck(result=result(), job=NewJob(notes="x")), "neither a car nor a plate"),
    (NewCheck(result=result(), card=NewCard()), "has no colour"),
    (NewCheck(result=result(), created_at=datetime(2026, 1, 1)), "time zone"),
)


def test_what_cannot_be_kept_is_refused_whole(store: Store) -> None:
    for new, sentence in UNFIT:
        with pytest.raises((StoreError, SavedCheckError), match=sentence):
            store.save_check(dataclasses.replace(new, job=new.job or NewJob(car="Van")), [(PHOTO, "a.jpg")])
    assert store.find_checks().total == 0
    assert store.find_colours().total == 0
    assert store.find_jobs().total == 0
    assert store.verify().unreferenced_photos == 0


def test_bad_records_of_other_kinds_are_refused(store: Store) -> None:
    check = store.save_check(full_check())
    card, other = str(check.card), store.save_check(full_check("else"))
    for attempt, sentence in (
        (lambda: store.add_card(NewCard()), "no colour"),
        (lambda: store.add_tint_step(NewTintStep(card_before=card, card_after=card)), "the same"),
        (lambda: store.add_tint_step(NewTintStep(card_before=card, card_after=other.card)), "different colours"),
        (lambda: store.add_tint_step(NewTintStep(card_before=card, additions=(Addition("x", -1.0),))), "taken out"),
        (lambda: store.add_tint_step(NewTintStep(card_before=card, pot_size_g=float("inf"))), "finite"),
        (lambda: store.add_outcome(NewOutcome(check=check.id, hidden="perhaps")), "one of yes, no, unsure"),  # type: ignore[arg-type]
        (lambda: store.add_job(NewJob(car="Van", day=datetime.now(UTC))), "expected a date"),
        (lambda: store.save_check(NewCheck(result=result(), colour=other.colour, card=card)), "another colour"),
        (lambda: store.save_check(NewCheck(result=result(), job=other.job, card=card)), "another job"),
        (lambda: store.save_check(NewCheck(result=result()), [(b"", "empty.jpg")]), "empty"),
        (lambda: store.get_check("nothing"), "no check"),
        (lambda: store.get_card("nothing"), "no spray-out card"),
        (lambda: store.delete("nothing"), "no record"),
        (lambda: store.photo_bytes("../../etc/passwd"), "not a SHA-256"),
    ):
        with pytest.raises(StoreError, match=sentence):
            attempt()  # type: ignore[no-untyped-call]


def test_the_timeline_tells_the_story_of_a_colour_and_names_the_best_card(store: Store) -> None:
    first = store.save_check(full_check(result=result(3.0, "retint")))
    colour = str(first.colour)
    second_card = store.add_card(NewCard(colour=colour, gun="1.2 mm, 1.8 bar"))
    step = store.add_tint_step(
        NewTintStep(card_before=str(first.card), card_after=second_card.id, additions=(Addition("black", 0.2),))
    )
    second = store.save_check(NewCheck(result=result(0.9, "go"), card=second_card.id))
    doubtful = store.save_check(NewCheck(result=result(0.1, "retake"), card=second_card.id))
    without_card = store.save_check(NewCheck(result=result(0.2, "go"), colour=colour))
    wrong = store.save_check(NewCheck(result=result(0.3, "go"), card=str(first.card)))
    right = store.save_check(NewCheck(result=result(3.3, "retint"), corrects=wrong.id))
    unchecked = store.add_card(NewCard(colour=colour, mix="third"))
    story = store.timeline(colour)
    assert [(entry.check.id if entry.check else None) for entry in story.entries] == [
        *(first.id, second.id, doubtful.id, without_card.id, wrong.id, right.id),
        None,
    ]
    assert story.entries[1].tint == step
    assert story.entries[1].check is not None
    assert story.entries[1].check.card_lab == (50.0, 1.0, 2.0)
    assert story.entries[-1].card == unchecked
    assert story.tint_steps == (step,)
    assert story.best is not None
    assert (story.best.check.id, story.best.card.gun) == (second.id, "1.2 mm, 1.8 bar")  # type: ignore[union-attr]


def test_outcomes_are_told_with_the_difference_that_was_measured(store: Store) -> None:
    held = store.save_check(NewCheck(result=result(1.2)))
    store.add_outcome(NewOutcome(check=held.id, hidden="no"))
    store.add_outcome(NewOutcome(check=held.id, hidden="yes", verdict_followed="blend"))
    corrected = store.save_check(NewCheck(result=result(9.0)))
    store.add_outcome(NewOutcome(check=corrected.id, hidden="no"))
    store.save_check(NewCheck(result=result(2.5), corrects=corrected.id))
    doubtful = store.save_check(NewCheck(result=result(0.4, "retake")))
    assert size_words(doubtful).endswith("does not count")
    assert "count" not in size_words(held)
    store.add_outcome(NewOutcome(check=doubtful.id, hidden="yes"))
    told = {(seen.delta_e00, seen.hidden) for seen in store.observed_outcomes()}
    assert told == {(1.2, "yes"), (2.5, "no")}


def test_threads_can_share_one_store(store: Store) -> None:
    failures: list[BaseException] = []

    def save_some(number: int) -> None:
        try:
            for turn in range(5):
                store.save_check(full_check(f"T{number}"), [(b"photo %d %d" % (number, turn), "a.jpg")])
                store.find_checks(text="evening")
        except BaseException as error:
            failures.append(error)

    threads = [threading.Thread(target=save_some, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert store.find_checks().total == 20
    assert store.verify().sound


@pytest.mark.parametrize("kind", BOTH)
def test_the_migrations_make_exactly_the_tables_that_the_program_uses(kind: str, tmp_path: Path) -> None:
    with _empty_database(kind, tmp_path) as database:
        schema.bring_up_to_date(database)
        with database.writing() as connection:
            context = MigrationContext.configure(connection, opts={"version_table": schema.VERSION_TABLE})
            assert compare_metadata(context, tables.metadata) == []


@pytest.mark.parametrize("kind", BOTH)
def test_records_of_an_older_version_survive_the_migration(kind: str, tmp_path: Path) -> None:
    with _empty_database(kind, tmp_path) as database:
        if database.is_sqlite:
            schema._use_write_ahead_log(database)
        with database.writing() as connection:
            schema.upgrade(connection, "0001")
            connection.execute(
                text(
                    "INSERT INTO colour (uid, created_at, version, code, name, finish, undercoat, notes, code_key, "
                    "name_key, search) VALUES (:uid, :at, 1, 'OL-D 1', '', '', '', '', 'old1', '', 'ol-d 1')"
                ),
                {"uid": "1" * 32, "at": datetime(2026, 1, 1)},
            )
        schema.bring_up_to_date(database)
        with database.reading() as connection:
            assert schema.revision_of(connection) == schema.known_revisions()[-1]
            assert connection.execute(select(tables.colour.c.code)).scalars().all() == ["OL-D 1"]
            assert connection.execute(select(tables.colour.c.search)).scalars().all() == ["ol-d 1\nold1\n"]
        if kind == "sqlite":
            assert (tmp_path / "history-before-0001.sqlite").is_file()


def test_revisions_are_named_as_their_files_are() -> None:
    config = Config()
    config.set_main_option("script_location", str(schema.MIGRATIONS))
    found = [script.revision for script in ScriptDirectory.from_config(config).walk_revisions()]
    assert tuple(reversed(found)) == schema.known_revisions()


class _empty_database:  # noqa: N801
    def __init__(self, kind: str, folder: Path) -> None:
        self._context = require_postgres().database() if kind == "postgres" else None
        self._folder = folder

    def __enter__(self) -> Database:
        location = self._context.__enter__() if self._context else self._folder
        self._database = Database(locate(location, self._folder))
        return self._database

    def __exit__(self, *error: object) -> None:
        self._database.close()
        if self._context:
            self._context.__exit__(None, None, None)


@pytest.mark.postgres
def test_no_message_shows_the_password(tmp_path: Path) -> None:
    with require_postgres().database() as url:
        with Store.open(url, folder=tmp_path, clock=Clock()) as store:
            assert store.place == password_free(url)
            assert "invented-secret" not in store.place
        with pytest.raises(StoreError) as refused:
            Store.open(url.replace("invented-secret", "wrong-secret"), folder=tmp_path)
    assert "secret" not in str(refused.value)


def test_a_location_that_cannot_be_a_history_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    for location, sentence in (
        (tmp_path / "file", "expected a data folder"),
        ("sqlite://", "in memory"),
        ("nonsense://x/y", "not known"),
        ("://", "cannot be read"),
        ("postgresql://127.0.0.1:1/none", "does not answer"),
    ):
        with pytest.raises(StoreError, match=sentence):
            Store.open(location, folder=tmp_path)


def test_the_default_place_is_the_users_data_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """XDG Base Directory specification: user data belongs in $XDG_DATA_HOME."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    with Store.open() as store:
        assert Path(store.place) == tmp_path / "sprayout-match"
    assert (tmp_path / "sprayout-match" / "history.sqlite").is_file()


def test_a_card_stays_with_the_job_of_its_checks(store: Store) -> None:
    check, other = store.save_check(full_check()), store.save_check(full_check("CD-34"))
    assert check.card is not None
    card = store.get_card(check.card)
    with pytest.raises(StoreError, match="belong to another job"):
        store.edit(dataclasses.replace(card, job=other.job))
    assert store.get_card(check.card) == card


@pytest.mark.skipif(os.name == "nt", reason="rights of POSIX")
def test_a_photo_in_a_folder_open_to_others_is_no_program(tmp_path: Path) -> None:
    home = tmp_path / "shared"
    home.mkdir()
    home.chmod(0o2775)
    with Store.open(tmp_path / "own", folder=home) as store:
        store.save_check(full_check(), [(PHOTO, "a.jpg")])
    photos = [path for path in home.rglob("*") if path.is_file()]
    assert photos
    assert all(path.stat().st_mode & 0o111 == 0 for path in photos)
