"""Named parts on the command line: marked, printed, saved, and planned with at their side."""

import json

import numpy as np
import pytest
from PIL import Image

from match.cli import main
from match.photo.regions import Kind
from tests.support.synthetic import FlatScene

SCENE = FlatScene(
    card=(0.205, 0.1, 0.1), vehicle=(0.2, 0.1, 0.1), greys=(0.18, 0.6), size=(640, 360), part=(0.235, 0.118, 0.11)
)
ROOM = ["--side", "left:400", "--side", "right:300,other,part=Front bumper"]


def _marks():
    given = []
    for region in (*SCENE.marks(), SCENE.part_mark("Front bumper")):
        end = f"@{region.reflectance}" if region.kind is Kind.GREY else f"={region.label}" if region.label else ""
        given += [f"--{region.kind}", f"{region.x},{region.y},{region.width},{region.height}{end}"]
    return given


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("parts")
    Image.fromarray(np.rint(SCENE.photo().image * 255).astype(np.uint8)).save(path / "shop.png")
    return path


@pytest.fixture(autouse=True)
def here(folder, monkeypatch):
    monkeypatch.chdir(folder)


def test_a_part_is_printed_saved_and_planned_with(folder, capsys):
    assert main(["check", "shop.png", *_marks()]) == 0
    assert "Part: The Front bumper already differs from the car by" in capsys.readouterr().out
    assert main(["check", "shop.png", *_marks(), *ROOM, "--json"]) == 0
    at_once = capsys.readouterr().out
    (folder / "shop.json").write_text(at_once, encoding="utf-8")
    assert main(["blend", "--check", "shop.json", *ROOM, "--json"]) == 0
    (planned,) = json.loads(capsys.readouterr().out)["parts"]
    assert planned["name"] == "Front bumper"
    assert not planned["may_meet"]
    # the check that planned at once found the same
    assert json.loads(at_once)["blend"]["parts"][0]["passes_probability"] == pytest.approx(
        planned["passes_probability"], abs=0.01
    )
    assert main(["blend", "--check", "shop.json", *ROOM]) == 0
    told = capsys.readouterr().out
    assert "The Front bumper already differs from the panel by" in told
    assert "the fade ends before it" in told


def test_a_kept_panel_is_held_to_a_part_of_the_photo_that_is_named_beside_it(folder, capsys):
    panel = ["--panel", "door", "--side", "right:300,other"]
    kept = ["--keep-panel", "door", "--colour", "Slate", "--data", str(folder / "data")]
    assert main(["blend", "--check", "shop.json", *panel, *kept, "--json"]) == 0
    told = capsys.readouterr()
    assert json.loads(told.out).get("parts", []) == []
    again = ["--panel-of", told.err.split(" as ")[1].split()[0], "--data", str(folder / "data")]
    assert main(["blend", "--check", "shop.json", *again, "--part", "right,Front bumper", "--json"]) == 0
    (planned,) = json.loads(capsys.readouterr().out)["parts"]
    assert (planned["name"], planned["side"], planned["may_meet"]) == ("Front bumper", "right", False)


@pytest.mark.parametrize(
    ("part", "said"),
    [
        (["right,door"], "'door' is given to the right, and the check holds Front bumper"),
        (["up,Front bumper"], "the part Front bumper lies upwards, and no room is given there"),
        (["right,Front bumper", "right,door"], "two parts lie in the same direction"),
        (["right"], "is not SIDE,NAME=FILE"),
    ],
)
def test_a_part_named_beside_no_such_side_is_one_sentence(part, said, capsys):
    given = [word for text in part for word in ("--part", text)]
    assert main(["blend", "--check", "shop.json", "--side", "right:300,other", *given]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("side", "said"),
    [
        ("right:300,other,part=door", "'door' is given to the right, and the check holds Front bumper"),
        ("right:300,open,part=Front bumper", "ends at no part that keeps its colour"),
    ],
)
def test_a_part_that_cannot_lie_there_is_one_sentence(side, said, capsys):
    assert main(["blend", "--check", "shop.json", "--side", side]) == 2
    assert said in capsys.readouterr().err
