"""Picture of what the model is worth: errors of left-out notes, a line a way."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

from flutelab.files.worth_words import way_words
from flutelab.fitting.worth import CALIBRATED, Worth, size_of
from flutelab.view.plots.parts import handle, new_axes
from flutelab.view.style import BLUE, DARK, GREY, PALE, VERMILION, style

_LINEAR = 10.0  # cents, up to which the scale is even
_LINE = 0.34  # inches of height a way
_APART = 0.16  # of a line, between notes left out and flutes left out
_TICKS = (0, 5, 10, 30, 100, 300, 1000)


def plot_worth(worth: Worth, *, ax: Axes | None = None) -> Axes:
    """Draw how far left-out notes lie from what each way foretells.

    Parameters
    ----------
    worth : Worth
        From `flutelab.fitting.worth.is_it_worth_it`.
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        A line a way, best at the top: a dot a note [cents, measured over foretold], a bar
        from - to + the root mean square, which is told at the right. Circles: the note left
        out; triangles: the whole flute. The scale is even up to 10 cents and goes by ratios
        from there.
    """
    sizes = np.array([size_of(row)[0] for row in worth.note_out])
    order = [n for n in np.argsort(-sizes) if np.isfinite(sizes[n])]
    ax = ax or new_axes(2.2 + _LINE * len(order) * (1 if worth.flute_out is None else 1.5))
    kinds = [("the note left out", worth.note_out, "o", BLUE)]
    if worth.flute_out is not None:
        kinds.append(("the whole flute left out", worth.flute_out, "^", VERMILION))
    with style():
        ax.set_xscale("symlog", linthresh=_LINEAR, linscale=1.0)
        for n, (_, errors, marker, colour) in enumerate(kinds):
            off = 0.0 if len(kinds) == 1 else _APART * (1 - 2 * n)
            for line, way in enumerate(order):
                _draw_way(ax, line + off, errors[way], marker, colour)
        ax.axvline(0.0, color=GREY, linewidth=1.0, zorder=1)
        _name_lines(ax, worth, order)
        _name_scale(ax, worth)
        ax.set_title("Is it worth it? Notes left out, and foretold from the others", loc="left")
        handles = [handle(label, marker, colour, hollow=True) for label, _, marker, colour in kinds]
        ax.figure.legend(handles=handles, loc="outside lower left", ncols=2)
    return ax


def _draw_way(ax, line, error, marker, colour):
    rms = size_of(error)[0]
    ax.barh(line, 2 * rms, 0.28, left=-rms, color=PALE, linewidth=0, zorder=0.5)
    ax.plot(
        error, np.full(len(error), line), marker, color=colour, markersize=5.0,
        markerfacecolor="none", zorder=2,
    )  # fmt: skip
    ax.annotate(
        f"{rms:.{1 if rms < 9.95 else 0}f}", (1.01, line), xycoords=("axes fraction", "data"),
        va="center", fontsize=10.5, color=DARK, annotation_clip=False,
    )  # fmt: skip


def _name_lines(ax, worth, order):
    ax.set_yticks(range(len(order)), [way_words(worth.ways[way]) for way in order])
    for label, way in zip(ax.get_yticklabels(), order, strict=True):
        if worth.ways[way] == CALIBRATED:
            label.set(fontweight="bold", color=BLUE)
    ax.tick_params(axis="y", length=0)
    ax.set_ylim(-0.6, len(order) - 0.4)


def _name_scale(ax, worth):
    most = max(np.nanmax(np.abs(e)) for e in (worth.note_out, worth.flute_out) if e is not None)
    ax.set_xlim(-1.3 * max(most, _LINEAR), 1.3 * max(most, _LINEAR))
    ax.set_xticks(sorted({s * t for t in _TICKS if t <= max(most, _LINEAR) for s in (-1, 1)}))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda cents, _: f"{cents:+.0f}" if cents else "0"))
    ax.minorticks_off()
    ax.set_xlabel("measured over foretold [cents]; grey and at the right: root mean square")
