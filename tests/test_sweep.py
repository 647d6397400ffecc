"""Sweeps give the same whatever does them, and can be stopped."""

import os
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from made_notes import AIR, CENT, CROSSED, PIPE, SCALE, SIX, notes_of
from sweep_tasks import fails_at_seven, slow_square, square, threads, values_of

from flutelab import Corrections, calibrate, predict_notes, rows
from flutelab.fitting.sweep import sweep
from flutelab.fitting.what_if import drawn, grid, what_if

ROWS = rows(SIX, [*SCALE[:3], *CROSSED[:2]], air=AIR)


@pytest.mark.slow
def test_results_are_the_same_to_the_last_bit_for_no_one_and_two_workers():
    wanted = partial(what_if, SIX, ROWS)
    cases = grid(hole_2_diameter=np.linspace(-1e-3, 1e-3, 5), temperature=[-3.0, 0.0, 4.0])
    found = [sweep(wanted, cases, workers=n) for n in (0, 1, 2)]
    alone = [wanted(case).tobytes() for case in cases]
    for one in found:
        assert [result.tobytes() for result in one.results] == alone
        assert one.asked == len(cases)


def test_fits_are_the_same_to_the_last_bit_here_and_there():
    random = np.random.default_rng(4)
    tables = [notes_of(SIX, SCALE, off=random.normal(0, 3, 7)) for _ in range(4)]
    here, there = (sweep(values_of, tables, workers=n).results for n in (0, 2))
    assert here == there


def test_order_progress_and_few_cases():
    told = []
    cases = list(range(100))
    found = sweep(square, cases, workers=2, progress=lambda *state: told.append(state))
    assert found.results == tuple(x * x for x in cases)
    assert told[0] == (1, 100)
    assert told[-1] == (100, 100)
    assert sweep(square, [3], workers=2).results == (9,)
    assert sweep(square, [], workers=2).results == ()


def test_any_executor_serves():
    with ThreadPoolExecutor(3) as executor:
        assert sweep(square, range(50), executor).results == tuple(x * x for x in range(50))
        assert sweep(lambda x: -x, [1, 2], executor).results == (-1, -2)
        assert sweep(square, [], executor).results == ()


def test_workers_have_one_thread_and_this_process_keeps_its_own(monkeypatch):
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "3")
    monkeypatch.delenv("OMP_NUM_THREADS", raising=False)
    found = sweep(threads, range(3), workers=1).results
    assert found[1:] == ("1", "1")
    assert os.environ["OPENBLAS_NUM_THREADS"] == "3"
    assert "OMP_NUM_THREADS" not in os.environ


@pytest.mark.parametrize("workers", [0, 1])
def test_an_error_names_its_case(workers):
    with pytest.raises(ValueError, match="seven") as caught:
        sweep(fails_at_seven, range(20), workers=workers)
    assert caught.value.__notes__ == ["in case 7 of the sweep"]


def test_what_workers_cannot_import_is_refused():
    with pytest.raises(
        ValueError, match=r"workers cannot import .*<lambda>; define the function at"
    ):
        sweep(partial(lambda x: x, 1), [1, 2], workers=2)
    with pytest.raises(ValueError, match=r"workers is -1; use 0 \(none\) or more"):
        sweep(square, [1], workers=-1)


def interrupt_at(count):
    def progress(done, asked):
        if done >= count:
            raise KeyboardInterrupt

    return progress


def test_interrupted_it_keeps_the_leading_cases():
    found = sweep(square, range(10), workers=0, progress=interrupt_at(4))
    assert found.results == (0, 1, 4, 9)
    assert found.asked == 10
    with ThreadPoolExecutor(1) as executor:
        found = sweep(slow_square, range(30), executor, progress=interrupt_at(8))
    assert found.asked == 30
    assert 1 <= len(found.results) < 30
    assert found.results == tuple(x * x for x in range(len(found.results)))


def test_interrupted_before_anything_was_done():
    def stop(x):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        sweep(stop, range(3), workers=0)


def test_dask():
    distributed = pytest.importorskip("distributed")  # dask is no dependency: tried where it is
    with distributed.Client(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
    ) as client:
        executor = client.get_executor(pure=False)
        assert sweep(square, range(40), executor).results == tuple(x * x for x in range(40))


