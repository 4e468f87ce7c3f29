"""A room's tests as mutants need them: which of them run a line and how long each takes, run in forked children.

The parent imports the libraries once and never the code of the project, so that each child imports that fresh, with its
mutant in it, and nothing else. A test that never runs a line can notice it only by what it left to others: where it was
run by an import, for a cache of ours or for a fixture that several tests share.
"""

import contextlib
import functools
import importlib
import json
import multiprocessing
import os
import resource
import signal
import sys
import warnings
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn, ParamSpec, TypeVar

import coverage
import pytest

ROOT = Path(__file__).parents[2]
LIBRARIES = ("numpy", "scipy.optimize", "scipy.stats", "scipy.ndimage", "colour", "cv2", "PIL.Image", "hypothesis")
LIBRARIES += ("sqlalchemy.orm", "alembic.command", "reportlab.pdfgen.canvas", "streamlit.testing.v1", "tomlkit")
LRU_CACHE = functools.lru_cache
P, T = ParamSpec("P"), TypeVar("T")
OUR_OWN = ("match", "tests", "conftest", "app")
PASSED, NONE_LEFT = 0, 5  # what pytest exits with
IMPORTED, SHARED = "", "shared "
"""The context of what runs outside any test, and what stands before that of a test which runs it for others too."""


@dataclass(frozen=True)
class Recorded:
    """What one run of a room's tests showed.

    ``seconds`` of each test, its shared fixtures with the first that asks for them; ``runs`` the tests that run a line,
    by file and line; ``elsewhere`` the tests that start a Python of their own, where nothing is recorded; ``failed``
    the tests that fail without any mutant.
    """

    seconds: Mapping[str, float]
    runs: Mapping[Path, Mapping[int, Collection[str]]]
    elsewhere: Collection[str]
    failed: Collection[str]

    def that_run(self, file: Path, lines: Collection[int]) -> list[str]:
        """Return the tests that run one of these lines, or may do so in another process, the quickest first."""
        of_file = self.runs.get(file, {})
        found = {test.removeprefix(SHARED) for line in lines for test in of_file.get(line, ())} - {IMPORTED}
        return sorted(found | set(self.elsewhere), key=self._cost)

    def is_shared(self, file: Path, lines: Collection[int]) -> bool:
        """Return whether one of these lines is run for other tests than the one that runs it."""
        of_file = self.runs.get(file, {})
        return any(test == IMPORTED or test.startswith(SHARED) for line in lines for test in of_file.get(line, ()))

    def that_use(self, file: Path) -> list[str]:
        """Return the tests that run anything in a file, the quickest first."""
        return self.that_run(file, self.runs.get(file, {}))

    def limit_s(self, tests: Collection[str]) -> float:
        """Return after how long these tests are taken never to end."""
        return 20.0 + 3.0 * sum(self.seconds.get(test, 0.0) for test in tests)

    def _cost(self, test: str) -> tuple[float, str]:
        return self.seconds.get(test, 0.0), test


class _Recorder:
    def __init__(self, measured: coverage.Coverage) -> None:
        self.measured, self.now, self.shares = measured, IMPORTED, False
        self.seconds: dict[str, float] = defaultdict(float)
        self.elsewhere: set[str] = set()
        self.failed: set[str] = set()
        sys.addaudithook(self._hear)

    def seen_cache(self, maxsize: Any = 128, typed: bool = False) -> Any:
        """Stand in for ``functools.lru_cache``: what a cached function runs is run for others too."""
        if callable(maxsize):
            return LRU_CACHE()(self._seen(maxsize))
        return lambda function: LRU_CACHE(maxsize, typed)(self._seen(function))

    def _seen(self, function: Callable[P, T]) -> Callable[P, T]:
        @functools.wraps(function)
        def seen(*values: P.args, **named: P.kwargs) -> T:
            with self._for_others():
                return function(*values, **named)

        return seen

    @contextlib.contextmanager
    def _for_others(self) -> Iterator[None]:
        before, self.shares = self.shares, True
        self._switch()
        try:
            yield
        finally:
            self.shares = before
            self._switch()

    def _switch(self) -> None:
        self.measured.switch_context(SHARED + self.now if self.now and self.shares else self.now)

    def _hear(self, event: str, details: tuple[object, ...]) -> None:
        if event == "subprocess.Popen" and "python" in f"{details[0]} {details[1]}":
            self.elsewhere.add(self.now)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self.now = item.nodeid
        self._switch()
        result = yield
        self.now = IMPORTED
        self._switch()
        return result

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: pytest.FixtureDef[object]) -> Iterator[object]:
        with contextlib.nullcontext() if fixturedef.scope == "function" else self._for_others():
            return (yield)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.seconds[report.nodeid] += report.duration
        if report.failed:
            self.failed.add(report.nodeid)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed:
            self.failed.add(report.nodeid)


