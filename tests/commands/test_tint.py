"""Tinting on the command line: what it advises, what it keeps, and what it refuses in one line."""

import json
import re
import tomllib

import numpy as np
import pytest
from coloraide import Color

from match.cli import main
from tests.tint.checks import CAR, FORMULA, MIX, TOTAL, after, check
from tests.tint.table import SHELF, lab_of


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("SPRAYOUT_CALIBRATION", str(tmp_path / "own"))
    return tmp_path / "own"


@pytest.fixture
def written(tmp_path):
    def write(name, content):
        path = tmp_path / name
        path.write_text(content if isinstance(content, str) else json.dumps(content))
        return path

    return write


def ran(capsys, *arguments):
    code = main(["tint", *map(str, arguments)])
    out, err = capsys.readouterr()
    assert code == 0, err
    return out


def refused(capsys, *arguments):
    code = main(["tint", *map(str, arguments)])
    out, err = capsys.readouterr()
    assert code == 2
    assert out == ""
    assert err.startswith("error: ")
    assert err.count("\n") == 1
    return err


def test_the_toner_that_was_left_out_is_advised_short_of_its_amount(written, capsys):
    # Source: the recipe itself: 1 part of black was left out of 84.
    card = written("card.json", check(MIX))
    found = json.loads(ran(capsys, "advise", card, "--formula", FORMULA, "--batch", "600", "--json"))
    (amount,) = found["advice"]["amounts"]
    assert amount["name"] == "black"
    assert amount["full_g"] == pytest.approx(100 / TOTAL, rel=0.03)
    assert 0.5 * amount["full_g"] < amount["pot_g"] < amount["full_g"]
    assert found["advice"]["batch_g"]["black"] == pytest.approx(6 * amount["pot_g"], abs=0.011)
    assert found["formula_parts"]["black"] == pytest.approx(2 + TOTAL * amount["pot_g"] / 100)


def test_the_difference_is_the_one_coloraide_gives(written, capsys):
    found = json.loads(ran(capsys, "advise", written("card.json", check(MIX)), "--json"))
    expected = Color("lab-d65", lab_of(MIX)).delta_e(Color("lab-d65", CAR), method="2000")
    assert found["advice"]["difference_now"] == pytest.approx(expected, abs=2e-3)


def test_plain_output_gives_grams_percent_parts_reason_lamps_and_cautions(written, capsys):
    said = ran(capsys, "advise", written("card.json", check(MIX)), "--formula", FORMULA, "--batch", "600")
    assert re.match(r"Add \d\.\d\d g black to the 100 g pot\.\n", said)
    for part in (
        "% of the pot",
        "for a batch of 600 g",
        "in parts: white 60.00",
        "stops short",
        "mostly from the pigment model",
    ):
        assert part in said
    for part in ("filament lamp", "spectrum is not known", "Stir the pot", "never the batch", "flammable"):
        assert part in said


def test_the_loop_of_two_cards_is_judged_and_kept_in_the_log(written, tmp_path, capsys):
    log = tmp_path / "pot.json"
    first, second = written("first.json", check(MIX)), written("second.json", check(after(0.7)))
    ran(capsys, "advise", first, "--formula", FORMULA, "--log", log)
    found = json.loads(ran(capsys, "check", first, second, "--added", "black=0.70", "--log", log, "--json"))
    # Source: the second card is the model's own mixture of what was added, so it moved exactly as predicted.
    assert found["attempt"]["move"]["ratio"] == pytest.approx(1.0, abs=0.02)
    assert found["attempt"]["move"]["as_predicted"]
    assert found["attempt"]["trend"] == "closer"
    assert found["attempt"]["in_pot_g"] == pytest.approx({"untinted paint": 100.0, "black": 0.7})
    kept = json.loads(log.read_text())
    assert kept["steps"][0]["additions_g"] == {"black": 0.7}
    assert kept == found["log"]
    said = ran(capsys, "advise", second, "--log", log)
    assert said.startswith("It moved as predicted.")
    assert "learned from your cards" in said


def test_paint_that_did_not_move_gets_no_next_amount(written, capsys):
    first, same = written("first.json", check(MIX)), written("same.json", check(MIX))
    said = ran(capsys, "check", first, same, "--added", "black=1.5", "--formula", FORMULA)
    assert said.startswith("No move seen. Stop adding.")
    assert "Add nothing yet" in said
    assert not re.search(r"Add \d", said)


def test_an_overshoot_is_said_to_move_the_wrong_way(written, capsys):
    first, far = written("first.json", check(MIX)), written("far.json", check(after(4.0)))
    said = ran(capsys, "check", first, far, "--added", "black=4.0", "--formula", FORMULA)
    assert said.startswith("It moved the wrong way.")
    assert "moved away from the car" in said


