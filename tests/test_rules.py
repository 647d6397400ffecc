"""Rules of thumb for open holes: printed numbers, limits, and a ladder worked out step by step."""

import numpy as np
import pytest
from reference.published import check, name_of, published

from flutelab.physics import rules
from flutelab.physics.hole import cutoff_frequency

A, B, T, SPACING = 7.9e-3, 3.5e-3, 7.339e-3, 0.020
RULES = {
    "one hole and its tail": lambda: 1e3 * rules.length_beyond_hole(T, B, A, 0.1),
    "endless row": lambda: 1e3 * rules.length_beyond_row(T, B, A, SPACING),
    "cutoff long wave": lambda: cutoff_frequency(345.0, B, A, SPACING, T),
    "cutoff exact": lambda: rules.exact_cutoff_frequency(345.0, B, A, SPACING, T),
}


@pytest.mark.parametrize("row", published("row_of_holes"), ids=name_of)
def test_printed_numbers(row):
    check(row, RULES[row["quantity"]]())


def test_an_endless_row_is_its_own_next_hole():
    # own calculation: a tube of one spacing, then the row again, all beside the hole
    ladder = 0.0
    for _ in range(200):
        ladder = rules.length_beyond_hole(T, B, A, SPACING + ladder)
    assert rules.length_beyond_row(T, B, A, SPACING) == pytest.approx(ladder, rel=1e-12)


def test_no_hole_and_a_hole_without_length():
    assert rules.length_beyond_hole(T, 1e-6 * B, A, 0.1) == pytest.approx(0.1, rel=1e-9)
    assert rules.length_beyond_hole(0.0, B, A, 0.1) == 0.0
    assert rules.length_beyond_row(0.0, B, A, SPACING) == 0.0


def test_a_row_is_shorter_than_its_first_hole_alone():
    alone = rules.length_beyond_hole(T, B, A, 1.0)
    assert rules.length_beyond_row(T, B, A, SPACING) < alone


def test_the_exact_cutoff_lies_below_that_of_long_waves_and_nears_it():
    spacing = np.array([0.040, 0.020, 0.005, 0.001])
    exact = rules.exact_cutoff_frequency(345.0, B, A, spacing, T)
    long_wave = cutoff_frequency(345.0, B, A, spacing, T)
    short = 1 - exact / long_wave
    assert np.all(short > 0)
    assert np.all(np.diff(short) < 0)
    # tan x = x + x^3/3: short by a sixth of x^2, x = k s
    turn = 2 * np.pi * exact / 345.0 * spacing / 2
    assert short[-1] == pytest.approx(turn[-1] ** 2 / 6, rel=0.01)


def test_the_exact_cutoff_solves_its_equation():
    rng = np.random.default_rng(3)
    b, t, spacing = rng.uniform(0.1, 0.9, 50) * A, rng.uniform(1, 15, 50) * 1e-3, 0.03
    k = 2 * np.pi * rules.exact_cutoff_frequency(345.0, b, A, spacing, t) / 345.0
    assert np.tan(k * spacing / 2) == pytest.approx((b / A) ** 2 / (2 * k * t), rel=1e-9)
