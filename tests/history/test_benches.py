"""Unfinished work: it comes back whole to the browser that left it, to no other, and does not grow without end.

Run as a program, this file forks processes that keep a bench again and again, kills each at a random moment, and prints
what was found afterwards.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import signal
import subprocess
import sys
import time
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import event, func, select

from match.errors import StoreError
from match.history import benches, tables
from match.history.benches import BenchLimits
from match.history.store import Store
from tests.history.test_support import full_check, open_store

OWNER, OTHER = "a" * 32, "b" * 32
FIRST, SECOND = "1" * 32, "2" * 32
KILLS = 4
"""More with ``python -m tests.history.test_benches FOLDER KILLS``."""


def photos(*contents: bytes) -> dict[str, bytes]:
    return {hashlib.sha256(content).hexdigest(): content for content in contents}


def limited(monkeypatch: pytest.MonkeyPatch, **changed: float) -> None:
    given = {"most_benches": 60.0, "age_days": 30.0, "photo_megabytes": 2000.0} | changed
    monkeypatch.setattr(benches, "load", lambda *_: BenchLimits(**given))


def test_a_bench_comes_back_whole_to_its_browser_and_to_no_other(store: Store) -> None:
    shot = photos(b"card beside the car", b"the flop")
    store.benches.keep(FIRST, OWNER, {"photos": list(shot), "note": "é 漆"}, shot)
    (kept,) = store.benches.of(OWNER)
    assert kept.document == {"photos": list(shot), "note": "é 漆"}
    assert {sha256: store.benches.photo(sha256) for sha256 in shot} == shot
    assert store.benches.of(OTHER) == ()


def test_a_bench_is_replaced_in_place_and_the_newest_comes_first(store: Store) -> None:
    for bench, turn in ((FIRST, 1), (SECOND, 2), (FIRST, 3)):
        store.benches.keep(bench, OWNER, {"turn": turn}, {})
    assert [(kept.id, kept.document["turn"]) for kept in store.benches.of(OWNER)] == [(FIRST, 3), (SECOND, 2)]


def test_a_bench_that_was_kept_elsewhere_since_it_was_seen_stays_as_it_is(store: Store) -> None:
    first = store.benches.keep(FIRST, OWNER, {"turn": 1}, {})
    assert first is not None
    second = store.benches.keep(FIRST, OWNER, {"turn": 2}, {}, seen=first)
    assert second is not None
    assert store.benches.keep(FIRST, OWNER, {"turn": 3}, photos(b"new"), seen=first) is None
    (kept,) = store.benches.of(OWNER)
    assert (kept.document, kept.saved_at) == ({"turn": 2}, second)
    store.benches.forget(FIRST, OWNER)  # cleared meanwhile: then nothing is written over
    assert store.benches.keep(FIRST, OWNER, {"turn": 4}, {}, seen=second) is not None


def test_a_bench_is_forgotten_by_its_own_browser_only(store: Store) -> None:
    store.benches.keep(FIRST, OWNER, {}, {})
    store.benches.forget(FIRST, OTHER)
    assert len(store.benches.of(OWNER)) == 1
    store.benches.forget(FIRST, OWNER)
    assert store.benches.of(OWNER) == ()


def test_photos_are_written_once(tmp_path: Path) -> None:
    shot = photos(b"one and the same")
    with open_store(tmp_path / "data") as store:
        store.benches.keep(FIRST, OWNER, {"turn": 1}, shot)
        (file,) = (tmp_path / "data" / "bench").glob("??/*")
        before = file.stat().st_ino
        store.benches.keep(FIRST, OWNER, {"turn": 2}, shot)
        store.benches.keep(SECOND, OTHER, {"turn": 3}, shot)
        assert [each.stat().st_ino for each in (tmp_path / "data" / "bench").glob("??/*")] == [before]


def test_a_photo_that_changed_on_the_disk_is_refused(tmp_path: Path) -> None:
    shot = photos(b"as it was")
    with open_store(tmp_path / "data") as store:
        store.benches.keep(FIRST, OWNER, {}, shot)
        (file,) = (tmp_path / "data" / "bench").glob("??/*")
        file.write_bytes(b"as it is!")
        with pytest.raises(StoreError, match="no longer what was saved"):
            store.benches.photo(next(iter(shot)))


def test_the_oldest_go_when_there_are_too_many(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    limited(monkeypatch, most_benches=2)
    for turn in range(4):
        store.benches.keep(f"{turn:032x}", OWNER, {"turn": turn}, {})
    assert [kept.document["turn"] for kept in store.benches.of(OWNER)] == [3, 2]


def test_what_is_too_old_goes_with_its_photos(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    old, new = photos(b"an old photo"), photos(b"a new photo")
    with open_store(tmp_path / "data") as store:
        began = store._now()
        store.benches.keep(FIRST, OWNER, {}, old)
        for file in (tmp_path / "data" / "bench").glob("??/*"):
            os.utime(file, (0, 0))
        monkeypatch.setattr(store.benches, "_now", lambda: began + timedelta(days=31))
        store.benches.keep(SECOND, OWNER, {}, new)
        assert [kept.id for kept in store.benches.of(OWNER)] == [SECOND]
        with pytest.raises(StoreError, match="missing"):
            store.benches.photo(next(iter(old)))
        assert store.benches.photo(next(iter(new))) == b"a new photo"


def test_photos_together_stay_below_their_limit_but_the_newest_bench_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    limited(monkeypatch, photo_megabytes=0.001)
    with open_store(tmp_path / "data") as store:
        store.benches.keep(FIRST, OWNER, {}, photos(b"1" * 600))
        store.benches.keep(SECOND, OWNER, {}, photos(b"2" * 600))
        assert [kept.id for kept in store.benches.of(OWNER)] == [SECOND]
        store.benches.keep(SECOND, OWNER, {}, photos(b"3" * 4000))
        assert [kept.id for kept in store.benches.of(OWNER)] == [SECOND]


def test_a_photo_written_a_moment_ago_is_not_cleared_before_it_is_named(tmp_path: Path) -> None:
    with open_store(tmp_path / "data") as store:
        store.benches.keep(FIRST, OWNER, {}, photos(b"left behind"))
        store.benches.keep(FIRST, OWNER, {}, photos(b"another"))
        assert len(list((tmp_path / "data" / "bench").glob("??/*"))) == 2


def test_what_fails_leaves_the_bench_as_it_was(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    store.benches.keep(FIRST, OWNER, {"turn": 1}, {})

    def fail(*_: object) -> None:
        raise OSError("the disk is full")

    monkeypatch.setattr(store.benches, "_clear_old", fail)
    with pytest.raises(StoreError, match="disk"):
        store.benches.keep(FIRST, OWNER, {"turn": 2}, photos(b"new"))
    assert [kept.document for kept in store.benches.of(OWNER)] == [{"turn": 1}]


def test_a_commit_that_fails_takes_no_photo_of_a_bench_that_stays(store: Store) -> None:
    old = photos(b"an old photo")
    store.benches.keep(FIRST, OWNER, {}, old)
    for file in store.benches._photos.root.glob("??/*"):
        os.utime(file, (0, 0))
    store.benches._now = lambda: datetime.now(UTC) + timedelta(days=31)

    def fail(_: object) -> None:
        raise OSError("the disk is full")

    event.listen(store._database.engine, "commit", fail)
    with pytest.raises(StoreError, match="disk"):
        store.benches.keep(SECOND, OWNER, {}, photos(b"a new photo"))
    event.remove(store._database.engine, "commit", fail)
    assert [kept.id for kept in store.benches.of(OWNER)] == [FIRST]
    assert store.benches.photo(next(iter(old))) == b"an old photo"


def test_neither_export_nor_backup_holds_unfinished_work(tmp_path: Path) -> None:
    secret = "a plate that nobody saved"
    with open_store(tmp_path / "data") as store:
        store.save_check(full_check())
        store.benches.keep(FIRST, OWNER, {"note": secret}, photos(b"a photo of " + secret.encode()))
        store.export_archive(tmp_path / "export.zip")
        store.back_up(tmp_path / "backup.zip")
        assert store.verify().problems == ()
    for name in ("export.zip", "backup.zip"):
        with zipfile.ZipFile(tmp_path / name) as packed:
            assert all(secret.encode() not in packed.read(part) for part in packed.namelist())
    with Store.restore(tmp_path / "backup.zip", tmp_path / "restored") as restored:
        assert restored.find_checks().total == 1
        with restored._database.reading() as connection:
            assert connection.execute(select(func.count()).select_from(tables.bench)).scalar_one() == 0


def keep_until_killed(folder: Path, trial: int, report: int) -> None:
    with Store.open(folder) as store:
        for turn in range(10_000):
            shot = photos(b"%06d %06d " % (trial, turn) * 2000)
            store.benches.keep(FIRST, OWNER, {"turn": [trial, turn], "photos": list(shot)}, shot)
            os.write(report, b"%d\n" % turn)


def killed(folder: Path, trial: int, wait_seconds: float) -> int:
    """Fork, kill it a moment after its first report, and return the last turn that it reported kept."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            keep_until_killed(folder, trial, writing)
        finally:
            os._exit(1)
    os.close(writing)
    told = os.read(reading, 4096)
    time.sleep(wait_seconds)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with open(reading, "rb") as pipe:
        return int((told + pipe.read()).split()[-1])


def main(folder: Path, kills: int) -> None:
    rng = random.Random(3)
    Store.open(folder).close()
    found = []
    for trial in range(kills):
        reported = killed(folder, trial, rng.uniform(0.0, 0.02))
        with Store.open(folder) as store:
            (kept,) = store.benches.of(OWNER)
            for sha256 in kept.document["photos"]:
                store.benches.photo(sha256)  # raises where it is missing or torn
        found.append([trial, reported, *kept.document["turn"]])
    print(json.dumps(found))


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_killed_at_any_moment_the_bench_is_the_last_one_reported_or_the_one_after(tmp_path: Path) -> None:
    root = Path(__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-m", "tests.history.test_benches", str(tmp_path / "data"), str(KILLS)],
        cwd=root,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert len(found) == KILLS
    for trial, reported, kept_trial, kept_turn in found:
        assert kept_trial == trial
        assert kept_turn in (reported, reported + 1)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
