"""Predicted notes: breath and register terms, spread, gradient, and rows without a note."""

from dataclasses import replace

import numpy as np
import pytest
from made_notes import AIR, CENT, PIPE, SCALE, SIX, STOPPED

from flutelab import (
    Corrections,
    Spread,
    frequency_gradient,
    modes,
    playing_frequencies,
    predict_notes,
    rows,
)
from flutelab.model.notes import ACOUSTIC, pitch_gradient, played_cents


def test_playing_frequencies_are_the_roots_of_the_register():
    found = modes(SIX, rows(SIX, SCALE, air=AIR), count=3)
    assert playing_frequencies(SIX, " ".join(SCALE), air=AIR) == pytest.approx(
        found.frequency[:, 0], rel=1e-12
    )
    second = playing_frequencies(SIX, SCALE[:3], air=AIR, register=2)
    assert second == pytest.approx(found.frequency[:3, 1], rel=1e-12)


def test_register_0_is_the_first():
    zero = rows(SIX, SCALE, air=AIR, register=0)
    assert np.array_equal(
        predict_notes(SIX, zero).frequency, playing_frequencies(SIX, SCALE, air=AIR)
    )


def test_breath_adds_cents_per_doubling():
    corrections = Corrections(breath=36.0, reference_pressure=500.0)
    pressures = [250.0, 500.0, 1000.0, 2000.0, np.nan]
    blown = rows(PIPE, [""] * 5, air=AIR, breath=pressures)
    notes = predict_notes(PIPE, blown, corrections)
    still = predict_notes(PIPE, rows(PIPE, [""], air=AIR)).frequency[0]
    assert np.log(notes.frequency / still) / CENT == pytest.approx([-36, 0, 36, 72, 0], abs=1e-9)


def test_without_a_reference_pressure_breath_adds_nothing():
    blown = rows(PIPE, [""], air=AIR, breath=[900.0])
    assert played_cents(blown, Corrections(breath=36.0)) == [0.0]


def test_second_register_adds_to_the_second_and_above():
    asked = rows(SIX, SCALE[:1] * 3, air=AIR, register=[1, 2, 3])
    assert played_cents(asked, Corrections(second_register=-8.0)).tolist() == [0, -8, -8]


def test_spread_becomes_cents():
    spread = Spread(names=("foot", "window"), covariance=np.array([[0.01, -0.004], [-0.004, 0.01]]))
    notes = predict_notes(SIX, rows(SIX, SCALE, air=AIR), None, spread)
    g = notes.gradient
    by_hand = np.sqrt(0.01 * g[:, 0] ** 2 + 0.01 * g[:, 1] ** 2 - 0.008 * g[:, 0] * g[:, 1])
    assert notes.sd == pytest.approx(by_hand, rel=1e-12)
    assert predict_notes(SIX, rows(SIX, SCALE, air=AIR)).sd is None


@pytest.mark.parametrize("flute", [SIX, STOPPED, PIPE], ids=lambda f: f.name)
def test_gradients_by_solving_again(flute):
    # Reference: central differences of re-solved notes.
    words = {"six": [*SCALE, "xoxooo"], "stopped": ["x", "o"], "pipe": [""]}[flute.name]
    asked, base = rows(flute, words, air=AIR), Corrections(window=1.05, wall=0.95)
    root = predict_notes(flute, asked, base).root
    gradient = pitch_gradient(flute, asked, root, base, ACOUSTIC)
    hertz = frequency_gradient(flute, asked, root, base, ACOUSTIC)
    assert hertz == pytest.approx(gradient * CENT * root.real[:, None])
    for column, name in enumerate(ACOUSTIC):
        step = 1e-3 if name != "air_offset" else 1e-2
        value = getattr(base, name)
        low, high = (
            np.log(predict_notes(flute, asked, replace(base, **{name: v})).root.real) / CENT
            for v in (value - step, value + step)
        )
        slope = (high - low) / (2 * step)
        assert gradient[:, column] == pytest.approx(slope, rel=1e-3, abs=2e-3), name


def test_diameters_of_rows_replace_the_flutes():
    written = np.array([[h.diameter for h in SIX.holes]] * 2)
    written[1, 3] = 0.0050
    asked = rows(SIX, ["xxxooo"] * 2, air=AIR, diameter=written)
    usual, smaller = predict_notes(SIX, asked).frequency
    assert usual == pytest.approx(playing_frequencies(SIX, ["xxxooo"], air=AIR)[0], rel=1e-12)
    assert smaller < usual


def test_a_note_that_does_not_speak_has_a_reason_and_no_number():
    asked = rows(SIX, ["oooooo", "xxxxxx"], air=AIR, register=[40, 1])
    notes = predict_notes(SIX, asked)
    assert notes.status.tolist() == ["none", "ok"]
    assert notes.reason[0]
    assert notes.reason[1] == ""
    assert np.isnan([notes.frequency[0], notes.q[0]]).all()
    assert np.isfinite([notes.frequency[1], notes.q[1]]).all()


def test_nor_has_it_a_spread():
    asked = rows(SIX, ["oooooo", "xxxxxx"], air=AIR, register=[40, 1])
    spread = Spread(names=("window",), covariance=np.eye(1))
    sd = predict_notes(SIX, asked, None, spread).sd
    assert np.isnan(sd[0])
    assert sd[1] > 0


def test_a_fingering_that_does_not_fit_is_refused():
    with pytest.raises(ValueError, match="has 5 letters but the flute has 6 holes"):
        playing_frequencies(SIX, "xxxxx", air=AIR)
