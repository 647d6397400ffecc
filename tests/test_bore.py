"""Tapered bores: exact cones against stated values, slices, textbook modes and a brute count."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from flutelab import (
    Bore,
    Corrections,
    End,
    Flute,
    Hole,
    Window,
    input_impedance,
    modes,
    moist_air,
    playing_frequencies,
    rows,
)
from flutelab.model.bore import clamped_between, cone_elements, cones, end_to_end
from flutelab.model.flute import bore_diameter
from flutelab.physics.air import Air
from flutelab.physics.tube import cone, propagation, tube
from flutelab.pitch import cents

# steps, wide cones and high frequencies are what is tried here
pytestmark = pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")
AIR = moist_air(295.0)
FREQUENCY = np.linspace(150.0, 3000.0, 120)
LENGTH, NEAR, FAR = 0.2, 0.008, 0.006


def plain_cone(k, near=NEAR, far=FAR, length=LENGTH, reference=1.0):
    return cone(1j * k, reference**2 / (near * far), length, near, far, (far - near) / length)


def test_a_stated_cone():
    """8 to 6 mm over 200 mm, 600 Hz, c = 346, rho = 1.18: own derivation, checked by slices."""
    k, per_area = 2 * np.pi * 600 / 346, 1.18 * 346 / np.pi
    a, b, c, d = plain_cone(k)
    assert a == pytest.approx(-0.334489, abs=5e-7)
    assert b * per_area == pytest.approx(2.22175638e6j, rel=5e-9)
    assert c / per_area == pytest.approx(3.1647453e-7j, rel=5e-8)
    assert d == pytest.approx(-0.887534, abs=5e-7)


def test_no_flare_is_a_cylinder():
    gamma = 0.3 + 9j
    assert cone(gamma, 1.1, 0.2, 0.008, 0.008, 0.0) == pytest.approx(tube(gamma, 1.1, 0.2))


@pytest.mark.parametrize("gamma", [9j, 0.4 + 9j, 0.4 + 9j - 0.1])
def test_a_cone_is_reciprocal_and_turns_round(gamma):
    there = cone(gamma, 1.3, 0.2, 0.008, 0.006, -0.01)
    back = cone(gamma, 1.3, 0.2, 0.006, 0.008, 0.01)
    assert there[0] * there[3] - there[1] * there[2] == pytest.approx(1.0, rel=1e-13)
    assert back == pytest.approx((there[3], there[1], there[2], there[0]))


def slices(count, k):
    """The same bore as cylinders of the middle radius, multiplied as 2 x 2 matrices."""
    whole = np.eye(2, dtype=complex)
    for i in range(count):
        radius = NEAR + (FAR - NEAR) * (i + 0.5) / count
        a, b, c, d = tube(1j * k, 1 / radius**2, LENGTH / count)
        whole = whole @ np.array([[a, b], [c, d]])
    return whole


def test_slices_converge_at_second_order():
    """Relative matrix error 1.9e-2, 4.6e-3, 1.1e-3, 2.9e-4 of 5 to 40 slices (own result)."""
    k = 2 * np.pi * 600 / 346
    a, b, c, d = plain_cone(k)
    exact, errors = np.array([[a, b], [c, d]]), []
    for count in (5, 10, 20, 40):
        errors.append(np.max(np.abs(slices(count, k) / exact - 1)))
    assert errors == pytest.approx([1.9e-2, 4.6e-3, 1.1e-3, 2.9e-4], rel=0.05)
    assert np.log2(errors[2] / errors[3]) == pytest.approx(2, abs=0.05)


def spherical(k, near, far, length):
    """(a, b, c, d) from p = (A e^{-jks} + B e^{jks})/s of a spherical wave, s from the apex.

    Written from the wave itself: U = -S/(j k) dp/ds, in units of rho c.
    """
    s1 = near * length / (far - near)
    s2 = s1 + length

    def state(s, radius):
        wave = np.exp(np.array([-1j, 1j]) * k * s)
        p = wave / s
        slope = np.array([-1j, 1j]) * k * p - p / s
        return np.array([p, -(radius**2) / (1j * k) * slope])

    return state(s1, near) @ np.linalg.inv(state(s2, far))


@pytest.mark.parametrize(("near", "far"), [(0.008, 0.006), (0.004, 0.011), (0.008, 0.0079)])
def test_cones_carry_spherical_waves(near, far):
    for k in (0.5, 8.0, 40.0, 9 + 0.3j):
        expected = spherical(k, near, far, 0.2)
        found = plain_cone(k, near, far, 0.2)
        assert np.reshape(found, (2, 2)) == pytest.approx(expected, rel=1e-8)


STATIONS = ((0.0, 0.019), (0.12, 0.0165), (0.2, 0.0172), (0.3, 0.014))


def flute(stations=STATIONS, foot=0.32, places=(0.15, 0.2, 0.25)):
    return Flute(
        name="tapered",
        bore=Bore(stations=stations),
        holes=tuple(Hole(position=x, diameter=0.0065, wall=0.004) for x in places),
        head=Window(along=0.006, across=0.009, wall=0.003, plug_to_window=0.002),
        foot=End(position=foot, outer_diameter=0.024),
    )


def test_the_bore_lies_on_straight_lines_between_its_stations():
    bore = Bore(stations=STATIONS)
    assert bore_diameter(bore, 0.16) == pytest.approx(0.01685)
    assert (bore_diameter(bore, -1.0), bore_diameter(bore, 9.0)) == (0.019, 0.014)


def test_a_station_on_a_straight_line_changes_nothing():
    """Also where it coincides with a hole or the foot, or lies beyond the pipe."""
    every = rows(flute(), "xxx xoo oxo", air=AIR)
    seen = input_impedance(flute(), every, FREQUENCY)
    for place in (0.05, 0.15, 0.25, 0.12 + 1e-12, 0.32, 0.4, -0.1):
        more = tuple(sorted({*STATIONS, (place, bore_diameter(Bore(stations=STATIONS), place))}))
        again = input_impedance(flute(more), every, FREQUENCY)
        # losses are taken at the mean radius of each piece: cutting one moves them a little
        assert again == pytest.approx(seen, rel=2e-3, abs=1e-5)
        lossless = Corrections(loss=0.0)
        again = input_impedance(flute(more), every, FREQUENCY, lossless)
        same = input_impedance(flute(), every, FREQUENCY, lossless)
        assert again == pytest.approx(same, rel=1e-8)


def test_almost_a_cylinder_is_one():
    straight = flute(((0.0, 0.016),))
    tapered = flute(((0.0, 0.016), (0.3, 0.016 * (1 + 1e-9))))
    every = rows(straight, "xxx xoo oxo", air=AIR)
    seen = input_impedance(tapered, every, FREQUENCY)
    assert seen == pytest.approx(input_impedance(straight, every, FREQUENCY), rel=1e-5)


def test_steps_of_slices_come_to_the_cone():
    """Notes of a bore in cylinders: the error falls with their number (steps first order)."""
    one = flute(((0.0, 0.018), (0.32, 0.015)), places=())
    exact = playing_frequencies(one, "", air=AIR)[0]
    off = []
    for count in (20, 40, 80):
        edges = np.linspace(0, 0.32, count + 1)
        stations = []
        for low, high in pairwise(edges):
            diameter = bore_diameter(one.bore, (low + high) / 2)
            stations += [(low + 1e-9, diameter), (high, diameter)]
        sliced = replace(one, bore=Bore(stations=tuple(stations)))
        off.append(abs(cents(playing_frequencies(sliced, "", air=AIR)[0], exact)))
    assert off[2] < off[1] < off[0] < 2
    assert off[2] < 0.3


@pytest.mark.parametrize("stations", [((0.0, 0.010), (0.6, 0.03)), ((0.0, 0.03), (0.6, 0.010))])
def test_a_cone_open_at_both_ends_has_all_harmonics(stations):
    """f = n c/2L (textbook result, from memory: Fletcher and Rossing, ch. 8), ideal ends."""
    node = {"kind": "node"}
    pipe = Flute(
        name="cone",
        bore=Bore(stations=stations),
        holes=(),
        head=End(position=0.0, **node),
        foot=End(position=0.6, **node),
    )
    found = modes(pipe, rows(pipe, "", air=AIR), Corrections(loss=0.0), count=4)
    expected = np.arange(1, 5) * AIR.sound_speed / 1.2
    assert found.frequency[0] == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize(("near", "far", "first"), [(1e-5, 0.02, 0.5), (0.0100, 0.0101, 0.25)])
def test_a_stopped_cone_between_the_whole_cone_and_the_tube(near, far, first):
    """A cone whole to its apex sounds as an open tube, a stopped tube an octave lower."""
    pipe = Flute(
        name="cone",
        bore=Bore(stations=((0.0, 2 * near), (0.5, 2 * far))),
        holes=(),
        head=End(position=0.0, kind="stopped"),
        foot=End(position=0.5, kind="node"),
    )
    found = modes(pipe, rows(pipe, "", air=AIR), Corrections(loss=0.0), count=1)
    assert found.frequency[0, 0] == pytest.approx(first * AIR.sound_speed / 0.5, rel=0.006)


def random_stations(rng, length):
    count = rng.integers(2, 5)
    places = np.sort(rng.uniform(-0.02, length + 0.05, count))
    return tuple(zip(places, rng.uniform(0.008, 0.024, count), strict=True))


def brute_count(bore, before, after, k):
    """Zeros of every tube's B below k, found by its sign changes on a fine grid."""
    grid = np.linspace(1e-3, k, 6000)[:, None]
    each = cone(1j * grid, 1e-4 / (bore.near * bore.far), bore.length, bore.near, bore.far,
                bore.flare)  # fmt: skip
    a, b, c, d = end_to_end(bore, each)
    one, other = 1j * grid * before, 1j * grid * after
    a, b = a + one * c, b + one * d
    whole = (b + a * other).imag
    return int(np.sum(np.diff(np.sign(whole), axis=0) != 0))


