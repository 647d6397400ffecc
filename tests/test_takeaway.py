"""Constants to take away: lengths, the same pipe at another length, words before a cut."""

import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from flutelab import DataError, read_flute
from flutelab.files.constants_file import constants_text
from flutelab.files.foretell import UNSURE, foretell, usual_fingerings
from flutelab.files.tables import csv_text
from flutelab.files.takeaway import (
    CARRIES_OVER,
    corrections_table,
    cutting_words,
    known_from_constants,
    known_from_notes,
    lengths_to_ask,
    notes_now,
    pairs_of,
    same_pipe,
    two_lengths,
)
from flutelab.model.corrections import NAMES
from flutelab.physics.air import moist_air
from flutelab.units import celsius

DEMO = Path(__file__).resolve().parent.parent / "data-demo"


def files(name):
    paths = (DEMO / f"{name}.toml", DEMO / f"{name}.csv")
    return [(path.name, path.read_bytes()) for path in paths]


@pytest.fixture(scope="module")
def known():
    return known_from_notes(*files("three-quarter-five"))


@pytest.fixture(scope="module")
def flute(known):
    return known.flute


def test_lengths_are_those_of_the_constants_file(known, flute):
    ours, theirs = corrections_table(known.constants, flute), corrections_table(known.constants)
    pd.testing.assert_frame_equal(ours, theirs, atol=1e-9)
    assert set(ours["correction"]) == set(NAMES) == set(CARRIES_OVER)
    foot = ours[ours["correction"] == "foot"].iloc[0]
    assert foot["with_correction_mm"] == pytest.approx(foot["value"] * foot["by_formula_mm"])
    assert foot["longer_mm"] == pytest.approx(foot["with_correction_mm"] - foot["by_formula_mm"])
    # 25.4 mm to the inch, exact: NIST SP 811 (2008), appendix B.8
    lengths = ours[ours["with_correction_mm"].notna()]
    for column in ("by_formula", "with_correction", "longer", "sd"):
        assert np.allclose(lengths[f"{column}_mm"], 25.4 * lengths[f"{column}_in"])
    window = ours[ours["correction"] == "window"].set_index("where")["with_correction_mm"]
    edge, centre = window["from the sounding edge"], window["from the window's centre"]
    assert edge - centre == pytest.approx(1e3 * flute.head.along / 2)


def test_the_table_says_what_it_holds_as_csv(known):
    frame = pd.read_csv(io.StringIO(csv_text(corrections_table(known.constants, known.flute))))
    assert {"by_formula_mm", "with_correction_in", "value_sd", "definition"} <= set(frame)
    assert frame["definition"].str.len().min() > 20
    assert frame["meaning"].notna().all()


def test_lengths_and_half_a_wave_agree(known, flute):
    """Half a wave is the pipe and its two end corrections: any textbook of acoustics, for an open
    pipe. Closed holes and friction are left out of it; they come to some millimetres."""
    lengths = corrections_table(known.constants, flute).set_index(["correction", "where"])
    corrections = lengths["with_correction_mm"]
    sum_of_it = 1e3 * flute.foot.position + corrections["window", "from the sounding edge"]
    sum_of_it += corrections["foot", "at the foot"]
    bore = np.mean(known.constants.document["conditions"]["bore_temperature_c"])
    speed = moist_air(celsius(bore), humidity=0.5).sound_speed
    root = notes_now(flute, known.constants)["hz"][0]
    assert 1e3 * speed / (2 * root) == pytest.approx(sum_of_it, abs=5)


def test_notes_are_those_that_predict_foretells(known, flute):
    now = notes_now(flute, known.constants)
    frame = foretell(flute, usual_fingerings(flute), constants=known.constants).frame
    assert np.allclose(now["hz"], frame["frequency_hz"])
    assert np.allclose(now["sd_cents"], frame["sd_cents"])


def test_a_shorter_pipe_is_higher_and_most_where_all_holes_are_closed(known, flute):
    both = two_lengths(flute, known.constants, 0.338)
    assert (both["shift_cents"] > 0).all()
    assert (np.diff(both["shift_cents"]) < 0).all()
    longer = two_lengths(flute, known.constants, 0.378)
    assert (longer["shift_cents"] < 0).all()
    # the pipe's own rule: half a wave is length and end corrections (67 mm here)
    expected = 1200 * np.log2((358 + 67.1) / (338 + 67.1))
    assert both["shift_cents"][0] == pytest.approx(expected, abs=6)


def test_its_own_length_moves_nothing(known, flute):
    now = notes_now(flute, known.constants)
    both = two_lengths(flute, known.constants, flute.foot.position, now)
    assert (both["shift_cents"] == 0).all()
    assert (both["other_note"] == now["note"]).all()


