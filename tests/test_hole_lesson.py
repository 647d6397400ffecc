"""The lesson on hole size without its widgets: levels, formulas, guesses, readings, verdict."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from flutelab import AirAlong, playing_frequencies, read_flute
from flutelab.files.hole_call import note_call
from flutelab.files.hole_guess import (
    ANSWERS,
    Board,
    board_sentence,
    board_words,
    question_words,
    read_guesses,
    read_hands,
    right_answer,
)
from flutelab.files.hole_lesson import (
    formula_line,
    hole_note,
    hole_words,
    moved_words,
    note_at_size,
    note_sentence,
    rule_error_words,
    sweep_table,
)
from flutelab.files.hole_verdict import (
    read_readings,
    verdict,
    verdict_call,
    verdict_sentence,
    verdict_table,
    verdict_words,
)
from flutelab.model.hole_sweep import reshaped
from flutelab.pitch import shift
from flutelab.units import celsius

DEMO = Path(__file__).resolve().parent.parent / "data-demo"
PIPE = read_flute(DEMO / "one-hole-pipe.toml")
FIVE = read_flute(DEMO / "three-quarter-five.toml")
ROOM = celsius(22)
SIZES = {"hole": 1, "diameter": 7e-3, "position": 0.21, "wall": 3.5e-3, "bore": 16e-3}


def note(level="full", fingering="o", flute=PIPE, **sizes):
    shaped = reshaped(flute, **SIZES | sizes)
    asked = {"hole": (SIZES | sizes)["hole"], "fingering": fingering, "level": level}
    return hole_note(shaped, room=ROOM, start=flute, **asked)


def test_a_pipe_takes_every_size():
    shaped = reshaped(PIPE, **SIZES)
    assert (shaped.holes[0].diameter, shaped.holes[0].position) == (7e-3, 0.21)
    assert shaped.holes[0].wall == shaped.head.wall == 3.5e-3
    assert shaped.bore.stations[0][1] == pytest.approx(16e-3)
    assert shaped.foot.outer_diameter == pytest.approx(23e-3)
    wood = read_flute(DEMO / "tapered-wood-six.toml")
    third = wood.holes[2]
    wider = reshaped(wood, hole=3, diameter=third.diameter, position=third.position, wall=4e-3,
                     bore=0.02)  # fmt: skip
    ratios = np.array(wider.bore.stations)[:, 1] / np.array(wood.bore.stations)[:, 1]
    assert np.ptp(ratios) == pytest.approx(0, abs=1e-12)
    assert len(wood.bore.stations) > 1


def test_another_diameter_alone_leaves_the_rest():
    wood = read_flute(DEMO / "tapered-wood-six.toml")
    for flute in (PIPE, wood):
        size = 1.2 * flute.holes[0].diameter
        bored = reshaped(flute, hole=1, diameter=size)
        assert bored.holes[0].diameter == size
        assert replace(bored, holes=flute.holes) == flute
        assert bored.holes[1:] == flute.holes[1:]
    wider = reshaped(PIPE, hole=1, diameter=4e-3, bore=1.1 * PIPE.bore.stations[0][1])
    rims = [one.foot.outer_diameter - one.bore.stations[0][1] for one in (wider, PIPE)]
    assert rims[0] == pytest.approx(rims[1])  # the rim is as thick as before


@pytest.mark.parametrize("ratio", [1.15, 1.3])
def test_curve_and_note_of_an_undercut_hole_agree(ratio):
    (one,) = PIPE.holes
    cut = replace(PIPE, holes=(replace(one, inner_diameter=ratio * one.diameter),))
    found = note(flute=cut, bore=PIPE.bore.stations[0][1])
    assert found.flute.holes[0].inner_diameter == pytest.approx(ratio * 7e-3)
    at_size = np.interp(7e-3, found.sweep.diameter, found.sweep.frequency)
    straight = note(bore=PIPE.bore.stations[0][1]).frequency["full"]
    off, undercut = 1200 * np.log2(np.array([at_size, straight]) / found.frequency["full"])
    assert abs(off) < 1.5  # between two points of the curve
    assert abs(undercut) > 6  # a straight hole is another note
    bore = found.flute.bore.stations[0][1]
    assert max(1.0, ratio) * found.sweep.diameter[-1] == pytest.approx(bore)


def test_the_levels():
    found = note()
    air = AirAlong(room_temperature=ROOM)
    assert found.frequency["full"] == pytest.approx(
        playing_frequencies(found.flute, "o", air=air)[0], rel=1e-6
    )
    assert found.start["full"] == pytest.approx(note_at_size(PIPE, 1, 4e-3, ROOM), rel=1e-9)
    assert found.frequency["plain"] > found.frequency["length"]
    # the curve passes through the note that is shown
    at_size = np.interp(7e-3, found.sweep.diameter, found.sweep.frequency)
    assert at_size == pytest.approx(found.frequency["full"], rel=2e-3)


@pytest.mark.parametrize("level", ["plain", "length", "full"])
@pytest.mark.parametrize("fingering", ["o", "x"])
def test_a_formula_line_gives_its_own_result(level, fingering):
    line = formula_line(note(level, fingering))
    speed = float(re.search(r"= ([\d.]+) m/s", line)[1])
    lengths = re.search(r"m/s / \(?2(?: × |\()([\d.+ -]+) mm", line)[1]
    result = float(re.search(r"mm\) = ([\d.]+) Hz", line)[1])
    total = sum(float(part) for part in lengths.split(" + ")) / 1000
    assert speed / (2 * total) == pytest.approx(result, rel=6e-4)  # of rounded numbers
    assert "c: of the blown air, warmer than the room, half way to the f" in line
    last = float(re.findall(r"([\d.]+) Hz", line)[-1])
    assert last == pytest.approx(note(level, fingering).frequency[level], abs=0.06)


def test_the_sentence_counts_from_the_start_at_its_own_level():
    found = note("length")
    moved = 1200 * np.log2(found.frequency["length"] / found.start["length"])
    assert note_sentence(found) == (
        f"Hole 1, 7.0 mm, by the rule of thumb: {found.frequency['length']:.1f} Hz, "
        f"{note_sentence(found).split('Hz, ')[1].split(';')[0]}; "
        f"{moved_words(moved)} from the start (4.0 mm, bore 15.4 mm, wall 2.9 mm)."
    )
    assert hole_words(note(fingering="x")) == "Hole 1, 7.0 mm, closed"
    assert moved_words(-0.2) == "0 cents off"
    off = 1200 * np.log2(found.frequency["length"] / found.frequency["full"])
    assert f"the rule of thumb is {moved_words(off)}," in rule_error_words(found)


@pytest.mark.parametrize("level", ["plain", "length", "full"])
def test_the_call_makes_the_same_note(level, capsys):
    made = {}
    exec(note_call(note(level)), made)
    assert np.ravel(made["frequency"])[0] == pytest.approx(note(level).frequency[level], rel=1e-6)
    capsys.readouterr()


def test_the_table_has_the_limits_at_its_ends():
    frame = sweep_table(note())
    assert list(frame["hole"].iloc[[0, -1]]) == ["none", "pipe cut there"]
    assert np.all(np.diff(frame["model_hz"]) > 0)
    closed = sweep_table(note(fingering="x"))
    assert "pipe cut there" not in set(closed["hole"])


def test_a_later_hole_of_five():
    last = FIVE.holes[4]
    sizes = {"position": last.position, "diameter": last.diameter, "wall": last.wall}
    sizes["bore"] = FIVE.bore.stations[0][1]
    found = note(flute=FIVE, fingering="xxxoo", hole=5, **sizes)
    assert np.isnan(found.sweep.cut)
    first = FIVE.holes[3]
    assert f"+ {1000 * first.position:.1f} +" in formula_line(replace(found, level="length"))


# --- guesses ------------------------------------------------------------------------------

BOARD = Board(
    hole=1, first=4e-3, second=8e-3, where="in a room of 22.0 °C", before=600.0, kind="groups",
    guesses=(40.0, 150.0),
)  # fmt: skip


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("", ()),
        ("40", (40.0,)),
        ("40 -10;120", (40.0, -10.0, 120.0)),
        ("1,5\n+20 cents", (1.5, 20.0)),
        ("1200 Hz 0", None),
        ("637.3 Hz", (104.4,)),
    ],
)
def test_guesses_are_read(text, read):
    if read is None:
        with pytest.raises(ValueError, match="too far from 600"):
            read_guesses(text, 600.0)
    else:
        assert read_guesses(text, 600.0) == pytest.approx(read, abs=0.05)


def test_every_guess_that_cannot_be_read_is_named():
    with pytest.raises(ValueError, match=r"'up' is no guess.*'9999': a guess can be -300 to 900"):
        read_guesses("up 9999 5", 600.0)
    with pytest.raises(ValueError, match="11 guesses; there is room for 10"):
        read_guesses("1 " * 11, 600.0)
    with pytest.raises(ValueError, match=r"A: 'x' is no count.*C: '-1' is no count"):
        read_hands({"A": "x", "B": "3", "C": "-1", "D": ""})
    assert read_hands({"A": " 2", "B": "", "C": "30", "D": "0"}) == (2, 0, 30, 0)


def test_the_question_and_the_answer():
    assert board_sentence(BOARD) == question_words(BOARD)
    told = board_sentence(replace(BOARD, answer=147.0))
    assert told == (
        "In a room of 22.0 °C the model says 147 cents up: 653.2 Hz. "
        "Nearest: group 2, 3 cents away."
    )
    same = replace(BOARD, second=4e-3)
    for answer in (None, 0.0):
        told = board_sentence(replace(same, answer=answer))
        assert told == "Both sizes are 4.0 mm: set two different ones."
    one = replace(BOARD, kind="one", guesses=(40.0,), answer=-10.0)
    assert board_sentence(one).endswith("10 cents down: 596.5 Hz. The guess is 50 cents away.")
    tie = replace(BOARD, answer=95.0)
    assert "Nearest: group 1 and 2" in board_sentence(tie)
    hands = replace(BOARD, kind="hands", guesses=(), hands=(1, 2, 9, 4), answer=147.0)
    assert board_sentence(hands).endswith("Answer C, up, one to two semitones: 9 of 16 hands.")
    assert "hidden" in board_words(BOARD)
    assert "+147 cents" in board_words(replace(BOARD, answer=147.0))


def test_every_shift_has_one_answer():
    assert [right_answer(x) for x in (-50.0, 4.9, 5.0, 99.0, 100.0, 250.0)] == list("AABBCD")
    assert list(ANSWERS) == list("ABCD")


# --- readings -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("", ()),
        ("587.3 590 585", (587.3, 590.0, 585.0)),
        ("587,3 Hz; 590\n585", (587.3, 590.0, 585.0)),
        ("587.3, 590, 585", (587.3, 590.0, 585.0)),
        ("A4 +50; A4", (452.89, 440.0)),
    ],
)
def test_readings_are_read(text, read):
    assert read_readings(text) == pytest.approx(read, abs=0.01)


def test_every_reading_that_cannot_be_read_is_named():
    with pytest.raises(ValueError, match=r"'flat' is not a reading.*'9 Hz'"):
        read_readings("flat; 9 Hz; 590")
    with pytest.raises(ValueError, match="41 readings; there is room for 40"):
        read_readings("500 " * 41)
    with pytest.raises(ValueError, match="between readings write a semicolon: D5 -8; D5"):
        read_readings("E5 +10 E5+20")


def readings(*off):
    model = note().frequency["full"]
    return verdict(note(), tuple(float(shift(model, one)) for one in off))


def test_readings_within_breath_and_warmth_show_nothing():
    found = readings(-10.0, -2.0)
    (soft, hard), (cold, warm) = found.bands.breath, found.bands.warmth
    assert found.both == pytest.approx((soft + cold, hard + warm))
    assert verdict_sentence(found) == (
        "The 2 readings are on average 6 cents down from the model, and soft or hard breath and "
        f"2 °C alone move the note by {soft + cold:+.0f} to {hard + warm:+.0f} cents: so they do "
        "not show that the theory is wrong."
    )


def test_readings_beyond_them_are_told_by_how_much():
    found = readings(60.0)
    beyond = 60.0 - found.both[1]
    assert f"The reading is 60 cents up from the model, {beyond:.0f} cents more" in (
        verdict_sentence(found)
    )
    low = readings(-50.0)
    assert f", {low.both[0] + 50.0:.0f} cents more" in verdict_sentence(low)


def test_a_reading_far_from_the_others_is_named():
    far = shift(note().frequency["full"], 140.0)
    said = verdict_sentence(readings(-8.0, 3.0, 8.0, 140.0))
    assert f"one reading, {far:.1f} Hz, lies 134 cents from the middle of all" in said
    assert "the readings lie 80 cents apart" in verdict_sentence(readings(-40.0, 40.0))
    assert "But" not in verdict_sentence(readings(-14.0, 30.0, 4.0))


def test_without_readings_the_bands_are_told():
    said = verdict_sentence(readings())
    assert said.endswith("type readings to see whether the theory is wrong.")
    assert "dots: none yet" in verdict_words(readings())


def test_another_note_is_refused():
    with pytest.raises(ValueError, match=r"Hz: more than half an octave from the model"):
        readings(0.0, 1190.0)


def test_the_axis_as_table_and_call(capsys):
    found = readings(-10.0)
    frame = verdict_table(found).set_index("what")
    model = found.note.frequency["full"]
    assert frame.loc["reading 1", "hz"] == pytest.approx(shift(model, -10.0))
    rule = found.note.frequency["length"]
    assert frame.loc["rule of thumb", "hz"] == pytest.approx(rule)
    made = {}
    exec(verdict_call(found), made)
    assert made["bands"].breath == pytest.approx(found.bands.breath)
    assert made["bands"].warmth == pytest.approx(found.bands.warmth)
    capsys.readouterr()
