"""The command `calibrate --archive`: what it writes, refuses, and how it runs again."""

import shlex
import zipfile

import pytest
from made_notes import DEMO, demo
from test_command_line import files_in

from flutelab import calibrate, report
from flutelab.files.archive import read_archive
from flutelab.files.zipped import unzipped
from flutelab.view.plots.for_paper import PICTURES

FIVE = [DEMO / f"three-quarter-five.{ending}" for ending in ("toml", "csv")]


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """The archive of a demo flute, as a folder and as a file."""
    return tmp_path_factory.mktemp("archive") / "new" / "five.zip"


@pytest.fixture
def archive(run, written):
    if not written.exists():
        code, out, err = run("calibrate", *FIVE, "--archive", written, "--seed", "3")
        assert (code, err) == (0, "")
        assert out == f"{report(calibrate(demo('three-quarter-five')))}\nWritten:\n  {written}\n"
    return written


def test_all_that_a_paper_needs_is_in_it(archive):
    members = unzipped(archive)
    wanted = (
        "README.txt manifest.json versions.json report.txt constants.json corrections.csv "
        "residuals.csv profiles.csv correlations.csv budget.csv what-the-data-tell.txt "
        "suspects.txt mismatch.txt inputs/three-quarter-five.toml inputs/three-quarter-five.csv"
    )
    assert set(wanted.split()) <= set(members)
    for name in PICTURES:
        for width in (85, 170):
            assert members[f"figures/{name}-{width}mm.pdf"].startswith(b"%PDF")
            assert b"<svg" in members[f"figures/{name}-{width}mm.svg"]
    assert read_archive(archive).settings.seed == 3


@pytest.mark.slow
def test_the_command_in_the_read_me_makes_the_same_bytes(run, archive, tmp_path, monkeypatch):
    with zipfile.ZipFile(archive) as file:
        file.extractall(tmp_path)
    monkeypatch.chdir(tmp_path)
    about = (tmp_path / "README.txt").read_text(encoding="utf-8")
    (line,) = [line for line in about.splitlines() if line.startswith("  flutelab calibrate ")]
    code, out, err = run(*shlex.split(line)[1:])
    assert (code, err) == (0, "")
    assert out.startswith((tmp_path / "report.txt").read_text(encoding="utf-8"))
    assert (tmp_path / "again.zip").read_bytes() == archive.read_bytes()


def test_nothing_is_overwritten_unasked(run, archive):
    before = archive.read_bytes()
    code, out, err = run("calibrate", *FIVE, "--archive", archive)
    assert (code, out) == (2, "")
    assert err == (
        f"{archive}: 1 fault\n  {archive}: the file is there already and was left as it is. Give "
        "another name or folder, or add --overwrite (overwrite=True) to replace it.\n"
    )
    assert archive.read_bytes() == before


def test_one_file_in_the_way_keeps_all_back(run, tmp_path):
    (tmp_path / "three-quarter-five.png").write_bytes(b"mine")
    code, _, err = run("calibrate", *FIVE, "--out", tmp_path, "--archive", tmp_path / "a.zip")
    assert code == 2
    assert "three-quarter-five.png" in err
    assert files_in(tmp_path) == {"three-quarter-five.png": b"mine"}


@pytest.mark.slow
def test_out_and_archive_hold_the_same_constants(run, tmp_path, monkeypatch):
    monkeypatch.setattr("flutelab.__main__.paper_files", lambda _: {})
    (tmp_path / "a.zip").write_bytes(b"old")
    out = tmp_path / "out"
    code, told, _ = run(
        "calibrate", *FIVE, "--out", out, "--archive", tmp_path / "a.zip", "--overwrite"
    )
    assert code == 0
    assert told.endswith(f"  {tmp_path / 'a.zip'}\n")
    members = unzipped(tmp_path / "a.zip")
    assert members["constants.json"] == files_in(out)["three-quarter-five.constants.json"]


BAD = {
    "no ending": (["--archive", "{}/a"], "a' is not the name of a zip file; write it like"),
    "another ending": (["--archive", "{}/a.tar"], "a.tar' is not the name of a zip file"),
    "a folder": (["--archive", "{}/folder.zip"], "there is a folder of that name"),
    "a file for a folder": (["--archive", "{}/file/a.zip"], "--archive: '{}/file' is a file; give"),
    "a seed that is none": (["--archive", "{}/a.zip", "--seed", "-1"], "'-1' is no seed; write a"),
    "a seed in words": (["--archive", "{}/a.zip", "--seed", "x"], "'x' is no seed; write a whole"),
    "a typo": (["--archiv3", "{}/a.zip"], "'--archiv3' is no option; the nearest is --archive"),
}


@pytest.mark.parametrize("title", BAD)
def test_what_is_wrong_is_told_and_nothing_is_written(run, tmp_path, title):
    (tmp_path / "folder.zip").mkdir()
    (tmp_path / "file").write_bytes(b"mine")
    given, told = BAD[title]
    code, out, err = run("calibrate", *FIVE, *(word.format(tmp_path) for word in given))
    assert (code, out) == (2, "")
    assert told.format(tmp_path) in err
    assert files_in(tmp_path) == {"file": b"mine"}


def test_an_interrupt_leaves_nothing(run, tmp_path, monkeypatch):
    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("flutelab.__main__.paper_files", interrupted)
    code, _, err = run("calibrate", *FIVE, "--archive", tmp_path / "new" / "a.zip")
    assert (code, err) == (130, "interrupted; no file was left half-written\n")
    assert list(tmp_path.iterdir()) == []
