"""What the pictures for a paper share: letters, widths, legends, and their files."""

from __future__ import annotations

import io
from collections.abc import Sequence
from contextlib import AbstractContextManager

from matplotlib import pyplot as plt
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from flutelab.fitting.calibrate import Calibration
from flutelab.units import from_mm, inches
from flutelab.view.plots.parts import handle

SMALLEST = 7.0  # points
_LETTERS = {
    "font.family": "sans-serif",
    "font.size": 7.5,
    "axes.titlesize": 8.0,
    "axes.labelsize": 7.5,
    "xtick.labelsize": SMALLEST,
    "ytick.labelsize": SMALLEST,
    "legend.fontsize": SMALLEST,
    "legend.frameon": False,
    "legend.handlelength": 1.4,
    "legend.columnspacing": 1.2,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.6,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "lines.markersize": 3.2,
    "lines.linewidth": 1.0,
    "hatch.linewidth": 0.5,
}
# TrueType letters in a PDF, outlines in an SVG: nothing is asked of the reader's machine.
_FILES = {"pdf.fonttype": 42, "svg.fonttype": "path", "svg.hashsalt": "flutelab"}
_NAMELESS = {
    "svg": {"Date": None, "Creator": None},
    "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
}
POINTS = 72.0  # an inch
_LINE = 0.15  # inches of height a line of a legend
_MARKER = 3.2
_TWO_COLUMNS = 300.0  # points of room from which a picture is two columns wide


def paper_style() -> AbstractContextManager[None]:
    """Return a context in which everything is drawn in a paper's letters."""
    return plt.rc_context(_LETTERS)


def new_page(width_mm: float) -> Figure:
    """Return an empty figure of a width; its height comes with its legend."""
    size = (inches(from_mm(width_mm)), 2.0)
    return plt.figure(figsize=size, layout="constrained", facecolor="white")


def saved(page: Figure) -> dict[str, bytes]:
    """Return a figure's files by their ending; the same figure gives the same bytes."""
    files = {}
    page.draw_without_rendering()
    page.set_layout_engine("none")  # laid out once for all its files
    with plt.rc_context(_FILES):
        for ending, metadata in _NAMELESS.items():
            buffer = io.BytesIO()
            page.savefig(buffer, format=ending, metadata=metadata)
            files[ending] = buffer.getvalue()
    return files


def room(page: Figure) -> float:
    """Return the points of width that axes have beside their labels, about."""
    return page.get_figwidth() * POINTS - 40.0


def is_wide(page: Figure) -> bool:
    """Return whether a figure is two columns of a journal wide."""
    return room(page) > _TWO_COLUMNS


def small_handle(label: str, marker: str, colour: str, hollow: bool = False) -> Line2D:
    """Return a line of a legend with a marker of a paper's size."""
    line = handle(label, marker, colour, hollow)
    line.set_markersize(_MARKER)
    return line


def legend_and_height(page: Figure, handles: Sequence, height: float) -> None:
    """Put a legend below the axes and give the page its height, `height` inches above it."""
    longest = max(len(one.get_label()) for one in handles)
    columns = max(1, int(room(page) // (4.2 * longest + 30.0)))
    page.legend(handles=handles, loc="outside lower left", ncols=columns)
    page.set_figheight(height + _LINE * -(-len(handles) // columns))


def letter(table: int) -> str:
    """Return what a table is called where there are several."""
    return chr(ord("A") + table) if table < 26 else str(table + 1)


def with_tables(words: str, calibration: Calibration) -> str:
    """Return words of a picture, and what its letters stand for."""
    if len(calibration.tables) == 1:
        return words
    named = [f"{letter(n)} {t.measurements.source}" for n, t in enumerate(calibration.tables)]
    return f"{words} Tables: {', '.join(named)}."
