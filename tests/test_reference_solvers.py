"""The lattice against other formalisms: four foldings without coupling, one full system with."""

import numpy as np
import pytest
from reference.dense import head_impedance_dense
from reference.lengths import numbers
from reference.network import matmul_form, network, pair_fold, ratio_form, scikit_rf_cascade
from reference.random_flutes import random_flute, random_rows, shaped, wild_flute

from flutelab import PUBLISHED, Corrections, Formulas
from flutelab.model.chain import chain
from flutelab.model.lattice import elements, head_impedance

FREQUENCY = np.linspace(150.0, 3000.0, 200)
FORMS = {
    "pressure-flow pair": pair_fold,
    "ratio": ratio_form,
    "matrix product": matmul_form,
    "scikit-rf": scikit_rf_cascade,
}
SETS = {"own": Formulas(), "published": PUBLISHED}
# Corrections away from 1: what each multiplies is written out again in reference/lengths.py.
MOVED = {
    "window": 1.07,
    "foot": 0.93,
    "wall": 1.06,
    "hole_end": 0.97,
    "bore": 1.008,
    "pad_depth": 0.41,
}
pytestmark = pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")


def random_cases(loss, coupling, count=12):
    rng = np.random.default_rng(20)
    for number in range(count):
        flute = random_flute(rng) if number % 2 else wild_flute(rng)
        if number % 4 >= 2:
            flute = shaped(rng, flute)
        fingerings = random_rows(rng, flute, 2, left_out=0.1, letters="xoh" if number > 5 else "xo")
        yield flute, fingerings, Corrections(loss=loss, coupling=coupling, **MOVED)


def library(flute, fingerings, corrections, formulas):
    """Impedance (N, F), nan where a tube is half a wave long to within 1e-4.

    The lattice divides by the tubes' transfer impedance, which vanishes there without losses:
    as many digits go as it has zeros.
    """
    e = elements(chain(flute, fingerings, corrections, formulas), FREQUENCY[None, None, :])
    seen = np.where(np.all(np.abs(e.tubes[1]) > 1e-4, axis=-1), head_impedance(e), np.nan)
    return np.broadcast_to(seen, (1, len(fingerings), FREQUENCY.size))[0]


def error(found, expected):
    """Largest relative difference away from poles and zeros."""
    away = (np.abs(expected) > 1e-3) & (np.abs(expected) < 1e3)
    assert np.count_nonzero(away) > 0.9 * away.size
    return np.max(np.abs(found[away] / expected[away] - 1))


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("formulas", SETS)
@pytest.mark.parametrize("loss", [0.0, 1.0], ids=["lossless", "lossy"])
def test_without_coupling(form, loss, formulas):
    for flute, fingerings, corrections in random_cases(loss, 0.0):
        seen = library(flute, fingerings, corrections, SETS[formulas])
        for row in range(len(fingerings)):
            n = numbers(flute, fingerings, corrections, row, SETS[formulas])
            net = network(n, FREQUENCY)
            assert error(FORMS[form](net), seen[row]) < 1e-10


@pytest.mark.parametrize("formulas", SETS)
@pytest.mark.parametrize("loss", [0.0, 1.0], ids=["lossless", "lossy"])
def test_with_coupling(loss, formulas):
    for flute, fingerings, corrections in random_cases(loss, 1.0):
        seen = library(flute, fingerings, corrections, SETS[formulas])
        for row in range(len(fingerings)):
            n = numbers(flute, fingerings, corrections, row, SETS[formulas])
            assert error(head_impedance_dense(n, FREQUENCY), seen[row]) < 1e-10
