"""Mistakes in words: what it looks like, what to do, and every likely cause."""

from dataclasses import replace

import numpy as np
import pytest
from made_notes import CROSSED, DEMO, SCALE, SIX, notes_of
from suspects_study import MISTAKES

from flutelab import (
    Corrections,
    FitError,
    calibrate,
    read_flute,
    read_measurements,
    report,
    suspects,
)
from flutelab.files.suspected import hole_acts, or_else_words, others, suspect_words, unfitted_words
from flutelab.fitting.suspects import Suspect, suspects_unfitted

WORDS = SCALE * 2 + CROSSED
HOLE = {"kind": "hole", "table": 0, "index": 2, "worth": 30.0, "chance": 11.0}
ROW = {"kind": "row", "table": 0, "index": 3, "worth": 30.0, "chance": 13.0}
ALL = {"kind": "flute", "table": 0, "worth": 30.0, "chance": 14.0}


@pytest.fixture(scope="module")
def good():
    return calibrate(notes_of(SIX, WORDS, Corrections(window=1.05)))


@pytest.mark.parametrize(("amount", "cause", "words"), [
    (0.6e-3, "diameter", "0.6 mm wider than written"),
    (-0.6e-3, "diameter", "0.6 mm narrower than written"),
    (3e-3, "position", "3.0 mm nearer the foot than written"),
    (-3e-3, "position", "3.0 mm nearer the window than written"),
])  # fmt: skip
def test_a_hole_acts_as_its_amount_says(amount, cause, words):
    suspect = Suspect(cause=cause, amount=amount, **HOLE)
    assert hole_acts(suspect, SIX) == words
    inch = replace(SIX, unit="in")
    assert " in " in hole_acts(suspect, inch)


def test_a_hole_that_may_be_two_things_is_told_with_both(good):
    wider = Suspect(cause="diameter", amount=0.6e-3, **HOLE)
    nearer = Suspect(cause="position", amount=-3e-3, **HOLE)
    elsewhere = replace(nearer, index=1)
    told = suspect_words(good, replace(wider, or_else=(elsewhere, nearer)))
    assert told == (
        "hole 3 (counted from the window) acts as if 0.6 mm wider than written, or 3.0 mm nearer "
        "the window than written: measure with a caliper how wide it is, both ways, and how far it "
        "is from the window"
    )


@pytest.mark.parametrize(("more", "words"), [
    ({"cause": "slip", "amount": 40.0}, "reads 40 cents above where the other notes put it: play"),
    ({"cause": "octave", "amount": 1200.0, "value": 0.5}, "as if written an octave too high: play"),
    ({"cause": "octave", "amount": -1200.0, "value": 2.0}, "as if written an octave too low: play"),
    ({"cause": "register", "amount": 1190.0, "value": 2.0}, "where register 2 lies: write reg"),
    ({"cause": "fingering", "amount": -80.0, "name": "xxxxoo"}, "80 cents below where the other "
     "notes put it, where xxxxoo lies: play both, and mend the fingering"),
    ({"cause": "fingering", "amount": np.nan, "name": "xxxxoo"}, "has no note in its register"),
])  # fmt: skip
def test_a_row_is_named_with_its_likely_reading(good, more, words):
    told = suspect_words(good, Suspect(**ROW, **more))
    assert told.startswith("row 4 (xxxooo)")
    assert words in told


@pytest.mark.parametrize(("more", "words"), [
    ({"cause": "ends"}, "the fingerings of six.csv fit when read from the other end: write"),
    ({"cause": "sizes"}, "the holes of 'six' fit when their sizes are read from the other end"),
    ({"cause": "mirrored"}, "listed and placed from the other end"),
    ({"cause": "inch", "name": "hole 3 wall", "amount": 25.4},
     "hole 3 wall of 'six' acts as if 76.200 mm, not 3.000 mm: measure it again, and look whether "
     "it was typed as inches for millimetres"),
])  # fmt: skip
def test_a_mistake_of_the_whole_is_told_with_its_mend(good, more, words):
    kind = "table" if more["cause"] == "ends" else "flute"
    assert words in suspect_words(good, Suspect(**(ALL | {"kind": kind}), **more))


