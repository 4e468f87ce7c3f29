"""What every page needs of ``main.py`` when it is run by itself, and of Streamlit when pages are run by the hundred."""

import sys
from functools import cache

import pytest
from streamlit.components.v2 import manifest_scanner

from match.ui import menu, pages


@pytest.fixture(autouse=True)
def menu_offered():
    menu.offer(pages.all_pages)


@pytest.fixture(autouse=True, scope="session")
def packages_looked_through_once():
    """Each ``AppTest`` looks through every installed package for components, which takes longer than most pages."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(manifest_scanner, "scan_component_manifests", cache(manifest_scanner.scan_component_manifests))
        yield


@pytest.fixture(autouse=True)
def own_main_module(monkeypatch: pytest.MonkeyPatch):
    """``AppTest`` puts its script in the place of the main module, which a child process started later would run."""
    monkeypatch.setitem(sys.modules, "__main__", sys.modules["__main__"])
