"""What every page needs of ``main.py`` when it is run by itself."""

import pytest

from match.ui import menu, pages


@pytest.fixture(autouse=True)
def menu_offered():
    menu.offer(pages.all_pages)
