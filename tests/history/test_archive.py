"""Taking everything away and bringing it back: archives, backups, spreadsheets, and everything that can be wrong."""

from __future__ import annotations

import csv
import dataclasses
import hashlib
import io
import json
import shutil
import sqlite3
import struct
import threading
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from match.demo.pot import FORMULA, first_card
from match.errors import StoreError
from match.history import container
from match.history.container import ArchiveLimits
from match.history.records import Addition, NewCard, NewCheck, NewColour, NewOutcome, NewPot, NewTintStep
from match.history.store import Store
from match.tint.shelf_file import load_shelf
from match.tint.story import Mix, begin
from tests.history.test_support import PHOTO, Clock, copy_filled, full_check, open_store, postgres_store, result


def fill(store: Store) -> None:
    """Fill a store with some of everything: corrections, edits, deletions, tints, outcomes, photos."""
    first = store.save_check(full_check("AB-12"), [(PHOTO, "a.jpg"), (b"other", "b.jpg")])
    store.save_check(full_check("CD-34", result=result(0.4, "retake")), [(PHOTO, "again.jpg")])
    correction = store.save_check(NewCheck(result=result(0.4, "go"), corrects=first.id))
    after = store.add_card(NewCard(colour=first.colour))
    store.add_tint_step(
        NewTintStep(
            card_before=str(first.card),
            card_after=after.id,
            additions=(Addition("black", 0.25),),
            predicted_lab=(1.0, 0.1, -3.3333333333333335),
        )
    )
    store.add_outcome(NewOutcome(check=correction.id, hidden="yes"))
    told = begin(first_card(load_shelf()), 100.0, Mix(FORMULA)).added({"black": 0.1 + 0.2})
    store.add_pot(NewPot(colour=str(first.colour), story=told.as_record(), cards=(str(first.card),)))
    store.edit(dataclasses.replace(store.get_colour(str(first.colour)), name="Renamed"))
    gone = store.save_check(full_check("EF-56"), [(b"deleted photo", "c.jpg")])
    store.delete(str(gone.colour))
    store.save_check(NewCheck(result=result(1.0)))


def contents(folder: Path) -> dict[str, str]:
    """Hash every photo, and every row of every table, of a data folder."""
    found = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.glob("photos/??/*")}
    with sqlite3.connect(folder / "history.sqlite") as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
            found[name] = repr(sorted(connection.execute(f"SELECT * FROM {name}").fetchall(), key=repr))
    connection.close()
    return found


@pytest.fixture
def store(tmp_path: Path) -> Any:
    copy_filled(fill, tmp_path / "data")
    with Store.open(tmp_path / "data", clock=Clock(1000)) as opened:  # later than all that it holds
        yield opened


@pytest.fixture
def archive(store: Store, tmp_path: Path) -> Path:
    store.export_archive(tmp_path / "all.zip")
    return tmp_path / "all.zip"


def test_an_archive_is_a_zip_file_anyone_can_read(store: Store, archive: Path) -> None:
    with zipfile.ZipFile(archive) as packed:
        assert packed.testzip() is None
        manifest = json.loads(packed.read("manifest.json"))
        checks = [json.loads(line) for line in packed.read("tables/check.jsonl").splitlines()]
        photo = checks[0]["photos"][0]["sha256"]
        assert packed.read(f"photos/{photo[:2]}/{photo}") == PHOTO
        for entry in manifest["tables"].values():
            assert hashlib.sha256(packed.read(entry["file"])).hexdigest() == entry["sha256"]
    assert (manifest["kind"], manifest["format_version"], manifest["photos"]) == ("records", 3, 3)
    assert [check["verdict"] for check in checks] == ["blend", "retake", "go", "blend", "blend"]
    assert checks[0]["result"] == result()
    assert checks[2]["corrects"] == checks[0]["id"]


