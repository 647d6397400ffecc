"""Many refits at once give what one fit after the other gives."""

from dataclasses import replace

import numpy as np
import pytest
from made_notes import CROSSED, SCALE, SIX, STOPPED, notes_of

from flutelab import Corrections, calibrate
from flutelab.fitting.many import Many

CENT = np.log(2) / 1200
TRUTH = Corrections(window=1.08, foot=1.05, wall=0.93, pad_depth=0.4)
WORDS = [*SCALE, *CROSSED, "xxxxxx", "xxxooo"]


def noisy(seed=1, **options):
    off = np.random.default_rng(seed).normal(0, 3.0, len(WORDS))
    return notes_of(SIX, WORDS, TRUTH, off=off, **options)


def worst(result, theta):
    """Largest distance of unknowns in sd of the fit."""
    return np.max(np.abs(result.value - theta) / np.sqrt(np.diag(result.covariance)))


def shifts(count, rows, seed=2):
    """Other readings, and other air: a flat shift that takes the fit far away."""
    random = np.random.default_rng(seed)
    return random.normal(0, 5.0, (count, rows)) + random.normal(0, 15.0, (count, 1))


@pytest.mark.parametrize("loss", ["linear", "robust"])
def test_other_readings(loss):
    measured = noisy()
    result = calibrate(measured, loss=loss)
    shift = shifts(6, len(WORDS))
    found = Many(result.problem, result.value).refit(shift=shift)
    assert np.max(found.off) < 0.01
    for n, cents in enumerate(shift):
        alone = calibrate(
            replace(measured, frequency=measured.frequency * np.exp(CENT * cents)), loss=loss
        )
        assert worst(alone, found.theta[n]) < 0.01
        assert found.chi2[n] == pytest.approx(alone.chi2, rel=1e-3, abs=1e-6)


def test_a_limit_is_kept():
    # Shifts that press the finger's depth to a limit: the walls may not give way.
    result = calibrate(noisy(), hold=["wall", "hole_end", "loss"])
    index = [p.name for p in result.parameters].index("pad_depth")
    closed = np.array([word.count("x") for word in WORDS])
    shift = np.array([[-12.0], [12.0]]) * closed
    found = Many(result.problem, result.value).refit(shift=shift)
    assert found.theta[:, index] == pytest.approx([0.0, 0.8], abs=1e-9)  # deeper sounds sharper
    for n, cents in enumerate(shift):
        measured = noisy()
        moved = replace(measured, frequency=measured.frequency * np.exp(CENT * cents))
        alone = calibrate(moved, hold=["wall", "hole_end", "loss"])
        assert found.chi2[n] == pytest.approx(alone.chi2, rel=1e-3)


def test_weights_count_readings_twice_or_not_at_all():
    measured = noisy()
    result = calibrate(measured, model_sd=0.0)
    weight = np.ones((2, len(WORDS)))
    weight[0, 3], weight[1, 5] = 0, 2
    found = Many(result.problem, result.value).refit(weight=weight)
    without = calibrate(
        replace(measured, use=tuple("no" if n == 3 else "fit" for n in range(len(WORDS)))),
        model_sd=0.0,
    )
    sd = measured.sd.copy()
    sd[5] /= np.sqrt(2)
    twice = calibrate(replace(measured, sd=sd), model_sd=0.0)
    assert worst(without, found.theta[0]) < 1e-3
    assert worst(twice, found.theta[1]) < 1e-3


def test_an_unknown_pinned_and_a_prior_moved():
    measured = noisy()
    result = calibrate(measured)
    many = Many(result.problem, result.value)
    index = [p.name for p in result.parameters].index("window")
    pinned = many.refit(fixed={index: np.array([0.95, 1.2])})
    for value, theta, chi2 in zip([0.95, 1.2], pinned.theta, pinned.chi2, strict=True):
        prior = replace(result.priors["window"], mean=value, sd=1e-7)
        alone = calibrate(measured, priors={"window": prior})
        assert theta[index] == value
        others = np.arange(len(theta)) != index
        sd = np.sqrt(np.diag(result.covariance))[others]
        assert np.max(np.abs(alone.value - theta)[others] / sd) < 0.01
        pull = ((value - result.priors["window"].mean) / result.priors["window"].sd) ** 2
        assert chi2 == pytest.approx(alone.chi2 + pull, rel=2e-3)
    mean = np.tile(result.problem.mean, (1, 1))
    mean[0, index] = 1.1
    moved = many.refit(mean=mean)
    prior = replace(result.priors["window"], mean=1.1)
    assert worst(calibrate(measured, priors={"window": prior}), moved.theta[0]) < 1e-3


def test_two_flutes_with_breath_register_and_jet():
    pressure = np.geomspace(300.0, 700.0, len(SCALE) + 2)
    first = notes_of(SIX, [*SCALE, *SCALE[:2]], TRUTH, register=[1] * 7 + [2] * 2, breath=pressure)
    driven = np.arange(len(pressure)) % 3 == 0
    first = replace(first, rows=replace(first.rows, driven=driven))
    second = notes_of(STOPPED, ["x", "o"], TRUTH)
    result = calibrate(first, second)
    shift = shifts(2, len(pressure) + 2)
    found = Many(result.problem, result.value).refit(shift=shift)
    for n, cents in enumerate(shift):
        one = replace(first, frequency=first.frequency * np.exp(CENT * cents[: len(pressure)]))
        two = replace(second, frequency=second.frequency * np.exp(CENT * cents[len(pressure) :]))
        assert worst(calibrate(one, two), found.theta[n]) < 0.01


def test_a_fit_without_corrections():
    held = [name for name in vars(TRUTH) if not name.endswith("_pressure")]
    result = calibrate(noisy(), hold=held, free=())
    many = Many(result.problem, result.value)
    shift = np.full((2, len(WORDS)), [[0.0], [4.0]])
    found = many.refit(shift=shift)
    session = [p.session is not None for p in result.parameters].index(True)
    assert found.theta[0] == pytest.approx(result.value, abs=1e-6)
    assert found.theta[1, session] - found.theta[0, session] == pytest.approx(4.0, rel=0.1)


def test_what_cannot_be_refitted_is_refused():
    result = calibrate(noisy())
    many = Many(result.problem, result.value)
    with pytest.raises(ValueError, match="one and the same number"):
        many.refit(shift=np.zeros((2, len(WORDS))), weight=np.ones((3, len(WORDS))))
    with pytest.raises(ValueError, match="one and the same number"):
        many.refit()


def test_a_lost_note_is_nan_and_leaves_the_others_alone(monkeypatch):
    result = calibrate(noisy())
    many = Many(result.problem, result.value)
    shift = np.zeros((2, len(WORDS)))
    alone = many.refit(shift=shift)
    find = many._find

    def losing(*asked):
        (found,) = find(*asked)
        found.cents[1, 4] = np.nan
        return [found]

    monkeypatch.setattr(many, "_find", losing)
    found = many.refit(shift=shift)
    assert np.all(np.isnan(found.theta[1]))
    assert np.isnan(found.chi2[1])
    assert found.theta[0] == pytest.approx(alone.theta[0])
