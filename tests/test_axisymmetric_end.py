"""Our own finite elements of the open foot: against the other table, the exact end, itself."""

import csv
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pytest
from reference.finite_elements.axisymmetric_end import end_numbers, reflection
from reference.finite_elements.refit_end import table

from flutelab.physics.ends import levine_schwinger

STORED = Path(__file__).parent / "reference" / "finite_elements" / "axisymmetric_end.csv"


@cache
def stored():
    with STORED.open(encoding="utf-8", newline="") as file:
        return [{name: float(cell) for name, cell in row.items()} for row in csv.DictReader(file)]


def test_against_the_other_finite_elements():
    """open_end.csv: another mesh, another way to close the air, the same pipe."""
    other = {(wall, ka): rest for wall, ka, *rest in table("open_end.csv")}
    common = [row for row in stored() if (row["wall_over_a"], row["ka"]) in other]
    assert len(common) == 3 * 15
    for row in common:
        length, size = other[row["wall_over_a"], row["ka"]]
        assert row["end_correction_over_a"] == pytest.approx(length, abs=2e-4), row
        assert row["abs_reflection"] == pytest.approx(size, abs=2e-4), row


def test_against_the_exact_end():
    """Levine and Schwinger (1948): a rim without thickness, whose edge is the sharpest of all."""
    sharp = [row for row in stored() if row["wall_over_a"] == 0]
    assert len(sharp) == 7
    for row in sharp:
        size, length = levine_schwinger(row["ka"])
        assert row["end_correction_over_a"] == pytest.approx(length, abs=1e-4), row
        assert row["abs_reflection"] == pytest.approx(size, abs=1e-5), row


def test_each_cut_of_the_mesh_changes_less():
    for row in stored():
        for of in ("length", "reflection"):
            assert row[f"last_cut_{of}"] < 1e-4
            # a first change may happen to be next to nothing
            assert row[f"last_cut_{of}"] < max(0.5 * row[f"first_cut_{of}"], 1e-6)


def _off(value, wall, ka):
    """Return how far l/a and |R| of a reflection lie from the stored point, and the row."""
    (row,) = [r for r in stored() if (r["wall_over_a"], r["ka"]) == (wall, ka)]
    length, size = end_numbers(value, ka)
    return abs(length - row["end_correction_over_a"]), abs(size - row["abs_reflection"]), row


@pytest.mark.slow
def test_one_point_again_on_a_coarser_mesh():
    """One cut less than stored: off by what the last cut changed, rounding aside."""
    wall, ka = 0.350633, 0.5
    length, size, row = _off(reflection(wall, ka, 1)[0], wall, ka)
    assert length == pytest.approx(row["last_cut_length"], rel=0.05, abs=1e-6)
    assert size == pytest.approx(row["last_cut_reflection"], rel=0.05, abs=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize(("wall", "ka"), [(0.0, 1.0), (1.0, 0.1), (np.inf, 1.8)])
def test_points_again(wall, ka, monkeypatch):
    # many small products, which threads only hold up; the number is read at the start
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "1")
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        value, _ = pool.submit(reflection, wall, ka, 2).result()
    length, size, _ = _off(value, wall, ka)
    assert max(length, size) < 1e-6
