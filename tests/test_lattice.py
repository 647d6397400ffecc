"""The lattice: shapes, limits, and one flute seen as many."""

from dataclasses import replace

import numpy as np
import pytest
from reference.random_flutes import random_flute, random_rows

from flutelab import (
    Bore,
    Corrections,
    End,
    Flute,
    Hole,
    ValidityWarning,
    Window,
    input_impedance,
    moist_air,
    playing_frequencies,
    rows,
)
from flutelab.model.chain import chain
from flutelab.model.lattice import BLOCK, elements, head_impedance
from flutelab.model.spectrum import admittance, spectrum
from flutelab.pitch import cents

AIR = moist_air(295.0)
FREQUENCY = np.linspace(200.0, 2000.0, 50)


def flute(diameter=0.007, wall=0.0028, length=0.300, hole=0.200, bore=0.016, foot_lip=0.0028):
    return Flute(
        name="one hole",
        bore=Bore(stations=((0.0, bore),)),
        holes=(Hole(position=hole, diameter=diameter, wall=wall),),
        head=Window(along=0.006, across=0.006, wall=0.0028),
        foot=End(position=length, kind="open", outer_diameter=bore + 2 * foot_lip),
    )


@pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")  # a wide window
def test_rows_are_solved_as_each_alone():
    rng = np.random.default_rng(3)
    one = random_flute(rng, holes=6)
    many = random_rows(rng, one, 5, left_out=0.2, air=AIR)
    together = input_impedance(one, many, FREQUENCY)
    assert together.shape == (5, 50)
    for word, seen in zip(many.label, together, strict=True):
        alone = input_impedance(one, rows(one, [word], air=AIR), FREQUENCY)
        assert seen == pytest.approx(alone[0], rel=1e-11)


def test_a_batch_of_walls_is_solved_as_each_alone():
    """As many in the batch as there are rows: axes that are mixed up show."""
    one, many = flute(), rows(flute(), "x o n", air=AIR)

    def walled(thickness):
        hole = replace(one.holes[0], wall=thickness)
        window = replace(one.head, wall=thickness) if hasattr(one.head, "along") else one.head
        return replace(one, holes=(hole, *one.holes[1:]), head=window)

    walls = np.array([0.002, 0.003, 0.004])
    together = input_impedance(walled(walls[:, None, None]), many, FREQUENCY)
    for index, thickness in enumerate(walls):
        alone = input_impedance(walled(thickness), many, FREQUENCY)
        assert together[index] == pytest.approx(alone, rel=1e-11)


def test_a_batch_of_corrections_is_solved_as_each_alone():
    one, scale = flute(), np.array([0.9, 1.0, 1.1])
    many = rows(one, "x o n", air=AIR)
    for name in ("window", "foot", "wall", "hole_end", "bore", "loss", "coupling", "pad_depth"):
        batch = 0.3 * scale if name == "pad_depth" else scale
        if name == "bore":
            batch = 1 + 0.1 * (scale - 1)
        if name == "coupling":
            batch = scale - 0.1
        together = input_impedance(
            one, many, FREQUENCY, Corrections(**{name: batch[:, None, None]})
        )
        assert together.shape == (3, 3, 50)
        for value, seen in zip(batch, together, strict=True):
            alone = input_impedance(one, many, FREQUENCY, Corrections(**{name: value}))
            assert seen == pytest.approx(alone, rel=1e-11)


def test_each_row_has_its_own_air():
    one, kelvin = flute(), np.array([290.0, 300.0])
    both = input_impedance(one, rows(one, "x x", air=moist_air(kelvin)), FREQUENCY)
    for temperature, seen in zip(kelvin, both, strict=True):
        alone = input_impedance(one, rows(one, "x", air=moist_air(temperature)), FREQUENCY)
        assert seen == pytest.approx(alone[0], rel=1e-11)


def test_each_row_has_its_own_hole_diameters():
    one, sizes = flute(), np.array([[0.005], [0.008]])
    both = input_impedance(one, rows(one, "o o", air=AIR, diameter=sizes), FREQUENCY)
    for size, seen in zip(sizes[:, 0], both, strict=True):
        other = flute(diameter=size)
        alone = input_impedance(other, rows(other, "o", air=AIR), FREQUENCY)
        assert seen == pytest.approx(alone[0], rel=1e-11)


@pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")  # to 3 kHz
def test_long_spectra_are_solved_in_blocks():
    one = flute()
    long = np.linspace(100.0, 3000.0, BLOCK + 7)
    seen = input_impedance(one, rows(one, "x o", air=AIR), long)
    assert seen.shape == (2, BLOCK + 7)
    few = input_impedance(one, rows(one, "x o", air=AIR), long[-5:])
    assert seen[:, -5:] == pytest.approx(few, rel=1e-11)


