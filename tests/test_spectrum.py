"""Spectra: modes and zeros of the reactance in them, and the lattice's cutoff."""

import numpy as np
import pytest
from reference import cases
from reference.dense import head_impedance_dense
from reference.lengths import numbers
from reference.published import check, published
from reference.random_flutes import random_flute, random_rows, shaped
from scipy.optimize import brentq

from flutelab import (
    Bore,
    Corrections,
    End,
    Flute,
    Hole,
    ValidityWarning,
    Window,
    input_impedance,
    modes,
    moist_air,
    rows,
)
from flutelab.model.roots import find_roots
from flutelab.model.spectrum import (
    admittance,
    reactance_zeros,
    ridders,
    spectrum,
    zeros_of,
)
from flutelab.pitch import cents

AIR = moist_air(295.0)
anywhere = pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")


def six_holes(head=None, foot=None):
    places = (0.127, 0.147, 0.169, 0.192, 0.211, 0.237)
    return Flute(
        name="six holes",
        bore=Bore(stations=((0.0, 0.0158),)),
        holes=tuple(Hole(position=x, diameter=0.0066, wall=0.0028) for x in places),
        head=head or Window(along=0.006, across=0.009, wall=0.0028),
        foot=foot or End(position=0.297, outer_diameter=0.0214),
    )


def pipe(length=0.3, diameter=0.016, head="node", foot="node"):
    return Flute(
        name="pipe",
        bore=Bore(stations=((0.0, diameter),)),
        holes=(),
        head=End(position=0.0, kind=head),
        foot=End(position=length, kind=foot),
    )


# --- spectra ------------------------------------------------------------------------------


@anywhere
def test_the_default_axis_ends_at_four_times_the_highest_first_mode_and_holds_every_mode():
    flute = six_holes()
    seen = spectrum(flute, rows(flute, "xxxxxx xxxooo oooooo", air=AIR))
    first = seen.modes.frequency[:, 0]
    assert seen.frequency[0] == 50.0
    assert seen.frequency[-1] == pytest.approx(4 * first.max())
    assert np.all(np.diff(seen.frequency) > 0)
    found = seen.modes.frequency[np.isfinite(seen.modes.frequency)]
    assert np.all(np.isin(found, seen.frequency))
    assert seen.impedance.shape == (3, len(seen.frequency))


@anywhere
def test_a_wide_bore_ends_the_axis_where_cross_modes_begin():
    flute = pipe(length=0.05, diameter=0.06, foot="open")
    seen = spectrum(flute, rows(flute, "", air=AIR))
    assert seen.frequency[-1] == pytest.approx(1.8 * AIR.sound_speed / (2 * np.pi * 0.03))


@anywhere
def test_the_impedance_is_that_of_the_whole_pipe_as_one_dense_system():
    rng = np.random.default_rng(11)
    for _ in range(3):
        flute = shaped(rng, random_flute(rng))
        fingerings = random_rows(rng, flute, 2, air=AIR)
        frequency = np.linspace(100.0, 2000.0, 30)
        seen = spectrum(flute, fingerings, frequency=frequency)
        for row in range(2):
            n = numbers(flute, fingerings, row=row)
            scale = AIR.density * AIR.sound_speed / (np.pi * n.radius**2)
            expected = scale * head_impedance_dense(n, frequency)
            assert seen.impedance[row] == pytest.approx(expected, rel=1e-9)


@anywhere
def test_peaks_of_the_admittance_lie_at_the_modes():
    flute = six_holes()
    seen = spectrum(flute, rows(flute, "xxxxxx xxxoxx", air=AIR))
    size = np.abs(admittance(seen))
    for row, found in enumerate(seen.modes.frequency[:, :3]):
        for frequency, q in zip(found, seen.modes.q[row], strict=False):
            near = np.abs(seen.frequency / frequency - 1) < 1 / q
            top = seen.frequency[near][np.argmax(size[row, near])]
            assert abs(top / frequency - 1) < 0.1 / q  # a tenth of the peak's width
    assert admittance(seen) * seen.impedance == pytest.approx(np.ones(size.shape))


