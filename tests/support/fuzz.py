"""Every format that comes in, one sound file of each, and what reads it: an answer or one sentence, never a traceback.

A case is a kind and a number: the same number makes the same file again.
"""

from __future__ import annotations

import hashlib
import io
import json
import random
import shutil
import tempfile
import tomllib
import traceback
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import alembic.command
import alembic.context
import numpy as np

from match import calibration
from match.calibration import OVERRIDE_VARIABLE
from match.camera.records_file import read_cameras
from match.check.calibration_files import load_calibration
from match.check.marks_file import read_marks
from match.check.saved import CheckedPhoto, of_card, read_saved, usable
from match.check.saved import document as saved_document
from match.check.settings import CheckSettings
from match.check.verdict import Limits
from match.colorimetry import colour_science
from match.errors import MatchError
from match.files import parse_json
from match.history.records import NewOutcome
from match.history.store import Store
from match.photo.found_marks import find_marks
from match.photo.load import load
from match.photo.regions import Kind, Region
from match.several.photo_set_file import read_photo_set
from match.tint.card_from_check import checked_from, read_check
from match.tint.limits import TintLimits
from match.tint.shelf_file import keep_entries, known_for_table, load_shelf, own_path
from match.tint.story import begin, story_from
from match.tint.toner_table import read_table, table_text
from tests.support.checked import check_photo
from tests.support.documents import document
from tests.support.mutations import changed_bytes, changed_database, changed_document, changed_json, changed_text
from tests.support.photo_files import SMALL, dng, encoded, heic, patches, tiff
from tests.support.picture_parts import CHANGED, SOUND

# children are forked from what is imported here: each would import anew what is otherwise imported where it is used
colour_science()
PRELOADED = alembic.command, alembic.context

PHOTOS = ("jpeg", "png", "webp", "tiff", "heic", "dng")
PARTS = tuple(SOUND)
DOCUMENTS = (
    "check",
    "marks",
    "photo set",
    "pot",
    "camera",
    "tolerances",
    "toners",
    "toner list",
    "photo set in TOML",
    "marks in TOML",
)
HISTORIES = ("archive's bytes", "archive's records", "backup's bytes", "backup's database")
KINDS = (*PHOTOS, *PARTS, *DOCUMENTS, *HISTORIES)

PHOTO_SET = """
[[photos]]
path = "face-1.jpg"
angle = "face"
role = "first"
light = "daylight"
grey = ["40,300,80,60@18%"]
card = "200,120,150,150"
vehicle = ["20,120,150,150", "380,120,150,150"]

[[photos]]
path = "face-2.jpg"
role = "repeat"
light = "daylight"
grey = ["40,300,80,60@18%", "140,300,80,60@75%"]
card = "200,120,150,150"
vehicle = "20,120,150,150"
"""
MARKS = """
finish = "pearl"
[[regions]]
kind = "grey"
x = 80
y = 900
width = 160
height = 160
reflectance = 0.18
[[regions]]
kind = "card"
x = 700
y = 450
width = 300
height = 300
[[regions]]
kind = "vehicle"
x = 300
y = 450
width = 300
height = 300
"""
TONERS = """
[toners.mine]
like = "black"
[toners.mine.strength]
value = 1.2
unit = "1"
source = "invented"
"""
TONER_LIST = """name,like,strength,lowest,highest,own binder,weak version of,percent 1,L 1,a 1,b 1,percent 2,L 2,a 2,b 2
My black,black,1.2,0.9,1.5,no,,,,,,,,,
Weak black,,0.1,,,,My black,,,,,,,,
Deep violet,,,,,yes,,10,45.2,12.5,-30.1,100,18.0,9.5,-12.0
"""
MARKED = (
    *(Region(Kind.CARD, 17, 17, 14, 14), Region(Kind.GREY, 33, 33, 14, 14, 0.18)),
    *(Region(Kind.VEHICLE, 1, 17, 14, 14), Region(Kind.VEHICLE, 33, 17, 14, 14)),
)
"""Marks on the small picture's patches."""


@cache
def _photo(kind: str) -> bytes:
    if kind == "heic":
        return heic(SMALL)
    if kind == "dng":
        return dng(patches())
    return tiff(SMALL) if kind == "tiff" else encoded(SMALL, kind.upper())


@cache
def _sound_check() -> dict[str, Any]:
    more = {
        "photo": "card.jpg",
        "photo_sha256": "ab" * 32,
        "regions": tomllib.loads(MARKS)["regions"],
        "card_lab_covariance": (0.04 * np.eye(3)).tolist(),
        "figures_hold": True,
    }
    return document(1.5, "blend", **more)


@cache
def _pot() -> dict[str, Any]:
    return dict(begin(checked_from(read_saved(_sound_check(), "check")), 100.0).as_dict())


