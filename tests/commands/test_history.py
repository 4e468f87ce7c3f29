"""The history on the command line: saved, found, taken away and brought back, always in a folder of the test's own."""

import csv
import io
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from match.cli import main
from match.commands import history as history_command
from match.commands.save_arguments import CARD_FIELDS
from match.demo.photos import demo_photo
from match.history.from_check import typed_colour
from match.photo.region_table import region_table
from match.tint.card_from_check import read_check
from match.tint.story import Mix, Story, begin
from tests.tint.checks import FORMULA, MIX, after, check


@pytest.fixture(scope="module")
def photo(tmp_path_factory) -> Path:
    content, regions = demo_photo()
    path = tmp_path_factory.mktemp("photo") / "first card.jpg"
    path.write_bytes(content)
    path.with_suffix(".json").write_text(json.dumps({"regions": [region_table(each) for each in regions]}))
    return path


@pytest.fixture
def home(tmp_path, monkeypatch) -> Path:
    monkeypatch.setenv("SPRAYOUT_DATA", str(tmp_path / "data"))
    return tmp_path


def _json(capsys, *arguments):
    assert main([str(a) for a in arguments]) == 0
    return json.loads(capsys.readouterr().out)


def _listed(capsys):
    return _json(capsys, "history", "list", "--json")["items"]


def _save(photo, *more):
    return main(["check", str(photo), "--save", "--colour", "Harbour Slate/HS-1", "--car", "small estate", *more])


