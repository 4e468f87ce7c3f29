"""A Streamlit script served as a process of its own at a free port of this computer."""

import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@contextmanager
def served(script: Path, log: Path, environment: Mapping[str, str] | None = None) -> Iterator[tuple[str, int]]:
    """Yield the address and the port once the script is served; what it says lands in ``log``."""
    with started(script, log, environment) as (_, address):
        yield address


@contextmanager
def started(
    script: Path, log: Path, environment: Mapping[str, str] | None = None, port: int = 0
) -> Iterator[tuple[subprocess.Popen, tuple[str, int]]]:
    """Yield the server's process too, so that it can be killed; at any free port, or at that of a server killed before.

    What a browser has compiled it knows by its address, so a start at the same port costs it less. Each page is soon
    over, and looking for garbage after each run of its script would cost more than drawing it.
    """
    environment = {**(os.environ if environment is None else environment), "STREAMLIT_RUNNER_POST_SCRIPT_GC": "false"}
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        address: tuple[str, int] = ("127.0.0.1", port) if port else probe.getsockname()
    command = [sys.executable, "-m", "streamlit", "run", str(script), "--server.port", str(address[1])]
    with log.open("w") as output:
        process = subprocess.Popen(
            [*command, "--server.fileWatcherType", "none"],
            cwd=ROOT,
            env=environment,
            stdout=output,
            stderr=subprocess.STDOUT,
        )
        try:
            _wait_until_healthy(f"http://127.0.0.1:{address[1]}/_stcore/health", process, log)
            yield process, address
        finally:
            process.terminate()
            process.wait(timeout=120)


def _wait_until_healthy(address: str, process: subprocess.Popen, log: Path) -> None:
    for _ in range(1800):
        if process.poll() is not None:
            break
        try:
            with urllib.request.urlopen(address, timeout=1):
                return
        except OSError:
            time.sleep(0.1)
    pytest.fail(f"the app did not start: {log.read_text()}")
