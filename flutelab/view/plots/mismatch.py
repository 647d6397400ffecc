"""Picture of why notes do not match the book: what each cause could do about it."""

from __future__ import annotations

import textwrap

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from flutelab.files.cause_words import way_words
from flutelab.files.mismatch_words import amount_words, cause_words, far_words, tolerance_words
from flutelab.fitting.mismatch import Mismatch
from flutelab.view.plots.parts import SIDE_BY_SIDE, handle, name_notes
from flutelab.view.style import BLACK, GREY, SKY, VERMILION, figure, style

_SHOWN = 8  # causes that have a panel, likeliest first
_HEARD = 2.0  # cents that a usual error makes somewhere
TITLE_LETTERS = 54  # that fit above a panel
_COLUMNS = 2
_HALF = 0.45  # of a column: a line to either side
_SPREAD = 0.25  # of a column to either side, for readings of one note
_SMALLEST = 5.0


def plot_causes(mismatch: Mismatch) -> Figure:
    """Draw measured notes against the book, and what each cause could do about it.

    Parameters
    ----------
    mismatch : Mismatch
        From `flutelab.fitting.mismatch.why_not_matching`.

    Returns
    -------
    Figure
        A panel for each of at most eight causes, likeliest first, notes in the order of their
        pitch. Causes whose usual error makes less than 2 cents anywhere are left out.
        Dots: measured over the book [cents], hollow where a row is not counted. Bars: what
        the usual error of the cause does to the note, either way. Lines: what the amount
        does that fits best alone, each session's own shift beside it (a line each); told
        above the panel.
    """
    shown = _shown(mismatch)
    lines = -(-len(shown) // _COLUMNS)
    column, firsts = _columns(mismatch)
    page = figure(2.4 + 2.5 * lines)
    axes: list[Axes] = []
    with style():
        page.get_layout_engine().set(hspace=0.06, wspace=0.03)
        name = mismatch.measurements.flute.name
        page.suptitle("\n".join(textwrap.wrap(f"What each cause could do: {name}", 70)))
        for n, cause in enumerate(shown):
            one = axes[0] if axes else None
            axes.append(page.add_subplot(lines, _COLUMNS, n + 1, sharex=one, sharey=one))
            _draw_cause(axes[n], mismatch, cause, column, firsts)
            _name_axes(axes[n], mismatch, firsts, lowest=n + _COLUMNS >= len(shown))
            if n % _COLUMNS == 0:
                axes[n].set_ylabel("over book [cents]")
        axes[0].set_ylim(_limits(mismatch))
        for ax in axes:
            _mark_far(ax, mismatch, column)
        page.legend(handles=_handles(mismatch), loc="outside lower left", ncols=2)
    return page


def _shown(mismatch):
    """The causes that have a panel: the likeliest, and those that are heard."""
    heard = np.abs(mismatch.effect[:, mismatch.counted]).max(axis=1) >= _HEARD
    return [k for k in range(len(heard)) if heard[k] or k == 0][:_SHOWN]


def _columns(mismatch):
    """The place of each row along the axis, and one row of each note, lowest first."""
    m = mismatch.measurements
    notes: dict[tuple, list[int]] = {}
    for row in np.flatnonzero(np.isfinite(mismatch.cents)).tolist():
        notes.setdefault((m.rows.label[row], int(mismatch.register[row])), []).append(row)
    pitch = np.log2(m.frequency) - mismatch.cents / 1200  # by the book: no slip moves it
    ordered = sorted(notes.values(), key=lambda rows: np.median(pitch[rows]))
    place = np.full(len(m.rows), np.nan)
    for column, rows in enumerate(ordered):
        place[rows] = column + np.linspace(-_SPREAD, _SPREAD, len(rows) + 2)[1:-1]
    firsts = [next((r for r in rows if mismatch.counted[r]), rows[0]) for rows in ordered]
    return place, np.array(firsts)


def _draw_cause(ax, mismatch, cause, place, firsts):
    """One panel: the readings, what is usual of a cause, and what fits best."""
    effect = mismatch.effect[cause, firsts]
    columns = np.arange(len(firsts))
    ax.axhline(0.0, color=GREY, linewidth=1.0, zorder=1)
    ax.bar(columns, 2 * effect, 0.8, bottom=-effect, color=SKY, linewidth=0, zorder=0.5)
    ax.hlines(*_best(mismatch, cause, place), color=VERMILION, linewidth=2.5, zorder=2)
    for counted, face in ((True, BLACK), (False, "white")):
        some = mismatch.counted == counted
        ax.plot(
            place[some], mismatch.cents[some], "o", color=BLACK, markerfacecolor=face,
            markersize=4.5, zorder=3,
        )  # fmt: skip
    usual = f"{cause_words(mismatch, cause)}, usually {tolerance_words(mismatch, cause)}"
    lines = [usual[0].upper() + usual[1:], *_told(mismatch, cause)]
    title = "\n".join(textwrap.fill(line, TITLE_LETTERS) for line in lines)
    ax.set_title(title, loc="left", fontsize=10.5)


def _best(mismatch, cause, place):
    """Cents of the lines, where they begin and end: one for each note of each session.

    Sessions of a note share its column from left to right, as their dots do.
    """
    columns: dict[int, dict[str, int]] = {}
    for row in np.flatnonzero(mismatch.counted).tolist():
        mine = columns.setdefault(round(place[row]), {})
        mine.setdefault(mismatch.measurements.session[row], row)
    index = [row for mine in columns.values() for row in mine.values()]
    best = mismatch.amount[cause] * mismatch.effect[cause, index] + mismatch.beside[cause, index]
    edges = [np.linspace(c - _HALF, c + _HALF, len(mine) + 1) for c, mine in columns.items()]
    return best, np.concatenate([e[:-1] for e in edges]), np.concatenate([e[1:] for e in edges])


def _told(mismatch, cause):
    """The best amount in words; how far out it is, and what it leaves."""
    beside = f", breath and tuner {way_words(mismatch.shift[cause])}"
    yield (
        amount_words(mismatch, cause, mismatch.amount[cause]).partition(",")[0]
        + (beside if round(mismatch.shift[cause]) else "")
    )
    left = f"leaves {mismatch.left[cause]:.0f} of {mismatch.rms:.0f} cents"
    yield f"{far_words(mismatch, cause)}; {left}"


def _name_axes(ax, mismatch, firsts, *, lowest):
    ax.tick_params(axis="x", length=0, labelbottom=False)
    if lowest:
        labels = [mismatch.measurements.rows.label[row] for row in firsts]
        name_notes(ax, labels, mismatch.register[firsts].tolist())
        upright = sum(map(len, labels)) > SIDE_BY_SIDE // _COLUMNS
        turn = {"labelrotation": 90} if upright else {}
        ax.tick_params(axis="x", labelbottom=True, labelsize=10.0, **turn)


def _limits(mismatch):
    """Cents that hold every counted row, others as far as is readable, and the usual errors."""
    cents = np.append(mismatch.cents[mismatch.counted], [-_SMALLEST, _SMALLEST])
    usual = np.abs(mismatch.effect[:, mismatch.counted]).max()
    low, high = min(cents.min(), -usual), max(cents.max(), usual)
    room = 0.08 * (high - low)
    return low - room, high + room


def _mark_far(ax, mismatch, place):
    """Rows beyond the picture, not counted: their cents at the edge."""
    low, high = ax.get_ylim()
    for row in np.flatnonzero((mismatch.cents < low) | (mismatch.cents > high)):
        value = mismatch.cents[row]
        ax.annotate(
            f"{value:+.0f}", (place[row], high if value > 0 else low), fontsize=9.5, rotation=90,
            ha="center", va="top" if value > 0 else "bottom",
        )  # fmt: skip


def _handles(mismatch):
    several = len(set(np.array(mismatch.measurements.session)[mismatch.counted])) > 1
    does = "what the amount above the panel does"
    handles = [
        handle("measured over the book", "o", BLACK),
        Patch(facecolor=SKY, label="what its usual tolerance does, either way"),
        Line2D(
            [],
            [],
            color=VERMILION,
            linewidth=2.5,
            label=f"{does}, by session" if several else does,
        ),
    ]
    if not np.all(mismatch.counted):
        handles.insert(1, handle("not counted", "o", BLACK, hollow=True))
    return handles
