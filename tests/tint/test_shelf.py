"""A shop's toners as a table, several shelves, weak versions, and a large shelf searched through a short one."""

import csv
import io
from dataclasses import replace

import numpy as np
import pytest

from match import calibration
from match.errors import CalibrationError, TintError
from match.tint import shelf_file as shelves
from match.tint.answer import Action
from match.tint.limits import TintLimits
from match.tint.pigment import TonerFile, paint_reflectance, toner_set
from match.tint.shelf_entry import MeasuredEntry, NamedEntry, WeakEntry, own_toners
from match.tint.shortlist import MOST_TRIED, short_shelf
from match.tint.story import Card, Mix, Story
from match.tint.tinting import Wanted
from match.tint.toner_table import Known, read_table, table_text, written_table
from match.tint.viewing import lab_from_reflectance
from match.tint.what_next import answer

FILE = calibration.load(TonerFile, "toners")
PROGRAM = toner_set(FILE)
LIMITS = calibration.load(TintLimits, "tint", "limits")
KNOWN = Known(PROGRAM, FILE.optics, LIMITS)
HEADINGS = "name,like,strength,lowest,highest,own binder,weak version of,percent 1,L 1,a 1,b 1"


@pytest.fixture
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("SPRAYOUT_CALIBRATION", str(tmp_path))
    return tmp_path


def lab_of(recipe, toners=PROGRAM):
    parts = np.array(list(recipe.values()), dtype=float)
    return lab_from_reflectance(paint_reflectance([toners[n] for n in recipe], parts / parts.sum(), FILE.optics))


def story(card, car, formula=None, pot_g=100.0, sd=0.3):
    start = Card("card", tuple(card - car), tuple(tuple(row) for row in sd**2 * np.eye(3)))
    return Story(tuple(car), 1.0, pot_g, start, (), Mix(formula))


@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_a_table_is_read_with_any_separator_and_a_decimal_comma(sign):
    point = "." if sign == "," else ","
    text = sign.join(("Name", "LIKE", "strength")) + "\n" + sign.join(("deep blue", "violet", f"0{point}8"))
    found = read_table(text, KNOWN)
    assert found.entries == {"deep blue": NamedEntry("violet", 0.8)}
    assert found.faults == ()


def test_every_bad_row_is_named_with_its_line_and_the_good_ones_are_read():
    rows = [
        "good,violet,0.8,0.6,1.1,yes,,,,,",
        "white,white,1,,,,,,,,",
        "odd,mauve,1,,,,,,,,",
        "",
        "huge,violet,900,,,,,,,,",
        "good,black,1,,,,,,,,",
        "half bound,violet,1,0.5,,,,,,,",
        "outside,violet,2,0.5,1.5,,,,,,",
        "pot,violet,1,,,maybe,,,,,",
        "weak,,0.1,,,no,good,,,,",
        "lost,,0.1,,,,nobody,,,,",
        "bare,,,,,,,,,,",
        "torn,,,,,,,5,50,,",
        "long,violet,1,,,,,,,,,,x",
        "impossible,,,,,,,5,96,120,-120",
    ]
    found = read_table("\n".join((HEADINGS, *rows)), KNOWN)
    assert set(found.entries) == {"good", "weak"}
    # Source: the lines as counted here, the empty one among them.
    told = {fault.line: fault.words for fault in found.faults}
    assert list(told) == [3, 4, 6, 7, 8, 9, 10, 12, 13, 14, 15, 16]
    for line, word in {
        3: "taken",
        4: "mauve",
        6: "900",
        7: "line 2",
        8: "one bound",
        9: "between",
        10: "maybe",
    }.items():
        assert word in told[line]
    for line, word in {12: "nobody", 13: "neither", 14: "a 1", 15: "cells", 16: "remain"}.items():
        assert word in told[line]


def test_a_quoted_cell_over_two_lines_does_not_shift_the_count():
    text = 'name,like,note\none,violet,"two\nlines"\ntwo,mauve,\n'
    found = read_table(text, KNOWN)
    assert [fault.line for fault in found.faults] == [4]
    assert found.unread == ("note",)


@pytest.mark.parametrize("text", ["", "a,b\n1,2\n", "name,like\n", "name,name\nx,y\n", 'name\n"' + "x" * 200_000])
def test_what_is_no_table_is_refused_in_a_sentence(text):
    with pytest.raises(TintError):
        read_table(text, KNOWN)


@pytest.mark.parametrize("line", [1, 2, 4])
def test_a_line_that_is_no_line_of_a_table_is_named_by_its_number(line):
    rows = ["name,like,strength", "a,violet,1", "b,violet,1", "c,violet,1"]
    rows[line - 1] = '"' + "x" * (csv.field_size_limit() + 1)
    with pytest.raises(TintError, match=f"cannot be read in line {line} "):
        read_table("\n".join(rows), KNOWN)