def test_the_same_pipe_keeps_its_holes_and_rim(flute):
    other = same_pipe(flute, 0.3)
    assert other.holes == flute.holes
    assert other.bore == flute.bore
    assert other.foot.position == 0.3
    assert other.foot.outer_diameter == flute.foot.outer_diameter
    wooden = read_flute(DEMO / "tapered-wood-six.toml")
    assert same_pipe(wooden, 0.45).foot.outer_diameter == 0.025


def test_no_pipe_is_cut_through_a_hole(flute):
    low, high = lengths_to_ask(flute)
    assert low == pytest.approx(0.264 + 0.0042 + 0.001)
    assert high == pytest.approx(1.5 * 0.358)
    assert same_pipe(flute, low).foot.position == low
    with pytest.raises(ValueError, match=r"268\.00 mm is too short: the last hole needs 269\.20"):
        same_pipe(flute, 0.268)


def test_words_before_a_cut(flute):
    assert cutting_words(flute, 0.358)[0] == "This is the flute's own length."
    shorter = " ".join(cutting_words(flute, 0.33))
    assert shorter.startswith("28.00 mm shorter than this flute. A pipe that is cut too short ca")
    assert "The holes stay where they are" in shorter
    assert "a new piece of the same pipe" in cutting_words(flute, 0.40)[0]
    assert "It is 26 bores long" in cutting_words(flute, 0.53)[-1]
    assert cutting_words(flute, 0.3326, "in")[0].startswith("1.000 in shorter")
    plain = read_flute(DEMO / "plain-pipe-300.toml")
    assert not any("holes" in words for words in cutting_words(plain, 0.29))
    assert len(cutting_words(plain, 0.15)) == 1  # no duct flute, no usual length


def test_what_is_known_from_notes_has_five_sentences(known):
    assert len(known.opening["mm"]) == 5
    assert "window correction, 5.37 mm longer" in known.opening["mm"][1]
    assert "window correction, 0.211 in longer" in known.opening["in"][1]


def test_constants_alone_and_with_a_flute(known, flute):
    file = ("mine.json", constants_text(known.constants).encode())
    alone = known_from_constants(file)
    assert alone.flute is None
    assert "Three-quarter-inch five-hole, tuned" in alone.opening["mm"][0]
    assert "Give a flute file too" in alone.opening["mm"][1]
    own, _ = files("three-quarter-five")
    both = known_from_constants(file, own)
    assert both.flute == flute
    assert not both.is_to_mend
    assert both.opening["mm"][0].endswith("No row and no hole stood out.")
    assert len(both.opening["mm"]) == 1
    assert np.allclose(
        notes_now(both.flute, both.constants)["hz"], notes_now(flute, known.constants)["hz"]
    )
    other, _ = files("half-inch-six")
    take_care = {unit: said[1] for unit, said in known_from_constants(file, other).opening.items()}
    assert "this is 'Half-inch six-hole, before tuning' (bore 15.34 mm)" in take_care["mm"]
    assert "this is 'Half-inch six-hole, before tuning' (bore 0.604 in)" in take_care["in"]


def test_what_did_not_fit_goes_with_the_constants():
    flute, notes = files("half-inch-six")  # something does not fit; its sizes are in inches
    known = known_from_notes(flute, notes)
    said = known.constants.document["to_mend"]
    assert said in known.opening["in"]
    again = known_from_constants(("c.json", constants_text(known.constants).encode()), flute)
    assert known.is_to_mend
    assert again.is_to_mend
    assert said[1:] in again.opening["mm"][0]
    told = foretell(again.flute, ["xxxxxx", "hxxxxx"], constants=again.constants)
    assert said[1:] in told.remarks[0]
    assert set(told.frame["remark"]) == {UNSURE}
    assert told.frame["sd_cents"].isna().all()
    assert "nan" not in told.text
    assert not any(remark.startswith(("+-", "half")) for remark in told.remarks)
    # a file of before it was written down says nothing of it
    del again.constants.document["to_mend"]
    old = known_from_constants(("c.json", constants_text(again.constants).encode()))
    assert not old.is_to_mend
    assert "stands in the report" in old.opening["mm"][0]


def test_flutes_with_notes_are_found(tmp_path):
    found = pairs_of(DEMO)
    assert "Half-inch six-hole, before tuning" in found
    assert all(flute.stem == notes.stem for flute, notes in found.values())
    # results of finite elements are no note table
    assert not any(flute.stem == "finite-element-pipe" for flute, _ in found.values())
    assert pairs_of(tmp_path) == {}


def test_a_file_at_fault_is_told_under_its_name():
    with pytest.raises(DataError, match=r"^bad\.json: "):
        known_from_constants(("bad.json", b"{}"))
    flute, notes = files("three-quarter-five")
    with pytest.raises(DataError, match=r"^bad\.toml: "):
        known_from_notes(("bad.toml", b"name = 3"), notes)
    with pytest.raises(DataError, match=r"^bad\.csv: "):
        known_from_notes(flute, ("bad.csv", b"fingering\nxx\n"))