def test_a_restored_archive_is_the_same_history(store: Store, archive: Path, tmp_path: Path) -> None:
    with Store.restore(archive, tmp_path / "new") as restored:
        assert restored.verify().sound
        assert restored.find_checks() == store.find_checks()
        assert restored.deleted() == store.deleted()
        row = store.find_checks(text="renamed").items[0]
        assert restored.get_check(row.id) == store.get_check(row.id)
        assert restored.timeline(str(row.colour)) == store.timeline(str(row.colour))
        assert restored.revisions(str(row.colour)) == store.revisions(str(row.colour))
        restored.export_archive(tmp_path / "again.zip")
    with zipfile.ZipFile(archive) as ours, zipfile.ZipFile(tmp_path / "again.zip") as theirs:
        names = [name for name in ours.namelist() if name != "manifest.json"]
        assert all(ours.read(name) == theirs.read(name) for name in names)


@pytest.mark.postgres
def test_a_history_moves_to_a_server_and_back_unchanged(store: Store, archive: Path, tmp_path: Path) -> None:
    with postgres_store(tmp_path / "server") as server:
        summary = server.import_archive(archive)
        assert (summary.added["check"], summary.photos_added) == (5, 3)
        assert server.find_checks() == store.find_checks()
        server.export_archive(tmp_path / "back.zip")
        with pytest.raises(StoreError, match="server's own tools"):
            server.back_up(tmp_path / "backup.zip")
    with zipfile.ZipFile(archive) as ours, zipfile.ZipFile(tmp_path / "back.zip") as theirs:
        assert all(ours.read(name) == theirs.read(name) for name in ours.namelist() if name.startswith("tables/"))


def test_importing_twice_or_into_its_own_store_adds_nothing(store: Store, archive: Path, tmp_path: Path) -> None:
    before = contents(tmp_path / "data")
    summary = store.import_archive(archive)
    assert contents(tmp_path / "data") == before
    assert sum(summary.added.values()) + sum(summary.different.values()) + summary.photos_added == 0
    with open_store(tmp_path / "other") as other:
        other.import_archive(archive)
        once = contents(tmp_path / "other")
        assert sum(other.import_archive(io.BytesIO(archive.read_bytes())).added.values()) == 0
    assert contents(tmp_path / "other") == once


def test_an_import_never_overwrites_what_is_here(store: Store, archive: Path) -> None:
    colour = store.find_checks(text="renamed").items[0].colour
    edited = store.edit(dataclasses.replace(store.get_colour(str(colour)), notes="written after the export"))
    summary = store.import_archive(archive)
    assert store.get_colour(str(colour)) == edited
    assert summary.different == {name: int(name == "colour") for name in summary.different}


def test_two_stores_can_be_joined(store: Store, archive: Path, tmp_path: Path) -> None:
    with open_store(tmp_path / "other") as other:
        mine = other.save_check(full_check("ZZ-99"), [(b"mine", "m.jpg")])
        other.import_archive(archive)
        assert other.find_checks().total == store.find_checks().total + 1
        assert other.get_check(mine.id) == mine
        assert other.verify().sound


def test_an_import_under_something_deleted_here_stays_hidden(store: Store, archive: Path, tmp_path: Path) -> None:
    with open_store(tmp_path / "other") as other:
        other.import_archive(archive)
        row = store.find_checks(text="renamed").items[0]
        other.delete(str(row.colour))
        later = store.save_check(NewCheck(result=result(0.7), colour=row.colour))
        store.export_archive(tmp_path / "later.zip")
        other.import_archive(tmp_path / "later.zip")
        assert other.get_check(later.id).deleted_at is not None
        assert other.verify().sound
        other.undelete(str(row.colour))
        assert other.get_check(later.id).deleted_at is None


def test_an_import_brings_a_missing_photo_back(store: Store, archive: Path, tmp_path: Path) -> None:
    photo = store.find_checks(text="renamed").items[-1].id
    lost = store.get_check(photo).photos[1].sha256
    (tmp_path / "data" / "photos" / lost[:2] / lost).unlink()
    assert not store.verify().sound
    assert store.import_archive(archive).photos_added == 1
    assert store.verify().sound


