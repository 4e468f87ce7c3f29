"""How the tests run: longest files first, one thread each, and a search by Hypothesis that no busy machine trips."""

import gc
import os
import shutil
import sys
import tempfile
from collections.abc import Generator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.support.demo import demo_rendered_once as demo_rendered_once

# Where the environment forbids bytecode, every process that a test starts would compile the whole program anew.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# The cores are taken by files of tests; threads within small matrices only wait for one another. Read at first import.
for threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "OPENCV_FOR_THREADS_NUM"):
    os.environ.setdefault(threads, "1")

# The history waits for the disk after each change, as it must; in memory that is over at once, and no disk is worn.
MEMORY, ENOUGH = Path("/dev/shm"), 4 * 1024**3
if "TMPDIR" not in os.environ and os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free >= ENOUGH:
    own = MEMORY / f"spray-out-match-tests-{os.getuid()}"
    own.mkdir(exist_ok=True)
    own.chmod(0o1777)  # as a folder for temporary files is: some tests go on as another user
    os.environ["TMPDIR"] = str(own)
    tempfile.tempdir = None

# The slowness of a machine is no fault of the code, so neither a deadline nor slow drawing fails a test.
settings.register_profile("desk", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("build", settings.get_profile("desk"), derandomize=True, max_examples=50, print_blob=True)
settings.load_profile("build" if os.environ.get("CI", "").lower() == "true" else "desk")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take a minute each: begun last, one of them would run on while the other cores idle."""
    items.sort(key=lambda item: not (item.get_closest_marker("browser") or item.get_closest_marker("long")))


FORKED = ("tests/test_fuzz.py", "tests/photo/test_limits.py", "tests/history/test_intake.py")
"""Files whose tests run in children of a server that imports the program first, one for each worker that has any."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> object:
    """Give all browser tests to one of two workers: each that has any starts a browser and the app of its own.

    Where there are more cores than two, that one would be the last to end. Tests in forked children go to one worker.
    """
    from xdist.scheduler import LoadFileScheduling

    class ByWhatIsStarted(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            folder = nodeid.rpartition("/")[0]
            if folder.endswith("tests/browser") and self.numnodes == 2:
                return folder
            return "forked" if nodeid.startswith(FORKED) else super()._split_scope(nodeid)

    return ByWhatIsStarted(config, log) if config.getoption("dist") == "loadfile" else None


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """Collect, and import what the tests need, without looking for garbage: nothing of it is to go."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.enable()


def pytest_collection_finish() -> None:
    """Spare Python from going again and again through all that was imported and collected, which lasts to the end."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)
