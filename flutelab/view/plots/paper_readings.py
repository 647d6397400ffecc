"""Picture of readings for a paper: over the book, and over the fit."""

from __future__ import annotations

import textwrap

import numpy as np
from matplotlib.figure import Figure

from flutelab.files.archived_results import Results
from flutelab.model.notes import CENT
from flutelab.view.plots.paper_page import (
    is_wide,
    legend_and_height,
    letter,
    room,
    small_handle,
)
from flutelab.view.style import DARK, GREY, PALE, SESSION_COLOURS, SESSION_MARKERS

READINGS = (
    "Readings over (a) the formulas as they stand and (b) the calibrated model with the "
    "session's offset, in cents; bars are one standard deviation of a reading. Readings "
    "farther off than any that was used may lie outside the scale; residuals.csv holds all."
)
_LABEL = 9.0  # points of width that an upright label takes
_SPREAD = 0.3  # of a column to either side, for readings of one note


def draw_readings(page: Figure, results: Results) -> None:
    """By the book above, after the fit below: a column a note, or against frequency."""
    parts = results.calibration.tables
    columns = _columns(parts)
    fits = len(columns) * _LABEL < room(page)
    above, below = page.subplots(2, 1, sharex=True)
    looks: dict[tuple[int, str], tuple[str, str]] = {}
    for column, (table, word, register) in enumerate(columns):
        part, rows = parts[table], columns[table, word, register]
        m = part.measurements
        place = column + np.linspace(-_SPREAD, _SPREAD, len(rows) + 2)[1:-1]
        place = place if fits else m.frequency[rows]
        for x, row in zip(place, rows, strict=True):
            looks.setdefault((table, m.session[row]), _look(len(looks)))
            look = looks[table, m.session[row]]
            book = np.log(m.frequency[row] / part.book[row]) / CENT
            _draw_reading(above, part, row, x, book, look)
            _draw_reading(below, part, row, x, part.residual[row], look, sd=m.sd[row])
    _name_readings(above, below, columns, fits, len(parts))
    _limit(above, below, parts)
    fates = {fate for part in parts for fate in part.fate}
    legend_and_height(page, _handles(parts, looks, fates), 3.3 if fits else 3.0)


def _columns(parts):
    """Rows of each note by (table, fingering, register), lowest first in each table."""
    columns: dict[tuple[int, str, int], list[int]] = {}
    for table, part in enumerate(parts):
        for row, word in enumerate(part.measurements.rows.label):
            if np.isfinite(part.book[row]):
                columns.setdefault((table, word, int(part.register[row])), []).append(row)
    order = sorted(columns, key=lambda key: (key[0], parts[key[0]].book[columns[key][0]]))
    return {key: columns[key] for key in order}


def _look(number):
    return (
        SESSION_COLOURS[number % len(SESSION_COLOURS)],
        SESSION_MARKERS[number % len(SESSION_MARKERS)],
    )


def _draw_reading(ax, part, row, x, cents, look, sd=0.0):
    colour, marker = look
    fate = part.fate[row]
    used = fate in ("fitted", "checked")
    if used and sd:
        ax.vlines(x, cents - sd, cents + sd, color=colour, linewidth=0.7)
    ax.plot(
        x, cents, "D" if fate == "checked" else marker, color=colour, markeredgewidth=0.7,
        markerfacecolor=colour if used else "white",
    )  # fmt: skip


def _name_readings(above, below, columns, fits, tables):
    above.set_title("a) measured over the book", loc="left")
    below.set_title("b) measured over the fit", loc="left")
    for ax in (above, below):
        ax.axhline(0.0, color=GREY, linewidth=0.6, zorder=0)
        ax.set_ylabel("cents")
    if not fits:
        below.set_xlabel("frequency [Hz]")
        return
    names = [
        f"{letter(table)} {word or 'bare'}" if tables > 1 else word or "bare"
        for table, word, _ in columns
    ]
    again = [f" ({register})" if register > 1 else "" for _, _, register in columns]
    labels = [f"{name}{more}" for name, more in zip(names, again, strict=True)]
    below.set_xticks(range(len(labels)), labels, rotation=90, family="monospace")
    below.set_xlim(-0.6, len(labels) - 0.4)
    second = "; (2) second register" if any(again) else ""
    words = f"note, lowest first (x closed, o open{second})"
    below.set_xlabel(textwrap.fill(words, 60 if is_wide(below.figure) else 34))
    for ax in (above, below):
        for border in np.arange(len(labels) - 1) + 0.5:
            ax.axvline(border, color=PALE, linewidth=0.3, zorder=0)


def _limit(above, below, parts):
    """Limits that fitted and checked rows need; a slip of the pen stretches no scale."""
    for ax, error in ((above, False), (below, True)):
        low, high = -1.0, 1.0
        for part in parts:
            m = part.measurements
            used = np.isin(part.fate, ("fitted", "checked"))
            cents = part.residual if error else np.log(m.frequency / part.book) / CENT
            sd = m.sd if error else np.zeros(len(cents))
            known = used & np.isfinite(cents)
            low = min(low, np.min((cents - sd)[known], initial=low))
            high = max(high, np.max((cents + sd)[known], initial=high))
        room = 0.08 * (high - low)
        ax.set_ylim(low - room, high + room)


def _handles(parts, looks, fates):
    handles = []
    for (table, session), (colour, marker) in looks.items():
        whose = f"{letter(table)} " if len(parts) > 1 else ""
        name = "measured" if session == "all" else f"session {textwrap.shorten(session, 18)}"
        handles.append(small_handle(f"{whose}{name}", marker, colour))
    if "checked" in fates:
        handles.append(small_handle("check row, not fitted", "D", DARK))
    if fates & {"apart", "left out"}:
        handles.append(small_handle("not used", "o", DARK, hollow=True))
    return handles