def test_an_archive_says_which_photos_it_could_not_take_along(store: Store, tmp_path: Path) -> None:
    check = store.get_check(store.find_checks(text="renamed").items[-1].id)
    changed, missing = (tmp_path / "data" / "photos" / each.sha256[:2] / each.sha256 for each in check.photos)
    changed.write_bytes(b"changed")
    missing.unlink()
    summary = store.export_archive(tmp_path / "holed.zip")
    assert set(summary.missing_photos) == {changed.name, missing.name}
    with Store.restore(tmp_path / "holed.zip", tmp_path / "new") as restored:
        assert {each.state for each in restored.get_check(check.id).photos} == {"missing"}
        assert len(restored.verify().problems) == 2


def test_nothing_is_written_over_an_existing_file(store: Store, archive: Path) -> None:
    before = archive.read_bytes()
    for write in (store.export_archive, store.back_up):
        with pytest.raises(StoreError, match="exists already"):
            write(archive)
    assert archive.read_bytes() == before


def test_a_restore_needs_an_empty_place(store: Store, archive: Path, tmp_path: Path) -> None:
    before = contents(tmp_path / "data")
    store.back_up(tmp_path / "backup.zip")
    for source in (archive, tmp_path / "backup.zip"):
        with pytest.raises(StoreError, match="not empty"):
            Store.restore(source, tmp_path / "data")
    assert contents(tmp_path / "data") == before


def test_a_backup_taken_while_others_write_is_whole(store: Store, tmp_path: Path) -> None:
    stop = threading.Event()
    saved: list[str] = []

    def keep_saving() -> None:
        with open_store(tmp_path / "data") as other:
            while not stop.is_set():
                photo = b"photo %d" % len(saved)
                saved.append(other.save_check(full_check(f"N{len(saved)}"), [(photo, "n.jpg")]).id)

    writer = threading.Thread(target=keep_saving)
    writer.start()
    try:
        for turn in range(3):
            known = list(saved)
            store.back_up(tmp_path / f"backup{turn}.zip")
            with Store.restore(tmp_path / f"backup{turn}.zip", tmp_path / f"restored{turn}") as restored:
                assert restored.verify().sound
                assert all(restored.get_check(each).photos[0].state == "whole" for each in known)
                assert restored.find_checks(text="renamed") == store.find_checks(text="renamed")
    finally:
        stop.set()
        writer.join()
    assert len(saved) > 3, "the other writer was at work meanwhile"


def test_a_backup_restores_every_byte(store: Store, tmp_path: Path) -> None:
    store.back_up(tmp_path / "backup.zip")
    before = contents(tmp_path / "data")
    (tmp_path / "restored").mkdir()
    Store.restore(tmp_path / "backup.zip", tmp_path / "restored").close()
    assert contents(tmp_path / "restored") == before