@anywhere
def test_modes_up_to_the_top_are_all_there_and_none_above_it():
    flute = six_holes()
    fingerings = rows(flute, "xxxxxx oooooo", air=AIR)
    top = 2300.0
    seen = spectrum(flute, fingerings, frequency=np.linspace(100.0, top, 40))
    more = modes(flute, fingerings, count=8)
    for row in range(2):
        wanted = more.frequency[row][more.frequency[row] < top]
        got = seen.modes.frequency[row]
        assert got[np.isfinite(got)] == pytest.approx(wanted, rel=1e-9)
        assert set(seen.modes.status[row][~np.isfinite(got)]) <= {"none"}
        assert all(seen.modes.reason[row][~np.isfinite(got)])
    assert np.isfinite(seen.modes.frequency[0]).sum() > np.isfinite(seen.modes.frequency[1]).sum()


@anywhere
def test_a_stopped_head_has_its_modes_at_peaks_of_the_impedance():
    flute = pipe(head="stopped", foot="open")
    seen = spectrum(flute, rows(flute, "", air=AIR))
    size = np.abs(seen.impedance[0])
    peaks = 1 + np.flatnonzero((size[1:-1] > size[:-2]) & (size[1:-1] > size[2:]))
    found = seen.modes.frequency[0]
    assert seen.frequency[peaks] == pytest.approx(found[: len(peaks)], rel=2e-3)
    # a stopped pipe's odd harmonics: any acoustics textbook
    assert found[1] / found[0] == pytest.approx(3.0, rel=0.01)
    assert seen.zeros[0, :2] == pytest.approx(found[:2], rel=1e-4)


def test_frequencies_that_do_not_increase_are_refused():
    flute = six_holes()
    fingerings = rows(flute, "xxxxxx", air=AIR)
    with pytest.raises(ValueError, match=r"400.0 Hz does not lie above"):
        spectrum(flute, fingerings, frequency=[300.0, 500.0, 400.0])
    for wrong in ([0.0, 500.0], [-5.0, -1.0], [np.nan], [500.0, np.inf]):
        with pytest.raises(ValueError, match="greater than 0"):
            spectrum(flute, fingerings, frequency=wrong)
    with pytest.raises(ValueError, match="frequency is complex; give real numbers"):
        spectrum(flute, fingerings, frequency=[500.0 + 1j])
    with pytest.raises(ValueError, match=r"frequency is .*'a'"):
        spectrum(flute, fingerings, frequency=["a"])
    with pytest.raises(ValueError, match="give one number"):
        spectrum(flute, fingerings, Corrections(loss=np.ones((3, 1, 1))))
    for none in ([], [[300.0, 400.0]], 300.0):
        with pytest.raises(ValueError, match="give a row of at least one frequency"):
            spectrum(flute, fingerings, frequency=none)
    with pytest.raises(TypeError, match="make them with rows"):
        spectrum(flute, "xxxxxx")


def test_frequencies_may_be_a_list():
    flute = six_holes()
    seen = spectrum(flute, rows(flute, "xxxxxx", air=AIR), frequency=[300, 500, 700])
    assert isinstance(seen.frequency, np.ndarray)
    assert seen.frequency.tolist() == [300.0, 500.0, 700.0]


def test_a_spectrum_warns_of_its_highest_frequency_once():
    flute = six_holes()
    with pytest.warns(ValidityWarning) as told:
        spectrum(flute, rows(flute, "xxxxxx", air=AIR), frequency=np.linspace(100, 6000, 20))
    assert sum("finger hole: ka" in str(one.message) for one in told) == 1


# --- zeros of the reactance ---------------------------------------------------------------


