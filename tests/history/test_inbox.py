"""Photos from phones: kept whole, few and not for long, and nothing torn or foreign is shown."""

import os
from datetime import UTC, datetime, timedelta

import pytest

from match import calibration
from match.errors import FileError, StoreError
from match.history.inbox import FOLDER, Inbox, InboxLimits

START = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
LIMITS = InboxLimits(photos=3, age=14, size=1)


class Clock:
    def __init__(self):
        self.time = START

    def __call__(self):
        self.time += timedelta(minutes=1)
        return self.time


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def inbox(tmp_path, clock):
    return Inbox(tmp_path / "data", LIMITS, clock)


def names(inbox):
    return [photo.name for photo in inbox.photos()]


def test_what_was_sent_is_here_whole_and_the_newest_stands_first(inbox):
    assert inbox.photos() == ()
    digests = [inbox.put(name, name.encode()) for name in ("first.jpg", "second.jpg")]
    assert names(inbox) == ["second.jpg", "first.jpg"]
    assert [photo.digest for photo in inbox.photos()] == digests[::-1]
    assert inbox.content(digests[0]) == b"first.jpg"


def test_a_photo_sent_again_is_not_kept_twice_and_comes_anew(inbox):
    inbox.put("a.jpg", b"a")
    inbox.put("b.jpg", b"b")
    inbox.put("again.jpg", b"a")
    assert names(inbox) == ["again.jpg", "b.jpg"]


def test_only_the_newest_stay_by_number_size_and_age(inbox, clock, tmp_path):
    for number in range(5):
        inbox.put(f"{number}", b"%d" % number)
    assert names(inbox) == ["4", "3", "2"]
    inbox.put("large", b"x" * 900_000)
    inbox.put("larger", b"y" * 900_000)
    assert names(inbox) == ["larger"]
    assert len(list((tmp_path / "data" / FOLDER).iterdir())) == 2
    clock.time += timedelta(days=14)
    assert names(inbox) == []
    inbox.put("new", b"new")
    assert len(list((tmp_path / "data" / FOLDER).iterdir())) == 2


def test_one_photo_larger_than_all_may_be_is_kept_all_the_same(inbox):
    inbox.put("huge", b"x" * 3_000_000)
    assert names(inbox) == ["huge"]


def test_nothing_torn_or_foreign_is_shown_and_leftovers_go_after_a_while(inbox, tmp_path):
    kept = inbox.put("a.jpg", b"a")
    folder = tmp_path / "data" / FOLDER
    for digest, words in (("1" * 64, "{"), ("2" * 64, "[]"), ("3" * 64, '{"name": "x", "arrived": "yesterday"}')):
        (folder / f"{digest}.photo").write_bytes(b"p")
        (folder / f"{digest}.json").write_text(words)
    (folder / f"{'4' * 64}.json").write_text('{"name": "no photo", "arrived": "2026-05-04T08:00:00+00:00"}')
    (folder / f"{'5' * 64}.photo").write_bytes(b"just coming in")
    (folder / f"{'6' * 64}.photo").write_bytes(b"left by a kill")
    os.utime(folder / f"{'6' * 64}.photo", (0, 0))
    (folder / "notes.txt").write_text("somebody else's")
    assert names(inbox) == ["a.jpg"]
    inbox.put("b.jpg", b"b")
    left = {path.name for path in folder.iterdir()}
    assert f"{'5' * 64}.photo" in left
    assert "notes.txt" in left
    assert f"{'6' * 64}.photo" not in left
    assert inbox.content(kept) == b"a"


def test_a_photo_that_was_changed_or_is_gone_is_never_given_out(inbox, tmp_path):
    digest = inbox.put("a.jpg", b"a")
    (tmp_path / "data" / FOLDER / f"{digest}.photo").write_bytes(b"b")
    with pytest.raises(StoreError, match="no longer here"):
        inbox.content(digest)
    inbox.remove(digest)
    inbox.remove(digest)
    assert inbox.photos() == ()
    with pytest.raises(StoreError, match="not a SHA-256"):
        inbox.content("../../history")


def test_a_name_is_kept_as_words_of_one_line(inbox):
    inbox.put("../../etc\n\t" + "x" * 500, b"a")
    assert inbox.photos()[0].name == ("../../etc " + "x" * 500)[:120]


@pytest.mark.skipif(os.name != "posix", reason="rights as POSIX knows them")
def test_photos_belong_to_this_user_alone(inbox, tmp_path):
    inbox.put("a.jpg", b"a")
    for folder in (tmp_path / "data", tmp_path / "data" / FOLDER):
        assert folder.stat().st_mode & 0o077 == 0


def test_a_full_disk_is_said_and_what_was_here_stays(inbox, monkeypatch):
    inbox.put("a.jpg", b"a")

    def full(*_):
        raise FileError("the disk is full")

    monkeypatch.setattr("match.history.inbox.write_whole", full)
    with pytest.raises(FileError):
        inbox.put("b.jpg", b"b")
    assert names(inbox) == ["a.jpg"]


def test_the_shipped_limits_hold_photos_of_the_size_that_is_let_in():
    limits = calibration.load(InboxLimits, "network", "inbox")
    assert limits.size > 120
    assert limits.photos >= 5
