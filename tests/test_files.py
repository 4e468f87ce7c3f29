"""Small files: whatever a path leads to is one sentence, and no writer loses or tears what another wrote."""

import json
import os
import socket
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from match import files
from match.errors import FileError, MissingFileError
from match.unfinished_files import clear_in, left_in
from tests.benchmarks.file_kills import adding, killed_while_writing

RFC_8259 = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53), 2**53)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=12,
)
"""What a JSON file can hold; whole numbers to 2**53, the range RFC 8259, section 6, calls interoperable."""

BAD_JSON = {
    "empty": (b"", "is not JSON"),
    "cut off": (b'{"a": 1', "is not JSON"),
    "not UTF-8": (b'{"a": "\xff"}', "is not text in UTF-8"),
    "deep": (b"[" * 100_000, "nested more than 40 deep"),
    "deep but whole": (b"[" * 60 + b"]" * 60, "nested more than 40 deep"),
    "infinite": (b'{"a": [Infinity]}', "not finite"),
    "beyond a float": (b"[1e999]", "not finite"),
    "not a number": (b"NaN", "not finite"),
    "4300 digits": (b"[" + b"9" * 5000 + b"]", "more than 18 digits"),
    "20 digits": (b"[" + b"9" * 20 + b"]", "more than 18 digits"),
    "half a letter": (b'["\\ud800"]', "half a letter"),
}


@pytest.mark.parametrize("fault", BAD_JSON)
def test_each_fault_of_a_json_file_is_one_sentence_that_names_it(tmp_path, fault):
    content, said = BAD_JSON[fault]
    (tmp_path / "a.json").write_bytes(content)
    with pytest.raises(FileError, match=said) as refused:
        files.read_json(tmp_path / "a.json", "the file")
    assert str(refused.value).startswith(f"the file {tmp_path / 'a.json'} ")
    assert "\n" not in str(refused.value)
    assert len(str(refused.value)) < 400
    with pytest.raises(FileError, match=said):  # the page's upload, the same content without a path
        files.parse_json(content, "the file a.json")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"a = {", "is not TOML"),
        (b"a = inf", "not finite"),
        (b"a = nan", "not finite"),
        (b"a = 1e999", "not finite"),
        (b"a = " + b"9" * 5000, "more than 18 digits"),
        (b"a = 0x" + b"f" * 40, "more than 18 digits"),
        (b"a = " + b"[" * 5000, "nested more than 40 deep"),
        (b".".join([b"a"] * 60) + b" = 1", "nested more than 40 deep"),
        (b'a = "\xff"', "is not text in UTF-8"),
    ],
)
def test_each_fault_of_a_toml_file_is_one_sentence(tmp_path, content, said):
    (tmp_path / "a.toml").write_bytes(content)
    with pytest.raises(FileError, match=said):
        files.read_toml(tmp_path / "a.toml", "the file")


def _pipe(path):
    os.mkfifo(path)


def _ring(path):
    path.symlink_to(path)


def _socket(path):
    socket.socket(socket.AF_UNIX).bind(str(path))


@pytest.mark.skipif(os.name == "nt", reason="makes pipes, sockets and links")
@pytest.mark.parametrize(
    ("make", "said"),
    [
        (_pipe, "not an ordinary file"),
        (_socket, "cannot be read"),
        (_ring, "cannot be read"),
        (os.mkdir, "is a folder"),
        (lambda path: None, "cannot be read"),
    ],
)
def test_what_is_no_ordinary_file_is_neither_waited_for_nor_read(tmp_path, make, said):
    make(tmp_path / "x")
    with pytest.raises(FileError, match=said):
        files.read_json(tmp_path / "x", "the file")


@pytest.mark.skipif(not os.path.exists("/dev/zero"), reason="has no /dev/zero")
def test_a_device_without_end_is_refused(tmp_path):
    (tmp_path / "x").symlink_to("/dev/zero")
    with pytest.raises(FileError, match="not an ordinary file"):
        files.read_json(tmp_path / "x", "the file")


