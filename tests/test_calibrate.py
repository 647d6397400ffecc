"""Calibration: known truth, general-purpose minimisers, priors, limits, and each row's fate."""

import warnings
from dataclasses import replace

import iminuit
import numpy as np
import pytest
from made_notes import (
    AIR,
    CENT,
    CROSSED,
    PIPE,
    SCALE,
    SIX,
    STOPPED,
    changed,
    demo,
    notes_of,
)

from flutelab import (
    Corrections,
    DataError,
    FitError,
    FitWarning,
    Measurements,
    Prior,
    by_session,
    calibrate,
    predict_notes,
)
from flutelab.files.learned import learned
from flutelab.model.corrections import NAMES, default_priors
from flutelab.model.flute import Uncertainty

FREE = ("window", "foot", "wall")
OTHERS = tuple(name for name in NAMES if name not in FREE)
ALL_WORDS = SCALE + CROSSED


def index_of(result, name, table=None):
    found = [i for i, p in enumerate(result.parameters) if p.name == name and p.table == table]
    assert len(found) == 1
    return found[0]


def sd_of(result, name, table=None):
    i = index_of(result, name, table)
    return result.covariance[i, i] ** 0.5


# --- known truth -----------------------------------------------------------------------

KNOWN = {
    "window flute": (SIX, ALL_WORDS, FREE, 1),
    "window flute, second register too": (SIX, [*SCALE, *SCALE[:4]], FREE, [1] * 7 + [2] * 4),
    "plain open pipe": (PIPE, [""] * 3, ("foot",), [1, 2, 3]),
    "stopped foot": (STOPPED, ["x", "o", "n"], ("window", "wall"), 1),
}


@pytest.mark.parametrize("case", KNOWN)
def test_noise_free_notes_give_the_truth_back(case):
    # Readings as good as exact and priors a hundred times wider: the notes alone speak.
    flute, words, names, register = KNOWN[case]
    truth = dict(zip(FREE, (1.13, 0.91, 0.85), strict=True))
    measured = notes_of(
        flute, words, Corrections(**{n: truth[n] for n in names}), register=register, sd=0.001
    )
    usual = default_priors()
    result = calibrate(
        measured,
        free=names,
        hold=[name for name in NAMES if name not in names],
        priors={name: replace(usual[name], sd=10.0) for name in names},
    )
    for name in names:
        assert getattr(result.corrections, name) == pytest.approx(truth[name], abs=1e-4)
    assert result.rows == len(words)
    assert np.max(np.abs(result.tables[0].residual)) < 0.001


def test_every_correction_off_at_once_still_foretells_unseen_fingerings():
    # Corrections may trade with one another; what they foretell may not.
    truth = Corrections(
        window=1.12, foot=0.93, wall=0.9, hole_end=1.04, bore=1.006, pad_depth=0.4, loss=1.05
    )
    measured = notes_of(SIX, SCALE + CROSSED[:2], truth, sd=0.01)
    result = calibrate(measured)
    unseen = notes_of(SIX, CROSSED[2:], truth)
    told = predict_notes(SIX, unseen.rows, result.corrections).frequency
    offset = result.value[index_of(result, "session all", 0)]
    off = np.log(unseen.frequency / told) / CENT - offset
    assert np.max(np.abs(result.tables[0].residual)) < 0.05
    assert np.max(np.abs(off)) < 1.0
    # and the book alone is far off
    assert np.max(np.abs(np.log(unseen.frequency / predict_notes(SIX, unseen.rows).frequency)
                         / CENT)) > 15  # fmt: skip


# --- general-purpose minimisers --------------------------------------------------------

FITTED = ("window", "foot", "wall", "bore")
HELD = tuple(name for name in NAMES if name not in FITTED)


def cost_of(measured, rho, model):
    """The cost written out anew: notes through `rho`, priors squared, one session of 5 cents.

    `model` [cents] is the model's own error of each note, integrated out: no note is repeated.
    """
    priors = default_priors()
    sd = np.hypot(measured.sd, model)

    def cost(*values):
        *leaves, session = values
        corrections = Corrections(**dict(zip(FITTED, leaves, strict=True)))
        told = predict_notes(measured.flute, measured.rows, corrections).frequency
        z = (1200 * np.log2(measured.frequency / told) - session) / sd
        pulls = [(v - priors[n].mean) / priors[n].sd for n, v in zip(FITTED, leaves, strict=True)]
        return np.sum(rho(z)) + np.sum(np.square(pulls)) + (session / 5.0) ** 2

    return cost


