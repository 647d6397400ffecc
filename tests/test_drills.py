"""Twist drills against the printed sizes of ASME B94.11M."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flutelab.drills import DRILL_KINDS, drill_diameter, nearest_drill
from flutelab.units import NAMED_DRILLS

# ASME B94.11M sizes as printed in a seller's table (powertoolstoday.com), inches.
PRINTED = {
    "#1": "0.2280",
    "#2": "0.2210",
    "#3": "0.2130",
    "#4": "0.2090",
    "#7": "0.2010",
    "#10": "0.1935",
    "letter A": "0.234",
    "letter Z": "0.413",
}
# Tapping-drill pairs of the trade, from memory: 1/4-20 #7, 10-32 #21, 10-24 #25, 8-32 #29,
# 6-32 #36, 4-40 #43, 5/16-18 F, 3/8-16 5/16, 7/16-14 U, 3/8-24 Q.
FROM_MEMORY = {
    "#21": "0.1590",
    "#25": "0.1495",
    "#29": "0.1360",
    "#36": "0.1065",
    "#43": "0.0890",
    "letter F": "0.257",
    "letter U": "0.368",
    "letter Q": "0.332",
    "letter E": "0.250",
}
# n/64 in of an inch, in millimetres to 0.001, as handbooks print them (from memory).
FRACTIONS = {"3/16": 4.762, "13/64": 5.159, "1/4": 6.350, "5/16": 7.938, "3/8": 9.525}


@pytest.mark.parametrize(("name", "inch"), [*PRINTED.items(), *FROM_MEMORY.items()])
def test_named_sizes(name, inch):
    assert drill_diameter(name) == float(Fraction(inch) * Fraction(254, 10000))


@pytest.mark.parametrize(("name", "size"), FRACTIONS.items())
def test_fractional_sizes(name, size):
    # Half a unit of the last printed digit; 4.7625 is printed 4.762.
    for mark in ('"', " in"):
        assert drill_diameter(name + mark) * 1000 == pytest.approx(size, abs=0.000501)


def test_sizes_fall_with_the_number_and_rise_with_the_letter():
    numbers = [NAMED_DRILLS[f"#{n}"] for n in range(1, 61)]
    letters = [NAMED_DRILLS[f"letter {letter}"] for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"]
    assert numbers == sorted(numbers, reverse=True)
    assert letters == sorted(letters)
    assert len(set(numbers + letters)) == 86
    assert max(numbers) < min(letters)


@pytest.mark.parametrize("name", ["3/16", "5 mm", "F", "#61", "letter", "letter FF", "16", ""])
def test_what_is_no_drill_is_quoted(name):
    with pytest.raises(ValueError, match=r"write|use") as error:
        drill_diameter(name)
    assert repr(name) in str(error.value)


@given(st.floats(0.0003, 0.03))
def test_nearest_drill_is_no_farther_than_any_named_one(diameter):
    _, size = nearest_drill(diameter)
    others = [*map(float, NAMED_DRILLS.values()), drill_diameter('1/4"'), drill_diameter('1/2"')]
    assert all(abs(size - diameter) <= abs(other - diameter) for other in others)


@pytest.mark.parametrize("name", ["#7", "#60", "letter F", "3/16 in", "1 in"])
def test_nearest_drill_of_a_drill_is_itself(name):
    kind = {"#": "number", "l": "letter"}.get(name[0], "fraction")
    diameter = 0.0254 if name == "1 in" else drill_diameter(name)
    assert nearest_drill(diameter, kinds=[kind]) == (name, diameter)


def test_a_tie_goes_to_the_set_named_first():
    # Letter E is 1/4 in.
    assert nearest_drill(0.00635) == ("1/4 in", 0.00635)
    assert nearest_drill(0.00635, kinds=["letter", "fraction"]) == ("letter E", 0.00635)


def test_metric_steps():
    assert nearest_drill(0.00512, kinds=["metric"]) == ("5.1 mm", 0.0051)


@pytest.mark.parametrize("diameter", [0, -0.001, float("nan"), float("inf")])
def test_impossible_diameter_is_refused(diameter):
    with pytest.raises(ValueError, match="must be greater than 0"):
        nearest_drill(diameter)


@pytest.mark.parametrize("kinds", [["inch"], []])
def test_unknown_set_is_refused(kinds):
    with pytest.raises(ValueError, match=", ".join(DRILL_KINDS)):
        nearest_drill(0.005, kinds=kinds)
