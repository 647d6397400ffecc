"""Two stated cases of a six-hole pipe through the library's solver and mode search."""

import numpy as np
import pytest
from reference import cases
from reference.published import check, name_of, published
from scipy.optimize import brentq

from flutelab.model.lattice import head_impedance
from flutelab.model.modes import find_roots


def _solve(build, speed, rows, count):
    words = list(dict.fromkeys(row["fingering"] for row in rows))
    ceiling = cases.ceiling(words, speed)
    return words, find_roots(build(words), ceiling, count, cases.LIMIT)[0]


def _solved(rows, words, roots):
    for row in rows:
        yield row, roots[words.index(row["fingering"]), row["mode"] - 1].real


def test_case_a_to_every_printed_digit():
    rows = published("stated_cases", "case A root")
    assert len(rows) == 16
    for row, frequency in _solved(rows, *_solve(cases.case_a, 345.0, rows, 2)):
        check(row, frequency)


@pytest.mark.parametrize("row", published("stated_cases", "case A open length"), ids=name_of)
def test_open_lengths_of_case_a(row):
    check(row, 1e3 * cases.OPEN_LENGTH[int(row["fingering"].removeprefix("hole ")) - 1])


def test_case_b_complex_roots():
    rows = published("stated_cases", "case B root")
    words, roots = _solve(cases.case_b, cases.AIR_B.sound_speed, rows, 1)
    assert len(rows) == 11
    for row, frequency in _solved(rows, words, roots):
        check(row, frequency)
    quality = roots.real / (2 * roots.imag)
    # stated beside the case: Q = 61 to 84
    assert round(quality.min()) == 61
    assert round(quality.max()) == 84


def test_case_b_zeros_of_the_reactance():
    for row in published("stated_cases", "case B zero of Im Z"):
        at = cases.case_b([row["fingering"]])

        def reactance(frequency, at=at):
            return head_impedance(at(np.array([[[frequency]]]))).imag.item()

        low, high = row["value"] - 3, row["value"] + 3
        assert reactance(low) < 0 < reactance(high)  # the crossing of a note, upwards
        check(row, brentq(reactance, low, high, xtol=1e-9))
