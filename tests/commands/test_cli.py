"""The command line as a person meets it: whole processes, their output, their exit codes, and no tracebacks."""

import argparse
import dataclasses
import importlib.util
import io
import json
import os
import subprocess
import sys
import zipfile
from contextlib import redirect_stdout
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from match import __main__ as started
from match.cli import COMMANDS, build_parser, main
from match.demo.photos import write_demo
from match.history.records import NewCheck, NewColour
from match.history.store import Store
from tests.support.documents import document
from tests.support.synthetic import FlatScene


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    return [path for path in write_demo(folder) if path.suffix == ".jpg"]


@pytest.fixture(scope="module")
def answers(demo):
    """What the command says of each demo photo, asked once."""
    found = []
    for photo in demo:
        said = io.StringIO()
        with redirect_stdout(said):
            assert main(["check", str(photo), "--json"]) == 0
        found.append(json.loads(said.getvalue()))
    return found


def _json(capsys, *arguments):
    assert main([str(a) for a in arguments]) == 0
    return json.loads(capsys.readouterr().out)


def test_the_demo_photos_get_a_verdict_each_and_not_all_the_same(answers):
    verdicts = [answer["verdict"] for answer in answers]
    assert len(set(verdicts)) >= 3
    assert set(verdicts) <= {"go", "blend", "retint", "retake"}


def test_no_name_commands_the_terminal(tmp_path, capsys, monkeypatch):
    """Control sequences (ECMA-48) clear a screen, title its window, or write one line over another."""
    marks = ["--grey", "1,1,20,20", "--card", "1,1,20,20", "--vehicle", "1,1,20,20"]
    assert main(["check", "\x1b[2J\x9b1m\nerror: none\r.jpg", *marks]) == 2
    said = capsys.readouterr().err
    assert said.startswith("error: \\x1b[2J\\x9b1m\\nerror: none\\x0d.jpg: ")
    assert said.count("\n") == 1
    monkeypatch.setenv("SPRAYOUT_DATA", str(tmp_path))
    with Store.open(tmp_path) as store:
        colour = NewColour(name="\x1b]0;title\x07grey", code="A\r1")
        store.save_check(NewCheck(result=document(1.0, "go"), colour=colour, note="\x1b[2J"))
    assert main(["history", "list"]) == 0
    told = capsys.readouterr().out
    assert "grey" in told
    assert not set(told) & {"\x1b", "\x07", "\r"}


def test_marks_typed_on_the_command_line_give_the_same_answer_as_the_region_file(demo, answers, capsys):
    photo = demo[0]
    marks = json.loads(photo.with_suffix(".json").read_text())
    typed = []
    for region in marks["regions"]:
        place = f"{region['x']},{region['y']},{region['width']},{region['height']}"
        typed += [f"--{region['kind']}", place + (f"@{region['reflectance']}" if region["kind"] == "grey" else "")]
    chosen = ["--finish", marks["finish"], "--junction", marks["junction"]]
    assert _json(capsys, "check", photo, *typed, *chosen, "--json") == answers[0]


def _typed(marks):
    for mark in marks:
        place = f"{mark.x},{mark.y},{mark.width},{mark.height}"
        yield from (f"--{mark.kind}", place if mark.reflectance is None else f"{place}@{mark.reflectance}")


def test_mended_marks_give_the_answer_of_right_ones_and_the_saved_check_carries_them(tmp_path, capsys):
    scene = FlatScene(card=(0.24, 0.11, 0.1), greys=(0.04, 0.18, 0.75))
    photo = tmp_path / "swapped.png"
    photo.write_bytes(scene.png())
    right = scene.marks()
    swapped = {0.04: 0.75, 0.75: 0.04}
    wrong = [dataclasses.replace(m, reflectance=swapped.get(m.reflectance, m.reflectance)) for m in right]
    true = _json(capsys, "check", photo, *_typed(right), "--json")
    said = _json(capsys, "check", photo, *_typed(wrong), "--json")
    assert said["verdict"] == "retake"
    assert main(["check", str(photo), *_typed(wrong)]) == 0
    told = capsys.readouterr().out
    assert told.count(said["reason"]) == 1
    for finding in said["warnings"]:
        assert told.count(finding["text"]) == told.count(finding["remedy"]) == 1
    mended = _json(capsys, "check", photo, *_typed(wrong), "--mend-marks", "--json")
    assert (mended["verdict"], mended["delta_e00"]) == (true["verdict"], true["delta_e00"])
    assert mended["regions"] == true["regions"]
    assert "The marks were mended: the grey region at 65,265 as 4 %" in mended["notes"][-1]


