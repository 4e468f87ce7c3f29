"""A Streamlit script served as a process of its own at a free port of this computer."""

import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.support.server_forks import Fork, forked

ROOT = Path(__file__).parents[2]


@contextmanager
def served(
    script: Path, log: Path, environment: Mapping[str, str] | None = None, port: int = 0, *, fresh: bool = True
) -> Iterator[tuple[str, int]]:
    """Yield the address and the port once the script is served; the rest as for :func:`started`."""
    with started(script, log, environment, port, fresh=fresh) as (_, address):
        yield address


@contextmanager
def started(
    script: Path, log: Path, environment: Mapping[str, str] | None = None, port: int = 0, *, fresh: bool = True
) -> Iterator[tuple[subprocess.Popen | Fork, tuple[str, int]]]:
    """Yield the server's process too, so that it can be killed; at any free port, or at that of a server ended before.

    What it says lands in ``log``. One that need not be ``fresh`` is forked where that can be done: a file of tests that
    has several spares importing the program for each of them. What a browser has compiled it knows by its address, so
    a start at the same port costs it less. Each page is soon over, and looking for garbage after each run of its script
    would cost more than drawing it.
    """
    environment = {**(os.environ if environment is None else environment), "STREAMLIT_RUNNER_POST_SCRIPT_GC": "false"}
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        address: tuple[str, int] = ("127.0.0.1", port) if port else probe.getsockname()
    arguments = ["run", str(script), "--server.port", str(address[1]), "--server.fileWatcherType", "none"]
    begun = _fresh if fresh or sys.platform != "linux" else forked
    process = begun(arguments, environment, log)
    try:
        _wait_until_healthy(f"http://127.0.0.1:{address[1]}/_stcore/health", process, log)
        yield process, address
    finally:
        process.terminate()
        try:
            process.wait(timeout=120)
        finally:
            process.kill()  # one that did not end would hold the port that the next one needs


def _fresh(arguments: Sequence[str], environment: Mapping[str, str], log: Path) -> subprocess.Popen:
    command = [sys.executable, "-m", "streamlit", *arguments]
    with log.open("w") as output:
        return subprocess.Popen(command, cwd=ROOT, env=environment, stdout=output, stderr=subprocess.STDOUT)


def _wait_until_healthy(address: str, process: subprocess.Popen | Fork, log: Path) -> None:
    for _ in range(1800):
        if process.poll() is not None:
            break
        try:
            with urllib.request.urlopen(address, timeout=1):
                return
        except OSError:
            time.sleep(0.1)
    pytest.fail(f"the app did not start: {log.read_text()}")
