"""The calibration files: every number has a unit and a source, one fact stands in one place, bad files are named."""

import copy
import tomllib
from dataclasses import dataclass
from pathlib import Path

import pytest

from match import calibration
from match.blend.viewing import Strictness
from match.calibration import places, plausible
from match.check.verdict import Limits, Tolerances
from match.cli import main
from match.errors import CalibrationError

NAMES = (".version", ".identifier")
"""Numbers that name something and measure nothing."""

FILES = sorted(calibration.shipped_folder().glob("*.toml"))
NUMBERS = [file for file in FILES if file.stem != calibration.UNITS]


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
        (
            'wait = { value = 2000, unit = "min", source = "shop setting" }',
            "line 1: drying.wait is 2000, and only 0 to 1440",
        ),
        ('wait = { value = [1, 2], unit = "min", source = "shop setting" }', "expected one number"),
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


def _changed(own, name, *changes):
    """Write an own copy of a shipped file with some text of it changed, and return it."""
    text = (calibration.shipped_folder() / f"{name}.toml").read_text(encoding="utf-8")
    for before, after in changes:
        assert before in text
        text = text.replace(before, after, 1)
    file = own / f"{name}.toml"
    file.write_text(text, encoding="utf-8")
    calibration.read_again()
    return file


def _line(file, start):
    lines = file.read_text(encoding="utf-8").splitlines()
    return next(number for number, line in enumerate(lines, start=1) if line.startswith(start))


@pytest.mark.parametrize(
    ("limit", "shipped", "typed", "says"),
    [
        ("acceptability", "1.8", "18", "is 18, and only 0.5 to 4 is plausible"),
        ("acceptability", "1.8", "-1.8", "is -1.8, and only 0.5 to 4 is plausible"),
        ("acceptability", "1.8", "0.7", "is 0.7, less than limits.perceptibility, which is 0.8"),
        ("perceptibility", "0.8", "8", "is 8, and only"),
        ("blend_to_retint", "3.0", "1.2", "is 1.2, less than limits.acceptability, which is 1.8"),
        ("blend_to_retint", "3.0", "30", "is 30, and only"),
    ],
)
def test_a_slip_in_the_shops_own_limits_is_refused_with_its_line(own, limit, shipped, typed, says):
    file = _changed(own, "tolerances", (f"{limit} = {{ value = {shipped}", f"{limit} = {{ value = {typed}"))
    with pytest.raises(CalibrationError) as refused:
        calibration.load(Tolerances, "tolerances")
    assert says in str(refused.value)
    assert f"{file}, line {_line(file, limit)}: tolerances.limits.{limit} " in str(refused.value)


def test_a_slip_anywhere_in_an_own_file_refuses_it_for_every_reader(own):
    _changed(own, "tolerances", ("when_blend = { value = 6", "when_blend = { value = 600"))
    with pytest.raises(CalibrationError, match=r"costs\.go\.when_blend is 600"):
        calibration.load(Limits, "tolerances", "limits")


def test_the_right_verdict_is_never_the_dearest(own):
    _changed(own, "tolerances", ("when_go = { value = 0,", "when_go = { value = 3,"))
    with pytest.raises(CalibrationError, match=r"costs\.blend\.when_go is 1, less than costs\.go\.when_go, which is 3"):
        calibration.load(Tolerances, "tolerances")


def test_an_own_file_cannot_widen_what_is_plausible(own):
    _changed(
        own,
        "tolerances",
        ("acceptability = { value = 1.8, ", "acceptability = { value = 18, "),
        ("[0.5, 4.0]", "[0, 99]"),
    )
    with pytest.raises(CalibrationError, match=r"is 18, and only 0\.5 to 4 is plausible"):
        calibration.load(Tolerances, "tolerances")


MAY_BE_A_TENTH = {
    "tolerances.junctions.same-panel.share",  # a smaller share is a nearly plain limit
    "tolerances.junctions.panel-gap.share",
    "tolerances.junctions.other-part.share",
    "tint.limits.scale_step_g",  # scales of 0.01 g and of 0.1 g are both sold
    "tint.limits.least_weighed_g",
}
MAY_BE_ANY = {"vision.viewing.light"}  # from a dim hall to full sun


@pytest.mark.parametrize("file", NUMBERS, ids=lambda file: file.stem)
def test_a_slip_of_the_decimal_point_is_seen_in_every_number(file):
    """Ten times too large, ten times too small, and the wrong sign as well; only a nought cannot slip."""
    shipped = tomllib.loads(file.read_text(encoding="utf-8"))
    tried = 0
    for keys, entry in plausible.entries(shipped):
        low, high = calibration.unit_ranges()[entry["unit"]]
        numbers = () if ".".join((file.stem, *keys)) in MAY_BE_ANY else plausible.numbers(entry.get("value", []))
        for factor in (10.0, 0.1, -10.0):
            slipped = [number * factor for number in numbers]
            if sorted(slipped) == sorted(numbers):
                continue  # noughts alone, and a wave length's list that is empty
            if factor == 0.1 and ".".join((file.stem, *keys)) in MAY_BE_A_TENTH:
                continue
            table = copy.deepcopy(shipped)
            place = table
            for key in keys:
                place = place[key]
            place["value"] = slipped if isinstance(entry["value"], list) else slipped[0]
            seen = plausible.fault_in(table, shipped, lambda each: each.get("value"))
            assert seen is not None or any(not low <= number <= high for number in slipped), (keys, factor)
            tried += 1
    assert tried


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_the_shipped_files_hold_to_their_own_ranges_and_order(file):
    table = tomllib.loads(file.read_text(encoding="utf-8"))
    assert plausible.fault_in(table, table, lambda entry: entry.get("value")) is None
    for keys, entry in plausible.entries(table):
        if file.stem == calibration.UNITS or "value" not in entry:
            continue
        low, high = calibration.unit_ranges()[entry["unit"]]
        assert all(low <= number <= high for number in plausible.numbers(entry["value"])), keys
        if least := entry.get("at_least"):
            assert tuple(least.split(".")) in dict(plausible.entries(table)), f"{keys} stands above nothing"


