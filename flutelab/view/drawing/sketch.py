"""What is known of a pipe so far, and where everything is drawn that is not known yet."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from flutelab.model.flute import Flute, Window
from flutelab.units import half_up, inches, millimetres

# Drawn where nothing is typed, always dashed and never written as a number: a common half-inch
# pipe (common practice, no source).
_BORE, _WALL = 0.016, 0.003
_ALONG, _ACROSS, _PLUG = 0.006, 0.008, 0.002
_LENGTH, _DIAMETER = 0.300, 0.006
_HOLES_FROM, _HOLES_TO = 0.42, 0.86  # of the sound chamber
_SHOP_FRACTION = 64
_SAME = 0.0005  # inches
_LONG = 10_000  # of either unit: no flute, but a slip of the pen must not burst the picture


@dataclass(frozen=True, kw_only=True)
class HoleSketch:
    """A hole so far: its place and diameter [m], None = not known.

    ``aspect`` is its length along the pipe over its width across, ``angle`` [rad] where it
    lies around the pipe, as in `Hole`.
    """

    place: float | None = None
    diameter: float | None = None
    aspect: float = 1.0
    angle: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Sketch:
    """A pipe so far [m]; None, and what is no length above 0, = not known.

    Parameters
    ----------
    name : str
    bore, wall : float or None
    stations : tuple of (place, diameter), optional
        In place of `bore`: the inside of a pipe that is not straight, places from the edge.
    window_along, window_across, plug_to_window : float or None
        `plug_to_window` may be 0.
    foot : float or None
        From the sounding edge, or a plain head's end, to the foot.
    holes : tuple of HoleSketch
        From the window to the foot, as typed; they may lie in the wrong order.
    from_foot : bool
        Where the holes' places count from: the foot, or the sounding edge.
    head : {'window', 'open', 'flanged', 'stopped', 'node'}
    foot_kind : {'open', 'flanged', 'stopped'}
    """

    name: str = ""
    bore: float | None = None
    wall: float | None = None
    stations: tuple[tuple[float, float], ...] = ()
    window_along: float | None = None
    window_across: float | None = None
    plug_to_window: float | None = None
    foot: float | None = None
    holes: tuple[HoleSketch, ...] = ()
    from_foot: bool = False
    head: str = "window"
    foot_kind: str = "open"


def sketch_of(flute: Flute, *, from_foot: bool = False) -> Sketch:
    """Return the sketch of a whole flute.

    Parameters
    ----------
    flute : Flute
        Of a flute with a batch axis, its first.
    from_foot : bool
        Whether the holes' places count from the foot.
    """
    stations = tuple((_first(x), _first(d)) for x, d in flute.bore.stations)
    foot = _first(flute.foot.position)
    straight = len({d for _, d in stations}) == 1
    holes = tuple(
        HoleSketch(
            place=foot - _first(hole.position) if from_foot else _first(hole.position),
            diameter=_first(hole.diameter),
            aspect=_first(hole.aspect),
            angle=_first(hole.angle),
        )
        for hole in flute.holes
    )
    windowed = isinstance(flute.head, Window)
    sizes = {}
    if windowed:
        sizes = {
            "window_along": _first(flute.head.along),
            "window_across": _first(flute.head.across),
            "plug_to_window": _first(flute.head.plug_to_window),
        }
    return Sketch(
        name=flute.name,
        bore=stations[0][1] if straight else None,
        wall=_wall_of(flute, stations),
        stations=() if straight else stations,
        foot=foot,
        holes=holes,
        from_foot=from_foot,
        head="window" if windowed else flute.head.kind,
        foot_kind=flute.foot.kind,
        **sizes,
    )


def _first(value: object) -> float:
    return float(np.ravel(value)[0])


def _wall_of(flute: Flute, stations: tuple[tuple[float, float], ...]) -> float | None:
    """Return the pipe's wall: the foot rim's where it is known, else a hole's or the window's."""
    if flute.foot.kind == "open" and flute.foot.outer_diameter is not None:
        rim = (_first(flute.foot.outer_diameter) - stations[-1][1]) / 2
        if rim > 0:
            return rim
    parts = [*flute.holes, *([flute.head] if isinstance(flute.head, Window) else [])]
    return _first(parts[0].wall) if parts else None


@dataclass(frozen=True, kw_only=True)
class Placed:
    """Every size that a drawing needs [m], places from the edge; `known` names the typed ones.

    Names in `known`: the fields of `Sketch`, ``place 1``, ``diameter 1``, ...
    """

    bore: float
    wall: float
    stations: tuple[tuple[float, float], ...]
    along: float
    across: float
    plug: float
    foot: float
    places: tuple[float, ...]
    diameters: tuple[float, ...]
    known: frozenset[str]


def placed(sketch: Sketch) -> Placed:
    """Return where everything is drawn: what is known at its own size, the rest at a usual one."""
    names = ("bore", "wall", "window_along", "window_across", "foot")
    sizes = {name: _size(getattr(sketch, name)) for name in names}
    plug = sketch.plug_to_window
    plug = 0.0 if plug == 0 else _size(plug)
    typed = [_place(hole.place) for hole in sketch.holes]
    wide = [_size(hole.diameter) for hole in sketch.holes]
    stations = tuple((x, d) for x, d in sketch.stations if _size(d) and _place(x) is not None)
    bore = sizes["bore"] or (stations[0][1] if stations else _BORE)
    foot = sizes["foot"] or _likely_length(typed)
    known = {name for name, size in sizes.items() if size is not None}
    known |= {"plug_to_window"} if plug is not None else set()
    known |= {f"place {n}" for n, place in enumerate(typed, 1) if place is not None}
    known |= {f"diameter {n}" for n, size in enumerate(wide, 1) if size is not None}
    return Placed(
        bore=bore,
        wall=sizes["wall"] or _WALL,
        stations=stations or ((0.0, bore),),
        along=sizes["window_along"] or _ALONG,
        across=sizes["window_across"] or min(_ACROSS, bore),
        plug=_PLUG if plug is None else plug,
        foot=foot,
        places=_places(typed, foot, sketch.from_foot),
        diameters=tuple(size or _DIAMETER for size in wide),
        known=frozenset(known),
    )


def _size(value: float | None) -> float | None:
    place = _place(value)
    return place if place is not None and place > 0 else None


def _place(value: float | None) -> float | None:
    return float(value) if value is not None and math.isfinite(value) else None


def _likely_length(typed: list[float | None]) -> float:
    """Return a length for a pipe whose foot is not known: beyond the last hole."""
    return max([_LENGTH, *(1.25 * place for place in typed if place is not None)])


def _places(typed: list[float | None], foot: float, from_foot: bool) -> tuple[float, ...]:
    """Return every hole's place from the edge; unknown ones lie between their neighbours."""
    found = [None if p is None else (foot - p if from_foot else p) for p in typed]
    count = len(found)
    step = (_HOLES_TO - _HOLES_FROM) / max(count - 1, 1)
    usual = [foot * (_HOLES_FROM + step * n) for n in range(count)]
    if not any(place is not None for place in found):
        return tuple(usual)
    numbers = [n for n, place in enumerate(found) if place is not None]
    return tuple(
        _between(n, numbers, found, foot) if place is None else place
        for n, place in enumerate(found)
    )


