"""Pictures of one note from within: its spectrum and its standing wave."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from flutelab.model.cutoff import LatticeCutoff
from flutelab.model.inside import StandingWave
from flutelab.model.spectrum import Spectrum, admittance
from flutelab.units import inches, millimetres
from flutelab.view.plots.parts import checked_kind, checked_row, handle, legend_below, new_axes
from flutelab.view.style import (
    BLACK,
    BLUE,
    DARK,
    GREY,
    PALE,
    VERMILION,
    powers_of_ten,
    style,
)

_STATUS = {  # a mark a status: filled = speaks
    "ok": ("o", False, "mode"),
    "near cutoff": ("D", False, "mode near the cutoff, or above"),
    "weak": ("o", True, "weak mode, does not speak"),
}
_LIFT = 8.0  # points, from a mode to its words
_WORDS = (56.0, 30.0)  # points, the room that they take


def plot_spectrum(
    result: Spectrum,
    *,
    row: int = 0,
    cutoff: LatticeCutoff | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw the admittance at the head of one note, its modes and zeros of the reactance.

    Parameters
    ----------
    result : Spectrum
        From `flutelab.model.spectrum.spectrum`.
    row : int
        Which of its notes, counted from 0.
    cutoff : LatticeCutoff, optional
        Of the same rows: marked where it lies on the axis.
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        Admittance on a scale of ratios: a flute plays near its peaks. Of a stopped head it is
        the impedance, whose peaks are the modes there. Each mode has its frequency and Q
        beside it; short lines below are the reactance's rising zeros.

    Raises
    ------
    ValueError
        There is no such row.
    TypeError
        Another result.
    """
    checked_kind(result, Spectrum, "spectrum")
    checked_row(row, result.label)
    ax = ax or new_axes(5.2)
    size, words = _peaked(result, row)
    with style():
        ax.plot(result.frequency, size, color=BLUE, linewidth=1.8)
        powers_of_ten(ax.yaxis)
        ax.set_ylim(np.min(size) / 4, np.max(size) * 12)
        ax.set_xlim(result.frequency[0], result.frequency[-1])
        handles = _mark_modes(ax, result, row, size)
        zeros = result.zeros[row][np.isfinite(result.zeros[row])]
        base = ax.get_ylim()[0]
        ax.vlines(zeros, base, base * 2.2, color=BLACK, linewidth=2.0)
        if zeros.size:
            handles.append(handle("the reactance rises through zero", "|", BLACK))
        for name, value, dashes in _cutoffs(cutoff, row):
            if np.isfinite(value) and value <= result.frequency[-1]:
                line = ax.axvline(value, color=VERMILION, linestyle=dashes, linewidth=1.4)
                line.set_label(f"{name}, {value:.0f} Hz")
                handles.append(line)
        ax.set_xlabel("frequency [Hz]")
        ax.set_ylabel(words)
        ax.set_title(f"Spectrum of {result.label[row] or 'the bare pipe'}", loc="left")
        legend_below(ax, handles=handles, ncols=3)
    return ax


def _peaked(result, row):
    """Admittance or impedance (F,), whichever the modes are peaks of, and its words."""
    size = np.abs(admittance(result)[row])
    modes = result.modes
    for mode, q in zip(modes.frequency[row], modes.q[row], strict=True):
        if result.frequency[0] <= mode <= result.frequency[-1]:
            below, here, above = np.interp(
                mode * (1 + np.array([-1, 0, 1]) / q), result.frequency, size
            )
            if here < min(below, above):
                return 1 / size, "impedance at the head [Pa s/m³]"
            break
    return size, "admittance at the head [m³/(Pa s)]"


def _mark_modes(ax, result, row, size):
    handles, taken = {}, []
    modes = result.modes
    for frequency, q, status in zip(
        modes.frequency[row], modes.q[row], modes.status[row], strict=True
    ):
        if status not in _STATUS or not result.frequency[0] <= frequency <= result.frequency[-1]:
            continue
        marker, hollow, words = _STATUS[status]
        top = np.interp(frequency, result.frequency, size)
        handles[status] = handle(words, marker, DARK, hollow)
        ax.plot(
            frequency, top, marker=marker, color=DARK, markerfacecolor="white" if hollow else DARK
        )
        up = _room_above(ax, frequency, top, taken)
        ax.annotate(
            f"{frequency:.0f} Hz\nQ {q:.0f}", (frequency, top), xytext=(0, up),
            textcoords="offset points", ha="center", va="bottom", fontsize=10.5,
            arrowprops={"arrowstyle": "-", "color": GREY, "shrinkB": 5} if up > _LIFT else None,
        )  # fmt: skip
    return [handles[status] for status in _STATUS if status in handles]


