"""Profiles and their limits, against a general minimiser and by hand."""

from dataclasses import replace

import iminuit
import numpy as np
import pytest
from made_notes import CROSSED, SCALE, SIX, notes_of
from scipy import stats

from flutelab import Corrections, calibrate, predict_notes
from flutelab.fitting.budget import budget, index_of
from flutelab.fitting.many import Many
from flutelab.fitting.problem import follow
from flutelab.fitting.profiles import LEVELS, POINTS, RISES, profiles
from flutelab.model.corrections import NAMES, default_priors

FITTED = ("window", "foot", "bore")
HELD = tuple(name for name in NAMES if name not in FITTED)
TRUTH = Corrections(window=1.1, foot=1.05, wall=0.92)
WORDS = [*SCALE, *CROSSED]
MODEL_SD, SESSION_SD = 0.6, 5.0


def noisy(sd=2.0, seed=1, **options):
    off = np.random.default_rng(seed).normal(3.0, sd, len(WORDS))
    return notes_of(SIX, WORDS, TRUTH, off=off, sd=3.0, **options)


def cost_of(measured):
    """The cost written out anew: notes, priors squared, one session of 5 cents.

    The model's own error of each note is integrated out: no note is repeated.
    """
    priors, sd = default_priors(), np.hypot(measured.sd, MODEL_SD)
    roots = predict_notes(measured.flute, measured.rows).root

    def cost(*values):
        *leaves, session = values
        corrections = Corrections(**dict(zip(FITTED, leaves, strict=True)))
        told = follow(measured.flute, measured.rows, corrections, roots).real
        z = (1200 * np.log2(measured.frequency / told) - session) / sd
        pulls = [(v - priors[n].mean) / priors[n].sd for n, v in zip(FITTED, leaves, strict=True)]
        return np.sum(z**2) + np.sum(np.square(pulls)) + (session / SESSION_SD) ** 2

    return cost


def few():
    """Notes enough for four unknowns."""
    off = np.random.default_rng(1).normal(3.0, 2.0, 5)
    return notes_of(SIX, ["xxxxxx", "xxxxoo", "xxoooo", "oooooo", "xxoxoo"], TRUTH, off=off)


def minimiser(cost):
    minuit = iminuit.Minuit(cost, 1.0, 1.0, 1.0, 0.0, name=(*FITTED, "session all"))
    minuit.errors = (0.05, 0.05, 0.005, 2.0)
    minuit.strategy, minuit.tol, minuit.errordef = 1, 1e-4, 1.0
    return minuit


def test_optimum_covariance_and_limits_against_minos():
    # Reference: iminuit (MIGRAD, HESSE, MINOS) on the cost written above.
    measured = few()
    minuit = minimiser(cost_of(measured))
    minuit.migrad()
    minuit.hesse()
    assert minuit.valid
    minuit.strategy = 0
    result = calibrate(measured, hold=HELD)
    assert result.widened == 1
    found = profiles(result, FITTED)
    values = np.array(minuit.values)[:3]
    assert np.max(np.abs(found.best - values) / found.sd) < 1e-3
    # HESSE holds the curvature of the notes as well, which Gauss and Newton leave out
    assert found.sd == pytest.approx(np.array(minuit.errors)[:3], rel=0.02)
    off = np.empty(found.limits.shape)
    for level, rise in enumerate(RISES):
        minuit.errordef = rise  # with MINOS's own `cl` it stops 0.002 sd off
        minuit.migrad()
        minuit.minos(*FITTED)
        theirs = [minuit.merrors[name] for name in FITTED]
        limits = np.array([[e.min + e.lower, e.min + e.upper] for e in theirs])
        off[:, level] = (found.limits[:, level] - limits) / found.sd[:, None]
    assert np.max(np.abs(off)) < 1e-3


def test_rises_are_the_usual_ones():
    # Quantiles of chi2 with one degree of freedom: 1 at 68.27 %, 3.841 at 95 % (handbook value).
    assert np.array(RISES) == pytest.approx([1.0, 3.841], abs=0.0005)


def test_a_linear_fit_has_parabolas():
    # The curve of an unknown that no note touches is its prior's.
    result = calibrate(notes_of(SIX, ["xxxxxx"] * 4, TRUTH))
    found = profiles(result, ["wall", "second_register"])
    second = 1
    assert found.limits[second, 0] == pytest.approx([-10.0, 10.0], rel=1e-3)
    assert found.limits[second, 1] == pytest.approx([-19.6, 19.6], rel=1e-3)
    assert found.rise[second] == pytest.approx((found.value[second] / 10.0) ** 2, abs=1e-3)
    assert found.value.shape == (2, POINTS)


