"""What every page needs of ``main.py`` when it is run by itself, and of Streamlit when pages are run by the hundred."""

import sys
from functools import cache

import pytest
from streamlit.components.v2 import manifest_scanner
from streamlit.testing.v1 import local_script_runner

from match.ui import menu, pages
from tests.support.statements import migrations_worked_out_once as migrations_worked_out_once
from tests.support.statements import statements_worked_out_once as statements_worked_out_once


@pytest.fixture(autouse=True)
def menu_offered():
    menu.offer(pages.all_pages)


@pytest.fixture(autouse=True, scope="session")
def packages_looked_through_once():
    """Each ``AppTest`` looks through every installed package for components, which takes longer than most pages."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(manifest_scanner, "scan_component_manifests", cache(manifest_scanner.scan_component_manifests))
        yield


@pytest.fixture(autouse=True, scope="session")
def pages_waited_for_without_asking():
    """``AppTest`` asks each millisecond whether its script has ended, which takes from the script; a thread says so."""
    asked = local_script_runner.require_widgets_deltas

    def wait(runner: local_script_runner.LocalScriptRunner, timeout: float = 3) -> None:
        runner._script_thread.join(timeout)
        asked(runner, 1 if runner.script_stopped() else 0)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(local_script_runner, "require_widgets_deltas", wait)
        yield


@pytest.fixture(autouse=True)
def own_main_module(monkeypatch: pytest.MonkeyPatch):
    """``AppTest`` puts its script in the place of the main module, which a child process started later would run."""
    monkeypatch.setitem(sys.modules, "__main__", sys.modules["__main__"])


@pytest.fixture(autouse=True, scope="module")
def own_main_module_after_a_file():
    """The same for pages that are run once for all tests of a file."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(sys.modules, "__main__", sys.modules["__main__"])
        yield
