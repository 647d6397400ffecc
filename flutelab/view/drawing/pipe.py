"""A flute to scale: cut lengthwise, and below it from above with its holes as fingered."""

from __future__ import annotations

from collections.abc import Iterator

from flutelab.model.flute import Flute
from flutelab.units import show_length
from flutelab.view.drawing.outline import (
    Frame,
    at,
    block_start,
    block_top,
    covered,
    cut_lengthwise,
    exaggeration,
    frame_of,
    from_above,
    hole_centre,
    outer,
    plug_length,
    state_words,
    states,
)
from flutelab.view.drawing.primitives import (
    Drawing,
    Ellipse,
    Item,
    Line,
    Text,
    spread,
    text_width,
    wrapped,
)
from flutelab.view.drawing.sketch import Placed, Sketch, placed, sketch_of
from flutelab.view.style import BLACK, GREY

LINE = 22.0  # pixels from one line of text to the next
LETTERS = 16.0  # pixels: shown in a box 7/8 as wide as the drawing, text has 14
NARROWEST = 560.0
_MARGIN, _GAP = 14.0, 8.0
_EQUAL = 1e-9
_OF_HOLES = ("place", "diameter")


def pipe_drawing(
    pipe: Flute | Sketch,
    fingering: str | None = None,
    *,
    width: float = 960.0,
    unit: str = "mm",
    section: bool = True,
) -> Drawing:
    """Draw a flute to scale, as far as it is known.

    Parameters
    ----------
    pipe : Flute or Sketch
        Holes without a place are not drawn; a foot or a head that is not known yet is dashed.
    fingering : str, optional
        As in `rows`: fills, halves or dots the holes. While it is not complete all are empty.
    width : float
        [pixels] of the picture, and about of the box it is shown in: text is 16 of them high.
    unit : {'mm', 'in'}
        Of the lengths in the description.
    section : bool
        Draw it cut lengthwise too, with the names of its parts; else from above alone, low
        enough to stand over a curve.

    Raises
    ------
    ValueError
        A picture narrower than 560 pixels.
    """
    check_width(width)
    sketch = pipe if isinstance(pipe, Sketch) else sketch_of(pipe)
    sizes = placed(sketch)
    frame = frame_of(sizes, sketch, left=_MARGIN, right=width - _MARGIN)
    drawn = [n for n in range(len(sketch.holes)) if f"place {n + 1}" in sizes.known]
    word = states(fingering, len(sketch.holes))
    half = outer(sizes) * frame.across / 2
    labels = 1.4 * LETTERS
    axis = labels + 26.0 + block_top(sizes, frame)
    above = axis + 2 * half + 34.0 if section else half + 4.0
    numbers = above + half + 24.0 + LETTERS
    legend = numbers + 10.0
    below = legend + (LINE if word and section else 0.0)
    scale = caption(scale_words(frame, sizes, sketch), width, below) if section else []
    items = [
        *from_above(sizes, sketch, frame, above, drawn, word),
        *_hole_numbers(sizes, sketch, frame, width, above, numbers, drawn),
    ]
    if section:
        items += cut_lengthwise(sizes, sketch, frame, axis, drawn, word)
        items += [*_part_names(sizes, sketch, frame, width, labels, axis), *scale]
        items += _legend(word, legend + LINE)
    return Drawing(
        width=width,
        height=below + LINE * (len(scale) + 0.4) if section else below,
        items=tuple(items),
        title=f"{sketch.name or 'Pipe'}: the pipe to scale",
        description=describe(sketch, sizes, unit, word),
    )


def caption(words: str, width: float, top: float) -> list[Text]:
    """Write sentences below a picture, as many lines as they need."""
    lines = wrapped(words, width - 2 * _MARGIN, LETTERS)
    return [Text(at=(_MARGIN, top + (n + 1) * LINE), text=line) for n, line in enumerate(lines)]


def check_width(width: float) -> None:
    """Raise a ValueError if a picture is too narrow for its letters."""
    if not width >= NARROWEST:
        msg = f"a drawing {width:g} pixels wide has no room for its letters; "
        msg += f"use {NARROWEST:g} or more"
        raise ValueError(msg)


def scale_words(frame: Frame, pipe: Placed, sketch: Sketch) -> str:
    """Say what is to scale, and that dashes mean what is not known yet."""
    factor = exaggeration(frame)
    scale = "To scale."
    if abs(factor - 1) > _EQUAL:
        scale = f"To scale along the pipe, {factor:.2g} times as large across."
    if not pipe.known:
        scale = "Not to scale."
    return scale if complete(pipe, sketch) else f"{scale} Dashed: not known yet."


