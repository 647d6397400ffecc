"""How every picture looks: colours, letters, sizes, and the bytes it is saved as."""

from __future__ import annotations

import io
import math
from contextlib import AbstractContextManager

from matplotlib import pyplot as plt
from matplotlib.axis import Axis
from matplotlib.figure import Figure

# Lines, points and letters: any two differ by 15 in lightness (CIE L*) or more, so that they
# part in grey, for every kind of colour vision and on a dim projector, and each stands out
# from white by 3 to 1 or more (tests/test_style.py). Hues after the palette of Okabe and Ito, as
# printed by B. Wong, "Color blindness", Nature Methods 8, 441 (2011), doi:10.1038/nmeth.1618
# (from memory). GREEN is too pale for letters.
BLUE, VERMILION, GREEN, PURPLE, BLACK = "#004886", "#BA4700", "#00A67E", "#3A095F", "#000000"
PALETTE = (BLUE, VERMILION, GREEN, PURPLE, BLACK)
# Fills of their palette, too pale for lines: a hatch goes with each.
SKY, ORANGE = "#56B4E9", "#E69F00"
DARK, GREY, PALE = "#404040", "#737373", "#D9D9D9"

# A session has a colour and a shape of its own: the picture serves in black and white too.
SESSION_COLOURS = (BLUE, GREEN, PURPLE, BLACK)
SESSION_MARKERS = ("o", "s", "^", "v", "p")

WIDTH = 10.0  # inches
_LETTERS = {  # printed across a page of A4 (17 cm) they are 7 points or more
    "font.family": "sans-serif",
    "font.size": 12.0,
    "axes.titlesize": 14.0,
    "axes.labelsize": 12.0,
    "xtick.labelsize": 11.0,
    "ytick.labelsize": 11.0,
    "legend.fontsize": 10.5,
    "legend.frameon": False,
    "figure.titlesize": 16.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "lines.markersize": 8.0,
}
# Text stays text in an SVG: it can be searched, read aloud and edited, and the viewer's own
# sans-serif serves. With a fixed salt the same picture is the same bytes.
_FILES = {"svg.fonttype": "none", "svg.hashsalt": "flutelab"}
_RAISED = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")
_DPI = 120  # of a PNG: 1200 pixels wide


def style() -> AbstractContextManager[None]:
    """Return a context in which everything is drawn in the kit's letters."""
    return plt.rc_context(_LETTERS)


def figure(height: float) -> Figure:
    """Return an empty figure of the usual width; it makes room for legends beside the axes.

    Parameters
    ----------
    height : float
        [inches]
    """
    return plt.figure(figsize=(WIDTH, height), layout="constrained", facecolor="white")


def powers_of_ten(axis: Axis) -> None:
    """Make an axis logarithmic, its ticks powers of ten in plain letters: soon drawn."""
    axis.axes.set(**{f"{axis.axis_name}scale": "log"})
    axis.set_major_formatter(lambda value, _: f"10{_raised(value)}")
    axis.set_minor_formatter(lambda *_: "")


def _raised(value):
    return str(round(math.log10(value))).translate(_RAISED)


def draw_without_windows() -> None:
    """Let figures be drawn for files only: no screen is needed and no window opens."""
    plt.switch_backend("agg")


def picture_files(picture: Figure) -> dict[str, bytes]:
    """Return a figure as the bytes of its files, by their ending: ``png`` and ``svg``.

    The same figure gives the same bytes at any time: no date and no program version is
    written into them.

    Examples
    --------
    >>> sorted(picture_files(figure(3.0)))
    ['png', 'svg']
    """
    nameless = {"png": {"Software": None}, "svg": {"Date": None, "Creator": None}}
    files = {}
    with plt.rc_context(_FILES):
        for ending, metadata in nameless.items():
            buffer = io.BytesIO()
            picture.savefig(buffer, format=ending, dpi=_DPI, metadata=metadata)
            files[ending] = buffer.getvalue()
    return files


def close(picture: Figure) -> None:
    """Give back what a figure holds."""
    plt.close(picture)
