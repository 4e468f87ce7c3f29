"""A process of which every attempt to reach another machine is written down (see ``watched/sitecustomize.py``)."""

import os
from pathlib import Path

WATCHED = Path(__file__).with_name("watched")
ROOT = Path(__file__).parents[2]


def environment(log: Path, **more: str) -> dict[str, str]:
    """Return the environment of a watched process, whose attempts land in ``log``."""
    log.touch()
    return {**os.environ, "PYTHONPATH": os.pathsep.join((str(WATCHED), str(ROOT))), "WATCHED_LOG": str(log), **more}