def test_clamped_modes_of_tapered_tubes_are_counted_exactly():
    rng = np.random.default_rng(11)
    for _ in range(60):
        length = rng.uniform(0.2, 0.7)
        places = np.sort(rng.uniform(0, length, 3)).tolist()
        bore = cones(random_stations(rng, length), [0.0, *places, length], 1.0)
        arms = -rng.uniform(0, 1e-3, (2, 4)) * rng.integers(0, 2, (2, 4))
        for k in rng.uniform(1, 60, 3):
            wanted = brute_count(bore, *arms, k)
            found = clamped_between(np.array([k]), bore, *(k * arms), 0.01**2)
            assert found == wanted


def test_losses_are_those_of_the_mean_radius():
    air = Air(sound_speed=346.0, density=1.18, viscosity=1.84e-5, heat_ratio=1.4, prandtl=0.71,
              temperature=298.0)  # fmt: skip
    bore = cones(((0.0, 0.016), (0.1, 0.0156)), [0.0, 0.1], 1.0)
    assert bore.first == (0, 1)
    a, b, c, d = cone_elements(bore, np.array([500.0]), air, 1.0, 0.008**2)
    gamma, relative = propagation(500.0, 0.0079, air)
    straight = tube(gamma, relative, 0.1)
    # a slim cone is nearly the tube of its middle, seen from a reference of its wide end
    ratio = (0.008 / 0.0079) ** 2
    assert b[0] == pytest.approx(straight[1] * ratio, rel=2e-3)
    assert a[0] * d[0] - b[0] * c[0] == pytest.approx(1.0)


