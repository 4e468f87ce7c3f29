"""Hiding, let-down cards and one's own camera on the command line, with flat pictures of known reflectances."""

import json
from dataclasses import dataclass

import numpy as np
import pytest
from coloraide import Color

from match.camera import records_file
from match.camera.null_test import NullShot
from match.camera.own import calibration_for, for_camera, own_camera, trust
from match.camera.rules import load_camera_rules
from match.camera.trust import GreyShot
from match.check.calibration_files import load_calibration
from match.cli import main
from match.errors import EvidenceError, FileError
from tests.support.flat_pictures import FIRST, GREYS, SECOND, grey_marks, picture, typed

GREY_ARGUMENTS = [part for mark in grey_marks() for part in ("--grey", mark)]
RED = (0.30, 0.08, 0.06)
CAMERA = "Invented 3"


@dataclass(frozen=True)
class Photographed:
    """What a photo says of itself."""

    camera: str = CAMERA
    notes: tuple[str, ...] = ()


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("SPRAYOUT_DATA", str(tmp_path / "shop"))


def kept(tmp_path, name, content):
    file = tmp_path / name
    file.write_bytes(content)
    return str(file)


def answered(capsys, *arguments):
    assert main([*map(str, arguments), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def refused(capsys, *arguments):
    assert main([*map(str, arguments)]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("error: ")
    assert captured.err.count("\n") == 1
    return captured.err


def hiding(capsys, photo, *more):
    fields = ["--over-black", typed(FIRST), "--over-white", typed(SECOND)]
    return answered(capsys, "coats", "hiding", photo, *GREY_ARGUMENTS, *fields, *more)


def test_a_card_that_hides_has_the_contrast_ratio_of_complete_hiding(tmp_path, capsys):
    # ISO 6504-3: complete hiding is a luminance over black of at least 0.98 of that over white (from memory)
    answer = hiding(capsys, kept(tmp_path, "card.png", picture(RED, RED)))
    assert answer["shows"] == "no trace seen"
    assert answer["valid_for_match"]
    assert answer["contrast_ratio"] == pytest.approx(1.0, abs=0.02)
    assert answer["coats"] is None


def test_a_card_that_does_not_hide_gives_no_valid_match_and_more_coats(tmp_path, capsys):
    black, white = (0.26, 0.08, 0.06), (0.34, 0.11, 0.08)
    answer = hiding(capsys, kept(tmp_path, "card.png", picture(black, white)), "--coats", "2")
    over = [Color("srgb-linear", colour) for colour in (black, white)]
    ratio = over[0].luminance() / over[1].luminance()  # coloraide
    low, high = answer["contrast_ratio_interval"]
    assert low <= ratio <= high
    low, high = answer["field_delta_e00_interval"]
    assert low <= over[0].delta_e(over[1], method="2000") <= high
    assert answer["shows"] == "shows"
    assert not answer["valid_for_match"]
    assert answer["coats"]["sprayed"] == 2
    assert answer["coats"]["whole"] > 2
    assert "no valid match" in " ".join(answer["sentences"])
    near, far = answer["coats"]["interval"]
    span = f"{near:.1f} to {far:.1f}" if far else f"more than {near:.1f}"
    assert f"(95 % sure: {span})" in answer["sentences"][1]
    assert f"95 % sure between {low:.1f} and {high:.1f}" in answer["sentences"][0]


def test_plain_hiding_begins_with_the_answer_and_ends_with_what_to_do(tmp_path, capsys):
    photo = kept(tmp_path, "card.png", picture((0.1, 0.1, 0.1), (0.2, 0.2, 0.2)))
    fields = ["--over-black", typed(FIRST), "--over-white", typed(SECOND)]
    assert main(["coats", "hiding", photo, *GREY_ARGUMENTS, *fields]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "NOT HIDING: NO VALID MATCH"
    assert "until the chart cannot be seen" in lines[-1]


def test_a_mark_outside_the_photo_is_told_by_what_it_is(tmp_path, capsys):
    photo = kept(tmp_path, "card.png", picture(RED, RED))
    fields = ["--over-black", "650,10,200,100", "--over-white", typed(SECOND)]
    told = refused(capsys, "coats", "hiding", photo, *GREY_ARGUMENTS, *fields)
    assert "the field over black" in told
    assert "outside the photo" in told


def let_down_set(tmp_path, colours, angles=("face",)):
    """Write a set of one photo for each number of mid-coats and angle; the car is what 2.5 coats would give."""
    car = tuple(0.5 * (a + b) for a, b in zip(colours[1], colours[2], strict=True))
    lines = []
    for coats, colour in enumerate(colours, start=1):
        for angle in angles:
            name = f"step-{coats}-{angle}.png"
            kept(tmp_path, name, picture(colour, car, ground=car, grain=coats))
            lines += ["[[photos]]", f'path = "{name}"', f'angle = "{angle}"', f"mid_coats = {coats}"]
            lines += [f'card = "{typed(FIRST)}"', f'vehicle = "{typed(SECOND)}"', f"grey = {json.dumps(grey_marks())}"]
    file = tmp_path / "set.toml"
    file.write_text("\n".join(lines))
    return file


STEPS = [(0.42, 0.13, 0.10), (0.36, 0.10, 0.075), (0.31, 0.08, 0.06), (0.27, 0.066, 0.05)]


def test_a_car_between_two_steps_is_met_between_them(tmp_path, capsys):
    answer = answered(capsys, "coats", "let-down", let_down_set(tmp_path, STEPS))
    low, high = answer["interval"]
    assert low <= 2.5 <= high  # by construction
    assert answer["coats"] == pytest.approx(2.5, abs=0.3)
    assert "a last coat of" in answer["sentences"][0]
    assert not answer["retake"]
    assert list(answer["remaining"]) == ["face"]
    assert answer["thresholds"] == {"go_below": 1.2, "blend_below": 3.0}
    assert answer["limits"] == "Junction, across a panel gap: go up to 1.2, blend up to 3.0."
    left = answer["remaining"]["face"]
    between = "(95 % sure between {:.1f} and {:.1f})".format(*left["delta_e00_interval"])
    assert f"a difference of {left['delta_e00']:.1f} {between}" in answer["sentences"][1]
    assert answer["sentences"][2].startswith("The true difference that is left calls for: go ")


def test_a_set_that_is_no_let_down_card_is_refused_in_one_line(tmp_path, capsys):
    file = let_down_set(tmp_path, STEPS[:3])
    file.write_text("\n".join(line for line in file.read_text().splitlines() if "mid_coats" not in line))
    assert "mid_coats" in refused(capsys, "coats", "let-down", file)
    assert "cannot be read" in refused(capsys, "coats", "let-down", tmp_path / "missing.toml")
    file.write_text("[[photos")
    assert "is not TOML" in refused(capsys, "coats", "let-down", file)


def null(capsys, photo, *more):
    return answered(
        capsys, "camera", "null", photo, *GREY_ARGUMENTS, "--spot", typed(FIRST), "--spot", typed(SECOND), *more
    )


def check(capsys, photo):
    pair = ["--card", typed(FIRST), "--vehicle", typed(SECOND)]
    return answered(capsys, "check", photo, *GREY_ARGUMENTS, *pair)


def test_a_camera_that_errs_by_much_is_poor_and_its_checks_grow_less_sure(tmp_path, capsys):
    checked = kept(tmp_path, "check.png", picture(RED, RED, camera=CAMERA))
    before = check(capsys, checked)
    for grain, error in enumerate((1.05, 0.94, 1.06)):
        off = tuple(error * value for value in RED)
        told = null(capsys, kept(tmp_path, f"null{grain}.png", picture(RED, off, camera=CAMERA, grain=grain)))
    camera = told["cameras"][CAMERA]
    assert camera["grade"] == "poor"
    assert camera["floor"]["shots"] == 3
    assert camera["findings"][0]["code"] == "camera-local"  # lightness alone was made to err
    after = check(capsys, checked)
    assert after["delta_e00_interval"][1] > before["delta_e00_interval"][1]
    assert any(CAMERA in note for note in after["notes"])
    assert not any(CAMERA in note for note in before["notes"])
    assert after["calibration"] != before["calibration"]
    other = check(capsys, kept(tmp_path, "other.png", picture(RED, RED, camera="Another")))
    assert other["calibration"] == before["calibration"]
    assert answered(capsys, "camera", "show")["cameras"][CAMERA] == camera


def test_the_same_photo_counts_once(tmp_path, capsys):
    photo = kept(tmp_path, "null.png", picture(RED, RED, camera=CAMERA))
    null(capsys, photo)
    assert null(capsys, photo)["cameras"][CAMERA]["floor"]["shots"] == 1


def test_grey_steps_of_a_flat_camera_ask_for_more_contrast(tmp_path, capsys):
    # a camera that writes light to the power 0.8 needs 1 / 0.8 = 1.25 more contrast
    greys = {reflectance**0.8: corner for reflectance, corner in GREYS.items()}
    told = None
    for grain in range(5):  # so unusual a contrast is believed after a few photos, not after one
        photo = kept(tmp_path, f"greys{grain}.png", picture(RED, RED, camera=CAMERA, grain=grain, greys=greys))
        told = answered(capsys, "camera", "greys", photo, *GREY_ARGUMENTS)["cameras"][CAMERA]
    assert told["floor"] is None
    tone = told["tone"]
    assert abs(tone["slope_mean"] - 1.25) <= 1.96 * tone["slope_sd"]
    assert tone["slope_sd"] < load_calibration().camera.tone.slope_sd


def test_a_photo_that_names_no_camera_is_in_no_record_and_is_measured_by_none(tmp_path, capsys):
    named, nameless = (picture(RED, RED, camera=camera) for camera in (CAMERA, None))
    null(capsys, kept(tmp_path, "null.png", named))
    photo, spots = kept(tmp_path, "passed-on.png", nameless), ["--spot", typed(FIRST), "--spot", typed(SECOND)]
    for part, marks in (("null", [*GREY_ARGUMENTS, *spots]), ("greys", GREY_ARGUMENTS)):
        assert "does not say which camera" in refused(capsys, "camera", part, photo, *marks)
    assert list(answered(capsys, "camera", "show")["cameras"]) == [CAMERA]
    assert not any(CAMERA in note for note in check(capsys, photo)["notes"])
    assert any(CAMERA in note for note in check(capsys, kept(tmp_path, "own.png", named))["notes"])


def test_what_is_no_null_test_is_not_kept(tmp_path, capsys):
    spots = ["--spot", typed(FIRST), "--spot", typed(SECOND)]
    far = kept(tmp_path, "far.png", picture(RED, (0.05, 0.3, 0.4), camera=CAMERA))
    assert "same panel" in refused(capsys, "camera", "null", far, *GREY_ARGUMENTS, *spots)
    burnt = kept(tmp_path, "burnt.png", picture((1.2, 1.2, 1.2), (1.2, 1.2, 1.2), camera=CAMERA))
    assert "burnt out" in refused(capsys, "camera", "null", burnt, *GREY_ARGUMENTS, *spots)
    assert "twice" in refused(capsys, "camera", "null", far, *GREY_ARGUMENTS, *spots[:2])
    assert "at least 3" in refused(capsys, "camera", "greys", far, *GREY_ARGUMENTS[:4])
    assert answered(capsys, "camera", "show") == {"cameras": {}}


def _with_shots(count):
    cameras = records_file.Cameras()
    for number in range(count):
        shot = NullShot(f"{number}.jpg", np.array([0.1, 0.0, -0.1 * number]), 0.01 * np.eye(3))
        cameras = cameras.with_null(CAMERA, str(number), shot)
    return cameras


def test_records_come_back_as_they_were_written_and_leave_no_other_file(tmp_path):
    file = tmp_path / "shop" / "cameras.json"
    assert records_file.read_cameras(file) == records_file.Cameras()
    for count in (1, 3):
        records_file.change_cameras(file, lambda _, count=count: _with_shots(count))
    read = records_file.read_cameras(file)
    assert list(read.by_name[CAMERA].nulls) == ["0", "1", "2"]
    assert read.by_name[CAMERA].nulls["2"].difference.tolist() == [0.1, 0.0, -0.2]
    assert sorted(path.name for path in file.parent.iterdir()) == ["cameras.json"]


def test_the_last_shot_taken_out_takes_its_camera_out():
    assert records_file.Cameras().without(CAMERA, "0") == records_file.Cameras()
    assert list(_with_shots(2).without(CAMERA, "0").by_name[CAMERA].nulls) == ["1"]
    assert _with_shots(1).without(CAMERA, "0").by_name == {}


@pytest.mark.parametrize(
    "content", ["{", "[]", '{"format": 2}', '{"format": 1, "unnamed": null, "cameras": {"a": {}}}']
)
def test_damaged_records_are_said_and_a_check_goes_on_without_them(tmp_path, content):
    file = tmp_path / "shop" / "cameras.json"
    file.parent.mkdir()
    file.write_text(content)
    with pytest.raises((EvidenceError, FileError), match=r"damaged|not JSON"):
        records_file.read_cameras(file)
    usual = load_calibration()
    own = calibration_for(Photographed(), usual)
    assert own.calibration == usual
    assert "was not used" in own.notes[0]


def test_a_camera_not_tried_out_is_checked_as_any_camera():
    usual = load_calibration()
    assert own_camera(usual, "Another", _with_shots(1), load_camera_rules()).calibration is usual
    assert own_camera(usual, None, _with_shots(1), load_camera_rules()).notes == ()


def test_the_floor_and_nothing_else_takes_the_place_of_the_usual_one():
    usual = load_calibration()
    judged = trust(_with_shots(3).by_name[CAMERA], usual, load_camera_rules())
    own = for_camera(usual, judged)
    assert own.camera.errors.pair_floor == judged.floor.floor_sd
    assert own.camera.tone == usual.camera.tone
    assert own.tolerances == usual.tolerances


def test_one_photo_of_grey_steps_alone_does_not_change_a_check():
    usual, rules = load_calibration(), load_camera_rules()
    cameras = records_file.Cameras()
    for count in (1, 2):
        cameras = cameras.with_greys(CAMERA, str(count), GreyShot(f"{count}.jpg", 1.2, 0.03, 1.0))
        own = own_camera(usual, CAMERA, cameras, rules)
        assert bool(own.notes) == (count == 2)
    assert own.calibration.camera.tone.slope_mean > usual.camera.tone.slope_mean
    assert own.calibration.camera.errors == usual.camera.errors


def test_a_data_folder_that_cannot_be_one_does_not_stop_a_check(tmp_path):
    (tmp_path / "shop").write_text("a file where the folder should be")
    usual = load_calibration()
    assert calibration_for(Photographed(), usual).calibration is usual