class _Chosen:
    def __init__(self, choose: Callable[[list[pytest.Item]], list[pytest.Item]]) -> None:
        self.choose = choose

    @pytest.hookimpl(wrapper=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> Iterator[None]:
        yield
        items[:] = self.choose(items)


def import_libraries() -> None:
    """Import what is slow and not ours, once for all children."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name in LIBRARIES:
            importlib.import_module(name)


def record(copied: Path, room: str, files: Sequence[str]) -> Recorded:
    """Run a room's tests once, each line of the room's code with the tests that run it."""
    lines, told = copied / ".lines", copied / ".recorded.json"

    def run() -> NoReturn:
        measured = coverage.Coverage(
            data_file=None,  # in memory: a test that acts as another user may write nothing here
            config_file=False,
            include=[str(copied / "match" / room / "*")],
            check_preimported=False,
            messages=False,
        )
        recorder = _Recorder(measured)
        functools.lru_cache = recorder.seen_cache  # type: ignore[assignment]
        measured.start()
        _pytest(files, [recorder])
        measured.stop()
        lines.write_bytes(measured.get_data().dumps())
        told.write_text(json.dumps([recorder.seconds, sorted(recorder.elsewhere), sorted(recorder.failed)]))
        os._exit(0)

    _in_child(copied, run, 3600.0)
    seconds, elsewhere, failed = json.loads(told.read_text())
    data = coverage.CoverageData(no_disk=True)
    data.loads(lines.read_bytes())
    runs = {Path(file): data.contexts_by_lineno(file) for file in data.measured_files()}
    return Recorded(seconds, runs, elsewhere, failed)


def notice(copied: Path, files: Sequence[str], tests: Sequence[str], recorded: Recorded) -> bool:
    """Return whether one of these tests fails or never ends on the copied tree, asked in their order."""
    place = {test: number for number, test in enumerate(tests)}

    def choose(items: list[pytest.Item]) -> list[pytest.Item]:
        return sorted((item for item in items if item.nodeid in place), key=lambda item: place[item.nodeid])

    held = [file for file in files if any(test.startswith(f"{file}::") for test in tests)]
    return bool(held) and _fail(copied, held, choose, recorded.limit_s(tests))


def others_notice(copied: Path, files: Sequence[str], tests: Collection[str], recorded: Recorded) -> bool:
    """Return whether any test but these fails or never ends on the copied tree."""
    asked = set(tests)

    def choose(items: list[pytest.Item]) -> list[pytest.Item]:
        return [item for item in items if item.nodeid not in asked]

    return _fail(copied, files, choose, recorded.limit_s(recorded.seconds.keys() - asked))


def _fail(
    copied: Path, files: Sequence[str], choose: Callable[[list[pytest.Item]], list[pytest.Item]], limit_s: float
) -> bool:
    code = _in_child(copied, lambda: os._exit(_pytest(files, [_Chosen(choose)])), limit_s)
    return code not in (PASSED, NONE_LEFT)


def _pytest(files: Sequence[str], plugins: list[object]) -> int:
    stop = [] if any(isinstance(each, _Recorder) for each in plugins) else ["-x"]
    return int(pytest.main(["-q", "-n0", *stop, "-p", "no:cacheprovider", "-m", "not postgres", *files], plugins))


def _in_child(copied: Path, run: Callable[[], NoReturn], limit_s: float) -> int | None:
    """Run in a forked child that sees the copied tree alone, for so many seconds of its own work at most.

    A busy machine makes no test fail: the wait, for what sleeps for ever, is many times as long.
    """

    def begin() -> NoReturn:
        os.setsid()
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 1)
            os.dup2(nowhere.fileno(), 2)
        os.chdir(copied)
        os.environ["PYTHONPATH"] = str(copied)
        for name in [name for name in sys.modules if name.split(".")[0] in OUR_OWN]:
            del sys.modules[name]
        sys.path[:] = [str(copied), *(each for each in sys.path if each not in ("", str(ROOT)))]
        resource.setrlimit(resource.RLIMIT_CPU, (int(limit_s), int(limit_s) + 5))
        run()

    child = multiprocessing.get_context("fork").Process(target=begin)
    child.start()
    child.join(20.0 * limit_s)
    ended = child.exitcode
    with contextlib.suppress(ProcessLookupError):  # what a test left running goes with it
        os.killpg(child.pid, signal.SIGKILL)
    child.join()
    return ended
