"""Lengths, temperatures and pressures: exact reading against whole-number fractions."""

import math
import re
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from flutelab import units

# NIST SP 811 (2008), appendix B.8: 1 in = 25.4 mm exactly; 1 mil = 25.4 um.
METRES = {
    "mm": Fraction(1, 1000),
    "cm": Fraction(1, 100),
    "m": Fraction(1),
    "in": Fraction(254, 10000),
    '"': Fraction(254, 10000),
    "inch": Fraction(254, 10000),
    "thou": Fraction(254, 10**7),
}

decimals = st.tuples(st.integers(0, 10**9), st.integers(0, 6))
spellings = st.sampled_from(sorted(METRES))
blanks = st.sampled_from(["", " ", "  ", "\u00a0", "\u202f"])


@given(decimals, spellings, blanks, st.sampled_from(".,"), st.booleans())
def test_decimal_lengths_parse_exactly(number, unit, blank, point, negative):
    digits, places = number
    text = str(Decimal(digits).scaleb(-places).quantize(Decimal(1).scaleb(-places)))
    typed = f"{'-' if negative else ''}{text.replace('.', point)}{blank}{unit}"
    exact = Fraction(digits, 10**places) * METRES[unit] * (-1 if negative else 1)
    assert units.parse_length(typed) == float(exact)


@given(
    st.none() | st.integers(0, 40),
    st.integers(0, 200),
    st.integers(1, 200),
    spellings,
    st.sampled_from([" ", "-", " - "]),
)
def test_fractions_parse_exactly(whole, top, bottom, unit, between):
    if whole is not None and top >= bottom:
        top %= bottom
    typed = f"{top}/{bottom} {unit}" if whole is None else f"{whole}{between}{top}/{bottom} {unit}"
    exact = ((whole or 0) + Fraction(top, bottom)) * METRES[unit]
    assert units.parse_length(typed) == float(exact)


@given(st.floats(-1e6, 1e6), st.sampled_from(["mm", "in"]))
def test_bare_numbers_are_the_decimal_that_was_typed(number, unit):
    expected = float(Fraction(Decimal(repr(number))) * METRES[unit])
    assert units.parse_length(number, unit) == expected
    assert units.parse_length(Decimal(repr(number)), unit) == expected


@pytest.mark.parametrize(
    ("typed", "inch"),
    [
        ("3/16 in", Fraction(3, 16)),
        ("1 3/16 in", Fraction(19, 16)),
        ('1-3/16"', Fraction(19, 16)),
        ("3\u204416″", Fraction(3, 16)),  # fraction slash, double prime
        ("½ in", Fraction(1, 2)),
        ("1½ inch", Fraction(3, 2)),
        ("1 ⅝ inches", Fraction(13, 8)),
        ("1³\u2044₁₆ in.", Fraction(19, 16)),
        ("3/16\u201d", Fraction(3, 16)),  # curly inch mark
        ("3/16''", Fraction(3, 16)),
        (".5 IN", Fraction(1, 2)),
        ("187.5 thou", Fraction(3, 16)),
        ("#7", Fraction(201, 1000)),
        ("No. 7", Fraction(201, 1000)),
        ("letter f", Fraction(257, 1000)),
        ("Letter F drill", Fraction(257, 1000)),
    ],
)
def test_ways_of_writing_inches(typed, inch):
    assert units.parse_length(typed) == float(inch * Fraction(254, 10000))
    assert units.parse_length(typed, "mm") == units.parse_length(typed, "in")


def test_fraction_without_its_own_unit_is_inches_only_where_the_file_says_so():
    assert units.parse_length("3/16", "in") == 0.0047625
    with pytest.raises(ValueError, match="'3/16' is a fraction without a unit; write '3/16 in'"):
        units.parse_length("3/16", "mm")


@pytest.mark.parametrize(
    ("typed", "mend"),
    [
        (4.8, "write it with one, such as '4.8 mm'"),
        ("4.8", "write it with one"),
        ("3/16", "write it with one"),
        ("1 19/16 in", "write it like '1 3/16 in'"),
        ("3/0 in", "write it like"),
        ("5 ft", "use mm, cm, m, in or thou"),
        ("#77", "use '#1' to '#60'"),
        ("#0", "use '#1' to '#60'"),
        ("1,234.5 mm", "write it like"),
        ("16-Mar", "write it like"),
        ("", "write it like"),
        ("mm", "write it like"),
        ("4.8e999 mm", "write it like"),
        ("9" * 400 + " mm", "write it like"),
        (True, "write a number"),
        (None, "write a number"),
        ([4.8], "write a number"),
    ],
)
def test_what_is_no_length_is_quoted_with_its_mend(typed, mend):
    with pytest.raises(ValueError, match=re.escape(mend)) as error:
        units.parse_length(typed)
    assert str(typed) in str(error.value)


@pytest.mark.parametrize("number", [float("nan"), float("inf"), Decimal("1e9999999"), 10**400])
def test_numbers_beyond_any_size_are_refused(number):
    with pytest.raises(ValueError, match="ordinary size"):
        units.parse_length(number, "mm")


def test_number_too_small_for_a_float_is_nothing():
    assert units.parse_length(Decimal("1e-9999999"), "mm") == 0


def test_unknown_unit_of_bare_numbers_is_refused():
    with pytest.raises(ValueError, match="unit 'cm' is not known"):
        units.parse_length(4.8, "cm")
    with pytest.raises(ValueError, match="unit 'cm' is not known"):
        units.show_length(0.1, "cm")