def minimised(cost, strategy):
    minuit = iminuit.Minuit(cost, 1.0, 1.0, 1.0, 1.0, 0.0, name=(*FITTED, "session"))
    minuit.errors = (0.05, 0.05, 0.05, 0.005, 2.0)
    # 4 and more prior sd from the optimum
    minuit.limits = ((0.6, 1.6), (0.6, 1.6), (0.6, 1.6), (0.95, 1.05), (-30, 30))
    minuit.errordef = 1.0
    minuit.strategy = strategy
    minuit.tol = 1e-4
    minuit.migrad()
    if strategy == 2:
        minuit.hesse()
    return minuit


def fitted(measured, loss="linear", **options):
    result = calibrate(measured, hold=HELD, loss=loss, **options)
    order = [*(index_of(result, n) for n in FITTED), index_of(result, "session all", 0)]
    return result, result.value[order], result.covariance[np.ix_(order, order)]


def noisy(sd, seed, slip=0.0):
    random = np.random.default_rng(seed)
    truth = Corrections(window=1.1, foot=1.05, wall=0.92)
    off = random.normal(3.0, sd, 8)
    off[4] += slip
    return notes_of(SIX, SCALE + CROSSED[:1], truth, off=off, sd=3.0)


def test_optimum_and_covariance_against_a_general_minimiser():
    # Reference: iminuit (MIGRAD and HESSE, numerical derivatives) on the cost written above.
    measured = noisy(2.0, 1)
    minuit = minimised(cost_of(measured, np.square, 0.6), 2)
    result, value, covariance = fitted(measured)
    assert minuit.valid
    assert result.widened == 1
    sd = np.sqrt(np.diag(covariance))
    assert np.max(np.abs(value - np.array(minuit.values)) / sd) < 0.003
    assert result.chi2 == pytest.approx(minuit.fval, rel=1e-5)
    # HESSE holds the curvature of the notes as well, which Gauss and Newton leave out.
    assert sd == pytest.approx(np.array(minuit.errors), rel=0.02)
    theirs = np.array(minuit.covariance)
    correlation = covariance / np.outer(sd, sd)
    their_sd = np.sqrt(np.diag(theirs))
    assert np.max(np.abs(correlation - theirs / np.outer(their_sd, their_sd))) < 0.02


def huber(z):
    """Huber's loss with its corner at 2, squares below it."""
    return np.where(np.abs(z) <= 2, z**2, 4 * np.abs(z) - 4)


def test_robust_loss_against_a_huber_cost_written_by_hand():
    # Reference: iminuit on P. J. Huber's loss (Ann. Math. Stat. 35, 73-101, 1964; from memory).
    measured = noisy(1.0, 2, slip=25.0)
    minuit = minimised(cost_of(measured, huber, 0.0), 0)
    result, value, covariance = fitted(measured, loss="robust", model_sd=0.0)
    sd = np.sqrt(np.diag(covariance)) / result.widened
    assert minuit.valid
    assert np.max(np.abs(value - np.array(minuit.values)) / sd) < 0.01
    assert result.chi2 == pytest.approx(minuit.fval, rel=1e-4)


def test_robust_loss_lets_a_slip_pull_less_and_leaves_good_notes_alone():
    truth = 1.1
    pulled = [abs(fitted(noisy(1.0, 2, slip=25.0), loss)[1][0] - truth)
              for loss in ("linear", "robust")]  # fmt: skip
    assert pulled[1] < pulled[0]
    (_, plain, covariance), (_, robust, _) = (
        fitted(noisy(1.0, 3), loss) for loss in ("linear", "robust")
    )
    assert np.max(np.abs(robust - plain) / np.sqrt(np.diag(covariance))) < 1e-4


# --- gradient --------------------------------------------------------------------------


def widest_problem():
    """Two pooled tables, each parameter of every kind once."""
    soft = np.array([400.0] * 3 + [600.0] * 4 + [300.0] * 2)
    first = notes_of(SIX, SCALE + CROSSED[:2], register=[1] * 7 + [2, 1], breath=soft,
                     session=("a",) * 5 + ("b",) * 4)  # fmt: skip
    first = replace(first, rows=replace(first.rows, driven=np.arange(9) == 8))
    second = notes_of(STOPPED, ["x", "o"])
    result = calibrate(first, second, free=("window", "breath"))
    return result.problem


