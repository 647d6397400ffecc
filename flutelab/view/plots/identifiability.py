"""Picture of what the notes tell: correlations of the corrections, and the doubt left of each."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap

from flutelab.fitting.further_note import BLIND
from flutelab.fitting.identifiability import WhatDataTell
from flutelab.view.plots.parts import new_axes
from flutelab.view.style import BLACK, BLUE, DARK, GREY, VERMILION, style

# The palette's ends, told apart by all kinds of sight; a colour only repeats its number.
_COLOURS = LinearSegmentedColormap.from_list("against to along", (VERMILION, "white", BLUE))
_LINE = 0.42  # inches of height a correction
_STRONG = 0.6  # correlation from which black on the colour is hard to read
_WIDE = 10  # columns, from which numbers go without their 0
_LETTERS = 9.5


def plot_what_data_tell(result: WhatDataTell, *, ax: Axes | None = None) -> Axes:
    """Draw how the corrections hang together, and how much of each one's doubt is left.

    Parameters
    ----------
    result : WhatDataTell
        From `flutelab.fitting.identifiability.what_data_tell`.
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        The correlations, a line and a column a correction, reported ones in bold; beside
        them, in axes of their own, a bar a correction: its sd after the notes over that before.
        Corrections that no fitted note moves with are named below instead.
    """
    drawn = [i for i, name in enumerate(result.names) if name not in result.unheard]
    ax = ax or new_axes(2.8 + _LINE * max(len(drawn), 1))
    with style():
        _draw_correlations(ax, result, drawn)
        bars = ax.inset_axes((1.03, 0.0, 0.45, 1.0))
        _draw_bars(bars, result.sd_left[drawn])
        ax.set_title("What the notes tell: correlations", loc="left", pad=8.0)
        bars.set_title("and the doubt they leave", loc="left", pad=8.0)
    return ax


def _draw_correlations(ax, result, drawn):
    """The lower half with the diagonal: the upper one says the same."""
    count = len(drawn)
    shown = result.correlation[np.ix_(drawn, drawn)]
    edges = np.arange(count + 1) - 0.5
    if drawn:
        ax.pcolormesh(
            edges, edges, np.where(np.tri(count, dtype=bool), shown, np.nan), cmap=_COLOURS,
            vmin=-1.0, vmax=1.0, edgecolors="white", linewidth=1.0,
        )  # fmt: skip
    else:
        ax.text(0.0, 0.0, "no note tells of any correction", ha="center")
    for line, column in zip(*np.tril_indices(count), strict=True):
        value = shown[line, column]
        ax.text(
            column, line, _number(value, count), fontsize=_LETTERS, ha="center",
            va="center_baseline", color="white" if value > _STRONG else BLACK,
        )  # fmt: skip
    words = [result.names[i].replace("_", " ").replace(", ", ",\n") for i in drawn]
    ax.set_xticks(range(count), words, rotation=90)
    ax.set_yticks(range(count), words)
    for labels in (ax.get_xticklabels(), ax.get_yticklabels()):
        for label, reported in zip(labels, result.reported[drawn], strict=True):
            label.set_fontweight("bold" if reported else "normal")
    ax.set_xlim(-0.5, max(count, 1) - 0.5)
    ax.set_ylim(max(count, 1) - 0.5, -0.5)
    ax.tick_params(length=0)
    silent = ", ".join(name.replace("_", " ") for name in result.unheard)
    below = f"\nno fitted note moves with: {silent}" if silent else ""
    ax.set_xlabel(f"correlation after the notes (bold: reported corrections){below}")
    for spine in ax.spines.values():
        spine.set_visible(False)


def _number(value, count):
    text = f"{value:+z.2f}"
    if text in ("+0.00", "+1.00"):
        return text[1]
    return text if count < _WIDE else text.replace("0.", ".")


def _draw_bars(ax, sd_left):
    left, lines = 100 * sd_left, np.arange(len(sd_left))
    seen = sd_left <= BLIND
    ax.barh(lines[seen], left[seen], height=0.62, color=BLUE, label="seen by the notes")
    ax.barh(
        lines[~seen], left[~seen], height=0.62, color="white", edgecolor=VERMILION, hatch="////",
        label=f"hardly seen (more than {100 * BLIND:.0f} %)",
    )  # fmt: skip
    ax.axvline(100.0, color=BLACK, linewidth=1.2)
    ax.axvline(100 * BLIND, color=GREY, linewidth=1.0, linestyle="--")
    for line, value in zip(lines, left, strict=True):
        ax.annotate(
            f"{value:.0f} %", (max(value, 100.0), line), xytext=(4, 0),
            textcoords="offset points", va="center", fontsize=10.5, color=DARK,
        )  # fmt: skip
    widest = 1.3 * np.max(left, initial=100.0)
    ax.set_xlim(0.0, widest)
    ax.set_xticks(np.arange(0.0, widest, 50.0))
    ax.set_ylim(max(len(left), 1) - 0.5, -0.5)
    ax.set_yticks([])
    ax.set_xlabel("sd after the notes\n[% of the sd before]")
    ax.legend(loc="upper left", bbox_to_anchor=(0.0, -0.8 / max(len(left), 1) - 0.1))