def test_a_card_that_is_too_dark_is_mixed_anew_with_less_black(written, capsys):
    # Source: the recipe itself: the card holds 5.36 parts of black in 87.36, the car's own paint 3 in 85.
    dark, formula = written("dark.json", check(after(4.0))), "white=60,green-shade blue=20,black=5.36,violet=2"
    found = json.loads(ran(capsys, "advise", dark, "--formula", formula, "--mix", "250", "--json"))
    assert found["advice"]["action"] == "next-mix"
    toners = found["next_mix"]["toners"]
    black = next(toner for toner in toners if toner["name"] == "black")
    assert 250 * 3 / 85 - 1.5 < black["g"] < 250 * 5.36 / 87.36
    totals = np.cumsum([toner["g"] for toner in toners]).round(2)
    assert [toner["running_total_g"] for toner in toners] == pytest.approx(totals.tolist())
    assert totals[-1] == 250.0
    said = ran(capsys, "advise", dark, "--formula", formula, "--mix", "250")
    assert said.startswith("Weigh the next mix: 250 g, fresh can.")
    assert re.search(r"violet +\d+\.\d\d g +250\.00 g", said)


def test_additions_alone_cannot_lighten_a_card_and_say_so(written, capsys):
    dark = written("dark.json", check(after(4.0)))
    chosen = ("--toner", "black", "--toner", "violet", "--only", "tint")
    found = json.loads(ran(capsys, "advise", dark, "--formula", FORMULA, *chosen, "--json"))
    assert (found["advice"]["action"], found["next_mix"]) == ("start-again", None)
    assert "another alternate" in found["advice"]["way_out"]


def test_the_next_mix_is_followed_by_its_name(written, tmp_path, capsys):
    dark, log = written("dark.json", check(after(4.0))), tmp_path / "pot.json"
    formula = "white=60,green-shade blue=20,black=5.36,violet=2"
    advised = json.loads(ran(capsys, "advise", dark, "--formula", formula, "--log", log, "--json"))
    grams = {toner["name"]: toner["g"] for toner in advised["next_mix"]["toners"]}
    card = written("card.json", check(grams))
    found = json.loads(ran(capsys, "check", dark, card, "--added", "next-mix", "--log", log, "--json"))
    assert found["log"]["steps"][0]["mix_g"] == grams
    assert found["attempt"]["move"]["ratio"] == pytest.approx(1.0, abs=0.05)
    assert found["attempt"]["in_pot_g"] == pytest.approx(grams)
    assert found["attempt"]["trend"] == "closer"
    assert json.loads(ran(capsys, "advise", card, "--log", log, "--json"))["pot_g"] == 100.0


def test_a_card_close_enough_is_left_alone(written, capsys):
    document = check(after(1.2))
    card = written("card.json", document)
    said = ran(capsys, "advise", card)
    assert said.startswith("Stop here")
    size, goal = document["delta_e00"], document["thresholds"]["go_below"]
    assert f"card.json: {size:.1f} from the car; tinting stops at {goal:.1f}." in said.splitlines()[1]


@pytest.mark.parametrize("finish", ["metallic", "pearl"])
def test_effect_paint_is_refused(written, capsys, finish):
    assert "solid colours only" in refused(capsys, "advise", written("card.json", check(MIX, finish=finish)))


def test_a_photo_that_cannot_be_relied_on_is_refused(written, capsys):
    spoilt = {"code": "clipped", "text": "The card is burnt out.", "remedy": "Expose less.", "spoils": True}
    said = refused(capsys, "advise", written("card.json", check(MIX, warnings=[spoilt])))
    assert "burnt out" in said


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--formula", "white"], "cannot be read"),
        (["--formula", "white=-1"], "cannot be read"),
        (["--formula", "white=nan"], "cannot be read"),
        (["--formula", "white=1,white=2"], "twice"),
        (["--formula", "chalk=1"], "no toner is called"),
        (["--formula", "white=0"], "at least one toner"),
        (["--toner", "chalk"], "no toner is called"),
        (["--pot", "0"], "above zero"),
        (["--pot", "heavy"], "invalid float"),
        (["--batch", "-1"], "not below zero"),
        (["--toner-percent", "0"], "above 0"),
        (["--goal", "nan"], "above zero"),
    ],
)
def test_nonsense_is_refused_in_one_line(written, capsys, arguments, says):
    assert says in refused(capsys, "advise", written("card.json", check(MIX)), *arguments)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "is not JSON"),
        ("\x00", "is not JSON"),
        ("[]", "not a saved check"),
        ('{"delta_lab": 3}', "not a saved check"),
    ],
)
def test_what_is_not_a_check_is_refused(written, capsys, content, said):
    assert said in refused(capsys, "advise", written("card.json", content))


def test_a_log_that_is_no_json_is_refused(written, capsys):
    card, log = written("card.json", check(MIX)), written("log.json", "{")
    assert "is not JSON" in refused(capsys, "advise", card, "--log", log)


@pytest.mark.parametrize("content", ["[]", '{"format": "tint-log 1"}', '{"format": "tint-log 9"}'])
def test_what_is_not_a_log_is_refused(written, capsys, content):
    card, log = written("card.json", check(MIX)), written("log.json", content)
    assert "not a tint log" in refused(capsys, "advise", card, "--log", log)
    assert log.read_text() == content