def test_gradient_of_every_parameter_by_finite_differences():
    problem = widest_problem()
    random = np.random.default_rng(5)
    theta = problem.mean + 0.3 * problem.unit * random.uniform(-1, 1, len(problem.mean))
    gradient = problem.gradients(theta)
    names = {p.name for p in problem.parameters}
    assert {*NAMES} - {"coupling"} <= names
    assert {"session a", "session b"} <= names
    for column, parameter in enumerate(problem.parameters):
        step = np.zeros(len(theta))
        step[column] = 1e-3 * problem.unit[column]
        below, above = problem.cents(theta - step), problem.cents(theta + step)
        slope = -(above - below) / (2 * step[column])
        size = max(np.max(np.abs(slope)), 1e-3 / problem.unit[column])
        assert gradient[:, column] / size == pytest.approx(slope / size, abs=2e-4), parameter.name


def test_jacobian_of_the_robust_residuals_by_finite_differences():
    measured = noisy(1.0, 2, slip=25.0)
    problem = calibrate(measured, hold=HELD, loss="robust", model_sd=0.0).problem
    x = np.array([0.5, -0.4, 0.3, 0.2, -0.1])
    jacobian = problem.jacobian(x)
    for column in range(len(x)):
        step = np.zeros(len(x))
        step[column] = 1e-4
        slope = (problem.residuals(x + step) - problem.residuals(x - step)) / 2e-4
        assert jacobian[:, column] == pytest.approx(slope, abs=2e-4 * np.max(np.abs(slope)))


# --- priors, limits, what is held ------------------------------------------------------


def test_what_the_notes_do_not_touch_stays_at_its_prior():
    result = calibrate(notes_of(PIPE, [""] * 3, Corrections(foot=1.2)))
    for name in ("window", "wall", "hole_end", "second_register", "pad_depth"):
        prior = result.priors[name]
        assert getattr(result.corrections, name) == pytest.approx(prior.mean, abs=1e-9)
        assert sd_of(result, name) == pytest.approx(prior.sd, rel=1e-6)
        assert learned(result, name) == (pytest.approx(1.0), "prior only")
    assert result.corrections.breath == 30
    assert 1 < result.corrections.foot < 1.2
    assert sd_of(result, "foot") < result.priors["foot"].sd


def test_one_note_shares_its_surprise_by_variance():
    # Linear least squares by hand: one note, d cents off the book, unknowns with slopes g and sd
    # s: each moves by s^2 g d/(sum s^2 g^2 + sd^2). 5 cents are small enough to be linear.
    measured = notes_of(PIPE, [""], off=5.0)
    with pytest.warns(FitWarning):
        result = calibrate(measured)
    slope = result.tables[0].gradient[0]
    sd = np.array([p.prior.sd for p in result.parameters])
    moved = result.value - [p.prior.mean for p in result.parameters]
    expected = sd**2 * slope * 5.0 / (np.sum((sd * slope) ** 2) + 9.0)
    assert moved / sd == pytest.approx(expected / sd, abs=2e-3)


def test_pad_depth_stops_at_its_limit():
    # Fingerings whose closed holes sound lower than any pad depth from 0 up can make them.
    off = [-6.0 if "x" in word[:-1] and "o" not in word[:3] else 0.0 for word in ALL_WORDS]
    measured = notes_of(SIX, ALL_WORDS, Corrections(pad_depth=0.0), off=off, sd=0.5)
    hold = [name for name in NAMES if name not in ("pad_depth", "window")]
    result = calibrate(measured, free=("pad_depth",), hold=hold)
    assert result.corrections.pad_depth == pytest.approx(0.0, abs=1e-6)
    assert learned(result, "pad_depth")[1] == "at limit"
    # beyond the limit the cost would fall on, and inside it rises
    problem, i = result.problem, index_of(result, "pad_depth")
    x = (result.value - problem.mean) / problem.unit
    slope = problem.jacobian(x).T @ problem.residuals(x)
    assert slope[i] > 0.1
    assert np.max(np.abs(np.delete(slope, i))) < 1e-2 * slope[i]


