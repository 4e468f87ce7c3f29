"""Run fuzz cases in forked children with a ceiling of memory and a time limit for each; a dead child is one finding."""

from __future__ import annotations

import resource
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from tests.support.bounded import clean_children
from tests.support.fuzz import tried

SECONDS, MORE_MB = 30.0, 1500
"""Engineering choices: a case takes some milliseconds, on a busy machine a hundred times that."""


@dataclass
class Found:
    """What became of the cases: how many of each outcome, and (kind, number, outcome, what was said) of those wrong."""

    counts: Counter[str] = field(default_factory=Counter)
    wrong: list[tuple[str, int, str, str]] = field(default_factory=list)


def _child(pipe: Any, cases: Sequence[tuple[str, int]]) -> None:
    with open("/proc/self/statm", encoding="ascii") as file:
        most = int(file.read().split()[0]) * resource.getpagesize() + (MORE_MB << 20)
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    for kind, number in cases:
        pipe.send(tried(kind, number))


def run(cases: Sequence[tuple[str, int]], seconds: float = SECONDS) -> Found:
    """Run cases (kind, number) in order; after one that ends or outlasts its child, go on with the next in another."""
    context, found = clean_children(), Found()
    left = list(cases)
    while left:
        here, there = context.Pipe(duplex=False)
        child = context.Process(target=_child, args=(there, left), daemon=True)
        child.start()
        there.close()
        while left:
            outcome, said = _next(here, seconds)
            kind, number = left.pop(0)
            found.counts[outcome] += 1
            if outcome not in ("answer", "refused"):
                found.wrong.append((kind, number, outcome, said))
            if outcome in ("late", "killed"):
                break
        child.kill()
        child.join()
        here.close()
    return found


def _next(pipe: Any, seconds: float) -> tuple[str, str]:
    if not pipe.poll(seconds):
        return "late", f"no answer in {seconds:g} s"
    try:
        outcome: tuple[str, str] = pipe.recv()
    except EOFError:
        return "killed", "the process ended without an answer"
    return outcome