def test_a_line_is_found_in_whatever_way_the_entry_is_written():
    text = '[a]\nb = [\n 1,\n 2]\n\n[a."c d"]\ne.f = 5\n'
    assert plausible.line_of(text, ("a", "b")) == 4
    assert plausible.line_of(text, ("a", "c d", "e", "f")) == 7
    assert plausible.line_of(text, ("a", "none")) is None


def test_a_check_says_no_verdict_by_limits_that_were_refused(own, tmp_path, capsys):
    file = _changed(own, "tolerances", ("acceptability = { value = 1.8", "acceptability = { value = 18"))
    photo = tmp_path / "demo"
    assert main(["demo", str(photo)]) == 2
    told = capsys.readouterr()
    assert f"{file}, line {_line(file, 'acceptability')}" in told.err
    assert "GO" not in told.out


@dataclass(frozen=True)
class Booth:
    drying: Drying
    guns: dict[str, Drying]


OWN = """[drying]
wait = {{ value = {wait}, unit = "min", source = "shop setting" }}
"""
SHIPPED = (
    OWN.format(wait=5)
    + """
[guns.small]
wait = { value = 3, unit = "min", source = "x" }
[guns.large]
wait = { value = 4, unit = "min", source = "x" }
"""
)


@pytest.fixture
def booth(own, tmp_path_factory, monkeypatch):
    """Return where the shop's own booth.toml would lie, beside a shipped one."""
    folder = tmp_path_factory.mktemp("shipped")
    for file in FILES:
        (folder / file.name).write_bytes(file.read_bytes())
    (folder / "booth.toml").write_text(SHIPPED, encoding="utf-8")
    monkeypatch.setattr(places, "shipped_folder", lambda: folder)
    calibration.read_again()
    return own / "booth.toml"


def test_what_an_own_file_from_before_lacks_is_the_shipped_figure_and_said(booth):
    booth.write_text(OWN.format(wait=7), encoding="utf-8")
    read = calibration.load(Booth, "booth")
    assert (read.drying.wait, read.guns["large"].wait) == (7, 4)
    (said,) = calibration.taken_from_shipped()
    assert "booth.toml is from before and lacks guns:" in said
    assert calibration.load(Drying, "booth", "guns", "small").wait == 3


@pytest.mark.parametrize("keys", [(), ("drying",)])
def test_a_misspelt_name_is_told_beside_what_was_taken_in_its_place(booth, keys):
    lines = [f"{name} = {{ value = 7, unit = 'min', source = 'shop setting' }}" for name in ("wiat", "wait")]
    drying = ["[drying]", lines[0]] if keys else ["[dryign]", lines[1]]
    own_gun = ["[guns.own]", lines[1]]  # the shop's own names are not misspelt
    booth.write_text("\n".join([*drying, *own_gun]), encoding="utf-8")
    assert (calibration.load(Drying, "booth", *keys) if keys else calibration.load(Booth, "booth").drying).wait == 5
    (said,) = calibration.taken_from_shipped()
    lacks, holds = ("drying.wait", "drying.wiat") if keys else ("drying", "dryign")
    assert f"lacks {lacks}: the figures that came with the program are used there." in said
    assert said.endswith(f"Nothing is read from its {holds}: is that misspelt?")


def test_what_a_shop_took_out_of_its_own_names_stays_out(booth):
    one_gun = '[guns.own]\nwait = { value = 9, unit = "min", source = "shop setting" }\n'
    booth.write_text(OWN.format(wait=7) + one_gun, encoding="utf-8")
    assert list(calibration.load(Booth, "booth").guns) == ["own"]
    assert calibration.taken_from_shipped() == ()


def test_a_wrong_figure_is_refused_as_ever_and_so_is_a_gun_that_lacks_its_own(booth):
    booth.write_text(OWN.format(wait=70), encoding="utf-8")
    with pytest.raises(CalibrationError, match=r"drying\.wait is 70, and only"):
        calibration.load(Booth, "booth")
    booth.write_text(OWN.format(wait=7) + "[guns.own]\n", encoding="utf-8")
    calibration.read_again()
    with pytest.raises(CalibrationError, match=r"guns\.own\.wait is missing"):
        calibration.load(Booth, "booth")


def test_what_is_taken_over_stands_in_order_with_what_the_shop_changed(own):
    # its own perceptibility above the acceptability that it lacks
    text = (calibration.shipped_folder() / "tolerances.toml").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("acceptability")]
    changed = "\n".join(lines).replace("perceptibility = { value = 0.8", "perceptibility = { value = 1.9")
    (own / "tolerances.toml").write_text(changed, encoding="utf-8")
    calibration.read_again()
    with pytest.raises(CalibrationError, match=r"acceptability is 1\.8, less than limits\.perceptibility"):
        calibration.load(Tolerances, "tolerances")


def test_a_check_by_an_own_file_from_before_says_so_and_has_another_fingerprint(own, tmp_path, capsys):
    whole = calibration.fingerprint("tolerances")
    text = (calibration.shipped_folder() / "tolerances.toml").read_text(encoding="utf-8")
    (own / "tolerances.toml").write_text(text[: text.index("[decision]")], encoding="utf-8")
    calibration.read_again()
    assert main(["demo", str(tmp_path / "demo")]) == 0
    assert "note: Your own tolerances.toml is from before and lacks decision:" in capsys.readouterr().err
    assert calibration.fingerprint("tolerances") != whole
