"""The pipe with a letter at every length that the flute file needs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from flutelab.model.flute import Flute
from flutelab.view.drawing.details import HEIGHT, across_the_pipe, head_detail, window_detail
from flutelab.view.drawing.dimension import (
    Label,
    dimension,
    letter_width,
    stacked,
    value_width,
)
from flutelab.view.drawing.outline import Frame, at, frame_of, from_above, hole_centre, outer
from flutelab.view.drawing.pipe import (
    LETTERS,
    LINE,
    caption,
    check_width,
    describe,
    scale_words,
)
from flutelab.view.drawing.primitives import Drawing, Item, Line, spread
from flutelab.view.drawing.sketch import Placed, Sketch, placed, short_length, sketch_of
from flutelab.view.style import GREY

_MARGIN, _GAP = 16.0, 8.0
_UNITS = {"mm": "millimetres", "in": "inches"}
_LANE = 26.0  # height of a dimension line's lane


@dataclass(frozen=True, kw_only=True)
class Measure:
    """A length to measure: its letter, its name in `Placed.known`, and how to ask for it."""

    letter: str
    key: str
    words: str


def measures(holes: int, *, head: str = "window", from_foot: bool = False) -> tuple[Measure, ...]:
    """Return every length that the flute file needs, in the order of the file.

    Parameters
    ----------
    holes : int
    head : {'window', 'open', 'flanged', 'stopped', 'node'}
        A plain head has no window.
    from_foot : bool
        Whether the places of holes are measured from the foot.

    Examples
    --------
    >>> [measure.letter for measure in measures(1)]
    ['A', 'B', 'C', 'E', 'F', 'G', 'H1', 'D1']
    """
    # D is kept for the diameters of holes, H for their places
    listed = [
        Measure(letter="A", key="bore", words="bore: inside diameter"),
        Measure(letter="B", key="wall", words="wall"),
    ]
    edge = "sounding edge"
    if head == "window":
        listed += [
            Measure(letter="C", key="window_along", words="window along the pipe"),
            Measure(letter="E", key="window_across", words="window across the pipe"),
            Measure(letter="F", key="plug_to_window", words="plug to window"),
        ]
    else:
        edge = "head's end"
    listed.append(Measure(letter="G", key="foot", words=f"{edge} to foot"))
    end = "foot" if from_foot else edge
    for n in range(1, holes + 1):
        centre = f"hole {n}: {end} to centre"
        listed.append(Measure(letter=f"H{n}", key=f"place {n}", words=centre))
        listed.append(Measure(letter=f"D{n}", key=f"diameter {n}", words=f"hole {n}: diameter"))
    return tuple(listed)


def measuring_drawing(
    pipe: Flute | Sketch,
    *,
    from_foot: bool | None = None,
    width: float = 960.0,
    unit: str = "mm",
) -> Drawing:
    """Draw a pipe with a lettered dimension line for each length, and what is known beside it.

    Parameters
    ----------
    pipe : Flute or Sketch
        What is not known is drawn dashed at a usual size; its letter stands there without a
        number.
    from_foot : bool, optional
        Where the places of a `Flute`'s holes count from; a `Sketch` says it itself.
    width : float
        As in `pipe_drawing`.
    unit : {'mm', 'in'}
        Of the numbers in the picture.

    Raises
    ------
    ValueError
        A picture narrower than 560 pixels.
    """
    check_width(width)
    sketch = pipe if isinstance(pipe, Sketch) else sketch_of(pipe, from_foot=bool(from_foot))
    sizes = placed(sketch)
    frame = frame_of(sizes, sketch, left=_MARGIN, right=width - _MARGIN)
    labels = {m.key: _label(m, sketch, sizes, unit) for m in _measures_of(sketch)}
    half = outer(sizes) * frame.across / 2
    letters = HEIGHT + 2 * LETTERS
    middle = letters + 1.3 * LETTERS + 34.0 + half
    lanes = middle + half + 24.0
    foot = lanes + _LANE * len(sketch.holes)
    end = foot + 1.2 * _LANE
    words = f"All in {_UNITS[unit]}. {scale_words(frame, sizes, sketch)}"
    below = caption(words, width, end)
    numbers = list(range(len(sketch.holes)))
    items = [
        *_details(sizes, sketch, labels, width),
        *from_above(sizes, sketch, frame, middle, numbers, ""),
        *_diameters(sizes, sketch, frame, labels, width, letters, middle),
        *_places(sizes, sketch, frame, labels, width, middle, lanes),
        *_foot(sizes, frame, labels["foot"], width, middle, foot),
        *below,
    ]
    return Drawing(
        width=width,
        height=end + LINE * (len(below) + 0.4),
        items=tuple(items),
        title=f"{sketch.name or 'Pipe'}: where each length is measured",
        description=_description(sketch, sizes, unit),
    )


def _measures_of(sketch: Sketch) -> tuple[Measure, ...]:
    return measures(len(sketch.holes), head=sketch.head, from_foot=sketch.from_foot)


def _label(measure: Measure, sketch: Sketch, pipe: Placed, unit: str) -> Label:
    if measure.key not in pipe.known:
        return Label(letter=measure.letter, value="")
    kind, _, number = measure.key.partition(" ")
    holder = sketch.holes[int(number) - 1] if number else sketch
    return Label(letter=measure.letter, value=short_length(getattr(holder, kind), unit))


def _details(
    pipe: Placed, sketch: Sketch, labels: dict[str, Label], width: float
) -> Iterator[Item]:
    if sketch.head != "window":
        yield from across_the_pipe(pipe, labels, left=_MARGIN, right=0.28 * width)
        return
    yield from head_detail(pipe, labels, left=_MARGIN, right=0.44 * width)
    yield from window_detail(pipe, labels, left=0.47 * width, right=0.70 * width)
    yield from across_the_pipe(pipe, labels, left=0.72 * width, right=width - _MARGIN)


def _diameters(
    pipe: Placed,
    sketch: Sketch,
    frame: Frame,
    labels: dict[str, Label],
    width: float,
    baseline: float,
    middle: float,
) -> Iterator[Item]:
    """Write each diameter above its hole, the number under the letter, spread along a row."""
    found = [labels[f"diameter {n + 1}"] for n in range(len(sketch.holes))]
    centres = [hole_centre(pipe, sketch, frame, middle, n) for n in range(len(sketch.holes))]
    widths = [max(letter_width(label), value_width(label)) for label in found]
    wanted = [x for x, _ in centres]
    row = spread(wanted, widths, low=_GAP, high=width - _GAP, gap=_GAP)
    under = baseline + 1.3 * LETTERS
    for label, x, target in zip(found, row, centres, strict=True):
        # the line ends in the hole and begins under the last word
        start = (x, (under if label.value else baseline) + 5.0)
        yield Line(start=start, end=target, stroke=GREY, thick=1.0)
        yield from stacked(label, x, baseline, under)


def _places(
    pipe: Placed,
    sketch: Sketch,
    frame: Frame,
    labels: dict[str, Label],
    width: float,
    middle: float,
    top: float,
) -> Iterator[Item]:
    """Draw one lane a hole, the shortest nearest the pipe: no line crosses another's label."""
    datum = pipe.foot if sketch.from_foot else 0.0
    rim = middle + outer(pipe) * frame.across / 2
    order = sorted(range(len(sketch.holes)), key=lambda n: abs(pipe.places[n] - datum))
    lines, dimensions = [], []
    for lane, number in enumerate(order):
        x = at(frame, pipe.places[number])
        y = top + _LANE * (lane + 0.5)
        start = hole_centre(pipe, sketch, frame, middle, number)
        lines.append(Line(start=start, end=(x, y + 5.0), stroke=GREY, thick=1.0))
        label = labels[f"place {number + 1}"]
        dimensions += dimension((at(frame, datum), y), (x, y), label, low=_GAP, high=width - _GAP)
    end = top + _LANE * (len(order) + 1)
    yield from lines
    for place in {0.0, pipe.foot}:
        yield Line(
            start=(at(frame, place), rim), end=(at(frame, place), end), stroke=GREY, thick=1.0
        )
    yield from dimensions


def _foot(
    pipe: Placed, frame: Frame, label: Label, width: float, middle: float, top: float
) -> Iterator[Item]:
    y = top + _LANE / 2
    ends = ((at(frame, 0.0), y), (at(frame, pipe.foot), y))
    yield from dimension(*ends, label, low=_GAP, high=width - _GAP)


def _description(sketch: Sketch, pipe: Placed, unit: str) -> str:
    letters = "; ".join(f"{m.letter} {m.words}" for m in _measures_of(sketch))
    return f"Letters: {letters}. {describe(sketch, pipe, unit)}"
