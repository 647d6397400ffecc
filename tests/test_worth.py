"""Is the model worth it: left-out notes are left out, and every way is judged alike."""

from dataclasses import replace

import numpy as np
import pytest
from made_notes import CROSSED, PIPE, SCALE, SIX, STOPPED, changed, demo, notes_of
from matplotlib import pyplot as plt
from reference.published import published

from flutelab import Bore, Corrections, End, Flute, by_hand, calibrate, moist_air
from flutelab.files.worth_words import way_words, worth_notes_table, worth_table, worth_words
from flutelab.fitting.worth import (
    BOOK,
    CALIBRATED,
    FITTED,
    HAND,
    by_rules,
    is_it_worth_it,
    rival,
    size_of,
)
from flutelab.view.plots.worth import plot_worth
from flutelab.view.style import draw_without_windows

TRUTH = Corrections(window=1.15, foot=0.9, wall=1.1, loss=1.2)
LONG = replace(
    SIX, name="long", bore=Bore(stations=((0.0, 0.019),)),
    foot=End(position=0.36, outer_diameter=0.025),
)  # fmt: skip
WORDS = SCALE + CROSSED


def noisy(flute, words, seed, off=0.0):
    noise = np.random.default_rng(seed).normal(0, 3.0, len(words))
    return notes_of(flute, words, TRUTH, off=noise + off)


def of(worth, way, error=None):
    error = worth.note_out if error is None else error
    return error[worth.ways.index(way)]


def without(measured, left_out):
    """The same table, the rows `left_out` predicted and not fitted."""
    use = tuple("check" if out else use for out, use in zip(left_out, measured.use, strict=True))
    return replace(measured, use=use)


@pytest.fixture(scope="module")
def six():
    return noisy(SIX, WORDS, 1, off=-6.0)


@pytest.fixture(scope="module")
def pooled(six):
    return six, noisy(LONG, SCALE, 2, off=5.0)


def test_left_out_notes_are_foretold_as_by_a_refit_without_them(six):
    # Reference: the whole fit again for each note, the note's readings not fitted.
    twice = notes_of(
        SIX, WORDS * 2, TRUTH, off=np.random.default_rng(4).normal(0, 3.0, 2 * len(WORDS)),
        session=("one",) * len(WORDS) + ("two",) * len(WORDS),
    )  # fmt: skip
    for measured in (six, twice):
        worth = is_it_worth_it(measured)
        words = np.array(measured.rows.label)
        for note, error in zip(worth.label, of(worth, CALIBRATED), strict=True):
            part = calibrate(without(measured, words == note), free=()).tables[0]
            assert error == pytest.approx(np.mean(part.residual[words == note]), abs=0.3)


def test_left_out_flutes_are_foretold_as_by_a_refit_without_them(pooled):
    worth = is_it_worth_it(*pooled)
    for n in range(2):
        tables = [without(m, np.full(len(m.rows), i == n)) for i, m in enumerate(pooled)]
        alone = calibrate(*tables, free=()).tables[n]
        error = of(worth, CALIBRATED, worth.flute_out)[worth.flute == n]
        assert error == pytest.approx(alone.residual, abs=0.5)


def test_a_far_note_is_foretold_within_a_twentieth(six):
    slipped = changed(six, 2, 60.0)
    worth = is_it_worth_it(slipped)
    left_out = np.arange(len(WORDS)) == 2
    part = calibrate(without(slipped, left_out), free=()).tables[0]
    assert of(worth, CALIBRATED)[2] == pytest.approx(part.residual[2], rel=0.05)


def test_a_fitted_constant_is_that_of_the_other_notes():
    # Reference: of single readings in one session the constant is the mean of the others,
    # by hand (the free constant takes the session's offset whole).
    worth = is_it_worth_it(noisy(SIX, WORDS, 7))
    for way in (*HAND, BOOK):
        off = of(worth, way)
        others = [np.mean(np.delete(off, n)) for n in range(len(off))]
        assert of(worth, way + FITTED) == pytest.approx(off - others, abs=1e-3)


