"""What holds for every valid flute."""

import warnings
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.random_flutes import random_flute, random_rows, shaped, wild_flute

from flutelab import (
    AirAlong,
    Corrections,
    ValidityWarning,
    moist_air,
    playing_frequencies,
    predict_notes,
    rows,
)
from flutelab.model.chain import chain
from flutelab.model.notes import ACOUSTIC, frequency_gradient, pitch_gradient
from flutelab.model.roots import at, find_roots, newton
from flutelab.pitch import cents

# some windows and holes are beyond what the formulas were compared with
pytestmark = pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")
SEEDS = st.integers(0, 2**32 - 1)


def any_case(seed, make=wild_flute, count=3, left_out=0.1, letters="xo"):
    rng = np.random.default_rng(seed)
    flute = make(rng)
    return rng, flute, random_rows(rng, flute, count, left_out=left_out, letters=letters)


def shaped_or_not(rng):
    flute = wild_flute(rng)
    return shaped(rng, flute) if rng.random() < 0.5 else flute


@given(SEEDS)
def test_any_valid_flute_gives_notes_or_a_reason(seed):
    _, flute, fingerings = any_case(seed, shaped_or_not, letters="xoh")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ValidityWarning)
        for register in (1, 2):
            wanted = replace(fingerings, register=np.full(len(fingerings), register))
            notes = predict_notes(flute, wanted)
            silent = np.isnan(notes.frequency)
            assert np.all((notes.frequency > 0) | silent)
            assert np.all((notes.reason != "") == silent)
            assert np.all((notes.status == "none") == silent)
            assert np.all(notes.q[~silent] > 0)


@given(SEEDS)
def test_notes_lie_between_stopped_and_half_wave(seed):
    """A first mode lies above 20 Hz of any flute of a usual size, and below its half wave."""
    _, flute, fingerings = any_case(seed, random_flute)
    found = playing_frequencies(
        flute, list(fingerings.label), air=fingerings.air, corrections=Corrections()
    )
    places = [h.position for h in flute.holes]
    for word, frequency in zip(fingerings.label, found, strict=True):
        first = min([x for x, c in zip(places, word, strict=True) if c == "o"], default=np.inf)
        shortest = min(first, flute.foot.position)
        assert 20 < frequency < fingerings.air.sound_speed / (2 * shortest)


def enlarged(rng, fingerings, flute, growth=0.02):
    """Rows with one open hole each made wider; (before, after)."""
    before = np.tile([h.diameter for h in flute.holes], (len(fingerings), 1))
    after = before.copy()
    for row, word in enumerate(fingerings.label):
        opened = [i for i, letter in enumerate(word) if letter == "o"]
        after[row, rng.choice(opened)] *= 1 + growth
    return replace(fingerings, diameter=before), replace(fingerings, diameter=after)


def with_open_hole(seed):
    rng, flute, _ = any_case(seed, random_flute)
    flute = shaped(rng, flute) if rng.random() < 0.5 else flute
    words = []
    while len(words) < 4:
        word = "".join("xo"[rng.integers(0, 2)] for _ in flute.holes)
        if "o" in word:
            words.append(word)
    return rng, flute, rows(flute, words, air=moist_air(295.0))


@given(SEEDS)
def test_enlarging_an_open_hole_lowers_no_reactive_mode(seed):
    """A theorem (Rayleigh, Foster): less inertance in a branch raises every eigenfrequency."""
    rng, flute, fingerings = with_open_hole(seed)
    before, after = (reactive_modes(flute, case) for case in enlarged(rng, fingerings, flute))
    assert np.all(after / before - 1 > -1e-9)


def reactive_modes(flute, case):
    """The first three of each row, without losses or radiation."""
    reactive = at(chain(flute, case, Corrections()))
    ceiling = np.full(len(case), case.air.sound_speed / (2 * 0.05))
    return find_roots(lambda f, _=1.0: reactive(f, 0.0), ceiling, 3, 5000.0)[0].real


@given(SEEDS)
def test_uncovering_a_hole_farther_lowers_no_reactive_mode(seed):
    """The same theorem: a part cover only lengthens the way out."""
    rng, flute, fingerings = with_open_hole(seed)
    opened = fingerings.openness > 0
    before, after = (
        reactive_modes(flute, replace(fingerings, openness=np.where(opened, share, 0.0)))
        for share in (rng.uniform(0.1, 0.6), rng.uniform(0.6, 1.0))
    )
    assert np.all(after / before - 1 > -1e-9)


@given(SEEDS)
def test_enlarging_an_open_hole_lowers_no_first_mode_with_losses(seed):
    """Not a theorem with losses: by no more than 0.001 cent; each mode is followed."""
    rng, flute, fingerings = with_open_hole(seed)
    before, after = enlarged(rng, fingerings, flute)
    root = predict_notes(flute, before).root[:, None]
    moved = newton(at(chain(flute, after, Corrections())), root)
    assert np.all(cents(moved.real, root.real) > -0.001)


@settings(max_examples=8)
@given(SEEDS)
def test_the_gradient_is_that_of_finite_differences(seed):
    """Against central differences of solved notes: 1e-6 of the largest entry of each row."""
    rng, flute, fingerings = any_case(seed, random_flute)
    if rng.random() < 0.5:
        flute = shaped(rng, flute)
    if rng.random() < 0.5:
        share, temperature = rng.uniform(0.2, 1.0, 3), rng.uniform(285.0, 305.0, 3)
        fingerings = replace(fingerings, air=AirAlong(room_temperature=temperature, share=share))
    # the pad leaves some air in every hole here: where it just fills one, the slope jumps
    by = Corrections(window=1.03, foot=0.96, wall=1.02, bore=1.002, pad_depth=0.2)
    notes = predict_notes(flute, fingerings, by)
    gradient = frequency_gradient(flute, fingerings, notes.root, by, ACOUSTIC)
    for column, name in enumerate(ACOUSTIC):
        steps = {"air_offset": 1e-2}.get(name, 1e-3) * np.array([1, 2])
        slopes = [_difference(flute, fingerings, notes.root, by, name, step) for step in steps]
        exact = (4 * slopes[0] - slopes[1]) / 3  # Richardson: the step's own error is gone
        size = np.max(np.abs(gradient), axis=1)
        assert np.all(np.abs(gradient[:, column] - exact) < 1e-6 * size)


def _difference(flute, fingerings, root, by, name, step):
    """d(frequency)/d(correction) of the followed root by solving again on both sides."""
    sides = []
    for sign in (-1, 1):
        moved = replace(by, **{name: getattr(by, name) + sign * step})
        again = newton(at(chain(flute, fingerings, moved)), root[:, None])
        again = newton(at(chain(flute, fingerings, moved)), again)
        sides.append(again[:, 0].real)
    return (sides[1] - sides[0]) / (2 * step)


def test_breath_and_register_enter_the_gradient_as_written():
    _, flute, fingerings = any_case(4, random_flute, count=4)
    by = Corrections(
        breath=35.0, second_register=5.0, reference_pressure=100.0, overblown_pressure=200.0
    )
    wanted = replace(
        fingerings, register=np.array([1, 1, 2, 2]), breath=np.array([50.0, np.nan, 100.0, 400.0])
    )
    notes = predict_notes(flute, wanted, by)
    gradient = pitch_gradient(flute, wanted, notes.root, by, ("breath", "second_register"))
    assert gradient == pytest.approx(np.array([[-1, 0], [0, 0], [-1, 1], [1, 1]]))
    assert cents(notes.frequency, notes.root.real) == pytest.approx([-35, 0, -30, 40])
