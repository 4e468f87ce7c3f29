"""Kept panels: what was described comes back the same, with its colour and car, through exports old and new."""

import json
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from match.blend.panel import Around, Panel
from match.blend.panel_record import panel_as_record, panel_from
from match.blend.sides import Direction, End, NextPanel, Spot
from match.cli import main
from match.errors import PlanError, StoreError
from match.history.filing import delete_if_empty
from match.history.records import NewColour, NewJob, NewPanel
from match.history.store import Store
from tests.history.test_archive import repacked, set_manifest
from tests.history.test_support import open_store

DOOR = Panel(
    "door",
    1100.0,
    640.5,
    (Spot(100.0, 200.0, 120.0, 80.0), Spot(700.0, 250.0, 60.0, 60.0)),
    (
        Around(Direction.LEFT, 140.0, End.NEXT_PANEL, next_panel=NextPanel(500.0, lines_mm=(90.0,)), lines_mm=(50.0,)),
        Around(Direction.UP, end=End.KEPT_PART, car_colour_beyond=False, label="to the window"),
        Around(Direction.DOWN, end=End.NO_EDGE, break_mm=700.0),
    ),
)
RECORD = panel_as_record(DOOR)


def new(**rest: Any) -> NewPanel:
    return NewPanel(**{"colour": NewColour(name="Harbour Slate"), "name": "front door", "described": RECORD} | rest)


def test_a_panel_read_from_its_own_record_is_the_same_also_by_way_of_json() -> None:
    assert panel_from(json.loads(json.dumps(RECORD))) == DOOR


@pytest.mark.parametrize(
    ("broken", "says"),
    [
        ([], "does not have the fields"),
        (RECORD | {"width_mm": -1.0}, "the width of the panel is no length"),
        (RECORD | {"height_mm": True}, "no length"),
        (RECORD | {"height_mm": float("nan")}, "no length"),
        (RECORD | {"repairs": []}, "no repair"),
        (RECORD | {"repairs": RECORD["repairs"] * 4}, "no list of at most 6"),
        (RECORD | {"repairs": [{"left_mm": 1.0}]}, "a repair of the panel does not have the fields"),
        (RECORD | {"sides": [RECORD["sides"][0] | {"side": "inwards"}]}, "not one of left, right, up, down"),
        (RECORD | {"sides": RECORD["sides"][:1] * 2}, "twice"),
        (RECORD | {"sides": [RECORD["sides"][0] | {"next_panel": 3}]}, "next panel does not have the fields"),
        (RECORD | {"shape": "d" * 300}, "no text of at most"),
    ],
)
def test_what_is_no_panel_is_refused_in_one_sentence(broken: Any, says: str, tmp_path: Path) -> None:
    with pytest.raises(PlanError, match=says):
        panel_from(broken)
    with open_store(tmp_path / "data") as store:
        with pytest.raises(StoreError, match=says):
            store.add_panel(new(described=broken))
        assert store.find_colours().total == 0  # the colour that came with it is not kept either


def test_a_panel_is_kept_with_a_new_colour_and_car_or_with_none_of_them(store: Store) -> None:
    kept = store.add_panel(new(job=NewJob(car="small estate")))
    assert panel_from(kept.described) == DOOR
    assert store.get_job(str(kept.job)).car == "small estate"
    assert store.timeline(str(kept.colour)).panels == (kept,)
    with pytest.raises(StoreError, match="no name"):
        store.add_panel(new(name=" "))
    with pytest.raises(StoreError, match="no job"):
        store.add_panel(new(job="0" * 32))
    assert store.find_colours().total == 1  # neither refusal left its new colour behind
    later = store.add_panel(new(colour=str(kept.colour), name="other door"))
    assert [each.name for each in store.newest_panels(5)[0]] == ["other door", "front door"]
    renamed = store.edit(replace(later, name="rear door"))
    assert (renamed.name, renamed.version) == ("rear door", 2)
    assert store.verify().sound


def test_a_panel_goes_and_comes_back_with_its_colour(store: Store) -> None:
    kept = store.add_panel(new())
    colour = str(kept.colour)
    delete_if_empty(store, colour)
    assert store.get_colour(colour).deleted_at is None  # a panel is something
    store.delete(colour)
    assert store.newest_panels(5) == ((), ())
    store.undelete(colour)
    store.delete(kept.id)
    assert [(each.kind, each.title) for each in store.deleted()] == [("panel", "front door")]
    store.undelete(kept.id)
    assert store.newest_panels(5) == ((kept,), ())


def test_an_export_and_a_backup_carry_panels_and_older_exports_without_them_still_open(tmp_path: Path) -> None:
    with open_store(tmp_path / "data") as store:
        kept = store.add_panel(new(job=NewJob(car="small estate")))
        store.export_archive(tmp_path / "all.zip")
        store.back_up(tmp_path / "backup.zip")
    for number, archive in enumerate(("all.zip", "backup.zip")):
        with Store.restore(tmp_path / archive, tmp_path / f"new{number}") as restored:
            assert restored.get_panel(kept.id) == kept
            assert restored.verify().sound

    def as_before(parts: dict[str, bytes]) -> None:
        parts.pop("tables/panel.jsonl")
        tables = json.loads(parts["manifest.json"])["tables"]
        set_manifest(parts, format_version=2, tables={name: each for name, each in tables.items() if name != "panel"})

    earlier = repacked(tmp_path / "all.zip", tmp_path / "earlier.zip", as_before)
    with Store.restore(earlier, tmp_path / "earlier") as restored:
        assert restored.find_colours().total == 1
        assert restored.newest_panels(5) == ((), ())
    with zipfile.ZipFile(tmp_path / "all.zip") as packed:
        assert json.loads(packed.read("tables/panel.jsonl"))["described"] == RECORD


def test_the_command_keeps_the_panel_of_a_plan_and_plans_on_it_again(tmp_path: Path, capsys: Any) -> None:
    data = ["--data", str(tmp_path / "data")]
    blend = ["blend", "--labs", "43.3,5.3,-30.7", "42,5,-31", "--json", *data]
    panel = ["--panel", "door", "--repair", "100x80@100,300", "--repair", "60x60@700,250", "--side", "left:80,kept"]
    keep = ["--keep-panel", "front door", "--colour", "Harbour Slate/HS-1", "--car", "small estate"]
    assert main([*blend, *panel, *keep]) == 0
    first = capsys.readouterr()
    kept = first.err.split(" as ")[1].split()[0]
    assert main([*blend, "--panel-of", kept]) == 0
    assert json.loads(capsys.readouterr().out) == json.loads(first.out)
    assert main(["history", "show", kept, *data]) == 0
    assert "front door: door, 1000 mm by 650 mm, 2 repairs." in capsys.readouterr().out
    for arguments, says in (
        ([*blend, "--panel-of", kept, "--repair", "9x9"], "leave out --repair"),
        ([*blend, "--panel-of", "0" * 32], "there is no panel"),
        ([*blend, *panel, *keep[:2]], "add --colour"),
        ([*blend, *panel, *keep[2:]], "none is kept"),
        ([*blend, "--side", "left:80", *keep], "describe one with --panel"),
    ):
        assert main(arguments) == 2
        assert says in capsys.readouterr().err