def test_a_persons_word_on_a_doubted_mark_lets_the_figures_stand_and_is_saved_with_it(tmp_path, capsys):
    scene = FlatScene(card=(0.24, 0.11, 0.1), greys=(0.09,))
    photo = tmp_path / "dark-step.png"
    photo.write_bytes(scene.png())
    doubted = _json(capsys, "check", photo, *_typed(scene.marks()), "--json")
    assert doubted["verdict"] == "retake"
    assert not doubted["figures_hold"]
    said = _json(capsys, "check", photo, *_typed(scene.marks()), "--marks-are-right", "--json")
    assert said["figures_hold"]
    assert said["verdict"] != "retake"
    asked = {"asked": ["mark-grey-value"], "of": "grey 65,265,60,60@0.09"}
    assert [region.get("sure") for region in said["regions"]] == [
        asked if region["kind"] == "grey" else None for region in said["regions"]
    ]
    assert said["version"] == 4
    assert "You looked, and say that the grey region at 65,265 is really a grey of 9 %." in said["notes"]
    assert main(["check", str(photo), *_typed(scene.marks())]) == 0
    assert "If you looked, and the marks are right, say so by --marks-are-right." in capsys.readouterr().out
    marks = tmp_path / "marks.json"
    marks.write_text(json.dumps(said))
    plan = _json(capsys, "blend", "--check", marks, "--side", "left:400", "--json")
    (word,) = (line for line in plan["figures"] if line.startswith("The figures rest on somebody's word on the marks"))
    assert "does not look like 9 %" in word
    kept = ["--marks-are-right", "--save", "--data", str(tmp_path), "--colour", "Invented red/X1"]
    assert main(["check", str(photo), *_typed(scene.marks()), *kept]) == 0
    capsys.readouterr()
    (record,) = _json(capsys, "history", "list", "--data", tmp_path, "--json")["items"]
    assert main(["history", "show", record["id"], "--data", str(tmp_path)]) == 0
    assert (
        "Somebody looked, and said that the grey region at 65,265 is really a grey of 9 %." in capsys.readouterr().out
    )
    marks.write_text(json.dumps({"regions": said["regions"]}))
    assert _json(capsys, "check", photo, "--regions", marks, "--json")["verdict"] == said["verdict"]
    marks.write_text(json.dumps(said | {"photo_sha256": "0" * 64}))  # the word was given on another photo
    assert _json(capsys, "check", photo, "--regions", marks, "--json")["verdict"] == "retake"