def test_hold_fixes_exactly_and_narrows_the_others():
    measured = notes_of(SIX, SCALE, Corrections(window=1.1))
    whole = calibrate(measured)
    held = calibrate(measured, hold=("bore", "air_offset"))
    assert held.corrections.bore == 1.0
    assert held.corrections.air_offset == 0.0
    assert held.held == ("bore", "air_offset")
    assert not {"bore", "air_offset"} & {p.name for p in held.parameters}
    assert not {"bore", "air_offset"} & set(held.spread.names)
    assert learned(held, "bore") == (0.0, "held")
    assert sd_of(held, "window") < sd_of(whole, "window")


def test_given_priors_replace_the_usual_ones():
    measured = notes_of(SIX, SCALE)
    narrow = Prior(name="window", mean=1.2, sd=1e-5, lower=0.2, upper=3.0)
    result = calibrate(measured, priors={"window": narrow})
    assert result.priors["window"] == narrow
    assert result.corrections.window == pytest.approx(1.2, abs=1e-3)
    stiff = Prior(name="loss", mean=1.3, sd=0.0)
    assert calibrate(measured, priors={"loss": stiff}).corrections.loss == 1.3


def test_prior_of_the_air_says_where_it_was_measured():
    measured = notes_of(SIX, SCALE)
    assert calibrate(measured).priors["air_offset"].sd == 1.5
    some = np.arange(len(SCALE)) == 2
    assert calibrate(replace(measured, from_room=some)).priors["air_offset"].sd == 3.0


def test_a_stated_uncertainty_of_the_bore_replaces_its_prior():
    flute = replace(SIX, uncertainty=Uncertainty(bore=0.038e-3))  # 0.25 % of 15.2 mm
    measured = notes_of(flute, SCALE)
    assert calibrate(measured).priors["bore"].sd == pytest.approx(0.0025)
    mine = Prior(name="bore", mean=1.0, sd=0.02)
    assert calibrate(measured, priors={"bore": mine}).priors["bore"].sd == 0.02


def test_a_shared_bores_prior_is_the_widest_and_nothing_stated_is_the_usual():
    def sd(*bores):
        tables = [
            notes_of(replace(SIX, name=f"{n}", uncertainty=Uncertainty(bore=bore)), SCALE)
            for n, bore in enumerate(bores)
        ]
        result = calibrate(*tables, own=("air_offset",))
        assert [p.prior.sd for p in result.parameters if p.name == "bore"] == [
            result.priors["bore"].sd
        ]
        return result.priors["bore"].sd

    assert sd(0.019e-3, 0.038e-3) == pytest.approx(0.0025)  # of 15.2 mm
    assert sd(0.019e-3, None) == sd(None, None) == 0.01
    assert sd(0.19e-3, None) == pytest.approx(0.0125)


def test_free_changes_what_is_reported_and_nothing_of_the_fit():
    measured = notes_of(SIX, SCALE, Corrections(window=1.1))
    usual, other = calibrate(measured), calibrate(measured, free=("bore", "loss"))
    assert usual.free == FREE
    assert other.free == ("bore", "loss")
    assert other.value == pytest.approx(usual.value, rel=1e-12)
    assert other.covariance == pytest.approx(usual.covariance, rel=1e-9)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"free": ("windw",)}, "unknown correction 'windw'; the corrections are window, foot"),
        ({"hold": ("bores",)}, "unknown correction 'bores'"),
        ({"own": ("air",)}, "unknown correction 'air'"),
        ({"loss": "huber"}, "loss is 'huber'; use 'linear' or 'robust'"),
    ],
)
def test_unknown_names_are_refused(options, words):
    with pytest.raises(ValueError, match=words):
        calibrate(notes_of(PIPE, [""]), **options)


def test_an_unknown_prior_is_refused():
    glue = Prior(name="glue", mean=1.0, sd=0.1)
    with pytest.raises(ValueError, match="unknown correction 'glue'"):
        calibrate(notes_of(PIPE, [""] * 3), priors={"glue": glue})


def test_no_table_is_refused():
    with pytest.raises(ValueError, match="at least one table"):
        calibrate()


# --- errors ----------------------------------------------------------------------------


def spoiled(count, size):
    """Notes that no correction explains: repeats of one fingering that disagree."""
    off = size * np.array([(-1.0) ** n for n in range(count)])
    return notes_of(PIPE, [""] * count, off=off, sd=3.0)


