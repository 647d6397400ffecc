"""A pipe to scale, cut lengthwise and from above: what every drawing of it shares."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from flutelab.model.flute import across_pipe, along_pipe
from flutelab.model.rows import fingering_word
from flutelab.view.drawing.primitives import Ellipse, Item, Line, Point, Polygon, rectangle
from flutelab.view.drawing.sketch import Placed, Sketch
from flutelab.view.style import BLACK, DARK, GREY

MATERIAL, PLUG, BLOCK, INSIDE = "#C9C9C9", "#9A9A9A", "#E4E4E4", "#FFFFFF"
DOTS, HIDDEN = (1.5, 4.0), (7.0, 4.0)
_FACTORS = (1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 10.0)  # by which sizes across may be drawn larger
_HEIGHTS = (42.0, 130.0)  # pixels that a pipe may be high
# What is drawn of a head where nothing is asked, in outer diameters: lengths are not to scale.
_CHAMBER, _BLOCK_OVER_PLUG = 1.2, 0.5
_BLOCK_HEIGHT, _WINDWAY = 0.3, 0.07
_FINGER, _OVER = 6.0, 4.0  # pixels: of what closes a hole, its height and its overlap
_WORDS = {"x": "closed", "o": "open", "h": "half covered", "n": "not drilled"}


@dataclass(frozen=True, kw_only=True)
class Frame:
    """Where a pipe lies in a picture: `scale` [pixels/m] along it, `across` across it."""

    left: float
    origin: float
    scale: float
    across: float

    def __post_init__(self) -> None:
        if not 0 < self.scale < math.inf:
            msg = f"frame: a scale of {self.scale} cannot be drawn; give the picture more width"
            raise ValueError(msg)


def at(frame: Frame, place: float) -> float:
    """Return the horizontal pixel of a place from the edge [m]."""
    return frame.left + (place - frame.origin) * frame.scale


def frame_of(pipe: Placed, sketch: Sketch, *, left: float, right: float) -> Frame:
    """Return the frame in which everything known of a pipe lies between two pixels."""
    sizes = zip(pipe.places, pipe.diameters, sketch.holes, strict=True)
    reach = [(p, along_pipe(d, hole.aspect) / 2) for p, d, hole in sizes]
    start = min([-head_length(pipe, sketch), *(place - half for place, half in reach)])
    end = max([pipe.foot, *(place + half for place, half in reach)])
    scale = (right - left) / (end - start)
    return Frame(left=left, origin=start, scale=scale, across=scale * _factor(pipe, scale))


def _factor(pipe: Placed, scale: float) -> float:
    height = outer(pipe) * scale
    low, high = _HEIGHTS
    if height > high:
        return high / height
    return next((factor for factor in _FACTORS if height * factor >= low), low / height)


def exaggeration(frame: Frame) -> float:
    """Return by how much sizes across are drawn larger than along."""
    return frame.across / frame.scale


def outer(pipe: Placed) -> float:
    """Return the pipe's outer diameter [m], at its widest where the bore tapers."""
    return max(diameter for _, diameter in pipe.stations) + 2 * pipe.wall


def plug_length(pipe: Placed) -> float:
    """Return how much of the plug is drawn [m]."""
    return pipe.bore


def head_length(pipe: Placed, sketch: Sketch) -> float:
    """Return how much of the pipe is drawn before the sounding edge [m]."""
    if sketch.head != "window":
        return 0.0
    return pipe.along + pipe.plug + plug_length(pipe) + _CHAMBER * outer(pipe)


def states(fingering: str | None, holes: int) -> str:
    """Return a letter a hole, or an empty text where the fingering is not complete yet."""
    try:
        return "" if fingering is None else fingering_word(fingering, holes)
    except ValueError:
        return ""


def state_words(word: str) -> tuple[str, ...]:
    """Say what each letter of a fingering means."""
    return tuple(_WORDS[letter] for letter in word)


def covered(
    centre: Point, radii: Point, state: str, *, part: str = "", dash: tuple[float, ...] = ()
) -> tuple[Item, ...]:
    """Return a hole: empty = open, filled = closed, half filled, dotted = not drilled."""
    if state == "n":
        return (Ellipse(centre=centre, radii=radii, stroke=BLACK, dash=DOTS, part=part),)
    fill = BLACK if state == "x" else INSIDE
    ring = Ellipse(centre=centre, radii=radii, fill=fill, thick=2.0, dash=dash, part=part)
    if state == "x" and dash:  # a dashed rim must show beside what is filled
        rim = (radii[0] + 3.0, radii[1] + 3.0)
        return (replace(ring, dash=()), replace(ring, radii=rim, fill=None, dash=dash, part=""))
    if state != "h":
        return (ring,)
    turns = np.linspace(np.pi / 2, 3 * np.pi / 2, 25)
    half = tuple(
        (centre[0] + radii[0] * math.cos(turn), centre[1] - radii[1] * math.sin(turn))
        for turn in turns
    )
    return (ring, Polygon(points=half, fill=BLACK, stroke=None))