CAMERA = {
    "format": 1,
    "unnamed": "phone",
    "cameras": {
        "phone": {
            "nulls": [
                {"sha256": "ab" * 32, "photo": "a.jpg", "difference": [0.1, 0.2, 0.3], "covariance": np.eye(3).tolist()}
            ],
            "greys": [{"sha256": "cd" * 32, "photo": "b.jpg", "slope": 1.1, "slope_sd": 0.1, "misfit": 0.01}],
        }
    },
}


@cache
def _archives() -> tuple[bytes, bytes]:
    """Return an export and a backup of a small invented history."""
    from tests.history.test_support import full_check

    folder = Path(tempfile.mkdtemp())
    try:
        with Store.open(folder / "data") as store:
            saved = store.save_check(full_check(), [(b"invented photo", "a.jpg")])
            store.save_check(full_check("CD-3", corrects=saved.id, colour=None, job=None, card=None))
            store.add_outcome(NewOutcome(check=saved.id, hidden="yes"))
            store.edit_check(saved.id, note="edited")
            store.export_archive(folder / "export.zip")
            store.back_up(folder / "backup.zip")
        return (folder / "export.zip").read_bytes(), (folder / "backup.zip").read_bytes()
    finally:
        shutil.rmtree(folder)


def _repacked(parts: dict[str, bytes]) -> bytes:
    """Pack the parts of an archive again, the manifest telling their hashes as they are now."""
    manifest = json.loads(parts["manifest.json"])
    for entry in (*manifest.get("tables", {}).values(), manifest.get("database")):
        if entry:
            entry["sha256"] = hashlib.sha256(parts[entry["file"]]).hexdigest()
            if "rows" in entry:
                entry["rows"] = parts[entry["file"]].count(b"\n")
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in parts.items():
            packed.writestr(name, json.dumps(manifest) if name == "manifest.json" else content)
    return file.getvalue()