def _room_above(ax, frequency, top, taken):
    """How far above a mode [points] its words are clear of those before it, told in `taken`."""
    x, y = ax.transData.transform((frequency, top)) * 72 / ax.figure.dpi
    base = y + _LIFT
    for left, low in sorted(taken, key=lambda place: place[1]):
        if x - left < _WORDS[0] and low - _WORDS[1] < base < low + _WORDS[1]:
            base = low + _WORDS[1]
    taken.append((x, base))
    return base - y


def _cutoffs(cutoff, row):
    if cutoff is None:
        return []
    return [
        ("cutoff of a regular row", cutoff.exact[row], "--"),
        ("half the power is lost", cutoff.own[row], ":"),
    ]


def plot_standing_wave(result: StandingWave, *, row: int = 0, ax: Axes | None = None) -> Axes:
    """Draw pressure and flow along the bore of one note, and what leaves by which opening.

    Parameters
    ----------
    result : StandingWave
        From `flutelab.model.inside.standing_wave`.
    row : int
        Which of its notes, counted from 0.
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        Pressure at its peak and flow a quarter of a period away, each over its largest: not
        the path of the air. Below, the openings (closed ones filled) with their share of the
        radiated power in percent; dashed, the acoustic ends of the column.

    Raises
    ------
    ValueError
        There is no such row.
    TypeError
        Another result.
    """
    checked_kind(result, StandingWave, "standing_wave")
    checked_row(row, result.label)
    ax = ax or new_axes(5.4)
    name = result.label[row] or "the bare pipe"
    edge = "sounding edge" if result.opening[0] == "window" else "head"
    with style():
        ax.set_title(f"Standing wave of {name}", loc="left")
        ax.set_xlabel(f"place in the bore, from the {edge} [{result.unit_shown}]")
        ax.set_ylabel("over its largest")
        if result.reason[row]:
            ax.text(0.5, 0.5, result.reason[row], transform=ax.transAxes, ha="center")
            return ax
        _draw_wave(ax, result, row)
        _draw_openings(ax, result, row)
        ax.set_ylim(-1.75, 1.15)
        ax.set_yticks([-1, -0.5, 0, 0.5, 1])
        ax.set_title(
            f"Standing wave of {name} at {result.frequency[row]:.1f} Hz (not the path of the air)",
            loc="left",
        )
        legend_below(ax, ncols=4)
    return ax


def _place(result, metres):
    """Places on the axis, in the unit of the flute's owner."""
    return inches(metres) if result.unit_shown == "in" else millimetres(metres)


def _draw_wave(ax, result, row):
    """Pressure, flow, and where the column ends."""
    place = _place(result, result.position)
    flow = result.flow[row].imag
    ax.axhline(0, color=PALE, linewidth=1.0)
    ax.plot(place, result.pressure[row].real, color=BLUE, linewidth=2.2, label="pressure")
    ax.plot(
        place, flow / np.max(np.abs(flow)), color=VERMILION, linewidth=2.2, linestyle="--",
        label="flow, a quarter of a period away",
    )  # fmt: skip
    ends = [result.effective_head[row], result.effective_end[row]]
    for number, end in enumerate(x for x in ends if np.isfinite(x)):
        label = None if number else "the column's acoustic ends"
        ax.vlines(_place(result, end), -1.2, 1.1, GREY, "dotted", linewidth=1.6, label=label)


def _draw_openings(ax, result, row):
    """Openings on a line below, each with its share of the radiated power [%]."""
    ax.axhline(-1.35, color=DARK, linewidth=1.0)
    open_ones = result.outflow[row] != 0
    for opened, words in ((True, "open"), (False, "closed")):
        some = open_ones == opened
        if np.any(some):
            ax.plot(
                _place(result, result.place[some]), np.full(np.sum(some), -1.35), "o", color=DARK,
                markerfacecolor="white" if opened else DARK, label=words, zorder=3,
            )  # fmt: skip
    for place, share, opened in zip(result.place, result.power_share[row], open_ones, strict=True):
        if opened:
            ax.annotate(
                f"{round(float(100 * share))} %", (_place(result, place), -1.35), xytext=(0, -9),
                textcoords="offset points", ha="center", va="top", fontsize=10.5,
            )  # fmt: skip
    ax.annotate(
        "share of the radiated power" if np.any(open_ones) else "nothing leaves: all is closed",
        (0.0, -1.70), xycoords=("axes fraction", "data"), xytext=(4, 0),
        textcoords="offset points", fontsize=10.5, color=DARK, va="bottom",
    )  # fmt: skip
