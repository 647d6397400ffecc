"""The flute file as text: a `Flute` written as TOML in the shop's units."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from decimal import Decimal
from fractions import Fraction
from itertools import chain
from pathlib import Path

import numpy as np

from flutelab.files.safely import write_text
from flutelab.model.flute import Bore, End, Flute, Hole, Uncertainty, Window, bore_diameter
from flutelab.units import INCH, from_degrees, parse_length, to_degrees

# Decimals that a person would write: in the file's unit (1/64 in has 6), else in the other one
_OWN_DECIMALS, _OTHER_DECIMALS = 6, 4
FOOT_KINDS = ("open", "flanged", "stopped")


def write_flute(
    flute: Flute, path: str | Path, *, unit: str | None = None, overwrite: bool = False
) -> None:
    """Write a flute file that reads back as the same flute, digit for digit.

    An oval hole's `diameter` and `aspect` come back to rounding, within 1e-15 of themselves.

    Parameters
    ----------
    flute : Flute
        An open end without an outer diameter is written with the bore's, a sharp rim.
    path : str or Path
    unit : {'mm', 'in'}, optional
        Default: the flute's own.
    overwrite : bool
        Replace a file that is there.

    Raises
    ------
    DataError
        The file is there already, or cannot be written.
    ValueError
        As `flute_text`.
    """
    write_text(path, flute_text(flute, unit), overwrite=overwrite)


def flute_text(flute: Flute, unit: str | None = None) -> str:
    """Return a flute file's text, as `write_flute` writes it.

    Raises
    ------
    ValueError
        The flute has what a flute file cannot say: arrays, an ideal node as foot.
    """
    if flute.foot.kind not in FOOT_KINDS:
        msg = f"foot kind is {flute.foot.kind!r}; a flute file takes {', '.join(FOOT_KINDS)}"
        raise ValueError(msg)
    sizes = [
        size for part in (flute.head, flute.foot, *flute.holes) for size in vars(part).values()
    ]
    if any(np.ndim(size) for size in (*sizes, *chain.from_iterable(flute.bore.stations))):
        msg = f"flute {flute.name!r} holds arrays of sizes; a flute file takes one number for each"
        raise ValueError(msg)
    return "\n".join(_lines(flute, unit or flute.unit)) + "\n"


def _lines(flute: Flute, unit: str) -> Iterator[str]:
    def sizes(**lengths: float | None) -> Iterator[str]:
        for key, size in lengths.items():
            if size is not None:
                yield f"{key} = {_in_unit(size, unit)}"

    walled = [part for part in (flute.head, *flute.holes) if not isinstance(part, End)]
    wall = walled[0].wall if walled else None
    yield from (f"name = {_quoted(flute.name)}", f"unit = {_quoted(unit)}")
    yield from ("", "[bore]", *_bore_lines(flute.bore, unit), *sizes(wall=wall))
    if isinstance(flute.head, Window):
        own = None if flute.head.wall == wall else flute.head.wall
        window = {key: getattr(flute.head, key) for key in ("along", "across", "plug_to_window")}
        yield from ("", "[window]", *sizes(**window, wall=own))
        if flute.head.ramp != np.pi / 2:
            yield f"ramp_degrees = {_in_degrees(flute.head.ramp)}"
        yield from sizes(block_height=flute.head.block or None)
    else:
        yield from ("", "[head]", f"kind = {_quoted(flute.head.kind)}")
        yield from sizes(outer_diameter=_rim(flute.head, flute.bore))
    yield from ("", "[foot]", f"kind = {_quoted(flute.foot.kind)}")
    yield from sizes(from_edge=flute.foot.position, outer_diameter=_rim(flute.foot, flute.bore))
    for hole in flute.holes:
        own = None if hole.wall == wall else hole.wall
        yield from ("", "[[hole]]")
        yield from sizes(from_edge=hole.position, **_hole_sizes(hole), wall=own)
        if hole.angle:
            yield f"around_degrees = {_in_degrees(hole.angle)}"
        if hole.label:
            yield f"label = {_quoted(hole.label)}"
    if flute.uncertainty != Uncertainty():
        yield from ("", "[uncertainty]", *sizes(**vars(flute.uncertainty)))
    for target in flute.targets:
        yield from ("", "[[target]]", f"fingering = {_quoted(target.fingering)}")
        yield f"frequency_hz = {float(target.frequency)!r}"
        if target.label:
            yield f"label = {_quoted(target.label)}"


def _bore_lines(bore: Bore, unit: str) -> Iterator[str]:
    if len(bore.stations) == 1 and bore.stations[0][0] == 0:
        yield f"diameter = {_in_unit(bore.stations[0][1], unit)}"
        return
    pairs = (f"[{_in_unit(x, unit)}, {_in_unit(d, unit)}]" for x, d in bore.stations)
    yield f"stations = [{', '.join(pairs)}]"


def _rounded(size: float) -> float:
    """Take off what a root and a product have left beyond the 15th digit."""
    return float(f"{size:.15g}")


def _hole_sizes(hole: Hole) -> dict[str, float | None]:
    round_hole = hole.aspect == 1
    stretch = float(np.sqrt(hole.aspect))
    return {
        "diameter": hole.diameter if round_hole else None,
        "along": None if round_hole else _rounded(hole.diameter * stretch),
        "across": None if round_hole else _rounded(hole.diameter / stretch),
        "inner_diameter": hole.inner_diameter,
        "outer_rounding": hole.outer_rounding or None,
        "inner_rounding": hole.inner_rounding or None,
    }


def _rim(end: End, bore: Bore) -> float | None:
    if end.kind != "open":
        return None
    inside = bore_diameter(bore, end.position)
    return inside if end.outer_diameter is None else end.outer_diameter


def _quoted(text: str) -> str:
    # A TOML basic string is a JSON string, but for the delete character.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _in_unit(size: float, unit: str) -> str:
    """Return the shortest text that reads back as exactly this length [m].

    A decimal in the file's unit; where that runs on and one in the other unit does not, as of
    20.4 mm in a file in inches, that one with its unit.
    """
    own, other = _decimal(size, unit), "in" if unit == "mm" else "mm"
    if _decimals(own) <= _OWN_DECIMALS:
        return own
    short = _decimal(size, other)
    return _quoted(f"{short} {other}") if _decimals(short) <= _OTHER_DECIMALS else own


def _decimals(figure: str) -> int:
    return len(figure.partition(".")[2])


def _decimal(size: float, unit: str) -> str:
    if unit not in ("mm", "in"):
        msg = f"length {size!r} in unit {unit!r} cannot be written; use 'mm' or 'in'"
        raise ValueError(msg)
    exact = Fraction(float(size)) * (1000 if unit == "mm" else 1 / INCH)
    return _shortest(exact, lambda figure: parse_length(figure, unit) == float(size))


def _in_degrees(angle: float) -> str:
    """Return the shortest decimal in degrees that reads back as exactly this angle [rad]."""
    return _shortest(to_degrees(angle), lambda figure: from_degrees(figure) == float(angle))


def _shortest(exact: Fraction, good: Callable[[Decimal], bool]) -> str:
    decimal = Decimal(exact.numerator) / Decimal(exact.denominator)
    texts = (format(Decimal(format(decimal, f".{digits}g")), "f") for digits in range(1, 29))
    return next(text for text in texts if good(Decimal(text)))
