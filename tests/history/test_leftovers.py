"""What a killed program leaves is found and cleared, and blocks no later try; what is being written is left alone."""

from __future__ import annotations

import os
import signal
import sqlite3
import stat
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

import pytest

from match.cli import main
from match.errors import StoreError
from match.history import scratch
from match.history.rights import Rights
from match.history.store import Store
from match.history.words import where_words
from tests.history.test_safety import open_folder, unprivileged  # noqa: F401
from tests.history.test_support import PHOTO, full_check, open_store

HOLD = """
import sys, time
from pathlib import Path
from match.history.scratch import scratch_beside
with scratch_beside(Path(sys.argv[1]), Path(sys.argv[2])) as folder:
    (folder / "half").write_bytes(b"half")
    print("made", flush=True)
    time.sleep(60)
"""


def _holding(target: Path, data: Path) -> subprocess.Popen[bytes]:
    held = subprocess.Popen([sys.executable, "-c", HOLD, target, data], stdout=subprocess.PIPE)
    assert held.stdout is not None
    assert held.stdout.readline() == b"made\n"
    return held


def _aged(folder: Path) -> None:
    long_ago = time.time() - 100.0
    for path in folder.rglob("*.lock"):
        os.utime(path, (long_ago, long_ago))


def test_leftovers_of_a_kill_are_named_and_cleared_and_what_is_being_written_is_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "out").mkdir()
    with open_store(tmp_path / "data") as store:
        store.save_check(full_check(), [(PHOTO, "a.jpg")])
        writing = _holding(tmp_path / "out" / "backup.zip", tmp_path / "data")
        _aged(tmp_path / "out")
        assert store.leftovers() == ()
        assert store.clear_leftovers() == 0
        writing.send_signal(signal.SIGKILL)
        writing.wait()
        (left,) = [path for path in store.leftovers() if path.endswith(".part")]
        assert str(tmp_path / "out") in left
        assert left in store.verify().leftovers
        assert store.verify().sound
    assert main(["history", "clear-leftovers", "--data", str(tmp_path / "data")]) == 0
    assert "Cleared 2" in capsys.readouterr().out
    assert not list((tmp_path / "out").iterdir())
    with Store.open(tmp_path / "data") as store:
        assert store.leftovers() == ()


