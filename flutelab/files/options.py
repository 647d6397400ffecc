"""Options of the command line as typed: values in SI units, and what is wrong with them."""

from __future__ import annotations

import re
from argparse import ArgumentTypeError
from collections.abc import Sequence
from difflib import get_close_matches
from itertools import pairwise
from pathlib import Path

from flutelab.files.form import MOST_HOLES
from flutelab.model.corrections import NAMES
from flutelab.physics.air import TEMPERATURES
from flutelab.physics.jet import PRESSURES
from flutelab.units import parse_number, parse_pressure, parse_temperature, to_celsius

REGISTERS = ("1", "2", "3", "4")
_UNITS = {"pa", "hpa", "kpa", "mbar", "mm", "cm", "in", "c", "f", "k", "°", "°c", "°f", "deg"}
_KINDS = {".csv": "note table", ".json": "constants file", ".toml": "flute file"}
_BARE = {"%", "percent", "hz"}  # units of numbers that are typed without one
_NUMBER = re.compile(r"[+-]?[\d.,]+(?:e[+-]?\d+)?", re.IGNORECASE)


class Refusal(ValueError):
    """An option that cannot be used, or does not fit the others."""


def number(text: str) -> float:
    """Return a number with a decimal point or comma; argparse says what is wrong with it."""
    try:
        return parse_number(text)
    except ValueError:
        msg = f"{text!r} is not a number; write it alone, without a unit, such as 50"
        raise ArgumentTypeError(msg) from None


def register(text: str) -> int:
    """Return the number of a register; argparse says what is wrong with it."""
    if text not in REGISTERS:
        msg = f"{text!r} is no register; write {', '.join(REGISTERS[:-1])} or {REGISTERS[-1]}"
        raise ArgumentTypeError(msg)
    return int(text)


def seed(text: str) -> int:
    """Return the seed of what is drawn at random; argparse says what is wrong with it."""
    if not re.fullmatch(r"[0-9]{1,18}", text):
        msg = f"{text!r} is no seed; write a whole number from 0, such as 1"
        raise ArgumentTypeError(msg)
    return int(text)


def hole_count(text: str) -> int:
    """Return for how many holes a sheet has room; argparse says what is wrong with it."""
    if not (text.isascii() and text.isdecimal() and int(text) <= MOST_HOLES):
        msg = f"{text!r} is no number of holes; write a whole number from 0 to {MOST_HOLES}"
        raise ArgumentTypeError(msg)
    return int(text)


def flute_name(name: str) -> str:
    """Return the name of a flute file; a Refusal where it is plainly of another kind."""
    return _of_kind("", name, "flute file (TOML)", (".csv", ".json"))


def constants_name(name: str) -> str:
    """Return the name of a constants file; a Refusal where it is plainly of another kind."""
    return _of_kind(
        "--constants: ", name, "constants file (JSON, from calibrate)", (".csv", ".toml")
    )


def _of_kind(option, name, wanted, others):
    ending = Path(name).suffix.lower()
    if ending in others:
        msg = f"{option}{name!r} looks like a {_KINDS[ending]}; give a {wanted} here"
        raise Refusal(msg)
    return name


def archive_folder(text: str | None) -> str | None:
    """Return the folder of an archive's name; a Refusal where it is not one of a zip file."""
    if text is None:
        return None
    if Path(text).suffix.lower() != ".zip":
        msg = f"--archive: {text!r} is not the name of a zip file; write it like 'results.zip'"
        raise Refusal(msg)
    return str(Path(text).parent)


def temperature(option: str, text: str | None) -> float | None:
    """Return a temperature [K] of air; None where the option is not given.

    Raises
    ------
    Refusal
    """
    kelvin = _read(parse_temperature, option, text)
    low, high = TEMPERATURES
    if kelvin is not None and not low <= kelvin <= high:
        limits = f"{to_celsius(low):.0f} to {to_celsius(high):.0f} C"
        msg = (
            f"{option}: {text!r} is no temperature of air to play in ({limits}). Check the unit, "
            "C or F"
        )
        raise Refusal(msg)
    return kelvin


