"""Kill a process in a tight writing loop, and let several write at once: what is torn, lost or left? Prints counts."""

import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from match import files
from match.errors import FileError, MissingFileError

FILLING = "x" * 20_000
"""Makes each write long enough to be met by a kill."""


@dataclass
class Kills:
    """What was found after the kills: files that could not be read, locks that stayed held, and writes seen."""

    torn: int = 0
    stuck: int = 0
    writes: int = 0
    scratch: int = 0


def adding(path: Path, word: str) -> None:
    """Add a word to the list in a file."""
    with files.changing(path, "the file") as write:
        try:
            kept = files.read_json(path, "the file")
        except MissingFileError:
            kept = []
        write(json.dumps([*kept, word]))


def writing(path: Path) -> None:
    """Write for ever, a number and as much filling as makes a torn file show."""
    number = 0
    while True:
        number += 1
        with files.changing(path, "the file") as write:
            write(json.dumps({"number": number, "filling": FILLING, "again": number}))


def killed_while_writing(path: Path, kills: int, seed: int = 1) -> Kills:
    """Kill a writing process again and again, and look at the file after each kill."""
    chance, found = random.Random(seed), Kills()
    code = "import sys; from pathlib import Path; from tests.benchmarks.file_kills import writing\n"
    code += "writing(Path(sys.argv[1]))"
    for _ in range(kills):
        path.unlink(missing_ok=True)
        process = subprocess.Popen([sys.executable, "-c", code, path])
        while not path.exists():
            time.sleep(0.002)
        time.sleep(chance.uniform(0.0, 0.05))
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        try:
            read = files.read_json(path, "the file")
            found.torn += read["number"] != read["again"]
            found.writes += read["number"]
        except FileError:
            found.torn += 1
        found.scratch += len(list(path.parent.glob(f".{path.name}.*.new")))
        try:
            with files.changing(path, "the file"):
                pass
        except FileError:
            found.stuck += 1
    return found


def at_once(path: Path, writers: int, words: int) -> int:
    """Return how many of the words survive that several processes add at once."""
    code = "import sys; from pathlib import Path; from tests.benchmarks.file_kills import adding\n"
    code += f"for n in range({words}): adding(Path(sys.argv[1]), sys.argv[2] + '-' + str(n))"
    running = [subprocess.Popen([sys.executable, "-c", code, path, str(number)]) for number in range(writers)]
    for process in running:
        process.wait()
    return len(set(files.read_json(path, "the file")))


def main() -> None:
    """Print the counts."""
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    with tempfile.TemporaryDirectory() as folder:
        found = killed_while_writing(Path(folder) / "kept.json", kills)
        print(f"{kills} kills in a writing loop, {found.writes} writes seen")
        print(f"torn: {found.torn}; locks that stayed held: {found.stuck}")
        print(f"scratch files met after a kill: {found.scratch}; left at the end: ", end="")
        adding(Path(folder) / "words.json", "first")
        print(len(list(Path(folder).glob(".words.json.*"))))
        writers, words = 8, 25
        kept = at_once(Path(folder) / "at once.json", writers, words)
        print(f"{writers} programs at once, {words} words each: {kept} of {writers * words} kept")


if __name__ == "__main__":
    main()
