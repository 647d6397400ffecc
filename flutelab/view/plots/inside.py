"""Pictures of one note from within: its spectrum and its standing wave."""

from __future__ import annotations

from textwrap import wrap

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import LogLocator

from flutelab.files.look_text import DRIVEN, DRIVEN_BELOW
from flutelab.model.cutoff import LatticeCutoff
from flutelab.model.inside import StandingWave
from flutelab.model.spectrum import Spectrum, admittance
from flutelab.units import inches, millimetres
from flutelab.view.plots.parts import (
    checked_kind,
    checked_row,
    half_covered_openings,
    handle,
    legend_below,
    new_axes,
)
from flutelab.view.style import (
    BLACK,
    BLUE,
    DARK,
    GREY,
    PALE,
    VERMILION,
    WIDTH,
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
_LINE = -1.35  # where the openings stand, below the wave
_LETTERS = 125  # of a line of words below
_BOX = {"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 0.5}  # behind words
# Inches about the axes of a spectrum. Its margins are known: finding them out by drawing it
# twice, as other pictures do, takes longer than the picture itself.
_HEIGHT, _LEFT, _RIGHT, _ABOVE, _BELOW = 5.2, 0.85, 0.42, 0.4, 1.12
_NAMES = 0.55  # inches that the numbers and the name of the axis take


def plot_spectrum(
    result: Spectrum,
    *,
    row: int = 0,
    cutoff: LatticeCutoff | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw the admittance at the window or head for a note, its modes and the reactance's zeros.

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
    given, ax = ax, ax or _spectrum_axes()
    size, words = _peaked(result, row)
    with style():
        ax.plot(result.frequency, size, color=BLUE, linewidth=1.8)
        powers_of_ten(ax.yaxis)
        ax.yaxis.set_minor_locator(LogLocator(subs=(2, 5)))
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
        if given is None:
            below = (0.0, (_BELOW - _NAMES) / _HEIGHT)
            ax.figure.legend(handles=handles, ncols=3, loc="upper left", bbox_to_anchor=below)
        else:
            legend_below(ax, handles=handles, ncols=3)
    return ax


def _spectrum_axes():
    """Axes of a new figure with room for title, labels and a legend of two lines."""
    ax = new_axes(_HEIGHT)
    ax.figure.set_layout_engine("none")
    ax.set_position(
        (_LEFT / WIDTH, _BELOW / _HEIGHT,
         1 - (_LEFT + _RIGHT) / WIDTH, 1 - (_ABOVE + _BELOW) / _HEIGHT)
    )  # fmt: skip
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
                return 1 / size, f"impedance at the {result.head} [Pa s/m³]"
            break
    return size, f"admittance at the {result.head} [m³/(Pa s)]"


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
            f"{frequency:.0f} Hz\nQ {q:.0f}", (frequency, top), xytext=(0, up), zorder=4,
            textcoords="offset points", ha="center", va="bottom", fontsize=10.5, bbox=_BOX,
        )  # fmt: skip
        if up > _LIFT:
            _lead(ax, frequency, top, up)
    return [handles[status] for status in _STATUS if status in handles]


def _lead(ax, frequency, top, up):
    """A thin line from a mode to its words [points above it], behind all words."""
    x, y = ax.transData.transform((frequency, top))
    _, end = ax.transData.inverted().transform((x, y + up * ax.figure.dpi / 72))
    ax.plot([frequency, frequency], [top, end], color=GREY, linewidth=1.0, zorder=1.5)


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
        the path of the air. Below, the openings (closed ones filled, half-covered ones half)
        with their shares of the radiated power and of the flow in percent; dotted, where a
        plain pipe with this note would begin and end.

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
        ax.set_ylim(-1.9, 1.15)
        ax.set_yticks([-1, -0.5, 0, 0.5, 1])
        ax.set_title(
            f"Standing wave of {name} at {result.frequency[row]:.1f} Hz (not the path of the air)",
            loc="left",
        )
        driven = np.any(result.power_share[row] < DRIVEN_BELOW)
        legend_below(ax, words=wrap(DRIVEN, _LETTERS) if driven else (), ncols=3)
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
        label = None if number else "ends of a plain pipe with this note"
        ax.vlines(_place(result, end), -1.2, 1.1, GREY, "dotted", linewidth=1.6, label=label)


def _draw_openings(ax, result, row):
    """Openings on a line below, each with its shares of the radiated power and the flow [%]."""
    ax.axhline(_LINE, color=DARK, linewidth=1.0)
    open_ones = result.outflow[row] != 0
    half = half_covered_openings(result.label[row])
    kinds = {
        "open": (open_ones & ~half, {"markerfacecolor": "white"}),
        "half covered": (half, {"fillstyle": "bottom", "markerfacecoloralt": "white"}),
        "closed": (~open_ones, {}),
    }
    for words, (some, mark) in kinds.items():
        if np.any(some):
            ax.plot(
                _place(result, result.place[some]), np.full(np.sum(some), _LINE), "o", color=DARK,
                label=words, zorder=3, **mark,
            )  # fmt: skip
    look = {"textcoords": "offset points", "va": "top", "fontsize": 10.5}
    for place, power, flow in zip(
        result.place[open_ones], result.power_share[row][open_ones],
        result.flow_share[row][open_ones], strict=True,
    ):  # fmt: skip
        words = f"{round(float(100 * power))} %\n{round(float(100 * flow))} %"
        ax.annotate(words, (_place(result, place), _LINE), xytext=(0, -9), ha="center", **look)
    words = "radiated power\nflow" if np.any(open_ones) else "nothing leaves: all is closed"
    ax.annotate(
        words, (1.0 if np.any(open_ones) else 0.0, _LINE), xycoords=("axes fraction", "data"),
        xytext=(4, -9), color=DARK, **look,
    )  # fmt: skip