@pytest.mark.parametrize(
    ("count", "size", "widens"), [(6, 9.0, True), (5, 9.0, False), (6, 4.0, False)]
)
def test_errors_are_widened_from_six_rows_and_twice_the_expected_scatter(count, size, widens):
    result = calibrate(spoiled(count, size))
    jacobian = result.problem.jacobian((result.value - result.problem.mean) / result.problem.unit)
    ratio = result.chi2 / count
    # by hand: the mean is fitted, what is left is +-size at an sd of 3
    scatter = np.var([(-1.0) ** n for n in range(count)]) * (size / 3) ** 2
    assert ratio == pytest.approx(scatter, rel=0.03)
    assert (count >= 6 and ratio > 2) == widens
    assert result.widened == pytest.approx(ratio**0.5 if widens else 1.0)
    # the fit's weights stay; the readings' scatter is larger, the priors' is not
    notes, one = jacobian[:count], np.eye(len(result.value))
    gain = np.linalg.inv(notes.T @ notes + one) @ np.hstack([result.widened * notes.T, one])
    by_hand = gain @ gain.T * np.outer(*[result.problem.unit] * 2)
    assert result.covariance == pytest.approx(by_hand, rel=1e-6)


def test_limits_of_a_given_prior_are_no_wider_than_the_corrections():
    measured = notes_of(SIX, SCALE, Corrections(pad_depth=0.0), sd=0.5)
    wide = {"pad_depth": Prior(name="pad_depth", mean=0.3, sd=4.0)}
    assert 0 <= calibrate(measured, priors=wide).corrections.pad_depth <= 0.8


def test_one_pipe_in_two_tables_has_one_bore():
    """Splitting a table in two leaves the shared corrections' errors as they were."""
    first = notes_of(SIX, SCALE)
    pooled = calibrate(first, first, own=("bore",))
    assert [p.table for p in pooled.parameters if p.name == "bore"] == [None]


def test_a_note_table_that_is_given_twice_is_refused(tmp_path):
    five = demo("three-quarter-five")
    copy = replace(five, source="copy.csv")
    with pytest.raises(
        DataError, match=r"(?s)copy.csv: 1 fault.*'.*three-quarter-five.csv'.*twice"
    ):
        calibrate(five, copy)
    # parts of one file are no doubles, nor is the same file read for another flute
    calibrate(*by_session(demo("half-inch-six")))
    calibrate(five, replace(copy, flute=replace(five.flute, name="other")))


def test_chi2_counts_the_priors_and_rows_are_its_degrees_of_freedom():
    result = calibrate(notes_of(SIX, SCALE, Corrections(window=1.2), sd=2.0))
    pulls = (result.value - result.problem.mean) / result.problem.unit
    notes = result.tables[0].residual / 2.0
    assert result.chi2 == pytest.approx(np.sum(notes**2) + np.sum(pulls**2), rel=1e-6)
    assert result.rows == 7


def test_sd_of_a_prediction_follows_from_the_covariance():
    # Reference: 4000 draws from the covariance, each predicted anew to first order.
    result = calibrate(notes_of(SIX, SCALE))
    random = np.random.default_rng(3)
    draws = random.multivariate_normal(np.zeros(len(result.value)), result.covariance, 4000)
    scatter = (draws @ result.tables[0].gradient.T).std(axis=0)
    assert result.tables[0].sd == pytest.approx(scatter, rel=0.05)


# --- which rows are fitted -------------------------------------------------------------


def test_few_notes_warn():
    with pytest.warns(FitWarning, match="2 notes for 3 corrections: mostly the usual values"):
        calibrate(notes_of(SIX, SCALE[:2]))
    with warnings.catch_warnings():
        warnings.simplefilter("error", FitWarning)
        calibrate(notes_of(SIX, SCALE[:3]))


@pytest.mark.parametrize("use", ["check", "no"])
def test_check_rows_and_rows_not_for_use_never_pull(use):
    words = SCALE + CROSSED[:1]
    column = ("fit",) * 7 + (use,)
    measured = notes_of(SIX, words, Corrections(window=1.1), use=column)
    first = calibrate(measured)
    second = calibrate(changed(measured, 7, 40.0))
    assert np.array_equal(first.value, second.value)
    assert np.array_equal(first.covariance, second.covariance)
    assert first.rows == 7
    part = second.tables[0]
    assert part.fate[7] == ("checked" if use == "check" else "left out")
    assert part.why[7] == ("" if use == "check" else "use = no")
    assert part.residual[7] - first.tables[0].residual[7] == pytest.approx(40.0, abs=1e-9)