@pytest.fixture(scope="module")
def history_of_one_check(photo, tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("history") / "data"
    assert _save(photo, "--data", str(folder)) == 0
    return folder


@pytest.fixture
def saved(history_of_one_check, home) -> Path:
    """Go on from one check saved by the command, copied: to check the photo again would tell nothing more."""
    shutil.copytree(history_of_one_check, home / "data")
    return home


def _refusal(capsys, *arguments):
    capsys.readouterr()
    assert main([str(a) for a in arguments]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("error: ")
    assert said.err.count("\n") == 1
    return said.err


def test_a_saved_check_is_shown_with_its_photo_regions_settings_and_whole_result(photo, home, capsys):
    printed = _json(capsys, "check", photo, "--save", "--colour", "Harbour Slate/HS-1", "--gun", "1.3 mm", "--json")
    (row,) = _listed(capsys)
    shown = _json(capsys, "history", "show", row["id"], "--json")
    assert shown["result"] == printed
    assert shown["regions"] == json.loads(photo.with_suffix(".json").read_text())["regions"]
    assert shown["settings"]["junction"] == "panel-gap"
    assert shown["photos"][0]["size_bytes"] == photo.stat().st_size
    assert shown["photos"][0]["state"] == "whole"
    assert (shown["colour_name"], shown["code"]) == ("Harbour Slate", "HS-1")
    assert main(["history", "show", row["id"]]) == 0
    assert "gun 1.3 mm" in capsys.readouterr().out


def test_the_same_colour_and_car_are_met_again_and_a_new_card_made_for_each_save(photo, home, capsys):
    assert _save(photo, "--mix", "as the formula") == 0
    assert _save(photo, "--mix", "tinted", "--tinted", "2 g white") == 0
    capsys.readouterr()
    first, second = _listed(capsys)
    assert (first["colour"], first["job"]) == (second["colour"], second["job"])
    assert first["card"] != second["card"]
    story = _json(capsys, "history", "show", first["colour"], "--json")
    assert [entry["card"]["mix"] for entry in story["entries"]] == ["as the formula", "tinted"]


def test_checks_are_found_by_code_colour_car_words_verdict_and_day(photo, home, capsys):
    _save(photo, "--note", "north light")
    capsys.readouterr()
    (row,) = _listed(capsys)
    day = row["created_at"][:10]
    for hit in (
        ["--code", "hs1"],
        ["--colour", "slate"],
        ["--car", "estate"],
        ["--text", "north harbour"],
        ["--verdict", row["verdict"]],
        ["--from", day, "--to", day],
    ):
        assert _json(capsys, "history", "find", *hit, "--json")["total"] == 1, hit
    other = next(v for v in history_command.VERDICTS if v != row["verdict"])
    for miss in (["--code", "zz"], ["--car", "van"], ["--verdict", other], ["--to", "2001-01-01"]):
        assert _json(capsys, "history", "find", *miss, "--json")["total"] == 0, miss
    assert main(["history", "find", "--code", "zz"]) == 0
    assert capsys.readouterr().out == "No check matches.\n"


def test_the_car_is_found_by_its_own_colour_at_no_distance(saved, capsys):
    (row,) = _listed(capsys)
    near = _json(capsys, "history", "find", f"--like={','.join(map(str, row['vehicle_lab']))}", "--json")
    assert near["items"][0]["delta_e00"] == pytest.approx(0.0, abs=1e-9)
    assert near["items"][0]["check"]["id"] == row["id"]


def test_an_export_and_a_backup_bring_everything_back_elsewhere(saved, capsys):
    (row,) = _listed(capsys)
    whole = _json(capsys, "history", "show", row["id"], "--json")
    assert main(["history", "export", str(saved / "all.zip")]) == 0
    assert main(["history", "backup", str(saved / "backup.zip")]) == 0
    assert "1 check and 1 photo" in capsys.readouterr().out
    for archive, elsewhere in (("all.zip", saved / "one"), ("backup.zip", saved / "two")):
        assert main(["history", "restore", str(saved / archive), "--data", str(elsewhere)]) == 0
        capsys.readouterr()
        assert _json(capsys, "history", "show", row["id"], "--data", elsewhere, "--json") == whole
    again = _json(capsys, "history", "import", saved / "all.zip", "--json")
    assert set(again["added"].values()) == {0}
    third = _json(capsys, "history", "import", saved / "all.zip", "--data", saved / "three", "--json")
    assert third["added"]["check"] == 1


def test_the_spreadsheet_holds_one_line_a_check(saved, capsys):
    assert main(["history", "csv", str(saved / "checks.csv")]) == 0
    (line,) = csv.DictReader(io.StringIO((saved / "checks.csv").read_text(encoding="utf-8-sig")))
    assert line["code"] == "HS-1"
    assert line["car"] == "small estate"
    capsys.readouterr()
    assert "add --replace" in _refusal(capsys, "history", "csv", saved / "checks.csv")


def test_a_deleted_check_leaves_the_list_and_comes_back(saved, capsys):
    (row,) = _listed(capsys)
    assert main(["history", "delete", row["id"]]) == 0
    assert f"undelete {row['id']}" in capsys.readouterr().out
    assert _listed(capsys) == []
    assert [gone["id"] for gone in _json(capsys, "history", "list", "--deleted", "--json")] == [row["id"]]
    assert main(["history", "undelete", row["id"]]) == 0
    capsys.readouterr()
    assert _listed(capsys) == [row]


def test_verify_says_which_photo_is_missing_and_fails(photo, saved, capsys):
    assert main(["history", "verify"]) == 0
    assert "all whole" in capsys.readouterr().out
    for kept in (saved / "data").rglob("*"):
        if kept.is_file() and kept.read_bytes() == photo.read_bytes():
            kept.unlink()
    assert main(["history", "verify"]) == 1
    assert "is missing: put it back from a backup" in capsys.readouterr().out


def test_what_cannot_be_done_is_said_in_one_line(photo, home, capsys):
    nothing = home / "nothing.zip"
    assert "load the list again" in _refusal(capsys, "history", "show", "0" * 32)
    assert "nothing.zip" in _refusal(capsys, "history", "import", nothing)
    assert "three numbers" in _refusal(capsys, "history", "find", "--like", "blue")
    assert "2026-03-31" in _refusal(capsys, "history", "find", "--from", "yesterday")
    assert "page 0" in _refusal(capsys, "history", "list", "--page", "0")
    assert "add --save" in _refusal(capsys, "check", photo, "--colour", "Harbour Slate")
    assert "--colour" in _refusal(capsys, "check", photo, "--save", "--mix", "as the formula")
    assert "is a file" in _refusal(capsys, "history", "list", "--data", photo)


def test_restoring_needs_a_named_folder(home, monkeypatch, capsys):
    monkeypatch.delenv("SPRAYOUT_DATA")
    assert "--data" in _refusal(capsys, "history", "restore", home / "backup.zip")


def test_data_on_the_command_line_wins_over_the_environment(photo, home, capsys):
    _save(photo, "--data", str(home / "other"))
    capsys.readouterr()
    assert _listed(capsys) == []
    assert _json(capsys, "history", "list", "--data", home / "other", "--json")["total"] == 1


@pytest.mark.parametrize(
    ("typed", "name", "code"),
    [
        ("Slate/HS-1", "Slate", "HS-1"),
        ("Slate", "Slate", ""),
        ("/HS-1", "", "HS-1"),
        ("Red / Blue / 7", "Red / Blue", "7"),
    ],
)
def test_the_last_stroke_parts_a_colours_name_from_its_code(typed, name, code):
    assert (typed_colour(typed).name, typed_colour(typed).code) == (name, code)


def test_every_argument_of_history_and_of_saving_is_explained():
    from match.cli import build_parser

    top = build_parser()._subparsers._group_actions[0].choices
    actions = top["history"]._subparsers._group_actions[0].choices
    expected = "list show find export import backup restore csv verify clear-leftovers where delete undelete "
    expected += "keep-pot pot labels"
    assert set(actions) == set(expected.split())
    saving = [a for a in top["check"]._actions if a.dest in {"save", "data", "colour", "car", "note", *CARD_FIELDS}]
    for action in [a for parser in actions.values() for a in parser._actions] + saving:
        assert action.help, action


def test_a_whole_process_lists_an_empty_history_and_loads_no_library_that_it_does_not_need(home):
    command = [sys.executable, "-X", "importtime", "-m", "match", "history", "list"]
    told = subprocess.run(command, capture_output=True, text=True, env=os.environ, check=False)
    times = [line for line in told.stderr.splitlines() if line.startswith("import time:")]
    said = [line for line in told.stderr.splitlines() if not line.startswith("import time:")]
    loaded = {line.rpartition("|")[2].strip() for line in times}
    assert (told.returncode, said) == (0, [])
    assert told.stdout.startswith("No checks are saved yet in ")
    assert "sqlalchemy" in loaded
    assert not {"colour", "scipy.stats", "pandas", "streamlit"} & loaded


def test_a_pot_is_kept_reopened_and_gone_on_with_by_tint(home, tmp_path, capsys):
    first, second = check(MIX), check(after(0.2))
    begun = begin(read_check(first, "card 1"), 100.0, Mix(MIX))
    story = begun.added({"black": 0.2}).sprayed(read_check(second, "card 2"))
    (tmp_path / "pot.json").write_text(json.dumps(story.as_dict()))
    kept = _json(capsys, "history", "keep-pot", tmp_path / "pot.json", "--colour", "Invented blue/I-1", "--json")
    colour, pot = kept["colour"], kept["id"]
    assert main(["history", "show", colour]) == 0
    assert pot in capsys.readouterr().out
    assert main(["history", "show", pot]) == 0
    shown = capsys.readouterr().out
    assert "100 g of the mix white" in shown
    assert "Then 0.20 g black. Card 2, card 2: " in shown
    assert "(predicted " in shown
    assert main(["history", "pot", pot, str(tmp_path / "again.json")]) == 0
    assert "is there already" in _refusal(capsys, "history", "pot", pot, tmp_path / "again.json")
    assert json.loads((tmp_path / "again.json").read_text()) == json.loads((tmp_path / "pot.json").read_text())
    (tmp_path / "card2.json").write_text(json.dumps(second))
    found = _json(capsys, "tint", "advise", tmp_path / "card2.json", "--log", tmp_path / "again.json", "--json")
    assert found["advice"]["action"] in ("tint", "next-mix", "stop")
    assert len(found["log"]["steps"]) == 1
    later = _json(capsys, "history", "keep-pot", tmp_path / "again.json", "--pot", pot, "--json")
    assert (later["id"], len(later["cards"])) == (pot, 2)
    assert "undone since" in _refusal(capsys, "history", "keep-pot", _other(tmp_path, begun), "--pot", pot)


def test_earlier_pots_teach_the_next_one_where_that_is_asked_for(home, tmp_path, capsys):
    story = begin(read_check(check(MIX), "card 1"), 100.0, Mix(MIX)).added({"black": 0.3})
    story = story.sprayed(read_check(check(after(0.3, strength=1.5), sd=0.05), "card 2"))
    (tmp_path / "pot.json").write_text(json.dumps(story.as_dict()))
    _json(capsys, "history", "keep-pot", tmp_path / "pot.json", "--colour", "Invented blue", "--json")
    (tmp_path / "card.json").write_text(json.dumps(check({**MIX, "black": 1.0})))
    advise = ("tint", "advise", tmp_path / "card.json", "--formula", FORMULA, "--json")
    plain = _json(capsys, *advise)
    assert main([str(each) for each in (*advise, "--earlier-pots")]) == 0
    said = capsys.readouterr()
    assert "what one earlier pot of this shop taught" in said.err
    assert json.loads(said.out)["next_mix"]["toners"] != plain["next_mix"]["toners"]
    assert "add --earlier-pots" in _refusal(capsys, *advise, "--data", home / "data")


def test_a_kept_pot_that_cannot_be_read_is_named_and_the_others_teach(home, tmp_path, capsys):
    kept = []
    for black in (0.3, 0.4, 0.5):
        story = begin(read_check(check(MIX), f"card {black}"), 100.0, Mix(MIX)).added({"black": black})
        story = story.sprayed(read_check(check(after(black, strength=1.5), sd=0.05), "card 2"))
        (tmp_path / "pot.json").write_text(json.dumps(story.as_dict()))
        kept.append(_json(capsys, "history", "keep-pot", tmp_path / "pot.json", "--colour", f"Blue {black}", "--json"))
    with sqlite3.connect(home / "data" / "history.sqlite") as database:
        database.execute("UPDATE pot SET story = ? WHERE uid = ?", ('{"format": "tint-log 1"}', kept[0]["id"]))
        database.execute("UPDATE pot SET story = ? WHERE uid = ?", ('"', kept[1]["id"]))
    (tmp_path / "card.json").write_text(json.dumps(check({**MIX, "black": 1.0})))
    asked = ("tint", "advise", tmp_path / "card.json", "--formula", FORMULA, "--earlier-pots")
    assert main([str(each) for each in asked]) == 0
    said = capsys.readouterr().err
    assert "what one earlier pot of this shop taught" in said
    for pot in kept[:2]:
        assert f"The pot {pot['id']} cannot be read" in said
    assert kept[2]["id"] not in said


def _other(folder: Path, begun: Story) -> Path:
    """Write the log of the same pot with another first addition."""
    path = folder / "other.json"
    path.write_text(json.dumps(begun.added({"black": 0.5}).sprayed(read_check(check(after(0.5)), "card")).as_dict()))
    return path


def test_labels_are_written_for_a_check_and_a_colour_and_a_card_is_measured_again(photo, home, capsys):
    assert _save(photo, "--mix", "alternate 2", "--place", "drawer 3, 17") == 0
    capsys.readouterr()
    (first,) = _listed(capsys)
    out = home / "labels.pdf"
    written = _json(
        capsys, "history", "labels", first["id"], first["colour"], "--out", out, "--sheet", "a4-3x8", "--json"
    )
    assert written["labels"] == 2
    assert out.read_bytes().startswith(b"%PDF")
    assert "is there already" in _refusal(capsys, "history", "labels", first["id"], "--out", out)
    assert "no sheet" in _refusal(capsys, "history", "labels", first["id"], "--out", home / "b.pdf", "--sheet", "b5")
    assert _save(photo, "--same-card", first["card"]) == 0
    capsys.readouterr()
    latest = _listed(capsys)[0]
    assert latest["card"] == first["card"]
    assert main(["history", "show", latest["id"]]) == 0
    assert "the same within what the two photos can tell" in capsys.readouterr().out
    assert main(["history", "find", "--like", ",".join(str(value) for value in first["vehicle_lab"])]) == 0
    assert "0.0 away, its card: drawer 3, 17" in capsys.readouterr().out
    assert "leave the others out" in _refusal(
        capsys, "check", photo, "--save", "--same-card", first["card"], "--mix", "x"
    )
