"""What is let in as a photo: no bomb is unpacked, nothing that never ends is waited for, and a search stays small."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image

from match.errors import PhotoError
from match.photo.limits import check_picture, photo_limits
from match.photo.load import Photo, load
from tests.support.bombs import BOMBS
from tests.support.bounded import bounded
from tests.support.photo_files import DISPLAY_P3, SMALL, encoded, heic, matrix_profile, tiff, to_codes

MOST_SECONDS, MOST_MB = 2.0, 300.0


@pytest.fixture(scope="module", autouse=True)
def _decoders_loaded() -> None:
    """Import the decoders before a child is measured: their code is not what a file costs."""
    for content in (encoded(SMALL, "JPEG"), encoded(SMALL, "PNG"), encoded(SMALL, "WEBP"), heic(SMALL), tiff(SMALL)):
        load(content)


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_is_not_unpacked(name: str) -> None:
    found = bounded(load, BOMBS[name](), name, seconds=30)
    # Remarks are no part of a picture: they are passed over, and the picture is read.
    assert found.kind == ("answer" if name == "remarks.png" else "refused"), found.said
    assert "\n" not in found.said
    assert found.grown_mb < MOST_MB
    assert found.seconds < 5 * MOST_SECONDS  # a shared machine; tests/benchmarks/intake.py prints the seconds


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names on this system")
@pytest.mark.parametrize("make", ["pipe", "device", "circle", "folder"])
def test_what_never_ends_is_refused_at_once(make: str, tmp_path: Path) -> None:
    path = tmp_path / "card.jpg"
    if make == "pipe":
        os.mkfifo(path)
    elif make == "device":
        path.symlink_to("/dev/zero")
    elif make == "circle":
        path.symlink_to(path)
    else:
        path.mkdir()
    found = bounded(load, path, seconds=10)
    assert found.kind == "refused", found.said
    assert found.said.startswith("card.jpg: ")
    assert found.grown_mb < MOST_MB


def test_a_file_larger_than_a_photo_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "card.jpg"
    with path.open("wb") as file:
        file.truncate(int(photo_limits().file_megabytes * 1e6) + 1)
    found = bounded(load, path, seconds=10)
    assert found.kind == "refused"
    assert "more than the 120 that are read" in found.said
    assert found.grown_mb < 10


def test_an_upload_may_be_as_large_as_a_photo() -> None:
    settings = tomllib.loads((Path(__file__).parents[2] / ".streamlit" / "config.toml").read_text(encoding="utf-8"))
    assert settings["server"]["maxUploadSize"] == photo_limits().file_megabytes


def test_sixteen_bits_count_twice() -> None:
    check_picture(12_000, 12_000, 20_000_000, 3.0)
    with pytest.raises(PhotoError, match="unpacks to 864 MB"):
        check_picture(12_000, 12_000, 20_000_000, 6.0)


def wide(orientation: int = 1) -> Photo:
    rng = np.random.default_rng(3)
    scene = np.clip(rng.normal(0.3, 0.05, (300, 403, 1)) + np.linspace(0, 0.4, 403)[:, None], 0, 1)
    codes = to_codes(np.repeat(scene, 3, axis=2), DISPLAY_P3)
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    return load(encoded(codes, "PNG", icc_profile=matrix_profile(DISPLAY_P3, "Display P3"), exif=exif))


def test_the_grey_picture_is_that_of_the_whole_conversion_for_neutral_colours() -> None:
    # Reference: every pixel converted by its profile, as the preview does.
    photo = wide()
    whole = photo.preview(10_000).mean(axis=2)
    np.testing.assert_allclose(photo.grey().astype(float), whole, atol=1.0)


def test_a_reduced_photo_is_averaged_by_whole_steps_and_stays_upright() -> None:
    photo = wide(orientation=6)
    assert (photo.width, photo.height) == (300, 403)
    reduced = photo.reduced(202)
    assert (reduced.width, reduced.height) == (150, 201)
    codes = photo.decoded.pixels[:300, :402].astype(float)
    squares = codes.reshape(150, 2, 201, 2, 3).mean(axis=(1, 3))
    np.testing.assert_allclose(reduced.decoded.pixels, squares, atol=0.51)
    assert photo.reduced(1000).decoded.pixels is photo.decoded.pixels
