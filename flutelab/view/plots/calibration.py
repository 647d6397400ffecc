"""Pictures of a calibration: before, after, and both with the corrections on a page."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from flutelab.files.suspected import hole_acts
from flutelab.fitting.calibrate import Calibration, TableResult
from flutelab.fitting.suspects import Suspect
from flutelab.model.flute import hole_name
from flutelab.model.notes import CENT
from flutelab.view.plots.corrections import plot_corrections
from flutelab.view.plots.parts import handle, new_axes
from flutelab.view.style import (
    DARK,
    GREY,
    PALE,
    SESSION_COLOURS,
    SESSION_MARKERS,
    SKY,
    VERMILION,
    figure,
    style,
)

NAMED = 6  # rows told in words beside a picture; the table of notes holds the others
_SPREAD = 0.3  # of a column to either side, for readings of one note
_SMALLEST = 5.0  # cents shown to either side of 0
_RING_ROOM = 0.05  # of the height: what keeps a ring off the frame
_LARGEST = 100.0  # cents; a row that was not used and lies farther is drawn at the edge
_HOLE_RINGS = ("s", "h", "8", "D")


@dataclass(frozen=True, kw_only=True)
class _Point:
    """One measured row, its place along the axis, and what is drawn of it [cents]."""

    table: int
    row: int
    column: int
    x: float
    part: TableResult
    name: str

    def of(self, column: str) -> object:
        return getattr(self.part.measurements, column)[self.row]

    @property
    def fate(self) -> str:
        return self.part.fate[self.row]

    @property
    def used(self) -> bool:
        return self.fate in ("fitted", "checked")


def plot_mismatch(result: Calibration, *, ax: Axes | None = None) -> Axes:
    """Draw how far the measured notes lie from the book's formulas, before any fit.

    Parameters
    ----------
    result : Calibration
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        Cents of measured over the book against the notes in the order of their pitch,
        a marker and colour a session. Check rows are diamonds; rows kept apart or left
        out are hollow.

    Raises
    ------
    TypeError
        Something else than a calibration, such as a `Mismatch`: `plot_causes` draws that.
    """
    if not isinstance(result, Calibration):
        other = type(result).__name__
        right = "; draw a Mismatch with plot_causes" if other == "Mismatch" else ""
        msg = f"plot_mismatch draws a Calibration, not a {other}{right}"
        raise TypeError(msg)
    points, labels = _arranged(result)
    cents = np.array([np.log(p.of("frequency") / p.part.book[p.row]) / CENT for p in points])
    ax = ax or new_axes(4.8)
    with style():
        _frame(ax, points, cents, labels)
        handles = _draw_points(ax, points, cents)
        ax.set_ylabel("measured over book [cents]")
        ax.set_title("Before: measured notes against the book's formulas", loc="left")
        _legend(ax, handles)
    return ax


def plot_residuals(
    calibration: Calibration, *, suspects: Sequence[Suspect] = (), ax: Axes | None = None
) -> Axes:
    """Draw what is left between measured and predicted notes after the fit.

    Parameters
    ----------
    calibration : Calibration
    suspects : sequence of Suspect
        Rows and holes to ring and name, from `flutelab.fitting.suspects.suspects`.
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        Cents of measured over predicted, the session's offset taken off; bars are one sd
        of a reading, the band one sd of the prediction. Rows kept apart or left out are
        hollow, and named.
    """
    points, labels = _arranged(calibration)
    cents = np.array([p.part.residual[p.row] for p in points])
    ax = ax or new_axes(5.4)
    with style():
        _frame(ax, points, cents, labels, bars=np.array([p.of("sd") for p in points]))
        handles = [_draw_band(ax, points), *_draw_points(ax, points, cents, detailed=True)]
        if calibration.widened > 1:
            times = f"{calibration.widened:.1f} times"
            said = f"the readings' ± count {times}, as the notes do not fit well"
            handles.append(_words(said))
        handles += [_ring_row(ax, points, cents, s) for s in suspects if s.kind == "row"]
        holes = [s for s in suspects if s.kind == "hole"]
        for suspect, marker in zip(holes, _HOLE_RINGS, strict=False):
            handles.append(_ring_hole(ax, points, cents, suspect, marker))
        ax.set_ylabel("measured over predicted [cents]")
        ax.set_title("After: what the fitted corrections leave", loc="left")
        _legend(ax, handles + _not_used(points, cents))
    return ax


def plot_calibration(calibration: Calibration, *, suspects: Sequence[Suspect] = ()) -> Figure:
    """Return before, after and the corrections on one page, ready to save.

    Parameters
    ----------
    calibration : Calibration
    suspects : sequence of Suspect
        As in `plot_residuals`.
    """
    names = [part.measurements.flute.name for part in calibration.tables]
    count = sum(p.is_correction and p.name in calibration.free for p in calibration.parameters)
    heights = (4.4, 4.4, 0.9 + 0.7 * count)
    page = figure(3.0 + sum(heights))
    with style():
        page.get_layout_engine().set(hspace=0.03, h_pad=0.12, w_pad=0.12)
        page.suptitle("\n".join(textwrap.wrap("; ".join(dict.fromkeys(names)), 80)))
        before, after, corrections = page.subplots(3, 1, height_ratios=heights)
    plot_mismatch(calibration, ax=before)
    plot_residuals(calibration, suspects=suspects, ax=after)
    plot_corrections(calibration, ax=corrections)
    return page


def _arranged(result):
    """Return the points and the columns' labels: one column a note, lowest first of each table."""
    columns: dict[tuple[int, str, int], list[int]] = {}
    for table, part in enumerate(result.tables):
        for row, word in enumerate(part.measurements.rows.label):
            columns.setdefault((table, word, int(part.register[row])), []).append(row)
    several = len(result.tables) > 1
    points, labels = [], []
    for table, word, register in sorted(
        columns, key=lambda key: (key[0], _pitch(result.tables[key[0]], columns[key]))
    ):
        rows, part = columns[table, word, register], result.tables[table]
        offsets = np.linspace(-_SPREAD, _SPREAD, len(rows) + 2)[1:-1]
        points += [
            _Point(table=table, row=row, column=len(labels), x=float(len(labels) + offset),
                   part=part, name=_row_name(part, row, several))
            for row, offset in zip(rows, offsets, strict=True)
        ]  # fmt: skip
        flute = part.measurements.flute.name if several else ""
        bare = "" if several else "bare pipe"
        again = f"({register})" if register > 1 else ""
        labels.append(" ".join(filter(None, (flute, word or bare, again))))
    return points, labels


