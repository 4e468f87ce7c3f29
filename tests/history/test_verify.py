"""A record that is no longer what was saved is found, named, and hides no other."""

from __future__ import annotations

import json
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import text

from match.cli import main
from match.errors import StoreError
from match.history.records import CheckRecord, NewOutcome
from match.history.store import Store
from tests.history.test_support import PHOTO, copy_filled, full_check

BROKEN = (
    ("colour_check", "created_at", "'the day before'"),
    ("colour_check", "delta_e00", "'about two'"),
    ("colour_check", "vehicle_l", "'dark'"),
    ("colour_check", "note", "CAST(x'ff80' AS TEXT)"),
    ("colour_check", "version", "'first'"),
    ("colour_check", "verdict", "x'00ff'"),
    ("colour_check_body", "result", "'{\"verdict\":'"),
    ("colour_check_body", "result", "'[]'"),
    ("colour_check_body", "settings", "'NaN'"),
    ("colour_check_body", "regions", "CAST(x'c3' AS TEXT)"),
    ("colour_check_photo", "sha256", "'none'"),
    ("colour", "name", "CAST(x'ff' AS TEXT)"),
    ("colour", "created_at", "12"),
    ("job", "day", "'31/12/2026'"),
    ("card", "mix", "x'ff'"),
    ("outcome", "hidden", "'perhaps'"),
    ("outcome", "day", "'soon'"),
    ("revision", "before", "'{'"),
)
"""Table, column and a value in SQL that no program of ours writes there."""


def _filled(folder: Path) -> tuple[CheckRecord, CheckRecord]:
    """Keep two checks; the first, with all that hangs from it, is the one to be broken."""
    return copy_filled(_two_checks, folder)


def _two_checks(store: Store) -> tuple[CheckRecord, CheckRecord]:
    first = store.save_check(full_check("AB-1"), [(PHOTO, "a.jpg")])
    store.add_outcome(NewOutcome(check=first.id, hidden="yes"))
    store.edit_check(first.id, note="edited")
    return store.get_check(first.id), store.save_check(full_check("CD-2"), [(PHOTO + b"2", "b.jpg")])


def _in_sql(folder: Path, statement: str) -> None:
    with closing(sqlite3.connect(folder / "history.sqlite")) as database, database:
        database.execute(statement)


def _break(folder: Path, table: str, column: str, value: str) -> None:
    key = "check_id" if table in ("colour_check_body", "colour_check_photo") else "id"
    _in_sql(folder, f"UPDATE {table} SET {column} = {value} WHERE {key} = (SELECT min({key}) FROM {table})")


