"""Dependencies run one way: the maths does no I/O and never imports an edge; edges never import each other."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "match"
MODULES = {
    ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts): path
    for path in PACKAGE.rglob("*.py")
    if "migrations" not in path.parts
}
PHOTO_EDGE = {"photo", "decoded", "encoding", "exif", "heif", "raster", "raw"}
JOIN = ("match.ui", "match.commands", "match.cli", "match.__main__")
IO_LIBRARIES = {"streamlit", "sqlalchemy", "alembic", "reportlab", "PIL", "rawpy", "pillow_heif", "sqlite3"}


def _imports(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def _is_maths(name):
    parts = name.split(".")
    if len(parts) == 2:
        return parts[1] in {"errors", "verdict"}
    if parts[1] == "measure":
        return parts[2] not in PHOTO_EDGE
    return parts[1] in {"blend", "tint", "evidence", "capture"}


@pytest.mark.parametrize("name", [name for name in MODULES if _is_maths(name)])
def test_the_maths_does_no_input_or_output(name):
    imported = set(_imports(MODULES[name]))
    assert not {entry.split(".")[0] for entry in imported} & IO_LIBRARIES
    edges = [e for e in imported if e.startswith((*JOIN, "match.history", "match.report", "match.measure.photo"))]
    assert not edges
    # calibration declares units for the maths; only edges read files with it
    assert "match.calibration.load" not in imported


@pytest.mark.parametrize("name", [name for name in MODULES if name.startswith(("match.history", "match.report"))])
def test_edges_do_not_import_each_other(name):
    own = ".".join(name.split(".")[:2])
    others = [e for e in ("match.history", "match.report", "match.measure.photo") if e != own]
    assert not [e for e in _imports(MODULES[name]) if e.startswith((*others, *JOIN))]


@pytest.mark.parametrize("name", [name for name in MODULES if not name.startswith(JOIN)])
def test_only_the_command_line_and_the_pages_join_the_edges(name):
    assert not [e for e in _imports(MODULES[name]) if e.startswith(JOIN)]
