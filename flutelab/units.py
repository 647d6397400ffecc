"""Lengths, temperatures, pressures and angles as people write them, and back.

The only module that converts units. Text is read exactly (fractions of whole
numbers) and rounded once, to the float that is returned.
"""

from __future__ import annotations

import math
import re
import unicodedata
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from numbers import Real

# pi/180 to far more digits than a float has, so that every angle can be written exactly
_PER_DEGREE = Fraction("3.14159265358979323846264338327950288419716939937510582") / 180
INCH = Fraction(254, 10000)  # metres, exact: NIST SP 811 (2008), appendix B.8
_METRES = {"mm": Fraction(1, 1000), "cm": Fraction(1, 100), "m": Fraction(1)}
_METRES |= {"in": INCH, "thou": INCH / 1000}
_SPELLINGS = {'"': "in", "''": "in", "inch": "in", "inches": "in", "mil": "thou"}
_SPELLINGS |= {"millimetre": "mm", "millimeter": "mm", "millimetres": "mm", "millimeters": "mm"}
ZERO_CELSIUS = 273.15  # K, exact: SI brochure (2019), 2.3.1
_PASCAL_PER_MM_WATER = 9.80665  # conventional: NIST SP 811 (2008), appendix B.8

# Twist drills known by name, in inches: ASME B94.11M. #1-#4, #7, #10, A and Z were read in a
# seller's table of that standard; the other sizes are from memory. Measure what was drilled.
_NUMBER_SIZES = """
    .2280 .2210 .2130 .2090 .2055 .2040 .2010 .1990 .1960 .1935
    .1910 .1890 .1850 .1820 .1800 .1770 .1730 .1695 .1660 .1610
    .1590 .1570 .1540 .1520 .1495 .1470 .1440 .1405 .1360 .1285
    .1200 .1160 .1130 .1110 .1100 .1065 .1040 .1015 .0995 .0980
    .0960 .0935 .0890 .0860 .0820 .0810 .0785 .0760 .0730 .0700
    .0670 .0635 .0595 .0550 .0520 .0465 .0430 .0420 .0410 .0400"""
_LETTER_SIZES = """
    .234 .238 .242 .246 .250 .257 .261 .266 .272 .277 .281 .290 .295
    .302 .316 .323 .332 .339 .348 .358 .368 .377 .386 .397 .404 .413"""
NAMED_DRILLS = {f"#{n}": Fraction(x) * INCH for n, x in enumerate(_NUMBER_SIZES.split(), 1)}
NAMED_DRILLS |= {
    f"letter {letter}": Fraction(x) * INCH
    for letter, x in zip("ABCDEFGHIJKLMNOPQRSTUVWXYZ", _LETTER_SIZES.split(), strict=True)
}

_DRILL = re.compile(
    r"(?:(?:#|no\.?|number|nr\.?) ?(\d+)|letter ?([a-z]))(?: drill)?", re.IGNORECASE
)
_DECIMAL = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:e[+-]?\d{1,2})?"
_FLOAT = 12  # significant digits: what binary floats leave beyond them nobody has measured
_LONGEST = 60  # characters of a number; keeps every value read within a float's range
_LARGEST = 10**9
_LENGTH = re.compile(
    rf"(?P<sign>[+-]?) ?(?:(?:(?P<whole>\d+)(?: ?- ?| ))?(?P<top>\d+) ?/ ?(?P<bottom>\d+)"
    rf"|(?P<decimal>{_DECIMAL})) ?(?P<unit>[a-z\"'.]*)",
    re.IGNORECASE,
)
_NUMBER = re.compile(rf"[+-]?{_DECIMAL}", re.IGNORECASE)
_PRESSURE = re.compile(
    r"(?P<number>.*?[\d.,]) ?(?P<unit>pa|hpa|kpa|mbar|(?:mm|cm|in)(?: ?(?:of )?(?:water|h2o))?)",
    re.IGNORECASE,
)
_PASCALS = {"pa": 1.0, "hpa": 100.0, "kpa": 1000.0, "mbar": 100.0}
_PASCALS |= {unit: n * _PASCAL_PER_MM_WATER for unit, n in (("mm", 1), ("cm", 10), ("in", 25.4))}
_TEMPERATURE = re.compile(
    r"(?P<number>.*?) ?(?:° ?|deg(?:rees)? ?)?(?P<scale>[CFK])", re.IGNORECASE
)


