"""Several photos in one call: a metallic that matches face-on but not at the flop is refused for that reason."""

import io
import json
from contextlib import redirect_stdout
from dataclasses import replace

import numpy as np
import pytest

from match import calibration as files
from match.cli import main
from match.demo.scene.description import Camera, Paint, Scene
from match.demo.scene.encode import encode
from match.demo.scene.render import render
from match.demo.scene.settings import SceneFile
from match.photo.region_table import region_table
from match.tint.pigment import TonerFile
from tests.support.synthetic import FlatScene

SILVER = Paint((("white", 100.0), ("black", 2.0)), true_delta_e00=0.0, finish="metallic", flop=1.0, flake_sd=0.06)
ANGLES = {"near-glare": 25.0, "face": 45.0, "flop": 95.0}


def _text(region):
    place = f"{region['x']},{region['y']},{region['width']},{region['height']}"
    return place + (f"@{region['reflectance']}" if "reflectance" in region else "")


def _write_set(folder, card_flop_ratio):
    """Photograph the same pair from three angles; the camera's exposure follows, so the grey is never burnt out."""
    scene_file, toners = files.load(SceneFile, "scene"), files.load(TonerFile, "toners")
    entries = []
    for number, (angle, degrees) in enumerate(ANGLES.items()):
        paint = replace(SILVER, view_angle_deg=degrees, card_flop_ratio=card_flop_ratio)
        if degrees == 45.0:
            paint = replace(paint, true_delta_e00=0.0)
        scene = Scene(paint, camera=Camera(exposure_ev=-1.0), greys=(0.04, 0.18, 0.6), size_px=(800, 600), seed=7)
        rendering = render(scene, toners, scene_file.physics)
        name = f"{number}.png"
        (folder / name).write_bytes(encode(rendering, "PNG"))
        marks = [region_table(each) for each in rendering.regions]
        entry = {"path": name, "angle": angle}
        entry["grey"] = [_text(mark) for mark in marks if mark["kind"] == "grey"]
        entry["card"] = next(_text(mark) for mark in marks if mark["kind"] == "card")
        entry["vehicle"] = [_text(mark) for mark in marks if mark["kind"] == "vehicle"]
        entries.append(entry)
    listing = folder / "photos.json"
    listing.write_text(json.dumps({"photos": entries}))
    return listing


def test_a_persons_word_on_the_marks_of_a_set_lets_its_figures_stand(capsys, tmp_path):
    entries = []
    for number, card in enumerate(((0.24, 0.11, 0.1), (0.241, 0.11, 0.1))):
        scene = FlatScene(card=card, greys=(0.09,))
        (tmp_path / f"{number}.png").write_bytes(scene.png())
        marks = [region_table(each) for each in scene.marks()]
        texts = {kind: [_text(mark) for mark in marks if mark["kind"] == kind] for kind in ("grey", "card", "vehicle")}
        entries.append({"path": f"{number}.png", "role": "repeat" if number else "first", **texts})
    listing = tmp_path / "photos.json"
    listing.write_text(json.dumps({"photos": entries}))
    assert _run(listing, capsys, "--finish", "solid")["verdict"] == "retake"
    said = _run(listing, capsys, "--finish", "solid", "--marks-are-right")
    assert said["verdict"] != "retake"
    told = [f"You looked, and say that the grey region at 65,265 in {n}.png is really a grey of 9 %." for n in (0, 1)]
    assert [note for note in said["notes"] if note.startswith("You looked")] == told
    kept = {"asked": "mark-grey-value", "of": ["grey 65,265,60,60@9%"]}
    listing.write_text(json.dumps({"photos": [{**entry, "sure": [kept]} for entry in entries]}))
    again = _run(listing, capsys, "--finish", "solid")
    assert (again["verdict"], again["delta_e00_interval"]) == (said["verdict"], said["delta_e00_interval"])
    assert [mark.get("sure") for mark in again["photos"][1]["regions"]].count(None) == 3


@pytest.fixture(scope="module")
def sets(tmp_path_factory):
    same, other = tmp_path_factory.mktemp("same"), tmp_path_factory.mktemp("other")
    return _write_set(same, 1.0), _write_set(other, 1.25)