def repacked(source: Path, target: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    """Write a copy of an archive whose parts were changed."""
    with zipfile.ZipFile(source) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    change(parts)
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in parts.items():
            packed.writestr(name, content)
    return target


def forged(parts: dict[str, bytes], name: str, change: Callable[[list[Any]], Any]) -> None:
    """Change the records of a table and make the manifest agree with it."""
    records = [json.loads(line) for line in parts[f"tables/{name}.jsonl"].splitlines()]
    change(records)
    lines = [json.dumps(record).encode() + b"\n" for record in records]
    manifest = json.loads(parts["manifest.json"])
    manifest["tables"][name] |= {"sha256": hashlib.sha256(b"".join(lines)).hexdigest(), "rows": len(lines)}
    parts[f"tables/{name}.jsonl"] = b"".join(lines)
    parts["manifest.json"] = json.dumps(manifest).encode()


def set_manifest(parts: dict[str, bytes], **changes: Any) -> None:
    parts["manifest.json"] = json.dumps(json.loads(parts["manifest.json"]) | changes).encode()


def a_photo(parts: dict[str, bytes]) -> str:
    return next(name for name in parts if name.startswith("photos/"))


DAMAGE: dict[str, tuple[Callable[[dict[str, bytes]], Any], str]] = {
    "a name that climbs out": (lambda parts: parts.update({"../../evil": b"x"}), "does not belong"),
    "an absolute name": (lambda parts: parts.update({"/tmp/evil": b"x"}), "does not belong"),
    "a name with a backslash": (lambda parts: parts.update({"photos\\..\\evil": b"x"}), "does not belong"),
    "a photo in a wrong folder": (lambda parts: parts.update({f"photos/00/{'11' * 32}": b"x"}), "does not belong"),
    "no manifest": (lambda parts: parts.pop("manifest.json"), "no manifest"),
    "a manifest that is not JSON": (lambda parts: parts.update({"manifest.json": b"{"}), "cannot be read"),
    "a manifest of something else": (lambda parts: set_manifest(parts, format="other"), "not one of this program's"),
    "a newer format": (lambda parts: set_manifest(parts, format_version=4), "update the program"),
    "no list of tables": (lambda parts: set_manifest(parts, tables=None), "does not list the tables"),
    "a missing table": (lambda parts: parts.pop("tables/job.jsonl"), "missing from the archive"),
    "a missing photo": (lambda parts: parts.pop(a_photo(parts)), "missing from the archive"),
    "a changed photo": (lambda parts: parts.update({a_photo(parts): b"changed"}), "not what its name says"),
    "a changed table": (
        lambda parts: parts.update({"tables/colour.jsonl": parts["tables/colour.jsonl"].replace(b"AB-12", b"XX-12")}),
        "not what the manifest says",
    ),
    "a cut table": (
        lambda parts: parts.update({"tables/check.jsonl": parts["tables/check.jsonl"][:-5]}),
        "cut off",
    ),
    "a wrong type": (
        lambda parts: forged(parts, "colour", lambda records: records[0].update(code=5)),
        "line 1 of tables/colour.jsonl: .*expected text",
    ),
    "an unknown field": (
        lambda parts: forged(parts, "job", lambda records: records[0].update(extra=1)),
        "does not have the fields",
    ),
    "a wrong number": (
        lambda parts: forged(parts, "check", lambda records: records[0].update(delta_e00="1")),
        "line 1 of tables/check.jsonl: .*finite number",
    ),
    "a wrong time": (
        lambda parts: forged(parts, "card", lambda records: records[0].update(created_at="yesterday")),
        "ISO 8601",
    ),
    "a time without a zone": (
        lambda parts: forged(parts, "card", lambda records: records[0].update(created_at="2026-01-01T00:00:00")),
        "time zone",
    ),
    "a forged id": (lambda parts: forged(parts, "card", lambda records: records[0].update(id="x' OR 1")), "32 hexa"),
    "a link to nothing": (
        lambda parts: forged(parts, "card", lambda records: records[0].update(colour="0" * 32)),
        "refers to a colour that is not in the archive",
    ),
    "a correction of nothing": (
        lambda parts: forged(parts, "check", lambda records: records[0].update(corrects="0" * 32)),
        "refers to a corrected check",
    ),
    "a record twice": (lambda parts: forged(parts, "colour", lambda records: records.append(records[0])), "twice"),
    "an infinite number": (
        lambda parts: forged(parts, "check", lambda records: records[0]["result"].update(other=float("inf"))),
        "not finite",
    ),
    "a number that overflows": (
        lambda parts: forged(parts, "check", lambda records: records[0].update(delta_e00=10**400)),
        "more than 18 digits",
    ),
    "a photo with a forged name": (
        lambda parts: forged(parts, "check", lambda records: records[0]["photos"][0].update(sha256="../x")),
        "64 hexadecimal digits",
    ),
    "half a deletion": (
        lambda parts: forged(parts, "job", lambda records: records[0].update(deleted_with="0" * 32)),
        "half deleted",
    ),
    "a revision of an unknown kind": (
        lambda parts: forged(parts, "revision", lambda records: records[0].update(kind="other")),
        "unknown kind",
    ),
    "a revision whose kind is a list": (
        lambda parts: forged(parts, "revision", lambda records: records[0].update(kind=[])),
        "unknown kind",
    ),
}


@pytest.fixture(scope="module")
def target(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Store, Path]]:
    """A good archive, and another store that refuses the damaged ones."""
    folder = tmp_path_factory.mktemp("target")
    copy_filled(fill, folder / "data")
    with open_store(folder / "data") as source:
        source.export_archive(folder / "all.zip")
    with open_store(folder / "other") as other:
        other.save_check(full_check("MINE"), [(b"mine", "m.jpg")])
        yield folder / "all.zip", other, folder / "other"