@given(st.floats(1e-6, 10))
def test_conversions_agree_with_a_general_library(x):
    # scipy.constants: inch, and convert_temperature.
    assert units.from_inch(x) == pytest.approx(x * constants.inch, rel=1e-15, abs=0)
    assert units.inches(units.from_inch(x)) == pytest.approx(x, rel=1e-15, abs=0)
    assert units.millimetres(units.from_mm(x)) == pytest.approx(x, rel=1e-15, abs=0)
    kelvin = 295 + x
    for to, scale in ((units.to_celsius, "Celsius"), (units.to_fahrenheit, "Fahrenheit")):
        expected = constants.convert_temperature(kelvin, "Kelvin", scale)
        assert to(kelvin) == pytest.approx(expected, abs=1e-11)
    assert units.celsius(units.to_celsius(kelvin)) == pytest.approx(kelvin, abs=1e-12)
    assert units.fahrenheit(units.to_fahrenheit(kelvin)) == pytest.approx(kelvin, abs=1e-12)


@pytest.mark.parametrize(
    ("typed", "kelvin"),
    [
        ("22C", 295.15),
        ("22 °C", 295.15),
        ("22 ℃", 295.15),
        ("71.6 F", 295.15),
        ("71,6°F", 295.15),
        ("72F", 295.3722),  # NIST SP 811, appendix B.8: (t + 459.67)/1.8
        ("-40c", 233.15),
        ("295 K", 295.0),
    ],
)
def test_temperatures(typed, kelvin):
    assert units.parse_temperature(typed) == pytest.approx(kelvin, abs=5e-5)


@pytest.mark.parametrize("typed", ["22", "C", "22 R", "-300C", "1.2.3 C", "warm", ""])
def test_what_is_no_temperature_is_quoted_with_its_mend(typed):
    with pytest.raises(ValueError, match="write it like '22C' or '72F'") as error:
        units.parse_temperature(typed)
    assert repr(typed) in str(error.value)


@given(decimals, st.sampled_from(".,"))
def test_numbers_with_point_or_comma(number, point):
    digits, places = number
    text = format(Decimal(digits).scaleb(-places), "f").replace(".", point)
    assert units.parse_number(text) == float(Fraction(digits, 10**places))


@pytest.mark.parametrize("typed", ["1,234.5", "1.234,5", "1 234", "nan", "inf", "", "12a", "1e999"])
def test_what_is_no_number_is_quoted(typed):
    with pytest.raises(ValueError, match="is not a number; write digits") as error:
        units.parse_number(typed)
    assert repr(typed) in str(error.value)


def test_water_column():
    # NIST SP 811 (2008), appendix B.8: 1 mmH2O (conventional) = 9.80665 Pa.
    assert units.from_mm_water(50) == pytest.approx(490.3325, rel=1e-12)


@given(st.floats(0, 2))
def test_shown_inches_mean_the_length_to_half_a_thousandth(length):
    shown = units.show_length(length, "in").removesuffix(" in")
    size = sum(
        (-1 if sign == "-" else 1) * Fraction(part)
        for sign, part in _signed(shown.replace("- ", "-").replace("+ ", ""))
    )
    assert float(size) == pytest.approx(length / 0.0254, abs=5.001e-4)


def _signed(text):
    return [("-" if part[0] == "-" else "+", part.lstrip("-")) for part in text.split()]


def test_shown_lengths():
    assert units.show_length(0.0047625, "in") == "3/16 in"
    assert units.show_length(0.0301625, "in") == "1 3/16 in"
    assert units.show_length(0.0) == "0.00 mm"
    assert units.show_length(0.0, "in") == "0 in"


def test_a_length_as_one_number_looks_like_no_sum():
    assert units.decimal_length(0.0047625, "in") == "0.188 in (3/16)"
    assert units.decimal_length(0.0301625, "in") == "1.188 in (1 3/16)"
    assert units.decimal_length(-0.0254, "in") == "-1.000 in"
    assert units.decimal_length(0.0, "in") == "0.000 in"
    assert units.decimal_length(0.0301625) == "30.16 mm"
    with pytest.raises(ValueError, match="'cm' is not known"):
        units.decimal_length(0.1, "cm")


def test_angles_are_those_of_the_mathematical_library():
    for angle in (0, 12.5, 90, -180, Decimal("22.5")):
        assert units.from_degrees(angle) == pytest.approx(math.radians(angle), rel=4e-16)
        assert float(units.to_degrees(math.radians(angle))) == pytest.approx(float(angle))


@pytest.mark.parametrize(("typed", "pascals"), [
    # NIST SP 811 (2008), appendix B.8: conventional millimetre of water 9.80665 Pa, inch 249.0889
    ("520Pa", 520.0), ("520 pa", 520.0), ("0,5 kPa", 500.0), ("5.2 hPa", 520.0), ("5 mbar", 500.0),
    ("53mm", 519.752), ("53 mm water", 519.752), ("53 mmH2O", 519.752),
    ("5.3 cm of water", 519.752),
    ("2 in", 498.178), ("2 in H2O", 498.178), ("1e3 Pa", 1000.0),
])  # fmt: skip
def test_pressures(typed, pascals):
    assert units.parse_pressure(typed) == pytest.approx(pascals, abs=5e-4)


@pytest.mark.parametrize(
    "typed", ["520", "Pa", "", "52 psi", "-5 Pa", "0 Pa", "much Pa", "5 m", "nan Pa"]
)
def test_what_is_no_pressure_is_quoted_with_its_mend(typed):
    with pytest.raises(ValueError, match="write it like '520Pa' or '53mm'") as caught:
        units.parse_pressure(typed)
    assert repr(typed) in str(caught.value)


def test_water_column_there_and_back():
    assert units.to_mm_water(units.from_mm_water(53.0)) == pytest.approx(53.0, rel=1e-15)