def test_wide_steps_of_radius_are_cut_where_losses_change():
    bore = cones(((0.0, 0.016), (0.1, 0.008)), [0.0, 0.1], 1.0)
    assert bore.first == (0, 10)
    assert np.max(bore.near / bore.far) <= 1.1 + 1e-12


def test_a_batch_of_bores_is_solved_as_each_alone():
    one = flute()
    every = rows(one, "xxx xoo", air=AIR)
    scale = np.array([0.98, 1.0, 1.03])
    together = input_impedance(one, every, FREQUENCY, Corrections(bore=scale[:, None, None]))
    for value, seen in zip(scale, together, strict=True):
        alone = input_impedance(one, every, FREQUENCY, Corrections(bore=float(value)))
        assert seen == pytest.approx(alone, rel=1e-10)


def test_a_batch_of_station_diameters_is_solved_as_each_alone():
    """One station moves: cones on both its sides do, those of the others do not."""
    every, scale = rows(flute(), "xxx xoo oxo", air=AIR), np.array([0.98, 1.0, 1.03])

    def widened(by):
        place, diameter = STATIONS[1]
        return flute((STATIONS[0], (place, by * diameter), *STATIONS[2:]))

    together = input_impedance(widened(scale[:, None, None]), every, FREQUENCY)
    for value, seen in zip(scale, together, strict=True):
        assert seen == pytest.approx(input_impedance(widened(value), every, FREQUENCY), rel=1e-10)
