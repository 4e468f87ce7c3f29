"""Kill what keeps and takes away at random moments: is anything torn, or lost that was reported kept? Prints counts.

``python -m tests.benchmarks.history_kills [KILLS] [DEED ...]``. Each kill forks a process that does its deed again and
again and reports every one done; what is there after the kill is then read by the program itself.
"""

import contextlib
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from match.camera.records_file import Cameras, change_cameras, read_cameras
from match.camera.shots import NullShot
from match.check.saved import read_saved
from match.errors import MatchError
from match.files import changing, parse_json, read_bytes
from match.history import scratch
from match.history.store import Store
from match.tint.card_from_check import checked_from
from match.tint.shelf_file import keep_named, load_shelf
from match.tint.story import begin, story_from
from tests.history.test_support import full_check
from tests.support.documents import document

Report = Callable[[str], None]
Deed = Callable[[Path, int, Report], None]
Look = Callable[[Path, list[str]], int]
PHOTO_BYTES = 200_000


def _save(home: Path, trial: int, report: Report) -> None:
    with Store.open(home / "data") as store:
        for turn in range(10_000):
            photo = b"%06d %06d " % (trial, turn) * (PHOTO_BYTES // 14)
            report(store.save_check(full_check(f"T{trial}"), [(photo, f"{trial} {turn}")]).id)


def _saved(home: Path, reported: list[str]) -> int:
    with Store.open(home / "data") as store:
        kept = [store.get_check(public_id) for public_id in reported]
        return sum(check.photos[0].state == "whole" for check in kept)


def _log(home: Path, trial: int, report: Report) -> None:
    story = begin(checked_from(read_saved(document(1.5, "retint"), "the check")), 100.0)
    for turn in range(10_000):
        with changing(home / "pot.json", "the tint log") as write:
            write(json.dumps({**story.as_dict(), "pot_g": 100.0 + trial * 100 + turn % 100, "more": "x" * 20_000}))
        report(str(100.0 + trial * 100 + turn % 100))


def _logged(home: Path, reported: list[str]) -> int:
    story = story_from(parse_json(read_bytes(home / "pot.json", "the tint log"), "the tint log"), "the tint log")
    return len(reported) if not reported or story.pot_g >= float(reported[-1]) else len(reported) - 1


def _camera(home: Path, trial: int, report: Report) -> None:
    shot = NullShot("a.jpg", np.array([0.1, 0.2, 0.3]), np.eye(3))
    for turn in range(10_000):
        name = f"{trial:032x}{turn:032x}"

        def change(kept: Cameras, name: str = name) -> Cameras:
            return kept.with_null(f"c{trial}", name, shot)

        change_cameras(home / "cameras.json", change)
        report(name)


def _recorded(home: Path, reported: list[str]) -> int:
    cameras = read_cameras(home / "cameras.json")
    kept = {sha256 for camera in cameras.by_name.values() for sha256 in camera.nulls}
    return sum(name in kept for name in reported)


def _toner(home: Path, trial: int, report: Report) -> None:
    os.environ["SPRAYOUT_CALIBRATION"] = str(home)
    for turn in range(10_000):
        report(keep_named(f"t{trial}x{turn % 20}", "black", 1.0).name)


def _shelved(home: Path, reported: list[str]) -> int:
    os.environ["SPRAYOUT_CALIBRATION"] = str(home)
    own = load_shelf().own
    return sum(name in own for name in reported)


def _filled(home: Path) -> Path:
    """Return a small history, made once."""
    if not (home / "kept").exists():
        with Store.open(home / "kept") as store:
            for turn in range(20):
                store.save_check(full_check(), [(b"%06d" % turn * 20_000, "a.jpg")])
            store.back_up(home / "source.zip")
        (home / "out").mkdir()
    return home / "kept"


def _packed(write: Callable[[Store, Path], object]) -> Deed:
    def pack(home: Path, trial: int, report: Report) -> None:
        with Store.open(home / "kept") as store:
            for turn in range(10_000):
                target = home / "out" / f"{trial}-{turn}.zip"
                write(store, target)
                report(target.name)

    return pack


def _archived(home: Path, reported: list[str]) -> int:
    """Restore the last archive that was reported; the others must be there under their names."""
    there = [name for name in reported if (home / "out" / name).exists()]
    for number, path in enumerate(sorted((home / "out").glob("[0-9]*.zip"))):
        if (reported and path.name == reported[-1]) or path.name not in reported:
            with Store.restore(path, home / f"back {number}") as store:
                assert store.verify().sound
        path.unlink()
    return len(there)


def _restore(home: Path, trial: int, report: Report) -> None:
    for turn in range(10_000):
        Store.restore(home / "source.zip", home / "out" / f"{trial}-{turn}").close()
        report(f"{trial}-{turn}")


def _restored(home: Path, reported: list[str]) -> int:
    whole = 0
    for path in sorted((home / "out").glob("[0-9]*")):
        with Store.open(path) as store:
            sound = store.verify().sound and store.find_checks().total == 20
        assert sound
        whole += path.name in reported
        shutil.rmtree(path)
    return whole


DEEDS: dict[str, tuple[Deed, Look]] = {
    "save": (_save, _saved),
    "tint log": (_log, _logged),
    "camera record": (_camera, _recorded),
    "toner shelf": (_toner, _shelved),
    "backup": (_packed(lambda store, target: store.back_up(target)), _archived),
    "restore": (_restore, _restored),
    "export": (_packed(lambda store, target: store.export_archive(target)), _archived),
}


def _killed(deed: Deed, home: Path, trial: int, wait_seconds: float) -> list[str]:
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading)
            os.write(writing, b"begun\n")
            deed(home, trial, lambda said: os.write(writing, said.encode() + b"\n") and None)
        finally:
            os._exit(1)
    os.close(writing)
    told = os.read(reading, 4096)
    time.sleep(wait_seconds)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    with open(reading, "rb") as pipe:
        told += pipe.read()
    if not os.WIFSIGNALED(status):
        raise RuntimeError(f"trial {trial} ended by itself, before it was killed: {told!r}")
    return told.decode().split("\n")[1:-1]


