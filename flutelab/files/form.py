"""A measuring form: boxes that people fill in, one for each length that a flute file needs.

A box is known by its key: ``bore``, ``wall``, ``window_along``, ``window_across``,
``plug_to_window``, ``foot`` (sounding edge, or a plain head's end, to the foot), ``place 1``,
``diameter 1``, and so on for each hole from the window.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace

from flutelab.model.flute import Bore, End, Flute, Hole, Window, bore_diameter
from flutelab.units import from_inch, inches, millimetres, parse_length, show_length

WINDOW_KEYS = ("window_along", "window_across", "plug_to_window")
MOST_HOLES = 10  # for which a form, or a blank sheet, has room
SAME = 1e-9  # m: a box that still says what the opened flute says keeps its digits
_BARE = re.compile(r"[-+\d.,/ ]+")


@dataclass(frozen=True, kw_only=True)
class Form:
    """A measuring form as it is filled in.

    Parameters
    ----------
    texts : mapping of str to str
        What each box says; a box that is missing is blank.
    unit : {'mm', 'in'}
        Of a bare number.
    holes : int
    from_foot : bool
        Whether the holes' places count from the foot, or from the sounding edge.
    name : str
    head : {'window', 'open', 'flanged', 'stopped', 'node'}
    foot_kind : {'open', 'flanged', 'stopped'}
    opened : Flute, optional
        The flute that the form was filled from: what the form has no box for is kept.
    """

    texts: Mapping[str, str]
    unit: str = "mm"
    holes: int = 0
    from_foot: bool = False
    name: str = ""
    head: str = "window"
    foot_kind: str = "open"
    opened: Flute | None = None


def box_keys(holes: int, head: str = "window") -> tuple[str, ...]:
    """Return the keys of a form's boxes.

    Examples
    --------
    >>> box_keys(1, "open")
    ('bore', 'wall', 'foot', 'place 1', 'diameter 1')
    """
    windowed = WINDOW_KEYS if head == "window" else ()
    each = (f"{kind} {n}" for n in range(1, holes + 1) for kind in ("place", "diameter"))
    return ("bore", "wall", *windowed, "foot", *each)


def typed(form: Form, key: str) -> str:
    """Return what a box says, without blanks around it."""
    return form.texts.get(key, "").strip()


def says_the_same(one: Form, other: Form) -> bool:
    """Return whether two forms are filled in alike; a blank box is as good as none.

    Examples
    --------
    >>> says_the_same(Form(texts={"bore": "16", "wall": ""}), Form(texts={"bore": "16 "}))
    True
    """
    filled = (
        replace(form, texts={key: typed(form, key) for key in form.texts if typed(form, key)})
        for form in (one, other)
    )
    return next(filled) == next(filled)


def plain_length(size: float, unit: str = "mm") -> str:
    """Return a length as a person would write it, exact to 1e-9 m.

    In inches it is the first that is exact of a bare number of at most 4 decimals, a fraction
    in 64ths, and millimetres of at most 3 decimals with their unit. What is none of these, and
    all in millimetres, is a bare number to 1e-6 mm or 1e-8 in.

    Examples
    --------
    >>> plain_length(0.2999999999999, "mm"), plain_length(0.28575, "in")
    ('300', '11.25')
    >>> plain_length(0.006746875, "in"), plain_length(0.204, "in")
    ('17/64', '204 mm')
    """
    if unit == "mm":
        return _decimals(millimetres(size), 6)
    if size <= -SAME:
        return f"-{plain_length(-size, unit)}"
    fraction = show_length(from_inch(round(inches(size) * 64) / 64), "in").removesuffix(" in")
    for text in (_decimals(inches(size), 4), fraction, f"{_decimals(millimetres(size), 3)} mm"):
        if abs(parse_length(text, "in") - size) < SAME:
            return text
    return _decimals(inches(size), 8)


def _decimals(number: float, most: int) -> str:
    text = f"{number:.{most}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def filled_form(flute: Flute, *, unit: str | None = None, from_foot: bool = False) -> Form:
    """Return the form of a flute that is known.

    Parameters
    ----------
    flute : Flute
        Without arrays of sizes.
    unit : {'mm', 'in'}, optional
        Default: the flute's own.
    from_foot : bool
        Where the holes' places shall count from.
    """
    unit, foot = unit or flute.unit, flute.foot.position
    sizes = {key: own_size(flute, key) for key in box_keys(len(flute.holes))}
    if from_foot:
        sizes |= {f"place {n}": foot - hole.position for n, hole in enumerate(flute.holes, 1)}
    return Form(
        texts={key: plain_length(size, unit) for key, size in sizes.items() if size is not None},
        unit=unit,
        holes=len(flute.holes),
        from_foot=from_foot,
        name=flute.name,
        head="window" if isinstance(flute.head, Window) else flute.head.kind,
        foot_kind=flute.foot.kind,
        opened=flute,
    )


def own_size(flute: Flute, key: str) -> float | None:
    """Return what a flute itself has for a box [m], places from the edge; None = nothing."""
    kind, _, number = key.partition(" ")
    if number:
        hole = hole_of(flute, int(number))
        return None if hole is None else hole.position if kind == "place" else hole.diameter
    if key in WINDOW_KEYS:
        field = window_field(key)
        return getattr(flute.head, field) if isinstance(flute.head, Window) else None
    if key == "foot":
        return flute.foot.position
    if key == "wall":
        return common_wall(flute)
    return None if is_tapered(flute) else flute.bore.stations[0][1]


def window_field(key: str) -> str:
    """Return the field of `Window` that a box fills."""
    return key if key == "plug_to_window" else key.removeprefix("window_")


def hole_of(flute: Flute | None, number: int) -> Hole | None:
    """Return a flute's hole by its number from 1, or None."""
    holes = () if flute is None else flute.holes
    return holes[number - 1] if number <= len(holes) else None