@pytest.mark.parametrize(("key", "value"), [("vehicle_lab", [1e308, 0, 0]), ("delta_lab", [0, 1e308, 0])])
def test_a_log_of_colours_that_cannot_be_is_refused(written, tmp_path, capsys, key, value):
    log = tmp_path / "pot.json"
    card = written("first.json", check(MIX))
    ran(capsys, "advise", card, "--log", log)
    story = json.loads(log.read_text())
    (story if key in story else story["start"])[key] = value
    log.write_text(json.dumps(story))
    assert "not a tint log" in refused(capsys, "check", card, written("second.json", check(after(0.7))), "--log", log)


def test_a_card_that_is_not_the_logs_last_is_refused(written, tmp_path, capsys):
    log = tmp_path / "pot.json"
    first, second = written("first.json", check(MIX)), written("second.json", check(after(0.7)))
    ran(capsys, "advise", first, "--log", log)
    assert "not the last card" in refused(capsys, "advise", second, "--log", log)
    assert "leave it out" in refused(capsys, "advise", first, "--log", log, "--pot", "50")
    assert "say what was added" in refused(capsys, "check", first, second, "--log", log)


def test_an_own_toner_is_added_listed_used_and_removed(written, own_folder, capsys):
    assert "my black [yours, strength 0.5]" in ran(
        capsys, "toners", "--add", "my black", "--like", "black", "--strength", "0.5"
    )
    kept = tomllib.loads((own_folder / "own_toners.toml").read_text())  # Source: the standard library's TOML reader
    assert kept["toners"]["my black"]["strength"]["value"] == 0.5
    card = written("card.json", check(MIX))
    found = json.loads(
        ran(capsys, "advise", card, "--formula", FORMULA, "--toner", "my black", "--only", "tint", "--json")
    )
    (amount,) = found["advice"]["amounts"]
    assert amount["full_g"] == pytest.approx(2 * 100 / TOTAL, rel=0.05)  # half as strong: twice as much
    assert "my black" not in ran(capsys, "toners", "--remove", "my black")


def test_a_list_of_sixty_toners_is_read_with_every_bad_row_named(tmp_path, own_folder, capsys):
    path, back = tmp_path / "toners.csv", tmp_path / "back.csv"
    rows = [f"toner {number:02d};violet;0,{50 + number}" for number in range(60)]
    rows[7], rows[41] = "toner 07;mauve;1", "toner 41;violet;none"
    path.write_text("\n".join(["name;like;strength", *rows]))
    assert main(["tint", "toners", "--read", str(path)]) == 2
    said = capsys.readouterr().err
    assert "line 9, toner 07: " in said  # Source: the rows as written, the headings in line 1
    assert "line 43, toner 41: " in said
    assert "2 of 60 rows" in said
    assert not (own_folder / "own_toners.toml").exists()
    assert "58 toners of toners.csv" in ran(
        capsys, "toners", "--read", path, "--keep-good", "--shelf", "line two", "--shelves"
    )
    assert "58 toners are written" in ran(capsys, "toners", "--write", back)
    assert len(back.read_text().splitlines()) == 59
    assert "line two: 58 toners of your own, in use" in ran(capsys, "toners", "--shelves")
    assert "toner 00" not in ran(capsys, "toners", "--shelf", "first shelf")
    assert "line two" not in ran(capsys, "toners", "--remove-shelf", "line two", "--shelves")
    assert ran(capsys, "toners", "--headings").startswith("name,like,strength")


@pytest.mark.parametrize("name", ["black", "a=b", "a,b", "  ", "x" * 61, "tab\there", "untinted paint"])
def test_a_name_of_no_use_is_refused(capsys, name):
    refused(capsys, "toners", "--add", name, "--like", "black")


def test_names_of_any_script_survive_the_file(capsys):
    for name in ('blå "rå" \\ 1', "синий", "青"):
        assert name in ran(capsys, "toners", "--add", name, "--like", "black")


def test_a_broken_own_file_is_said_to_be(own_folder, capsys):
    own_folder.mkdir()
    (own_folder / "own_toners.toml").write_text("[toners.x]\nlike = 3\n")
    assert "own_toners.toml" in refused(capsys, "toners")


def test_a_toner_measured_from_a_let_down_is_the_one_it_was_mixed_from(written, own_folder, capsys):
    letdown = written("letdown.json", check({"white": 95.0, "violet": 5.0}))
    options = ("--name", "my violet", "--percent", "5", "--like", "violet", "--save")
    measured = json.loads(ran(capsys, "measure", letdown, *options, "--json"))
    K = SHELF["violet"].absorption
    assert np.array(measured["toner"]["absorption"]) @ K / (K @ K) == pytest.approx(1.0, abs=0.12)
    assert "my violet [yours, strength 1]" in ran(capsys, "toners")
    assert "one --percent for each" in refused(capsys, "measure", letdown, letdown, *options)
    assert "above 0" in refused(capsys, "measure", letdown, "--name", "x", "--percent", "0")
