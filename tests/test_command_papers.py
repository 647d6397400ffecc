"""The command `papers`: what it writes, for whom, and what it refuses."""

import io
import sys
from argparse import ArgumentTypeError
from pathlib import Path

import pytest
from pypdf import PdfReader
from test_command_line import files_in

from flutelab import __main__ as command
from flutelab.files import options, workspace
from flutelab.files.form import MOST_HOLES
from flutelab.view.paper import FOR_WHOM, PAPERS, sheets

PAGES = {
    "class-pupils.pdf": 4,
    "class-teacher.pdf": 4,
    "six-stills.pdf": 6,
    "measuring-sheet.pdf": 1,
    "note-sheet.pdf": 1,
}


@pytest.fixture
def blank(monkeypatch):
    """Stand in for what is printed, and record what was asked for."""
    asked = []

    def papers(demo, paper, **how):
        asked.append((demo, paper, how))
        return {name: f"{name} {len(asked)}".encode() for name in FOR_WHOM}

    monkeypatch.setattr(command, "all_papers", papers)
    return asked


def test_five_papers_are_written_and_named_with_their_reader(run, tmp_path):
    folder = tmp_path / "new" / "place"
    code, out, err = run("papers", "--out", folder, "--paper", "Letter", "--holes", "5")
    assert (code, err) == (0, "")
    written = files_in(folder)
    assert set(written) == set(PAGES)
    for name, count in PAGES.items():
        pages = PdfReader(io.BytesIO(written[name])).pages
        assert len(pages) == count
        # ANSI/ASME Y14.1, size A: 8.5 x 11 in, from memory
        assert [float(x) for x in pages[0].mediabox[2:]] == pytest.approx([612, 792])
        (line,) = [line for line in out.splitlines() if line.startswith(f"  {name} ")]
        assert line.endswith(FOR_WHOM[name])
    assert out.startswith(f"Written in {folder}:\n")
    assert "invented" in out
    sheet = PdfReader(io.BytesIO(written["measuring-sheet.pdf"])).pages[0].extract_text()
    assert "D5" in sheet
    assert "D6" not in sheet


def test_options_reach_the_sheets(run, tmp_path, blank):
    run("papers", "--out", tmp_path / "a")
    run("papers", "--out", tmp_path / "b", "--holes", "0", "--unit", "in", "--paper", "a4")
    demo = Path(command.__file__).resolve().parents[1] / "data-demo"
    assert blank == [
        (demo, "a4", {"holes": 6, "unit": "mm"}),
        (demo, "a4", {"holes": 0, "unit": "in"}),
    ]


def test_without_a_folder_they_lie_beside_the_users_flutes(run, tmp_path, monkeypatch, blank):
    monkeypatch.setattr(command, "default_folder", lambda: tmp_path / "My flutes")
    code, out, _ = run("papers")
    assert code == 0
    folder = tmp_path / "My flutes" / "papers"
    assert f"Written in {folder}:" in out
    assert set(files_in(folder)) == set(FOR_WHOM)


def test_nothing_is_overwritten_unasked(run, tmp_path, blank):
    (tmp_path / "note-sheet.pdf").write_bytes(b"mine")
    code, out, err = run("papers", "--out", tmp_path)
    assert (code, out) == (2, "")
    assert "note-sheet.pdf: the file is there already and was left as it is" in err
    assert "--overwrite" in err
    assert files_in(tmp_path) == {"note-sheet.pdf": b"mine"}
    assert not blank  # nothing was drawn
    assert run("papers", "--out", tmp_path, "--overwrite")[0] == 0
    assert files_in(tmp_path)["note-sheet.pdf"] == b"note-sheet.pdf 1"


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        (["--paper", "lettr"], "invalid choice: 'lettr' (choose from"),
        (["--paper", "lettr"], "the nearest is letter"),
        (["--holes", "11"], "'11' is no number of holes; write a whole number from 0 to 10"),
        (["--holes", "six"], "'six' is no number of holes"),
        (["--holes", "-1"], "a whole number from 0 to 10"),
        (["--unit", "cm"], "invalid choice: 'cm'"),
        (["--hole", "5", "--papr", "a4"], "'--papr' is no option; the nearest is --paper"),
        (["a4"], "'a4' belongs to no option"),
    ],
)
def test_a_wrong_option_is_named_and_nothing_is_written(run, tmp_path, blank, wrong, told):
    code, out, err = run("papers", "--out", tmp_path / "new", *wrong)
    assert (code, out) == (2, "")
    assert told in err
    assert not list(tmp_path.iterdir())


def test_a_file_in_the_way_of_the_folder_is_named(run, tmp_path, blank):
    (tmp_path / "papers").write_bytes(b"mine")
    code, _, err = run("papers", "--out", tmp_path / "papers")
    assert code == 2
    assert "is a file; give the name of a folder" in err
    assert files_in(tmp_path) == {"papers": b"mine"}


def test_without_a_clone_it_says_what_to_get(run, tmp_path, monkeypatch):
    monkeypatch.setattr(
        workspace, "__file__", str(tmp_path / "lib" / "flutelab" / "files" / "w.py")
    )
    code, out, err = run("papers", "--out", tmp_path / "new")
    assert (code, out) == (2, "")
    assert err.startswith("flutelab papers: 1 fault\n")
    assert "installed without its clone" in err
    assert "Get the whole project" in err
    assert not list(tmp_path.iterdir())


def test_without_the_library_it_says_how_to_install_it(run, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "reportlab.pdfbase", None)
    code, out, err = run("papers", "--out", tmp_path / "new")
    assert (code, out) == (2, "")
    assert "reportlab" in err
    assert "pip install -e '.[all]'" in err
    assert not list(tmp_path.iterdir())


def test_command_and_sheets_know_the_same_limits():
    assert options.hole_count(str(MOST_HOLES)) == MOST_HOLES
    assert len(sheets.measuring_pages(MOST_HOLES)) == len(sheets.note_pages(MOST_HOLES)) == 1
    for refuse in (sheets.measuring_pages, sheets.note_pages):
        with pytest.raises(ValueError, match=f"0 to {MOST_HOLES}"):
            refuse(MOST_HOLES + 1)
    with pytest.raises(ArgumentTypeError, match=f"0 to {MOST_HOLES}"):
        options.hole_count(str(MOST_HOLES + 1))
    assert set(PAPERS) == {"a4", "letter"}
    assert set(PAGES) == set(FOR_WHOM)
