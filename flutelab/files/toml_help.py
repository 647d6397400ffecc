"""Read TOML, and say what its own syntax errors mean to somebody who types a flute file."""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal, InvalidOperation

from flutelab.errors import DataError, Fault

_KEY = r"\s*[\w.-]+\s*"
_QUOTED_OR_NOT = r"""(?:[^"'#]|"[^"]*"|'[^']*')*?"""
# Usual slips, each with its mend; the first that fits a line is told.
_SLIPS: tuple[tuple[str, str], ...] = (
    (r".*[\u201c-\u201f\u2018\u2019\u00ab\u00bb]", "Use straight quotes: '3/16 in'"),
    (
        rf"{_KEY}=\s*[\d -]*\d\s*/\s*\d+(.*)",
        "Put the fraction in quotes with its unit: '3/16 in'",
    ),
    (
        rf"{_KEY}=\s*-?\d*,\d+(.*)",
        "Write a decimal point, or put the value in quotes with its unit: '4,8 mm'",
    ),
    (
        rf"{_KEY}=\s*(#.*)?$",
        "Write a value after the equals sign; a drill goes in quotes: '#7'",
    ),
    (
        rf"{_KEY}=\s*-?[\d.]+\s*(mm|cm|m|in|inch|thou|\"|c|f)\b.*",
        "Put a value with its unit in quotes: '4.8 mm'",
    ),
    (
        rf"{_KEY}=\s*-?(\.\d+|\d+\.)\s*(#.*)?$",
        "Write digits before and after the point: 0.5 or 5.0",
    ),
    (rf"{_KEY}=\s*-?0\d+(\.\d*)?\s*(#.*)?$", "Leave out the leading zero: 5.5"),
    (rf"{_KEY}=\s*(?!(true|false|inf|nan)\b)[^\W\d].*", 'Put text in quotes: name = "My flute"'),
    (
        rf"({_KEY}=)?\s*\[{_QUOTED_OR_NOT}\d\s*(/\s*\d|(mm|cm|m|in|inch|thou)\b|\")",
        "Put each size with a unit in quotes: [['3/4 in', '15.8 mm']]",
    ),
    (r"\s*\[hole\]", "Write [[hole]] with two square brackets, once for each hole"),
    (r"\s*\[target\]", "Write [[target]] with two square brackets, once for each target"),
    (r"\s*\[\[?[^\]]*$", "Close the square brackets: [bore], [[hole]]"),
    (rf"{_KEY}:.*", "Write an equals sign: diameter = 15.8"),
    (rf"{_KEY}\s['\"\d].*", "Write an equals sign between name and value: diameter = 15.8"),
    (r".*\\", "Write a backslash twice, or use / instead"),
)
_PATTERNS = tuple((re.compile(pattern, re.IGNORECASE), mend) for pattern, mend in _SLIPS)
_AT_LINE = re.compile(r" \(at line (\d+), column \d+\)$| \(at end of document\)$")
_TWICE = ("overwrite", "twice", "mutate", "already")
_SHOWN = 80  # characters of a line quoted in a fault


def parse_toml(text: str, source: str) -> dict:
    """Return the tables of a TOML text; decimal numbers come as `Decimal`, as typed.

    Raises
    ------
    DataError
        The text is not TOML: each line that holds a usual slip, and the line at
        which reading stopped, with the line's text and the mend.
    """
    try:
        return tomllib.loads(text, parse_float=_decimal)
    except tomllib.TOMLDecodeError as error:
        raise DataError(source, _syntax_faults(text, str(error))) from None
    except (ValueError, RecursionError):
        fault = Fault(
            place="file",
            problem="it holds a number or a nesting too long to read",
            mend="Compare it with the sample flute files",
        )
        raise DataError(source, [fault]) from None


def _decimal(text: str) -> Decimal | float:
    """Keep a decimal number as typed; inf, nan and numbers beyond any size become floats."""
    try:
        number = Decimal(text)
    except InvalidOperation:
        return float(text)
    return number if number.is_finite() and abs(number.adjusted()) < 400 else float(text)


def _syntax_faults(text: str, message: str) -> list[Fault]:
    lines = text.splitlines()
    found = _AT_LINE.search(message)
    stopped = int(found[1]) if found and found[1] else max(len(lines), 1)
    reason = _AT_LINE.sub("", message)
    slips = {
        number: slip
        for number, line in enumerate(lines, 1)
        if not line.lstrip().startswith("#") and (slip := _slip(line))
    }
    # A name that stands twice is the echo of an earlier slip, such as [hole] for [[hole]].
    if not (slips and any(word in reason.lower() for word in _TWICE)):
        slips.setdefault(stopped, _general_mend(reason))
    return [
        Fault(
            place=f"line {number}",
            typed="".join(lines[number - 1 : number]).strip()[:_SHOWN],
            problem=f"this is not TOML ({reason})" if number == stopped else "this is not TOML",
            mend=slips[number],
        )
        for number in sorted(slips)
    ]


def _slip(line: str) -> str | None:
    """Return the mend if the line alone is no TOML for one of the usual reasons."""
    return None if _reads(line) else next((m for p, m in _PATTERNS if p.match(line)), None)


def _reads(line: str) -> bool:
    try:
        tomllib.loads(line, parse_float=_decimal)
    except (ValueError, RecursionError):
        return False
    # One [hole] reads by itself; only a second one, or [[hole]] beside it, does not.
    return not re.match(r"\s*\[(hole|target)\]", line)


def _general_mend(reason: str) -> str:
    if any(word in reason.lower() for word in _TWICE):
        return "This name or table stands twice; keep one of them"
    if "array" in reason.lower():
        return "Close the square brackets here or above: stations = [[0, 15.8], [300, 14.6]]"
    return "Write one `name = value` a line, text in straight quotes, closed on the same line"