def _between(number: int, numbers: list[int], found: list[float | None], foot: float) -> float:
    """Return a place for a hole without one: evenly between the known ones or the ends."""
    before = max((n for n in numbers if n < number), default=None)
    after = min((n for n in numbers if n > number), default=None)
    low, start = (_HOLES_FROM * foot, -1) if before is None else (found[before], before)
    high, end = (foot, len(found)) if after is None else (found[after], after)
    if before is None and found[after] < low:
        low = 0.0
    return low + (high - low) * (number - start) / (end - start)


def short_length(size: float, unit: str = "mm") -> str:
    """Write a length without its unit: mm to 0.01, inches as a fraction or to 0.001.

    Examples
    --------
    >>> short_length(0.1265), short_length(0.1714500, "in"), short_length(0.0153416, "in")
    ('126.5', '6 3/4', '0.604')
    """
    value = millimetres(size) if unit == "mm" else inches(size)
    if abs(value) >= _LONG:
        return f"{value:.3g}"
    if unit == "mm":
        return half_up(value, 2).rstrip("0").rstrip(".")
    nearest = Fraction(round(value * _SHOP_FRACTION), _SHOP_FRACTION)
    if value == 0:
        return "0"
    if value < 0 or abs(value - float(nearest)) > _SAME or nearest == 0:
        return half_up(value, 3)
    whole, part = divmod(nearest, 1)
    return " ".join(str(piece) for piece in (whole, part) if piece)
