"""Charts on paper: axes with numbers and names, curves, bands, bars and dots, in black and grey."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from flutelab.view.drawing.primitives import (
    Ellipse,
    Item,
    Line,
    Text,
    rectangle,
    text_width,
)
from flutelab.view.paper.page import POINT, Block
from flutelab.view.style import BLACK, DARK, PALE

LETTERS = 9.5 * POINT
CURVE = 0.6  # mm thick: still a line after copying
_DOT = 1.3
_EQUAL = 1e-9


@dataclass(frozen=True, kw_only=True)
class Axes:
    """Where a chart stands [mm] and what it shows: ``across`` and ``up`` are (low, high)."""

    left: float
    top: float
    right: float
    bottom: float
    across: tuple[float, float]
    up: tuple[float, float]

    def x(self, value: float) -> float:
        """Return where a value stands from the left."""
        low, high = self.across
        return self.left + (self.right - self.left) * (value - low) / (high - low)

    def y(self, value: float) -> float:
        """Return where a value stands from the top."""
        low, high = self.up
        return self.bottom - (self.bottom - self.top) * (value - low) / (high - low)


def chart(items: Sequence[Item], height: float) -> Block:
    """Return a chart's items as a block."""
    return Block(height=height, items=tuple(items))


def frame(
    axes: Axes,
    *,
    marks: tuple[Sequence[float], Sequence[float]],
    names: tuple[str, str],
) -> Iterator[Item]:
    """Draw the grid, numbers at `marks` (across, up) and the names of both axes."""
    for value in marks[0]:
        x = axes.x(value)
        yield Line(start=(x, axes.top), end=(x, axes.bottom), stroke=PALE, thick=0.2)
        yield Text(
            at=(x, axes.bottom + 1.3 * LETTERS), text=_number(value), size=LETTERS, anchor="middle"
        )
    for value in marks[1]:
        y = axes.y(value)
        yield Line(start=(axes.left, y), end=(axes.right, y), stroke=PALE, thick=0.2)
        look = {"size": LETTERS, "anchor": "end"}
        yield Text(at=(axes.left - 1.5, y + 0.35 * LETTERS), text=_number(value), **look)
    for end in ((axes.right, axes.bottom), (axes.left, axes.top)):
        yield Line(start=(axes.left, axes.bottom), end=end, stroke=DARK, thick=0.35)
    below = (axes.right, axes.bottom + 2.75 * LETTERS)
    yield Text(at=below, text=names[0], size=LETTERS, anchor="end")
    yield Text(at=(axes.left - 12.0, axes.top - 2.6), text=names[1], size=LETTERS)


def _number(value: float) -> str:
    return f"{value:g}".replace("-", "\u2212")


def curve(
    axes: Axes,
    xs: Sequence[float],
    ys: Sequence[float],
    *,
    dash: tuple[float, float] | None = None,
    thick: float = CURVE,
    stroke: str = BLACK,
) -> Iterator[Item]:
    """Draw a curve; `dash` is (on, off) [mm along it], whatever its points."""
    points = np.array([(axes.x(x), axes.y(y)) for x, y in zip(xs, ys, strict=True)])
    for piece in [points] if dash is None else _dashes(points, *dash):
        for start, end in pairwise(piece):
            look = {"stroke": stroke, "thick": thick}
            yield Line(start=_point(start), end=_point(end), **look)


def _point(pair: np.ndarray) -> tuple[float, float]:
    return float(pair[0]), float(pair[1])


def _dashes(points: np.ndarray, on: float, off: float) -> Iterator[np.ndarray]:
    """Yield the pieces of a curve that are drawn, corners kept."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    for start in np.arange(0.0, along[-1] - _EQUAL, on + off):
        end = min(start + on, along[-1])
        inner = along[(along > start) & (along < end)]
        places = np.array([start, *inner, end])
        yield np.stack([np.interp(places, along, axis) for axis in points.T], axis=-1)


def level(axes: Axes, value: float, words: str, *, above: bool = True) -> Iterator[Item]:
    """Draw a dotted line across at a value, with words at its left end."""
    yield from curve(axes, axes.across, (value, value), dash=(0.6, 1.2), stroke=DARK, thick=0.45)
    off = -1.2 if above else 1.2 * LETTERS
    yield Text(at=(axes.left + 2.0, axes.y(value) + off), text=words, size=LETTERS)


def note(
    axes: Axes, at: tuple[float, float], words: str, *, anchor: str = "start", bold: bool = False
) -> Text:
    """Write words at a point of a chart, their middle at its height."""
    place = (axes.x(at[0]), axes.y(at[1]) + 0.35 * LETTERS)
    return Text(at=place, text=words, size=LETTERS, anchor=anchor, bold=bold)


def dot(axes: Axes, x: float, y: float, radius: float = _DOT) -> Ellipse:
    """Draw what was measured."""
    return Ellipse(
        centre=(axes.x(x), axes.y(y)), radii=(radius, radius), fill=BLACK, stroke=None, part="dot"
    )


def bar(
    axes: Axes,
    across: tuple[float, float],
    up: tuple[float, float],
    *,
    fill: str | None = BLACK,
    stroke: str | None = None,
) -> Item:
    """Draw a filled box between values: what is predicted, or a band."""
    left, right = (axes.x(x) for x in across)
    bottom, top = (axes.y(y) for y in up)
    return rectangle(left, top, right, bottom, fill=fill, stroke=stroke, thick=0.35, part="bar")


def key(
    entries: Sequence[tuple[str, tuple[float, float] | None]], left: float, y: float
) -> list[Item]:
    """Return samples of curves with their words, in a row: (words, dash)."""
    items: list[Item] = []
    for words, dash in entries:
        sample = Axes(left=left, top=y, right=left + 14, bottom=y + 1, across=(0, 1), up=(0, 1))
        items += curve(sample, (0, 1), (0.5, 0.5), dash=dash)
        beside = (left + 16.0, y + 0.5 + 0.35 * LETTERS)
        items.append(Text(at=beside, text=words, size=LETTERS))
        left += 16.0 + text_width(words, LETTERS) + 8.0
    return items
