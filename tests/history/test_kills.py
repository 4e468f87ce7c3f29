"""Killed at any moment, the history keeps everything it said it had saved, whole, with its photos.

Run as a program, this file is the fork server of the test: it loads the libraries once, then forks a process for every
trial, lets it save checks, kills it with SIGKILL at a random moment, and prints what the process had reported.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import signal
import statistics
import subprocess
import sys
import time
from pathlib import Path

import pytest

from match.history.store import Store
from tests.history.test_support import full_check

pytestmark = pytest.mark.long
TRIALS, NEW_FOLDERS = 50, 4  # tests/benchmarks/history_kills.py kills by the thousand


def photo_of(trial: int, turn: int) -> bytes:
    """A photo of 200 kB that no other save has."""
    return b"%06d %06d " % (trial, turn) * 14_000


def save_until_killed(folder: Path, trial: int, report: int) -> None:
    """Report "start" before and the check's id after every save, each in one write that a kill cannot tear."""
    with Store.open(folder) as store:
        for turn in range(10_000):
            os.write(report, b"start\n")
            saved = store.save_check(full_check(f"T{trial}"), [(photo_of(trial, turn), f"{trial} {turn}")])
            os.write(report, saved.id.encode() + b"\n")


def trial(folder: Path, number: int, wait_for_lines: int, wait_seconds: float) -> list[str]:
    """Fork, let it report some lines, wait a little, kill it, and return all lines that it reported."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading)
            save_until_killed(folder, number, writing)
        finally:
            os._exit(1)
    os.close(writing)
    told = b""
    while told.count(b"\n") < wait_for_lines:
        told += os.read(reading, 4096) or b"ended\n" * wait_for_lines
    time.sleep(wait_seconds)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    if not os.WIFSIGNALED(status):
        raise RuntimeError(f"trial {number} ended by itself, before it was killed")
    with open(reading, "rb") as pipe:
        return (told + pipe.read()).decode().split()


def seconds_of_a_save(folder: Path) -> float:
    """Save a few checks in this process, which also loads what is loaded at first use; return the median time."""
    spent = []
    with Store.open(folder) as store:
        for turn in range(5):
            begin = time.monotonic()
            store.save_check(full_check(), [(photo_of(0, turn), "warm.jpg")])
            spent.append(time.monotonic() - begin)
    return statistics.median(spent)


def main(folder: Path) -> None:
    """Print one JSON object: the ids reported saved, by folder, and how many kills came in the middle of a save."""
    rng = random.Random(11)
    found: dict[str, list[str]] = {}
    middle = 0
    typical = seconds_of_a_save(folder / "warm")
    for number in range(TRIALS):
        lines = trial(folder / "one", number, rng.choice((0, 1, 2, 3, 3, 5)), rng.uniform(0.0, 1.5 * typical))
        middle += bool(lines) and lines[-1] == "start"
        found.setdefault("one", []).extend(line for line in lines if line != "start")
    for number in range(NEW_FOLDERS):
        name = f"new{number}"
        lines = trial(folder / name, number, 0, rng.uniform(0.0, 20.0 * typical))
        found[name] = [line for line in lines if line != "start"]
    print(json.dumps({"found": found, "middle": middle}))


@pytest.fixture(scope="module")
def killed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, list[str]], int]:
    folder = tmp_path_factory.mktemp("killed")
    root = Path(__file__).parents[2]
    command = [sys.executable, "-m", "tests.history.test_kills", str(folder)]
    done = subprocess.run(command, cwd=root, capture_output=True, text=True, timeout=1800)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    return folder, told["found"], told["middle"]


Killed = tuple[Path, dict[str, list[str]], int]


def test_the_kills_came_in_the_middle_of_saving(killed: Killed) -> None:
    _, found, middle = killed
    assert middle > TRIALS // 4
    assert len(found["one"]) > TRIALS // 4


def test_everything_reported_saved_is_there_whole_with_its_photo(killed: Killed) -> None:
    folder, found, _ = killed
    with Store.open(folder / "one") as store:
        assert store.verify().problems == ()
        assert len(set(found["one"])) == len(found["one"])
        for public_id in found["one"]:
            check = store.get_check(public_id)
            (photo,) = check.photos
            trial_number, turn = photo.name.split()
            assert store.photo_bytes(photo.sha256) == photo_of(int(trial_number), int(turn))
            assert check.result == full_check().result
            assert check.code == f"T{trial_number}"


def test_nothing_was_saved_by_halves(killed: Killed) -> None:
    """A kill between the commit and the report may leave a check that was not reported, one a trial at most."""
    folder, found, _ = killed
    with Store.open(folder / "one") as store:
        total = store.find_checks().total
        assert len(found["one"]) <= total <= len(found["one"]) + TRIALS
        assert store.find_colours().total == store.find_jobs().total == total


def test_a_history_killed_while_it_was_made_can_be_opened_and_used(killed: Killed) -> None:
    folder, found, _ = killed
    for number in range(NEW_FOLDERS):
        name = f"new{number}"
        with Store.open(folder / name) as store:
            for public_id in found[name]:
                assert store.get_check(public_id).photos[0].state == "whole"
            store.save_check(full_check(), [(b"after", "a.jpg")])
            assert store.verify().sound


if __name__ == "__main__":
    with contextlib.suppress(KeyboardInterrupt):
        main(Path(sys.argv[1]))
