"""The small parts of a pipe, drawn larger, with their lettered dimension lines."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from flutelab.view.drawing.dimension import (
    SIZE,
    Label,
    dimension,
    dimension_line,
    label_at,
    label_width,
)
from flutelab.view.drawing.outline import (
    BLOCK,
    HIDDEN,
    INSIDE,
    MATERIAL,
    Frame,
    at,
    block_top,
    broken,
    cut_lengthwise,
    head_length,
    outer,
)
from flutelab.view.drawing.primitives import Ellipse, Item, Line, Point, Text, rectangle
from flutelab.view.drawing.sketch import Placed, Sketch
from flutelab.view.style import DARK, GREY

HEIGHT = 246.0  # of the row of details [pixels]
_ABOVE, _BELOW = 46.0, 222.0  # where level dimension lines run
_TALLEST = 138.0  # pixels of the head with its block
_ACROSS = 104.0  # pixels of a pipe's outer diameter
_BEYOND = 0.8  # outer diameters of pipe drawn beyond the sounding edge
_GAP = 4.0


def head_detail(
    pipe: Placed, labels: dict[str, Label], *, left: float, right: float
) -> Iterator[Item]:
    """Draw the head cut lengthwise: the window along the pipe, and from the plug to it."""
    bare = Sketch(plug_to_window=pipe.plug)
    part = replace(pipe, foot=_BEYOND * outer(pipe), places=(), diameters=())
    start, end = -head_length(part, bare), part.foot
    scale = (right - left) / (end - start)
    tall = min(scale, _TALLEST / (1.3 * outer(pipe)))
    frame = Frame(left=left, origin=start, scale=scale, across=tall)
    axis = _ABOVE + 18.0 + block_top(pipe, frame)
    half, inside = outer(pipe) * tall / 2, pipe.bore * tall / 2
    yield Text(at=(left, SIZE + 4.0), text="Cut lengthwise", size=SIZE)
    yield from cut_lengthwise(part, bare, frame, axis, [])
    yield from broken(right, axis - half, axis + half)
    edge, windway, face = (at(frame, x) for x in (0.0, -pipe.along, -pipe.along - pipe.plug))
    below = min(axis + half + 24.0, _BELOW)
    yield _extension((edge, axis - half), (edge, _ABOVE - 6.0))
    yield _extension((windway, axis - half), (windway, _ABOVE - 6.0))
    yield _extension((windway, axis - half), (windway, below + 6.0))
    yield _extension((face, axis + inside), (face, below + 6.0))
    room = {"low": left, "high": right}
    yield from dimension((windway, _ABOVE), (edge, _ABOVE), labels["window_along"], **room)
    yield from dimension((face, below), (windway, below), labels["plug_to_window"], **room)


def _extension(start: Point, end: Point) -> Line:
    return Line(start=start, end=end, stroke=GREY, thick=1.0)


def window_detail(
    pipe: Placed, labels: dict[str, Label], *, left: float, right: float
) -> Iterator[Item]:
    """Draw the window from above, with its width across the pipe."""
    label = labels["window_across"]
    axis = HEIGHT / 2 + 8.0
    half = _ACROSS / 2
    wide = min(pipe.across / outer(pipe), 1.0) * half
    edge = right - label_width(label) - 34.0
    windway = max(edge - pipe.along / outer(pipe) * _ACROSS, left + 20.0)
    yield Text(at=(left, SIZE + 4.0), text="From above", size=SIZE)
    yield rectangle(left, axis - half, right, axis + half, fill=BLOCK, stroke=None)
    for y in (axis - half, axis + half):
        yield Line(start=(left, y), end=(right, y), stroke=DARK)
    yield from broken(left, axis - half, axis + half)
    yield from broken(right, axis - half, axis + half)
    top, bottom = axis - 0.8 * half, axis + 0.8 * half
    yield rectangle(left + 5.0, top, windway, bottom, fill=MATERIAL, thick=1.2)
    dash = () if {"window_along", "window_across"} <= pipe.known else HIDDEN
    look = {"fill": INSIDE, "thick": 2.0, "dash": dash}
    yield rectangle(windway, axis - wide, edge, axis + wide, **look)
    x = edge + 12.0
    for y in (axis - wide, axis + wide):
        yield _extension((edge, y), (x + 5.0, y))
    yield from dimension_line((x, axis - wide), (x, axis + wide))
    yield from label_at(label, x + 8.0, axis)


def across_the_pipe(
    pipe: Placed, labels: dict[str, Label], *, left: float, right: float
) -> Iterator[Item]:
    """Draw the pipe cut across: bore and wall."""
    radius = _ACROSS / 2
    inside = radius * pipe.bore / (pipe.bore + 2 * pipe.wall)
    x, y = (left + right) / 2, HEIGHT / 2 + 14.0
    yield Text(at=(left, SIZE + 4.0), text="Cut across", size=SIZE)
    for size, fill, key in ((radius, MATERIAL, "wall"), (inside, INSIDE, "bore")):
        dash = () if key in pipe.known else HIDDEN
        yield Ellipse(centre=(x, y), radii=(size, size), fill=fill, stroke=DARK, dash=dash)
    level = y + radius + 16.0
    for side in (-inside, inside):
        yield _extension((x + side, y), (x + side, level + 6.0))
    yield from dimension_line((x - inside, level), (x + inside, level))
    yield from _centred(labels["bore"], x, level + 0.9 * SIZE)
    yield from dimension_line((x, y - radius), (x, y - inside))
    yield from label_at(labels["wall"], x + 9.0, y - radius - 14.0)


def _centred(label: Label, x: float, middle: float) -> Iterator[Item]:
    yield from label_at(label, x - label_width(label) / 2, middle + _GAP)
