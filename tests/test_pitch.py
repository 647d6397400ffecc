"""Pitch: note names, cents, equal temperament."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flutelab.pitch import cents, nearest_note, note_frequency, parse_note, shift

NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


@pytest.mark.parametrize(
    ("key", "frequency"),
    # Standard MIDI key numbers at A4 = 440 Hz (ISO 16:1975), printed to 0.00001 Hz.
    [(60, 261.62557), (62, 293.66477), (72, 523.25113), (74, 587.32954), (79, 783.99087)],
)
def test_equal_temperament(key, frequency):
    octave, semitone = divmod(key - 12, 12)
    assert note_frequency(semitone, octave) == pytest.approx(frequency, abs=5e-6)


@pytest.mark.parametrize(("a4", "interval"), [(415, -101.27), (432, -31.77), (442, 7.85)])
def test_cents_of_other_tuning_notes(a4, interval):
    # Arithmetic of the definition, 1200 log2(a4/440), printed to 0.01 cent.
    assert cents(a4, 440) == pytest.approx(interval, abs=5e-3)
    assert cents(note_frequency(4, 5, a4), note_frequency(4, 5)) == pytest.approx(
        interval, abs=5e-3
    )


@given(st.floats(20, 20000), st.floats(-2400, 2400))
def test_shift_and_cents_are_inverse(frequency, interval):
    assert cents(shift(frequency, interval), frequency) == pytest.approx(interval, abs=1e-9)


def test_cents_and_shift_take_arrays():
    measured = np.array([440.0, 880.0])
    np.testing.assert_allclose(cents(measured, 440), [0, 1200])
    np.testing.assert_allclose(shift(440, np.array([0.0, 1200.0])), measured)


SPELLINGS = {
    (6, 5): ["F#5", "f#5", "F♯5", "Fis5", "fis5", "F sharp 5", "F-sharp 5", "Gb5", "G♭5", "Ges5"],
    (6, None): ["F#", "Fis", "F♯", "Gb", "G♭", "ges", "G flat"],
    (10, 4): ["Bb4", "bb4", "B♭4", "B flat 4", "B-flat 4", "A#4", "Ais4"],
    (8, None): ["As", "Ab", "G#", "gis", "A flat"],
    (3, 5): ["Es5", "Eb5", "D#5", "Dis5"],
    (9, 4): ["A4", "a4", "A 4", "A\u2084", "A♮4", "Bbb4", "G##4", "Gx4"],
    (11, 4): ["B4", "b4", "Cb5"],
    (0, 5): ["C5", "B#4", "Dbb5"],
    (0, -1): ["C-1", "C\u22121"],
}


@pytest.mark.parametrize(
    ("text", "note"), [(text, note) for note, texts in SPELLINGS.items() for text in texts]
)
def test_spellings(text, note):
    assert parse_note(text) == note


@pytest.mark.parametrize("text", ["H", "h4", "His5", "Hes"])
def test_german_h_is_refused_with_the_way_out(text):
    with pytest.raises(ValueError, match="write B for H, and Bb for B flat") as error:
        parse_note(text)
    assert repr(text) in str(error.value)


@pytest.mark.parametrize("text", ["", "5", "do", "f''", "F5#", "F#b", "Q4", "F#5.5", "A4 440"])
def test_what_is_no_note_is_quoted(text):
    with pytest.raises(ValueError, match="write it like F#5") as error:
        parse_note(text)
    assert repr(text) in str(error.value)


@given(st.integers(0, 11), st.integers(0, 9), st.floats(-49.9, 49.9), st.floats(400, 480))
def test_nearest_note_names_the_note_and_the_rest(semitone, octave, rest, a4):
    name, interval = nearest_note(shift(note_frequency(semitone, octave, a4), rest), a4)
    assert name == f"{NAMES[semitone]}{octave}"
    assert parse_note(name) == (semitone, octave)
    assert interval == pytest.approx(rest, abs=1e-8)


@pytest.mark.parametrize("frequency", [0, -440, float("nan"), float("inf")])
def test_impossible_frequency_is_refused(frequency):
    with pytest.raises(ValueError, match="must be greater than 0"):
        nearest_note(frequency)