def _plain(text: str) -> str:
    """Return text with typographic digits, fractions, quotes and blanks made plain."""
    text = re.sub("[\u2033\u201c-\u201e]|\u2032\u2032|\u2019\u2019", '"', text)
    # 1½ means 1 and 1/2: part a fraction sign or raised digits from the whole number before.
    text = re.sub(r"(?<=[0-9])(?=[⁰¹²³⁴-⁹¼-¾⅐-⅟])", " ", text)
    text = unicodedata.normalize("NFKC", text).replace("\u2044", "/")
    text = re.sub("[\u2212\u2010-\u2013]", "-", text)
    return " ".join(text.split())


def _fraction(text: str) -> Fraction:
    return Fraction(text.lower().replace(",", ".").rstrip(".").replace(".e", "e"))


def named_drill(text: str) -> str | None:
    """Return the standard name of a number or letter drill ('#7', 'letter F'), or None."""
    match = _DRILL.fullmatch(_plain(text))
    if match is None:
        return None
    number, letter = match.groups()
    return f"#{int(number)}" if number else f"letter {letter.upper()}"


def parse_length(value: float | str, unit: str | None = None) -> float:
    """Read a length.

    Parameters
    ----------
    value : number or str
        A number in `unit`, or text: ``'4.8 mm'``, ``'4,8mm'``, ``'3/16 in'``,
        ``'1-3/16"'``, ``'1 ½ inch'``, ``'12 thou'``, or a drill, ``'#7'``,
        ``'letter F'``. Units: mm, cm, m, in, thou.
    unit : {'mm', 'in'}, optional
        Unit of a bare number; None makes a unit compulsory.

    Returns
    -------
    float
        Length [m], the float nearest to the exact value.

    Raises
    ------
    ValueError
        Not a length, or no unit; the message quotes the value and the mend.

    Examples
    --------
    >>> parse_length("1 3/16 in")
    0.0301625
    >>> parse_length(4.8, "mm")
    0.0048
    >>> parse_length("#7")
    0.0051054
    """
    if isinstance(value, Real | Decimal) and not isinstance(value, bool):
        return float(_bare_number(value) * _metres_of(value, unit))
    if not isinstance(value, str):
        msg = f"{value!r} is not a length; write a number, or text such as '4.8 mm' or '3/16 in'"
        raise ValueError(msg)
    drill = named_drill(value)
    if drill is not None:
        return float(_drill_size(value, drill))
    return float(_text_length(value, unit))


def _bare_number(value: Real | Decimal) -> Fraction:
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not abs(number) < _LARGEST:
        msg = f"{value} is not a length; write a number of ordinary size"
        raise ValueError(msg)
    # The shortest decimal that gives this float is what was typed.
    exact = number and isinstance(value, int | Decimal)
    return Fraction(value if exact else repr(number))


def _metres_of(value: object, unit: str | None) -> Fraction:
    if unit is None:
        msg = f"{str(value)!r} has no unit; write it with one, such as '{value} mm' or '{value} in'"
        raise ValueError(msg)
    if unit not in ("mm", "in"):
        msg = f"unit {unit!r} is not known; use 'mm' or 'in'"
        raise ValueError(msg)
    return _METRES[unit]


def _drill_size(typed: str, name: str) -> Fraction:
    if name not in NAMED_DRILLS:
        msg = f"{typed!r} is no drill listed; use '#1' to '#60', 'letter A' to 'letter Z' or a size"
        raise ValueError(msg)
    return NAMED_DRILLS[name]