def _pitch(part, rows):
    """The pitch by the book, which no slip of the pen moves; as measured without one."""
    book = part.book[rows]
    return np.median(np.where(np.isfinite(book), book, part.measurements.frequency[rows]))


def _row_name(part, row, several):
    m = part.measurements
    return f"{m.flute.name}, {m.place[row]}" if several else m.place[row]


def _frame(ax, points, cents, labels, bars=0.0):
    """Zero line, a tick a note, and limits that no slip of the pen stretches."""
    fitted = np.array([p.fate == "fitted" for p in points], dtype=bool)
    near = np.isfinite(cents) & (fitted | (np.abs(cents) <= _LARGEST))
    low = np.min((cents - bars)[near], initial=-_SMALLEST)
    high = np.max((cents + bars)[near], initial=_SMALLEST)
    room = 0.08 * (high - low)
    ax.set_ylim(low - room, high + room)
    ax.set_xlim(-0.5, len(labels) - 0.5)
    ax.axhline(0.0, color=GREY, linewidth=1.0, zorder=1)
    for border in np.arange(len(labels) - 1) + 0.5:
        ax.axvline(border, color=PALE, linewidth=0.6, zorder=0)
    ax.set_xticks(range(len(labels)), labels, family="monospace")
    longest = max(map(len, labels))
    if len(labels) * longest > 60:  # what fits side by side
        ax.tick_params(axis="x", labelrotation=90 if len(labels) > 4 else 20)
    words = any(p.part.measurements.flute.holes for p in points)
    half = ", h half covered" if any("h" in label for label in labels) else ""
    second = any("(" in label for label in labels)
    ax.set_xlabel(
        f"note, lowest first{' of each table' if len({p.table for p in points}) > 1 else ''}"
        + (f" (x closed, o open{half}" + ("; (2) second register)" if second else ")")) * words
    )


def _draw_points(ax, points, cents, detailed=False):
    """Draw the rows, and return a legend's handles."""
    low, high = ax.get_ylim()
    looks = _session_looks(points)
    for p, value in zip(points, cents, strict=True):
        if not np.isfinite(value):
            continue
        colour, marker = looks[p.of("session")]
        face = colour if p.used else "white"
        if not low < value < high:
            _draw_at_edge(ax, p, value, colour)
            continue
        if detailed and p.used:
            sd = p.of("sd")
            ax.vlines(p.x, value - sd, value + sd, color=colour, linewidth=1.2, zorder=2)
        ax.plot(
            p.x, value, marker="D" if p.fate == "checked" else marker, color=colour,
            markerfacecolor=face, linestyle="none", zorder=3,
        )  # fmt: skip
        if detailed and not p.used:
            ax.annotate(
                p.of("place"), (p.x, value), xytext=(0, 9), textcoords="offset points",
                ha="center", fontsize=9.5, color=DARK,
            )  # fmt: skip
    fates = {p.fate for p in points}
    handles = [
        handle(f"session {name}" if name != "all" else "measured", marker, colour)
        for name, (colour, marker) in looks.items()
    ]
    if "checked" in fates:
        handles.append(handle("check row, not fitted", "D", DARK))
    if fates & {"apart", "left out"}:
        handles.append(handle("kept apart or left out", "o", DARK, hollow=True))
    if detailed:
        handles.append(handle("± one standard deviation of a reading", "|", DARK))
    return handles


