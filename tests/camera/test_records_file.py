"""A camera's records are read as they were written, and figures that no camera has are refused."""

import json

import numpy as np
import pytest

from match.camera.null_test import NullShot
from match.camera.records_file import Cameras, change_cameras, read_cameras
from match.camera.trust import GreyShot
from match.errors import EvidenceError


def kept(folder):
    """Write a file with one null test and one photo of greys; return it and its parsed content."""
    file = folder / "cameras.json"
    null = NullShot("a.jpg", np.array([0.1, -0.2, 0.3]), np.diag([0.04, 0.01, 0.01]))
    records = Cameras().with_null("my phone", "aa", null).with_greys("my phone", "bb", GreyShot("b.jpg", 0.95, 0.1, 1))
    change_cameras(file, lambda _: records)
    return file, json.loads(file.read_text(encoding="utf-8"))


def test_records_come_back_as_they_were_written(tmp_path):
    file, _ = kept(tmp_path)
    camera = read_cameras(file).by_name["my phone"]
    assert camera.nulls["aa"].difference.tolist() == [0.1, -0.2, 0.3]
    assert camera.greys["bb"] == GreyShot("b.jpg", 0.95, 0.1, 1)


@pytest.mark.parametrize(
    ("kind", "key", "value"),
    [
        ("nulls", "difference", [1e308, 0, 0]),
        ("nulls", "difference", [1e200, -1e200, 0]),
        ("nulls", "covariance", [[1e300, 0, 0], [0, 1, 0], [0, 0, 1]]),
        ("nulls", "covariance", [[-1, 0, 0], [0, 1, 0], [0, 0, 1]]),
        ("nulls", "covariance", [[1, 9, 0], [0, 1, 0], [0, 0, 1]]),
        ("greys", "slope", 1e308),
        ("greys", "slope", -1),
        ("greys", "slope_sd", 1e300),
        ("greys", "misfit", -3),
    ],
)
def test_figures_that_no_camera_has_are_refused(tmp_path, kind, key, value):
    """Once an error "of about nan … which is good" was read from such a file."""
    file, parsed = kept(tmp_path)
    parsed["cameras"]["my phone"][kind][0][key] = value
    file.write_text(json.dumps(parsed), encoding="utf-8")
    with pytest.raises(EvidenceError, match="is damaged"):
        read_cameras(file)
