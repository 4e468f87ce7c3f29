"""The documents tell the truth: commands that exist, one test command, a top level as it was fixed."""

import ast
import importlib.util
import re
import subprocess
import tomllib
from pathlib import Path

import pytest

from match.cli import build_parser

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def _commands():
    parser = build_parser()
    return {name for action in parser._subparsers._group_actions for name in action.choices}


def test_ci_runs_the_readmes_test_command():
    command = next(line for line in README.splitlines() if line.endswith(".venv/bin/pytest"))
    assert command in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()


def test_every_command_named_in_the_documents_exists():
    named = set(re.findall(r"python -m match ([a-z]+)", README + DEVELOPERS))
    assert named
    assert named <= _commands()


def test_every_command_is_named_in_the_readme():
    assert {name for name in _commands() if f"match {name}" not in README} == set()


def test_every_benchmark_named_exists_and_every_one_is_named():
    benchmarks = {path.stem for path in (ROOT / "tests" / "benchmarks").glob("*.py")} - {"__init__", "plain_pipeline"}
    for name in benchmarks:
        known = f"`{name}`" in DEVELOPERS or (name.startswith("several_") and "`several_*`" in DEVELOPERS)
        assert known, name


@pytest.mark.parametrize("script", sorted((ROOT / "tests" / "benchmarks").glob("*.py")), ids=lambda path: path.stem)
def test_what_a_benchmark_takes_from_the_program_is_there(script):
    """Nothing runs them unasked, so a name that is gone would be met by the next who asks."""
    for node in ast.walk(ast.parse(script.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module.startswith(("match", "tests")):
            found = importlib.import_module(node.module)
            for name in (alias.name for alias in node.names):
                is_module = importlib.util.find_spec(f"{node.module}.{name}") if hasattr(found, "__path__") else None
                assert hasattr(found, name) or is_module, f"{node.module} has no {name}"
        elif isinstance(node, ast.ImportFrom | ast.Import):
            names = [node.module] if isinstance(node, ast.ImportFrom) else [alias.name for alias in node.names]
            assert all(importlib.util.find_spec(name.split(".")[0]) for name in names)


def test_pictures_and_files_the_readme_points_to_exist():
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        if not target.startswith("http"):
            assert (ROOT / target).exists(), target


def test_the_top_level_is_as_it_was_fixed():
    if not (ROOT / ".git").exists():
        pytest.skip("not a git checkout")
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    top = {line.split("/")[0] for line in listed.splitlines()}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "match", "app.py", "tests", "calibration", "LICENSE"}
    assert {name for name in top if not name.startswith(".")} - allowed <= {"requirements.lock"}


def test_app_py_stays_a_few_lines():
    assert len((ROOT / "app.py").read_text(encoding="utf-8").splitlines()) < 25


def _locked(name):
    """Return the packages of a lock file with their versions; every one must carry its hashes."""
    entries = re.split(r"\n(?=\S)", (ROOT / name).read_text(encoding="utf-8").strip())
    assert [entry for entry in entries if "--hash=sha256:" not in entry] == []
    return {re.split(r"[=\[ ]", entry)[0].lower(): entry for entry in entries}


def test_the_locks_hold_every_package_and_the_build_tool_with_hashes():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    used, tested = _locked("requirements.lock"), _locked("tests/requirements.lock")
    extras = project["project"]["optional-dependencies"]
    asked = [*project["project"]["dependencies"], *project["build-system"]["requires"], *extras["postgres"]]
    assert _names(asked) - set(used) == set()
    assert _names([*asked, *extras["test"]]) - set(tested) == set()
    assert {name for name in used if used[name] != tested[name]} == set()
    assert set(project["build-system"]["requires"]) <= set(extras["build"])


def _names(requirements):
    return {re.split(r"[=<>\[ ]", each)[0].lower() for each in requirements}
