"""Dependencies run one way, from the ground up to the pages; input and output live where the file's name says so.

Every file of ``match`` is looked at: a new one belongs to a room named here, or the test fails.
"""

import ast
from functools import cache
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "match"
FILES = {
    ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__"): path
    for path in sorted(PACKAGE.rglob("*.py"))
    if "migrations" not in path.parts
}
GROUND = (
    "errors",
    "calibration",
    "colorimetry",
    "record",
    "words",
    "files",
    "unfinished_files",
    "svg",
    "robust",
    "letters_pdf",
    "qr_code",
)
"""What every room may stand on: loose modules, and the numbers."""

STANDS_ON = {
    "network": (),
    "photo": (),
    "measure": ("photo",),
    "check": ("photo", "measure"),
    "several": ("photo", "measure", "check"),
    "blend": ("photo", "measure", "check", "several"),
    "tint": ("photo", "measure", "check", "several"),
    "history": ("photo", "measure", "check", "several", "blend", "tint"),
    "coats": ("photo", "measure", "check", "several", "blend", "tint"),
    "camera": ("photo", "measure", "check", "several", "history"),
    "demo": ("photo", "measure", "check", "tint"),
}
"""The rooms, and the rooms that each may import."""

PAGES = ("check", "blend", "tint", "coats", "camera", "history", "sheet", "phone")
IO_LIBRARIES = {
    "streamlit",
    "sqlalchemy",
    "alembic",
    "reportlab",
    "PIL",
    "rawpy",
    "pillow_heif",
    "sqlite3",
    "imagecodecs",
}
ONLY_COMPUTES = ("reportlab.graphics.barcode.qrencoder",)
"""Parts of such libraries that read and write nothing."""

READS_FILES = ("network", "photo", "history", "demo", "commands", "ui")
"""Rooms whose very work is input and output; elsewhere a file's name ends in one of :data:`EDGE_NAMES`."""

EDGE_NAMES = ("_file", "_pdf", "files")


@cache
def _imports(path):
    """Return what a file imports, parsed once for all tests."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
            found += [node.module if node.module in FILES and name not in FILES else name for name in names]
    return tuple(found)


def _room(name):
    parts = name.split(".")
    return parts[1] if len(parts) > 1 else ""


def _own(path):
    return {entry for entry in _imports(path) if entry.startswith("match.") and _room(entry) != ""}


@pytest.mark.parametrize("name", FILES)
def test_every_file_stands_on_lower_rooms_only(name):
    room = _room(name)
    imported = {_room(entry) for entry in _own(FILES[name])} - {room, *GROUND}
    if room in GROUND:
        assert imported == set()
    elif room in STANDS_ON:
        assert imported <= set(STANDS_ON[room])
    elif room in ("commands", "ui"):
        assert imported <= set(STANDS_ON), "pages and commands do not import each other"
    else:
        assert name in ("match", "match.__main__", "match.cli")
        assert imported <= {"commands", "cli"}


def test_the_ground_and_the_rooms_are_all_there_is():
    known = {*GROUND, *STANDS_ON, "commands", "ui", "cli", "__main__", ""}
    assert {_room(name) for name in FILES} <= known


def test_no_file_imports_itself_by_way_of_others():
    stands_on = {name: {e for e in _imports(path) if e in FILES} - {name} for name, path in FILES.items()}
    free = set()
    while layer := {name for name in stands_on if name not in free and stands_on[name] <= free}:
        free |= layer
    assert set(stands_on) - free == set()


@pytest.mark.parametrize("name", FILES)
def test_a_file_that_reads_or_writes_says_so_by_its_name(name):
    room, last = _room(name), name.rpartition(".")[2]
    if room in READS_FILES or last.endswith(EDGE_NAMES):
        return
    text = FILES[name].read_text(encoding="utf-8")
    imported = [entry for entry in _imports(FILES[name]) if not entry.startswith(ONLY_COMPUTES)]
    assert not {entry.split(".")[0] for entry in imported} & IO_LIBRARIES
    touched = [
        deed for deed in ("open(", ".read_text(", ".read_bytes(", ".write_text(", ".write_bytes(") if deed in text
    ]
    assert touched == []


@pytest.mark.parametrize("page", PAGES)
def test_no_page_imports_another_page(page):
    shared = {"history": {"match.ui.history.save", "match.ui.history.save_form"}}
    for name in (name for name in FILES if name.startswith(f"match.ui.{page}.")):
        for other in set(PAGES) - {page}:
            taken = {
                entry for entry in _imports(FILES[name]) if entry.startswith(f"match.ui.{other}.") and entry in FILES
            }
            assert taken <= shared.get(other, set()), name


def test_the_menu_and_what_pages_share_import_no_page():
    shared = [
        name for name in FILES if name.startswith(("match.ui.kit.", "match.ui.marker.")) or name == "match.ui.menu"
    ]
    assert shared
    for name in shared:
        assert not [e for e in _imports(FILES[name]) if e.startswith(tuple(f"match.ui.{page}" for page in PAGES))], name
