"""The command `look`: what it prints, writes and refuses."""

import csv
from collections import Counter

import pytest
from made_notes import DEMO
from test_command_line import files_in

SIX, WOOD, PIPE, COMPUTED = (
    DEMO / f"{name}.toml"
    for name in ("half-inch-six", "tapered-wood-six", "plain-pipe-300", "finite-element-pipe")
)
BAD = {
    "breath in no unit": (["--breath", "520"], "--breath: '520' is not a pressure with its unit"),
    "a storm": (["--breath", "1e6Pa"], "--breath: '1e6Pa' is 1e+06 Pa, outside 5 to 5000 Pa"),
    "breath that is none": (["--breath", "0.1mm"], "outside 5 to 5000 Pa; check unit"),
    "breath with a blank": (["--breath", "500", "Pa"], "--breath 500Pa, or in quotes"),
    "breath in psi": (["--breath", "1 psi"], "write it like '520Pa' or '53mm'"),
    "fingering": (["--fingering", "xxx", "xxyooo"], "options: 2 faults"),
    "room in no unit": (["--room", "22"], "--room: '22' is not a temperature with its scale"),
    "reference pitch": (["--a4", "44"], "--a4: 44 is not a reference pitch"),
    "a room like an oven": (
        ["--room", "220C"],
        "--room: '220C' is no temperature of air to play in",
    ),
    "breath below none": (["--breath", "-5Pa"], "needs a =, as in --breath=VALUE"),
    "two temperatures": (
        ["--room", "20C", "--bore", "22C"],
        "flutelab look: argument --bore: not allowed with argument --room (see flutelab look",
    ),
    "notes as constants": (
        ["--constants", "x.csv"],
        "'x.csv' looks like a note table; give a constants file",
    ),
    "no constants": (["--constants", "none.json"], "none.json"),
}


@pytest.mark.parametrize(
    "flute",
    [SIX, pytest.param(WOOD, marks=pytest.mark.slow), PIPE, COMPUTED],
    ids=["half-inch-six", "tapered-wood-six", "plain-pipe", "finite-element-pipe"],
)
def test_every_demo_flute_can_be_looked_into(run, flute):
    code, out, err = run("look", flute, "--room", "22C")
    assert code == 0
    assert "Where each note comes from" in out
    assert "What a small change does [cents]" in out
    assert "nan" not in out
    assert all(line.startswith("note: ") for line in err.splitlines())
    assert out.endswith("Nothing was written; --out FOLDER saves tables and pictures.\n")


def test_tables_and_pictures_are_written_once(run, tmp_path):
    order = ["look", SIX, "--room", "22C", "--breath", "53mm", "--fingering", "xxxooo", "oooooo",
             "--out", tmp_path]  # fmt: skip
    code, out, _ = run(*order)
    assert code == 0
    written = files_in(tmp_path)
    assert Counter(name.rsplit(".", 1)[1] for name in written) == {"csv": 8, "png": 10, "svg": 10}
    assert all(f"{tmp_path}/{name}" in out.replace("\\", "/") for name in written)
    for name, content in written.items():
        if name.endswith(".png"):
            assert content.startswith(b"\x89PNG")
    text = written["half-inch-six.octaves.csv"].decode().splitlines()
    assert [row["fingering"] for row in csv.DictReader(text)] == ["xxxooo", "oooooo"]
    code, _, err = run(*order)
    assert code == 2
    assert "--overwrite" in err
    assert files_in(tmp_path) == written


@pytest.mark.parametrize("options", BAD, ids=str)
def test_what_is_wrong_is_told_and_nothing_is_written(run, tmp_path, options):
    arguments, told = BAD[options]
    code, out, err = run("look", SIX, *arguments, "--out", tmp_path / "new")
    assert (code, out) == (2, "")
    assert told in err
    assert "usage:" not in err
    assert not (tmp_path / "new").exists()


def test_a_note_table_is_no_flute_file(run):
    code, _, err = run("look", SIX.with_suffix(".csv"))
    assert code == 2
    assert "looks like a note table; give a flute file (TOML) here" in err


def test_a_file_that_is_not_there(run):
    assert run("look", "nothing.toml")[0] == 2


def test_an_overblown_register(run):
    _, first, _ = run("look", SIX, "--bore", "26C", "--fingering", "xxxxxx")
    _, second, _ = run("look", SIX, "--bore", "26C", "--fingering", "xxxxxx", "--register", "2")
    assert "C5" in first
    assert "C6" in second
