"""Picture of sensitivities: one cell a note and quantity, in the shop's units."""

from __future__ import annotations

from itertools import groupby

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import AsinhNorm, LinearSegmentedColormap

from flutelab.files.tables import shop_changes
from flutelab.model.sensitivities import Sensitivities
from flutelab.view.plots.parts import name_notes, new_axes
from flutelab.view.style import BLACK, DARK, ORANGE, SKY, style

# Lower to higher: the palette's light colours, told apart by all kinds of sight, on which black
# letters stand out. A colour only repeats the number in its cell.
_COLOURS = LinearSegmentedColormap.from_list("lower to higher", (ORANGE, "white", SKY))
_LINE = 0.27  # inches of height a quantity
_ROUND = 1.0  # cents, about which colours turn from even steps to even ratios
_LEAST, _MOST = 10.0, 50.0  # cents at the colours' ends
_LETTERS = 140.0  # points: of all columns' numbers together
_OUTSIDE = "diameter outside"  # of a hole that is wider or narrower inside
_TITLES = {
    "places": "A hole moved towards the foot",
    "diameters": "A hole's diameter",
    "window": "The window",
    "pipe": "The pipe",
    "air": "The air",
    "corrections": "The corrections",
}


def plot_sensitivities(result: Sensitivities, *, ax: Axes | None = None) -> Axes:
    """Draw what each note gains from a small change of each quantity.

    Parameters
    ----------
    result : Sensitivities
        From `flutelab.model.sensitivities.sensitivities`.
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        A column a note and a line a quantity: cents for the change of the quantity that
        stands to the right, as a number and as a colour. A dash where there is none. The
        numbers of 13 notes or fewer are readable in print. Corrections that move no note,
        those of parts that the flute does not have among them, are left out.
    """
    shown = [
        quantity
        for quantity, group in enumerate(result.group)
        if group != "corrections" or np.any(result.gradient[:, quantity])
    ]
    groups = [tuple(members) for _, members in groupby(shown, _group(result))]
    places = _places(groups)
    last = places[groups[-1][-1]]
    ax = ax or new_axes(1.9 + _LINE * (last + 1))
    with style():
        _draw_cells(ax, result, places)
        for members in groups:
            ax.text(
                -0.5, places[members[0]] - 0.62, _title(result, members[0]),
                fontsize=11.0, fontweight="bold", color=DARK, va="bottom",
            )  # fmt: skip
        ax.set_ylim(last + 0.55, -1.4)
        _name_lines(ax, result, places)
        _name_notes(ax, result)
        ax.set_title("What a note gains from a small change, one at a time [cents]", loc="left")
    return ax


def _title(result, quantity):
    """The title of the group that a quantity heads; of holes' places with what hole 1 is."""
    words, group = _TITLES[result.group[quantity]], result.group[quantity]
    if group == "diameters" and any(what.endswith(_OUTSIDE) for what in result.what):
        words = "A hole widened, outside"
    _, nearest, end = result.what[quantity].partition(" (nearest ")
    first = result.names[quantity] == "hole_1_position" and nearest
    return f"{words} (hole 1 is nearest {end.partition(')')[0]})" if first else words


def _group(result):
    return lambda quantity: result.group[quantity]


def _places(groups):
    """The line of each quantity; each group has one for its title and a gap before it."""
    places, line = {}, 0.0
    for members in groups:
        for quantity in members:
            places[quantity] = line
            line += 1.0
        line += 1.3
    return places


def _draw_cells(ax, result, places):
    sizes = np.array([size for _, size in shop_changes(result)])
    cents = result.gradient * sizes
    most = np.clip(np.max(np.abs(cents), where=np.isfinite(cents), initial=0.0), _LEAST, _MOST)
    look = ScalarMappable(AsinhNorm(_ROUND, vmin=-most, vmax=most), _COLOURS)
    notes = len(result.label)
    letters = min(10.5, _LETTERS / notes)
    edges = np.arange(notes + 1) - 0.5
    for quantity, line in places.items():
        values = cents[:, quantity]
        ax.pcolormesh(
            edges, [line - 0.5, line + 0.5], values[None], norm=look.norm, cmap=look.cmap,
            edgecolors="white", linewidth=1.0,
        )  # fmt: skip
        for note, value in enumerate(values):
            ax.text(
                note, line, _number(value), fontsize=letters, ha="center", va="center_baseline",
                color=BLACK, in_layout=False,  # it lies in its cell
            )  # fmt: skip
    bar = ax.figure.colorbar(look, ax=ax, orientation="horizontal", shrink=0.6, aspect=40, pad=0.02)
    bar.set_ticks([t for t in (-30, -10, -3, -1, 0, 1, 3, 10, 30) if abs(t) <= most])
    bar.ax.xaxis.set_major_formatter(lambda value, _: f"{value:+.0f}" if value else "0")
    bar.set_label("the note becomes lower (-) or higher (+) [cents]")


def _number(cents):
    """Cents to about two figures; none of it is heard below 0.005."""
    if not np.isfinite(cents):
        return "–"
    size = abs(cents)
    if size < 0.005:
        return "0"
    return f"{cents:+.{2 if size < 0.995 else 1 if size < 9.95 else 0}f}"


def _name_lines(ax, result, places):
    """Each quantity to the left, what it is changed by to the right."""
    ax.set_yticks(list(places.values()), [_words(result, quantity) for quantity in places])
    changes = shop_changes(result)
    for quantity, line in places.items():
        ax.annotate(
            f"per {changes[quantity][0]}", (1.01, line), xycoords=("axes fraction", "data"),
            va="center", fontsize=10.5, annotation_clip=False,
        )  # fmt: skip
    ax.tick_params(axis="y", length=0)
    for spine in ax.spines.values():
        spine.set_visible(False)


def _words(result, quantity):
    """A quantity's words, less what the title of its group says."""
    words, group = result.what[quantity], result.group[quantity]
    if group == "pipe":
        return words
    return (
        words.partition(" (")[0] if group in ("places", "diameters") else words.partition(": ")[2]
    )


def _name_notes(ax, result):
    name_notes(ax, result.label, result.register)
    ax.set_xlim(-0.5, len(result.label) - 0.5)
    ax.xaxis.tick_top()
    ax.tick_params(axis="x", length=0)
    ax.xaxis.set_label_position("top")
