"""What drawings and papers are made of: frozen shapes and texts, y downwards.

Lengths are pixels in a drawing and millimetres on a page: a list of primitives does not
know which, and every renderer draws the same list.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.ft2font import FT2Font

from flutelab.view.style import BLACK

Point = tuple[float, float]
_FONT_UNIT = 1 / 65536  # of FreeType's unhinted advances: 16.16 fixed point
_READ_AT = 64.0  # the size at which advances are read
_LINE = 1.25  # height of a line of text, in sizes
_BASELINE = 0.95  # of it above the baseline


@dataclass(frozen=True, kw_only=True)
class Line:
    """A straight line."""

    start: Point
    end: Point
    stroke: str = BLACK
    thick: float = 1.5
    dash: tuple[float, ...] = ()
    part: str = ""


@dataclass(frozen=True, kw_only=True)
class Polygon:
    """A closed polygon; `fill` or `stroke` None = none."""

    points: tuple[Point, ...]
    fill: str | None = None
    stroke: str | None = BLACK
    thick: float = 1.5
    dash: tuple[float, ...] = ()
    part: str = ""


@dataclass(frozen=True, kw_only=True)
class Ellipse:
    """An ellipse along the axes; `radii` are (horizontal, vertical)."""

    centre: Point
    radii: Point
    fill: str | None = None
    stroke: str | None = BLACK
    thick: float = 1.5
    dash: tuple[float, ...] = ()
    part: str = ""


@dataclass(frozen=True, kw_only=True)
class Text:
    """One line of text; `at` is its baseline's start, middle or end."""

    at: Point
    text: str
    size: float = 16.0
    anchor: str = "start"
    bold: bool = False
    colour: str = BLACK
    part: str = ""


Item = Line | Polygon | Ellipse | Text


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """A picture of `width` by `height`, with a title and a description in words."""

    width: float
    height: float
    items: tuple[Item, ...]
    title: str
    description: str


def font_file(bold: bool = False) -> Path:
    """Return the file of DejaVu Sans that every installation of matplotlib holds."""
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name


@lru_cache(maxsize=2)
def _font(bold: bool) -> FT2Font:
    font = FT2Font(str(font_file(bold)))
    font.set_size(_READ_AT, 72)
    return font


@lru_cache(maxsize=4096)
def _advance(letter: str, bold: bool) -> float:
    return _font(bold).load_char(ord(letter)).linearHoriAdvance * _FONT_UNIT / _READ_AT


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return how wide a text is in DejaVu Sans, in the unit of `size`, without kerning.

    Examples
    --------
    >>> round(text_width("126.5", 16), 1)
    45.8
    """
    return size * sum(_advance(letter, bold) for letter in text)


def wrapped(text: str, width: float, size: float, *, bold: bool = False) -> list[str]:
    """Return the lines of a text in a width; a word that is wider stands alone.

    Examples
    --------
    >>> wrapped("Holes in order, from the window", 100, 16)
    ['Holes in', 'order, from', 'the window']
    """
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold=bold) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def text_box(text: Text) -> tuple[float, float, float, float]:
    """Return (left, top, right, bottom) of a text's line."""
    width = text_width(text.text, text.size, bold=text.bold)
    left = text.at[0] - width * {"start": 0.0, "middle": 0.5, "end": 1.0}[text.anchor]
    top = text.at[1] - _BASELINE * text.size
    return left, top, left + width, top + _LINE * text.size


def rectangle(left: float, top: float, right: float, bottom: float, **look: object) -> Polygon:
    """Return a rectangle as a polygon."""
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    return Polygon(points=corners, **look)


def moved(items: Iterable[Item], *, left: float, top: float, scale: float) -> tuple[Item, ...]:
    """Return items scaled about (0, 0), then shifted: a drawing set on a page."""

    def place(point: Point) -> Point:
        return left + scale * point[0], top + scale * point[1]

    def one(item: Item) -> Item:
        if isinstance(item, Text):
            return replace(item, at=place(item.at), size=scale * item.size)
        look = {"thick": scale * item.thick, "dash": tuple(scale * d for d in item.dash)}
        if isinstance(item, Line):
            return replace(item, start=place(item.start), end=place(item.end), **look)
        if isinstance(item, Polygon):
            return replace(item, points=tuple(map(place, item.points)), **look)
        radii = (scale * item.radii[0], scale * item.radii[1])
        return replace(item, centre=place(item.centre), radii=radii, **look)

    return tuple(map(one, items))


def spread(
    wanted: Sequence[float], widths: Sequence[float], *, low: float, high: float, gap: float
) -> list[float]:
    """Return centres near the wanted ones, in the same order, so that nothing overlaps.

    Parameters
    ----------
    wanted : (N,)
        Wanted centres, in any order.
    widths : (N,)
    low, high : float
        Everything lies between them, if all of it fits there.
    gap : float
        Least space between neighbours; less where they would not fit otherwise.

    Returns
    -------
    list of float
        (N,) Of all such rows the one with the least sum of squared shifts, but for `low`
        and `high`: neighbours that press against each other are shifted together.

    Examples
    --------
    >>> spread([10, 11, 50], [8, 8, 8], low=0, high=100, gap=2)
    [5.5, 15.5, 50.0]
    """
    if not len(wanted):
        return []
    order = np.argsort(wanted, kind="stable")
    sizes = np.asarray(widths, dtype=float)[order]
    slack = high - low - sizes.sum()
    gap = max(0.0, min(gap, slack / max(len(sizes) - 1, 1)))
    offsets = np.concatenate([[0.0], np.cumsum(sizes[:-1] + gap)]) + sizes / 2
    starts = _rising(np.asarray(wanted, dtype=float)[order] - offsets)
    last = high - low - (offsets[-1] + sizes[-1] / 2)
    centres = np.clip(starts, low, low + max(last, 0.0)) + offsets
    found = np.empty(len(sizes))
    found[order] = centres
    return [float(centre) for centre in found]


def _rising(values: np.ndarray) -> np.ndarray:
    """Return the rising sequence nearest to `values`: neighbours out of order are averaged."""
    blocks: list[tuple[float, int]] = []
    for value in values:
        mean, count = float(value), 1
        while blocks and blocks[-1][0] > mean:
            before, many = blocks.pop()
            mean, count = (mean * count + before * many) / (count + many), count + many
        blocks.append((mean, count))
    return np.concatenate([np.full(count, mean) for mean, count in blocks])