def test_a_missing_file_can_be_told_from_a_bad_one(tmp_path):
    with pytest.raises(MissingFileError):
        files.read_json(tmp_path / "x", "the file")
    with pytest.raises(FileError, match="no file has such a name"):
        files.read_json(tmp_path / "a\0b", "the file")


def test_a_giant_file_is_refused_without_being_read_whole(tmp_path):
    with (tmp_path / "x").open("wb") as file:
        file.truncate(50 * files.MOST_BYTES)
    with pytest.raises(FileError, match="larger than 8 MB"):
        files.read_json(tmp_path / "x", "the file")


@given(RFC_8259)
def test_what_json_can_hold_comes_back(value):
    text = json.dumps(value)
    assert files.parse_json(text, "it") == value
    assert files.parse_json(text.encode(), "it") == value


def test_a_file_is_replaced_with_its_permissions_and_through_a_link(tmp_path):
    (tmp_path / "a").write_text("old")
    (tmp_path / "a").chmod(0o640)
    (tmp_path / "link").symlink_to("a")
    files.write_whole(tmp_path / "link", "new", "the file")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "a").read_text() == "new"
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o640
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "link"]


def test_what_cannot_be_written_is_said_and_leaves_the_old(tmp_path, monkeypatch):
    (tmp_path / "a").write_text("old")

    def full(descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(FileError, match="No space left"):
        files.write_whole(tmp_path / "a", "new", "the file")
    assert [path.name for path in tmp_path.iterdir()] == ["a"]
    assert (tmp_path / "a").read_text() == "old"
    with pytest.raises(FileError, match="cannot be written"):
        files.write_whole(tmp_path / "no folder" / "a", "new", "the file")
    (tmp_path / "folder").mkdir()
    with pytest.raises(FileError, match="not an ordinary file"):
        files.write_whole(tmp_path / "folder", "new", "the file")


def test_threads_that_change_a_file_at_once_lose_nothing(tmp_path):
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda number: adding(tmp_path / "kept.json", str(number)), range(24)))
    assert sorted(map(int, files.read_json(tmp_path / "kept.json", "it"))) == list(range(24))


def test_programs_that_change_a_file_at_once_lose_nothing(tmp_path):
    code = "import sys; from pathlib import Path; from tests.benchmarks.file_kills import adding\n"
    code += "for n in range(5): adding(Path(sys.argv[1]), sys.argv[2] + str(n))"
    writers = [subprocess.Popen([sys.executable, "-c", code, tmp_path / "kept.json", each]) for each in "abcd"]
    assert [writer.wait() for writer in writers] == [0, 0, 0, 0]
    assert len(set(files.read_json(tmp_path / "kept.json", "it"))) == 20


def test_a_file_held_too_long_is_said(tmp_path, monkeypatch):
    monkeypatch.setattr(files, "PATIENCE_S", 0.05)
    with (
        files.changing(tmp_path / "a", "the file"),
        pytest.raises(FileError, match="being written by another"),
        files.changing(tmp_path / "a", "the file"),
    ):
        pass


def test_a_change_that_fails_leaves_the_file_and_frees_it(tmp_path):
    adding(tmp_path / "a", "one")
    with pytest.raises(KeyError), files.changing(tmp_path / "a", "the file"):
        raise KeyError
    adding(tmp_path / "a", "two")
    assert files.read_json(tmp_path / "a", "it") == ["one", "two"]


def test_what_killed_writers_left_goes_with_the_next_writing_in_the_folder(tmp_path):
    ours = (".a[1].0123456789ab.new", ".a[1].sprayout-lock", ".b.0123456789ab.new", ".c.sprayout-lock")
    others = (".a.lock", ".b.new", ".b.0123456789AB.new", "d.0123456789ab.new")
    for name in (*ours, *others):
        (tmp_path / name).write_text("left")
    assert [path.name for path in left_in(tmp_path)] == sorted(ours)
    files.write_whole(tmp_path / "a[1]", "new", "the file")
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted((*others, "a[1]"))


