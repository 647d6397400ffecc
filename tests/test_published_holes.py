"""Holes and rows of holes against published values and finite elements of their own."""

import numpy as np
import pytest
from reference.lumped import lumped
from reference.published import check, name_of, published
from scipy.optimize import brentq

from flutelab.model.lattice import head_impedance
from flutelab.physics import hole
from flutelab.physics.tube import tube


def _hole_values(row, formulas=hole.PUBLISHED):
    bore, size, wall = (row[key] for key in ("bore", "hole", "wall"))
    if bore == "":  # in units of the hole's radius
        b, a, wall = 1.0, 1.0 / size, wall or 1.0
    else:
        b, a = size / 2, bore
    rest = wall + hole.matching_height(b, a) + hole.outer_length_dalmont(b, a + wall)
    series = {state: formulas.series(b, a, wall, is_open=state) for state in (True, False)}
    return {
        "matching height over b": hole.matching_height(b, a),
        "inner length over b": hole.inner_length_lefebvre(b, a),
        "inner length of Dalmont over b": hole.inner_length_dalmont(b, a),
        "inner length of Lefebvre over b": hole.inner_length_lefebvre(b, a),
        "inner length of Nederveen over b": hole.inner_length_nederveen(b, a),
        "open hole length": hole.open_length(b, a, wall, a + wall, formulas),
        "Lefebvre": rest + hole.inner_length_lefebvre(b, a),
        "Dalmont": rest + hole.inner_length_dalmont(b, a),
        "Nederveen": rest + hole.inner_length_nederveen(b, a),
        "series length open": series[True],
        "series length closed": series[False],
        "series length closed over b delta^2": -series[False] / (b * (b / a) ** 2),
    }


PLAIN_HOLES = [row for row in published("holes") if "less finite elements" not in row["quantity"]]


@pytest.mark.parametrize("row", PLAIN_HOLES, ids=name_of)
def test_holes(row):
    """The published set; the tolerances of finite elements are its stated errors."""
    values = _hole_values(row)
    check(row, values[row["quantity"]])
    if row["quantity"] == "inner length over b":
        check(row, values["inner length of Dalmont over b"])


LENGTHS = ("open hole length", "series length open", "series length closed")


@pytest.mark.parametrize("row", published("holes", *LENGTHS), ids=name_of)
def test_our_formulas_at_drilled_holes(row):
    """Not fitted to these: t_E within the same 0.04 mm, series lengths within 0.02 mm of bore.

    That is their own error. Ours are 0.02 mm longer in t_E, on the side to which these
    converge, and shorter in series length by 3 to 17 %, 4 % when closed.
    """
    found = _hole_values(row, hole.OWN)[row["quantity"]]
    limit = 0.04 if row["quantity"] == "open hole length" else 0.02
    assert found == pytest.approx(row["value"], abs=limit)


FLAT = [r for r in published("holes") if r["quantity"] == "series length closed over b delta^2"]


@pytest.mark.parametrize("row", FLAT, ids=name_of)
def test_our_series_length_under_flat_lids(row):
    """Not fitted to these. From t/b = 0.5 on 2 to 6 % short, as above; in thin walls more.

    A flat lid lies above the pipe's curve and leaves room that ours, which follows the pipe,
    does not: 36 % short at t/b = 0.1, b/a = 0.7.
    """
    found = _hole_values(row, hole.OWN)[row["quantity"]]
    assert found == pytest.approx(row["value"], abs=0.014 if row["wall"] >= 0.5 else 0.051)
    assert found < row["value"]


@pytest.mark.parametrize("author", ["Lefebvre", "Dalmont", "Nederveen"])
def test_hole_formulas_lie_off_finite_elements_as_printed(author):
    exact = {(r["bore"], r["hole"]): r["value"] for r in published("holes", "open hole length")
             if r["quantity"] == "open hole length"}  # fmt: skip
    for row in published("holes", f"open hole length with {author} less finite elements"):
        check(row, _hole_values(row)[author] - exact[row["bore"], row["hole"]])


def test_open_series_length_against_finite_elements():
    """Stated ratio finite elements / formula: 0.98 at delta = 0.23, 0.84 at 0.43, 0.86 at 0.57.

    In between it is not monotonic: it depends on the wall too (0.876 at 0.443).
    """
    ratios = {
        round(row["hole"] / 2 / row["bore"], 2): row["value"]
        / _hole_values(row)["series length open"]
        for row in published("holes", "series length open")
    }
    for delta, stated in ((0.23, 0.98), (0.43, 0.84), (0.57, 0.86)):
        # the finite elements' last digit is up to 1 % of the smallest value
        assert ratios[delta] == pytest.approx(stated, abs=0.005 + 0.01 * (delta < 0.3))


A, B, HEIGHT, SPACING = 7.9e-3, 3.5e-3, 7.339e-3, 0.020
MASS = HEIGHT * (A / B) ** 2


def _low_frequency_length(**row_of_holes):
    """Z/(jk) at the head as k -> 0, less the first tube, of a lattice in the library's solver."""
    k = 1e-5
    at = lumped(**row_of_holes)
    return head_impedance(at(np.full((1, 1, 1), k / (2 * np.pi)))).imag.item() / k - SPACING


def _cell_half_trace(frequency):
    """cosh of one cell's exponent: half a space, hole, half a space."""
    k = 2 * np.pi * frequency / 345.0
    a, b, c, _ = tube(1j * k, 1.0, SPACING / 2)
    return ((a + b / (1j * k * MASS)) * a + b * c).real


ROWS = {
    "one hole and its tail": lambda: (
        1e3 * _low_frequency_length(lengths=[SPACING, 0.1], masses=[MASS])
    ),
    "endless row": lambda: 1e3 * _low_frequency_length(lengths=[SPACING] * 41, masses=[MASS] * 40),
    "cutoff long wave": lambda: hole.cutoff_frequency(345.0, B, A, SPACING, HEIGHT),
    "cutoff exact": lambda: brentq(lambda f: _cell_half_trace(f) - 1, 1500, 2500),
}


@pytest.mark.parametrize("row", published("row_of_holes"), ids=name_of)
def test_row_of_holes(row):
    check(row, ROWS[row["quantity"]]())