@pytest.mark.parametrize("damage", DAMAGE)
def test_a_damaged_archive_is_refused_and_changes_nothing(
    damage: str, target: tuple[Path, Store, Path], tmp_path: Path
) -> None:
    whole, other, folder = target
    change, sentence = DAMAGE[damage]
    bad = repacked(whole, tmp_path / "bad.zip", change)
    before = contents(folder)
    with pytest.raises(StoreError, match=sentence):
        other.import_archive(bad)
    assert contents(folder) == before
    assert not list((folder / "photos" / "incoming").iterdir())
    assert not list(folder.parent.rglob("evil"))


def test_a_file_that_is_no_zip_is_refused(store: Store, archive: Path, tmp_path: Path) -> None:
    whole = archive.read_bytes()
    (tmp_path / "none.zip").write_bytes(b"not a zip file at all")
    (tmp_path / "half.zip").write_bytes(whole[: len(whole) // 2])
    spoiled = bytearray(whole)
    spoiled[len(whole) // 3 : len(whole) // 3 + 40] = bytes(40)
    (tmp_path / "spoiled.zip").write_bytes(spoiled)
    # fields of the central directory and of its end by PKWARE APPNOTE.TXT 4.3.12 and 4.3.16
    unnamed, start = bytearray(whole), whole.rfind(b"manifest.json")
    unnamed[start - 46 + 9] |= 0x08  # the name is UTF-8
    unnamed[start] = 0xFF
    (tmp_path / "unnamed.zip").write_bytes(unnamed)
    before_all, place = bytearray(whole), whole.rfind(b"PK\5\6") + 16
    before_all[place : place + 4] = (int.from_bytes(whole[place : place + 4], "little") + 2**24).to_bytes(4, "little")
    (tmp_path / "before_all.zip").write_bytes(before_all)
    with open_store(tmp_path / "other") as other:
        for name in ("none.zip", "half.zip", "spoiled.zip", "unnamed.zip", "before_all.zip", "absent.zip"):
            with pytest.raises(StoreError):
                other.import_archive(tmp_path / name)
            with pytest.raises(StoreError):
                Store.restore(tmp_path / name, tmp_path / "restored")
        assert other.find_checks().total == 0


def test_an_archive_with_a_part_twice_is_refused(archive: Path, tmp_path: Path) -> None:
    shutil.copy(archive, tmp_path / "twice.zip")
    with zipfile.ZipFile(tmp_path / "twice.zip", "a") as packed, pytest.warns(UserWarning, match="Duplicate"):
        packed.writestr("tables/job.jsonl", b"")
    with open_store(tmp_path / "other") as other, pytest.raises(StoreError, match="twice"):
        other.import_archive(tmp_path / "twice.zip")


def test_an_archive_that_unpacks_to_too_much_is_refused(store: Store, archive: Path, tmp_path: Path) -> None:
    limits = ArchiveLimits(part_bytes=1000)
    with open_store(tmp_path / "other") as other:
        with pytest.raises(StoreError, match="refused"):
            other.import_archive(archive, limits=limits)
        with pytest.raises(StoreError, match="too long"):
            other.import_archive(archive, limits=ArchiveLimits(line_bytes=100))
        with pytest.raises(StoreError, match="refused"):
            other.import_archive(archive, limits=ArchiveLimits(photo_bytes=3))
        assert other.find_checks().total == 0


def test_a_zip_file_that_lies_about_sizes_is_refused(archive: Path, tmp_path: Path) -> None:
    """The central directory holds the unpacked size 24 bytes after its signature (PKWARE APPNOTE.TXT 4.3.12)."""
    lying = bytearray(archive.read_bytes())
    entry = lying.index(b"PK\x01\x02")
    lying[entry + 24 : entry + 28] = struct.pack("<I", 7)
    (tmp_path / "lying.zip").write_bytes(lying)
    with open_store(tmp_path / "other") as other, pytest.raises(StoreError):
        other.import_archive(tmp_path / "lying.zip")


def test_an_archive_too_big_for_the_disk_is_refused(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr(container.shutil, "disk_usage", lambda _path: usage._replace(free=10))
    with open_store(tmp_path / "other") as other, pytest.raises(StoreError, match="make room"):
        other.import_archive(archive)


def test_a_damaged_backup_leaves_nothing_behind(store: Store, tmp_path: Path) -> None:
    store.back_up(tmp_path / "backup.zip")
    for number, change in enumerate(
        (
            lambda parts: parts.update({"history.sqlite": parts["history.sqlite"].replace(b"AB-12", b"XX-12")}),
            lambda parts: parts.update({a_photo(parts): b"changed"}),
            lambda parts: parts.pop("history.sqlite"),
            lambda parts: set_manifest(parts, database=None),
        )
    ):
        bad = repacked(tmp_path / "backup.zip", tmp_path / f"bad{number}.zip", change)
        with pytest.raises(StoreError):
            Store.restore(bad, tmp_path / "restored")
        assert not (tmp_path / "restored").exists()
        assert not list(tmp_path.glob(".restored*"))


def test_an_export_is_not_taken_for_a_backup(store: Store, archive: Path, tmp_path: Path) -> None:
    store.back_up(tmp_path / "backup.zip")
    with pytest.raises(StoreError, match="restore it into a new data folder"):
        store.import_archive(tmp_path / "backup.zip")


def test_the_spreadsheet_holds_every_check_and_runs_no_formula(store: Store) -> None:
    """RFC 4180 by way of Python's own reader; formula starts as listed by OWASP, "CSV Injection"."""
    store.save_check(NewCheck(result=result(2.0), colour=NewColour(code='=HYPERLINK("x")', name='@a,\n"b"'), note="-1"))
    text = store.checks_csv().decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert [row["id"] for row in rows] == [row.id for row in store.find_checks().items]
    assert (rows[0]["code"], rows[0]["colour_name"], rows[0]["note"]) == ('\'=HYPERLINK("x")', '\'@a, "b"', "'-1")
    assert (float(rows[0]["delta_e00"]), float(rows[0]["vehicle_a"])) == (2.0, 1.5)
    assert [row["delta_e00"] for row in rows if row["verdict"] == "retake"] == ["0.4"]
    assert len(store.checks_csv(verdict="go").splitlines()) == 2


@pytest.mark.parametrize(
    ("typed", "cell"),
    [
        ("\uff1d1+1", "'\uff1d1+1"),
        ("\uff0b1", "'\uff0b1"),
        ("\uff0d1", "'\uff0d1"),
        ("\uff20sum", "'\uff20sum"),
        ("\u22121", "'\u22121"),
        ("  =1", "'  =1"),
        ("\u3000=1", "'=1"),
        ("white\n=1+1", "white =1+1"),
        ("\t=1", "'=1"),
        ("a\r\nb", "a b"),
        ("white 3-K", "white 3-K"),
    ],
)
def test_no_cell_begins_a_formula_or_a_row(store: Store, typed: str, cell: str) -> None:
    """Full-width signs are their plain ones in Unicode's compatibility form; lists of formula starts after OWASP."""
    store.save_check(NewCheck(result=result(2.0), note=typed))
    text = store.checks_csv().decode("utf-8-sig")
    (first, *_) = [row for row in csv.DictReader(io.StringIO(text, newline="")) if row["note"]]
    assert first["note"] == cell
