"""No command reaches out to another machine, and no module does so when it is imported."""

import subprocess
import sys

import pytest

from tests.support.watching import environment

EVERY_COMMAND = """
import dataclasses, importlib, io, json, pathlib, pkgutil, sys
from contextlib import redirect_stdout
from PIL import ExifTags, Image
import match
for module in pkgutil.walk_packages(match.__path__, "match."):
    if module.name not in ("match.__main__", "match.ui.main", "match._app") and ".versions." not in module.name \
            and not module.name.endswith("migrations.env"):
        importlib.import_module(module.name)
from match.cli import main
from match.demo import photos
from match.history.place import history_place
from match.history.records import NewCard, NewCheck, NewColour
from match.history.store import Store

def run(*arguments):
    print("$", *arguments, flush=True)
    with redirect_stdout(io.StringIO()) as said:
        assert main(list(arguments)) in (0, 1), arguments
    return said.getvalue()

def place(mark):
    return "{x},{y},{width},{height}".format(**mark)

# as many as are looked at below, and small: a whole one takes most of a second
few = list(photos._scenes().items())[:2]
scenes = {name: (dataclasses.replace(scene, size_px=(800, 600)), about) for name, (scene, about) in few}
photos._scenes = lambda: scenes
run("demo", "photos")
photo, other = map(str, sorted(pathlib.Path("photos").glob("*.jpg"))[:2])
marks = json.loads(pathlib.Path(photo).with_suffix(".json").read_text())["regions"]
greys = [f"{place(mark)}@{mark['reflectance']}" for mark in marks if mark["kind"] == "grey"]
card, *car = [place(mark) for mark in marks if mark["kind"] != "grey"]
whole = next(mark for mark in marks if mark["kind"] == "card")
middle = whole["width"] // 2
half = [place({**whole, "width": middle - 10}), place({**whole, "x": whole["x"] + middle, "width": middle})]
grey = [part for each in greys for part in ("--grey", each)]
cars = [part for each in car for part in ("--vehicle", each)]
entry = {"path": photo, "grey": greys, "card": card, "vehicle": car}
again = {**entry, "path": other, "role": "repeat"}
pathlib.Path("set.json").write_text(json.dumps({"photos": [entry, again]}))
steps = [{**entry, "mid_coats": 1}, {**again, "role": "first", "mid_coats": 2}]
pathlib.Path("steps.json").write_text(json.dumps({"photos": steps}))
pathlib.Path("check.json").write_text(run("check", photo, "--save", "--json"))
pathlib.Path("list.csv").write_text("name,like\\nMy black,black\\n")

run("check", photo, *grey, *cars, "--card", half[0] + "=one", "--card", half[1] + "=two")
run("set", "set.json", "--finish", "solid")
run("coats", "hiding", photo, *grey, "--over-black", half[0], "--over-white", half[1])
run("coats", "let-down", "steps.json")
with Image.open(photo) as taken:
    facts = Image.Exif()
    facts[ExifTags.Base.Model] = "invented"
    taken.save("named.jpg", quality=95, exif=facts)
run("camera", "null", "named.jpg", *grey, "--spot", car[0], "--spot", car[1])
run("camera", "greys", "named.jpg", *grey)
run("camera", "show")
run("tint", "advise", "check.json", "--pot", "100", "--log", "pot.json")
run("tint", "advise", "check.json", "--formula", "white=60,black=3,violet=2", "--mix", "250", "--log", "mix.json")
run("tint", "toners", "--read", "list.csv")
run("blend", "--check", "check.json", "--side", "left:400", "--job-sheet", "job.pdf", "--booth", "booth.html")
run("sheet", "sheet.pdf")
run("history", "list")
run("history", "verify")
run("history", "export", "all.zip")
run("history", "backup", "backup.zip")
run("history", "import", "all.zip")
run("history", "csv", "checks.csv")
run("history", "where")
run("history", "clear-leftovers")
run("history", "keep-pot", "mix.json", "--colour", "invented/1")
with Store.open(history_place()) as store:
    result = json.loads(pathlib.Path("check.json").read_text())
    kept = store.save_check(NewCheck(result=result, colour=NewColour(code="A 1"), card=NewCard(mix="first")))
run("history", "labels", kept.id, "--out", "labels.pdf")
run("history", "restore", "backup.zip", "--data", "again")
"""


def test_no_command_and_no_import_looks_up_or_connects_to_anything(tmp_path):
    log = tmp_path / "attempts.log"
    own = {"SPRAYOUT_DATA": str(tmp_path / "data"), "SPRAYOUT_CALIBRATION": str(tmp_path / "own")}
    ran = subprocess.run(
        [sys.executable, "-c", EVERY_COMMAND],
        cwd=tmp_path,
        env=environment(log, **own),
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout[-2000:] + ran.stderr[-4000:]
    assert log.read_text(encoding="utf-8") == ""


@pytest.mark.parametrize(
    "attempt",
    [
        "socket.getaddrinfo('name.invalid', 80)",
        "socket.gethostbyname('name.invalid')",
        "socket.socket(socket.AF_INET, socket.SOCK_DGRAM).connect(('192.0.2.1', 9))",
        "socket.socket(socket.AF_INET, socket.SOCK_DGRAM).sendto(b'', ('192.0.2.1', 9))",
    ],
)
def test_the_watch_sees_every_kind_of_attempt(tmp_path, attempt):
    """RFC 2606 keeps names under ``invalid``, RFC 5737 the addresses 192.0.2.x, from ever belonging to anybody."""
    log = tmp_path / "attempts.log"
    subprocess.run(
        [sys.executable, "-c", f"import socket; {attempt}"], env=environment(log), capture_output=True, check=False
    )
    assert log.read_text(encoding="utf-8").count("\n") == 1
