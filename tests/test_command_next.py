"""The command `next`: what it says, writes and refuses."""

import csv

import pytest
from made_notes import DEMO, changed_demo
from test_command_line import files_in

FIVE = [DEMO / f"three-quarter-five.{ending}" for ending in ("toml", "csv")]
PIPE = [DEMO / f"plain-pipe-300.{ending}" for ending in ("toml", "csv")]


def test_what_would_tell_more_of_the_window(run):
    code, out, err = run("next", *FIVE)
    assert code == 0
    assert not err
    assert out.startswith("The window correction: known to ± 1.9 mm (standard deviation)")
    assert "without the jet" in out
    assert out.endswith("Nothing was written; --out FOLDER saves tables and pictures.\n")


def test_several_corrections_or_notes_can_be_asked_for(run):
    code, out, _ = run("next", *FIVE, "--of", "foot,wall")
    assert code == 0
    assert "The foot correction: known to" in out
    assert "The walls at the holes: known to" in out
    code, out, _ = run("next", *FIVE, "--fingering", "xxoxx")
    assert code == 0
    assert "xxoxx" in out.splitlines()[0]
    assert "cents" in out.splitlines()[0]


def test_tables_and_pictures_are_written_once(run, tmp_path):
    order = ["next", *FIVE, "--out", tmp_path]
    assert run(*order)[0] == 0
    written = files_in(tmp_path)
    stem = "three-quarter-five.next_window"
    assert set(written) == {f"{stem}.{kind}" for kind in ("csv", "png", "svg")}
    lines = list(csv.DictReader(written[f"{stem}.csv"].decode().splitlines()))
    left = [float(row["sd_left"]) for row in lines if row["window"] == "as played"]
    assert left == sorted(left)
    code, _, err = run(*order)
    assert code == 2
    assert "--overwrite" in err
    assert files_in(tmp_path) == written


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ([*FIVE, "--of", "windwo"], "--of: 'windwo' is no correction"),
        ([*FIVE, "--of", "coupling"], "the fit has no correction 'coupling'. It has 'window', "),
        ([*FIVE, "--fingering", "xxxxxx"], "has 6 letters but the flute has 5 holes"),
        ([*FIVE, "--fingering", "xoxxo"], "does not sound clearly"),
        ([*FIVE, "--own", "window"], "--own: 'window' belongs to a flute, and the one table is"),
        ([*FIVE, *FIVE], "are given twice, byte for byte the same file. Give each table once"),
        (FIVE[:1], "stands alone"),
        ([*PIPE, "--fingering", "x"], "'x': the flute has no holes. Leave --fingering out"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_written(run, tmp_path, options, told):
    code, out, err = run("next", *options, "--out", tmp_path)
    assert code == 2
    assert told in err
    assert "Traceback" not in err
    assert not out
    assert files_in(tmp_path) == {}


@pytest.mark.slow
def test_of_flutes_with_windows_of_their_own_the_mean_doubt_is_told(run):
    six = [DEMO / f"half-inch-six.{ending}" for ending in ("toml", "csv")]
    code, out, _ = run("next", *FIVE, *six, "--own", "window,bore,air_offset")
    assert code == 0
    mend = out.splitlines()[0]  # the demo's planted slip (data-demo/truth) comes first
    assert mend.startswith("Mend this before you measure more. Row 6 of half-inch-six.csv (xooooo")
    assert "\nThe window correction of each flute: known to ± " in out
    assert "\nThe window correction: known to ± " in run("next", *FIVE, *six)[1]
    code, _, err = run("next", *FIVE, "--own", "windwo")
    assert code == 2
    assert "--own: 'windwo' is no correction" in err


@pytest.mark.slow
def test_an_idea_stands_once_with_its_flutes_and_each_flute_is_named_once(run):
    six = [DEMO / f"half-inch-six.{ending}" for ending in ("toml", "csv")]
    _, out, _ = run("next", *FIVE, *six)
    said, _, table = out.partition("\n\n")
    five = "'Three-quarter-inch five-hole, tuned'"
    assert said.count(five) == 1
    assert "cross-fingered, in the same session, on the same flute;" in said
    assert "the flute is" not in said
    ideas = [line[2:].split("  ")[0] for line in table.splitlines() if " reading" in line][1:]
    names = [idea.partition(" (")[0] if "plain" not in idea else "4 plain pipes" for idea in ideas]
    assert len(ideas) == 15
    assert len(set(names)) == len(names)
    assert (
        "every note again, on another day (Half-inch six-hole, before tuning, or 1 other" in table
    )


def test_a_row_left_out_is_named_first(run, tmp_path):
    low = changed_demo(tmp_path, ("C#5,-33", "C#4,-33"))
    first = run("next", *low)[1].splitlines()[0]
    assert first.startswith("Mend this before you measure more. Row 3 (xxxoo, bench) was left out")


def test_pipes_without_a_window_have_no_window_to_ask_for(run):
    code, out, _ = run("next", *PIPE)
    assert code == 0
    assert out.startswith("No pipe here has a window")
    assert "±" not in out
    assert "The foot correction" in run("next", *PIPE, "--of", "foot")[1]
