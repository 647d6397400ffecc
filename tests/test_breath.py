"""Air along the bore: the mixture, and what it does to notes."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from made_notes import CROSSED, SCALE, SIX, demo, notes_of
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from flutelab import (
    AirAlong,
    Bore,
    Corrections,
    End,
    Flute,
    ValidityWarning,
    calibrate,
    modes,
    moist_air,
    predict_notes,
    rows,
)
from flutelab.model.chain import PIECE, chain, opening_places
from flutelab.model.flute import bore_diameter
from flutelab.model.lattice import elements
from flutelab.model.notes import CENT
from flutelab.model.roots import mode_count
from flutelab.model.warmth import single_temperature_error
from flutelab.physics.air import sound_speed, water_fraction
from flutelab.physics.breath import air_at, cut_off, single_air
from flutelab.physics.tube import propagation, tube
from flutelab.units import celsius

USUAL = AirAlong(room_temperature=celsius(22.0))
TAPERED = demo("tapered-wood-six").flute


# --- the mixture -----------------------------------------------------------------------


def test_the_foot_has_the_rooms_air():
    room, foot = moist_air(celsius(22.0)), air_at(USUAL, 1.0)
    for name, value in vars(room).items():
        assert getattr(foot, name) == pytest.approx(value, rel=1e-12), name


def test_without_breath_the_bore_has_the_rooms_air():
    still = AirAlong(room_temperature=celsius(22.0), humidity=0.3, share=0.0)
    for place in (0.0, 0.4, 1.0):
        room = moist_air(celsius(22.0), humidity=0.3)
        assert air_at(still, place).sound_speed == pytest.approx(room.sound_speed, rel=1e-12)


@pytest.mark.parametrize(("warm", "co2", "ideal"), [
    # c of an ideal-gas mixture of saturated breath whose oxygen the CO2 has replaced: own
    # calculation from ideal-gas heat capacities, which lies 0.12-0.14 m/s below real gas
    (30.0, 0.04, 347.79), (32.0, 0.04, 349.20), (34.0, 0.04, 350.63), (34.0, 0.02, 352.46),
])  # fmt: skip
def test_breath_against_an_ideal_mixture(warm, co2, ideal):
    breath = AirAlong(
        room_temperature=celsius(20.0), share=1.0, breath_temperature=celsius(warm), breath_co2=co2
    )
    assert air_at(breath, 0.0).sound_speed == pytest.approx(ideal + 0.13, abs=0.10)


def test_mixing_keeps_the_amounts():
    at_window = air_at(USUAL, 0.0)
    room = water_fraction(celsius(22.0), humidity=0.5, pressure=101325.0)
    breath = water_fraction(celsius(32.0), humidity=1.0, pressure=101325.0)
    expected = sound_speed(
        celsius(30.0),
        water=0.2 * room + 0.8 * breath,
        co2=0.2 * 400e-6 + 0.8 * 0.04,
        pressure=101325.0,
    )
    assert at_window.temperature == pytest.approx(celsius(30.0))
    assert at_window.sound_speed == pytest.approx(expected, rel=1e-12)


def test_water_beyond_saturation_has_condensed():
    cold = AirAlong(room_temperature=celsius(5.0), humidity=1.0)
    here = air_at(cold, 0.5)
    wet = water_fraction(here.temperature, humidity=1.0, pressure=101325.0)
    co2 = 0.6 * 400e-6 + 0.4 * 0.04
    full = sound_speed(here.temperature, water=wet, co2=co2, pressure=101325.0)
    assert here.sound_speed == pytest.approx(full, rel=1e-12)


def test_places_beyond_the_ends_have_the_ends_air():
    for place, end in ((-0.2, 0.0), (1.3, 1.0)):
        assert air_at(USUAL, place).sound_speed == air_at(USUAL, end).sound_speed


@pytest.mark.parametrize(("field", "value"), [
    ("share", 1.2), ("share", -0.1), ("breath_temperature", 32.0), ("breath_humidity", 50.0),
    ("breath_co2", 4.0), ("humidity", 50.0), ("pressure", 1.0),
])  # fmt: skip
def test_numbers_that_are_none_are_refused(field, value):
    with pytest.raises(ValueError, match=rf"{value:g}; allowed is"):
        AirAlong(**{"room_temperature": 295.0, field: value})


def test_a_room_in_celsius_is_refused_as_typed():
    with pytest.raises(ValueError, match=r"is 22 K; .* write flutelab\.units\.celsius\(22\)"):
        AirAlong(room_temperature=22)


def test_a_room_beyond_the_formulas_is_told_once():
    with pytest.warns(
        ValidityWarning, match="temperature 38 is outside 0 to 35 C in the room"
    ) as told:
        AirAlong(room_temperature=celsius(38.0))
    assert len(told) == 1


# --- in the chain ----------------------------------------------------------------------


STRAIGHT = ((0.0, 0.016),)
NARROWING = ((0.0, 0.020), (0.12, 0.019), (0.3, 0.012))


def ideal_pipe(stations=STRAIGHT, length=0.3):
    ends = {
        "head": End(position=0.0, kind="node"),
        "foot": End(position=length, kind="node"),
    }
    return Flute(name="ideal", bore=Bore(stations=stations), holes=(), **ends)


def shot(frequency, along, bore, length=0.3):
    """Pressure at the foot of a wave from a node: (S p'/rho)' + w^2 S p/(rho c^2) = 0."""

    def slopes(x, state):
        air, area = air_at(along, x / length), bore_diameter(bore, x) ** 2
        pressure, flux = state
        stiffness = air.density * air.sound_speed**2
        force = (2 * np.pi * frequency) ** 2 * area * pressure / stiffness
        return [air.density * flux / area, -force]

    start = [0.0, bore_diameter(bore, 0.0) ** 2]
    way = solve_ivp(slopes, (0.0, length), start, rtol=1e-10, atol=1e-14, max_step=0.01)
    return way.y[0, -1]


@pytest.mark.parametrize(("stations", "within"), [(STRAIGHT, 0.003), (NARROWING, 0.01)])
@pytest.mark.parametrize("register", [1, 2, 3])
def test_an_ideal_pipe_against_the_wave_equation(stations, within, register):
    # scipy's initial-value solver on the wave equation of a horn whose medium varies
    along = AirAlong(room_temperature=celsius(15.0), share=1.0)
    pipe = ideal_pipe(stations)
    guess = register * single_air(along).sound_speed / 0.6
    wanted = brentq(shot, 0.9 * guess, 1.1 * guess, args=(along, pipe.bore), xtol=1e-7)
    fingering = rows(pipe, "", air=along, register=register)
    found = predict_notes(pipe, fingering, Corrections(loss=0.0)).frequency[0]
    # pieces of 31 mm, each of a constant speed of sound
    assert abs(np.log(found / wanted) / CENT) < within


def sliced(flute, row, frequency, slices=400):
    """Zero where a mode is: thin tubes of one air each between the library's own openings."""
    numbers = chain(flute, row, Corrections(coupling=0.0))
    openings = [part[0, 0, 0] for part in elements(numbers, np.array([[[frequency]]])).openings]
    places = np.concatenate([[0.0], np.cumsum(numbers.tubes)])
    radius, length = numbers.radius.item(), places[-1]
    start = opening_places(flute)[0]
    head = air_at(row.air, 0.0)
    at_head = head.density * head.sound_speed

    def arm(matrix, size, where):
        air = air_at(row.air, where / length)
        k = 2 * np.pi * frequency / air.sound_speed
        z = 1j * k * size * air.density * air.sound_speed / at_head
        return matrix @ np.array([[1, z], [0, 1]])

    count = len(places)
    matrix = np.eye(2)
    for i in range(count - 1):
        matrix = arm(matrix, np.broadcast_to(numbers.before, (1, 1, 1, count - 1))[..., i].item(),
                     places[i])  # fmt: skip
        edges = np.linspace(places[i], places[i + 1], slices // count)
        for near, far in pairwise(edges):
            air = air_at(row.air, 0.5 * (near + far) / length)
            here = bore_diameter(flute.bore, start + 0.5 * (near + far)) / 2
            gamma, relative = propagation(frequency, here, air)
            z = relative * air.density * air.sound_speed / at_head * (radius / here) ** 2
            matrix = matrix @ np.array(tube(gamma, z, far - near)).reshape(2, 2)
        after = np.broadcast_to(numbers.after, (1, 1, 1, count - 1))[..., i].item()
        matrix = arm(matrix, after, places[i + 1])
        if i < count - 2:
            a, b, _, d = (part[i + 1] for part in openings)
            shunt = d if a == 0 else d / b
            matrix = matrix @ np.array([[1, 0], [shunt, 1]])
    _, b, _, d = (part[-1] for part in openings)
    pressure, flow = matrix @ np.array([b, d])
    _, window, stub, _ = (part[0] for part in openings)
    return pressure + window * (flow + stub * pressure)


def off_thin_slices(flute, row):
    """Cents by which thin slices are above the library's note."""
    root = predict_notes(flute, row, Corrections(coupling=0.0)).root[0]
    step = 1e-4 * root
    slope = (sliced(flute, row, root + step) - sliced(flute, row, root - step)) / (2 * step)
    thin = root - sliced(flute, row, root) / slope  # one step of Newton's from the library's root
    return np.log(thin.real / root.real) / CENT


@pytest.mark.parametrize("word", ["xxxxxx", "xxxooo", "oooooo", "xoxooo"])
@pytest.mark.parametrize("register", [1, 2])
def test_a_flute_against_thin_slices(word, register):
    assert abs(off_thin_slices(SIX, rows(SIX, word, air=USUAL, register=register))) < 0.002


@pytest.mark.parametrize("register", [1, 2])
def test_a_tapered_flute_in_a_cold_room_against_thin_slices(register):
    row = rows(TAPERED, "xxxooo", air=AirAlong(room_temperature=celsius(15.0)), register=register)
    assert abs(off_thin_slices(TAPERED, row)) < 0.005


@pytest.mark.parametrize("flute", [SIX, TAPERED])
def test_a_note_does_not_jump_where_a_tube_needs_another_piece(flute):
    cold, last = AirAlong(room_temperature=celsius(15.0)), flute.holes[-1].position
    for pieces in (1, 2):
        notes = []
        for off in (-1e-9, 1e-9):
            foot = replace(flute.foot, position=last + pieces * PIECE + off)
            other = replace(flute, foot=foot)
            row = rows(other, ["xxxxxx", "xxxxxo"], air=cold, register=2)
            notes.append(predict_notes(other, row).frequency)
        assert np.max(np.abs(np.log(notes[1] / notes[0]) / CENT)) < 0.003


def test_every_mode_is_counted_where_the_air_changes():
    warm = AirAlong(room_temperature=celsius(10.0), share=1.0)
    row = rows(SIX, SCALE, air=warm)
    numbers = chain(SIX, row)

    def counted(frequency):
        return mode_count(elements(numbers, frequency[None], loss=0, radiation=0))[0]

    up = np.broadcast_to(np.linspace(50.0, 4000.0, 200), (len(SCALE), 200))
    assert np.all(np.diff(counted(up), axis=-1) >= 0)
    found = modes(SIX, row, count=3).frequency
    assert np.all(counted(0.98 * found) < [1, 2, 3])
    assert np.all(counted(1.02 * found) >= [1, 2, 3])


def test_air_that_does_not_change_gives_the_notes_of_one_air():
    still = AirAlong(room_temperature=celsius(24.0), share=0.0)
    along, one = (
        predict_notes(SIX, rows(SIX, SCALE, air=air)).frequency
        for air in (still, moist_air(celsius(24.0)))
    )
    assert along == pytest.approx(one, rel=1e-10)


def test_rows_of_their_own_air():
    air = AirAlong(
        room_temperature=np.array([293.15, 298.15]), share=np.array([0.0, 0.8]), humidity=0.4
    )
    both = predict_notes(SIX, rows(SIX, "xxxooo xxxooo", air=air)).frequency
    for index in range(2):
        own = replace(air, room_temperature=air.room_temperature[index], share=air.share[index])
        alone = predict_notes(SIX, rows(SIX, "xxxooo", air=own)).frequency[0]
        assert both[index] == pytest.approx(alone, rel=1e-12)


def test_the_offset_warms_what_is_inside():
    row = rows(SIX, SCALE, air=USUAL)
    warm = predict_notes(SIX, row, Corrections(air_offset=2.0)).frequency
    plain = predict_notes(SIX, row).frequency
    # square-root law: 600/(ln 2 T) cents a kelvin
    law = 2 * 600 / (np.log(2) * single_air(USUAL).temperature)
    assert np.log(warm / plain) / CENT == pytest.approx(law, rel=0.02)


# --- one temperature for all -----------------------------------------------------------


def test_one_temperature_costs_most_where_the_column_is_short():
    found = single_temperature_error(SIX, rows(SIX, SCALE, air=USUAL))
    # the column of a note with open holes lies in the breath-warm part
    assert np.all(np.diff(found.halfway) < 0)
    assert -6 < found.halfway[-1] < -3
    assert abs(found.halfway[0]) < 1
    assert np.all(found.room < found.halfway)


def test_rows_of_one_air_have_nothing_to_compare():
    with pytest.raises(TypeError, match="give an AirAlong"):
        single_temperature_error(SIX, rows(SIX, SCALE, air=moist_air(295.0)))


@pytest.mark.parametrize(("room", "shorter"), [(22.0, 0.023), (15.0, 0.047)])
def test_one_temperature_is_taken_for_a_shorter_window(room, shorter):
    air = AirAlong(room_temperature=celsius(room))
    words = [*SCALE, *CROSSED]
    made = notes_of(SIX, words, air=air, from_room=np.ones(len(words), bool))
    for taken, window in ((air, 1.0), (single_air(air), 1.0 - shorter)):
        fitted = calibrate(replace(made, rows=replace(made.rows, air=taken)))
        assert fitted.corrections.window == pytest.approx(window, abs=0.005)


def test_a_hot_room_is_told_of_once():
    def notes():
        air = AirAlong(room_temperature=celsius(np.array([38.0, 38.0, 22.0])))
        return predict_notes(SIX, rows(SIX, "xxxooo xxxxxx xxxxxo", air=air))

    with pytest.warns(ValidityWarning, match="temperature 38 is outside") as told:
        notes()
    assert sum("temperature 38" in str(one.message) for one in told) == 1


def test_air_of_a_bore_cut_off_is_that_of_the_whole_up_to_the_cut():
    rng = np.random.default_rng(21)
    for _ in range(20):
        # warm rooms and dry breath: no water condenses
        whole = AirAlong(
            room_temperature=celsius(rng.uniform(20.0, 34.0)),
            humidity=rng.uniform(0.0, 0.5),
            share=rng.uniform(0.1, 1.0),
            breath_humidity=rng.uniform(0.3, 0.7),
        )
        place, cut = rng.uniform(0.0, 1.0, 5), rng.uniform(0.1, 1.2)
        there = air_at(whole, min(cut, 1.0) * place)
        for name, value in vars(air_at(cut_off(whole, cut), place)).items():
            assert value == pytest.approx(getattr(there, name), rel=1e-12), name


def test_a_cut_in_air_full_of_water_keeps_its_warmth():
    whole = AirAlong(room_temperature=celsius(5.0), humidity=1.0, breath_co2=0.01)
    place = np.linspace(0.0, 1.0, 5)
    cut = air_at(cut_off(whole, 0.5), place)
    assert cut.temperature == pytest.approx(air_at(whole, place / 2).temperature, rel=1e-12)
    assert cut.sound_speed == pytest.approx(air_at(whole, place / 2).sound_speed, rel=1e-12)