def pressure(option: str, text: str | None) -> float | None:
    """Return a blowing pressure [Pa], within the limits of a note table's; None as it is.

    Raises
    ------
    Refusal
    """
    pascals = _read(parse_pressure, option, text)
    low, high = PRESSURES
    if pascals is not None and not low <= pascals <= high:
        msg = (
            f"{option}: {text!r} is {pascals:g} Pa, outside {low:g} to {high:g} Pa; check unit "
            "and decimal point"
        )
        raise Refusal(msg)
    return pascals


def _read(parse, option, text):
    try:
        return None if text is None else parse(text)
    except ValueError as error:
        msg = f"{option}: {error}"
        raise Refusal(msg) from None


def humidity(percent: float | None) -> float | None:
    """Return a relative humidity, 0 to 1, from percent; a Refusal outside 1 to 100."""
    if percent is None:
        return None
    if not 1 <= percent <= 100:
        msg = f"--humidity: {percent:g} is not a relative humidity; write percent, 1 to 100"
        raise Refusal(msg)
    return percent / 100


def reference_pitch(frequency: float) -> float:
    """Return a reference pitch [Hz]; a Refusal outside 380 to 480 Hz."""
    if not 380 <= frequency <= 480:
        msg = f"--a4: {frequency:g} is not a reference pitch; write 380 to 480 Hz"
        raise Refusal(msg)
    return frequency


def corrections(text: str, option: str = "--free") -> list[str]:
    """Return the names of corrections parted by commas; a Refusal for one that is none."""
    names = [name.strip() for name in text.split(",") if name.strip()]
    wrong = [name for name in names if name not in NAMES] or ([] if names else [text])
    if wrong:
        msg = (
            f"{option}: {wrong[0]!r} is no correction{nearest(wrong[0], NAMES)}. Write one or more "
            f"of {', '.join(NAMES)} with commas between"
        )
        raise Refusal(msg)
    return names


def check_folder(option: str, name: str | None) -> None:
    """Refuse a folder to write into where a file is in the way."""
    if name is None:
        return
    for path in (Path(name), *Path(name).parents):
        if path.is_dir():
            return
        if path.exists():
            msg = f"{option}: {str(path)!r} is a file; give the name of a folder, new or old"
            raise Refusal(msg)


def check_blanks(arguments: Sequence[str]) -> None:
    """Refuse a value whose unit stands apart from its number, as in ``--breath 500 Pa``."""
    for place, (before, unit) in enumerate(pairwise(arguments)):
        option, _, value = before.rpartition("=")
        option = option or (arguments[place - 1] if place else "")
        known = unit.lower() in _UNITS | _BARE
        if not (known and option.startswith("--") and _NUMBER.fullmatch(value)):
            continue
        mend = f"write it without the blank, {option} {value}{unit}, or in quotes"
        if unit.lower() in _BARE:
            mend = f"write the number alone, {option} {value}"
        msg = f"{option}: {unit!r} stands apart from {value}; {mend}"
        raise Refusal(msg)


def left_over(words: Sequence[str], command: str, known: Sequence[str]) -> Refusal:
    """Return what to say of words of a command line that belong to no option."""
    told = []
    for before, word in pairwise(("", *words)):
        name = word.partition("=")[0]
        if name.startswith("-"):
            told.append(f"{name!r} is no option{nearest(name, known)}")
        elif not before.startswith("-"):  # else it was meant for that one
            told.append(f"{word!r} belongs to no option; a text with blanks needs quotes")
    return Refusal(f"{command}: {'; '.join(told)} (see {command} --help)")


def nearest(word: str, known: Sequence[str]) -> str:
    """Return a hint at the nearest of the known words, if one is near."""
    near = get_close_matches(word, known, 1)
    return f"; the nearest is {near[0]}" if near else ""
