"""Plain ends: limits, switches and refusals; values are in test_published_ends.py."""

import numpy as np
import pytest

from flutelab import ValidityWarning
from flutelab.physics import ends

KA = np.linspace(0.01, 1.5, 30)
KINDS = [{"lip_ratio": 1.0}, {"lip_ratio": 0.7}, {"flanged": True}]


@pytest.mark.parametrize("end", KINDS)
def test_impedance_is_what_the_reflection_says(end):
    z = ends.end_impedance(KA, **end)
    reflected = (z - 1) / (z + 1)
    flanged = end.get("flanged", False)
    size = ends.flanged_reflection(KA) if flanged else ends.unflanged_reflection(KA)
    assert np.abs(reflected) == pytest.approx(size, rel=1e-12)


@pytest.mark.parametrize("end", KINDS)
def test_low_frequency(end):
    """Z -> j k l + (ka)^2/4, or (ka)^2/2 with a flange."""
    ka = 1e-3
    z = ends.end_impedance(ka, **end)
    length = 0.8216 if end.get("flanged") else ends.lip_length(end["lip_ratio"])
    assert z.imag == pytest.approx(ka * length, rel=1e-5)
    assert z.real == pytest.approx(ka**2 / (2 if end.get("flanged") else 4), rel=1e-4)


@pytest.mark.parametrize("end", KINDS)
def test_own_resistance_is_the_real_part(end):
    assert ends.end_resistance(KA, **end) == pytest.approx(ends.end_impedance(KA, **end).real)


@pytest.mark.parametrize("end", KINDS)
def test_own_resistance_is_analytic(end):
    """Its derivative is the same along and across the real axis."""
    step, at = 1e-6, 0.4 + 0.01j

    def value(ka):
        return ends.end_resistance(ka, **end)

    along = (value(at + step) - value(at - step)) / (2 * step)
    across = (value(at + 1j * step) - value(at - 1j * step)) / (2j * step)
    assert across == pytest.approx(along, rel=1e-7)


def test_without_radiation_only_the_reactance_is_left():
    z = ends.end_impedance(KA, lip_ratio=0.8, radiation=0.0)
    assert np.all(z.real == 0)
    length = ends.lip_length(0.8) / ends.UNFLANGED_LIMIT * ends.unflanged_length(KA)
    assert np.arctan(z.imag) == pytest.approx(KA * length)


def test_the_correction_multiplies_the_length_at_every_ka():
    plain, longer = (ends.end_impedance(KA, correction=c, radiation=0.0) for c in (1.0, 1.2))
    assert np.arctan(longer.imag) == pytest.approx(1.2 * np.arctan(plain.imag))


def test_a_lip_runs_from_sharp_to_flange():
    assert ends.lip_length(1.0) == pytest.approx(ends.UNFLANGED_LIMIT)
    assert ends.lip_length(0.0) == pytest.approx(ends.FLANGED_LIMIT)
    assert np.all(np.diff(ends.lip_length(np.linspace(0, 1, 50))) < 0)


@pytest.mark.parametrize("ratio", [-0.1, 1.1, np.nan])
def test_a_lip_outside_its_range_is_refused(ratio):
    with pytest.raises(ValueError, match="inner over outer radius is"):
        ends.lip_length(ratio)


@pytest.mark.parametrize("ka", [0.0, -1.0, 3.9, np.nan])
def test_the_exact_end_refuses_what_it_does_not_hold_for(ka):
    with pytest.raises(ValueError, match=r"holds for 0 < ka < 3\.83"):
        ends.levine_schwinger(ka)


def test_beyond_plane_waves_warns():
    with pytest.warns(ValidityWarning, match="open end at ka = 2"):
        ends.end_impedance(2.0)
