"""How long until a cold program has its first answer: a check on the command line, and the app's first page.

    .venv/bin/python -m tests.benchmarks.cold_start

A check that saves nothing is told in CPU time as a ratio to ``import colour`` alone; the page in seconds from the
moment the server is up, for the first and for the second visitor, as a ratio to a page that only says hello. All
start fresh, by turns in one run; the median is printed. Needs Chromium.
"""

from __future__ import annotations

import os
import resource
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

ROOT = Path(__file__).parents[2]
REPEATS = 5
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
EMPTY = 'import streamlit as st\nst.button("Try the demo photo")\n'
READY = "Try the demo photo"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def cpu_seconds(arguments: list[str], environment: Mapping[str, str]) -> float:
    """Return the CPU time, user and system, of one Python process of its own."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [sys.executable, "-W", "ignore", *arguments]
    subprocess.run(command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


@contextmanager
def served(script: Path, environment: Mapping[str, str]) -> Iterator[str]:
    """Yield the address of a fresh server as soon as it says that it is up."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    options = ["--server.port", str(port), "--server.headless", "true", "--server.fileWatcherType", "none"]
    command = [sys.executable, "-W", "ignore", "-m", "streamlit", "run", str(script), *options]
    process = subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    address = f"http://127.0.0.1:{port}"
    try:
        while process.poll() is None:
            try:
                with urllib.request.urlopen(f"{address}/_stcore/health", timeout=1):
                    break
            except OSError:
                time.sleep(0.01)
        yield address
    finally:
        process.terminate()
        process.wait(timeout=20)


def visit(browser: Browser, address: str) -> float:
    """Return the seconds until a visitor with an empty cache sees the page's first button."""
    context = browser.new_context()
    page = context.new_page()
    start = time.perf_counter()
    page.goto(address, wait_until="commit")
    page.get_by_role("button", name=READY).wait_for(timeout=120_000)
    seconds = time.perf_counter() - start
    context.close()
    return seconds


def visits(browser: Browser, script: Path, environment: Mapping[str, str]) -> tuple[float, float]:
    """Return the seconds of the first visitor and of the second."""
    with served(script, environment) as address:
        return visit(browser, address), visit(browser, address)


def main() -> None:
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name)
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "SPRAYOUT_DATA": name, "SPRAYOUT_CALIBRATION": name}
        cpu_seconds(["-m", "match", "demo", str(folder / "demo")], environment)
        check = ["-m", "match", "check", str(folder / "demo" / "1-first-card.jpg")]
        cpu = [
            (cpu_seconds(["-c", "import colour"], environment), cpu_seconds(check, environment)) for _ in range(REPEATS)
        ]
        alone, whole = (statistics.median(column) for column in zip(*cpu, strict=True))
        ratio = statistics.median(one / other for other, one in cpu)
        print(f"check that saves nothing: {whole:.2f} s of CPU, import colour {alone:.2f} s: ratio {ratio:.2f}")

        empty = folder / "empty.py"
        empty.write_text(EMPTY, encoding="utf-8")
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        pairs = [
            (visits(browser, empty, environment), visits(browser, ROOT / "app.py", environment)) for _ in range(REPEATS)
        ]
        browser.close()
    for place, visitor in enumerate(("first", "second")):
        seconds = statistics.median(ours[place] for _, ours in pairs)
        bare = statistics.median(hello[place] for hello, _ in pairs)
        ratio = statistics.median(ours[place] / hello[place] for hello, ours in pairs)
        print(f"{visitor} visitor: {seconds:.2f} s, an empty page {bare:.2f} s: ratio {ratio:.2f}")


if __name__ == "__main__":
    main()