def from_above(
    pipe: Placed, sketch: Sketch, frame: Frame, middle: float, numbers: list[int], word: str
) -> Iterator[Item]:
    """Draw the pipe from above, holes of these numbers (from 0) on it, its axis at `middle`."""
    half = outer(pipe) * frame.across / 2
    start, end = at(frame, -head_length(pipe, sketch)), at(frame, pipe.foot)
    foot_dash = () if "foot" in pipe.known else HIDDEN
    yield rectangle(start, middle - half, end, middle + half, fill=BLOCK, stroke=None)
    for edge in (middle - half, middle + half):
        yield Line(start=(start, edge), end=(end, edge), stroke=DARK)
    foot = {"start": (end, middle - half), "end": (end, middle + half)}
    yield Line(**foot, stroke=DARK, dash=foot_dash, part="foot")
    yield from _end(sketch.foot_kind, end, middle, half, 1.0)
    if sketch.head == "window":
        yield from broken(start, middle - half, middle + half)
        yield from _head_from_above(pipe, frame, middle)
    else:
        yield Line(start=(start, middle - half), end=(start, middle + half), stroke=DARK)
        yield from _end(sketch.head, start, middle, half, -1.0)
    for number in numbers:
        yield from _hole_from_above(pipe, sketch, frame, middle, number, word)


def _head_from_above(pipe: Placed, frame: Frame, middle: float) -> Iterator[Item]:
    edge, windway = at(frame, 0.0), at(frame, -pipe.along)
    half = min(pipe.across, outer(pipe)) * frame.across / 2
    back = block_start(pipe)
    wide = 0.4 * outer(pipe) * frame.across
    yield rectangle(at(frame, back), middle - wide, windway, middle + wide, fill=MATERIAL)
    dash = () if {"window_along", "window_across"} <= pipe.known else HIDDEN
    look = {"fill": INSIDE, "thick": 2.0, "dash": dash, "part": "window"}
    yield rectangle(windway, middle - half, edge, middle + half, **look)


def block_start(pipe: Placed) -> float:
    """Return where the block begins, at the slow-air chamber's end [m]."""
    return -(pipe.along + pipe.plug + plug_length(pipe) + _BLOCK_OVER_PLUG * outer(pipe))


def _hole_from_above(
    pipe: Placed, sketch: Sketch, frame: Frame, middle: float, number: int, word: str
) -> Iterator[Item]:
    hole, size = sketch.holes[number], pipe.diameters[number]
    centre = hole_centre(pipe, sketch, frame, middle, number)
    most = outer(pipe) * frame.across / 2 + 8.0  # what is drawn of a slip of the pen
    wide = min(float(across_pipe(size, hole.aspect)) * frame.across / 2, most)
    radii = (float(along_pipe(size, hole.aspect)) * frame.scale / 2, wide)
    known = {f"place {number + 1}", f"diameter {number + 1}"} <= pipe.known
    dash = () if known and math.cos(hole.angle) >= 0 else HIDDEN
    yield from covered(
        centre, radii, word[number : number + 1], part=f"hole {number + 1}", dash=dash
    )


def hole_centre(pipe: Placed, sketch: Sketch, frame: Frame, middle: float, number: int) -> Point:
    """Return the pixel of a hole's centre, seen from above."""
    aside = math.sin(sketch.holes[number].angle) * outer(pipe) * frame.across / 2
    return at(frame, pipe.places[number]), middle + aside


def broken(x: float, top: float, bottom: float) -> tuple[Item, ...]:
    """Return the line that says that a pipe goes on."""
    heights = np.linspace(top, bottom, 7)
    points = [(x + 4.0 * (-1) ** n, float(y)) for n, y in enumerate(heights)]
    return tuple(Line(start=a, end=b, stroke=DARK) for a, b in pairwise(points))


def _end(kind: str, x: float, middle: float, half: float, side: float) -> Iterator[Item]:
    if kind == "stopped":
        yield rectangle(x, middle - half, x - 8.0 * side, middle + half, fill=DARK)
    elif kind == "flanged":
        yield Line(start=(x, middle - 1.6 * half), end=(x, middle + 1.6 * half), thick=4.0)
    elif kind == "node":
        yield Line(start=(x, middle - half), end=(x, middle + half), dash=DOTS, stroke=GREY)