def test_all_readings_of_a_note_are_left_out_together():
    # one note read three times, 50 cents off: its other readings must not help
    words = ["xxxooo"] * 3 + [w for w in SCALE if w != "xxxooo"]
    measured = notes_of(SIX, words, off=np.array([50.0] * 3 + [0.0] * 6))
    worth = is_it_worth_it(measured)
    assert len(worth.label) == 7
    assert of(worth, BOOK + FITTED)[worth.label.index("xxxooo")] == pytest.approx(50.0, abs=1e-2)
    assert of(worth, CALIBRATED)[worth.label.index("xxxooo")] > 35
    assert worth.noise[worth.label.index("xxxooo")] == pytest.approx(3 / np.sqrt(3))


def test_rules_are_those_by_hand_overblown_by_whole_numbers():
    measured = notes_of(SIX, ["xxxxxx", "xxxooo", "xxxxxx"], register=[1, 1, 2])
    said = by_rules(SIX, measured.rows)
    first = by_hand(SIX, measured.rows)
    for name, line in zip(HAND, said, strict=True):
        known = first.frequency[first.rules.index(name)]
        assert line[2] == pytest.approx(2 * line[0])
        assert line[1] == pytest.approx(known[1])
    row, alone = (said[HAND.index(name)] for name in ("row", "one hole"))
    assert row[0] == alone[0]  # no two open holes
    assert row[1] != alone[1]


def test_published_plain_pipes_are_off_each_rule_by_what_arithmetic_says():
    # T. Boelkes, I. Hoffmann, ISB Journal of Physics, January 2011, tests/published: pipes
    # whose tones lie as by an end correction of 0.33 D at each end; the school's 0.6 radii
    # and none at all are then off by the ratio of the lengths. Tones are given to 0.1 Hz.
    air = moist_air(293.15, humidity=0.0)
    tables, lengths, radii = [], [], []
    for row in published("plain_pipes"):
        bore = row["diameter"] * 1e-3
        flute = Flute(
            name=f"{row['diameter']} mm", bore=Bore(stations=((0.0, bore),)), holes=(),
            head=End(position=0.0, outer_diameter=bore),
            foot=End(position=row["length"], outer_diameter=bore),
        )  # fmt: skip
        measured = notes_of(flute, [""], air=air)
        tables.append(replace(measured, frequency=np.array([row["value"]])))
        lengths.append(row["length"])
        radii.append(bore / 2)
    worth = is_it_worth_it(*tables)
    lengths, radii = np.array(lengths), np.array(radii)
    true = 343.2 / (2 * (lengths + 2 * 0.66 * radii))
    for way, ends in (("straight", 0.0), ("corrected", 1.2)):
        rule = float(air.sound_speed) / (2 * (lengths + ends * radii))
        assert of(worth, way) == pytest.approx(1200 * np.log2(true / rule), abs=0.3)
    # as the difference between the rules is small, one constant is nearly all it takes
    assert size_of(of(worth, "corrected" + FITTED))[0] < 3
    # the book is within 20 cents of the widest and the narrowest (see test_published_worked)
    assert size_of(of(worth, BOOK))[2] < 20
    assert np.array_equal(worth.note_out, worth.flute_out)  # one note a flute


def test_the_right_model_wins_and_says_so():
    worth = is_it_worth_it(noisy(SIX, WORDS, 3), noisy(LONG, WORDS, 5))
    rms = {way: size_of(of(worth, way))[0] for way in worth.ways}
    assert min(rms, key=rms.get) == CALIBRATED
    assert rms[CALIBRATED] < 5
    assert rms["straight"] > 300
    assert rival(worth.ways, worth.note_out)[1] > 2
    first, second = worth_words(worth)
    assert "by the calibrated lattice" in first
    assert second.startswith("Calibrating is worth it, better than ")
    assert "for a flute that it has not heard" in second


