"""Change one small thing in the code and see whether a room's tests notice: prints a score for each room.

A sample, not a census: mutants are drawn with a seed over all places of a room, so that a run takes minutes. What
survives is either a test that is missing or a change that makes no difference; a person has to look.
"""

import argparse
import ast
import copy
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from importlib.util import cache_from_source
from pathlib import Path

ROOT = Path(__file__).parents[2]
ROOMS = ("check", "measure", "blend", "tint", "history")
ALSO = {
    "measure": ["tests/check/test_check.py", "tests/check/test_mirrored.py"],
    "blend": ["tests/ui/test_same_answer.py"],
    "tint": ["tests/commands/test_tint.py"],
}
"""Test files of other rooms that try a room's answers from outside."""

TOO_SLOW = ("test_kills.py",)  # waits for killed processes; says nothing that the other files of its room do not

COMPARED = {ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq}
COMPARED |= {ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In}
CALCULATED = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult}
Place = tuple[ast.AST, str, int | None]
NOT_RUN = ("annotation", "returns", "decorator_list", "format_spec")
JOINED = {ast.And: ast.Or, ast.Or: ast.And}


@dataclass(frozen=True)
class Mutant:
    """One change: its file and line, the code before and after, and what writes the changed source."""

    file: Path
    line: int
    before: str
    after: str
    source: Callable[[], str]


def changed(node: ast.AST) -> Iterator[ast.AST]:
    """Yield each small change of one node: a copy in which one thing is otherwise."""
    other = copy.deepcopy(node)
    if isinstance(other, ast.If | ast.IfExp | ast.While):
        other.test = ast.UnaryOp(ast.Not(), other.test)
        yield other
    elif isinstance(other, ast.Compare) and type(other.ops[0]) in COMPARED:
        other.ops[0] = COMPARED[type(other.ops[0])]()
        yield other
    elif isinstance(other, ast.BinOp) and type(other.op) in CALCULATED and not _is_text(other):
        other.op = CALCULATED[type(other.op)]()
        yield other
    elif isinstance(other, ast.BoolOp):
        other.op = JOINED[type(other.op)]()
        yield other
    elif isinstance(other, ast.UnaryOp) and isinstance(other.op, ast.Not):
        yield other.operand
    elif isinstance(other, ast.Constant) and type(other.value) in (int, float):
        other.value += 1
        yield other
    elif isinstance(other, ast.Constant) and isinstance(other.value, bool):
        other.value = not other.value
        yield other


def _is_text(node: ast.BinOp) -> bool:
    return any(
        isinstance(side, ast.JoinedStr) or isinstance(getattr(side, "value", 0), str)
        for side in (node.left, node.right)
    )


def _places(node: ast.AST) -> Iterator[Place]:
    """Yield where each expression and statement stands that is run: its parent, the field, and the place in a list."""
    for name, value in ast.iter_fields(node):
        if name in NOT_RUN:
            continue
        if isinstance(value, ast.AST):
            yield node, name, None
            yield from _places(value)
        for place, each in enumerate(value if isinstance(value, list) else ()):
            if isinstance(each, ast.AST):
                yield node, name, place
                yield from _places(each)


def mutants_of(file: Path) -> Iterator[Mutant]:
    """Yield every mutant of a file."""
    if "migrations" in file.parts:
        return
    tree = ast.parse(file.read_text(encoding="utf-8"))
    for parent, name, place in list(_places(tree)):
        held = getattr(parent, name)
        node = held if place is None else held[place]
        for other in changed(node):
            source = partial(_source, tree, (parent, name, place), node, other)
            yield Mutant(file, getattr(node, "lineno", 0), _first(node), _first(other), source)


def _source(tree: ast.AST, place: Place, node: ast.AST, other: ast.AST) -> str:
    _put(place, other)
    source = ast.unparse(ast.fix_missing_locations(tree))
    _put(place, node)
    return source


def _put(where: Place, node: ast.AST) -> None:
    parent, name, place = where
    if place is None:
        setattr(parent, name, node)
    else:
        getattr(parent, name)[place] = node


def _first(node: ast.AST) -> str:
    return ast.unparse(ast.fix_missing_locations(node)).splitlines()[0]


def tests_of(room: str, module: str) -> list[str]:
    """Return the test files of a room, those named after the module first: they notice soonest."""
    files = sorted(path for path in (ROOT / "tests" / room).glob("test_*.py") if path.name not in TOO_SLOW)
    ordered = sorted(files, key=lambda path: module not in path.stem)
    return [str(path.relative_to(ROOT)) for path in ordered] + ALSO.get(room, [])


def noticed(copied: Path, tests: list[str], limit_s: float) -> bool:
    """Return whether the tests fail or never end on the copied tree."""
    environment = os.environ | {"PYTHONPATH": str(copied), "CI": "true", "OMP_NUM_THREADS": "1"}
    environment |= {"OPENBLAS_NUM_THREADS": "1", "PYTHONHASHSEED": "0"}
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-x",
        "-q",
        "-n0",
        "-p",
        "no:cacheprovider",
        "-m",
        "not postgres",
        *tests,
    ]
    run = subprocess.Popen(
        command,
        cwd=copied,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        return run.wait(timeout=limit_s) != 0
    except subprocess.TimeoutExpired:
        os.killpg(run.pid, 9)
        run.wait()
        return True


def score(room: str, count: int, seed: int, copied: Path) -> None:
    """Print what survives of a sample of a room's mutants, and how many were noticed."""
    begin = time.monotonic()
    if noticed(copied, tests_of(room, ""), 3600.0):
        print(f"{room}: its tests fail as it stands: nothing can be said", flush=True)
        return
    limit_s = 60.0 + 4.0 * (time.monotonic() - begin)
    every = [mutant for file in sorted((copied / "match" / room).rglob("*.py")) for mutant in mutants_of(file)]
    drawn = random.Random(f"{seed} {room}").sample(every, min(count, len(every)))
    kills = 0
    for mutant in drawn:
        original, cached = mutant.file.read_bytes(), Path(cache_from_source(str(mutant.file)))
        mutant.file.write_text(mutant.source(), encoding="utf-8")
        cached.unlink(missing_ok=True)  # its time stamp is too coarse to tell the sources apart
        if noticed(copied, tests_of(room, mutant.file.stem), limit_s):
            kills += 1
        else:
            where = f"{mutant.file.relative_to(copied)}:{mutant.line}"
            print(f"  survives: {where}  {mutant.before}  ->  {mutant.after}", flush=True)
        mutant.file.write_bytes(original)
        cached.unlink(missing_ok=True)
    spent = time.monotonic() - begin
    print(f"{room}: {kills} of {len(drawn)} noticed, of {len(every)} places, in {spent:.0f} s", flush=True)


def main() -> None:
    """Print the score of each room."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rooms", nargs="*", default=ROOMS)
    parser.add_argument("--count", type=int, default=25, help="mutants a room")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        copied = Path(folder) / "tree"
        shutil.copytree(ROOT, copied, ignore=shutil.ignore_patterns(".*", "__pycache__"))
        for room in arguments.rooms:
            score(room, arguments.count, arguments.seed, copied)


if __name__ == "__main__":
    main()
