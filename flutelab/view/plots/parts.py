"""What several pictures share: a new figure's axes, marks and words of legends, lengths."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from flutelab.units import inches, millimetres
from flutelab.view.style import figure, style


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


def shop_length(metres: float, unit: str, sd: float | None = None) -> str:
    """Return a length [m], with +- its sd, in the shop's unit."""
    convert, digits = (inches, 3) if unit == "in" else (millimetres, 1)
    spread = "" if sd is None else f" ± {convert(sd):.{digits}f}"
    return f"{convert(metres):.{digits}f}{spread} {unit}"