def _parts(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def _changed_records(chance: random.Random) -> bytes:
    parts = _parts(_archives()[0])
    names = [name for name, content in parts.items() if name.startswith("tables/") and content]
    name = chance.choice(names)
    lines = parts[name].splitlines()
    at = chance.randrange(len(lines))
    if chance.random() < 0.2:
        lines[at] = changed_bytes(lines[at], chance)
    else:
        changed = changed_document(json.loads(lines[at]), chance)
        lines[at] = json.dumps(changed, sort_keys=True, separators=(",", ":")).encode("ascii")
    parts[name] = b"\n".join(lines) + b"\n"
    return _repacked(parts)


def _changed_backup(chance: random.Random) -> bytes:
    parts = _parts(_archives()[1])
    if chance.random() < 0.3:
        parts["history.sqlite"] = changed_bytes(parts["history.sqlite"], chance)
    else:
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "history.sqlite"
            file.write_bytes(parts["history.sqlite"])
            changed_database(file, chance)
            parts["history.sqlite"] = file.read_bytes()
    return _repacked(parts)


def _tolerances() -> str:
    return (calibration.shipped_folder() / "tolerances.toml").read_text(encoding="utf-8")


_CHANGES: dict[str, Callable[[random.Random], bytes]] = {
    **{kind: lambda chance, kind=kind: changed_bytes(_photo(kind), chance) for kind in PHOTOS},  # type: ignore[misc]
    "check": lambda chance: changed_json(_sound_check(), chance),
    "marks": lambda chance: changed_json(tomllib.loads(MARKS), chance),
    "photo set": lambda chance: changed_json(tomllib.loads(PHOTO_SET), chance),
    "pot": lambda chance: changed_json(_pot(), chance),
    "camera": lambda chance: changed_json(CAMERA, chance),
    **CHANGED,
    "toner list": lambda chance: changed_text(TONER_LIST, chance),
    "tolerances": lambda chance: changed_text(_tolerances(), chance),
    "toners": lambda chance: changed_text(TONERS, chance),
    "photo set in TOML": lambda chance: changed_text(PHOTO_SET, chance),
    "marks in TOML": lambda chance: changed_text(MARKS, chance),
    "archive's bytes": lambda chance: changed_bytes(_archives()[0], chance),
    "archive's records": _changed_records,
    "backup's bytes": lambda chance: changed_bytes(_archives()[1], chance),
    "backup's database": _changed_backup,
}


_SOUND: dict[str, Callable[[], bytes | str]] = {
    **{kind: lambda kind=kind: _photo(kind) for kind in PHOTOS},  # type: ignore[misc]
    "check": lambda: json.dumps(_sound_check()),
    "marks": lambda: json.dumps(tomllib.loads(MARKS)),
    "photo set": lambda: json.dumps(tomllib.loads(PHOTO_SET)),
    "pot": lambda: json.dumps(_pot()),
    "camera": lambda: json.dumps(CAMERA),
    **SOUND,
    "toner list": lambda: TONER_LIST,
    "tolerances": _tolerances,
    "toners": lambda: TONERS,
    "photo set in TOML": lambda: PHOTO_SET,
    "marks in TOML": lambda: MARKS,
    "archive's bytes": lambda: _archives()[0],
    "archive's records": lambda: _repacked(_parts(_archives()[0])),
    "backup's bytes": lambda: _archives()[1],
    "backup's database": lambda: _repacked(_parts(_archives()[1])),
}


def sound_file(kind: str) -> bytes:
    """Return the file that the cases of a kind change: nothing is wrong with it."""
    content = _SOUND[kind]()
    return content.encode("utf-8") if isinstance(content, str) else content


def changed_file(kind: str, number: int) -> bytes:
    """Return the changed file of a case."""
    return _CHANGES[kind](random.Random(f"{kind} {number}"))


def read(kind: str, content: bytes, folder: Path) -> None:
    """Do with a file what the program does with one of this kind; ``folder`` is empty and may be written."""
    if kind in (*PHOTOS, "camera's facts"):
        photo = load(content, f"photo.{kind}")
        photo.preview(256)
        photo.crop(0, 0, min(8, photo.width), min(8, photo.height))
    elif kind in PARTS:
        _check(content)
    elif kind in HISTORIES:
        _restore(content, folder)
    else:
        _read_document(kind, content, folder)


def _check(content: bytes) -> None:
    """Check the small picture; what a changed profile makes of its colours must still be an answer that can be kept."""
    photo = load(content, "photo")
    photo.preview(32)
    find_marks(photo, (0.18,))
    result = check_photo(photo, MARKED, CheckSettings(), load_calibration())
    kept = saved_document(result, CheckedPhoto(photo.name, photo.sha256, MARKED))
    read_saved(parse_json(json.dumps(kept, allow_nan=False), "the check"), "the check")


def _read_document(kind: str, content: bytes, folder: Path) -> None:
    file = folder / f"given.{'toml' if 'TOML' in kind else 'json'}"
    file.write_bytes(content)
    if kind == "check":
        saved = read_saved(parse_json(content, "the check"), "the check")
        for card in saved.cards:
            of_card(saved, card.name)
        usable(saved)
        read_check(parse_json(content, "the check"), "the check")
    elif kind.startswith("marks"):
        read_marks(file, 0.18)
    elif kind.startswith("photo set"):
        read_photo_set(file, 0.18)
    elif kind == "pot":
        story = story_from(parse_json(content, "the log"), "the log")
        json.dumps(story.as_dict(), allow_nan=False)
    elif kind == "camera":
        read_cameras(file)
    elif kind == "toner list":
        found = read_table(table_text(content), known_for_table(calibration.load(TintLimits, "tint", "limits")))
        keep_entries(found.entries)
        load_shelf()
    elif kind == "tolerances":
        (folder / "tolerances.toml").write_bytes(content)
        calibration.read_again()
        calibration.load(Limits, "tolerances", "limits")
    else:
        own_path().write_bytes(content)
        calibration.read_again()
        load_shelf()


def _restore(content: bytes, folder: Path) -> None:
    with Store.restore(io.BytesIO(content), folder / "restored") as store:
        store.verify()
        rows = store.find_checks().items
        for row in rows:
            _answered(store.get_check, row.id)
        for colour in store.find_colours().items:
            _answered(store.timeline, colour.id)
        store.find_jobs("a")
        store.nearest_colours((50.0, 0.0, 0.0))
        store.observed_outcomes()
        store.deleted()
        store.checks_csv()
        store.export_archive(folder / "again.zip")
    with Store.restore(folder / "again.zip", folder / "twice") as store:
        assert not store.verify().problems


def _answered(ask: Callable[[str], object], public_id: str) -> None:
    try:
        ask(public_id)
    except MatchError as refusal:
        if "\n" in str(refusal):
            raise RuntimeError("more than a sentence") from refusal


def tried(kind: str, number: int | None) -> tuple[str, str]:
    """Run one case here, None for the sound file: (``answer``, ``refused`` or ``crash``, the sentence or traceback)."""
    from unittest.mock import patch

    with tempfile.TemporaryDirectory(prefix="fuzz-") as name, patch.dict("os.environ", {OVERRIDE_VARIABLE: name}):
        try:
            read(kind, sound_file(kind) if number is None else changed_file(kind, number), Path(name))
        except MatchError as refusal:
            sentence = str(refusal)
            return (
                ("refused", sentence) if sentence and "\n" not in sentence else ("crash", f"no sentence: {sentence!r}")
            )
        except BaseException:
            return "crash", traceback.format_exc(limit=-6)
        return "answer", ""