def complete(pipe: Placed, sketch: Sketch) -> bool:
    """Return whether every size is known that a drawing shows."""
    wanted = {"foot", *(f"{kind} {n + 1}" for kind in _OF_HOLES for n in range(len(sketch.holes)))}
    if sketch.head == "window":
        wanted |= {"window_along", "window_across", "plug_to_window"}
    return wanted <= pipe.known


def _part_names(
    pipe: Placed, sketch: Sketch, frame: Frame, width: float, baseline: float, axis: float
) -> Iterator[Item]:
    half, inside = outer(pipe) * frame.across / 2, pipe.bore * frame.across / 2
    face = -(pipe.along + pipe.plug)
    parts = {"foot": (pipe.foot, axis - half)}
    if sketch.head != "window":
        parts |= {"head": (0.0, axis - half)}
    if sketch.head == "window":
        block = block_start(pipe) + 0.2 * outer(pipe)
        parts |= {
            "block": (block, axis - block_top(pipe, frame) + 4.0),
            "plug": (face - plug_length(pipe) / 2, axis - inside / 2),
            "window": (-pipe.along / 2, axis - half),
            "sounding edge": (0.0, axis - half),
        }
    names = sorted(parts, key=lambda name: parts[name][0])
    targets = [(at(frame, place), y) for place, y in map(parts.get, names)]
    yield from pointed(names, targets, width, baseline, below=True)


def pointed(
    words: list[str],
    targets: list[tuple[float, float]],
    width: float,
    baseline: float,
    *,
    below: bool,
    bold: bool = False,
    size: float = LETTERS,
    part: str = "",
) -> Iterator[Item]:
    """Write words in a row, spread so that none overlap, each with a line to its target."""
    widths = [text_width(word, size, bold=bold) for word in words]
    wanted = [x for x, _ in targets]
    centres = spread(wanted, widths, low=_GAP, high=width - _GAP, gap=_GAP)
    near = baseline + (0.35 * size if below else -0.95 * size)
    for word, centre, target in zip(words, centres, targets, strict=True):
        yield Line(start=(centre, near), end=target, stroke=GREY, thick=1.0)
        yield Ellipse(centre=target, radii=(2.0, 2.0), fill=GREY, stroke=None)
        look = {"size": size, "anchor": "middle", "bold": bold, "part": part}
        yield Text(at=(centre, baseline), text=word, **look)


def _hole_numbers(
    pipe: Placed,
    sketch: Sketch,
    frame: Frame,
    width: float,
    middle: float,
    baseline: float,
    drawn: list[int],
) -> Iterator[Item]:
    rim = middle + outer(pipe) * frame.across / 2
    targets = [(hole_centre(pipe, sketch, frame, middle, n)[0], rim) for n in drawn]
    words = [f"{n + 1}" for n in drawn]
    yield from pointed(words, targets, width, baseline, below=False, bold=True, part="number")


def _legend(word: str, baseline: float) -> Iterator[Item]:
    x = _MARGIN
    for letter in sorted(set(word), key="xohn".index):
        meaning = state_words(letter)[0]
        radius = 0.45 * LETTERS
        yield from covered((x + radius, baseline - 0.35 * LETTERS), (radius, radius), letter)
        yield Text(at=(x + 2.8 * radius, baseline), text=meaning, colour=BLACK)
        x += 2.8 * radius + text_width(meaning, LETTERS) + 18.0


def describe(sketch: Sketch, pipe: Placed, unit: str, word: str = "") -> str:
    """Say in words what a drawing of a pipe shows."""
    sizes = {
        "bore": ("bore", pipe.bore),
        "wall": ("wall", pipe.wall),
        "window_along": ("window along the pipe", pipe.along),
        "window_across": ("window across", pipe.across),
        "plug_to_window": ("plug to window", pipe.plug),
        "foot": ("foot from the edge" if sketch.head == "window" else "length", pipe.foot),
    }
    known = [
        f"{name} {show_length(x, unit)}" for key, (name, x) in sizes.items() if key in pipe.known
    ]
    end = "foot" if sketch.from_foot else "sounding edge" if sketch.head == "window" else "head"
    sentences = ["Known so far: " + ", ".join(known) if known else "No size is known yet"]
    sentences += [_hole_words(sketch, n, end, unit, word) for n in range(len(sketch.holes))]
    return ". ".join([*sentences, ""]).strip()


def _hole_words(sketch: Sketch, number: int, end: str, unit: str, word: str) -> str:
    hole = sketch.holes[number]
    known = placed(sketch).known
    words = [f"Hole {number + 1}"]
    if f"place {number + 1}" in known:
        words.append(f"{show_length(hole.place, unit)} from the {end}")
    if f"diameter {number + 1}" in known:
        words.append(f"{show_length(hole.diameter, unit)} wide")
    words += state_words(word[number : number + 1])
    return f"{words[0]}: {', '.join(words[1:]) or 'not known yet'}"