def is_tapered(flute: Flute | None) -> bool:
    """Return whether a flute's bore is more than one diameter, which the form has a box for."""
    return flute is not None and (len(flute.bore.stations) > 1 or flute.bore.stations[0][0] != 0)


def common_wall(flute: Flute) -> float | None:
    """Return the wall that most of a flute has [m]; None of a pipe that tells of none."""
    walls = [hole.wall for hole in flute.holes]
    rim = rim_wall(flute.bore, flute.foot)
    walls += [rim] if rim is not None else []
    walls += [flute.head.wall] if isinstance(flute.head, Window) else []
    if not walls:
        return None
    ((size, _),) = Counter(round(wall / SAME) for wall in walls).most_common(1)
    return next(wall for wall in walls if round(wall / SAME) == size)


def rim_wall(bore: Bore, end: End) -> float | None:
    """Return the wall that an open end's outer diameter tells of [m]; None = sharp or none."""
    if end.kind != "open" or end.outer_diameter is None:
        return None
    wall = (end.outer_diameter - bore_diameter(bore, end.position)) / 2
    return wall if wall > 0 else None


def in_other_unit(form: Form, unit: str) -> Form:
    """Return a form whose bare numbers count in another unit; no length changes by it.

    Bare numbers get the unit that they were typed in.

    Examples
    --------
    >>> in_other_unit(Form(texts={"bore": "16", "wall": "1/8 in"}), "in").texts
    {'bore': '16 mm', 'wall': '1/8 in'}
    """
    if unit == form.unit:
        return form
    texts = {
        key: f"{text.strip()} {form.unit}" if _BARE.fullmatch(text) and text.strip() else text
        for key, text in form.texts.items()
    }
    return replace(form, texts=texts, unit=unit)


def turned(form: Form, from_foot: bool) -> Form:
    """Return a form whose holes' places count from the other end; no hole moves by it.

    Raises
    ------
    ValueError
        Places are typed, but not how long the pipe is.
    """
    keys = [key for key in (f"place {n}" for n in range(1, form.holes + 1)) if typed(form, key)]
    if from_foot == form.from_foot or not keys:
        return replace(form, from_foot=from_foot)
    try:
        foot = parse_length(typed(form, "foot"), form.unit)
    except ValueError:
        msg = (
            "the holes' places are typed, but not the length to the foot; type that first, then "
            "the places can be counted from the other end"
        )
        raise ValueError(msg) from None
    texts = dict(form.texts)
    for key in keys:
        try:
            texts[key] = plain_length(foot - parse_length(texts[key], form.unit), form.unit)
        except ValueError:
            continue  # what cannot be read stays as it is typed, and is told of
    return replace(form, texts=texts, from_foot=from_foot)