@anywhere  # of wall losses at a few hertz
def test_case_b_through_the_search_for_zeros():
    printed = published("stated_cases", "case B zero of Im Z")
    assert len(printed) == 11
    words = [row["fingering"] for row in printed]
    at = cases.case_b(words)
    roots, _ = find_roots(at, cases.ceiling(words, cases.AIR_B.sound_speed), 2, cases.LIMIT)
    zeros = zeros_of(at, len(words), 1300.0, roots)
    for row, zero in zip(printed, zeros[:, 0], strict=True):
        check(row, zero)
        # printed to 0.001 Hz; every one of these agrees to that digit
        assert abs(zero - row["value"]) < 0.00051
    assert np.isnan(zeros[words.index("oooooo"), 1])  # its second lies above 1300 Hz
    # an Im Z zero lies at most 0.07 cent from the complex root of the first register
    assert np.all(np.abs(cents(zeros[:, 0], roots[:, 0].real)) < 0.071)


@anywhere  # of wall losses at a few hertz
def test_case_b_without_a_hint_where_to_look():
    words = ["xxxxxx", "xxxoxx"]
    at = cases.case_b(words)
    blind = zeros_of(at, 2, 1300.0, np.full((2, 1), np.nan + 0j))
    roots, _ = find_roots(at, cases.ceiling(words, cases.AIR_B.sound_speed), 2, cases.LIMIT)
    assert blind == pytest.approx(zeros_of(at, 2, 1300.0, roots), rel=1e-9)


@anywhere
def test_zeros_are_where_the_reactance_rises_through_zero():
    rng = np.random.default_rng(12)
    for _ in range(4):
        flute = shaped(rng, random_flute(rng))
        fingerings = random_rows(rng, flute, 2, air=AIR)
        zeros = reactance_zeros(flute, fingerings, highest=2500.0)
        for row, word in enumerate(fingerings.label):
            one = rows(flute, [word], air=AIR)
            found = zeros[row][np.isfinite(zeros[row])]
            assert len(found)
            step = 1e-9 * found
            below = input_impedance(flute, one, found - step)[0].imag
            above = input_impedance(flute, one, found + step)[0].imag
            assert np.all((below < 0) & (above > 0))
            grid = np.linspace(20.0, 2500.0, 2500)
            sign = input_impedance(flute, one, grid)[0].imag > 0
            rises = np.flatnonzero(~sign[:-1] & sign[1:])
            assert all(np.any((grid[i] <= found) & (found <= grid[i + 1])) for i in rises)
            assert len(found) >= len(rises)


@anywhere
def test_zeros_of_a_nearly_lossless_pipe_are_its_harmonics():
    flute = pipe(length=0.5)
    zeros = reactance_zeros(flute, rows(flute, "", air=AIR), Corrections(loss=0.0), highest=2000.0)
    assert zeros[0] == pytest.approx(AIR.sound_speed / 1.0 * np.arange(1, 6), rel=1e-9)


@pytest.mark.parametrize("length", [0.5, 3.0])  # the longer one's first lies below the axis
@pytest.mark.parametrize("foot", ["node", "stopped"])
def test_a_spectrum_has_the_zeros_of_the_search_for_them(length, foot):
    flute = pipe(length=length, foot=foot)
    asked = rows(flute, "", air=AIR)
    seen = spectrum(flute, asked)
    top = seen.frequency[-1]
    assert seen.zeros.size >= 2
    assert seen.zeros == pytest.approx(reactance_zeros(flute, asked, highest=top), rel=1e-8)


def test_a_highest_frequency_of_nothing_is_refused():
    flute = six_holes()
    for highest in (0.0, -5.0, np.nan, np.inf):
        with pytest.raises(ValueError, match="highest frequency is"):
            reactance_zeros(flute, rows(flute, "xxxxxx", air=AIR), highest=highest)


def test_ridders_finds_what_an_independent_solver_finds():
    rng = np.random.default_rng(13)
    at = rng.uniform(0.5, 3.0, (4, 5))

    def function(x):
        return np.tanh(20 * (x - at)) + 0.1 * (x - at) ** 3 + 1e-3 * (x - at)

    found = ridders(function, at - rng.uniform(0.1, 1.0, at.shape), at + 0.7)
    assert found == pytest.approx(at, rel=1e-11)
    cubic = brentq(lambda x: x**3 - 2, 0, 5, xtol=1e-14)
    one = ridders(lambda x: x**3 - 2, np.array([0.0]), np.array([5.0]))
    assert one == pytest.approx([cubic], rel=1e-12)