@pytest.fixture(scope="module")
def same(sets):
    """The answer to the set of one paint from one gun."""
    said = io.StringIO()
    with redirect_stdout(said):
        assert main(["set", str(sets[0]), "--json"]) == 0
    return json.loads(said.getvalue())


def _run(listing, capsys, *options):
    assert main(["set", str(listing), "--json", *options]) == 0
    return json.loads(capsys.readouterr().out)


def test_a_metallic_off_at_the_flop_is_not_go_and_the_flop_is_named(sets, capsys):
    result = _run(sets[1], capsys)
    assert result["verdict"] != "go"
    angles = result["together"]["effect"]["angles"]
    face, flop = angles["face"]["delta_e00"], angles["flop"]["delta_e00"]
    assert flop > face
    assert result["together"]["effect"]["worst_angle"] != "face"


def test_a_set_gives_its_difference_as_a_check_does_and_the_angle_that_it_is_of(same):
    low, high = same["delta_e00_interval"]
    where = same["together"]["effect"]["worst_angle"]
    told = f"Difference {same['delta_e00']:.2f} CIEDE2000, 95 % sure between {low:.2f} and {high:.2f}, "
    assert same["reasons"][0].startswith(told)
    assert where.split("-")[0] in same["reasons"][0]


def test_all_three_angles_are_measured_and_named(same):
    assert set(same["together"]["angles"]) == set(ANGLES)
    assert same["together"]["effect"]["missing_angles"] == []
    sizes = [angle["delta_e00"] for angle in same["together"]["angles"].values()]
    assert np.max(sizes) < 1.5  # the same paint from the same gun


def test_without_the_flop_a_metallic_is_never_go(sets, capsys, tmp_path):
    listing = json.loads(sets[0].read_text())
    for entry in listing["photos"]:
        entry["path"] = str(sets[0].parent / entry["path"])
    listing["photos"] = [entry for entry in listing["photos"] if entry["angle"] == "face"]
    only_face = tmp_path / "face.json"
    only_face.write_text(json.dumps(listing))
    result = _run(only_face, capsys)
    assert result["verdict"] in ("blend", "retake")  # what the face-on pair alone calls for, short of go
    assert "flop" in json.dumps(result["warnings"])


def _with_angles(listing, folder, angles):
    """Write the set again in a folder of its own, its photos called by other angles, or by none."""
    listed = json.loads(listing.read_text())
    for entry in listed["photos"]:
        entry["path"] = str(listing.parent / entry["path"])
        called = angles.get(entry.pop("angle"))
        if called:
            entry["angle"] = called
    other = folder / "other.json"
    other.write_text(json.dumps(listed))
    return other


def test_a_photo_of_a_metallic_that_does_not_say_its_angle_is_asked_for_it(sets, capsys, tmp_path):
    unsaid = _with_angles(sets[0], tmp_path, {"face": "face", "near-glare": "near-glare"})
    assert main(["set", str(unsaid)]) == 2
    error = capsys.readouterr().err
    assert "2.png does not say from where it was taken" in error
    assert "near-glare, face, flop" in error


def test_face_and_flop_called_by_each_others_name_are_found_and_exchanged(sets, same, capsys, tmp_path):
    swapped = _with_angles(sets[0], tmp_path, {"face": "flop", "flop": "face", "near-glare": "near-glare"})
    found = _run(swapped, capsys)
    assert found["verdict"] == "retake"
    told = next(each for each in found["warnings"] if each["code"] == "angles-swapped")
    assert "1.png, called flop, than in" in told["text"]
    assert "2.png, called face-on: the two look swapped" in told["text"]
    mended = _run(swapped, capsys, "--mend-angles")
    assert mended["delta_e00"] == same["delta_e00"]
    assert mended["verdict"] == same["verdict"]
    assert any("were exchanged" in note for note in mended["notes"])


@pytest.mark.parametrize("text", ["", "{}", '{"photos": []}', '{"photos": [{"path": "none.jpg"}]}', "\xff"])
def test_a_bad_set_file_is_one_line(tmp_path, capsys, text):
    listing = tmp_path / "set.json"
    listing.write_bytes(text.encode("latin-1"))
    assert main(["set", str(listing)]) == 2
    error = capsys.readouterr().err
    assert error.startswith("error: ")
    assert error.count("\n") == 1
