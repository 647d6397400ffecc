"""Straight lines with errors, and plain pipes of several lengths: line, meaning, what cannot be."""

import numpy as np
import pytest
from scipy.stats import linregress
from scipy.stats import t as student

from flutelab.fitting.pipe_lengths import pipe_line, predicted_line
from flutelab.fitting.straight_line import far_off, line_error, straight_line

# F. J. Anscombe, "Graphs in Statistical Analysis", American Statistician 27, 17-21 (1973), data
# sets 1 and 3, and the regression printed for all four (all from memory).
X = [10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5]
FIRST = [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68]
THIRD = [7.46, 6.77, 12.74, 7.11, 7.81, 8.84, 6.08, 5.39, 8.15, 6.42, 5.73]
T_9 = 2.262  # Student's t, two-sided 95 %, 9 degrees of freedom: printed tables

LENGTHS = np.array([0.18, 0.22, 0.26, 0.30, 0.34, 0.38, 0.42])
SPEED = 343.0


def sounding(correction=0.010, times=2, lengths=LENGTHS):
    return SPEED / (times * (lengths + correction))


def found(lengths=LENGTHS, frequency=None, **given):
    frequency = sounding() if frequency is None else frequency
    return pipe_line(lengths, frequency, sound_speed=SPEED, **given)


# --- the line ---------------------------------------------------------------------------


def test_line_is_that_of_the_published_regression():
    line = straight_line(X, FIRST)
    assert line.slope == pytest.approx(0.500, abs=0.0005)
    assert line.intercept == pytest.approx(3.00, abs=0.005)
    assert line.slope_error == pytest.approx(T_9 * 0.118, rel=0.003)
    assert line.intercept_error == pytest.approx(T_9 * 1.125, rel=0.002)
    assert line.scatter == pytest.approx(1.237, abs=0.001)


def test_line_is_that_of_a_reference_library():
    rng = np.random.default_rng(4)
    x = rng.uniform(0.1, 0.5, 6)
    y = 1.01 * x + 0.009 + rng.normal(0, 1e-3, 6)
    line, other = straight_line(x, y), linregress(x, y)
    assert (line.slope, line.intercept) == pytest.approx((other.slope, other.intercept))
    t = student.ppf(0.975, 4)
    wanted = t * other.stderr, t * other.intercept_stderr
    assert (line.slope_error, line.intercept_error) == pytest.approx(wanted)
    assert line_error(line, line.centre) == pytest.approx(t * line.scatter / np.sqrt(6))


def test_limits_hold_the_truth_in_95_of_100_classes():
    rng = np.random.default_rng(11)
    hits = []
    for _ in range(400):
        line = straight_line(LENGTHS, 1.0 * LENGTHS + 0.01 + rng.normal(0, 1e-3, 7))
        hits.append((abs(line.intercept - 0.01) < line.intercept_error,
                     abs(line.slope - 1) < line.slope_error))  # fmt: skip
    # 400 throws at 0.95: two standard deviations are 0.022
    assert np.all(np.abs(np.mean(hits, axis=0) - 0.95) < 0.025)


def test_a_point_apart_is_judged_by_the_line_of_the_others():
    line = straight_line(X, THIRD)
    assert np.flatnonzero(far_off(line)).tolist() == [2]  # 13, 12.74
    assert not far_off(straight_line(X, FIRST)).any()
    for left in range(len(X)):
        kept = [n for n in range(len(X)) if n != left]
        others = straight_line(np.array(X)[kept], np.array(FIRST)[kept])
        off = FIRST[left] - others.slope * X[left] - others.intercept
        near = (X[left] - others.centre) ** 2 / others.spread
        expected = off / (others.scatter * np.sqrt(1 + 1 / len(kept) + near))
        assert straight_line(X, FIRST).apart[left] == pytest.approx(expected)


@pytest.mark.parametrize(
    ("x", "y", "words"),
    [
        ([1, 2], [1, 2], "three points"),
        ([1, 2, 3], [1, 2, np.nan], "no number"),
        ([2, 2, 2], [1, 2, 3], "all points lie at x = 2"),
    ],
)
def test_no_line_is_made_of_too_little(x, y, words):
    with pytest.raises(ValueError, match=words):
        straight_line(x, y)


# --- pipes ------------------------------------------------------------------------------


@pytest.mark.parametrize(("kind", "times"), [("open", 2), ("stopped", 4)])
def test_intercept_is_the_end_correction_that_was_put_in(kind, times):
    line = found(frequency=sounding(0.0123, times), kind=kind)
    assert line.wave == {"open": "half", "stopped": "quarter"}[kind]
    assert line.line.slope == pytest.approx(1)
    assert line.line.intercept == pytest.approx(0.0123)
    assert (line.verdict, line.sound) == ("good", True)
    assert np.abs(line.cents).max() < 1e-6


def test_the_wrong_part_of_a_wave_halves_or_doubles_the_line():
    half = found(wave="quarter")
    assert (half.line.slope, half.line.intercept) == pytest.approx((0.5, 0.005))
    assert (half.verdict, half.sound) == ("halved", False)
    twice = found(frequency=sounding(times=4), kind="stopped", wave="half")
    assert (twice.line.slope, twice.line.intercept) == pytest.approx((2, 0.02))
    assert (twice.verdict, twice.sound) == ("doubled", False)


