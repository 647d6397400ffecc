"""Modes: which there are, what they are called, and why one is missing."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from made_notes import DEMO
from reference.random_flutes import random_flute, random_rows

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
    predict_notes,
    read_flute,
    rows,
)
from flutelab.model.chain import Formulas, chain
from flutelab.model.cutoff import lattice_cutoff
from flutelab.model.lattice import elements
from flutelab.model.modes import register_roots, searched
from flutelab.model.octaves import _registers
from flutelab.model.roots import mode_count
from flutelab.model.spectrum import spectrum

AIR = moist_air(295.0)
IDEAL = Corrections(loss=0.0, foot=0.0, coupling=0.0)


def pipe(head="node", foot="node", length=0.4, bore=0.016):
    return Flute(
        name="pipe",
        bore=Bore(stations=((0.0, bore),)),
        holes=(),
        head=End(position=0.0, kind=head),
        foot=End(position=length, kind=foot),
    )


def six_holes():
    return Flute(
        name="six holes",
        bore=Bore(stations=((0.0, 0.0158),)),
        holes=tuple(
            Hole(position=x, diameter=d, wall=0.0028)
            for x, d in zip(
                (0.127, 0.147, 0.169, 0.192, 0.211, 0.237),
                (0.0064, 0.0070, 0.0064, 0.0068, 0.0076, 0.0060),
                strict=True,
            )
        ),
        head=Window(along=0.006, across=0.006, wall=0.0028),
        foot=End(position=0.297, kind="open", outer_diameter=0.0214),
    )


@pytest.mark.parametrize(
    ("head", "foot", "harmonics"),
    [
        ("node", "node", (1, 2, 3)),
        ("stopped", "stopped", (1, 2, 3)),
        ("node", "stopped", (0.5, 1.5, 2.5)),
        ("stopped", "node", (0.5, 1.5, 2.5)),
        ("open", "stopped", (0.5, 1.5, 2.5)),
        ("stopped", "flanged", (0.5, 1.5, 2.5)),
        ("open", "open", (1, 2, 3)),
    ],
)
def test_ideal_pipes(head, foot, harmonics):
    """n c/(2 L) or (2n - 1) c/(4 L): text book. Radiation of a plain end moves 0.02 % at most."""
    found = modes(pipe(head, foot), rows(pipe(), "", air=AIR), IDEAL)
    half = AIR.sound_speed / (2 * 0.4)
    ideal = head not in ("open", "flanged") and foot not in ("open", "flanged")
    assert np.all(found.reason == "")
    assert found.frequency[0] == pytest.approx(
        half * np.array(harmonics), rel=1e-8 if ideal else 5e-4
    )


def test_a_pipe_without_any_loss_still_has_modes():
    """Nothing damps them: q is beyond any measure, and the strengths are numbers."""
    found = modes(pipe("node", "stopped"), rows(pipe(), "", air=AIR), IDEAL)
    assert list(found.status[0]) == ["ok"] * 3
    assert np.all(found.q > 1e5)
    assert np.all((found.strength > 0) & (found.strength <= 1))


def test_modes_beyond_plane_waves_are_none_with_a_reason():
    short = pipe("node", "node", length=0.02, bore=0.016)
    found = modes(short, rows(short, "", air=AIR), IDEAL, count=4)
    # 8.6 kHz apart, plane waves to 12.3 kHz
    assert np.isfinite(found.frequency[0]).tolist() == [True, False, False, False]
    assert set(found.status[0, 1:]) == {"none"}
    assert all("plane waves" in reason for reason in found.reason[0, 1:])


def test_a_flute_closed_everywhere_has_the_stopped_pipes_modes():
    closed = replace(six_holes(), foot=End(position=0.297, kind="stopped"))
    found = modes(closed, rows(closed, "xxxxxx", air=AIR), count=2)
    assert np.all(found.reason == "")
    # a quarter wave and a bit: the window and six pads lengthen it
    assert 0.6 * 345 / (4 * 0.3) < found.frequency[0, 0] < 345 / (4 * 0.3)


@pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")  # wide windows
def test_modes_rise_and_ring():
    rng = np.random.default_rng(11)
    for _ in range(10):
        one = random_flute(rng)
        found = modes(one, random_rows(rng, one, 4))
        assert np.all(np.diff(found.frequency, axis=1) > 0)
        assert np.all(found.q > 1)
        assert np.max(found.strength, axis=1) == pytest.approx(1.0)


def test_the_strongest_modes_are_the_peaks_of_the_admittance():
    """|1/Z| f^2 on a fine grid about each mode of six holes closed: same order, same heights."""
    one = six_holes()
    closed = rows(one, "xxxxxx", air=AIR)
    found = modes(one, closed)
    peaks = []
    for frequency, q in zip(found.frequency[0], found.q[0], strict=True):
        near = frequency * (1 + np.linspace(-1, 1, 2001) / q)
        peaks.append(np.max(1 / np.abs(input_impedance(one, closed, near))))
    weighed = np.array(peaks) * found.frequency[0] ** 2
    assert found.strength[0] == pytest.approx(weighed / max(weighed), rel=0.05)


def test_notes_near_the_cutoff_are_flagged():
    one = six_holes()
    found = modes(one, rows(one, "xxxxxx oooooo", air=AIR), count=2)
    assert found.status[0].tolist() == ["ok", "ok"]
    assert found.status[1, 1] in ("near cutoff", "weak")


def test_registers_count_the_modes_that_speak():
    found = SimpleNamespace(
        status=np.array([["ok", "weak", "near cutoff"], ["none", "ok", "none"]])
    )
    assert register_roots(found, np.array([2, 1])).tolist() == [2, 1]
    assert register_roots(found, np.array([3, 2])).tolist() == [-1, -1]
    assert register_roots(found, np.array([1, 1])).tolist() == [0, 1]


def test_a_register_is_sought_among_the_same_modes_however_many_are_found():
    assert [searched(n) for n in (1, 2, np.array([1, 3]), np.array([], dtype=int))] == [3, 4, 5, 3]
    found = SimpleNamespace(status=np.array([["ok", "weak", "weak", "weak", "ok"]]))
    assert register_roots(found, np.array([2])).tolist() == [-1]


@pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")
def test_everything_names_the_same_registers():
    rng, passed_over = np.random.default_rng(71), 0
    for _ in range(12):
        flute = random_flute(rng)
        asked = random_rows(rng, flute, 2, letters="xoh")
        seen = spectrum(flute, asked, frequency=np.linspace(100.0, 5000.0, 10)).modes
        found = _registers(flute, asked, Corrections(), Formulas())[1]
        for register in (1, 2):
            each = replace(asked, register=np.full(2, register))
            note = predict_notes(flute, each)
            column = register_roots(seen, np.full(2, register))
            passed_over += np.sum(column >= register)
            for pitch in (found[:, register - 1], seen.frequency[[0, 1], column]):
                assert note.frequency == pytest.approx(pitch, rel=1e-7)
            status = seen.status[[0, 1], column]
            assert note.status.tolist() == status.tolist()
            if register == 1:
                assert lattice_cutoff(flute, asked).near.tolist() == list(status == "near cutoff")
    assert passed_over > 4  # weak modes below a register: the test would see a wrong count


@pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")
def test_modes_are_judged_alike_however_many_are_asked_for():
    flute = six_holes()
    asked = rows(flute, "oooxxx oxxxoo xxxooo", air=AIR)
    most = modes(flute, asked, count=6)
    for count in (1, 2, 4):
        found = modes(flute, asked, count=count)
        assert found.status.tolist() == most.status[:, :count].tolist()
        assert found.strength == pytest.approx(most.strength[:, :count], rel=1e-6)


def test_modes_are_those_of_one_flute():
    with pytest.raises(ValueError, match=r"correction wall has shape \(2, 1, 1\); give one number"):
        predict_notes(pipe(), rows(pipe(), "", air=AIR), Corrections(wall=np.ones((2, 1, 1))))


def test_which_modes_speak_does_not_hang_on_the_losses_of_the_walls():
    flute = read_flute(DEMO / "finite-element-pipe.toml")
    asked = rows(flute, "xxxxxx xxxxxo xxxxoo xoxxxx", air=AIR)
    usual = modes(flute, asked)
    for loss in (0.0, 0.8, 1.2):
        found = modes(flute, asked, Corrections(loss=loss))
        assert found.strength == pytest.approx(usual.strength, rel=1e-4)
        assert np.array_equal(found.status, usual.status)


def test_the_count_steps_by_one_at_each_reactive_mode():
    one = six_holes()
    numbers = chain(one, rows(one, "xxoxxo", air=AIR), Corrections())
    grid = np.linspace(20.0, 5000.0, 5000)
    count = mode_count(elements(numbers, grid[None, None, :], loss=0.0, radiation=0.0))[0, 0]
    assert count[0] == 0
    assert set(np.diff(count)) == {0, 1}


@pytest.mark.parametrize("length", [0.05, 0.2, 0.412, 0.9])
@pytest.mark.parametrize("kind", ["open", "stopped"])
def test_every_mode_of_a_plain_pipe_speaks(length, kind):
    """Its registers do not hang on how many are asked for."""
    pipe = Flute(
        name="plain",
        bore=Bore(stations=((0.0, 0.0154),)),
        holes=(),
        head=End(position=0.0),
        foot=End(position=length, kind=kind),
    )
    for count in (1, 2, 5):
        found = modes(pipe, rows(pipe, "", air=AIR), count=count)
        assert "weak" not in found.status