def _seconds_of(deed: Deed, home: Path) -> float:
    """Return how long the first three deeds take, on average, by this machine as busy as it is."""
    begun, times = time.monotonic(), []

    class EnoughError(Exception):
        pass

    def report(_said: str) -> None:
        times.append(time.monotonic() - begun)
        if len(times) == 3:
            raise EnoughError

    with contextlib.suppress(EnoughError):
        deed(home, 0, report)
    return times[-1] / len(times)


WRITERS, TURNS = 8, 10
WRITTEN_BY_MANY = ("save", "camera record", "toner shelf")


def _at_once(deed: Deed, look: Look, home: Path) -> tuple[int, int]:
    """Let several programs do the same deed some times at once; return how many were reported and how many are kept."""
    pipes = []
    for trial in range(1, WRITERS + 1):
        reading, writing = os.pipe()
        if os.fork() == 0:
            said: list[str] = []

            def report(word: str, said: list[str] = said, writing: int = writing) -> None:
                os.write(writing, word.encode() + b"\n")
                said.append(word)
                if len(said) == TURNS:
                    os._exit(0)

            try:
                deed(home, trial, report)
            finally:
                os._exit(1)
        os.close(writing)
        pipes.append(reading)
    told = b"".join(open(pipe, "rb").read() for pipe in pipes)  # noqa: SIM115
    for _ in pipes:
        os.wait()
    reported = told.decode().split()
    return len(reported), look(home, reported)


def main() -> None:
    """Print the counts of every deed."""
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    chance = random.Random(11)
    for name in sys.argv[2:] or DEEDS:
        deed, look = DEEDS[name]
        torn = reported = kept = 0
        with tempfile.TemporaryDirectory() as folder:
            home = Path(folder)
            _filled(home)
            each = _seconds_of(deed, home)
            for path in (home / "out").iterdir():
                _gone(path)
            window = 2.5 * each
            for trial in range(1, kills + 1):
                said = _killed(deed, home, trial, chance.uniform(0.0, window))
                window *= 0.95 if said else 1.05  # so that half the kills meet the first deed, and half a later one
                reported += len(said)
                try:
                    kept += look(home, said)
                except (MatchError, AssertionError) as fault:
                    torn += 1
                    print(f"  {name} {trial}: {fault}", flush=True)
                for path in home.glob("back *"):
                    _gone(path)
            left = _left(home)
            at_once = _at_once(deed, look, home) if name in WRITTEN_BY_MANY else None
        print(
            f"{name}: {kills} kills, {reported} reported kept, {reported - kept} lost, {torn} torn; "
            f"{left[0]} leftovers named, {left[1]} left after clearing",
            flush=True,
        )
        if at_once is not None:
            print(
                f"  {WRITERS} programs at once, {TURNS} times each: {at_once[0]} reported, {at_once[1]} kept",
                flush=True,
            )


def _gone(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink()


def _left(home: Path) -> tuple[int, int]:
    """Return how many leftovers are found, once their locks are old enough to tell, and how many after clearing."""
    time.sleep(2.5)
    folders = [home / "kept", home / "data"]
    found = {path for folder in folders for path in scratch.leftovers(folder)} | set(scratch.found_in(home / "out"))
    scratch.clear(sorted(found))
    again = {path for folder in folders for path in scratch.leftovers(folder)} | set(scratch.found_in(home / "out"))
    return len(found), len(again)


if __name__ == "__main__":
    main()