@pytest.mark.parametrize(("strength", "faults"), [("0.1", 0), ("0.9", 0), ("1", 1), ("1.5", 1)])
def test_a_weak_version_is_weaker_than_its_toner(strength, faults):
    found = read_table(f"name,like,strength,weak version of\na,violet,1,\nweak,,{strength},a", KNOWN)
    assert len(found.faults) == faults
    assert ("weak" in found.entries) is not bool(faults)


def test_a_spreadsheets_encodings_are_read():
    # Source: Python's codecs, which write each encoding.
    for encoding in ("utf-8", "utf-8-sig", "utf-16", "cp1252"):
        assert table_text("name,like\ngrün,violet".encode(encoding)).startswith("name")
        assert "grün" in table_text("name,like\ngrün,violet".encode(encoding))


def test_let_downs_of_a_table_give_the_toner_that_they_were_mixed_from():
    # Source: the program's own violet in its white, masstone and undertone, from the forward model.
    cells = []
    for percent in (100.0, 5.0):
        lab = lab_of({"violet": percent, "white": 100.0 - percent} if percent < 100 else {"violet": 1.0})
        cells += [f"{percent:g}", *(f"{value:.3f}" for value in lab)]
    heads = "name,like,percent 1,L 1,a 1,b 1,percent 2,L 2,a 2,b 2"
    found = read_table(f"{heads}\nmine,violet,{','.join(cells)}", KNOWN)
    assert not found.faults
    mine = own_toners(found.entries, PROGRAM)[0]["mine"]
    K = PROGRAM["violet"].strength * PROGRAM["violet"].absorption
    assert mine.absorption @ K / (K @ K) == pytest.approx(1.0, abs=0.12)


def test_bounds_become_the_spread_of_the_strength():
    # Source: the normal distribution's 1.96 sd, 95 in 100, here of the logarithm: ln(2) / (2 x 1.96) = 0.1768.
    found = read_table("name,like,strength,lowest,highest\nx,violet,1,0.7,1.4", KNOWN)
    assert own_toners(found.entries, PROGRAM)[1] == {"x": pytest.approx(0.1768, abs=1e-4)}


def test_what_is_written_reads_back_and_is_a_csv():
    entries = {
        "a": NamedEntry("violet", 0.8, (0.6, 1.1), "yes"),
        "weak a": WeakEntry("a", 0.1),
        "m": MeasuredEntry(tuple(np.linspace(0.1, 1, 31)), tuple(np.full(31, 0.3)), 0.2, "no"),
    }
    text = written_table(entries)
    assert [row["name"] for row in csv.DictReader(io.StringIO(text))] == ["a", "weak a", "m"]
    back = read_table(text, KNOWN)
    assert back.faults == ()
    assert back.entries["a"] == entries["a"]
    assert back.entries["weak a"] == entries["weak a"]
    np.testing.assert_allclose(back.entries["m"].absorption, entries["m"].absorption, rtol=1e-5)
    assert back.entries["m"].log_strength_sd == pytest.approx(0.2, rel=1e-4)


@pytest.mark.parametrize("name", ["+cmd|' /C calc'!A0", "@SUM(A1)", "-1", "\uff0bx", "'quoted'", "'+x", "plain"])
def test_no_written_name_is_run_as_a_formula_and_all_read_back(name):
    """A cell that begins so is run by spreadsheets (RFC 4180 knows text alone), also with a full-width sign."""
    text = written_table({name: NamedEntry("violet", 1.0, (), "no"), "weak": WeakEntry(name, 0.1)})
    for row in csv.DictReader(io.StringIO(text)):
        for cell in (row["name"], row["weak version of"]):
            assert not cell.startswith(("=", "+", "-", "@", "\uff0b"))
    back = read_table(text, KNOWN)
    assert back.faults == ()
    assert list(back.entries) == [name, "weak"]
    assert back.entries["weak"].weak_of == name


def test_a_file_of_a_published_version_still_loads(own_folder):
    # As version 0.1 and 0.2 wrote it.
    (own_folder / "own_toners.toml").write_text(
        '[toners."my black"]\nlike = "black"\nstrength = {value = 0.5, unit = "1", source = "shop setting"}\n'
        f'[toners.m]\nabsorption = {{value = {[0.5] * 31}, unit = "relative K", source = "measured from let-downs"}}\n'
        f'scattering = {{value = {[0.3] * 31}, unit = "relative S", source = "measured from let-downs"}}\n'
        'log_strength_sd = {value = 0.2, unit = "ln", source = "measured from let-downs"}\n'
    )
    shelf = shelves.load_shelf()
    assert shelf.own == ("my black", "m")
    assert shelf.toner("my black").strength == 0.5
    assert shelf.own_sd == {"m": 0.2}
    shelves.keep_entries({"x": NamedEntry("violet", 1.0)}, "line two")
    assert shelves.read_shelves().entries[""].keys() == {"my black", "m"}


