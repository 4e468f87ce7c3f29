"""A sample of changed files of every format: each is read, or refused in one sentence; thousands in the benchmark."""

import sys

import pytest

from tests.support.fuzz import HISTORIES, KINDS, PARTS, changed_file, tried
from tests.support.fuzz_batches import run

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="the ceiling of memory is read from /proc")


@pytest.mark.parametrize("kind", KINDS)
def test_a_changed_file_is_read_or_refused_in_one_sentence(kind: str) -> None:
    cases = [(kind, number) for number in range(3 if kind in HISTORIES else 8 if kind in PARTS else 25)]
    found = run(cases, seconds=60.0)
    assert found.wrong == []
    assert found.counts.total() == len(cases)


@pytest.mark.parametrize("kind", KINDS)
def test_the_file_that_is_changed_is_sound(kind: str) -> None:
    assert tried(kind, None) == ("answer", "")


def test_the_same_number_makes_the_same_file() -> None:
    for kind in ("jpeg", "check", "tolerances"):
        assert changed_file(kind, 7) == changed_file(kind, 7)
        assert changed_file(kind, 7) != changed_file(kind, 8)


def test_a_finding_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise KeyError("lost")

    monkeypatch.setattr("tests.support.fuzz.read", fail)
    outcome, said = tried("check", 1)
    assert outcome == "crash"
    assert "KeyError" in said
