"""A shop with several stations: one history on a server, its photos in it, and the way there from one station's own."""

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import select, text

from match.errors import StoreError
from match.history import photo_table, tables
from match.history.records import NewOutcome
from match.history.store import Store
from tests.history.test_support import PHOTO, full_check, open_store, require_postgres

pytestmark = pytest.mark.postgres
LARGE = bytes(range(256)) * 10_000  # more than two pieces
STATION = """
import sys
from match.history.store import Store
from match.history.place import history_place
with Store.open(history_place()) as store:
    row, = store.find_checks().items
    check = store.get_check(row.id)
    print(check.photos[0].state, len(store.photo_bytes(check.photos[0].sha256)))
"""


@pytest.fixture
def address(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """A database of its own, and a data folder that no photo belongs into."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "first station"))
    with require_postgres().database() as made:
        yield made


def test_a_photo_saved_at_one_station_is_seen_at_another(address: str, tmp_path: Path) -> None:
    with Store.open(address) as store:
        store.save_check(full_check(), [(LARGE, "card.jpg")])
        assert store.photos_place == f"in the database {store.place}"
        assert "invented-secret" not in store.photos_place
    other = {**os.environ, "XDG_DATA_HOME": str(tmp_path / "second station"), "SPRAYOUT_DATA": address}
    ran = subprocess.run([sys.executable, "-c", STATION], env=other, capture_output=True, text=True, check=True)
    assert ran.stdout.split() == ["whole", str(len(LARGE))]
    assert not [path for path in tmp_path.rglob("*") if path.is_file() and path.stat().st_size == len(LARGE)]


def test_two_stations_saving_the_same_photo_at_once_keep_it_once(address: str) -> None:
    with Store.open(address) as one, Store.open(address) as two:
        with one._photos.staging() as first, two._photos.staging() as second:
            first.add(LARGE)
            second.add(LARGE)
            first.publish()
            second.publish()
        assert len(one._photos.names()) == 1
        one.save_check(full_check("A"), [(LARGE, "a.jpg")])
        two.save_check(full_check("B"), [(LARGE, "b.jpg")])
        assert one.verify().sound
        assert (one.verify().photos, one.verify().unreferenced_photos) == (1, 0)


def test_a_photo_that_was_changed_in_the_database_is_told_and_put_right(address: str) -> None:
    with Store.open(address) as store:
        check = store.save_check(full_check(), [(PHOTO, "a.jpg")])
        with store._database.writing() as connection:
            connection.execute(tables.photo_content.update().values(content=b"another picture"))
        assert not store.verify().sound
        assert store.get_check(check.id).photos[0].state == "changed"
        with pytest.raises(StoreError, match="no longer what was saved"):
            store.photo_bytes(check.photos[0].sha256)
        store.save_check(full_check("again"), [(PHOTO, "a.jpg")])
        assert store.verify().sound
        with store._database.writing() as connection:
            connection.execute(tables.photo_content.delete())
        with pytest.raises(StoreError, match="missing from the database"):
            store.photo_bytes(check.photos[0].sha256)


def test_a_photo_too_large_is_refused_and_nothing_is_kept(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    small = type("Limits", (), {"file_megabytes": 0.001})
    monkeypatch.setattr(photo_table, "photo_limits", lambda: small)
    with Store.open(address) as store:
        with pytest.raises(StoreError, match=r"more than 0\.001 MB"):
            store.save_check(full_check(), [(LARGE, "card.jpg")])
        assert store.find_checks().total == 0
        assert store._photos.names() == set()


def test_a_station_s_own_history_moves_to_the_server_by_export_and_restore(address: str, tmp_path: Path) -> None:
    with open_store(tmp_path / "own") as own:
        first = own.save_check(full_check("A"), [(LARGE, "a.jpg"), (PHOTO, "b.jpg")])
        own.add_outcome(NewOutcome(check=first.id, hidden="yes", came_back="no"))
        own.delete(own.save_check(full_check("B"), [(PHOTO, "b.jpg")]).id)
        own.export_archive(tmp_path / "all.zip")
        with Store.restore(tmp_path / "all.zip", address) as shared:
            assert shared.verify().sound
            assert shared.find_checks().total == own.find_checks().total == 1
            assert shared.get_check(first.id) == own.get_check(first.id)
            assert shared.photo_bytes(first.photos[0].sha256) == LARGE
            assert shared.outcomes_of(first.id) == own.outcomes_of(first.id)
            shared.export_archive(tmp_path / "back.zip")
    with Store.restore(tmp_path / "back.zip", tmp_path / "alone again") as again:
        assert again.photo_bytes(first.photos[0].sha256) == LARGE
        assert again.verify().sound


def test_photos_that_an_earlier_version_left_at_a_station_are_taken_in(address: str, tmp_path: Path) -> None:
    left = tmp_path / "first station" / "sprayout-match"
    with Store.open(address, folder=left) as earlier:
        check = earlier.save_check(full_check(), [(LARGE, "a.jpg")])
        with earlier._database.reading() as connection:
            assert connection.execute(select(tables.photo_content.c.number)).first() is None
    with Store.open(address) as store:
        assert store.photo_bytes(check.photos[0].sha256) == LARGE
        assert store.verify().sound


def test_a_photo_s_pieces_are_no_larger_than_a_million_bytes_or_so(address: str) -> None:
    with Store.open(address) as store:
        store.save_check(full_check(), [(LARGE, "a.jpg")])
        with store._database.reading() as connection:
            most = connection.execute(text("SELECT max(length(content)), count(*) FROM photo_content")).one()
    assert tuple(most) == (1 << 20, 3)
