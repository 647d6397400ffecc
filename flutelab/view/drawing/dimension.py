"""Dimension lines: arrowheads, a letter, and the number beside it once it is known."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from flutelab.view.drawing.primitives import (
    Item,
    Line,
    Point,
    Polygon,
    Text,
    rectangle,
    text_box,
    text_width,
)
from flutelab.view.style import BLUE

SIZE = 16.0  # of letters and numbers [pixels]
_HEAD, _HALF = 9.0, 3.5  # of an arrowhead
_OUTSIDE = 22.0  # length of a line whose arrow points inwards from outside
_SPACE = 7.0


@dataclass(frozen=True, kw_only=True)
class Label:
    """A letter, bold, and the value beside it; an empty value = not known yet."""

    letter: str
    value: str


def letter_width(label: Label) -> float:
    """Return how wide the letter is [pixels]."""
    return text_width(label.letter, SIZE, bold=True)


def value_width(label: Label) -> float:
    """Return how wide the value is [pixels]; 0 without one."""
    return text_width(label.value, SIZE)


def label_width(label: Label) -> float:
    """Return how wide letter and value are side by side [pixels]."""
    return letter_width(label) + (_SPACE + value_width(label) if label.value else 0.0)


def label_at(label: Label, left: float, middle: float) -> Iterator[Item]:
    """Write a label side by side about a height, on white so that lines pass behind it."""
    baseline = middle + 0.36 * SIZE
    letter = Text(at=(left, baseline), text=label.letter, size=SIZE, bold=True, part="letter")
    texts = [letter]
    if label.value:
        value = (left + letter_width(label) + _SPACE, baseline)
        texts.append(Text(at=value, text=label.value, size=SIZE, part="value"))
    boxes = [text_box(text) for text in texts]
    span = (boxes[0][0] - 4.0, boxes[0][1], boxes[-1][2] + 4.0, boxes[0][3])
    yield rectangle(*span, fill="#FFFFFF", stroke=None)
    yield from texts


def stacked(label: Label, x: float, baseline: float, under: float) -> Iterator[Item]:
    """Write a label's letter above its value, both centred at `x`."""
    look = {"size": SIZE, "anchor": "middle"}
    yield Text(at=(x, baseline), text=label.letter, bold=True, part="letter", **look)
    if label.value:
        yield Text(at=(x, under), text=label.value, part="value", **look)


def arrow(tip: Point, towards: Point) -> Polygon:
    """Return an arrowhead at `tip` that points in the direction of a vector."""
    length = math.hypot(*towards)
    ux, uy = towards[0] / length, towards[1] / length
    back = (tip[0] - _HEAD * ux, tip[1] - _HEAD * uy)
    wings = (
        (back[0] - _HALF * uy, back[1] + _HALF * ux),
        (back[0] + _HALF * uy, back[1] - _HALF * ux),
    )
    return Polygon(points=(tip, *wings), fill=BLUE, stroke=None)


def dimension_line(start: Point, end: Point) -> Iterator[Item]:
    """Draw a line with an arrowhead at both ends; from outside where there is no room inside."""
    length = math.hypot(end[0] - start[0], end[1] - start[1])
    ux, uy = ((end[0] - start[0]) / length, (end[1] - start[1]) / length) if length else (1.0, 0.0)
    if length >= 2.5 * _HEAD:
        yield Line(start=start, end=end, stroke=BLUE, thick=1.3)
        yield arrow(start, (-ux, -uy))
        yield arrow(end, (ux, uy))
        return
    for tip, side in ((start, -1.0), (end, 1.0)):
        far = (tip[0] + side * _OUTSIDE * ux, tip[1] + side * _OUTSIDE * uy)
        yield Line(start=tip, end=far, stroke=BLUE, thick=1.3)
        yield arrow(tip, (-side * ux, -side * uy))


def dimension(start: Point, end: Point, label: Label, *, low: float, high: float) -> Iterator[Item]:
    """Draw a level dimension line with its label in it, or beside it where it is short.

    `low` and `high` are the pixels between which the label must stay.
    """
    yield from dimension_line(start, end)
    left, right = sorted((start[0], end[0]))
    wide = label_width(label)
    if right - left >= wide + 4 * _HEAD:
        x = (left + right - wide) / 2
    else:
        outside = _OUTSIDE if right - left < 2.5 * _HEAD else 0.0
        x = right + outside + _SPACE
        if x + wide > high:
            x = left - outside - _SPACE - wide
    yield from label_at(label, min(max(x, low), max(high - wide, low)), start[1])