def _text_length(typed: str, unit: str | None) -> Fraction:
    match = _LENGTH.fullmatch(_plain(typed)) if len(typed) <= _LONGEST else None
    if match is None:
        msg = f"{typed!r} is not a length; write it like '4.8 mm', '3/16 in', '1 3/16 in' or '#7'"
        raise ValueError(msg)
    written = match["unit"].lower().rstrip(".")
    written = _SPELLINGS.get(written, written)
    if written and written not in _METRES:
        msg = f"{typed!r} has the unit {match['unit']!r}; use mm, cm, m, in or thou"
        msg += "; or is it a letter O for a zero?" if set(written) == {"o"} else ""
        raise ValueError(msg)
    if not written and match["top"] and unit == "mm":
        msg = f"{typed!r} is a fraction without a unit; write '{typed} in' if it is inches"
        raise ValueError(msg)
    size = _fraction(match["decimal"]) if match["decimal"] else _mixed(typed, match)
    metres = _METRES[written] if written else _metres_of(typed, unit)
    return (-size if match["sign"] == "-" else size) * metres


def _mixed(typed: str, match: re.Match) -> Fraction:
    whole, top, bottom = (int(match[part] or 0) for part in ("whole", "top", "bottom"))
    if bottom == 0 or (match["whole"] and top >= bottom):
        msg = f"{typed!r} holds a fraction {top}/{bottom} that cannot be; write it like '1 3/16 in'"
        raise ValueError(msg)
    return whole + Fraction(top, bottom)


def parse_number(text: str) -> float:
    """Read a number with a decimal point or a decimal comma.

    Raises
    ------
    ValueError
        Anything else, a thousands mark included; the message quotes the text.

    Examples
    --------
    >>> parse_number("587,33")
    587.33
    """
    plain = _plain(text)
    if len(text) > _LONGEST or not _NUMBER.fullmatch(plain):
        msg = (
            f"{text!r} is not a number; write digits and one decimal point or comma, such as 587.33"
        )
        raise ValueError(msg)
    return float(_fraction(plain))


def from_mm(x: float) -> float:
    """Convert millimetres to metres."""
    return x / 1000


def from_inch(x: float) -> float:
    """Convert inches to metres."""
    return x * 254 / 10000


def millimetres(m: float) -> float:
    """Convert metres to millimetres."""
    return m * 1000


def inches(m: float) -> float:
    """Convert metres to inches."""
    return m / float(INCH)


def half_up(number: float, decimals: int) -> str:
    """Return a finite number with so many decimals, halves rounded away from 0.

    Examples
    --------
    >>> half_up(3.175, 2), half_up(0.125 * 25.4, 2), half_up(-0.001, 2)
    ('3.18', '3.18', '0.00')
    """
    exact = Decimal(f"{number:.{_FLOAT}g}")
    text = str(exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP))
    return text if float(text) else text.lstrip("-")


def show_length(m: float, unit: str = "mm") -> str:
    """Write a length for people: mm to 0.01, inches as the nearest 1/64 and the rest.

    Parameters
    ----------
    m : float
        Length [m].
    unit : {'mm', 'in'}

    Examples
    --------
    >>> show_length(0.003175), show_length(0.0047625, "in"), show_length(0.0308, "in")
    ('3.18 mm', '3/16 in', '1 7/32 - 0.006 in')
    """
    if unit == "mm":
        return f"{half_up(millimetres(m), 2)} mm"
    if unit != "in":
        msg = f"unit {unit!r} is not known; use 'mm' or 'in'"
        raise ValueError(msg)
    size = abs(inches(m))
    nearest, words = _nearest_64th(size)
    rest = half_up(abs(size - nearest), 3)
    tail = f" {'+' if size > nearest else '-'} {rest}" if float(rest) else ""
    return f"{'-(' if m < 0 else ''}{words}{tail}{')' if m < 0 else ''} in"


def _nearest_64th(size: float) -> tuple[Fraction, str]:
    nearest = Fraction(round(size * 64), 64)
    return nearest, " ".join(str(piece) for piece in divmod(nearest, 1) if piece) or "0"


