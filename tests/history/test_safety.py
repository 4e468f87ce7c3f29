"""Full disks, locked folders, damaged and foreign databases, lost photos, busy programs: said plainly, nothing lost."""

from __future__ import annotations

import dataclasses
import hashlib
import os
import re
import resource
import shutil
import sqlite3
import subprocess
import tempfile
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event, text

from match.errors import StoreError
from match.history import database as database_module
from match.history.records import NewCheck, NewColour
from match.history.store import Store
from tests.history.test_support import PHOTO, copy_filled, full_check, open_store, postgres_store, result

TURNS = 12
NOT_WRITABLE = r"may not be written|cannot be opened"


def file_hashes(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file()
    }


def forked(work: Callable[[], Any]) -> int:
    """Run something in another process; return its number."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            work()
            code = 0
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(code)
    return child


def finished_well(child: int) -> bool:
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


@contextmanager
def files_limited_to(size_bytes: int) -> Iterator[None]:
    """Let no file of this process grow beyond a size, as on a disk that is full."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@contextmanager
def unprivileged() -> Iterator[None]:
    """Be somebody who may not write everywhere, also when the tests run as root."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that every user may look into."""
    folder = Path(tempfile.mkdtemp(prefix="sprayout-safety-"))
    folder.chmod(0o777)
    yield folder
    for path in [folder, *folder.rglob("*")]:
        path.chmod(0o777)
    shutil.rmtree(folder)


def write_some(location: str | Path, folder: Path, name: str, colour_id: str) -> None:
    """What one of two stations does: save checks with photos, and edit a colour that the other edits too."""
    with Store.open(location, folder=folder) as store:
        for turn in range(TURNS):
            same_photo = b"both stations took this one %d" % turn
            store.save_check(full_check(f"{name}{turn}"), [(same_photo, "a.jpg"), (name.encode() * 9, "b.jpg")])
            for _ in range(100):
                colour = store.get_colour(colour_id)
                try:
                    store.edit(dataclasses.replace(colour, notes=colour.notes + name))
                    break
                except StoreError as error:
                    if not re.search("changed meanwhile|same records", str(error)):
                        raise
            else:
                raise AssertionError("an edit never got through")