def test_a_flat_shift_names_both_causes_whichever_comes_first(good):
    flat = ALL | {"kind": "table"}
    warm = Suspect(cause="temperature", amount=-9.8, **flat)
    a4 = Suspect(cause="a4", amount=-31.8, value=448.0, **flat)
    most = "the tuner stood at A4 = 448 Hz, not 440 (32 cents)"
    # c goes as the root of T (ideal gas, any textbook): 9.8 K of 299 K are 29 cents
    less = "the air was 10 degrees C colder than written (29 of those 32 cents)"
    both = f"lie as if {most}, or {less}"
    assert f"{both}: hang the thermometer" in suspect_words(good, replace(warm, or_else=(a4,)))
    assert both in or_else_words(good, replace(a4, or_else=(warm,)))
    assert not others(replace(warm, or_else=(a4,)))


def test_a_flat_shift_offers_only_what_explains_about_half_of_it(good):
    flat = ALL | {"kind": "table"}
    warm = Suspect(cause="temperature", amount=-13.0, **flat)
    for hertz, cents, offered in ((445.0, -19.6, True), (442.0, -7.9, False), (432.0, 31.8, False)):
        a4 = Suspect(cause="a4", amount=cents, value=hertz, **flat)
        told = suspect_words(good, replace(warm, or_else=(a4,)))
        assert "the air was 13 degrees C colder than written (39 cents)" in told
        assert ("A4 =" in told) is offered
        assert ("(20 of those 39 cents)" in told) is offered


def test_the_report_tells_each_with_chance_beside_it_and_what_else_it_may_be():
    measured = MISTAKES["place"](1001, np.random.default_rng(5)).measured
    result = calibrate(measured)
    found = suspects(result)
    text = report(result, odd=found)
    assert found[0].or_else
    for suspect in found:
        fall = f"({suspect.worth:.0f}; chance {suspect.chance:.0f})"
        assert f"{suspect_words(result, suspect)} {fall}" in text
        for other in suspect.or_else:
            assert f"or else {or_else_words(result, other)} ({other.worth:.0f})" in text


def test_a_row_left_out_is_told_of_once():
    off = np.zeros(len(WORDS))
    off[4] = 1200.0
    result = calibrate(notes_of(SIX, WORDS, off=off))
    sentence = report(result).splitlines()[3]
    assert sentence.count("Row 5") + sentence.count("row 5") == 1
    assert "it reads an octave high" in sentence or "write register = 2" in sentence


@pytest.mark.filterwarnings("ignore::flutelab.ValidityWarning")  # that is the slip itself
def test_where_no_row_fits_a_mistyped_size_is_named():
    slip = replace(SIX, head=replace(SIX.head, across=SIX.head.across / 25.4))
    measured = replace(notes_of(SIX, SCALE), flute=slip)
    with pytest.raises(FitError):
        calibrate(measured)
    (told,) = unfitted_words([measured], suspects_unfitted(measured))
    assert told == (
        "perhaps window across of 'six' acts as if 8.000 mm, not 0.315 mm: measure it again, and "
        "look whether it was typed as inches for millimetres"
    )


def test_single_rows_that_the_fits_own_error_names_are_not_told_again():
    low = notes_of(SIX, SCALE, off=[-1200.0] * 7)
    odd = suspects_unfitted(low)
    assert {suspect.kind for suspect in odd} == {"row"}
    assert unfitted_words([low], odd) == []


@pytest.mark.filterwarnings("ignore::flutelab.errors.FitWarning")
def test_a_slip_in_one_of_a_pair_is_named(tmp_path):
    written = (DEMO / "three-quarter-five.csv").read_text(encoding="utf-8")
    table = tmp_path / "notes.csv"
    slipped = written.replace("bench,xoooo,1,F#5,-35", "bench,xoooo,1,F#5,10")
    assert slipped != written
    table.write_text(slipped, encoding="utf-8")
    measured = read_measurements(table, read_flute(DEMO / "three-quarter-five.toml"))
    assert measured.sd[:14].max() < 4
    assert any("rows 5, 8 repeat one another, but lie 44" in said for said in measured.reading)
    (slip,) = suspects(calibrate(measured))
    assert (slip.kind, slip.index) == ("row", 7)  # row 8
    assert slip.amount == pytest.approx(45, abs=5)