def test_another_breath_is_kept_apart_and_foretold():
    breath = [500.0] * 7 + [250.0]
    apart = ("",) * 7 + ("blown soft",)
    measured = notes_of(SIX, [*SCALE, SCALE[0]], breath=breath, apart=apart,
                        truth=Corrections(breath=40.0, reference_pressure=500.0))  # fmt: skip
    result = calibrate(measured)
    part = result.tables[0]
    assert result.rows == 7
    assert (part.fate[7], part.why[7]) == ("apart", "blown soft")
    assert result.corrections.reference_pressure == pytest.approx(500.0)
    # half the pressure, 40 cents truly, 30 by the prior: 10 cents are left
    assert part.residual[7] == pytest.approx(-10.0, abs=0.5)


def test_soft_and_hard_rows_with_a_pressure_are_fitted_when_breath_is_free():
    breath = np.array([500.0] * 7 + [250.0, 1000.0, np.nan])
    apart = ("",) * 7 + ("blown soft", "blown hard", "blown hard")
    truth = Corrections(breath=42.0, reference_pressure=500.0)
    words = [*SCALE, SCALE[0], SCALE[3], SCALE[3]]
    measured = notes_of(SIX, words, truth, breath=breath, apart=apart, sd=0.1)
    result = calibrate(measured, free=("window", "breath"))
    part = result.tables[0]
    assert part.fate == ("fitted",) * 9 + ("apart",)
    assert result.corrections.breath == pytest.approx(42.0, abs=0.5)
    # the geometric mean of the nine pressures that were used
    assert result.corrections.reference_pressure == pytest.approx(500.0)


def test_overblowing_takes_more_breath_and_bends_nothing():
    # exact notes by the book, blown at 20 mm of water below and 60 mm above
    pressure = np.array([196.0] * 7 + [588.0] * 7)
    register = np.array([1] * 7 + [2] * 7)
    measured = notes_of(SIX, [*SCALE, *SCALE], register=register, breath=pressure)
    result = calibrate(measured)
    assert result.corrections.reference_pressure == pytest.approx(196.0)
    assert result.corrections.overblown_pressure == pytest.approx(588.0)
    assert np.max(np.abs(result.tables[0].residual)) < 0.01
    for name in ("window", "foot", "wall"):
        assert getattr(result.corrections, name) == pytest.approx(1.0, abs=1e-4)


def test_without_a_pressure_there_is_no_breath_term():
    result = calibrate(notes_of(SIX, SCALE))
    assert result.corrections.reference_pressure is None
    assert "breath" not in {p.name for p in result.parameters}
    assert "breath" not in result.spread.names


def test_an_octave_slip_is_left_out_and_pulls_nothing():
    measured = notes_of(SIX, SCALE, Corrections(window=1.05))
    slipped = changed(measured, 0, -1200.0)
    result = calibrate(slipped)
    part = result.tables[0]
    assert part.fate == ("left out",) + ("fitted",) * 6
    assert "reads an octave low" in part.why[0]
    alone = calibrate(replace(measured, use=("no",) + ("fit",) * 6))
    assert result.value == pytest.approx(alone.value, abs=1e-9)


def test_all_rows_out_names_every_reason():
    measured = notes_of(SIX, SCALE[:4], apart=("", "", "blown soft", ""),
                        use=("fit", "check", "fit", "no"))  # fmt: skip
    with pytest.raises(FitError) as caught:
        calibrate(changed(measured, 0, 500.0))
    lines = str(caught.value).splitlines()
    assert lines[0] == "no note can be fitted:"
    assert "six.csv row 1: +5" in lines[1]
    assert lines[2:] == [
        "  six.csv row 2: use = check",
        "  six.csv row 3: blown soft",
        "  six.csv row 4: use = no",
    ]


# --- sessions and pooling --------------------------------------------------------------


