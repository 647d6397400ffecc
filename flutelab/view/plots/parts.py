"""What several pictures share: a new figure's axes, marks and words of legends, lengths."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from flutelab.units import inches, millimetres
from flutelab.view.style import DARK, figure, style

SIDE_BY_SIDE = 60  # letters of all columns' names together
_LETTERS = {"x": "closed", "o": "open", "h": "half covered", "n": "not drilled"}


def checked_row(row: int, labels: Sequence[str]) -> int:
    """Return which note is asked for, counted from 0, or from the last one as -1, -2, ...

    Raises
    ------
    ValueError
        There is no such note.
    """
    count = len(labels)
    if not -count <= row < count:
        names = ", ".join(word or "bare pipe" for word in labels)
        msg = f"row is {row}; write 0 to {count - 1} for one of these {count} notes: {names}"
        raise ValueError(msg)
    return row


def checked_kind(result: object, kind: type, make: str) -> None:
    """Refuse what a picture does not show; `make` is the function whose result it shows."""
    if not isinstance(result, kind):
        msg = f"this picture is of a result of {make}, not of a {type(result).__name__}"
        raise TypeError(msg)


def new_axes(height: float) -> Axes:
    """Return the axes of a new figure of the usual width and a height [inches]."""
    # The figure itself is made outside the style: in a notebook the first one switches the
    # kernel to showing figures, a setting that leaving the style would undo.
    page = figure(height)
    with style():
        return page.add_subplot()


def handle(label: str, marker: str, colour: str, hollow: bool = False) -> Line2D:
    """Return a line of a legend with a marker."""
    return Line2D(
        [], [], linestyle="none", marker=marker, color=colour, markersize=8.0,
        markerfacecolor="white" if hollow else colour, label=label,
    )  # fmt: skip


def note_name(word: str, register: int = 1) -> str:
    """Return a note's name from its fingering word, an overblown one's with its register."""
    return f"{word or 'bare pipe'}{f' ({register})' if register > 1 else ''}"


def name_notes(ax: Axes, labels: Sequence[str], registers: Sequence[int] | None = None) -> None:
    """Name the columns of a picture by their notes; one or two stay as narrow as three."""
    registers = [1] * len(labels) if registers is None else registers
    names = [note_name(*note) for note in zip(labels, registers, strict=True)]
    ax.set_xticks(range(len(names)), names, family="monospace")
    if max(map(len, names), default=0) * len(names) > SIDE_BY_SIDE:
        ax.tick_params(axis="x", labelrotation=90)
    half, middle = max(len(names), 3) / 2, (len(names) - 1) / 2
    ax.set_xlim(middle - half, middle + half)
    letters = "".join(labels)
    told = [f"{letter} {words}" for letter, words in _LETTERS.items() if letter in letters]
    ax.set_xlabel(f"note ({', '.join(told)})" if told else "note")


def legend_below(ax: Axes, *, words: Sequence[str] = (), **more: object) -> None:
    """Put the legend below the axes, under lines of words."""
    ax.figure.legend(
        loc="outside lower left", title="\n".join(words) or None, title_fontsize=10.5,
        alignment="left", **more,
    )  # fmt: skip


def half_covered_openings(word: str) -> np.ndarray:
    """Return which openings (head, holes, foot) a fingering's word half covers."""
    return np.array([False, *(letter == "h" for letter in word), False])


def sign(page: Figure, words: str) -> None:
    """Write in small letters at the top whose picture it is; "" leaves it as it is."""
    if words:
        with style():
            page.suptitle(words, x=0.995, ha="right", fontsize=10.0, color=DARK)


def shop_length(metres: float, unit: str, sd: float | None = None) -> str:
    """Return a length [m], with +- its sd, in the shop's unit."""
    convert, digits = (inches, 3) if unit == "in" else (millimetres, 1)
    spread = "" if sd is None else f" ± {convert(sd):.{digits}f}"
    return f"{convert(metres):.{digits}f}{spread} {unit}"
