"""Change one small thing in the code and see whether a room's tests notice: prints a score for each room.

A sample, not a census: mutants are drawn with a seed over all places of a room, so that a run takes minutes. What
survives is either a test that is missing or a change that makes no difference; a person has to look. ``--at`` tries
every mutant of the lines that are named.
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
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from importlib.util import cache_from_source
from pathlib import Path

from tests.benchmarks.mutant_tests import ROOT, Recorded, import_libraries, notice, others_notice, record

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
"""A parent, one of its fields, and the place in it where that is a list."""
Stated = tuple[range, bool]
"""The lines of a statement, and whether it is run by an import rather than by a call."""
NOT_RUN = ("annotation", "returns", "decorator_list", "format_spec")
JOINED = {ast.And: ast.Or, ast.Or: ast.And}


ENVIRONMENT = {"CI": "true", "PYTHONHASHSEED": "0", "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
"""What makes two runs alike; set before Python starts."""


@dataclass(frozen=True)
class Mutant:
    """One change: its file and line, the code before and after, and what writes the changed source.

    ``lines`` are those of its statement, without the statements inside it; ``at_import`` where no call runs them.
    """

    file: Path
    line: int
    lines: range
    at_import: bool
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


def _places(node: ast.AST, stated: Stated = (range(0), True)) -> Iterator[tuple[Place, Stated]]:
    """Yield where each expression and statement stands that is run, with the statement it stands in."""
    for name, value in ast.iter_fields(node):
        if name in NOT_RUN:
            continue
        called = name == "body" and isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        for place, each in enumerate(value) if isinstance(value, list) else [(None, value)]:
            if isinstance(each, ast.AST):
                inner = (_own_lines(each) or stated[0], stated[1] and not called)
                yield (node, name, place), inner
                yield from _places(each, inner)


def _own_lines(node: ast.AST) -> range | None:
    """Return the lines of a statement, or of one case of a match, up to those of the statements inside it."""
    if isinstance(node, ast.match_case):
        return range(node.pattern.lineno, max(node.pattern.lineno + 1, node.body[0].lineno))
    if not isinstance(node, ast.stmt | ast.excepthandler):
        return None
    inside = [*getattr(node, "body", ()), *(case.pattern for case in getattr(node, "cases", ()))]
    end = inside[0].lineno if inside else (node.end_lineno or node.lineno) + 1
    return range(node.lineno, max(node.lineno + 1, end))


def mutants_of(file: Path) -> Iterator[Mutant]:
    """Yield every mutant of a file."""
    if "migrations" in file.parts:
        return
    tree = ast.parse(file.read_text(encoding="utf-8"))
    for (parent, name, place), (lines, at_import) in list(_places(tree)):
        held = getattr(parent, name)
        node = held if place is None else held[place]
        for other in changed(node):
            source = partial(_source, tree, (parent, name, place), node, other)
            yield Mutant(file, getattr(node, "lineno", 0), lines, at_import, _first(node), _first(other), source)


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


def tests_of(room: str) -> list[str]:
    """Return the test files of a room."""
    files = sorted(path for path in (ROOT / "tests" / room).glob("test_*.py") if path.name not in TOO_SLOW)
    return [str(path.relative_to(ROOT)) for path in files] + ALSO.get(room, [])


def survives(mutant: Mutant, copied: Path, files: Sequence[str], recorded: Recorded) -> str | None:
    """Return how a mutant survives a room's tests, or None where they notice it."""
    running = recorded.that_use(mutant.file) if mutant.at_import else recorded.that_run(mutant.file, mutant.lines)
    if not running:
        return "no test runs"
    original, cached = mutant.file.read_bytes(), Path(cache_from_source(str(mutant.file)))
    mutant.file.write_text(mutant.source(), encoding="utf-8")
    cached.unlink(missing_ok=True)  # its time stamp is too coarse to tell the sources apart
    try:
        if notice(copied, files, running, recorded):
            return None
        shared = mutant.at_import or recorded.is_shared(mutant.file, mutant.lines)
        if shared and others_notice(copied, files, running, recorded):
            return None
    finally:
        mutant.file.write_bytes(original)
        cached.unlink(missing_ok=True)
    return "survives"


def score(room: str, copied: Path, choose: Callable[[list[Mutant]], list[Mutant]]) -> None:
    """Print which of the mutants chosen of a room survive, and how many were noticed."""
    begin = time.monotonic()
    files = tests_of(room)
    recorded = record(copied, room, files)
    if recorded.failed:
        print(f"{room}: nothing can be said, these fail as it stands:", *recorded.failed, sep="\n  ", flush=True)
        return
    every = [mutant for file in sorted((copied / "match" / room).rglob("*.py")) for mutant in mutants_of(file)]
    chosen = choose(every)
    noticed = 0
    for mutant in chosen:
        how = survives(mutant, copied, files, recorded)
        noticed += how is None
        if how is not None:
            where = f"{mutant.file.relative_to(copied)}:{mutant.line}"
            print(f"  {how}: {where}  {mutant.before}  ->  {mutant.after}", flush=True)
    spent = time.monotonic() - begin
    print(f"{room}: {noticed} of {len(chosen)} noticed, of {len(every)} places, in {spent:.0f} s", flush=True)


def sample(drawing: random.Random, count: int, every: list[Mutant]) -> list[Mutant]:
    """Return so many mutants, drawn over all places."""
    return drawing.sample(every, min(count, len(every)))


def at_lines(places: Sequence[Path], every: list[Mutant]) -> list[Mutant]:
    """Return the mutants of these lines, each a path that ends in ``:line``."""
    return [mutant for mutant in every if mutant.file.with_name(f"{mutant.file.name}:{mutant.line}") in places]


def copy_of_the_tree(copied: Path) -> None:
    """Copy what belongs to the project: what git keeps and what is new and not ignored."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        check=True,
    )
    for name in filter(None, listed.stdout.decode().split("\0")):
        if (ROOT / name).is_file():  # what is deleted is listed until that is committed
            (copied / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, copied / name)


def main() -> None:
    """Print the score of each room."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rooms", nargs="*", default=ROOMS)
    parser.add_argument("--count", type=int, default=25, help="mutants a room")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--at", action="append", metavar="FILE:LINE", help="try every mutant of this line instead")
    arguments = parser.parse_args()
    import_libraries()
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)  # some tests act as another user
        copied = Path(folder) / "tree"
        copy_of_the_tree(copied)
        for room in arguments.rooms:
            if arguments.at:
                score(room, copied, partial(at_lines, [copied / place for place in arguments.at]))
            else:
                score(room, copied, partial(sample, random.Random(f"{arguments.seed} {room}"), arguments.count))


if __name__ == "__main__":
    if ENVIRONMENT.items() <= os.environ.items():
        main()
    else:
        os.execve(
            sys.executable,
            [sys.executable, "-m", "tests.benchmarks.mutants", *sys.argv[1:]],
            os.environ | ENVIRONMENT,
        )
