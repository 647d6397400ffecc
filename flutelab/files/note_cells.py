"""Cells of a note table: text as typed to a value in SI units, or the fault and its mend."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from flutelab import drills, pitch, units
from flutelab.files.note_columns import HOLE_KINDS, TEXTS
from flutelab.fitting.measurements import USES
from flutelab.model.rows import fingering_word
from flutelab.physics.jet import PRESSURES

PITCHES = (50.0, 6000.0)  # Hz
BREATHS = ("soft", "usual", "hard")
HOW = ("blown", "driven")
_SMALLEST_HOLE = 0.001  # m; below it, inches were meant
_WITH_UNIT = re.compile(r"[+-]?\d+(?:[.,]\d+)? ?(?:[^\W\d_]{1,5}|%|° ?[CFcf])")
_CHECK = "Check the reading and the decimal point"


class CellError(ValueError):
    """A cell that cannot be used: the problem and its mend."""

    def __init__(self, problem: str, mend: str) -> None:
        self.problem = problem
        self.mend = mend
        super().__init__(f"{problem}; {mend}")


@dataclass(frozen=True, kw_only=True)
class _Range:
    low: float
    high: float
    unit: str
    below: str = _CHECK
    above: str = _CHECK


_ROOM = "Is this {other}? Then write it in a column ending in _{letter}"
_IN_C = _Range(low=-10, high=45, unit="C", above=_ROOM.format(other="Fahrenheit", letter="f"))
_IN_F = _Range(low=32, high=113, unit="F", below=_ROOM.format(other="Celsius", letter="c"))
_NEIGHBOUR = "Write the neighbouring note and the cents from it"
# What can be meant; beyond it a cell is a slip (common practice, no source).
_RANGES = {
    "frequency_hz": _Range(
        low=PITCHES[0], high=PITCHES[1], unit="Hz", below="Write hertz, not kilohertz"
    ),
    "cents": _Range(low=-100, high=100, unit="cents", below=_NEIGHBOUR, above=_NEIGHBOUR),
    "a4_hz": _Range(low=380, high=480, unit="Hz"),
    "register": _Range(low=1, high=6, unit=""),
    "bore_temperature_c": _IN_C,
    "room_temperature_c": _IN_C,
    "bore_temperature_f": _IN_F,
    "room_temperature_f": _IN_F,
    "humidity_percent": _Range(low=0, high=100, unit="%"),
    "breath_pa": _Range(
        low=PRESSURES[0],
        high=PRESSURES[1],
        unit="Pa",
        below="Write pascals; 1 inch of water is 249 Pa, 1 kPa is 1000 Pa",
    ),
    "breath_mm_water": _Range(
        low=round(units.to_mm_water(PRESSURES[0]), 1),
        high=round(units.to_mm_water(PRESSURES[1]), 1),
        unit="mm of water",
        below="Write millimetres; 1 inch of water is 25.4 mm",
    ),
    "sd_cents": _Range(low=0.1, high=100, unit="cents"),
}
_TO_SI = {
    "bore_temperature_c": units.celsius,
    "room_temperature_c": units.celsius,
    "bore_temperature_f": units.fahrenheit,
    "room_temperature_f": units.fahrenheit,
    "humidity_percent": lambda percent: percent / 100,
    "breath_mm_water": units.from_mm_water,
}
_UNITS_IN_NAME = _RANGES.keys() - {"cents", "register"}


def cell_value(column: str, text: str, holes: int) -> float | str | pitch.Note:
    """Return what a filled cell says, in SI units.

    Parameters
    ----------
    column : str
        A known column.
    text : str
        The cell without blanks around it, not empty.
    holes : int
        Holes of the flute.

    Raises
    ------
    CellError
        With the problem and its mend.
    """
    if column in TEXTS:
        return text
    spot_damage(column, text, holes)
    try:
        return _parsed(column, text, holes)
    except CellError:
        raise
    except ValueError as error:
        problem, mend = _parted(str(error), text)
        raise CellError(problem, mend) from error


def _parted(message, text):
    """Part "note 'Z' is not a note; write A4" into problem and mend; a Fault quotes the cell."""
    problem, _, mend = message.replace(repr(text), "", 1).partition("; ")
    problem = " ".join(problem.split())
    for name in ("note", "fingering"):
        problem = problem.removeprefix(name).lstrip(" :")
    return problem, mend[:1].upper() + mend[1:]


def _parsed(column, text, holes):
    if column in _RANGES:
        return _TO_SI.get(column, float)(_number(column, text))
    if column == "fingering":
        return fingering_word(text, holes)
    if column == "note":
        return pitch.parse_note(text)
    if column.startswith("hole_"):
        return _diameter(column, text)
    return _choice(text, {"breath": BREATHS, "how": HOW, "use": USES}[column])


def _number(column, text):
    if column in _UNITS_IN_NAME and _WITH_UNIT.fullmatch(text):
        problem = "it is not a number alone"
        raise CellError(problem, f"Write the number in the unit that the name {column} ends in")
    value = units.parse_number(text)
    allowed = _RANGES[column]
    if not allowed.low <= value <= allowed.high:
        span = f"{allowed.low:g} to {allowed.high:g} {allowed.unit}".strip()
        mend = allowed.below if value < allowed.low else allowed.above
        problem = f"it lies outside {span}"
        raise CellError(problem, mend)
    if column == "register" and value != int(value):
        problem = "a register is a whole number"
        raise CellError(problem, "Write 1 for the lowest, 2 for overblown, or leave it blank")
    if column == "humidity_percent" and 0 < value < 1:
        problem = "less than 1 % is drier than any room"
        raise CellError(problem, f"Write percent: {100 * value:g} for {100 * value:g} %")
    return value


def _diameter(column, text):
    kind = next(kind for kind in HOLE_KINDS if column.endswith(kind))
    unit = kind.removeprefix("diameter_")
    value = drills.drill_diameter(text) if kind == "drill" else units.parse_length(text, unit)
    if value < _SMALLEST_HOLE:
        problem = f"{units.millimetres(value):.4g} mm is no finger hole"
        raise CellError(problem, "Check the unit (are these inches?) and the decimal point")
    return value


def _choice(text, allowed):
    if text.lower() not in allowed:
        problem = "no such word is known here"
        raise CellError(problem, f"Write {', '.join(allowed[:-1])} or {allowed[-1]}")
    return text.lower()


def last_digit(text: str) -> float:
    """Return one unit of the last decimal typed; 1 for a whole number."""
    plain = unicodedata.normalize("NFKC", text).strip().lower()
    mantissa, _, exponent = plain.partition("e")
    decimals = len(re.split("[.,]", mantissa + ".")[1]) - int(exponent or 0)
    return 10.0 ** -max(decimals, 0)


_FAILED = re.compile(r"#[^\s#]*[!?]|#N/?[A-Z]+|#{2,}|Err:\d+", re.IGNORECASE)
_APOSTROPHE = re.compile(r"['\u2018\u2019](?!['\u2019])\s*(.+)")
# Names begin like these in English, German, French, Spanish and Italian.
_MONTHS = {
    name: number
    for number, names in enumerate(
        [
            *("jan ene gen", "feb fév", "mar mär mrz", "apr avr abr", "may mai mag", "jun giu"),
            *("jul lug", "aug aoû ago", "sep set", "oct okt ott", "nov", "dec dez déc dic"),
        ],
        1,
    )
    for name in names.split()
}
_DATES = (
    re.compile(r"(?P<day>\d{1,2})[-. /]{1,2}(?P<month>[^\W\d_]{3,10})\.?(?:[-. /]{1,2}\d{2,4})?"),
    re.compile(r"(?P<month>[^\W\d_]{3,10})\.?[-. /]{1,2}(?P<day>\d{1,4})"),
    re.compile(r"\d{4}-(?P<month>\d\d)-(?P<day>\d\d)(?:[T ][\d:.]+)?"),
    re.compile(r"(?P<day>\d{1,2})([-./])(?P<month>\d{1,2})\2\d{2,4}"),
)
_SERIAL = re.compile(r"[34]\d{4}")  # days since 1900 of any recent date
_NUMBER_WORD = re.compile(r"[+-]?\d+(?:[.,]\d+)?(?:e\+?\d{1,2})?", re.IGNORECASE)


def spot_damage(column: str, text: str, holes: int) -> None:
    """Refuse a cell that a spreadsheet program changed, and say what it probably was.

    Raises
    ------
    CellError
        An error code, a date, a text mark, or a fingering turned into a number.
    """
    again = "Set the column's format to text and type the cell again"
    if _FAILED.fullmatch(text):
        problem = "a spreadsheet program put its error code here"
        if column == "fingering":
            problem += "; the fingering probably began with - or ="
            again += ", with n for a hole not drilled"
        raise CellError(problem, again)
    if mark := _APOSTROPHE.fullmatch(text):
        problem = "the apostrophe in front is a spreadsheet program's mark for text"
        raise CellError(problem, f"Delete it if {mark[1]} was meant")
    if date := _date(text):
        problem = f"a spreadsheet program made a date of this; {_before_date(column, *date)}"
        raise CellError(problem, again)
    if _SERIAL.fullmatch(text) and column != "fingering":
        problem = "this looks like the number by which spreadsheet programs count a date"
        raise CellError(problem, again)
    if column == "fingering" and _NUMBER_WORD.fullmatch(text):
        digits = f"{float(text.replace(',', '.')):.0f}".zfill(holes)
        problem = f"a spreadsheet program probably made this number from {digits}"
        raise CellError(problem, f"{again}, with the letters x (closed) and o (open)")


def _date(text):
    for pattern in _DATES:
        if match := pattern.fullmatch(text):
            month = match["month"].lower()
            number = int(month) if month.isdecimal() else _MONTHS.get(month[:3])
            if number is not None:
                return int(match["day"]), number
    return None


def _before_date(column, day, month):
    if column.startswith("hole_"):
        return f"it probably was {min(day, month)}/{max(day, month)}"
    if column in _RANGES:
        return f"it probably was {day}.{month} or {month}.{day}"
    return f"it probably was {day}-{month} or {month}/{day}"
