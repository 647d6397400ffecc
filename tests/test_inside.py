"""The standing wave: against the whole pipe as one system, and where its power goes."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from made_notes import demo
from reference.dense import dense_system, emitting, exterior, own_resistance
from reference.lengths import numbers, written_radius
from reference.network import cone_matrix, inner_length, outside_load, zwikker_kosten
from reference.published import published
from reference.random_flutes import random_flute, random_rows, shaped, wild_flute

from flutelab import (
    PUBLISHED,
    AirAlong,
    Bore,
    Corrections,
    End,
    Flute,
    Hole,
    Window,
    input_impedance,
    modes,
    moist_air,
    rows,
)
from flutelab.errors import already_warned
from flutelab.model.inside import standing_wave
from flutelab.physics.ends import own_end

AIR = moist_air(295.0)
pytestmark = pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")


def six_holes(head=None, foot=None):
    places = (0.127, 0.147, 0.169, 0.192, 0.211, 0.237)
    return Flute(
        name="six holes",
        bore=Bore(stations=((0.0, 0.0158),)),
        holes=tuple(Hole(position=x, diameter=0.0066, wall=0.0028) for x in places),
        head=head or Window(along=0.006, across=0.009, wall=0.0028),
        foot=foot or End(position=0.297, outer_diameter=0.0214),
    )


def pipe(length=0.3, head="node", foot="node", stations=((0.0, 0.016),), holes=()):
    return Flute(
        name="pipe",
        bore=Bore(stations=stations),
        holes=holes,
        head=End(position=0.0, kind=head),
        foot=End(position=length, kind=foot),
    )


def random_cases(seed, count, *, shapes=False):
    rng = np.random.default_rng(seed)
    for _ in range(count):
        flute = random_flute(rng)
        flute = shaped(rng, flute) if shapes else flute
        yield flute, random_rows(rng, flute, 1, left_out=0.1)


def sides(flute, wave):
    """Columns of the points just before and just after each opening."""
    holes = [np.flatnonzero(wave.position == h.position) for h in flute.holes]
    assert all(len(pair) == 2 for pair in holes)
    before = [*(pair[0] for pair in holes), len(wave.position) - 1]
    after = [0, *(pair[1] for pair in holes)]
    return np.array(before), np.array(after)


def scaled(n):
    """Rho c/(pi a^2) of the bore at the head."""
    return n.air.density * n.air.sound_speed / (np.pi * n.radius**2)


# --- against the whole pipe as one dense system -----------------------------------------------


@pytest.mark.parametrize("formulas", [None, PUBLISHED], ids=["own", "published"])
@pytest.mark.parametrize("shapes", [False, True])
def test_pressure_and_flows_at_the_openings_are_those_of_one_dense_system(shapes, formulas):
    # without losses it does not matter how finely a taper is cut
    by = Corrections(loss=0.0) if shapes else Corrections()
    for flute, fingerings in random_cases(21, 8, shapes=shapes):
        wave = standing_wave(flute, fingerings, by, formulas=formulas)
        n = numbers(flute, fingerings, by, formulas=formulas)
        matrix, drive = dense_system(n, wave.frequency)
        unknown = np.linalg.solve(matrix, drive[..., None])[0, :, 0]
        nodes = len(n.places)
        p, inflow, u, near, far = np.split(unknown, np.cumsum([nodes] * 3 + [nodes - 1]))
        inflow, u, near, far = (1j * flow / scaled(n) for flow in (inflow, u, near, far))
        before, after = sides(flute, wave)
        factor = wave.pressure[0, 0] / p[0]
        at_openings = wave.pressure[0, np.append(after, before[-1])]
        assert at_openings == pytest.approx(factor * p, rel=1e-9)
        assert wave.pressure[0, before[:-1]] == pytest.approx(factor * p[1:-1], rel=1e-9)
        size = np.abs(wave.flow).max()
        assert wave.flow[0, after] == pytest.approx(factor * near, abs=1e-9 * size)
        assert wave.flow[0, before] == pytest.approx(factor * far, abs=1e-9 * size)
        assert wave.outflow[0] == pytest.approx(factor * u, abs=1e-9 * size)
        # continuity: what the bore loses at an opening goes into it
        jump = wave.flow[0, before[:-1]] - wave.flow[0, after[1:]]
        assert jump == pytest.approx(factor * inflow[1:-1], abs=1e-9 * size)


def test_the_largest_pressure_is_one_pascal_with_phase_nought():
    flute = six_holes()
    wave = standing_wave(flute, rows(flute, "xxxxxx xxxooo oooooo", air=AIR), register=2)
    largest = np.argmax(np.abs(wave.pressure), axis=-1)
    assert wave.pressure[np.arange(3), largest] == pytest.approx(np.ones(3), abs=1e-12)


def test_rows_are_worked_out_as_each_alone():
    flute = six_holes()
    words, register = ["xxxxxx", "xxxoxx", "hxxxxx", "nnnnoo"], np.array([2, 1, 1, 3])
    together = standing_wave(flute, rows(flute, words, air=AIR, register=register))
    for row, word in enumerate(words):
        alone = standing_wave(flute, rows(flute, word, air=AIR), register=register[row])
        for name in ("frequency", "pressure", "flow", "outflow", "power_share", "effective_end"):
            one, all_rows = getattr(alone, name)[0], getattr(together, name)[row]
            assert all_rows == pytest.approx(one, rel=1e-8, abs=1e-8 * np.max(np.abs(one)))


@pytest.mark.parametrize("along", [False, True])
def test_each_row_has_its_own_air(along):
    flute, kelvin = six_holes(), np.array([285.0, 300.0])

    def breathed(temperature):
        return AirAlong(room_temperature=temperature) if along else moist_air(temperature)

    together = standing_wave(flute, rows(flute, "xxxooo xxxooo", air=breathed(kelvin)))
    for row in range(2):
        alone = standing_wave(flute, rows(flute, "xxxooo", air=breathed(kelvin[row])))
        assert together.frequency[row] == pytest.approx(alone.frequency[0], rel=1e-9)
        for name in ("pressure", "flow", "radiated", "effective_head", "effective_end"):
            one, both = getattr(alone, name)[0], getattr(together, name)[row]
            assert both == pytest.approx(one, rel=1e-8, abs=1e-8 * np.max(np.abs(one)))


def test_the_frequency_is_that_of_the_mode():
    flute = six_holes()
    fingerings = rows(flute, "xxxxxx xxxooo", air=AIR, register=[0, 2])
    wave = standing_wave(flute, fingerings)
    found = modes(flute, fingerings, count=3)
    assert wave.frequency == pytest.approx(found.frequency[[0, 1], [0, 1]], rel=1e-9)
    assert wave.label == fingerings.label
    assert wave.opening == ("window", *(f"hole {i}" for i in range(1, 7)), "foot")
    assert wave.place == pytest.approx([-0.003, *(h.position for h in flute.holes), 0.297])


# --- power ------------------------------------------------------------------------------------


def loss_between(n, frequency, radii, length, p, u):
    """Loss in a cone by 3 Gauss points of Re Z'|U|^2/2 + Re Y'|p|^2/2; p, U (SI) at its end."""
    total, (near, far) = 0.0, radii
    zero_to_one, weights = np.polynomial.legendre.leggauss(3)
    for x, weight in zip(length * (zero_to_one + 1) / 2, length * weights / 2, strict=True):
        p_x, u_x, radius = carried(n, frequency, radii, length, x, p, u)
        gamma, z = zwikker_kosten(frequency, (near + far) / 2, n.air, n.loss)
        local = z * scaled(n) * (n.radius / radius) ** 2
        series, shunt = (gamma * local).real, (gamma / local).real
        total += weight * (series * np.abs(u_x) ** 2 + shunt * np.abs(p_x) ** 2) / 2
    return total, *carried(n, frequency, radii, length, length, p, u)[:2]


def carried(n, frequency, radii, length, x, p, u):
    """Pressure, flow and radius at x in a cone."""
    radius = radii[0] + (radii[1] - radii[0]) * x / length
    gamma, z = zwikker_kosten(frequency, sum(radii) / 2, n.air, n.loss)
    a, b, c, d = cone_matrix(gamma, z, x, radii[0], radius)
    unit = scaled(n) * n.radius**2
    return d * p - b * unit * u, a * u - c / unit * p, radius


def bore_walls(flute, n, wave, correction):
    """Loss along the bore from point to point; each point must follow from the one before."""
    frequency, total = wave.frequency[0], 0.0
    k = 2 * np.pi * frequency / n.air.sound_speed
    before, after = sides(flute, wave)
    arms = [0.0, *(0.0 if h.state == "undrilled" else h.series for h in n.holes), 0.0]
    p, u = np.array(wave.pressure[0]), wave.flow[0]
    for columns, sign, lengths in ((after, -1, arms[:-1]), (before, 1, arms[1:])):
        p[columns] += sign * 0.5j * k * np.array(lengths) * scaled(n) * u[columns]
    for j in range(len(p) - 1):
        ends = wave.position[j : j + 2]
        if ends[0] == ends[1]:
            continue
        p_next, u_next = p[j], u[j]
        bends = [x for x, _ in flute.bore.stations if ends[0] < x < ends[1]]
        for piece in pairwise([ends[0], *bends, ends[1]]):
            radii = [correction * written_radius(flute, x) for x in piece]
            length = np.diff(piece)[0]
            loss, p_next, u_next = loss_between(n, frequency, radii, length, p_next, u_next)
            total += loss
        assert abs(p_next - p[j + 1]) < 1e-9
        assert abs(u_next - u[j + 1]) < 1e-9 * np.abs(u).max()
    return total


def hole_walls(n, wave):
    """Loss in each open chimney from the outside in, and in each closed hole from the bore."""
    frequency = wave.frequency[0]
    k, unit = 2 * np.pi * frequency / n.air.sound_speed, scaled(n)
    u = np.where(emitting(n), wave.outflow[0], 0.0)
    outside = (exterior(n, wave.frequency)[0] @ u) * unit
    pressure = [wave.pressure[0, wave.position == place][0] for place in wave.place[1:-1]]
    for i, h in enumerate(n.holes, start=1):
        mouth = (n.radius / h.mouth) ** 2 * unit
        if h.state == "open":
            p, flow = outside[i] + outside_load(n, h, k) * unit * u[i], -u[i]
            one = loss_between(n, frequency, (h.radius, h.mouth), h.height, p, flow)
            two = loss_between(n, frequency, (h.mouth, h.mouth), h.matching, *one[1:])
            yield one[0] + two[0]
        elif h.state == "closed" and h.closed:
            gamma, z = zwikker_kosten(frequency, h.mouth, n.air, n.loss)
            end = 1j * k * inner_length(n, h, k) * mouth
            p = pressure[i - 1] / n.formulas.hole.ratio(k, h.along)
            flow = p / (z * mouth / np.tanh(gamma * h.closed) + end)
            yield loss_between(n, frequency, (h.mouth, h.mouth), h.closed, p - end * flow, flow)[0]
        else:
            yield 0.0


@pytest.mark.parametrize("register", [1, 2])
@pytest.mark.parametrize("shapes", [False, True])
def test_power_in_is_radiated_and_lost_in_the_walls(shapes, register):
    for flute, fingerings in random_cases(22, 4, shapes=shapes):
        by = Corrections(bore=1.01)
        wave = standing_wave(flute, fingerings, by, register=register, points=400)
        n = numbers(flute, fingerings, by)
        bore, holes = bore_walls(flute, n, wave, by.bore), np.array(list(hole_walls(n, wave)))
        power = wave.input_power[0]
        spent = bore + np.sum(holes) + np.sum(wave.radiated)
        assert spent == pytest.approx(power, rel=1e-6)
        assert bore == pytest.approx(wave.bore_loss[0], rel=1e-6)
        assert holes == pytest.approx(wave.hole_loss[0, 1:-1], rel=1e-5, abs=1e-9 * power)
        assert wave.hole_loss[0, [0, -1]].tolist() == [0.0, 0.0]


def test_radiated_power_is_that_of_the_radiation_matrix_apart_from_the_library():
    for flute, fingerings in random_cases(23, 8, shapes=True):
        wave = standing_wave(flute, fingerings)
        n = numbers(flute, fingerings)
        k = 2 * np.pi * wave.frequency / n.air.sound_speed
        own = np.where(emitting(n), own_resistance(n, k)[0], 0.0)
        z = scaled(n) * (exterior(n, wave.frequency)[0] + np.diag(own))
        expected = 0.5 * (wave.outflow[0].conj() * (z @ wave.outflow[0])).real
        assert wave.radiated[0] == pytest.approx(expected, rel=1e-8, abs=1e-9 * expected.max())
        resistive = 0.5 * (wave.outflow[0].conj() @ z.real @ wave.outflow[0]).real
        assert np.sum(wave.radiated) == pytest.approx(resistive, rel=1e-9)
        assert wave.power_share[0] == pytest.approx(expected / resistive, rel=1e-8, abs=1e-9)
        assert np.sum(wave.flow_share) == pytest.approx(1.0)


def test_without_wall_losses_all_power_is_radiated():
    for flute, fingerings in random_cases(24, 10, shapes=True):
        wave = standing_wave(flute, fingerings, Corrections(loss=0.0))
        power = wave.input_power[0]
        assert power > 0
        assert np.sum(wave.radiated) == pytest.approx(power, rel=1e-9)
        assert abs(wave.bore_loss[0]) < 1e-9 * power
        assert np.all(np.abs(wave.hole_loss) < 1e-9 * power)


def test_the_input_power_is_that_of_the_impedance_at_the_head():
    flute = six_holes()
    fingerings = rows(flute, "xxxooo oxxxxx", air=AIR)
    wave = standing_wave(flute, fingerings)
    for row in range(2):
        one = rows(flute, fingerings.label[row], air=AIR)
        z = input_impedance(flute, one, wave.frequency[row : row + 1])[0, 0]
        expected = 0.5 * np.abs(wave.outflow[row, 0]) ** 2 * z.real
        assert wave.input_power[row] == pytest.approx(expected, rel=1e-9)
    stopped = six_holes(head=End(position=0.0, kind="stopped"))
    wave = standing_wave(stopped, rows(stopped, "xxxooo", air=AIR))
    z = input_impedance(stopped, rows(stopped, "xxxooo", air=AIR), wave.frequency)[0, 0]
    expected = 0.5 * np.abs(wave.pressure[0, 0]) ** 2 * (1 / z).real
    assert wave.input_power[0] == pytest.approx(expected, rel=1e-9)


def test_balance_of_flutes_of_any_kind():
    rng = np.random.default_rng(25)
    for _ in range(25):
        flute = wild_flute(rng)
        fingerings = random_rows(rng, flute, 2, left_out=0.1, letters="xoh")
        wave = standing_wave(flute, fingerings)
        spent = wave.radiated.sum(-1) + wave.hole_loss.sum(-1) + wave.bore_loss
        known = wave.reason == ""
        assert spent[known] == pytest.approx(wave.input_power[known], rel=1e-6)
        assert np.all(wave.bore_loss[known] > 0)


def test_an_end_without_its_correction_still_radiates():
    flute = six_holes()
    wave = standing_wave(flute, rows(flute, "xxxxxx", air=AIR), Corrections(foot=0.0))
    assert wave.power_share[0, -1] > 0.3
    spent = wave.radiated.sum() + wave.hole_loss.sum() + wave.bore_loss[0]
    assert spent == pytest.approx(wave.input_power[0], rel=1e-9)


def test_balance_with_air_that_changes_along_the_bore():
    flute = six_holes()
    wave = standing_wave(flute, rows(flute, "xxxooo oooooo", air=AirAlong(room_temperature=293.15)))
    spent = wave.radiated.sum(-1) + wave.hole_loss.sum(-1) + wave.bore_loss
    assert spent == pytest.approx(wave.input_power, rel=1e-9)
    assert np.all(wave.hole_loss[:, 1:-1] > 0)


# --- textbook waves ---------------------------------------------------------------------------
# Half waves in a tube open at both ends, odd quarter waves in one that is stopped: P. P. Urone,
# R. Hinrichs, College Physics, OpenStax (2012), ch. 17.5; the lossy forms follow from it.


@pytest.mark.parametrize("register", [1, 2, 3])
def test_an_open_pipe_holds_half_waves(register):
    flute, length = pipe(), 0.3
    wave = standing_wave(flute, rows(flute, "", air=AIR), Corrections(loss=0.0), register=register)
    assert wave.frequency[0] == pytest.approx(register * AIR.sound_speed / (2 * length), rel=1e-12)
    phase = register * np.pi * wave.position / length
    largest = np.argmax(np.abs(np.sin(phase)))
    assert wave.pressure[0] == pytest.approx(np.sin(phase) / np.sin(phase[largest]), abs=1e-6)
    # flow leads the pressure by a quarter: U = j (S/rho c) dp/d(kx)
    size = np.pi * 0.008**2 / (AIR.density * AIR.sound_speed)
    expected = 1j * size * np.cos(phase) / np.sin(phase[largest])
    assert wave.flow[0] == pytest.approx(expected, abs=1e-6 * size)
    assert wave.effective_head[0] == pytest.approx(0.0, abs=1e-8)
    assert wave.effective_end[0] == pytest.approx(length, abs=1e-8)
    assert wave.half_waves[0] == pytest.approx(length, rel=1e-8)


@pytest.mark.parametrize("register", [1, 2, 3])
def test_an_open_pipe_with_losses_has_the_exact_wave(register):
    flute, length = pipe(), 0.3
    wave = standing_wave(flute, rows(flute, "", air=AIR), register=register)
    gamma, z = zwikker_kosten(wave.frequency, 0.008, AIR, 1.0)
    expected = np.sinh(gamma[:, None] * (length - wave.position))[0]
    largest = expected[np.argmax(np.abs(expected))]
    assert wave.pressure[0] == pytest.approx(expected / largest, abs=1e-9)
    size = np.pi * 0.008**2 / (AIR.density * AIR.sound_speed * z[0])
    flow = size * np.cosh(gamma[:, None] * (length - wave.position))[0] / largest
    assert wave.flow[0] == pytest.approx(flow, abs=1e-9 * np.abs(size))
    # a pressure node, and an antinode of the flow, every half wave
    turns = np.flatnonzero(np.diff(np.sign(wave.pressure[0, 1:-1].real)))
    assert wave.position[1 + turns] == pytest.approx(
        length * np.arange(1, register) / register, abs=length / 150
    )


def test_a_stopped_pipe_holds_odd_quarter_waves():
    flute, length = pipe(head="stopped"), 0.3
    fingerings = rows(flute, ["", ""], air=AIR, register=[1, 2])
    wave = standing_wave(flute, fingerings, Corrections(loss=0.0))
    odd = np.array([[1], [3]])
    assert wave.frequency == pytest.approx(odd[:, 0] * AIR.sound_speed / (4 * length), rel=1e-9)
    expected = np.cos(odd * np.pi / 2 * wave.position / length)
    assert wave.pressure == pytest.approx(expected, abs=1e-6)
    assert np.isnan(wave.effective_head).all()
    assert wave.effective_end == pytest.approx([length, length], abs=1e-7)
    other = pipe(foot="stopped")
    wave = standing_wave(other, rows(other, "", air=AIR))
    assert np.isnan(wave.effective_end[0])
    assert np.isnan(wave.half_waves[0])
    assert wave.outflow[0, -1] == 0


def test_a_cone_open_at_both_ends_holds_spherical_half_waves():
    """Sin k(s - s1)/s, and the harmonics of the cylinder as long (textbook, from memory)."""
    flute, length = pipe(stations=((0.0, 0.020), (0.3, 0.012))), 0.3
    apex = 0.020 / (0.008 / length)
    for register in (1, 2):
        by = Corrections(loss=0.0)
        wave = standing_wave(flute, rows(flute, "", air=AIR), by, register=register)
        expected_frequency = register * AIR.sound_speed / (2 * length)
        assert wave.frequency[0] == pytest.approx(expected_frequency, rel=1e-9)
        expected = np.sin(register * np.pi * wave.position / length) / (apex - wave.position)
        expected = expected / expected[np.argmax(np.abs(expected))]
        assert wave.pressure[0] == pytest.approx(expected, abs=1e-6)


# --- effective ends ---------------------------------------------------------------------------


def test_a_plain_foot_ends_by_its_end_correction():
    flute = pipe(foot="open")
    wave = standing_wave(flute, rows(flute, "", air=AIR), Corrections(loss=0.0))
    ka = 2 * np.pi * wave.frequency[0] / AIR.sound_speed * 0.008
    # an open pipe's 0.6133 radii: H. Levine, J. Schwinger, Phys. Rev. 73, 383-406 (1948)
    assert (wave.effective_end[0] - 0.3) / 0.008 == pytest.approx(0.6133, rel=5e-3)
    length = own_end(ka, 1.0)[0]
    assert wave.effective_end[0] == pytest.approx(0.3 + 0.008 * length, abs=2e-6)
    assert wave.effective_end - wave.effective_head == pytest.approx(wave.half_waves, rel=1e-4)


def test_one_open_hole_and_its_tail_end_where_the_worked_example_says():
    hole = Hole(position=1.9, diameter=0.007, wall=0.0028)
    flute = pipe(2.0, stations=((0.0, 0.0158),), holes=(hole,))
    by = Corrections(loss=0.0, coupling=0.0)
    wave = standing_wave(flute, rows(flute, "o", air=AIR), by)
    (printed,) = published("row_of_holes", "one hole and its tail")
    # a = 7.9, b = 3.5, D = 100 mm at low frequency; the example's t_E is not quite the library's
    beyond = 1e3 * (wave.effective_end[0] - 1.9)
    assert beyond == pytest.approx(printed["value"], rel=0.01)


def test_a_window_ends_by_its_correction_and_closed_holes_fill_up_the_rest():
    flute = replace(six_holes(), holes=())
    by = Corrections(loss=0.0)
    wave = standing_wave(flute, rows(flute, "", air=AIR), by)
    n = numbers(flute, rows(flute, "", air=AIR), by)
    k = 2 * np.pi * wave.frequency[0] / AIR.sound_speed
    # the window's length in parallel with the cavity behind it; the foot's sound adds a little
    y = np.tan(k * n.head.stub) - 1 / (k * n.head.length)
    expected = -0.003 - np.arctan(-1 / y) / k
    assert wave.effective_head[0] == pytest.approx(expected, abs=2e-4)
    assert wave.effective_end - wave.effective_head == pytest.approx(wave.half_waves, rel=2e-4)
    closed = standing_wave(six_holes(), rows(six_holes(), "xxxxxx", air=AIR), by)
    # closed holes lengthen the way: half waves are longer than the distance of the ends
    assert closed.half_waves[0] - (closed.effective_end - closed.effective_head)[0] > 5e-4


@pytest.mark.parametrize("register", [1, 2, 3])
def test_the_ends_lie_half_waves_apart_whatever_is_open(register):
    # lossless plain tube from the head to the first open hole: whole half waves (textbook); closed
    # holes and walls take up to a few millimetres
    flute = demo("half-inch-six").flute
    small = replace(flute.holes[0], position=0.08, diameter=0.004)
    vented = replace(flute, holes=(small, *flute.holes[1:]))
    words = "oxxxxx hxxxxx xoxxxx hhxxxh hxxxho xxhxxx xxxoxx oxooxo hhhhhh oooooo xxxooo xxxxxx"
    for one in (flute, vented):
        wave = standing_wave(one, rows(one, words, air=AIR, register=register))
        apart = wave.effective_end - wave.effective_head
        known = np.isfinite(apart)
        assert np.sum(known) > 6
        assert np.abs(apart - wave.half_waves)[known] == pytest.approx(0.0, abs=0.005)
        if register == 1:
            assert apart == pytest.approx(AIR.sound_speed / (2 * wave.frequency), rel=0.03)


def test_a_hole_at_the_very_head_does_not_end_the_column_there():
    hole = Hole(position=0.004, diameter=0.004, wall=0.003)
    flute = pipe(head="open", foot="open", holes=(hole,))
    wave = standing_wave(flute, rows(flute, "o", air=AIR, register=[1]))
    apart = (wave.effective_end - wave.effective_head)[0]
    assert apart > 0.1
    assert apart == pytest.approx(wave.half_waves[0], rel=0.02)


def test_the_effective_end_lies_farther_the_more_holes_are_closed():
    flute = six_holes()
    words = "oooooo xooooo xxoooo xxxooo xxxxoo xxxxxo xxxxxx"
    wave = standing_wave(flute, rows(flute, words, air=AIR))
    assert np.all(np.diff(wave.effective_end) > 0)
    first = [*(h.position for h in flute.holes), 0.297]
    assert np.all(wave.effective_end > first)


# --- what cannot be -----------------------------------------------------------------------------


def test_a_row_without_its_mode_is_blank_with_a_reason():
    flute = six_holes()
    wave = standing_wave(flute, rows(flute, "xxxooo xxxooo", air=AIR, register=[1, 60]))
    assert wave.reason[0] == ""
    assert "no mode" in wave.reason[1]
    for name in ("frequency", "pressure", "outflow", "power_share", "input_power", "half_waves"):
        value = getattr(wave, name)
        assert np.all(np.isfinite(value[0]))
        assert np.all(np.isnan(value[1]))


@pytest.mark.parametrize("register", [40, 91])
def test_a_mode_that_is_not_there_needs_no_number(register):
    """Nor a warning of numbers (warnings are errors here): a short wide pipe has no such mode."""
    wide = pipe(length=0.05, foot="open", stations=((0.0, 0.06),))
    six = replace(six_holes(), foot=End(position=0.297, kind="stopped"))
    for flute, word in ((wide, ""), (six, "xxxxxx ooxoxx")):
        with already_warned():
            wave = standing_wave(flute, rows(flute, word, air=AIR), register=register)
        assert all("no mode" in why for why in wave.reason)
        assert np.isnan(wave.pressure).all()
        assert np.isnan(wave.frequency).all()


def test_where_no_sound_leaves_there_is_no_share_of_it():
    shut = pipe(head="stopped", foot="stopped")
    wave = standing_wave(shut, rows(shut, "", air=AIR))
    assert wave.reason[0] == ""
    assert np.all(wave.outflow == 0)
    assert np.isnan(wave.flow_share).all()
    assert np.isnan(wave.power_share).all()
    assert wave.input_power == pytest.approx(wave.bore_loss, rel=1e-6)


def test_too_few_points_and_words_for_rows_are_refused():
    flute = six_holes()
    with pytest.raises(ValueError, match="points are 5; give at least 20"):
        standing_wave(flute, rows(flute, "xxxooo", air=AIR), points=5)
    with pytest.raises(TypeError, match="make them with rows"):
        standing_wave(flute, "xxxooo")


@pytest.mark.parametrize("points", [20, 199, 1001])
def test_what_leaves_does_not_hang_on_the_points(points):
    flute = six_holes()
    fingerings = rows(flute, "xxxooo", air=AIR)
    one, other = standing_wave(flute, fingerings), standing_wave(flute, fingerings, points=points)
    assert other.power_share == pytest.approx(one.power_share, rel=1e-9)
    # found from 15 mm before the hole where there are 20 points: losses on that way shift it
    assert other.effective_end == pytest.approx(one.effective_end, abs=5e-5)
    on_axis = np.interp(other.position, one.position, np.abs(one.pressure[0]))
    assert np.abs(other.pressure[0]) == pytest.approx(on_axis, abs=1e-3)