def _session_looks(points):
    names = dict.fromkeys(p.of("session") for p in sorted(points, key=lambda p: (p.table, p.row)))
    colours, markers = SESSION_COLOURS, SESSION_MARKERS
    return {
        name: (colours[i % len(colours)], markers[i % len(markers)]) for i, name in enumerate(names)
    }


def _draw_at_edge(ax, point, value, colour):
    """A row far outside the picture: an arrow at the edge with its cents."""
    low, high = ax.get_ylim()
    edge, way = (high, -1) if value > 0 else (low, 1)
    ax.annotate(
        f"{point.of('place')}: {value:+.0f}", (point.x, edge), xytext=(0, 26 * way),
        textcoords="offset points", rotation=90, ha="center", va="top" if value > 0 else "bottom",
        fontsize=10.5, color=colour, arrowprops={"arrowstyle": "->", "color": colour},
    )  # fmt: skip


def _draw_band(ax, points):
    """One sd of the prediction about 0, the widest of each note's rows."""
    widest: dict[int, float] = {}
    for p in points:
        sd = p.part.sd[p.row]
        if np.isfinite(sd):
            widest[p.column] = max(sd, widest.get(p.column, 0.0))
    columns, sds = list(widest), np.array(list(widest.values()))
    ax.bar(columns, 2 * sds, bottom=-sds, width=1.0, color=SKY, alpha=0.35, linewidth=0, zorder=0.5)
    low, high = ax.get_ylim()
    shown = float(np.max(sds, initial=0.0)) * 1.1
    ax.set_ylim(min(low, -shown), max(high, shown))
    return Patch(facecolor=SKY, alpha=0.35, label="± one standard deviation of the predicted note")


def _ring_row(ax, points, cents, suspect):
    """Ring a row that does not fit."""
    where = [
        (p, value)
        for p, value in zip(points, cents, strict=True)
        if (p.table, p.row) == (suspect.table, suspect.index)
    ]
    label = (
        f"{where[0][0].name} does not fit: {suspect.amount:+.0f} cents from where the others put it"
    )
    return _rings(ax, where, "o", label)


def _ring_hole(ax, points, cents, suspect, marker):
    """Ring the notes in which a suspicious hole is open."""
    where = [
        (p, value)
        for p, value in zip(points, cents, strict=True)
        if p.table == suspect.table
        and p.used
        and p.part.measurements.rows.openness[p.row][suspect.index] > 0
    ]
    flute = next(p.part.measurements.flute for p in points if p.table == suspect.table)
    name = hole_name(suspect.index, len(flute.holes))
    label = f"notes with {name} open: it acts as if {hole_acts(suspect, flute)}"
    return _rings(ax, where, marker, label)


def _rings(ax, where, marker, label):
    limits = np.array(ax.get_ylim())
    low, high = limits + _RING_ROOM * np.ptp(limits) * np.array([1, -1])
    ring = {"marker": marker, "linestyle": "none", "color": VERMILION, "markerfacecolor": "none"}
    ax.plot(
        [p.x for p, _ in where], [np.clip(value, low, high) for _, value in where],
        **ring, markersize=17.0, markeredgewidth=1.6, zorder=4, clip_on=False,
    )  # fmt: skip
    return Line2D([], [], **ring, markersize=11.0, markeredgewidth=1.6, label=label)


def _not_used(points, cents):
    """Say in words what became of the rows that were neither fitted nor checked."""
    others = [(p, value) for p, value in zip(points, cents, strict=True) if not p.used]
    handles = [
        _words(f"{p.name}{'' if np.isfinite(value) else ', not drawn'}: {p.part.why[p.row]}")
        for p, value in sorted(others, key=lambda pair: (pair[0].table, pair[0].row))[:NAMED]
    ]
    if len(others) > NAMED:
        handles.append(_words(f"and {len(others) - NAMED} more rows"))
    return handles


def _words(label):
    """A line of the legend without a marker."""
    return Line2D([], [], linestyle="none", label=label)


def _legend(ax, handles):
    """Put the legend beside the axes, where it hides nothing."""
    for line in handles:
        line.set_label(textwrap.fill(line.get_label(), 30))
    ax.legend(handles=handles, loc="upper left", bbox_to_anchor=(1.01, 1.0), borderaxespad=0.0)