def test_each_sitting_has_its_own_offset():
    # Two sittings, 4 cents up and 4 down, on the same notes: the fit shares them out by sign.
    off = [4.0] * 7 + [-4.0] * 7
    measured = notes_of(SIX, SCALE * 2, off=off, sd=0.5, session=("mon",) * 7 + ("tue",) * 7)
    result = calibrate(measured, hold=OTHERS)
    offsets = [result.value[index_of(result, f"session {name}", 0)] for name in ("mon", "tue")]
    assert offsets[0] - offsets[1] == pytest.approx(8.0, abs=0.1)
    assert np.max(np.abs(result.tables[0].residual)) < 0.2


def test_a_common_offset_goes_to_sitting_and_corrections_by_their_priors():
    measured = notes_of(PIPE, [""] * 4, off=6.0, sd=0.01)
    result = calibrate(measured, hold=[n for n in NAMES if n != "foot"], free=("foot",))
    slope = result.tables[0].gradient[0][index_of(result, "foot")]
    offset = result.value[index_of(result, "session all", 0)]
    # exact notes: 6 cents are shared as 5^2 to (0.1 slope)^2
    assert offset == pytest.approx(6.0 * 25 / (25 + (0.1 * slope) ** 2), rel=0.01)


def test_pooled_tables_share_the_corrections_and_have_bore_and_air_of_their_own():
    common = {"window": 1.12, "wall": 0.93}
    wide, narrow = Corrections(bore=1.012, **common), Corrections(bore=0.988, **common)
    second = replace(SIX, name="second")
    tables = notes_of(SIX, ALL_WORDS, wide, sd=0.02), notes_of(second, ALL_WORDS, narrow, sd=0.02)
    hold = [n for n in NAMES if n not in ("window", "wall", "bore")]
    result = calibrate(*tables, hold=hold)
    assert [(p.name, p.table) for p in result.parameters if p.is_correction] == [
        ("window", None), ("wall", None), ("bore", 0), ("bore", 1)
    ]  # fmt: skip
    assert result.corrections.window == pytest.approx(1.12, abs=0.003)
    assert result.corrections.wall == pytest.approx(0.93, abs=0.003)
    assert result.corrections.bore == 1.0
    assert [t.corrections.bore for t in result.tables] == pytest.approx([1.012, 0.988], abs=5e-4)
    # another flute's bore is as unknown as ever
    i = result.spread.names.index("bore")
    assert result.spread.covariance[i, i] == pytest.approx(result.priors["bore"].sd ** 2)
    assert np.count_nonzero(result.spread.covariance[i]) == 1


def test_own_may_be_empty_when_pooled():
    result = calibrate(notes_of(SIX, SCALE), notes_of(STOPPED, ["x", "o"]), own=())
    assert all(p.table is None for p in result.parameters if p.is_correction)


def test_one_table_twice_counts_twice():
    # Reference: the same rows written once with half the variance, sittings held apart by none.
    once = notes_of(SIX, SCALE, Corrections(window=1.1), off=[2, -1, 3, 0, -2, 1, 2], sd=3.0)
    doubled = Measurements(**{
        **{name: getattr(once, name) for name in once.__dataclass_fields__},
        "sd": once.sd / 2**0.5,
    })  # fmt: skip
    twice = notes_of(SIX, SCALE * 2, Corrections(window=1.1), off=[2, -1, 3, 0, -2, 1, 2] * 2)
    assert calibrate(twice).value == pytest.approx(calibrate(doubled).value, rel=1e-5, abs=1e-6)


def test_air_of_each_row_is_its_own():
    air = type(AIR)(**{
        name: np.array([getattr(AIR, name)] * 6 + [getattr(AIR, name)])
        for name in AIR.__dataclass_fields__
    })  # fmt: skip
    one, many = notes_of(SIX, SCALE), notes_of(SIX, SCALE, air=air)
    assert calibrate(many).value == pytest.approx(calibrate(one).value, abs=1e-9)


def test_the_demo_five_hole_flute_foretells_its_check_rows():
    # Our own invented data: cross-fingered notes that were kept back.
    result = calibrate(demo("three-quarter-five"))
    part = result.tables[0]
    checked = [i for i, fate in enumerate(part.fate) if fate == "checked"]
    assert len(checked) == 4
    before = [abs(np.log(part.measurements.frequency[i] / part.book[i]) / CENT) for i in checked]
    assert np.mean(np.abs(part.residual[checked])) < np.mean(before)