def test_a_rule_read_too_long_makes_the_intercept_negative_and_impossible():
    line = found(LENGTHS + 0.015)
    assert line.line.intercept == pytest.approx(-0.005)
    assert (line.verdict, line.sound) == ("impossible", False)


@pytest.mark.parametrize(
    ("factor", "looks"),
    [(2.0, "octave high"), (0.5, "octave low"), (0.1, "length too small"),
     (10.0, "length too large")],
)  # fmt: skip
def test_one_pipe_that_cannot_be_is_named(factor, looks):
    frequency = sounding()
    frequency[3] *= factor
    line = found(frequency=frequency)
    assert line.slips == ((3, looks),)
    assert (line.verdict, line.sound) == ("slip", False)


def test_warmth_unlike_the_thermometer_tilts_the_line_and_leaves_its_foot():
    warm = pipe_line(LENGTHS, sounding(), temperature=303.15).line
    cold = pipe_line(LENGTHS, sounding(), temperature=283.15).line
    assert warm.slope / cold.slope == pytest.approx(np.sqrt(303.15 / 283.15), rel=0.003)
    assert abs(warm.intercept - cold.intercept) < 0.0005
    assert pipe_line(LENGTHS, sounding(), temperature=283.15).verdict == "tilted"


def test_nobody_is_accused_of_what_rule_and_tuner_cannot_tell():
    notes = sounding()
    off = np.zeros(len(notes))
    off[3] = 0.8  # mm: the others lie on the line to a hundredth
    few = found(LENGTHS + 1e-5 * np.array([1, -1] * len(notes))[: len(notes)] + off / 1000, notes)
    assert np.any(far_off(few.line))
    assert few.apart.size == 0
    off[3] = 4.0
    assert found(LENGTHS + off / 1000, notes).apart.tolist() == [3]


def test_two_lengths_make_no_line():
    few = found(np.array([0.2, 0.3, 0.3]), np.array([700.0, 500, 501]))
    assert (few.line, few.verdict) == (None, "few")
    assert np.isnan(few.cents).all()


def test_readings_of_a_pipe_are_one_point():
    three = np.column_stack([sounding() * k for k in (0.999, 1.0, 1.001)])
    three[2, 1] = np.nan
    line = found(frequency=three)
    assert line.column == pytest.approx(LENGTHS + 0.01, rel=1e-6)
    assert line.spread[0] == pytest.approx(0.00019, rel=0.01)
    assert line.line.freedom == 5


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"kind": "closed"}, "'closed'; use one of open, stopped"),
        ({"wave": "full"}, "'full'; use one of half, quarter"),
        ({"lengths": -LENGTHS}, "above 0"),
        ({"frequency": np.full((7, 2), np.nan)}, "no reading"),
    ],
)
def test_what_is_no_pipe_is_refused(given, words):
    with pytest.raises(ValueError, match=words):
        found(**given)


# --- what the formulas say --------------------------------------------------------------


def test_end_corrections_are_the_published_ones():
    # thin rim: H. Levine, J. Schwinger, Phys. Rev. 73, 383-406 (1948), printed 0.6133 (0.6127
    # exactly); in a wide wall 0.8217: Y. Nomura, I. Yamamura, S. Inawashiro, J. Phys. Soc. Japan
    # 15, 510-517 (1960), from memory
    pipe = {"bore": 0.02, "temperature": 293.15}
    thin = predicted_line(LENGTHS, wall=0.0, **pipe)
    assert thin.ends / 0.01 == pytest.approx(2 * 0.6133, abs=0.002)
    stopped = predicted_line(LENGTHS, wall=0.0, kind="stopped", **pipe)
    assert stopped.ends / 0.01 == pytest.approx(0.6133, abs=0.001)
    thick = predicted_line(LENGTHS, wall=0.004, **pipe).ends / 0.01
    assert 2 * 0.6133 < thick < 2 * 0.8217


@pytest.mark.parametrize("kind", ["open", "stopped"])
def test_friction_steepens_the_line_and_lowers_its_foot(kind):
    said = predicted_line(LENGTHS, bore=0.0154, wall=0.0029, temperature=293.15, kind=kind)
    assert 1.01 < said.slope < 1.02
    assert 0.001 < said.ends - said.intercept < 0.002
    # sound in a pipe is slower by 1.65e-3/(a sqrt(f)): N. H. Fletcher, T. D. Rossing, The
    # Physics of Musical Instruments (Springer, 1998), ch. 8 (from memory)
    times = {"open": 2, "stopped": 4}[kind]
    part = LENGTHS + said.ends
    slower = 1.65e-3 / (0.0077 * np.sqrt(343.7 / (times * part)))
    # friction is 1 %; the open ends' correction falls by 3 % up to the highest note, 0.2 %
    assert said.column == pytest.approx(part * (1 + slower), rel=0.002)
    # two times 10 % of each end, which share one correction
    assert said.intercept_sd == pytest.approx(0.1 * said.ends, rel=0.1)