def test_several_photos_print_one_json_object_a_line(demo, capsys):
    assert main(["check", *map(str, demo[:2]), "--json"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [json.loads(line)["verdict"] for line in lines]
    assert len(lines) == 2


def test_one_bad_photo_is_told_of_and_the_others_are_checked(demo, capsys, tmp_path):
    speck = tmp_path / "speck.png"
    Image.fromarray(np.full((8, 8, 3), 90, np.uint8)).save(speck)
    assert main(["check", str(demo[0]), str(speck), str(tmp_path / "gone.jpg"), str(demo[1]), "--json"]) == 2
    out, err = capsys.readouterr()
    assert len([json.loads(line)["verdict"] for line in out.splitlines()]) == 2
    told = err.splitlines()
    assert told[0].startswith("error: speck.png: ")
    assert "too small to measure" in told[0]
    assert told[1].startswith("error: gone.jpg: there is no such file")
    assert len(told) == 2


def test_a_fault_of_a_photo_s_marks_is_told_with_the_photo_whose_name_is_a_word_of_it(demo, capsys, tmp_path):
    named = [tmp_path / "card.jpg", tmp_path / "grey"]
    for path in named:
        path.write_bytes(demo[0].read_bytes())
    named[0].with_suffix(".json").write_text(json.dumps({"regions": []}))
    named[1].with_suffix(".json").write_text(json.dumps({"regions": [{"kind": "grey", "x": 1}]}))
    assert main(["check", *map(str, named)]) == 2
    for line, path in zip(capsys.readouterr().err.splitlines(), named, strict=True):
        assert line.startswith(f"error: {path.name}: ")


@pytest.mark.parametrize("port", ["eighty", "²", "1", "-5", ""])
def test_a_port_that_is_no_number_is_one_sentence(port, capsys):
    assert main(["app", f"--port={port}"]) == 2
    said = capsys.readouterr().err
    assert said.endswith("is not a port: give a number from 1024 to 65535; see python -m match app --help\n")


def test_plain_output_begins_with_the_verdict_and_its_reason(demo, capsys):
    assert main(["check", str(demo[0])]) == 0
    first = capsys.readouterr().out.splitlines()[0]
    assert first.split(":")[0] in {"GO", "BLEND", "RETINT", "RETAKE"}


def test_a_check_carries_its_room_into_the_verdict(demo, capsys):
    wide = _json(capsys, "check", demo[0], "--side", "left:2500", "--judge", "ordinary", "--json")
    narrow = _json(capsys, "check", demo[0], "--side", "left:20,kept", "--judge", "expert", "--json")
    assert wide["blend"]["sides"][0]["room_mm"] == 2500
    assert wide["thresholds"]["blend_below"] > narrow["thresholds"]["blend_below"]


def test_a_saved_check_can_be_planned_later_with_a_job_sheet(demo, answers, tmp_path, capsys):
    saved = tmp_path / "check.json"
    saved.write_text(json.dumps(answers[0]))
    sheet = tmp_path / "sheet.pdf"
    plan = _json(capsys, "blend", "--check", saved, "--side", "left:400", "--job-sheet", sheet, "--json")
    assert plan["sides"][0]["side"]
    assert sheet.read_bytes().startswith(b"%PDF")
    kept = saved.read_bytes()
    for replace in ([], ["--replace"]):
        assert main(["blend", "--check", str(saved), "--side", "left:400", "--job-sheet", str(saved), *replace]) == 2
        assert main(["sheet", str(sheet), *replace]) == 2, "a job sheet is no capture sheet"
        assert main(["sheet", str(demo[0]), *replace]) == 2
    assert saved.read_bytes() == kept
    assert main(["blend", "--check", str(saved), "--side", "left:400", "--job-sheet", str(sheet)]) == 2
    assert main(["blend", "--check", str(saved), "--side", "left:400", "--job-sheet", str(sheet), "--replace"]) == 0
    capsys.readouterr()


def test_the_demo_writes_over_no_file_of_anybody_s(tmp_path, capsys):
    mine = tmp_path / "1-first-card.jpg"
    mine.write_bytes(b"a photo of mine")
    assert main(["demo", str(tmp_path)]) == 2
    assert mine.read_bytes() == b"a photo of mine"


def test_inches_are_understood_and_printed(capsys):
    assert main(["blend", "--labs", "51.3,.5,-3.4", "50,0,-3", "--side", "left:16", "--unit", "in"]) == 0
    inches = capsys.readouterr().out
    assert " in" in inches
    assert " mm" not in inches.split("Mix the colour")[0]


@pytest.mark.parametrize(
    "arguments",
    [
        ["check"],
        ["check", "missing.jpg"],
        ["check", "{demo}", "--grey", "1,2,3"],
        ["check", "{demo}", "--card", "1,2,30,40"],
        ["check", "{demo}", "--card", "1,2,30,40", "--regions", "x.json"],
        ["check", "{demo}", "--finish", "matt"],
        ["check", "{demo}", "--side", "left"],
        ["check", "{demo}", "--side", "left:400,sky"],
        ["check", "{demo}", "--side", "left:400", "--judge", "nobody"],
        ["check", "{demo}", "--side", "left:400", "--repair", "big"],
        ["blend", "--labs", "1,2", "3,4,5", "--side", "left:400"],
        ["blend", "--labs", "nan,0,0", "50,0,0", "--side", "left:400"],
        ["blend", "--check", "{demo}", "--side", "left:400"],
        ["blend", "--check", "missing.json", "--side", "left:400"],
        ["blend", "--labs", "50,0,0", "50,0,1"],
        ["blend", "--labs", "50,1e308,0", "50,0,1", "--side", "left:400"],
        ["blend", "--labs", "50,nan,0", "50,0,1", "--side", "left:400"],
        ["history", "find", "--like", "50,1e308,0"],
        ["unknown"],
        [],
    ],
)
def test_bad_input_is_one_line_and_exit_code_2(arguments, demo, capsys):
    code = main([argument.format(demo=demo[0]) for argument in arguments])
    captured = capsys.readouterr()
    assert code == 2
    assert captured.out == ""
    assert captured.err.startswith("error: ")
    assert captured.err.count("\n") == 1


def test_help_imports_nothing_heavy():
    code = "import sys; from match.cli import build_parser; build_parser().format_help(); print(*sys.modules)"
    modules = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert not {"numpy", "colour", "cv2", "streamlit", "sqlalchemy", "scipy", "PIL"} & set(modules)


def test_a_command_alone_has_the_name_and_the_arguments_that_it_has_among_all():
    def commands(parser):
        return next(action for action in parser._actions if isinstance(action, argparse._SubParsersAction)).choices

    among_all = commands(build_parser())
    assert list(among_all) == list(COMMANDS)
    for name in COMMANDS:
        alone = commands(build_parser(name))
        assert list(alone) == [name]
        assert alone[name].format_help() == among_all[name].format_help()


def test_every_command_explains_itself():
    def explained(parser):
        for argument in parser._actions:
            if isinstance(argument, argparse._SubParsersAction):
                for name, command in argument.choices.items():
                    assert command.description, name
                    explained(command)
            else:
                assert argument.help, f"{parser.prog} {argument.dest}"

    explained(build_parser())


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """The wheel unpacked, as the checkout's own build tool makes it, or pip with one that it fetches (PEP 517)."""
    root, folder = Path(__file__).parents[2], tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(folder), str(root)]
    if importlib.util.find_spec("hatchling"):
        hook = "import sys; from hatchling.build import build_wheel; build_wheel(sys.argv[1])"
        build = [sys.executable, "-c", hook, str(folder)]
    subprocess.run(build, cwd=root, check=True, capture_output=True)
    (wheel,) = folder.glob("*.whl")
    zipfile.ZipFile(wheel).extractall(folder / "site")
    return folder / "site"


def _outside(site, *arguments):
    """Run Python outside the checkout with what the wheel holds."""
    environment = {"PYTHONPATH": str(site), "PATH": "/usr/bin:/bin", "HOME": str(site.parent)}
    command = [sys.executable, *map(str, arguments)]
    return subprocess.run(command, cwd=site.parent, env=environment, capture_output=True, text=True, check=True)


@pytest.fixture(scope="module")
def checked_outside(site, demo):
    return _outside(site, "-X", "importtime", "-m", "match", "check", demo[0], "--json")


def test_the_wheel_holds_calibration_app_and_page_files_and_works_outside_the_checkout(site, checked_outside):
    for needed in ("match/_calibration/tolerances.toml", "match/ui/marker/region_marker.js", "match/_app.py"):
        assert (site / needed).is_file()
    assert json.loads(checked_outside.stdout)["verdict"]
    code = "import match.calibration as c; from match.commands.app import settings"
    asked = _outside(site, "-c", f"{code}; print(c.shipped_folder(), *settings(), sep='\\n')")
    found, *options = asked.stdout.splitlines()
    assert str(site) in found
    assert {"--server.address=127.0.0.1", "--theme.base=light", "--browser.gatherUsageStats=false"} <= set(options)


def test_a_check_that_saves_nothing_loads_neither_database_nor_the_combining_of_photos(site, checked_outside, demo):
    in_words = _outside(site, "-X", "importtime", "-m", "match", "check", demo[0])
    for checked in (checked_outside, in_words):
        modules = {line.rpartition("|")[2].strip() for line in checked.stderr.splitlines()}
        assert "match.check.verdict" in modules
        assert not {"sqlalchemy", "alembic", "match.several.combine", "scipy.stats"} & modules


def test_a_command_runs_in_one_thread_where_nobody_asks_for_more(monkeypatch):
    monkeypatch.setattr(started, "main", lambda: 0)
    monkeypatch.setitem(sys.modules, "pandas", sys.modules.get("pandas"))
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    monkeypatch.setenv("OMP_NUM_THREADS", "4")
    assert started.start() == 0
    assert (os.environ["OPENBLAS_NUM_THREADS"], os.environ["OMP_NUM_THREADS"]) == ("1", "4")
