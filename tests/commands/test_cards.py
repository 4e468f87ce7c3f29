"""Several cards on the command line: marks with names, the chosen card, and what goes on from it."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from match.cli import main
from match.history.store import Store
from match.photo.regions import Kind
from tests.blend.test_job_sheet_pdf import page_text
from tests.support.synthetic import CardsScene

THREE = CardsScene(((0.24, 0.1, 0.1), (0.21, 0.1, 0.1), (0.17, 0.11, 0.1)))


@pytest.fixture(scope="module")
def photo(tmp_path_factory):
    path = tmp_path_factory.mktemp("cards") / "three.png"
    Image.fromarray(np.rint(THREE.photo().image * 255).astype(np.uint8)).save(path)
    return str(path)


def _marks(names):
    given = []
    for region in THREE.marks(names):
        end = {Kind.GREY: "@0.18", Kind.CARD: f"={region.label}", Kind.VEHICLE: ""}[region.kind]
        given += [f"--{region.kind}", f"{region.x},{region.y},{region.width},{region.height}{end}"]
    return given


MARKS = _marks(("plain", "less white", "more black"))


def _json(capsys, *arguments):
    assert main(list(arguments)) == 0
    return json.loads(capsys.readouterr().out)


@pytest.fixture
def saved(photo, tmp_path, capsys):
    path = tmp_path / "three.json"
    path.write_text(json.dumps(_json(capsys, "check", photo, *MARKS, "--json")))
    return str(path)


def test_every_card_is_told_of_in_the_order_of_the_photo(photo, capsys):
    assert main(["check", photo, *MARKS]) == 0
    lines = [line.strip() for line in capsys.readouterr().out.splitlines()]
    assert "Less white is the nearest to the car; the chance that it is, over 99 %." in lines
    told = [line.split(":")[0] for line in lines if "CIEDE2000, 95 % sure between" in line and "Difference" not in line]
    assert told == ["Plain", "Less white", "More black"]


def test_json_keeps_its_keys_for_the_nearest_card_and_adds_all(saved):
    written = json.loads(Path(saved).read_text())
    assert [card["name"] for card in written["cards"]] == ["plain", "less white", "more black"]
    assert written["card_name"] == "less white"
    assert written["delta_e00"] == written["cards"][1]["delta_e00"]
    assert {"verdict", "delta_e00_interval", "direction", "chance_nearest"} <= written["cards"][0].keys()
    assert [region.get("name") for region in written["regions"] if region["kind"] == "card"] == [
        "plain",
        "less white",
        "more black",
    ]


def test_a_card_is_chosen_by_name(photo, capsys):
    written = _json(capsys, "check", photo, *MARKS, "--card-name", "plain", "--json")
    assert written["card_name"] == "plain"
    assert written["comparison"]["nearest"] == "less white"
    assert main(["check", photo, *MARKS, "--card-name", "gone"]) == 2
    assert "no card is called 'gone' (plain, less white, more black)" in capsys.readouterr().err


def test_planning_and_tinting_go_on_from_the_chosen_card(saved, tmp_path, capsys):
    side = ("--check", saved, "--side", "left:400", "--json")
    nearest, far = (_json(capsys, "blend", *side, *more) for more in ((), ("--card-name", "more black")))
    assert nearest["verdict"] != far["verdict"]
    first = _json(capsys, "tint", "advise", saved, "--card-name", "plain", "--json")
    other = _json(capsys, "tint", "advise", saved, "--card-name", "more black", "--json")
    assert first != other
    log = str(tmp_path / "pot.json")
    assert main(["tint", "advise", saved, "--card-name", "plain", "--log", log]) == 0
    assert json.loads(Path(log).read_text())["start"]["name"].endswith(", plain")
    capsys.readouterr()
    assert main(["tint", "advise", saved, "--card-name", "gone"]) == 2
    assert "holds no card called 'gone': choose one of plain" in capsys.readouterr().err


def test_a_plan_and_its_sheet_say_which_card_they_are_for(saved, tmp_path, capsys):
    sheet = tmp_path / "job.pdf"
    for name in ("less white", "more black"):
        written = ("--job-sheet", str(sheet), "--replace")
        assert main(["blend", "--check", saved, "--side", "left:400", "--card-name", name, *written]) == 0
        assert f"Of several cards, this is {name}." in capsys.readouterr().out
        printed = page_text(sheet.read_bytes())
        lab = next(each["card_lab"] for each in json.loads(Path(saved).read_text())["cards"] if each["name"] == name)
        assert f"Of several cards, this is {name}." in printed
        assert f"card, {name}: L* {lab[0]:.1f}, a* {lab[1]:.1f}, b* {lab[2]:.1f}" in printed


def test_the_history_keeps_every_card(photo, tmp_path, capsys):
    place = str(tmp_path / "history")
    assert (
        main(["check", photo, *MARKS, "--save", "--data", place, "--colour", "Invented red/X1", "--place", "drawer 2"])
        == 0
    )
    with Store.open(place) as store:
        (kept,) = store.find_checks().items
        whole = store.get_check(kept.id)
    assert [card["name"] for card in whole.result["cards"]] == ["plain", "less white", "more black"]
    assert kept.delta_e00 == pytest.approx(whole.result["cards"][1]["delta_e00"])
    capsys.readouterr()
    assert main(["history", "show", kept.id, "--data", place]) == 0
    told = capsys.readouterr().out
    assert "The verdict is that of less white." in told
    assert "nothing noted" not in told
    assert "mix less white; place drawer 2" in told  # so that its label says which card it is for
    for card in whole.result["cards"]:
        low, high = card["delta_e00_interval"]
        size = f"{card['delta_e00']:.1f} ({low:.1f} to {high:.1f})"
        assert f"{card['name'].capitalize()}: {card['verdict']}, {size}" in told


def test_a_set_of_photos_names_the_nearest_card_and_takes_a_chosen_one(photo, tmp_path, capsys):
    second = tmp_path / "again.png"
    again = replace(THREE, seed=2)
    Image.fromarray(np.rint(again.photo().image * 255).astype(np.uint8)).save(second)
    entries = [
        {
            "path": path,
            "role": role,
            "grey": _places(Kind.GREY),
            "card": _places(Kind.CARD),
            "vehicle": _places(Kind.VEHICLE),
        }
        for path, role in ((photo, "first"), (str(second), "repeat"))
    ]
    file = tmp_path / "set.json"
    file.write_text(json.dumps({"photos": entries}))
    nearest = _json(capsys, "set", str(file), "--finish", "solid", "--json")
    assert nearest["card_name"] == nearest["comparison"]["nearest"] == "B"
    assert [card["name"] for card in nearest["cards"]] == ["A", "B", "C"]
    assert len(nearest["photos"]) == 2
    assert _json(capsys, "set", str(file), "--finish", "solid", "--card-name", "C", "--json")["card_name"] == "C"
    entries[1]["card"] = entries[1]["card"][:2]
    file.write_text(json.dumps({"photos": entries}))
    assert main(["set", str(file), "--finish", "solid"]) == 2
    assert "does not show the same cards" in capsys.readouterr().err


def _places(kind):
    regions = [region for region in THREE.marks() if region.kind is kind]
    return [
        f"{r.x},{r.y},{r.width},{r.height}{'@0.18' if kind is Kind.GREY else f'={r.label}' if r.label else ''}"
        for r in regions
    ]