def test_a_window_in_parallel_with_nothing_but_a_pipe():
    """The whole by hand: window + 1/(stub + 1/(tube with a stopped foot)), lossless."""
    pipe = Flute(
        name="stopped pipe",
        bore=Bore(stations=((0.0, 0.016),)),
        holes=(),
        head=Window(along=0.006, across=0.006, wall=0.0028, plug_to_window=0.004),
        foot=End(position=0.3, kind="stopped"),
    )
    by = Corrections(loss=0.0)
    numbers = chain(pipe, rows(pipe, "", air=AIR), by)
    seen = head_impedance(elements(numbers, FREQUENCY[None, None, :]))[0, 0]
    k = 2 * np.pi * FREQUENCY / AIR.sound_speed
    # the cavity: 3 mm to the centre, 4 mm to the plug, and 0.21 t_w W H/(pi a^2) of its own air
    own = 0.21 * np.ravel(numbers.head.length) * (36e-6 / (np.pi * 0.008**2)) ** 2
    behind = 1j * np.tan(k * (0.007 + own)) + 1j * np.tan(k * 0.303)
    expected = (k * 0.008) ** 2 / 4 + 1j * k * np.ravel(numbers.head.length) + 1 / behind
    assert seen == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("coupling", [0.0, 1.0])
def test_a_hole_shrinking_to_nothing(coupling):
    """The pitch goes to that without the hole, as the hole's area does."""
    by = Corrections(loss=0.0, coupling=coupling)
    off = []
    for diameter in (1e-4, 1e-5, 1e-6):
        opened, none = playing_frequencies(flute(diameter), "o n", air=AIR, corrections=by)
        off.append(cents(opened, none))
    assert 0 < off[2] < 1e-4
    assert off[0] / off[1] == pytest.approx(100, rel=0.05)
    assert off[1] / off[2] == pytest.approx(100, rel=0.05)


def test_an_undrilled_hole_is_no_hole():
    one = flute()
    bare = replace(one, holes=())
    # the outer radius where openings lie is read from the last hole, else from the foot
    with_n = input_impedance(one, rows(one, "n", air=AIR), FREQUENCY)
    without = input_impedance(bare, rows(bare, "", air=AIR), FREQUENCY)
    assert with_n == pytest.approx(without, rel=1e-11)


@pytest.mark.parametrize(
    ("bore", "place", "length"),
    [(0.012, 0.20, 0.30), (0.016, 0.20, 0.30), (0.020, 0.20, 0.30), (0.016, 0.35, 0.50)],
)
def test_a_hole_as_wide_as_the_bore_cuts_the_pipe_there(bore, place, length):
    """In a thin wall; within 15 cents: such a hole begins a radius before its centre.

    The pipe behind it is the shorter part: a longer one sounds its own note below.
    """
    wide = flute(diameter=bore, wall=1e-4, length=length, hole=place, bore=bore, foot_lip=0.0)
    cut = replace(wide, holes=(), foot=End(position=place, kind="open", outer_diameter=bore))
    with pytest.warns(ValidityWarning, match="its radius is 1 of the bore's"):
        opened = playing_frequencies(wide, "o", air=AIR)[0]
    assert abs(cents(opened, playing_frequencies(cut, "", air=AIR)[0])) < 15


def test_a_closed_hole_lowers_the_pitch_by_its_volume():
    """First order at a flow node: -V/(S L) sin^2(kx), 1731 cents a unit; Rayleigh (from memory).

    Ideal pipe open at both ends, the hole at the middle, where the pressure is highest.
    """
    length, wall = 0.4, 0.002
    pipe = Flute(
        name="ideal",
        bore=Bore(stations=((0.0, 0.016),)),
        holes=(Hole(position=0.2, diameter=0.004, wall=wall),),
        head=End(position=0.0, kind="node"),
        foot=End(position=length, kind="node"),
    )
    by = Corrections(loss=0.0, pad_depth=0.0)
    numbers = chain(pipe, rows(pipe, "x", air=AIR), by)
    height = float(np.ravel(numbers.closed)[0])
    closed, none = playing_frequencies(pipe, "x n", air=AIR, corrections=by)
    expected = -1731 * (0.004 / 0.016) ** 2 * height / length
    assert cents(closed, none) == pytest.approx(expected, rel=0.01)


def test_whole_numbers_are_frequencies_too():
    whole = np.arange(200, 300)
    note = rows(flute(), "o", air=AIR)
    assert input_impedance(flute(), note, whole) == pytest.approx(
        input_impedance(flute(), note, whole.astype(float))
    )


def test_rows_that_are_all_alike_have_a_row_of_the_spectrum_each():
    frequency = np.linspace(200.0, 900.0, 7)
    one, three = (
        input_impedance(flute(), rows(flute(), word, air=AIR), frequency) for word in ("o", "o o o")
    )
    assert three.shape == (3, 7)
    assert np.all(three == one)
    seen = spectrum(flute(), rows(flute(), "x x", air=AIR), frequency=frequency)
    assert admittance(seen).shape == (2, 7)
    both = Corrections(wall=np.array([1.0, 1.1])[:, None, None])
    assert input_impedance(flute(), rows(flute(), "o o", air=AIR), frequency, both).shape == (
        2,
        2,
        7,
    )
