"""Two stated cases of a six-hole pipe through the library's solver and mode search."""

import numpy as np
import pytest
from reference import cases
from reference.published import check, name_of, published
from scipy.optimize import brentq

from flutelab import PUBLISHED, Bore, Corrections, End, Flute, Hole, Window, rows
from flutelab.model.chain import chain
from flutelab.model.lattice import elements, head_impedance
from flutelab.model.roots import find_roots


def _solve(build, speed, rows, count):
    words = list(dict.fromkeys(row["fingering"] for row in rows))
    ceiling = cases.ceiling(words, speed)
    return words, find_roots(build(words), ceiling, count, cases.LIMIT)[0]


def _solved(rows, words, roots):
    for row in rows:
        yield row, roots[words.index(row["fingering"]), row["mode"] - 1].real


def test_case_a_to_every_printed_digit():
    rows = published("stated_cases", "case A root")
    assert len(rows) == 16
    for row, frequency in _solved(rows, *_solve(cases.case_a, 345.0, rows, 2)):
        check(row, frequency)


@pytest.mark.parametrize("row", published("stated_cases", "case A open length"), ids=name_of)
def test_open_lengths_of_case_a(row):
    check(row, 1e3 * cases.OPEN_LENGTH[int(row["fingering"].removeprefix("hole ")) - 1])


def test_case_b_complex_roots():
    rows = published("stated_cases", "case B root")
    words, roots = _solve(cases.case_b, cases.AIR_B.sound_speed, rows, 1)
    assert len(rows) == 11
    for row, frequency in _solved(rows, words, roots):
        check(row, frequency)
    quality = roots.real / (2 * roots.imag)
    # stated beside the case: Q = 61 to 84
    assert round(quality.min()) == 61
    assert round(quality.max()) == 84


def test_case_b_zeros_of_the_reactance():
    for row in published("stated_cases", "case B zero of Im Z"):
        at = cases.case_b([row["fingering"]])

        def reactance(frequency, at=at):
            return head_impedance(at(np.array([[[frequency]]]))).imag.item()

        low, high = row["value"] - 3, row["value"] + 3
        assert reactance(low) < 0 < reactance(high)  # the crossing of a note, upwards
        check(row, brentq(reactance, low, high, xtol=1e-9))


def _pipe_of_case_b():
    """Its bore, walls and holes; window and foot of the case are lengths and are not compared."""
    half = 0.003  # the case counts from the window's centre, a flute from its edge
    return Flute(
        name="case B",
        bore=Bore(stations=((0.0, 2 * cases.BORE),)),
        holes=tuple(
            Hole(position=x - half, diameter=2 * b, wall=cases.WALL)
            for x, b in zip(cases.PLACES, cases.RADII, strict=True)
        ),
        head=Window(along=2 * half, across=0.006, wall=cases.WALL),
        foot=End(position=cases.LENGTH - half),
    )


def _seen(e, opened):
    """Impedance of open holes, admittance of closed ones, from the bore."""
    _, b, _, d = (part[..., 1:-1] for part in e.openings)
    return np.where(opened, b / np.where(opened, d, 1.0), d)


@pytest.mark.parametrize("losses", [0.0, 1.0], ids=["lossless", "lossy"])
def test_the_published_set_gives_the_tubes_and_holes_of_case_b(losses):
    words, frequency = ["xxxxxx", "oooooo", "xoxoox"], np.array([[[300.0, 700.0, 1500.0]]])
    flute, by = _pipe_of_case_b(), Corrections(coupling=0.0, pad_depth=0.0)
    numbers = chain(flute, rows(flute, words, air=cases.AIR_B), by, PUBLISHED)
    found = elements(numbers, frequency, loss=losses, radiation=losses)
    stated = cases.case_b(words)(frequency, losses)
    for mine, theirs in zip(found.tubes, stated.tubes, strict=True):
        assert mine == pytest.approx(theirs, rel=1e-10)
    opened = np.broadcast_to(cases.is_open(words), found.openings[0][..., 1:-1].shape)
    off = np.abs(_seen(found, opened) / _seen(stated, opened) - 1)
    # the case's closed holes lose nothing at their walls
    assert np.all(off[opened | (losses == 0)] < 1e-10)
    assert np.all(found.mutual == 0)
