"""Servers forked by a process that has imported what each of them would import anew, for two seconds of a core each.

Every fork is a process of its own, with an environment, a log and an end of its own. ``python -m streamlit`` as users
start it is what the other servers of the tests are. Linux only, as its process descriptors are.
"""

from __future__ import annotations

import ctypes
import json
import os
import select
import signal
import subprocess
import sys
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
ENDS_WITH_PARENT = 1
"""``PR_SET_PDEATHSIG`` of ``linux/prctl.h``: the tests may be killed, and nobody would end the servers."""


class Fork:
    """A forked server, to be asked and ended as a :class:`subprocess.Popen` is."""

    def __init__(self, pid: int) -> None:
        self._descriptor = os.pidfd_open(pid)

    def poll(self) -> int | None:
        """Return None as long as it runs."""
        return 0 if select.select([self._descriptor], [], [], 0)[0] else None

    def wait(self, timeout: float) -> None:
        if not select.select([self._descriptor], [], [], timeout)[0]:
            raise TimeoutError(f"the server still runs after {timeout:g} s")

    def terminate(self) -> None:
        self._send(signal.SIGTERM)

    def kill(self) -> None:
        self._send(signal.SIGKILL)

    def _send(self, word: signal.Signals) -> None:
        if self.poll() is None:
            signal.pidfd_send_signal(self._descriptor, word)


def forked(arguments: Sequence[str], environment: Mapping[str, str], log: Path) -> Fork:
    """Start ``streamlit`` with these arguments; what it says lands in ``log``."""
    parent = _parent()
    assert parent.stdin is not None
    assert parent.stdout is not None
    parent.stdin.write(json.dumps([list(arguments), dict(environment), str(log)]) + "\n")
    parent.stdin.flush()
    return Fork(int(parent.stdout.readline()))


@cache
def _parent() -> subprocess.Popen[str]:
    """Return the process that forks; it ends with this one, whose words it reads."""
    command = [sys.executable, "-m", __name__]
    return subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def _fork_as_asked() -> None:
    from streamlit.web import bootstrap, cli

    from match.ui import libraries

    assert bootstrap  # imported by ``cli`` only once a server starts
    libraries.begin()
    libraries.wait()
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for them here
    for line in sys.stdin:
        arguments, environment, log = json.loads(line)
        pid = os.fork()
        if pid:
            print(pid, flush=True)
            continue
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        ctypes.CDLL(None).prctl(ENDS_WITH_PARENT, signal.SIGTERM)
        said = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.dup2(said, 1)
        os.dup2(said, 2)
        os.environ.clear()
        os.environ.update(environment)
        sys.argv = ["streamlit", *arguments]
        cli.main(prog_name="streamlit")


if __name__ == "__main__":
    _fork_as_asked()
