"""One look inside: what the functions say that it joins."""

from pathlib import Path

import numpy as np
import pytest

import flutelab
from flutelab.model.within import within
from flutelab.units import celsius

DEMO = Path(__file__).resolve().parent.parent / "data-demo"
WORDS = "oooooo xxxxxx xoxooo xxxxxx"  # one twice, none in order


@pytest.fixture(scope="module")
def flute():
    return flutelab.read_flute(DEMO / "half-inch-six.toml")


@pytest.fixture(scope="module")
def notes(flute):
    return flutelab.rows(flute, WORDS, air=flutelab.AirAlong(room_temperature=celsius(22)))


@pytest.fixture(scope="module")
def seen(flute, notes):
    return within(flute, notes, frequency=np.linspace(100, 2500, 100), register=2)


@pytest.mark.filterwarnings("ignore:window")  # of its highest frequency
def test_it_is_what_each_function_says(flute, notes, seen):
    wave = flutelab.standing_wave(flute, notes, register=2, points=80)
    np.testing.assert_array_equal(seen.wave.reason, wave.reason)
    for name in ("frequency", "position", "pressure", "outflow", "power_share"):
        np.testing.assert_allclose(getattr(seen.wave, name), getattr(wave, name), rtol=1e-9)
    spectrum = flutelab.spectrum(flute, notes, frequency=seen.frequency)
    np.testing.assert_allclose(seen.admittance, flutelab.admittance(spectrum), rtol=1e-12)
    np.testing.assert_allclose(seen.cutoff, flutelab.lattice_cutoff(flute, notes).exact)


def test_the_modes_are_the_registers(seen):
    pick = np.arange(4), seen.column
    speaks = seen.column >= 0
    np.testing.assert_allclose(seen.modes.frequency[pick][speaks], seen.wave.frequency[speaks])


@pytest.mark.filterwarnings("ignore:window")
def test_no_peak_is_cut_off(flute, notes, seen):
    """At a mode whose Q is above 10 the spectrum has a point within 1 % of its peak's height."""
    dense = np.linspace(100, 2500, 20000)
    truth = np.abs(1 / flutelab.input_impedance(flute, notes, dense))
    for row in range(4):
        for f, q in zip(seen.modes.frequency[row], seen.modes.q[row], strict=True):
            if not 200 < f < 2400 or q < 10:
                continue
            here, there = (np.abs(x - f) < f / q for x in (seen.frequency, dense))
            peak = np.max(np.abs(seen.admittance[row, here]))
            assert peak > 0.99 * np.max(truth[row, there])