def decimal_length(m: float, unit: str = "mm") -> str:
    """Write a length for people as one number: mm to 0.01, inches to 0.001 (nearest 1/64).

    Parameters
    ----------
    m : float
        Length [m].
    unit : {'mm', 'in'}

    Examples
    --------
    >>> decimal_length(0.34), decimal_length(0.34, "in"), decimal_length(-0.0001, "in")
    ('340.00 mm', '13.386 in (13 25/64)', '-0.004 in')
    """
    if unit != "in":
        return show_length(m, unit)
    size = inches(m)
    nearest, words = _nearest_64th(abs(size))
    sign = "-" if size < 0 else ""
    return f"{half_up(size, 3)} in" + (f" ({sign}{words})" if nearest % 1 else "")


def celsius(t: float) -> float:
    """Convert degrees Celsius to kelvin."""
    return t + ZERO_CELSIUS


def fahrenheit(t: float) -> float:
    """Convert degrees Fahrenheit to kelvin."""
    return (t - 32) * 5 / 9 + ZERO_CELSIUS


def to_celsius(kelvin: float) -> float:
    """Convert kelvin to degrees Celsius."""
    return kelvin - ZERO_CELSIUS


def to_fahrenheit(kelvin: float) -> float:
    """Convert kelvin to degrees Fahrenheit."""
    return (kelvin - ZERO_CELSIUS) * 9 / 5 + 32


def parse_temperature(text: str) -> float:
    """Read a temperature with its scale: ``'22C'``, ``'71.6 F'``, ``'22,5 °C'``, ``'295 K'``.

    Returns
    -------
    float
        Temperature [K].

    Raises
    ------
    ValueError
        No scale, not a number, or below absolute zero.

    Examples
    --------
    >>> parse_temperature("22 °C")
    295.15
    """
    match = _TEMPERATURE.fullmatch(_plain(str(text)))
    if match is None:
        msg = f"{text!r} is not a temperature with its scale; write it like '22C' or '72F'"
        raise ValueError(msg)
    scale = {"c": celsius, "f": fahrenheit, "k": float}[match["scale"].lower()]
    try:
        kelvin = scale(parse_number(match["number"]))
    except ValueError:
        msg = f"{text!r} is not a temperature; write it like '22C' or '72F'"
        raise ValueError(msg) from None
    if kelvin < 0:
        msg = f"{text!r} is below absolute zero; write it like '22C' or '72F'"
        raise ValueError(msg)
    return kelvin


def parse_pressure(text: str) -> float:
    """Read a blowing pressure with its unit: ``'520 Pa'``, ``'0,5 kPa'``, ``'53 mm'`` of water.

    Millimetres, centimetres and inches are those of a water column.

    Returns
    -------
    float
        Pressure [Pa].

    Raises
    ------
    ValueError
        No unit, not a number, or not above 0.

    Examples
    --------
    >>> round(parse_pressure("53 mm water"), 1)
    519.8
    """
    mend = "write it like '520Pa' or '53mm' (of water)"
    match = _PRESSURE.fullmatch(_plain(str(text)))
    if match is None:
        msg = f"{text!r} is not a pressure with its unit; {mend}"
        raise ValueError(msg)
    unit = re.match("[a-z]+?(?=$|water|h2o|of| )", match["unit"].lower())[0]
    try:
        pascals = parse_number(match["number"]) * _PASCALS[unit]
    except ValueError:
        msg = f"{text!r} is not a pressure; {mend}"
        raise ValueError(msg) from None
    if pascals <= 0:
        msg = f"{text!r} is no blowing pressure, which is above 0; {mend}"
        raise ValueError(msg)
    return pascals


def from_mm_water(x: float) -> float:
    """Convert a pressure from millimetres of water column to pascals (conventional value)."""
    return x * _PASCAL_PER_MM_WATER


def to_mm_water(pascals: float) -> float:
    """Convert a pressure from pascals to millimetres of water column (conventional value)."""
    return pascals / _PASCAL_PER_MM_WATER


def from_degrees(angle: float | Decimal) -> float:
    """Convert an angle from degrees to radians, rounded once."""
    return float(Fraction(angle) * _PER_DEGREE)


def to_degrees(angle: float) -> Fraction:
    """Convert an angle from radians to degrees, without rounding."""
    return Fraction(float(angle)) / _PER_DEGREE
