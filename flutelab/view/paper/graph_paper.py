"""Empty axes on squared paper, to draw on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import floor, log10

import numpy as np

from flutelab.view.drawing.primitives import Item, Line, Text
from flutelab.view.paper.page import SMALL, THICK, Block

SQUARE = 5.0  # mm
_STEPS = {1.0: 2, 2.0: 5, 2.5: 2, 5.0: 2}  # a square's worth: squares from number to number
_LEFT, _ABOVE, _BELOW = 14.0, 6.0, 9.0  # mm that numbers and names take
_GRID = {"stroke": "#A0A0A0", "thick": 0.15, "part": "grid"}


@dataclass(frozen=True, kw_only=True)
class Scale:
    """An axis from 0: its name, and how far its numbers must reach (None: it has none)."""

    name: str
    reach: float | None = None


def graph(width: float, height: float, across: Scale, up: Scale) -> Block:
    """Return empty axes on squares of 5 mm, every number at the edge of a square."""
    squares = int((width - _LEFT) / SQUARE), int((height - _ABOVE - _BELOW) / SQUARE)
    left, bottom = _LEFT, height - _BELOW
    right, top = left + SQUARE * squares[0], bottom - SQUARE * squares[1]
    items: list[Item] = []
    for x in np.linspace(left, right, squares[0] + 1).tolist():
        items.append(Line(start=(x, top), end=(x, bottom), **_GRID))
    for y in np.linspace(bottom, top, squares[1] + 1).tolist():
        items.append(Line(start=(left, y), end=(right, y), **_GRID))
    for end in ((right, bottom), (left, top)):
        items.append(Line(start=(left, bottom), end=end, thick=THICK))
    for n, mark in _marks(across, squares[0]):
        at = (left + SQUARE * n, bottom + 4.0)
        items.append(Text(at=at, text=mark, size=SMALL, anchor="middle"))
    for n, mark in _marks(up, squares[1]):
        at = (left - 1.5, bottom - SQUARE * n + 1.0)
        items.append(Text(at=at, text=mark, size=SMALL, anchor="end"))
    items.append(Text(at=(right, bottom + 8.5), text=across.name, size=SMALL, anchor="end"))
    items.append(Text(at=(0.0, top - 2.5), text=up.name, size=SMALL))
    return Block(height=height, items=tuple(items))


def square_worth(reach: float, squares: int) -> tuple[float, int]:
    """Return what a square stands for, and how many squares lie from number to number.

    A square stands for the least of 1, 2, 2.5 or 5 times a power of ten that reaches so far.

    Examples
    --------
    >>> square_worth(500.0, 33), square_worth(20.0, 8)
    ((20.0, 5), (2.5, 2))
    """
    power = 10.0 ** floor(log10(reach / squares))
    worth = [(step * size, apart) for size in (power, 10 * power) for step, apart in _STEPS.items()]
    return next(one for one in worth if one[0] * squares >= reach * (1 - 1e-9))


def _marks(scale: Scale, squares: int) -> Iterator[tuple[int, str]]:
    """Yield numbers and how many squares they stand from 0."""
    if scale.reach is None:
        return
    worth, apart = square_worth(scale.reach, squares)
    for n in range(0, squares + 1, apart):
        yield n, f"{n * worth:g}"
