"""Writing safely: whole or not at all, never over a user's file."""

import os

import pytest

from flutelab.errors import DataError
from flutelab.files import safely


def listing(folder):
    return sorted(path.name for path in folder.iterdir())


def test_written_files_read_back_and_leave_nothing_beside(tmp_path):
    safely.write_text(tmp_path / "a.txt", "3/16 in, 22 °C\n")
    safely.write_bytes(tmp_path / "b.bin", b"\x00\xff\r\n")
    assert safely.read_text(tmp_path / "a.txt") == "3/16 in, 22 °C\n"
    assert safely.read_bytes(tmp_path / "b.bin") == b"\x00\xff\r\n"
    assert listing(tmp_path) == ["a.txt", "b.bin"]


def test_a_file_that_is_there_is_kept_unless_told(tmp_path):
    path = tmp_path / "a.txt"
    path.write_text("mine")
    with pytest.raises(DataError, match="--overwrite") as error:
        safely.write_text(path, "new")
    assert str(path) in str(error.value)
    assert path.read_text() == "mine"
    safely.write_text(path, "new", overwrite=True)
    assert path.read_text() == "new"
    assert listing(tmp_path) == ["a.txt"]


def test_several_files_are_refused_together(tmp_path):
    names = ["a.txt", "b.txt", "c.txt", "d.txt"]
    a, b, c, d = (tmp_path / name for name in names)
    b.write_text("mine")
    d.mkdir()
    with pytest.raises(DataError) as error:
        safely.write_all(dict.fromkeys((a, b, c, d), b"new"))
    assert len(error.value.faults) == 2
    assert "b.txt" in str(error.value)
    assert "d.txt: there is a folder of that name" in str(error.value)
    assert b.read_text() == "mine"
    assert listing(tmp_path) == ["b.txt", "d.txt"]


def test_a_folder_is_never_overwritten(tmp_path):
    with pytest.raises(DataError, match="folder of that name"):
        safely.check_free([tmp_path], overwrite=True)


def test_free_paths_pass(tmp_path):
    safely.check_free([tmp_path / "a", tmp_path / "b"], overwrite=False)


@pytest.mark.parametrize("error", [KeyboardInterrupt, OSError(28, "No space left on device")])
def test_interrupted_writing_leaves_the_old_files_whole(tmp_path, monkeypatch, error):
    a, b = tmp_path / "a.txt", tmp_path / "b.txt"
    a.write_text("old")
    calls = []

    def stop_at_second(descriptor):
        calls.append(descriptor)
        if len(calls) == 2:
            raise error

    monkeypatch.setattr(os, "fsync", stop_at_second)
    with pytest.raises((KeyboardInterrupt, DataError)) as caught:
        safely.write_all({a: b"new", b: b"new"}, overwrite=True)
    if caught.type is DataError:
        assert "b.txt: the system says: No space left on device" in str(caught.value)
    assert a.read_text() == "old"
    assert listing(tmp_path) == ["a.txt"]


def test_mode_and_link_survive(tmp_path):
    target, link = tmp_path / "real.txt", tmp_path / "link.txt"
    target.write_text("old")
    target.chmod(0o640)
    try:
        link.symlink_to(target)
    except OSError:
        # some systems let only administrators make links; without one there is nothing to test
        pytest.skip("this system makes no links")
    safely.write_text(link, "new", overwrite=True)
    assert link.is_symlink()
    assert target.read_text() == "new"
    if os.name == "posix":
        assert target.stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize(
    ("name", "problem"),
    [
        ("none.toml", "there is no such file"),
        ("nowhere/none.toml", "there is no folder"),
        ("", "this is a folder"),
        ("a\0b", "cannot be a file's name"),
    ],
)
def test_reading_what_is_not_there(tmp_path, name, problem):
    with pytest.raises(DataError, match=problem):
        safely.read_text(tmp_path / name)


def test_a_folder_that_is_not_there_is_told_of_with_the_place_looked_in(tmp_path, monkeypatch):
    (tmp_path / "notebooks").mkdir()
    monkeypatch.chdir(tmp_path / "notebooks")
    with pytest.raises(DataError) as read:
        safely.read_text("data-demo/none.toml")
    (fault,) = read.value.faults
    assert fault.problem == f"there is no folder 'data-demo' in {str(tmp_path / 'notebooks')!r}"
    assert "a path starts there, so one beside it is '../data-demo/...'" in fault.mend
    assert "Make the folder" not in fault.mend
    with pytest.raises(DataError, match="Make the folder"):
        safely.write_text("data-demo/none.toml", "x")
    with pytest.raises(DataError, match=r"no folder '[^']*nowhere'\. Check its name\."):
        safely.read_text(tmp_path / "nowhere" / "none.toml")


@pytest.mark.parametrize(("name", "problem"), [("no/a.txt", "no folder"), ("a\0b", "file's name")])
def test_writing_where_nothing_can_be(tmp_path, name, problem):
    with pytest.raises(DataError, match=problem):
        safely.write_text(tmp_path / name, "x")
    assert listing(tmp_path) == []


def test_refused_by_the_system(tmp_path, monkeypatch):
    def refuse(path):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(safely.Path, "read_bytes", refuse)
    with pytest.raises(DataError, match="does not permit it"):
        safely.read_bytes(tmp_path / "a.txt")


def test_byte_order_mark_is_dropped(tmp_path):
    (tmp_path / "a.txt").write_bytes(b"\xef\xbb\xbfname")
    assert safely.read_text(tmp_path / "a.txt") == "name"


def test_other_encodings_are_named_with_their_line(tmp_path):
    path = tmp_path / "a.txt"
    path.write_bytes('unit = "mm"\nname = "Flöte"\n'.encode("latin-1"))
    with pytest.raises(DataError, match="save it again as UTF-8") as error:
        safely.read_text(path)
    assert """line 2: 'name = "Flöte"'""" in str(error.value)
