"""Every dimension of a flute by name, and which may have been typed in the wrong unit."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from flutelab.model.flute import Bore, Flute, Window, bore_diameter, ordinal

INCH = 25.4  # millimetres: the factor between the units
# What such a dimension is on flutes that are held in two hands [m] (common practice, no source).
USUAL = {
    "bore": (5e-3, 60e-3),
    "wall": (0.5e-3, 12e-3),
    "diameter": (1.5e-3, 25e-3),
    "inner_diameter": (1.5e-3, 25e-3),
    "along": (1.5e-3, 25e-3),
    "across": (2e-3, 40e-3),
    "plug_to_window": (0.3e-3, 30e-3),
    "block": (0.3e-3, 15e-3),
    "outer_diameter": (6e-3, 80e-3),
    "rounding": (0.05e-3, 4e-3),
    "place": (10e-3, 1.5),
    "foot": (60e-3, 1.5),
}


@dataclass(frozen=True, kw_only=True)
class Dimension:
    """A length of a flute: its name, its ``value`` [m], what is usual, the flute with another."""

    name: str
    value: float
    usual: str
    changed: Callable[[float], Flute]


def dimensions(flute: Flute) -> Iterator[Dimension]:
    """Yield every length of a flute, each place from the end that it may be measured from."""
    yield from _of_pipe(flute)
    for index, hole in enumerate(flute.holes):
        yield from _of_hole(flute, index, hole)
    if isinstance(flute.head, Window):
        for key in ("along", "across", "wall", "plug_to_window", "block"):
            yield _of_end(flute, "head", key, f"window {key}", key)
    for which in ("head", "foot"):
        if getattr(getattr(flute, which), "outer_diameter", None) is not None:
            yield _of_end(flute, which, "outer_diameter", f"{which} outer diameter",
                          "outer_diameter")  # fmt: skip
    yield _of_end(flute, "foot", "position", "length to the foot", "foot")


def in_the_wrong_unit(flute: Flute) -> list[tuple[str, float]]:
    """Return each dimension that may have been typed in mm for inches or the other way.

    Returns
    -------
    list of (str, float)
        Its name and the factor to the true one: only where that is usual for such a
        dimension, and nothing that is written already.
    """
    return [
        (d.name, factor)
        for d in dimensions(flute)
        for factor in (INCH, 1 / INCH)
        if USUAL[d.usual][0] <= d.value * factor <= USUAL[d.usual][1]
    ]


def resized(flute: Flute, name: str, factor: float) -> Flute:
    """Return a flute with one of its `dimensions` multiplied.

    Raises
    ------
    RecordError
        There is no such flute.
    """
    dimension = next(d for d in dimensions(flute) if d.name == name)
    return dimension.changed(dimension.value * factor)


def _of_end(flute, which, key, name, usual):
    end = getattr(flute, which)
    return Dimension(
        name=name, value=getattr(end, key), usual=usual,
        changed=lambda v: replace(flute, **{which: replace(end, **{key: v})}),
    )  # fmt: skip


def _of_pipe(flute):
    stations = flute.bore.stations
    for number, (place, diameter) in enumerate(stations):
        which = "" if len(stations) == 1 else f" at its {ordinal(number + 1)} station"

        def bored(value, number=number, place=place):
            others = (*stations[:number], (place, value), *stations[number + 1 :])
            return replace(flute, bore=Bore(stations=others))

        yield Dimension(name=f"bore{which}", value=diameter, usual="bore", changed=bored)
    walls = _walls(flute)
    if len(walls) > 1 and np.ptp(walls) <= 1e-9:
        yield Dimension(
            name="wall of the pipe", value=walls[0], usual="wall",
            changed=lambda v: _other_walls(flute, walls[0], v),
        )  # fmt: skip


def _walls(flute):
    window = [flute.head.wall] if isinstance(flute.head, Window) else []
    return [*(hole.wall for hole in flute.holes), *window]


def _other_walls(flute, old, wall):
    """One wall everywhere, with the rims that follow from it."""
    ends = {}
    for which in ("head", "foot"):
        end = getattr(flute, which)
        if isinstance(end, Window):
            ends[which] = replace(end, wall=wall)
            continue
        rim = bore_diameter(flute.bore, end.position) + 2 * old
        if end.outer_diameter is not None and abs(end.outer_diameter - rim) < 1e-9:
            ends[which] = replace(end, outer_diameter=end.outer_diameter + 2 * (wall - old))
    return replace(flute, holes=tuple(replace(h, wall=wall) for h in flute.holes), **ends)


def _of_hole(flute, index, hole):
    def other(**changed):
        holes = (*flute.holes[:index], replace(hole, **changed), *flute.holes[index + 1 :])
        return replace(flute, holes=holes)

    name, length = f"hole {index + 1}", flute.foot.position
    for key in ("diameter", "wall", "inner_diameter", "outer_rounding", "inner_rounding"):
        if getattr(hole, key):
            usual = "rounding" if key.endswith("rounding") else key
            yield Dimension(
                name=f"{name} {key.replace('_', ' ')}", value=getattr(hole, key), usual=usual,
                changed=lambda v, key=key: other(**{key: v}),
            )  # fmt: skip
    yield Dimension(
        name=f"{name} place from the edge", value=hole.position, usual="place",
        changed=lambda v: other(position=v),
    )  # fmt: skip
    yield Dimension(
        name=f"{name} place from the foot", value=length - hole.position, usual="place",
        changed=lambda v: other(position=length - v),
    )  # fmt: skip