def test_the_next_backup_clears_what_the_killed_one_left_beside_it(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    with open_store(tmp_path / "data") as store:
        writing = _holding(tmp_path / "out" / "backup.zip", tmp_path / "data")
        writing.send_signal(signal.SIGKILL)
        writing.wait()
        _aged(tmp_path / "out")
        store.back_up(tmp_path / "out" / "backup.zip")
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["backup.zip"]


ELSEWHERE = """
import time
from match.history.scratch import scratch_elsewhere
with scratch_elsewhere() as folder:
    (folder / "history.sqlite").write_bytes(b"cars and plates")
    print("made", flush=True)
    time.sleep(60)
"""


@pytest.mark.skipif(os.name == "nt", reason="kills with a POSIX signal")
def test_a_copy_among_the_temporary_files_is_cleared_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A history on read-only media is looked at in a copy when it must be brought up to date first."""
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(temporary))
    environment = {**os.environ, "TMPDIR": str(temporary)}
    held = subprocess.Popen([sys.executable, "-c", ELSEWHERE], stdout=subprocess.PIPE, env=environment)
    assert held.stdout is not None
    assert held.stdout.readline() == b"made\n"
    with open_store(tmp_path / "data") as store:
        _aged(temporary)
        assert store.leftovers() == ()
        held.kill()
        held.wait()
        (left,) = temporary.iterdir()
        assert left.stat().st_mode & 0o077 == 0
        assert store.leftovers() == (str(left),)
        assert store.clear_leftovers() == 1
    assert not list(temporary.iterdir())


def test_half_written_small_files_are_named_and_cleared_where_one_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Camera records lie in the data folder, toners beside the calibration, job sheets anywhere."""
    monkeypatch.setenv("SPRAYOUT_CALIBRATION", str(tmp_path / "own"))
    (tmp_path / "sheets").mkdir()
    (tmp_path / "own").mkdir()
    with open_store(tmp_path / "data") as store:
        for folder in ("data", "own", "sheets"):
            (tmp_path / folder / ".file.0123456789ab.new").write_bytes(b"half")
        named = [path for path in store.verify().leftovers if path.endswith(".new")]
        assert [Path(path).parent.name for path in named] == ["data", "own"]
    given = ["history", "clear-leftovers", str(tmp_path / "sheets"), "--data", str(tmp_path / "data")]
    assert main(given) == 0
    assert "Cleared 3" in capsys.readouterr().out
    assert not list(tmp_path.rglob("*.new"))


def test_nothing_of_another_program_is_cleared(tmp_path: Path) -> None:
    with open_store(tmp_path / "data") as store:
        for name in (".theirs.part", ".other.0123456789abcdef0123456789abcdef.part"):
            (tmp_path / name).mkdir()
            (tmp_path / name / "kept").write_bytes(b"kept")
        (tmp_path / "data" / scratch.NOTES).mkdir()
        (tmp_path / "data" / scratch.NOTES / "forged").write_text(str(tmp_path / ".theirs.part"))
        store.clear_leftovers()
    assert (tmp_path / ".theirs.part" / "kept").exists()
    assert (tmp_path / ".other.0123456789abcdef0123456789abcdef.part" / "kept").exists()


def test_a_failed_restore_of_an_export_leaves_no_folder(tmp_path: Path) -> None:
    with open_store(tmp_path / "data") as store:
        store.save_check(full_check(), [(PHOTO, "a.jpg")])
        store.export_archive(tmp_path / "all.zip")
    bad = tmp_path / "bad.zip"
    bad.write_bytes((tmp_path / "all.zip").read_bytes().replace(b"photos/", b"photoz/"))
    before = sorted(path.name for path in tmp_path.iterdir())
    with pytest.raises(StoreError):
        Store.restore(bad, tmp_path / "new")
    assert sorted(path.name for path in tmp_path.iterdir()) == before
    with Store.restore(tmp_path / "all.zip", tmp_path / "new") as store:
        assert store.verify().sound


def _locked(home: Path) -> None:
    for path in [home, *home.rglob("*")]:
        path.chmod(0o555 if path.is_dir() else 0o444)


def _names(home: Path) -> list[str]:
    return sorted(str(path.relative_to(home)) for path in home.rglob("*"))


@pytest.mark.parametrize("state", ["closed", "log left", "old version"])
def test_read_only_media_can_be_listed_shown_verified_and_exported(state: str, open_folder: Path) -> None:  # noqa: F811
    home = open_folder / "data"
    with unprivileged():
        store = Store.open(home)
        kept = store.save_check(full_check(), [(PHOTO, "a.jpg")])
        if state == "log left":
            log = (home / "history.sqlite-wal").read_bytes()
        store.close()
        if state == "log left":
            (home / "history.sqlite-wal").write_bytes(log)
        if state == "old version":
            with closing(sqlite3.connect(home / "history.sqlite")) as database, database:
                database.execute("DROP TABLE record_digest")
                database.execute("DROP TABLE photo_content")
                database.execute("DROP TABLE pot")
                database.execute("DROP TABLE panel")
                database.execute("ALTER TABLE card DROP COLUMN place")
                database.execute("DROP TABLE bench")
                database.execute("UPDATE history_version SET version_num = '0002'")
    _locked(home)
    before = _names(home)
    (open_folder / "out").mkdir(mode=0o777)
    (open_folder / "out").chmod(0o777)
    with unprivileged(), Store.open(home) as store:
        assert store.read_only
        assert any("Nothing can be saved" in words for words in where_words(store))
        assert [row.id for row in store.find_checks().items] == [kept.id]
        assert store.get_check(kept.id).photos == kept.photos
        assert store.verify().problems == ()
        store.export_archive(open_folder / "out" / "export.zip")
        store.back_up(open_folder / "out" / "backup.zip")
        for refused in (
            lambda: store.save_check(full_check(), [(b"another", "b.jpg")]),
            lambda: store.delete(kept.id),
            lambda: store.import_archive(open_folder / "out" / "export.zip"),
            store.clear_leftovers,
        ):
            with pytest.raises(StoreError, match="may not be written"):
                refused()
    assert _names(home) == before
    for name in ("export", "backup"):
        with Store.restore(open_folder / "out" / f"{name}.zip", open_folder / f"again {name}") as again:
            assert again.get_check(kept.id).result == kept.result


@pytest.mark.skipif(os.name != "posix", reason="rights are POSIX's")
def test_an_own_folder_is_closed_to_others_and_a_shared_one_left_alone(tmp_path: Path) -> None:
    for name, mode, left in (("own", 0o755, 0o700), ("shared", 0o2775, 0o2775), ("anybody", 0o777, 0o777)):
        home = tmp_path / name
        with open_store(home) as store:
            store.save_check(full_check(), [(PHOTO, "a.jpg")])
        for path in home.rglob("*"):
            path.chmod(0o755 if path.is_dir() else 0o644)
        home.chmod(mode)
        with Store.open(home) as store:
            assert store.rights is (Rights.OWN if left == 0o700 else Rights.SHARED)
        assert stat.S_IMODE(home.stat().st_mode) == left
        files = [stat.S_IMODE(path.stat().st_mode) for path in home.rglob("*") if path.is_file()]
        assert max(files) == (0o600 if left == 0o700 else 0o644)


@pytest.mark.skipif(os.name == "nt", reason="rights of POSIX")
def test_a_folder_given_for_the_photos_is_there_to_be_shared_and_keeps_its_rights(open_folder: Path) -> None:  # noqa: F811
    home, photos = open_folder / "own", open_folder / "photos"
    for each in (home, photos):
        each.mkdir()
        each.chmod(0o755)
    with Store.open(home, folder=photos) as store:
        assert store.rights is Rights.SHARED
    assert stat.S_IMODE(photos.stat().st_mode) == 0o755
