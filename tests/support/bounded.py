"""Run something in a child process under a ceiling of memory and time, and say what became of it."""

from __future__ import annotations

import multiprocessing
import resource
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from match.errors import MatchError


@dataclass(frozen=True)
class Outcome:
    """What became of it.

    ``kind`` is ``answer``, ``refused``, ``crash``, ``killed`` or ``late``; ``said`` the sentence, or where it crashed;
    ``grown_mb`` by how much the child's peak resident memory rose above that of its start.
    """

    kind: str
    said: str
    seconds: float
    grown_mb: float


def clean_children() -> multiprocessing.context.ForkServerContext:
    """Give the way to start children: forked by a server that has done nothing but import.

    OpenMP, which the raw decoder runs on, waits for ever in the child of a process that has already used it.
    """
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.support.fuzz"])
    return context


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _address_space_bytes() -> int:
    with open("/proc/self/statm", encoding="ascii") as file:
        return int(file.read().split()[0]) * resource.getpagesize()


def guarded(work: Callable[..., Any], *arguments: Any) -> Outcome:
    """Run here and now: an answer, one sentence, or a crash."""
    before, start = _peak_mb(), time.perf_counter()
    try:
        work(*arguments)
        kind, said = "answer", ""
    except MatchError as error:
        kind, said = "refused", str(error)
    except BaseException:
        kind, said = "crash", traceback.format_exc(limit=-4)
    return Outcome(kind, said, time.perf_counter() - start, _peak_mb() - before)


def _child(pipe: Any, more_bytes: int, work: Callable[..., Any], arguments: tuple[Any, ...]) -> None:
    if more_bytes:
        most = _address_space_bytes() + more_bytes
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
    # A forked child begins with its parent's peak: what it touches itself is counted from there.
    with open("/proc/self/clear_refs", "w", encoding="ascii") as file:
        file.write("5")
    pipe.send(guarded(work, *arguments))


def bounded(work: Callable[..., Any], *arguments: Any, seconds: float, more_mb: int = 0) -> Outcome:
    """Run in a forked child that may take ``more_mb`` of address space above what it starts with (0: no ceiling)."""
    context = clean_children()
    here, there = context.Pipe(duplex=False)
    child = context.Process(target=_child, args=(there, more_mb << 20, work, arguments), daemon=True)
    child.start()
    there.close()
    try:
        if not here.poll(seconds):
            return Outcome("late", "", seconds, 0.0)
        outcome: Outcome = here.recv()
        return outcome
    except EOFError:
        child.join(5)
        return Outcome("killed", f"exit code {child.exitcode}", 0.0, 0.0)
    finally:
        child.kill()
        child.join()