@pytest.mark.skipif(os.name != "posix", reason="rights of POSIX systems")
def test_a_file_in_a_folder_that_is_closed_to_others_is_closed_too(tmp_path):
    for mode, expected in ((0o700, 0o600), (0o755, 0o644)):
        folder = tmp_path / f"{mode:o}"
        folder.mkdir()
        folder.chmod(mode)
        files.write_whole(folder / "a", "new", "the file")
        assert (folder / "a").stat().st_mode & 0o777 == expected & ~_umask()


def _umask() -> int:
    found = os.umask(0)
    os.umask(found)
    return found


def test_what_is_being_written_is_left_alone(tmp_path):
    scratch = tmp_path / ".a.0123456789ab.new"
    with files.changing(tmp_path / "a", "the file") as write:
        scratch.write_text("half")
        assert left_in(tmp_path) == []
        assert clear_in(tmp_path) == 0
        files.write_whole(tmp_path / "b", "new", "the file")
        assert scratch.exists()
        write("whole")
    assert clear_in(tmp_path) == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "b"]


def test_a_link_is_no_leftover(tmp_path):
    (tmp_path / "kept").write_text("kept")
    (tmp_path / ".a.0123456789ab.new").symlink_to(tmp_path / "kept")
    assert clear_in(tmp_path) == 0
    assert (tmp_path / "kept").read_text() == "kept"


@pytest.mark.skipif(os.name == "nt", reason="kills with a POSIX signal")
def test_a_killed_writer_tears_nothing_and_its_scratch_files_go(tmp_path):
    count = killed_while_writing(tmp_path / "kept.json", kills=5)
    assert (count.torn, count.stuck) == (0, 0)
    assert count.writes > 0
    adding(tmp_path / "kept.json", "last")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["kept.json"]


SHEET = files.Kind("capture sheet", b"a capture sheet of this program")


def test_a_new_file_is_written_and_nothing_else_is_left(tmp_path):
    files.write_new(tmp_path / "sheet.pdf", b"a capture sheet of this program, 1", SHEET)
    assert [each.name for each in tmp_path.iterdir()] == ["sheet.pdf"]


@pytest.mark.parametrize("replace", [False, True])
@pytest.mark.parametrize("there", [b"\xff\xd8 a photo", b'{"format": "spray-out-check"}', b""])
def test_a_file_of_another_kind_is_never_written_over(tmp_path, there, replace):
    path = tmp_path / "sheet.pdf"
    path.write_bytes(there)
    with pytest.raises(FileError, match="name a new file"):
        files.write_new(path, b"a capture sheet of this program, 2", SHEET, replace)
    assert path.read_bytes() == there
    assert [each.name for each in tmp_path.iterdir()] == ["sheet.pdf"]


def test_a_file_of_the_same_kind_is_written_over_only_when_that_is_said(tmp_path):
    path = tmp_path / "sheet.pdf"
    files.write_new(path, b"a capture sheet of this program, 1", SHEET)
    with pytest.raises(FileError, match="add --replace"):
        files.write_new(path, b"a capture sheet of this program, 2", SHEET)
    files.write_new(path, b"a capture sheet of this program, 2", SHEET, replace=True)
    assert path.read_bytes() == b"a capture sheet of this program, 2"


def test_a_write_that_fails_leaves_nothing_that_stands_in_the_way_of_the_next(tmp_path, monkeypatch):
    path = tmp_path / "sheet.pdf"

    def full(_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(files.os, "fsync", full)
        with pytest.raises(FileError, match="No space left"):
            files.write_new(path, b"a capture sheet of this program", SHEET)
    assert list(tmp_path.iterdir()) == []
    files.write_new(path, b"a capture sheet of this program", SHEET)
    assert path.is_file()