def cut_lengthwise(
    pipe: Placed, sketch: Sketch, frame: Frame, middle: float, numbers: list[int], word: str = ""
) -> Iterator[Item]:
    """Draw the pipe cut along its axis at `middle`: walls, plug, block, window and holes.

    Holes that `word` closes have a finger over them; those it says are not drilled are wall.
    """
    start, end = -head_length(pipe, sketch), pipe.foot
    half = outer(pipe) * frame.across / 2
    cut = {
        number: (pipe.places[number], _long(pipe, sketch, number))
        for number in numbers
        if abs(math.sin(sketch.holes[number].angle)) < 0.5 < math.cos(sketch.holes[number].angle)
        and word[number : number + 1] != "n"
    }
    gaps = [(place - long / 2, place + long / 2) for place, long in cut.values()]
    for number, (place, long) in cut.items():
        yield from _finger(frame, middle - half, place, long, word[number : number + 1])
    if sketch.head == "window":
        gaps += [(-pipe.along, 0.0), _rise(pipe)]
    for low, high in _between_gaps(start, end, gaps):
        yield _wall(pipe, frame, middle, low, high, -1.0)
    yield _wall(pipe, frame, middle, start, end, 1.0)
    yield from _end(sketch.foot_kind, at(frame, end), middle, half, 1.0)
    if sketch.head == "window":
        yield from broken(at(frame, start), middle - half, middle + half)
        yield from plug_and_block(pipe, frame, middle)
    else:
        yield from _end(sketch.head, at(frame, start), middle, half, -1.0)


def _finger(frame: Frame, rim: float, place: float, long: float, state: str) -> Iterator[Item]:
    """Draw what lies on a hole that is closed, or on the half of one that is covered."""
    if state in ("x", "h"):
        left = at(frame, place - long / 2) - _OVER
        right = at(frame, place + long / 2) + _OVER if state == "x" else at(frame, place)
        yield rectangle(left, rim - _FINGER, right, rim, fill=BLACK, part="finger")


def _long(pipe: Placed, sketch: Sketch, number: int) -> float:
    return float(along_pipe(pipe.diameters[number], sketch.holes[number].aspect))


def _rise(pipe: Placed) -> tuple[float, float]:
    """Return where the air rises through the wall from the slow-air chamber [m]."""
    end = -(pipe.along + pipe.plug + plug_length(pipe))
    return end - 0.3 * outer(pipe), end


def _between_gaps(
    start: float, end: float, gaps: list[tuple[float, float]]
) -> Iterator[tuple[float, float]]:
    for low, high in sorted(gaps):
        if low > start:
            yield start, min(low, end)
        start = max(start, high)
    if start < end:
        yield start, end


def _wall(
    pipe: Placed, frame: Frame, middle: float, low: float, high: float, side: float
) -> Polygon:
    places, diameters = zip(*pipe.stations, strict=True)
    inside = [low, *(place for place in places if low < place < high), high]
    halves = np.interp(inside, places, diameters) / 2 * frame.across
    points = [(at(frame, x), middle + side * float(y)) for x, y in zip(inside, halves, strict=True)]
    rim = middle + side * outer(pipe) * frame.across / 2
    points += [(at(frame, high), rim), (at(frame, low), rim)]
    return Polygon(points=tuple(points), fill=MATERIAL, stroke=DARK, thick=1.2, part="wall")


def plug_and_block(pipe: Placed, frame: Frame, middle: float) -> Iterator[Item]:
    """Draw the plug in the bore, and the block with the windway under it, cut lengthwise."""
    half, inside = outer(pipe) * frame.across / 2, pipe.bore * frame.across / 2
    face = at(frame, -(pipe.along + pipe.plug))
    back = at(frame, -(pipe.along + pipe.plug + plug_length(pipe)))
    dash = () if "plug_to_window" in pipe.known else HIDDEN
    look = {"fill": PLUG, "thick": 1.2}
    yield rectangle(back, middle - inside, face, middle + inside, **look, dash=dash, part="plug")
    top = middle - half - _BLOCK_HEIGHT * outer(pipe) * frame.across
    under = middle - half - _WINDWAY * outer(pipe) * frame.across
    left, right = at(frame, block_start(pipe)), at(frame, -pipe.along)
    rise = at(frame, _rise(pipe)[0])
    points = (
        *((left, top), (right, top), (right, under)),
        *((rise, under), (rise, middle - half), (left, middle - half)),
    )
    yield Polygon(points=points, fill=BLOCK, stroke=DARK, thick=1.2, part="block")


def block_top(pipe: Placed, frame: Frame) -> float:
    """Return how far the block reaches above the pipe's axis [pixels]."""
    return (0.5 + _BLOCK_HEIGHT) * outer(pipe) * frame.across