def test_a_paint_line_is_a_shelf_of_its_own_and_offers_its_own_toners_alone(own_folder):
    shelves.keep_entries({"v": NamedEntry("violet", 1.0), "w": WeakEntry("v", 0.1)}, "line two")
    shelf = shelves.load_shelf()
    assert (shelf.name, shelf.own, shelf.offered) == ("line two", ("v", "w"), ("v", "w"))
    car = lab_of({"white": 90, "violet": 10})
    assert story(lab_of({"white": 95, "violet": 5}), car).job(shelf).allowed == ("v", "w")
    with pytest.raises(TintError, match="weak version"):
        shelves.remove("v")
    shelves.choose("first shelf")
    assert shelves.load_shelf().own == ()
    assert shelves.load_shelf().offered is None
    with pytest.raises(TintError, match="line two"):
        shelves.choose("line three")
    shelves.remove_shelf("line two")
    assert list(shelves.read_shelves().entries) == [""]


def test_a_hand_edited_file_that_cannot_be_is_refused(own_folder):
    (own_folder / "own_toners.toml").write_text(
        '[toners.w]\nweak_of = "v"\nstrength = {value = 0.1, unit = "1", source = "x"}'
    )
    with pytest.raises(CalibrationError, match="weak version"):
        shelves.load_shelf()
    (own_folder / "own_toners.toml").write_text('chosen = "gone"\n')
    with pytest.raises(CalibrationError, match="gone"):
        shelves.load_shelf()


def test_a_weak_version_takes_the_place_of_a_dose_too_small_to_weigh():
    entries = {"mine": NamedEntry("black", 1.0), "weak mine": WeakEntry("mine", 0.1)}
    own, own_sd = own_toners(entries, PROGRAM)
    with_weak = shelves.Shelf(
        {**PROGRAM, **own}, FILE.optics, tuple(own), own_sd, offered=("white", "mine", "weak mine")
    )
    without = replace(with_weak, offered=("white", "mine"))
    formula = {"white": 100.0, "mine": 0.5}
    toners = with_weak.toners
    card, car = lab_of(formula, toners), lab_of({"white": 100.0, "mine": 0.62}, toners)
    pot = replace(story(card, car, formula, 20.0, 0.1), goal=0.3)
    found, before = answer(pot, with_weak, LIMITS), answer(pot, without, LIMITS)
    grams = {a.name: a.pot_g for a in found.advice.amounts}
    if found.advice.action is Action.NEXT_MIX:
        grams = found.next_mix.grams
    assert grams["weak mine"] >= LIMITS.least_weighed_g
    assert "mine" not in grams
    assert any("too small to weigh" in reason for reason in found.advice.reasons)
    assert not any("not in the formula" in reason for reason in found.advice.reasons)
    assert found.advice.after.difference <= before.advice.after.difference + 0.05


def test_a_toner_without_its_own_binder_stays_within_what_the_binder_bears():
    formula = {"white": 90.0, "mine": 10.0}
    for binder, most in ((None, LIMITS.pot_share), (False, LIMITS.total_share)):
        mine = replace(PROGRAM["violet"], name="mine", own_binder=binder)
        shelf = shelves.Shelf({"white": PROGRAM["white"], "mine": mine}, FILE.optics, ("mine",), {})
        card, car = lab_of(formula, shelf.toners), lab_of({"white": 90.0, "mine": 26.0}, shelf.toners)
        found = answer(story(card, car, formula), shelf, LIMITS, Wanted(ways=("tint",)))
        poured = sum(amount.pot_g for amount in found.advice.amounts)
        assert poured <= 100 * most + 0.01
        assert binder is False or poured > 100 * LIMITS.total_share


@pytest.mark.parametrize(
    "recipe", [{"white": 80.0, "oxide yellow": 12.0, "black": 3.0}, {"white": 40.0, "violet": 9.0}]
)
def test_of_many_toners_a_few_are_searched_and_nothing_is_lost_by_it(recipe):
    # Source: the search over every set of three of all toners, without the short shelf.
    from match.tint.advice import advise

    rng = np.random.default_rng(4)
    many = {**PROGRAM}
    for number in range(14):
        like = PROGRAM[list(PROGRAM)[number % len(PROGRAM)]]
        many[f"t{number}"] = replace(like, name=f"t{number}", strength=float(np.exp(rng.normal(0, 0.3))))
    shelf = shelves.Shelf(many, FILE.optics, (), {})
    card = lab_of(recipe)
    car = lab_of({n: g * (0.6 if i == 0 else 1.4) for i, (n, g) in enumerate(recipe.items())})
    job = story(card, car).job(shelf)
    short = short_shelf(job)
    assert MOST_TRIED <= len(short.shelf) < len(many)
    few, all_of_them = (advise(j, LIMITS, np.random.default_rng(20), goal=1.0) for j in (short, job))
    assert few.after.difference <= all_of_them.after.difference + 0.3


def test_the_shelf_that_came_with_the_program_is_searched_whole():
    shelf = shelves.Shelf(PROGRAM, FILE.optics, (), {})
    job = story(lab_of({"white": 1.0}), lab_of({"white": 9.0, "black": 1.0})).job(shelf)
    assert short_shelf(job) is job