@pytest.mark.parametrize(("table", "column", "value"), BROKEN)
def test_a_broken_record_is_named_and_hides_no_other(
    table: str, column: str, value: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second = _filled(tmp_path / "data")
    _break(tmp_path / "data", table, column, value)
    with Store.open(tmp_path / "data") as store:
        health = store.verify()
        assert len([problem for problem in health.problems if "cannot be read" in problem]) == 1
        found = store.find_checks()
        assert second.id in [row.id for row in found.items]
        assert len(found.items) + len(found.unreadable) == 2
        assert store.get_check(second.id).result == second.result
        assert {near.check.id for near in store.nearest_colours((51.0, 1.5, 2.0)).items} >= {second.id}
        assert store.timeline(second.colour or "").entries
        assert second.colour in [colour.id for colour in store.find_colours().items]
        store.observed_outcomes()
        store.deleted()
        assert second.id.encode() in store.checks_csv()
        summary = store.export_archive(tmp_path / "export.zip")
        assert len(summary.left_out) >= 1
    with Store.restore(tmp_path / "export.zip", tmp_path / "again") as again:
        assert again.verify().problems == ()
        assert again.get_check(second.id).result == second.result
    place = ["--data", str(tmp_path / "data")]
    for command in (["list"], ["show", first.id], ["show", second.id], ["show", first.colour or ""], ["verify"]):
        assert main(["history", *command, *place]) in (0, 1, 2)
        assert "Traceback" not in capsys.readouterr().err
    assert main(["history", "verify", *place]) == 1


def test_text_in_place_of_the_key_of_a_colour_hides_no_other_near_colour(tmp_path: Path) -> None:
    _, second = _filled(tmp_path / "data")
    _break(tmp_path / "data", "colour_check", "colour_id", "'none'")
    with Store.open(tmp_path / "data") as store:
        assert [near.check.id for near in store.nearest_colours((51.0, 1.5, 2.0)).items] == [second.id]


def test_broken_json_is_named_in_every_kind_of_database(store: Store, tmp_path: Path) -> None:
    first, second = store.save_check(full_check("AB-1")), store.save_check(full_check("CD-2"))
    assert store.verify().problems == ()
    with store._database.writing() as connection:
        connection.execute(text("UPDATE colour_check_body SET result = '{' WHERE check_id = 1"))
    (problem,) = store.verify().problems
    assert first.id in problem
    assert store.get_check(second.id).result == second.result
    assert [record.id for record in store.export_archive(tmp_path / "export.zip").left_out] == [first.id]


def test_a_record_changed_to_another_sound_value_is_found(tmp_path: Path) -> None:
    first, _ = _filled(tmp_path / "data")
    _in_sql(tmp_path / "data", f"UPDATE colour_check SET delta_e00 = 0.1 WHERE uid = '{first.id}'")
    with Store.open(tmp_path / "data") as store:
        (problem,) = store.verify().problems
        assert first.id in problem
        assert "no longer what was saved" in problem


@pytest.mark.parametrize("table", ["outcome", "revision"])
def test_a_record_that_is_gone_is_found(table: str, tmp_path: Path) -> None:
    _filled(tmp_path / "data")
    _in_sql(tmp_path / "data", f"DELETE FROM {table}")
    with Store.open(tmp_path / "data") as store:
        assert [problem for problem in store.verify().problems if "is lost" in problem]


def test_a_check_that_lost_its_result_is_left_out_of_an_export_by_name(tmp_path: Path) -> None:
    first, second = _filled(tmp_path / "data")
    _in_sql(tmp_path / "data", "DELETE FROM colour_check_body WHERE check_id = 1")
    with Store.open(tmp_path / "data") as store:
        with pytest.raises(StoreError, match="cannot be read"):
            store.get_check(first.id)
        assert any(first.id in problem for problem in store.verify().problems)
        summary = store.export_archive(tmp_path / "export.zip")
    assert first.id in [record.id for record in summary.left_out]
    with zipfile.ZipFile(tmp_path / "export.zip") as packed:
        (line,) = packed.read("tables/check.jsonl").splitlines()
    assert json.loads(line)["id"] == second.id


def test_a_check_of_an_unreadable_colour_is_exported_without_it(tmp_path: Path) -> None:
    first, _ = _filled(tmp_path / "data")
    _break(tmp_path / "data", "colour", "name", "x'ff'")
    with Store.open(tmp_path / "data") as store:
        summary = store.export_archive(tmp_path / "export.zip")
    left = {record.kind for record in summary.left_out}
    assert left == {"colour", "card"}
    assert (first.id, "colour") in [(link.id, link.fault) for link in summary.unlinked]
    with Store.restore(tmp_path / "export.zip", tmp_path / "again") as again:
        assert again.get_check(first.id).colour is None
        assert again.get_check(first.id).car == first.car


def test_a_history_from_before_digests_gets_them_when_it_is_opened(tmp_path: Path) -> None:
    first, _ = _filled(tmp_path / "data")
    for newer in ("record_digest", "photo_content", "pot", "bench", "panel"):
        _in_sql(tmp_path / "data", f"DROP TABLE {newer}")
    _in_sql(tmp_path / "data", "ALTER TABLE card DROP COLUMN place")
    _in_sql(tmp_path / "data", "UPDATE history_version SET version_num = '0002'")
    _break(tmp_path / "data", "job", "day", "'31/12/2026'")
    with Store.open(tmp_path / "data") as store:
        (problem,) = store.verify().problems
        assert "the job" in problem
    _in_sql(tmp_path / "data", f"UPDATE colour_check SET note = 'another' WHERE uid = '{first.id}'")
    with Store.open(tmp_path / "data") as store:
        assert any(first.id in problem for problem in store.verify().problems)


def test_an_unreadable_record_can_be_deleted_and_not_edited(tmp_path: Path) -> None:
    first, _ = _filled(tmp_path / "data")
    _break(tmp_path / "data", "colour_check", "note", "x'ff'")
    with Store.open(tmp_path / "data") as store:
        with pytest.raises(StoreError, match="cannot be read"):
            store.edit_check(first.id, note="new")
        store.delete(first.id)
        assert not store.find_checks().unreadable
