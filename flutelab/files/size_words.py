"""Lengths as they were understood: in both units, with the nearest drill or sixty-fourth."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from flutelab.drills import nearest_drill
from flutelab.units import from_inch, half_up, inches, millimetres, show_length


def understood(size: float, *, drilled: bool = False) -> str:
    """Return a length in mm and inches, with the nearest drills or sixty-fourth of an inch.

    Parameters
    ----------
    size : float
        [m]
    drilled : bool
        Whether it is a drilled hole's diameter.

    Examples
    --------
    >>> understood(0.0051, drilled=True)
    '5.10 mm = 0.201 in; drills #7 (+0.01 mm), 5.1 mm'
    >>> understood(0.28575)
    '285.75 mm = 11 1/4 in'
    """
    shown = f"{half_up(millimetres(size), 2)} mm"
    if drilled:
        sets = (("fraction", "number", "letter"), ("metric",))
        words = ", ".join(drill_words(size, kinds) for kinds in sets)
        return f"{shown} = {half_up(inches(size), 3)} in; drills {words}"
    nearest = Fraction(round(inches(size) * 64), 64)
    shop = show_length(from_inch(float(nearest)), "in")
    if abs(inches(size) - float(nearest)) < 5e-5:
        return f"{shown} = {shop}"
    return f"{shown} = {half_up(inches(size), 3)} in, about {shop}"


def drill_words(size: float, kinds: Iterable[str], unit: str = "mm") -> str:
    """Return the drill of some sets that is nearest to a size [m], and how far it is off.

    Examples
    --------
    >>> drill_words(0.0078, ["letter"], "in"), drill_words(0.0051, ["metric"])
    ('letter N (-0.005 in)', '5.1 mm')
    """
    name, drill = nearest_drill(size, kinds)
    decimals, in_unit = {"mm": (2, millimetres), "in": (3, inches)}[unit]
    more = round(float(in_unit(drill - size)), decimals)
    return f"{name} ({more:+.{decimals}f} {unit})" if more else name
