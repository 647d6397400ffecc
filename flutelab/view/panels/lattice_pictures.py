"""The two pictures of the panel that looks inside: they follow a slider."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from flutelab.model.within import Within
from flutelab.units import inches, millimetres
from flutelab.view.panels.live import Live
from flutelab.view.plots.parts import half_covered_openings
from flutelab.view.style import BLUE, DARK, GREY, PALE, VERMILION, powers_of_ten

_LINE, _SHARES = -1.4, -1.55  # where openings and their shares stand, below the wave
_MARGIN = 0.012  # of the axis of frequency


@dataclass(frozen=True, kw_only=True)
class Axes:
    """What stays on the pictures of one flute: limits, and how lengths are shown.

    ``frequency`` (F,) [Hz] of the spectrum, ``low`` and ``high`` its limits [m3/(Pa s)];
    ``left`` and ``right`` of the bore [m]; ``openings`` their number; ``upper`` "window" or
    "head"; ``unit`` "mm" or "in".
    """

    frequency: np.ndarray
    low: float
    high: float
    left: float
    right: float
    openings: int
    upper: str
    unit: str

    def place(self, metres: np.ndarray | float) -> np.ndarray | float:
        """Return places on the axis, in the unit of the flute's owner."""
        return inches(metres) if self.unit == "in" else millimetres(metres)


def modes_seen(seen: Within) -> Iterator[tuple[float, float, float, str]]:
    """Yield frequency [Hz], Q, strength and status of each mode of the first row."""
    m = seen.modes
    for mode in zip(m.frequency[0], m.q[0], m.strength[0], m.status[0], strict=True):
        if np.isfinite(mode[0]):
            yield mode


def spectrum_picture(axes: Axes) -> Live:
    """Return the picture of the spectrum at the window or head."""

    def begin(figure, _):
        ax = figure.subplots()
        powers_of_ten(ax.yaxis)
        low, high = axes.frequency[[0, -1]]
        ax.set_xlim(low, high + _MARGIN * (high - low))  # a mark at the end is drawn whole
        ax.set_ylim(axes.low, axes.high)
        ax.set_xlabel("frequency [Hz]")
        ax.set_ylabel("admittance [m³/(Pa s)]")
        ax.set_title(f"Spectrum at the {axes.upper}", loc="left")
        (curve,) = ax.plot([], [], color=BLUE, linewidth=1.8, zorder=2)
        cutoff = ax.axvline(0, color=VERMILION, linestyle="--", label="cutoff")
        mark = {"linestyle": "none", "marker": "o", "color": DARK, "zorder": 3}
        (others,) = ax.plot([], [], markerfacecolor=PALE, label="other modes", **mark)
        (weak,) = ax.plot([], [], markerfacecolor="white", label="weak modes", **mark)
        (played,) = ax.plot([], [], label="this register", **mark)
        words = ax.text(0, 1, "", ha="center", va="bottom", zorder=4)
        above = {"loc": "lower right", "bbox_to_anchor": (1.0, 0.98), "borderaxespad": 0.0}
        ax.legend(handles=[played, others, weak, cutoff], ncols=4, **above)
        return curve, cutoff, others, weak, played, words

    def move(artists, seen):
        curve, cutoff, others, weak, played, words = artists
        size = np.abs(seen.admittance[0])
        curve.set_data(seen.frequency, size)
        cutoff.set_xdata([seen.cutoff[0]] * 2)
        here = seen.wave.frequency[0]
        rest = [(f, status == "weak") for f, *_, status in modes_seen(seen) if f != here]
        for artist, kind in ((others, False), (weak, True)):
            at = np.array([f for f, is_weak in rest if is_weak == kind])
            artist.set_data(at, np.interp(at, seen.frequency, size))
        low, high = axes.frequency[[0, -1]]
        top = np.interp(here, seen.frequency, size)
        shown = low <= here <= high
        played.set_data(*(([here], [top]) if shown else ([], [])))
        words.set_text(f"{here:.0f} Hz{'' if shown else ', beyond'}" if here > 0 else "")
        words.set_position((np.clip(np.nan_to_num(here), low, high), 1.4 * top if here > 0 else 1))

    return Live(begin, move, size=(9.0, 2.9))


def wave_picture(axes: Axes) -> Live:
    """Return the picture of the standing wave and of what leaves."""

    def begin(figure, _):
        ax = figure.subplots()
        ax.set_xlim(axes.place(axes.left), axes.place(axes.right))
        ax.set_ylim(-1.9, 1.45)
        ax.set_yticks([-1, 0, 1])
        edge = "sounding edge" if axes.upper == "window" else "head"
        ax.set_xlabel(f"place in the bore, from the {edge} [{axes.unit}]")
        ax.set_ylabel("over its largest")
        ax.set_title(
            "Standing wave (not the path of the air); below, % of the sound that leaves", loc="left"
        )
        ax.axhline(0, color=PALE, linewidth=1.0)
        ax.axhline(_LINE, color=DARK, linewidth=1.0)
        (pressure,) = ax.plot([], [], color=BLUE, linewidth=2.2, label="pressure")
        (flow,) = ax.plot([], [], color=VERMILION, linewidth=2.2, linestyle="--", label="flow")
        ends = ax.plot(
            [], [], color=GREY, linestyle=":", linewidth=1.8, label="ends of a plain pipe"
        )
        mark = {"linestyle": "none", "marker": "o", "color": DARK, "zorder": 3}
        (opened,) = ax.plot([], [], markerfacecolor="white", label="open", **mark)
        covered = {"fillstyle": "bottom", "markerfacecoloralt": "white"}
        (half,) = ax.plot([], [], label="half covered", **covered, **mark)
        (closed,) = ax.plot([], [], label="closed", **mark)
        ax.legend(loc="upper center", ncols=6, columnspacing=1.2)
        shares = [ax.text(0, _SHARES, "", ha="center", va="top") for _ in range(axes.openings)]
        return pressure, flow, *ends, opened, half, closed, *shares

    def move(artists, seen):
        pressure, flow, ends, opened, half, closed, *shares = artists
        wave = seen.wave
        moved, largest = wave.flow[0].imag, np.max(np.abs(wave.flow[0].imag))
        pressure.set_data(axes.place(wave.position), wave.pressure[0].real)
        flow.set_data(axes.place(wave.position), moved / largest if largest > 0 else moved)
        limits = axes.place(np.array([wave.effective_head[0], wave.effective_end[0]]))
        ends.set_data(np.repeat(limits, 3), [-1.15, 1.05, np.nan] * 2)
        out, place = wave.outflow[0] != 0, axes.place(wave.place)
        covered = half_covered_openings(wave.label[0])
        for artist, some in ((opened, out & ~covered), (half, covered), (closed, ~out)):
            artist.set_data(place[some], np.full(np.sum(some), _LINE))
        for words, x, part, sounding in zip(shares, place, wave.power_share[0], out, strict=True):
            words.set_text(f"{100 * part:z.0f}" if sounding and np.isfinite(part) else "")
            words.set_x(x)

    return Live(begin, move, size=(9.0, 3.4))
