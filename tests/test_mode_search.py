"""No mode miscounted: the mode search against a scan of the full system and small loss steps."""

import warnings

import numpy as np
import pytest
from reference.dense import continued, reactive_modes
from reference.lengths import numbers
from reference.random_flutes import random_flute, random_rows, shaped, wild_flute

from flutelab import ValidityWarning, modes
from flutelab.model.modes import PLANE_KA

COUNT = 3


def studied(flute, fingerings, found, points, steps):
    """First modes of the only row by the independent study; nan beyond plane waves."""
    n = numbers(flute, fingerings)
    widest = max(r for tube in n.tubes for _, *radii in tube for r in radii)
    limit = PLANE_KA * n.air.sound_speed / (2 * np.pi * widest)
    top = 1.06 * np.max(found.frequency) if np.all(np.isfinite(found.frequency)) else limit
    # below `top` there can be no more modes than were asked for; the lowest lies above 10 Hz
    reactive = reactive_modes(n, 10.0, min(top, limit), points)[:COUNT]
    roots = continued(n, reactive, steps) if reactive else np.zeros(0, complex)
    return np.concatenate([roots, np.full(COUNT - len(roots), np.nan)])


def miscounted(seed, count, make, points=1500, steps=20):
    """Cases where a mode differs by more than 1e-7, is missed, or is found by one side alone."""
    rng = np.random.default_rng(seed)
    bad = []
    for number in range(count):
        flute = make(rng)
        fingerings = random_rows(rng, flute, 1, left_out=0.1)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ValidityWarning)
            found = modes(flute, fingerings, count=COUNT)
            expected = studied(flute, fingerings, found, points, steps)
        same = np.abs(found.root[0] - expected) < 1e-7 * np.abs(expected)
        neither = np.isnan(found.frequency[0]) & (np.isnan(expected) | (expected.imag <= 0))
        if not np.all(same | neither):
            bad.append((number, fingerings.label[0], found.root[0], expected))
    return bad


@pytest.mark.slow
def test_no_mode_is_miscounted():
    assert miscounted(7, 50, random_flute, points=800, steps=15) == []


@pytest.mark.slow
def test_no_mode_is_miscounted_in_500():
    assert miscounted(7, 500, random_flute) == []


def shaped_flute(rng):
    return shaped(rng, random_flute(rng))


@pytest.mark.slow
def test_no_mode_of_a_tapered_flute_with_shaped_holes_is_miscounted():
    assert miscounted(8, 20, shaped_flute, points=800, steps=15) == []


@pytest.mark.slow
def test_no_mode_of_100_tapered_flutes_is_miscounted():
    assert miscounted(9, 100, shaped_flute) == []


@pytest.mark.slow
def test_no_mode_is_miscounted_in_wild_tapered_pipes():
    assert miscounted(10, 100, lambda rng: shaped(rng, wild_flute(rng))) == []


@pytest.mark.slow
def test_no_mode_is_miscounted_in_wild_pipes():
    """All kinds of ends, holes as wide as the bore or nearly touching."""
    assert miscounted(3, 200, wild_flute) == []


def test_a_bracket_that_holds_two_modes_is_cut_further(monkeypatch):
    """Newton's method tried in brackets of any width finds each mode, none twice."""
    rng = np.random.default_rng(11)
    flutes = [random_flute(rng) for _ in range(6)]
    cases = [(flute, random_rows(rng, flute, 3)) for flute in flutes]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ValidityWarning)
        narrow = [modes(flute, rows, count=COUNT).root for flute, rows in cases]
        monkeypatch.setattr("flutelab.model.roots.CLOSE", 1.0)
        wide = [modes(flute, rows, count=COUNT).root for flute, rows in cases]
    np.testing.assert_allclose(wide, narrow, rtol=1e-9)