@pytest.mark.parametrize("kind", ["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def test_two_programs_writing_at_once_lose_nothing(kind: str, tmp_path: Path) -> None:
    stack = postgres_store(tmp_path / "data") if kind == "postgres" else open_store(tmp_path / "data")
    with stack as store:
        colour = store.add_colour(NewColour(code="SHARED"))
        url = store._database.place.url.render_as_string(hide_password=False)
        location: str | Path = url if kind == "postgres" else tmp_path / "data"
        stations = [
            forked(lambda name=name: write_some(location, tmp_path / "data", name, colour.id)) for name in ("a", "b")
        ]
        ended = [finished_well(station) for station in stations]
        assert ended == [True, True]
        codes = {row.code for page in (1, 2) for row in store.find_checks(page=page, per_page=TURNS).items}
        assert codes == {f"{name}{turn}" for name in ("a", "b") for turn in range(TURNS)}
        assert sorted(store.get_colour(colour.id).notes) == sorted("ab" * TURNS)
        assert len(store.revisions(colour.id)) == 2 * TURNS
        health = store.verify()
        assert (health.problems, health.checks, health.photos) == ((), 2 * TURNS, TURNS + 2)


def test_two_programs_may_make_the_same_history_at_once(tmp_path: Path) -> None:
    makers = [forked(lambda: Store.open(tmp_path / "new").close()) for _ in range(4)]
    ended = [finished_well(maker) for maker in makers]
    assert ended == [True] * 4
    with Store.open(tmp_path / "new") as store:
        assert store.verify().sound


def test_a_photo_reaches_the_disk_before_the_record_that_names_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The order that POSIX asks for: flush the file, rename it, flush its folder, and only then commit."""
    done: list[str] = []
    real_sync, real_replace = os.fsync, os.replace

    def note_sync(descriptor: int) -> None:
        done.append("sync folder" if os.path.isdir(f"/proc/self/fd/{descriptor}") else "sync file")
        real_sync(descriptor)

    def note_replace(source: Path, target: Path) -> None:
        done.append("rename")
        real_replace(source, target)

    with open_store(tmp_path / "data") as store:
        monkeypatch.setattr(os, "fsync", note_sync)
        monkeypatch.setattr(os, "replace", note_replace)
        event.listen(store._database.engine, "commit", lambda _connection: done.append("commit"))
        store.save_check(full_check(), [(PHOTO, "a.jpg")])
        with store._database.reading() as connection:
            settings = {
                name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
                for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
            }
    assert done[: done.index("commit") + 1] == ["sync file", "rename", "sync folder", "sync folder", "commit"]
    assert settings == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "busy_timeout": 30_000}


def save_until_it_fails(store: Store, saved: list[str]) -> None:
    """Save big checks, each with a photo of its own, and note their ids."""
    for turn in range(500):
        photo = b"%06d" % turn * 5_000
        saved.append(store.save_check(full_check(result=result(more="x" * 20_000)), [(photo, "a.jpg")]).id)


def test_a_disk_too_full_for_the_photo_saves_nothing_and_loses_nothing(tmp_path: Path) -> None:
    with open_store(tmp_path / "data") as store:
        kept = store.save_check(full_check(), [(PHOTO, "a.jpg")])
        with files_limited_to(500_000), pytest.raises(StoreError, match="the disk is full: make room"):
            store.save_check(full_check("BIG"), [(b"x" * 2_000_000, "big.jpg")])
        assert [row.id for row in store.find_checks().items] == [kept.id]
        assert (store.verify().sound, store.verify().unreferenced_photos) == (True, 0)
        store.save_check(full_check("BIG"), [(b"x" * 2_000_000, "big.jpg")])
        assert store.find_checks().total == 2


def test_a_disk_too_full_for_the_database_loses_nothing(tmp_path: Path) -> None:
    with open_store(tmp_path / "data") as store:
        saved = [store.save_check(full_check(), [(PHOTO, "a.jpg")]).id]
        with files_limited_to(600_000), pytest.raises(StoreError, match="disk"):
            save_until_it_fails(store, saved)
        assert len(saved) > 1
    with open_store(tmp_path / "data") as store:
        assert store.verify().sound
        assert {row.id for row in store.find_checks(per_page=500).items} == set(saved)
        store.save_check(full_check())


def test_a_database_that_may_not_grow_says_that_the_disk_is_full(tmp_path: Path) -> None:
    """SQLite gives SQLITE_FULL both for a full disk and at max_page_count."""
    with open_store(tmp_path / "data") as store:
        event.listen(store._database.engine, "checkout", lambda raw, *_: raw.execute("PRAGMA max_page_count = 90"))
        saved: list[str] = []
        with pytest.raises(StoreError, match="the disk is full"):
            save_until_it_fails(store, saved)
        assert {row.id for row in store.find_checks(per_page=500).items} == set(saved)
        assert store.verify().sound


def test_a_real_disk_that_fills_up_loses_nothing(tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(disk)], capture_output=True)
    if mounted.returncode:
        pytest.skip("needs the right to mount a small file system")
    try:
        saved: list[str] = []
        with Store.open(disk / "data") as store:
            with pytest.raises(StoreError, match="the disk is full"):
                save_until_it_fails(store, saved)
            assert len(saved) > 3
            with pytest.raises(StoreError, match="the disk is full"):
                store.export_archive(disk / "all.zip")
            store.export_archive(tmp_path / "all.zip")
        assert not list(disk.glob("*.zip*"))
        with Store.restore(tmp_path / "all.zip", tmp_path / "new") as restored:
            assert {row.id for row in restored.find_checks(per_page=500).items} == set(saved)
            assert restored.verify().sound
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=True)


def test_a_folder_that_may_not_be_written_is_named(open_folder: Path) -> None:
    (open_folder / "locked").mkdir(mode=0o555)
    with unprivileged(), pytest.raises(StoreError, match=NOT_WRITABLE) as told:
        Store.open(open_folder / "locked" / "data")
    assert str(open_folder / "locked") in str(told.value)


def test_a_history_that_became_read_only_says_so_and_stays_as_it_was(open_folder: Path) -> None:
    home = open_folder / "data"
    with unprivileged(), Store.open(home) as store:
        kept = store.save_check(full_check(), [(PHOTO, "a.jpg")])
    before = file_hashes(home)
    for path in [home, *home.rglob("*")]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    with (
        unprivileged(),
        pytest.raises(StoreError, match=NOT_WRITABLE),
        Store.open(home) as store,
    ):
        store.save_check(full_check(), [(b"another", "b.jpg")])
    for path in [home, *home.rglob("*")]:
        path.chmod(0o777)
    assert {name: value for name, value in file_hashes(home).items() if name in before} == before
    with Store.open(home) as store:
        assert store.get_check(kept.id) == kept


def spoil(folder: Path, change: Callable[[bytearray], Any]) -> bytes:
    path = folder / "history.sqlite"
    content = bytearray(path.read_bytes())
    change(content)
    path.write_bytes(content)
    return bytes(content)


def thirty_checks(store: Store) -> None:
    for number in range(30):
        store.save_check(full_check(f"C{number}", result=result(more="x" * 3000)), [(b"%d" % number, "a.jpg")])


def overwrite_middle(content: bytearray) -> None:
    start = len(content) // 4
    content[start : 3 * start] = b"\xa5" * (2 * start)


def read_everything(folder: Path, archive: Path) -> None:
    with Store.open(folder) as store:
        problems = store.verify().problems
        assert "damaged" in problems[0]
        for row in store.find_checks(per_page=500).items:
            store.get_check(row.id)
        store.export_archive(archive)


@pytest.mark.parametrize(
    "change",
    [
        lambda content: content.__setitem__(slice(0, 4096), os.urandom(4096)),
        lambda content: content.__delitem__(slice(len(content) // 3, None)),
        overwrite_middle,
    ],
    ids=["no header", "cut off", "overwritten inside"],
)
def test_a_damaged_database_is_said_to_be_damaged_and_left_as_it_is(
    change: Callable[[bytearray], Any], tmp_path: Path
) -> None:
    copy_filled(thirty_checks, tmp_path / "data")
    spoiled = spoil(tmp_path / "data", change)
    with pytest.raises(StoreError, match="the database file is damaged: copy the data folder"):
        read_everything(tmp_path / "data", tmp_path / "all.zip")
    assert (tmp_path / "data" / "history.sqlite").read_bytes() == spoiled
    assert not (tmp_path / "all.zip").exists()


def test_a_newer_history_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    copy_filled(thirty_checks, tmp_path / "data")
    with sqlite3.connect(tmp_path / "data" / "history.sqlite") as connection:
        connection.execute("UPDATE history_version SET version_num = '9999'")
    connection.close()
    before = file_hashes(tmp_path / "data")
    with pytest.raises(StoreError, match="newer version of this program: update the program"):
        Store.open(tmp_path / "data")
    assert file_hashes(tmp_path / "data") == before


@pytest.mark.postgres
def test_a_newer_history_on_a_server_is_refused(tmp_path: Path) -> None:
    with postgres_store(tmp_path) as store:
        url = store._database.place.url.render_as_string(hide_password=False)
        with store._database.writing() as connection:
            known = connection.execute(text("SELECT version_num FROM history_version")).scalar()
            connection.execute(text("UPDATE history_version SET version_num = '9999'"))
        try:
            with pytest.raises(StoreError, match="newer version"):
                Store.open(url, folder=tmp_path)
        finally:
            with store._database.writing() as connection:
                connection.execute(text("UPDATE history_version SET version_num = :known"), {"known": known})


def test_a_database_of_something_else_is_refused(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "history.sqlite") as connection:
        connection.execute("CREATE TABLE recipes (id INTEGER)")
    connection.close()
    before = file_hashes(tmp_path)
    with pytest.raises(StoreError, match="tables of something else"):
        Store.open(tmp_path)
    assert {name: value for name, value in file_hashes(tmp_path).items() if name in before}.keys() == before.keys()


def test_photos_without_their_database_are_not_taken_for_a_new_history(tmp_path: Path) -> None:
    copy_filled(thirty_checks, tmp_path / "data")
    for path in (tmp_path / "data").glob("history.sqlite*"):
        path.unlink()
    with pytest.raises(StoreError, match="its database is missing or empty: restore the latest backup"):
        Store.open(tmp_path / "data")
    (tmp_path / "data" / "history.sqlite").write_bytes(b"")
    with pytest.raises(StoreError, match="its database is missing or empty"):
        Store.open(tmp_path / "data")


def test_a_missing_or_changed_photo_is_said_on_every_reading_and_can_be_put_back(tmp_path: Path) -> None:
    with open_store(tmp_path / "data") as store:
        saved = store.save_check(full_check(), [(b"one", "1.jpg"), (b"two", "2.jpg"), (b"six", "6.jpg")])
        paths = [tmp_path / "data" / "photos" / photo.sha256[:2] / photo.sha256 for photo in saved.photos]
        paths[0].unlink()
        paths[1].write_bytes(b"owt")
        assert [photo.state for photo in store.get_check(saved.id).photos] == ["missing", "changed", "whole"]
        with pytest.raises(StoreError, match=r"is missing: put it back from a backup"):
            store.photo_bytes(saved.photos[0].sha256)
        with pytest.raises(StoreError, match=r"no longer what was saved"):
            store.photo_bytes(saved.photos[1].sha256)
        problems = store.verify().problems
        assert len(problems) == 2
        assert all(str(path) in " ".join(problems) for path in paths[:2])
        store.save_check(NewCheck(result=result()), [(b"one", "again.jpg"), (b"two", "again.jpg")])
        assert store.verify().sound


def test_a_history_kept_locked_by_another_program_can_be_read_and_says_why_it_cannot_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database_module, "BUSY_SECONDS", 0.1)
    with open_store(tmp_path / "data") as store:
        kept = store.save_check(full_check())
        other = sqlite3.connect(tmp_path / "data" / "history.sqlite", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        assert store.get_check(kept.id) == kept
        with pytest.raises(StoreError, match="another program kept the history locked"):
            store.save_check(full_check(), [(b"late", "l.jpg")])
        other.execute("ROLLBACK")
        other.close()
        store.save_check(full_check(), [(b"late", "l.jpg")])
        assert store.find_checks().total == 2


def test_what_a_crash_left_half_written_is_cleared_away_after_a_day(tmp_path: Path) -> None:
    with open_store(tmp_path / "data") as store:
        store.save_check(full_check(), [(PHOTO, "a.jpg")])
    incoming = tmp_path / "data" / "photos" / "incoming"
    for name, age_days in (("old.part", 2), ("young.part", 0)):
        (incoming / name).write_bytes(b"half")
        when = datetime.now().timestamp() - 86_400 * age_days
        os.utime(incoming / name, (when, when))
    with open_store(tmp_path / "data") as store:
        assert store.verify().sound
    assert [path.name for path in incoming.iterdir()] == ["young.part"]


@pytest.mark.postgres
def test_a_server_that_goes_away_is_said_and_found_again(tmp_path: Path) -> None:
    with postgres_store(tmp_path) as store:
        kept = store.save_check(full_check())
        with store._database.reading() as connection:
            connection.execute(text("SELECT 1"))
        others = "pid <> pg_backend_pid() AND datname = current_database()"
        killer = store._database.engine.connect()
        killer.execute(text(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE {others}"))
        killer.close()
        assert store.get_check(kept.id) == kept, "a dead connection is replaced"
