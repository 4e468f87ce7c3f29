"""The command line and the page give one answer on the same photos: a check, several angles with flake, a chart."""

import json

import numpy as np
import pytest

from match.camera.null_test import NullShot
from match.camera.records_file import change_cameras, records_file
from match.check.verdict import Finish
from match.cli import main
from match.several.photo_set import Angle, PhotoUse
from tests.support.flat_pictures import FIRST, SECOND, fraction, grey_fractions, grey_marks, picture, typed
from tests.ui.test_check import html, opened
from tests.ui.test_coats import coats_page
from tests.ui.test_coats import opened as coats_opened
from tests.ui.test_several import add

CAMERA = "Invented 3"
PAIR = [*grey_fractions(), fraction("card", FIRST), fraction("vehicle", SECOND)]
FIELDS = [*grey_fractions(), fraction("over-black", FIRST), fraction("over-white", SECOND)]
RED, NEAR_RED, DARK_RED = (0.30, 0.08, 0.06), (0.31, 0.085, 0.062), (0.17, 0.042, 0.032)
ANSWER = ("verdict", "reason", "reasons", "advice", "notes", "calibration", "delta_e00", "delta_e00_interval")


@pytest.fixture(autouse=True)
def _tried_camera(tmp_path, monkeypatch):
    """Keep three null tests of the camera, so that its own record counts."""
    monkeypatch.setenv("SPRAYOUT_DATA", str(tmp_path / "shop"))
    for number in range(3):
        shot = NullShot(f"{number}.jpg", np.array([0.4, 0.0, -0.3 * number]), 0.01 * np.eye(3))
        change_cameras(records_file(), lambda kept, key=str(number), shot=shot: kept.with_null(CAMERA, key, shot))


def printed(capsys, *arguments):
    assert main([*map(str, arguments), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def kept(tmp_path, name, content):
    (tmp_path / name).write_bytes(content)
    return tmp_path / name


def marks_typed():
    return [*(part for mark in grey_marks() for part in ("--grey", mark)), "--card", typed(FIRST)]


def test_a_single_check_is_the_same(tmp_path, capsys):
    content = picture(NEAR_RED, RED, camera=CAMERA)
    told = printed(capsys, "check", kept(tmp_path, "shop.png", content), *marks_typed(), "--vehicle", typed(SECOND))
    app = opened(content, PAIR)
    shown = json.loads(json.dumps(app.session_state["session_check"].document()))
    assert any(CAMERA in note for note in told["notes"])
    assert {name: shown[name] for name in ANSWER} == {name: told[name] for name in ANSWER}
    assert [shown[name] for name in ("format", "version", "photo", "photo_sha256", "regions")] == [
        told[name] for name in ("format", "version", "photo", "photo_sha256", "regions")
    ]


def test_several_angles_with_flake_are_the_same(tmp_path, capsys):
    contents = {
        "shop.png": picture(RED, RED, camera=CAMERA),
        "flop.png": picture(DARK_RED, tuple(1.05 * value for value in DARK_RED), camera=CAMERA),
    }
    entries = [
        {"path": name, "angle": angle, "grey": grey_marks(), "card": typed(FIRST), "vehicle": typed(SECOND)}
        for (name, content), angle in zip(contents.items(), ("face", "flop"), strict=True)
        if kept(tmp_path, name, content)
    ]
    listing = kept(tmp_path, "set.json", json.dumps({"photos": entries}).encode())
    told = printed(capsys, "set", listing, "--finish", "metallic")
    app = opened(contents["shop.png"], PAIR)
    app.button_group(key="check_finish").set_value(Finish.METALLIC).run()
    add(app, contents["flop.png"], "flop.png")
    check = app.session_state["session_check"]
    shown = json.loads(json.dumps(check.document()))
    assert [each.use for each in check.together.photos] == [PhotoUse(), PhotoUse(Angle.FLOP)]
    assert shown["together"]["texture"] == told["together"]["texture"]
    assert told["together"]["texture"]["sentences"]
    for name in ANSWER:
        named = json.dumps(shown[name]).replace("Photo 1", "shop.png").replace("Photo 2", "flop.png")
        assert json.loads(named) == told[name], name
    effects = [{**each["together"]["effect"], "findings": []} for each in (shown, told)]
    assert effects[0] == effects[1]
    assert shown["photos"] == told["photos"]
    assert [shown[name] for name in ("photo", "photo_sha256")] == [told[name] for name in ("photo", "photo_sha256")]


def test_a_chart_that_shows_is_the_same(tmp_path, capsys):
    content = picture((0.20, 0.06, 0.05), (0.34, 0.13, 0.11), camera=CAMERA)
    fields = ["--over-black", typed(FIRST), "--over-white", typed(SECOND)]
    photo = kept(tmp_path, "card.png", content)
    told = printed(capsys, "coats", "hiding", photo, *marks_typed()[:-2], *fields, "--coats", "2")
    app = coats_opened(coats_page, "hiding_file", "hiding", content, FIELDS)
    shown = html(app)
    low, high = told["contrast_ratio_interval"]
    assert told["shows"] == "shows"
    assert f"{told['contrast_ratio']:.3f} ({low:.3f} to {high:.3f})" in shown
    low, high = told["field_delta_e00_interval"]
    assert f"{told['field_delta_e00']:.1f} ({low:.1f} to {high:.1f})" in shown
    coats = told["coats"]
    low, high = coats["interval"]
    span = f"more than {low:.1f}" if high is None else f"{low:.1f} to {high:.1f}"
    assert f"{coats['estimate']:.1f} ({span})" in shown
    assert any(CAMERA in note for note in told["notes"])
    assert all(note in shown for note in told["notes"])
