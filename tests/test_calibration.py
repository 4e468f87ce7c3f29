"""The calibration files: every number has a unit and a source, one fact stands in one place, bad files are named."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

import pytest

from match import calibration
from match.blend.viewing import Strictness
from match.errors import CalibrationError

NAMES = (".version", ".identifier")
"""Numbers that name something and measure nothing."""

FILES = sorted(calibration.shipped_folder().glob("*.toml"))


@dataclass(frozen=True)
class Drying:
    wait: float = calibration.quantity("min")


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(calibration.OVERRIDE_VARIABLE, str(tmp_path))
    yield tmp_path
    calibration.read_again()


def _numbers(table, where):
    """Yield (where, entry) of every number in a parsed file, also of those written without unit or source."""
    for key, entry in table.items():
        place = f"{where}.{key}"
        if isinstance(entry, dict) and not {"value", "same_as"} & entry.keys():
            yield from _numbers(entry, place)
        elif isinstance(entry, int | float | dict) and not isinstance(entry, bool):
            yield place, entry


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_number_has_its_unit_and_its_source(file):
    found = list(_numbers(tomllib.loads(file.read_text(encoding="utf-8")), file.stem))
    assert found
    bare = [where for where, entry in found if not isinstance(entry, dict) or not entry.get("source", "").strip()]
    assert [where for where in bare if not where.endswith(NAMES)] == []
    assert [where for where, entry in found if isinstance(entry, dict) and "unit" not in entry] == []


def test_the_planner_lets_pass_what_the_tolerances_say_also_after_the_shop_changed_them(own):
    shipped = (calibration.shipped_folder() / "tolerances.toml").read_text(encoding="utf-8")
    limits = tomllib.loads(shipped)["limits"]
    read = [calibration.load(Strictness, "vision", "strictness", who).gap_limit for who in ("expert", "ordinary")]
    assert read == [limits["perceptibility"]["value"], limits["acceptability"]["value"]]
    changed = shipped.replace("perceptibility = { value = 0.8", "perceptibility = { value = 0.95")
    assert changed != shipped
    (own / "tolerances.toml").write_text(changed, encoding="utf-8")
    calibration.read_again()
    assert calibration.load(Strictness, "vision", "strictness", "expert").gap_limit == 0.95


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ('wait = { value = 1, unit = "h", source = "shop setting" }', "given in 'h', expected 'min': convert"),
        ('wait = { value = 1, unit = "min", source = " " }', "has no source"),
        ('wait = { value = "long", unit = "min", source = "shop setting" }', "expected a finite number"),
        ("wait = 5", "must be a table with value, unit and source"),
        ("other = 5", "drying.wait is missing"),
        ('wait = { same_as = "tolerances.limits.none", unit = "min", source = "x" }', "which holds no value"),
        (
            'wait = { same_as = "tolerances.limits.acceptability", unit = "min", source = "x" }',
            "whose unit is not 'min'",
        ),
        ('wait = { same_as = "drying.wait", unit = "min", source = "x" }', "which holds no value"),
        ("wait = {", "is not TOML"),
    ],
)
def test_a_bad_entry_is_named_in_one_sentence(own, written, says):
    (own / "drying.toml").write_text(written + "\n", encoding="utf-8")
    with pytest.raises(CalibrationError, match=says) as refused:
        calibration.load(Drying, "drying")
    assert "\n" not in str(refused.value)


def test_a_file_that_is_not_there_is_named(own):
    with pytest.raises(CalibrationError, match=r"nowhere\.toml is missing"):
        calibration.load(Drying, "nowhere")


def test_a_shops_copy_of_a_file_that_was_divided_is_said_and_never_passed_over(own):
    (own / "evidence.toml").write_text("[combining]\n", encoding="utf-8")
    calibration.read_again()
    with pytest.raises(CalibrationError, match=r"evidence\.toml is now several files .*move its tables"):
        calibration.source_file("several")
    assert calibration.source_file("camera").parent == calibration.shipped_folder()