def test_where_the_book_is_right_calibrating_is_not_said_to_help():
    noise = np.random.default_rng(11).normal(0, 3.0, len(WORDS))
    worth = is_it_worth_it(notes_of(SIX, WORDS, off=noise))
    told = worth_words(worth)[1]
    assert told.startswith(("These notes do not show", "Calibrating is not worth it"))


def test_sizes_of_errors_by_hand():
    assert size_of(np.array([1.0, -7.0, 5.0, np.nan])) == (5.0, 5.0, 7.0, 3)
    assert np.isnan(size_of(np.array([np.nan]))[0])
    ways, error = (BOOK, CALIBRATED), np.array([[4.0, 5.0, 6.0], [1.0, -1.0, 1.0]])
    # gains 3, 4, 5: mean 4, standard error 1/sqrt(3)
    assert rival(ways, error) == (BOOK, pytest.approx(4 * np.sqrt(3)))


def test_rules_are_not_worded_for_a_window_that_a_pipe_has_not():
    worth = is_it_worth_it(*(demo(f"plain-pipe-{n}") for n in (220, 300)))
    frame = worth_table(worth).set_index("way")
    told = frame.loc["rule of thumb: straight", "rule"]
    assert "or the head" in told
    assert "or the foot" in told
    assert all("window" not in r or "or 0.6 bore radii" in r for r in frame["rule"])


def test_a_stopped_flute_has_no_rules():
    worth = is_it_worth_it(notes_of(STOPPED, ["x", "o"], TRUTH))
    assert np.all(np.isnan(of(worth, "straight")))
    assert np.all(np.isfinite(of(worth, CALIBRATED)))
    assert "rule of thumb" not in worth_words(worth)[0]


def test_one_note_alone_is_refused_with_a_mend():
    with pytest.raises(ValueError, match="measure at least two"):
        is_it_worth_it(notes_of(PIPE, [""] * 3))


def test_tables_of_ways_and_of_notes(pooled):
    worth = is_it_worth_it(*pooled)
    ways, notes = worth_table(worth), worth_notes_table(worth)
    assert list(ways["way"]) == [way_words(way) for way in worth.ways]
    assert list(ways["note_out_rms_cents"]) == [size_of(row)[0] for row in worth.note_out]
    assert set(ways["flute_out_notes"]) == {len(worth.label)}
    assert list(notes["flute"]) == ["six"] * len(WORDS) + ["long"] * len(SCALE)
    assert list(notes["row_constant_flute_out_cents"]) == list(
        of(worth, "row" + FITTED, worth.flute_out)
    )
    single = worth_notes_table(is_it_worth_it(pooled[0]))
    assert not any("flute_out" in column for column in single)


def test_picture_shows_each_way_best_at_the_top(pooled):
    draw_without_windows()
    worth = is_it_worth_it(*pooled)
    ax = plot_worth(worth)
    names = [label.get_text() for label in ax.get_yticklabels()]
    rms = {way_words(way): size_of(of(worth, way))[0] for way in worth.ways}
    assert names == sorted(names, key=rms.get, reverse=True)
    drawn = [line.get_xdata() for line in ax.lines if line.get_marker() in ("o", "^")]
    best = worth.ways[[way_words(way) for way in worth.ways].index(names[-1])]
    assert any(np.array_equal(xs, of(worth, best)) for xs in drawn)
    assert any(np.array_equal(xs, of(worth, best, worth.flute_out)) for xs in drawn)
    assert len(drawn) == 2 * len(worth.ways)
    low, high = ax.get_xlim()
    assert all(low < x < high for xs in drawn for x in xs)
    assert "[cents]" in ax.get_xlabel()
    ax = plot_worth(is_it_worth_it(demo("three-quarter-five")))
    assert len(ax.figure.legends[0].get_texts()) == 1
    plt.close("all")
