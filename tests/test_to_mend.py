"""What is to be mended before a calibration is trusted, and that nothing else is advised."""

import numpy as np
import pytest
from made_notes import CROSSED, DEMO, SCALE, SIX, changed_demo, demo, notes_of
from scipy.stats import norm

from flutelab import calibrate, report
from flutelab.files.constants_file import constants_of
from flutelab.files.flute_file import read_flute
from flutelab.files.learned import learned, sd_on
from flutelab.files.note_table import read_measurements
from flutelab.files.sentences import sentences
from flutelab.files.to_mend import (
    BY_CHANCE,
    days_apart,
    is_consequence,
    is_to_mend,
    what_does_not_fit,
)
from flutelab.fitting.flutes import for_next_flute
from flutelab.fitting.suspects import suspects

WORDS = SCALE + CROSSED[:2]


def two_days(apart):
    """The same fingerings on two days, the second by so many cents sharper."""
    n = len(WORDS)
    return calibrate(
        notes_of(
            SIX, WORDS * 2, off=[0.0] * n + [apart] * n, session=("monday",) * n + ("friday",) * n
        )
    )


def test_days_that_lie_apart_are_told_and_nothing_is_filed():
    result = two_days(32.0)
    told = days_apart(result)
    assert told.startswith("the session 'friday' and the session 'monday' lie ")
    assert told.endswith(
        "look at the tuner (A4) and the thermometer of each before you trust either"
    )
    assert is_to_mend(result, ())
    said = sentences(result, ())
    assert said[2].startswith("Mend first what does not fit (next sentence)")
    assert told[1:] in said[3]
    assert "file" not in said[4]
    text = report(result, odd=())
    assert f"What does not fit\n  {told}" in text
    assert "nothing else need be wrong" not in text


def test_all_that_does_not_fit_is_named_where_no_report_stands_below():
    words = SCALE + CROSSED
    off = np.where(np.arange(len(words)) % 2, 0.0, 60.0 * (-1) ** np.arange(len(words)))
    result = calibrate(notes_of(SIX, words, off=off))
    odd = suspects(result)
    short, whole = (what_does_not_fit(result, odd, whole=whole) for whole in (False, True))
    assert "see below" in short
    assert "see below" not in whole
    assert len(whole) > len(short)
    assert constants_of(result, odd).document["to_mend"] == whole


def test_days_as_far_apart_as_chance_has_them_are_not_told():
    result = two_days(8.0)
    assert not days_apart(result)
    assert not is_to_mend(result, ())


def test_two_sessions_are_told_from_two_sd_of_their_difference():
    # two normal deviates of 5 cents differ by 1.96 x 5 x sqrt(2) = 13.9 cents in 5 % of cases
    # (normal table, any handbook)
    assert np.sqrt(2) * 5 * norm.isf(BY_CHANCE / 2) == pytest.approx(13.86, abs=0.01)
    found = {apart: days_apart(two_days(apart)) for apart in (13.0, 18.0)}
    assert not found[13.0]
    assert found[18.0]


@pytest.fixture(scope="module")
def turned(tmp_path_factory):
    """The demo flute with every fingering written from the foot."""
    flute, notes = changed_demo(tmp_path_factory.mktemp("turned"))
    lines = [line.split(",") for line in notes.read_text().splitlines()]
    at = lines[0].index("fingering")
    for line in lines[1:]:
        line[at] = line[at][::-1]
    notes.write_text("\n".join(map(",".join, lines)) + "\n")
    result = calibrate(read_measurements(notes, read_flute(flute)))
    return result, suspects(result)


def test_rows_that_are_only_consequences_need_no_mending(turned):
    result, odd = turned
    assert odd[0].cause == "ends"
    said = sentences(result, odd)
    assert "were left out only because of this, and need no mending" in said[3]
    assert said[4] == "Mend the note table; then calibrate again."
    assert is_consequence(result, odd, 0, 2)
    assert not is_consequence(result, odd, 0, 0)
    text = report(result, odd=odd)
    assert "check the fingering and the note" not in text
    assert "left out: -387 cents from register 1\n" in text


def test_without_a_mistake_of_the_whole_each_row_is_named(turned):
    result, _ = turned
    assert "check the fingering and the note" in sentences(result, ())[3]
    assert not is_consequence(result, (), 0, 2)


def test_two_sound_flutes_are_judged_by_what_each_has_for_itself(tmp_path):
    # the demo's planted slip and planted hole, mended (data-demo/truth)
    slip = "saturday,xooooo,1,A5,-3,", "saturday,xooooo,1,A5,-33,"
    hole = (
        'from_foot = "6 3/4 in"\ndiameter = "13/64 in"',
        'from_foot = "6 3/4 in"\ndiameter = 0.227',
    )
    pairs = changed_demo(tmp_path), changed_demo(tmp_path, slip, hole, name="half-inch-six")
    measured = [read_measurements(notes, read_flute(flute)) for flute, notes in pairs]
    own = ("window", "bore", "air_offset")
    result = for_next_flute(calibrate(*measured, own=own), own)
    # the next flute's window is hardly known from two, and still the notes do tell of these
    assert learned(result, "window")[1] == "prior only"
    assert all(
        sd_on(result, table, "window") < 0.5 * result.priors["window"].sd for table in (0, 1)
    )
    said = sentences(result, ())
    assert said[2].startswith(
        "With the corrections flutelab should foretell the next flute's notes"
    )
    assert "say next to nothing" not in said[4]


def test_the_readme_quotes_what_is_printed_of_the_demo():
    result = calibrate(demo("half-inch-six"))
    lines = (DEMO.parent / "README.md").read_text().splitlines()
    quoted = " ".join(line[2:] for line in lines if line.startswith("> "))
    assert sentences(result, suspects(result))[3] in quoted
