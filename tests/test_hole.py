"""Holes and windows: limits and signs; values are in test_published_ends.py."""

import numpy as np
import pytest
from scipy.integrate import quad

from flutelab.physics import hole, window

BORE = 0.0079
WALL = 0.0028


def test_matching_height_against_its_integral():
    """Mean of a - sqrt(a^2 - x^2) over the hole's disc, by quadrature (scipy): 0.8 % rounded."""
    for delta in (0.2, 0.45, 0.7):
        b = delta * BORE

        def strip(x, b=b):
            return (BORE - np.sqrt(BORE**2 - x**2)) * 2 * np.sqrt(b**2 - x**2)

        exact = 2 * quad(strip, 0, b)[0] / (np.pi * b**2)
        assert hole.matching_height(b, BORE) == pytest.approx(exact, rel=0.0085)


@pytest.mark.parametrize(
    "inner",
    [hole.inner_length_lefebvre, hole.inner_length_dalmont, hole.inner_length_nederveen],
)
def test_a_small_hole_ends_inside_as_in_a_plane(inner):
    """b -> 0: the bore is a plane, l/b = 0.8216 (Norris, Sheng 1989); outside likewise."""
    b = 1e-7
    assert inner(b, BORE) / b == pytest.approx(0.8216, abs=0.002)
    assert hole.outer_length(b, BORE + WALL) / b == pytest.approx(0.8216, abs=0.001)


def test_a_series_arm_shortens_the_bore():
    for is_open in (True, False):
        assert hole.series_length(0.003, BORE, WALL, is_open=is_open) < 0
    both = hole.series_length(0.003, BORE, WALL, is_open=np.array([True, False]))
    assert both[0] < both[1] < 0  # open: the flow bulges farther into the hole
    tall = [hole.series_length(0.003, BORE, 1.0, is_open=state) for state in (True, False)]
    assert tall[0] == pytest.approx(tall[1])  # far from its end a hole does not know it


def test_the_open_length_is_the_sum_of_its_parts():
    parts = (
        WALL,
        hole.matching_height(0.003, BORE),
        hole.inner_length_lefebvre(0.003, BORE),
        hole.outer_length(0.003, BORE + WALL),
    )
    assert hole.open_length(0.003, BORE, WALL, BORE + WALL) == pytest.approx(sum(parts))


def test_radiation_of_a_side_opening_does_not_depend_on_its_size():
    """rho c k^2/(4 pi) into full space, over rho c/S of hole and bore."""
    k = 9.0
    seen = hole.radiation_resistance(k, 0.003) / (np.pi * 0.003**2)
    assert seen == pytest.approx(k**2 / (4 * np.pi))
    assert window.radiation_resistance(k, BORE) / (np.pi * BORE**2) == pytest.approx(seen)


def test_a_window_of_equal_area_as_a_hole():
    assert np.pi * window.equal_radius(0.006, 0.008) ** 2 == pytest.approx(0.006 * 0.008)


def test_a_bigger_window_and_a_thinner_wall_correct_less():
    base = window.window_length(0.006, 0.008, WALL, BORE)
    assert window.window_length(0.007, 0.008, WALL, BORE) < base
    assert window.window_length(0.006, 0.009, WALL, BORE) < base
    assert window.window_length(0.006, 0.008, 0.8 * WALL, BORE) < base


@pytest.mark.parametrize(
    ("across", "along", "wall", "centre", "ratio"),
    [
        (11.2, 3.1, 0.4, 25.2, 1.10),
        (12.0, 4.0, 0.4, 19.8, 1.11),
        (8.0, 6.0, 0.5, 22.4, 1.00),
    ],
)
def test_thin_wide_windows_as_organ_pipes_have(across, along, wall, centre, ratio):
    """Own finite-element result, a = 7.9 mm: for wide low mouths the equal-area rule is long.

    By 10 % at 11.2 x 3.1 mm and 11 % at 12 x 4 mm, not at 8 x 6; outside its stated 2.5 %.
    2.3 a^2/sqrt(WH) of Ingerslev and Frobenius (1947, from memory) is right to 8 %.
    """
    found = 1e3 * window.window_length(1e-3 * along, 1e-3 * across, 1e-3 * wall, BORE)
    assert found / centre == pytest.approx(ratio, abs=0.005)
    assert 2.3 * 7.9**2 / np.sqrt(across * along) == pytest.approx(centre, rel=0.08)