def test_mpi():
    pytest.importorskip(  # MPI is no dependency, and mpi4py may lack a library behind it
        "mpi4py.MPI", reason="no MPI here", exc_type=(ImportError, RuntimeError)
    )
    from mpi4py.futures import MPIPoolExecutor

    with MPIPoolExecutor(1, path=sys.path) as executor:
        assert sweep(square, range(40), executor).results == tuple(x * x for x in range(40))


# --- what if ---------------------------------------------------------------------------

LENGTHS = {
    "hole_2_diameter": lambda f, x: replace(f, holes=_hole(f, 1, diameter=f.holes[1].diameter + x)),
    "hole_6_position": lambda f, x: replace(f, holes=_hole(f, 5, position=f.holes[5].position + x)),
    "foot_position": lambda f, x: replace(f, foot=replace(f.foot, position=f.foot.position + x)),
    "window_along": lambda f, x: replace(f, head=replace(f.head, along=f.head.along + x)),
}


def _hole(flute, index, **changes):
    holes = list(flute.holes)
    holes[index] = replace(holes[index], **changes)
    return tuple(holes)


@pytest.mark.parametrize("name", LENGTHS)
def test_a_dimension_changed_is_a_flute_so_made(name):
    expected = predict_notes(LENGTHS[name](SIX, 3e-4), ROWS).frequency
    assert np.array_equal(what_if(SIX, ROWS, {name: 3e-4}), expected)
    assert not np.allclose(expected, predict_notes(SIX, ROWS).frequency, rtol=1e-5)


def test_several_changes_at_once_and_corrections():
    walls = replace(SIX, holes=tuple(replace(h, wall=h.wall + 1e-3) for h in SIX.holes))
    expected = predict_notes(walls, ROWS, Corrections(window=1.15, air_offset=2.0)).frequency
    found = what_if(
        SIX, ROWS, {"hole_walls": 1e-3, "correction_window": 0.05, "temperature": 2.0},
        corrections=Corrections(window=1.10),
    )  # fmt: skip
    assert found == pytest.approx(expected, rel=1e-12)


def test_of_a_calibration_with_breath():
    pressure = np.geomspace(300, 700, len(SCALE))
    measured = notes_of(SIX, SCALE, Corrections(window=1.08), breath=pressure, off=2.0)
    result = calibrate(measured)
    still, harder = (what_if(result, measured.rows, {"breath_pressure": pa}) for pa in (0.0, 100.0))
    doublings = np.log2((pressure + 100) / pressure)
    gained = np.log(harder / still) / CENT
    assert gained == pytest.approx(result.corrections.breath * doublings)
    no_air = replace(result.corrections, air_offset=0.0)
    assert still == pytest.approx(predict_notes(SIX, measured.rows, no_air).frequency)


def test_draws_have_the_spread_of_the_calibration():
    result = calibrate(notes_of(SIX, SCALE, Corrections(window=1.08)))
    changes = drawn(result, 4000, seed=2)
    assert changes[:3] == drawn(result, 3, seed=2)
    index = result.spread.names.index("window")
    window = [change["correction_window"] for change in changes]
    assert np.std(window) == pytest.approx(result.spread.covariance[index, index] ** 0.5, rel=0.04)
    pad = np.array([change["correction_pad_depth"] for change in changes])
    assert np.min(pad + result.corrections.pad_depth) >= 0.0
    notes = np.array([what_if(result, ROWS, change) for change in changes[:60]])
    still = replace(result.corrections, air_offset=0.0)
    sd = predict_notes(SIX, ROWS, still, result.spread).sd
    assert np.std(np.log(notes), axis=0) / CENT == pytest.approx(sd, rel=0.35)


@pytest.mark.parametrize(
    ("flute", "change", "words"),
    [
        (SIX, "hole_7_diameter", r"no number 'hole_7_diameter'; it has hole_1_... to hole_6_"),
        (SIX, "hole_1_colour", "no number 'hole_1_colour'"),
        (SIX, "correction_colour", r"correction_... \(window, foot"),
        (PIPE, "window_along", "no number 'window_along'; it has bore_diameter"),
        (SIX, "breath_pressure", "cannot change, as the rows have no breath to change from"),
        (SIX, "foot_position", "foot"),
    ],
)
def test_no_such_change(flute, change, words):
    asked = rows(flute, ["x" * len(flute.holes)], air=AIR)
    amount = -1.0 if change == "foot_position" else 1e-3
    with pytest.raises(ValueError, match=words):
        what_if(flute, asked, {change: amount})
