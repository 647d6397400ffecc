"""A fingering as circles in a row, the first nearest the window."""

from __future__ import annotations

from collections.abc import Iterator

from flutelab.view.drawing.outline import covered, state_words
from flutelab.view.drawing.primitives import Drawing, Item

_RADIUS, _STEP = 0.36, 0.92  # of a circle's cell


def fingering_items(word: str, *, left: float, middle: float, size: float) -> Iterator[Item]:
    """Yield the circles of a fingering in the letters x, o, h, n; `size` is a cell's height."""
    radii = (_RADIUS * size, _RADIUS * size)
    for number, letter in enumerate(word):
        centre = (left + (number + 0.5) * _STEP * size, middle)
        yield from covered(centre, radii, letter, part=f"hole {number + 1}")


def fingering_width(holes: int, size: float) -> float:
    """Return how wide a fingering of so many holes is."""
    return holes * _STEP * size


def fingering_drawing(word: str, *, size: float = 22.0) -> Drawing:
    """Draw a fingering: filled = closed, empty = open, half filled, dotted = not drilled.

    Parameters
    ----------
    word : str
        In the letters x, o, h, n, as `fingering_word` writes them; first = nearest the window.
    size : float
        Height of the picture [pixels].

    Examples
    --------
    >>> fingering_drawing("xo").description
    'Hole 1 closed, hole 2 open.'
    """
    words = [f"hole {n} {state}" for n, state in enumerate(state_words(word), 1)]
    said = ", ".join(words) or "no holes"
    return Drawing(
        width=max(fingering_width(len(word), size), size),
        height=size,
        items=tuple(fingering_items(word, left=0.0, middle=size / 2, size=size)),
        title=f"Fingering {word}" if word else "No holes",
        description=f"{said[0].upper()}{said[1:]}.",
    )
