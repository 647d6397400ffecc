"""What a fit takes for uncertain beside the corrections: model, geometry, the jet."""

from dataclasses import replace

import numpy as np
import pytest
from made_notes import CROSSED, SCALE, SIX, STOPPED, notes_of

from flutelab import Corrections, calibrate, predict_notes
from flutelab.fitting.unknowns import MODEL_SD, geometry_errors
from flutelab.model.corrections import default_priors
from flutelab.model.flute import Uncertainty

CENT = np.log(2) / 1200
STATED = Uncertainty(
    bore=5e-5, wall=1e-4, window=2e-4, hole_place=5e-4, hole_diameter=1e-4, length=1e-3
)
MEASURED = replace(SIX, uncertainty=STATED)


def index_of(result, name):
    return [p.name for p in result.parameters].index(name)


def moved(flute, quantity, by):
    """The flute with one written number off, as `quantity_gradient` names it."""
    part, _, key = quantity.rpartition("_")
    if quantity == "hole_walls":
        return replace(flute, holes=tuple(replace(h, wall=h.wall + by) for h in flute.holes))
    if part.startswith("hole"):
        number = int(part.removeprefix("hole_")) - 1
        holes = list(flute.holes)
        holes[number] = replace(holes[number], **{key: getattr(holes[number], key) + by})
        return replace(flute, holes=tuple(holes))
    record = getattr(flute, "head" if part == "window" else "foot")
    changed = replace(record, **{key: getattr(record, key) + by})
    return replace(flute, **{"head" if part == "window" else "foot": changed})


def test_geometry_columns_against_notes_solved_again():
    words = [*SCALE, *CROSSED]
    problem = calibrate(notes_of(MEASURED, words)).problem
    rows = replace(problem.tables[0].measurements.rows, register=np.ones(len(words), int))
    columns = problem.own_columns(0, np.ones(len(words), bool))
    errors = geometry_errors(MEASURED)
    assert len(errors) == 4 + 2 * len(SIX.holes)
    for name, _, quantities in errors:
        below, above = MEASURED, MEASURED
        for quantity in quantities:
            below, above = moved(below, quantity, -1e-5), moved(above, quantity, 1e-5)
        notes = [predict_notes(flute, rows, problem.start).frequency for flute in (below, above)]
        slope = np.log(notes[1] / notes[0]) / CENT / 2e-5
        column = columns[:, [p.name for p in problem.parameters].index(name)]
        assert column == pytest.approx(slope, rel=1e-3, abs=1e-3 * np.max(np.abs(slope))), name


def test_covariance_is_that_of_generalised_least_squares():
    # Textbook result (A. C. Aitken, Proc. R. Soc. Edinburgh 55, 42-48, 1936; from memory):
    # an unknown with a prior that only adds cents is a correlated error of the rows.
    words = [*SCALE, *SCALE[2:5], *CROSSED[:2]]
    result = calibrate(notes_of(MEASURED, words, sd=3.0))
    problem = result.problem
    theta = result.value
    columns = problem.gradients(theta)
    fitted = np.array([p.is_correction for p in problem.parameters])
    sd = np.array([p.prior.sd for p in problem.parameters])
    errors = columns[:, ~fitted] * sd[~fitted]
    same = np.array([[a == b for b in words] for a in words])
    rest = [n for n, p in enumerate(np.array(problem.parameters)[~fitted]) if p.note is None]
    noise = np.diag(problem.sd**2) + MODEL_SD**2 * same + errors[:, rest] @ errors[:, rest].T
    slope = columns[:, fitted]
    information = slope.T @ np.linalg.solve(noise, slope) + np.diag(sd[fitted] ** -2.0)
    expected = np.linalg.inv(information)
    found = result.covariance[np.ix_(fitted, fitted)]
    assert result.widened == 1
    size = np.sqrt(np.outer(np.diag(expected), np.diag(expected)))
    assert np.max(np.abs(found - expected) / size) < 1e-9


def test_repeats_do_not_wear_the_models_error_away():
    # A hundred readings of one note are worth no more than its model error allows.
    alone = default_priors()["window"]
    hold = [name for name in default_priors() if name != "window"]
    words = ["xxxxxx"] * 100
    results = [
        calibrate(
            notes_of(SIX, words, sd=1.0), free=("window",), hold=hold, model_sd=model,
            priors={"window": replace(alone, sd=1.0)},
        )
        for model in (0.0, 5.0)
    ]  # fmt: skip
    # against the session's own 5 cents: sqrt(25 + 0.01) and sqrt(25 + 25 + 0.01)
    sd = [float(np.sqrt(r.covariance[index_of(r, "window"), index_of(r, "window")]))
          for r in results]  # fmt: skip
    assert sd[1] / sd[0] == pytest.approx((50.01 / 25.01) ** 0.5, rel=1e-3)


def test_tables_of_one_flute_share_its_geometry_and_model_error():
    first, second = notes_of(MEASURED, SCALE), notes_of(MEASURED, SCALE[:3])
    other = notes_of(STOPPED, ["x", "o"])
    parameters = calibrate(first, other, second).parameters
    length = [p for p in parameters if p.name == "caliper, length"]
    assert [p.tables for p in length] == [(0, 2)]
    notes = [p for p in parameters if p.note is not None]
    assert sorted(p.tables for p in notes) == [(0, 2)] * 7 + [(1,)] * 2
    assert length[0].concerns(2)
    assert not length[0].concerns(1)


def both_kinds(pull, seed=1):
    """The scale blown twice and driven twice; the jet pulls blown notes by `pull` cents."""
    words = SCALE * 4
    off = np.random.default_rng(seed).normal(0.0, 1.0, 28)
    truth = Corrections(window=1.06, jet=pull)
    driven = np.arange(28) >= 14
    measured = notes_of(SIX, words, truth, sd=1.5)
    blown = np.where(driven, -pull, 0.0) + off
    return replace(
        measured,
        frequency=measured.frequency * np.exp(CENT * blown),
        rows=replace(measured.rows, driven=driven),
    )


@pytest.mark.parametrize("pull", [-18.0, 12.0])
def test_driven_notes_part_the_jets_pull_from_the_window(pull):
    measured = both_kinds(pull)
    result = calibrate(measured, free=("window", "jet"))
    sd = np.sqrt(result.covariance[index_of(result, "jet"), index_of(result, "jet")])
    assert result.corrections.jet == pytest.approx(pull, abs=2.5 * sd)
    assert sd < 1.0
    # a blown note is foretold with the pull, a driven one without
    rows = measured.rows
    told = predict_notes(SIX, rows, result.corrections).frequency
    assert 1200 * np.log2(told[0] / told[14]) == pytest.approx(result.corrections.jet)


def test_blown_notes_alone_leave_the_jet_out():
    result = calibrate(notes_of(SIX, SCALE))
    assert "jet" not in [p.name for p in result.parameters]
    assert result.corrections.jet == 0
    assert "jet" not in result.spread.names


def test_driven_notes_alone_leave_blown_ones_in_doubt():
    measured = notes_of(SIX, SCALE)
    driven = replace(measured, rows=replace(measured.rows, driven=np.ones(7, bool)))
    result = calibrate(driven)
    notes = predict_notes(SIX, measured.rows, result.corrections, result.spread)
    assert np.all(notes.sd > 20)
    assert np.all(predict_notes(SIX, driven.rows, result.corrections, result.spread).sd < 15)