def test_few_degrees_of_freedom_widen_the_limits_by_students_t():
    # Reference: scipy's t, its freedom from the budget (Welch and Satterthwaite).
    measured = replace(noisy(), sd=np.full(len(WORDS), 6.0), freedom=np.full(len(WORDS), 3.0))
    options = {"free": ("window", "foot"), "hold": [n for n in NAMES if n != "window"]}
    result = calibrate(measured, **options)
    found = profiles(result)
    for k, name in enumerate(found.names):
        freedom = budget(result, name).freedom[0]
        assert freedom < 30
        rises = stats.t.ppf(0.5 + 0.5 * np.array(LEVELS), freedom) ** 2
        assert found.reached[k] == pytest.approx(rises, rel=1e-6)
        for level, rise in enumerate(rises):
            at = np.interp(found.limits[k, level], found.value[k], found.rise[k])
            assert at == pytest.approx([rise, rise], abs=0.05)
    usual = profiles(calibrate(replace(measured, freedom=None), **options))
    assert found.names == ("window",)
    assert usual.reached == pytest.approx(np.array([RISES]), rel=1e-4)
    assert np.all(np.diff(found.limits, axis=-1) > np.diff(usual.limits, axis=-1))


def test_the_rise_is_what_a_fit_with_the_unknown_held_costs():
    measured = noisy()
    result = calibrate(measured)
    found = profiles(result, ["foot"])
    for n in (3, 20):
        value = found.value[0, n]
        prior = replace(result.priors["foot"], mean=value, sd=1e-7)
        alone = calibrate(measured, priors={"foot": prior})
        pull = ((value - result.priors["foot"].mean) / result.priors["foot"].sd) ** 2
        assert found.rise[0, n] == pytest.approx(alone.chi2 + pull - result.chi2, rel=2e-3)


def test_a_limit_of_the_correction_cuts_the_profile():
    result = calibrate(noisy(3.0, seed=2))
    found = profiles(result, ["pad_depth", "window"])
    assert not np.any(found.cut[1])
    pad = found.limits[0]
    assert found.cut[0].tolist() == [[False, False], [True, False]]
    assert pad[1, 0] == 0.0
    assert pad[1, 1] < 0.8
    assert np.all(found.value[0] >= 0.0)
    assert np.all(found.value[0] <= 0.8)


def test_too_much_scatter_widens_the_limits_as_it_does_the_sd():
    result = calibrate(noisy(15.0))
    assert result.widened > 1
    found = profiles(result)
    half = 0.5 * (found.limits[:, 0, 1] - found.limits[:, 0, 0])
    assert half == pytest.approx(found.sd, rel=0.05)


def test_two_tables_their_own_unknowns_and_a_second_use_of_the_refits():
    result = calibrate(noisy(), notes_of(SIX, SCALE, TRUTH, off=4.0, source="other.csv"))
    many = Many(result.problem, result.value)
    found = profiles(result, many=many)
    assert found.names == ("window", "foot", "wall")
    assert np.all(np.isfinite(found.limits))
    assert found.best == pytest.approx(
        [getattr(result.corrections, name) for name in found.names], rel=1e-5
    )
    with pytest.raises(ValueError, match="no unknown of this fit is called 'colour'"):
        profiles(result, ["colour"], many=many)


def test_each_flutes_own_corrections_have_a_profile():
    other = replace(SIX, name="other")
    pair = [notes_of(flute, SCALE, Corrections(window=w), sd=3.0)
            for flute, w in ((SIX, 1.02), (other, 1.1))]  # fmt: skip
    found = profiles(calibrate(*pair, own=("window",), free=("window", "foot")))
    assert found.names == ("window, six", "window, other", "foot")
    assert np.all(np.isfinite(found.limits))


def test_days_of_one_flute_are_told_apart_by_their_tables():
    days = [replace(notes_of(SIX, SCALE, sd=3.0), source=f"{day}.csv") for day in ("may", "june")]
    result = calibrate(*days, free=("window", "air_offset"))
    names = profiles(result).names
    assert names == ("window", "air_offset, six, may.csv (1)", "air_offset, six, june.csv (2)")
    offsets = [i for i, p in enumerate(result.parameters) if p.name == "air_offset"]
    assert [index_of(result, name) for name in names[1:]] == offsets
