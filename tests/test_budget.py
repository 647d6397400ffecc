"""A budget takes the doubt apart exactly; degrees of freedom after the GUM."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from made_notes import AIR, CROSSED, SCALE, SIX, STOPPED, notes_of
from scipy import stats

from flutelab import Corrections, calibrate, predict_notes, rows
from flutelab.fitting.budget import (
    PARTS,
    budget,
    covariance_parts,
    coverage_factor,
    effective_freedom,
    interval,
    part_of,
)
from flutelab.fitting.unknowns import SESSION_SD
from flutelab.model.flute import Uncertainty

CENT = np.log(2) / 1200
TRUTH = Corrections(window=1.08, foot=1.05, wall=0.93)
WORDS = [*SCALE, *SCALE[:3], *CROSSED]
MEASURED = replace(
    SIX,
    uncertainty=Uncertainty(
        bore=5e-5, wall=1e-4, length=3e-4, hole_place=3e-4, hole_diameter=1e-4, window=2e-4
    ),
)


def noisy(sd=3.0, seed=1, **options):
    off = np.random.default_rng(seed).normal(0, sd, len(WORDS))
    return notes_of(
        MEASURED, WORDS, TRUTH, off=off, register=[1] * 7 + [2] * 3 + [1] * 5, **options
    )


CASES = {
    "one table": lambda: calibrate(noisy()),
    "scatter too large": lambda: calibrate(noisy(12.0)),
    "robust": lambda: calibrate(noisy(9.0), loss="robust"),
    "two flutes": lambda: calibrate(noisy(), notes_of(STOPPED, ["x", "o"], TRUTH, off=2.0)),
}


@cache
def fitted(case):
    return CASES[case]()


@pytest.mark.parametrize("case", CASES)
def test_the_parts_sum_to_the_covariance(case):
    result = fitted(case)
    parts = covariance_parts(result)
    assert tuple(parts) == PARTS
    unit = np.outer(result.problem.unit, result.problem.unit)
    assert sum(parts.values()) / unit == pytest.approx(result.covariance / unit, abs=1e-12)
    for part in parts.values():
        assert np.min(np.linalg.eigvalsh(part / unit)) > -1e-12


def test_every_part_is_there_and_of_its_unknowns():
    result = fitted("one table")
    kinds = {part: [p.name for p in result.parameters if part_of(p) == part] for part in PARTS[1:]}
    assert kinds["session"] == ["air_offset", "session all"]
    assert "bore" in kinds["geometry"]
    assert "caliper, length" in kinds["geometry"]
    assert {"window", "foot", "wall", "pad_depth", "loss"} <= set(kinds["assumed"])
    assert all(name.startswith("model for") for name in kinds["model"])


def test_a_part_is_what_its_inputs_do_when_they_are_drawn():
    # Propagation by drawing (JCGM 101:2008, the GUM's first supplement; from memory), on the
    # linear model: the session's offset and air drawn anew move the readings, the rest stays.
    result = fitted("one table")
    problem, random = result.problem, np.random.default_rng(7)
    slopes = problem.gradients(result.value)
    session = np.array([part_of(p) == "session" for p in result.parameters])
    drawn = random.normal(size=(60_000, np.sum(session))) * problem.unit[session]
    moved = drawn @ slopes[:, session].T
    scaled = slopes * problem.unit / problem.sd[:, None]
    information = scaled.T @ scaled + np.eye(len(problem.unit))
    estimate = np.linalg.solve(information, scaled.T @ (moved / problem.sd).T).T * problem.unit
    # of unknowns whose prior is elsewhere: the session's own unknowns follow what was drawn
    others = estimate[:, ~session]
    expected = covariance_parts(result)["session"][np.ix_(~session, ~session)]
    sd = np.sqrt(np.diag(expected))
    assert np.cov(others.T) / np.outer(sd, sd) == pytest.approx(
        expected / np.outer(sd, sd), abs=0.03
    )


@pytest.mark.parametrize("name", ["window", "foot", "bore", "session all"])
def test_budget_of_a_correction(name):
    result = fitted("one table")
    told = budget(result, name)
    index = [p.name for p in result.parameters].index(name)
    assert told.value[0] == result.value[index]
    assert told.sd[0] == pytest.approx(result.covariance[index, index] ** 0.5, rel=1e-9)
    assert np.sum(told.share) == pytest.approx(1.0)
    parts = covariance_parts(result)
    for part in PARTS:
        assert told.part_sd(part)[0] ** 2 == pytest.approx(parts[part][index, index], rel=1e-9)
    assert told.contribution == pytest.approx(told.sensitivity * told.quantity_sd[:, None])


def test_sensitivity_to_a_prior_by_moving_it():
    result = fitted("one table")
    told = budget(result, "window")
    for name, step in (("foot", 0.02), ("bore", 0.001)):
        prior = result.priors[name]
        moved = calibrate(noisy(), priors={name: replace(prior, mean=prior.mean + step)})
        by = moved.corrections.window - result.corrections.window
        line = told.quantity.index(name)
        assert told.sensitivity[line, 0] == pytest.approx(abs(by / step), rel=0.05)
        slope = result.tables[0].gradient[:, [p.name for p in result.parameters].index(name)]
        assert told.cents[line] == pytest.approx(np.sqrt(np.mean(slope**2)))


def test_budget_of_notes_of_another_day():
    result = fitted("one table")
    asked = rows(MEASURED, ["xxxxxx", "oxoxox"], air=AIR)
    told = budget(result, asked)
    assert told.of == ("xxxxxx", "oxoxox")
    assert told.unit == "cents"
    assert told.notes
    day = result.corrections
    no_offset = replace(day, air_offset=0.0)
    assert told.value == pytest.approx(predict_notes(MEASURED, asked, no_offset).frequency)
    assert np.sum(told.share, axis=0) == pytest.approx([1.0, 1.0])
    breath = told.quantity.index("breath and tuner of another day")
    assert told.contribution[breath] == pytest.approx([SESSION_SD] * 2)
    air = told.quantity.index("air of another day")
    warmer = predict_notes(MEASURED, asked, replace(no_offset, air_offset=1.0)).frequency
    by_kelvin = np.log(warmer / told.value) / CENT
    assert told.contribution[air] == pytest.approx(1.5 * by_kelvin, rel=0.01)
    # one note was fitted, and its own model error with it; the other brings a new one
    model = told.quantity.index("model for a note not fitted")
    assert told.contribution[model] == pytest.approx([0.0, 0.6])


def test_a_note_that_does_not_sound_has_no_budget():
    with pytest.raises(ValueError, match=r"no budget: xxxxxx: .+"):
        budget(fitted("one table"), rows(SIX, ["xxxxxx"], air=AIR, register=40))


def test_unknown_names_are_refused():
    result = fitted("one table")
    with pytest.raises(ValueError, match="called 'windw'; the corrections are window, foot"):
        budget(result, "windw")
    with pytest.raises(ValueError, match="level is 68; give a share"):
        interval(result, "window", 68)


# --- degrees of freedom ----------------------------------------------------------------


def test_welch_and_satterthwaite_by_the_guide():
    # JCGM 100:2008, G.4.2, example: 0.25, 0.57, 0.82 % from 10, 5, 15 readings give 19.0; and
    # H.1.6: 25, 9.7, 2.9, 16.6 nm with 18, 25.6, 50, 2 give 16.7 (both from memory).
    for sizes, freedom, expected in (
        ([0.25, 0.57, 0.82], [9, 4, 14], 19.0),
        ([25.0, 9.7, 2.9, 16.6], [18, 25.6, 50, 2], 16.7),
    ):
        part = np.square(sizes)
        found = effective_freedom(np.sum(part), part, np.array(freedom))
        # the second's own sizes are printed to two digits
        assert found == pytest.approx(expected, abs=0.07)


def test_coverage_factors():
    # JCGM 100:2008, table G.2 (from memory): t95(10) = 2.23, t99(16) = 2.92, t95(inf) = 1.960.
    assert coverage_factor(0.95, 10) == pytest.approx(2.23, abs=0.005)
    assert coverage_factor(0.99, 16) == pytest.approx(2.92, abs=0.005)
    assert coverage_factor(0.95, np.inf) == pytest.approx(1.960, abs=0.0005)
    assert coverage_factor(0.8, 3.7) == pytest.approx(stats.t.ppf(0.9, 3.7))


def test_freedom_of_a_correction():
    # All readings share one estimate of their scatter: nu = (u^2/u_reading^2)^2 times its own.
    result = calibrate(noisy(freedom=np.full(len(WORDS), 6.0)))
    index = [p.name for p in result.parameters].index("window")
    share = covariance_parts(result)["reading"][index, index] / result.covariance[index, index]
    told = budget(result, "window")
    assert told.freedom[0] == pytest.approx(6.0 / share**2)
    assert told.kind[0] == "A"
    assert set(told.kind[1:]) == {"B"}
    low, high = interval(result, "window", 0.95)
    half = stats.t.ppf(0.975, told.freedom[0]) * told.sd[0]
    assert (high - low) / 2 == pytest.approx(half)
    assert (high + low) / 2 == pytest.approx(result.corrections.window)


def test_two_sessions_have_two_estimates():
    session = tuple("ab"[n % 2] for n in range(len(WORDS)))
    freedom = np.where(np.array(session) == "a", 4.0, 12.0)
    result = calibrate(noisy(freedom=freedom, session=session))
    told = budget(result, "window")
    variance = told.contribution[:2, 0] ** 2
    expected = told.sd[0] ** 4 / np.sum(variance**2 / [4.0, 12.0])
    assert told.freedom[0] == pytest.approx(expected)
    assert np.isinf(budget(calibrate(noisy(session=session)), "window").freedom[0])


def test_scatter_taken_from_the_fit_has_the_fits_freedom():
    result = fitted("scatter too large")
    assert result.widened > 1
    told = budget(result, "foot")
    reading = told.part_sd("reading")[0]
    assert told.freedom[0] == pytest.approx(result.rows * (told.sd[0] / reading) ** 4)
    assert told.kind[0] == "A"
