"""One hole's picture: its note against its size, and the wave that stands in the pipe."""

from __future__ import annotations

from textwrap import wrap

import numpy as np
from scipy.interpolate import PchipInterpolator

from flutelab.files.hole_lesson import HoleNote
from flutelab.pitch import cents
from flutelab.units import millimetres
from flutelab.view.panels.curtain import HIDDEN
from flutelab.view.panels.live import Live
from flutelab.view.style import BLUE, DARK, GREY, PALE, VERMILION

_HIDDEN_TOP = 1200.0  # cents: whatever the pipe
_LINE = 20  # letters: what is hidden is said in lines that the axes hold
_NEAR = 0.25  # of the pipe: places at which labels in their middle would touch
_FINE = 120  # places of a smooth curve through the sizes that are reckoned
_ROOM = 1.4  # over the highest line: what names the lines stands there


def hole_picture(length: float, widest: float) -> Live:
    """Return what draws a `HoleNote`, or None while it is hidden.

    Parameters
    ----------
    length, widest : float
        Of the pipe, and of the hole's axis [mm].
    """

    def begin(figure, note):
        left, right = figure.subplots(1, 2, width_ratios=(1.0, 1.1))
        return *_begin_curve(left, note, *frame(note)), *_begin_wave(right, length)

    def frame(note):
        size = widest if note is None else millimetres(note.sweep.diameter[-1])
        return float(np.ceil(size)), _top(note)

    def kind(note):
        return "hidden" if note is None else "plain" if note.level == "plain" else ""

    return Live(begin, _move, frame=lambda note: (kind(note), *frame(note)), size=(7.0, 3.2))


def _top(note: HoleNote | None) -> float:
    """The curve's highest cents, in steps: seldom anew, and the same for all while hidden."""
    if note is None:
        return _HIDDEN_TOP
    sweep = note.sweep
    shown = {"full": [], "length": [], "plain": [sweep.plain]}[note.level]
    heights = cents(np.array([*sweep.frequency, *sweep.rule, *shown]), sweep.no_hole)
    cut = 0.0 if np.isnan(sweep.cut) else cents(sweep.cut, sweep.no_hole)
    return float(200 * np.ceil(_ROOM * max(np.max(heights), cut) / 200))


def _begin_curve(ax, note, widest, top):
    ax.set_xlim(0, widest)
    ax.set_ylim(-top / 8, top)
    ax.set_xlabel("diameter of the hole [mm]")
    ax.set_ylabel("cents above no hole")
    ax.set_title("Note against size", loc="left", fontsize=12.0)
    ax.grid(color=PALE, linewidth=0.8)
    if note is None:
        words = {"ha": "center", "transform": ax.transAxes, "fontsize": 11.0}
        ax.text(0.5, 0.45, "\n".join(wrap(HIDDEN, _LINE)), backgroundcolor="white", **words)
    (low,) = ax.plot([], [], color=GREY, linewidth=1.5, linestyle=":")
    (high,) = ax.plot([], [], color=GREY, linewidth=1.5, linestyle=":")
    none = ax.text(widest - 0.3, -top / 40, "", color=DARK, fontsize=10.5, ha="right", va="top")
    cut = ax.text(0.3, 0, "", color=DARK, fontsize=10.5, va="bottom")
    (model,) = ax.plot([], [], color=BLUE, linewidth=2.4, label="full model")
    (rule,) = ax.plot([], [], color=VERMILION, linewidth=2.0, linestyle="--", label="rule of thumb")
    (plain,) = ax.plot([], [], color=DARK, linewidth=1.6, linestyle="-.", label="c/2L")
    (bar,) = ax.plot([], [], color=BLUE, linewidth=7, alpha=0.45, solid_capstyle="butt", zorder=1)
    shown = [model, rule, *[plain] * (note is not None and note.level == "plain")]
    look = {"columnspacing": 1.0, "handlelength": 1.7, "borderaxespad": 0.2}
    ax.legend(handles=shown, loc="upper left", ncols=len(shown) - 1, **look)  # two lines high
    return low, high, none, cut, model, rule, plain, bar


def _begin_wave(ax, length):
    ax.axhline(0, color=PALE, linewidth=1.0)
    ax.set_xlim(-0.2 * length, 1.2 * length)
    ax.set_ylim(-1.75, 1.8)
    ax.set_yticks([-1, 0, 1])
    ax.set_xlabel("place from the edge [mm]")
    ax.set_title(
        "Standing wave (not the path\nof the air); shares of the flow", loc="left", fontsize=12.0
    )
    (pressure,) = ax.plot([], [], color=BLUE, linewidth=2.2, label="pressure")
    (flow,) = ax.plot([], [], color=VERMILION, linewidth=2.0, linestyle="--", label="flow")
    (openings,) = ax.plot([], [], "|", color=DARK, markersize=14)
    shares = [ax.text(0, 1.28, "", fontsize=10.5, ha="center") for _ in range(3)]
    ax.legend(loc="lower left", ncols=2, handlelength=1.7)
    return pressure, flow, openings, *shares


def _move(artists, note):
    low, high, none, cut, model, rule, plain, bar, pressure, flow, openings, *shares = artists
    if note is None:
        return
    sweep, size = note.sweep, millimetres(note.flute.holes[note.hole - 1].diameter)
    across = millimetres(sweep.diameter)
    ends = [0.0, across[-1]]
    at = {"full": model, "length": rule, "plain": plain}
    for line, notes in ((model, sweep.frequency), (rule, sweep.rule)):
        line.set_data(*_smooth(across, cents(notes, sweep.no_hole)))
    plain.set_data(
        *(ends, [cents(sweep.plain, sweep.no_hole)] * 2) if note.level == "plain" else ([], [])
    )
    here = cents(note.frequency[note.level], sweep.no_hole)
    bar.set_data([size, size], [0.0, here])
    bar.set_color(at[note.level].get_color())
    _limits(low, high, none, cut, sweep, ends)
    _wave(pressure, flow, openings, shares, note.wave)


def _smooth(across, heights):
    """A curve through points that rises and falls only where they do: for the eye."""
    fine = np.linspace(across[0], across[-1], _FINE)
    return fine, PchipInterpolator(across, heights)(fine)


def _limits(low, high, none, cut, sweep, ends):
    low.set_data(ends, [0, 0])
    none.set_text("no hole")
    top = [] if np.isnan(sweep.cut) else [cents(sweep.cut, sweep.no_hole)] * 2
    high.set_data(ends[: len(top)], top)
    cut.set_y(top[0] if top else 0)
    cut.set_text("pipe cut off at the hole" if top else "")


def _wave(pressure, flow, openings, shares, wave):
    place = millimetres(wave.position)
    moved = wave.flow[0].imag
    pressure.set_data(place, wave.pressure[0].real)
    flow.set_data(place, moved / np.max(np.abs(moved)))
    places, share = millimetres(wave.place), wave.flow_share[0]
    largest = np.argsort(-share)[: len(shares)]
    openings.set_data(places[largest], np.full(len(largest), 1.12))
    labels = sorted(largest, key=lambda number: places[number])
    for text, number, side in zip(shares, labels, _sides(places[labels]), strict=False):
        text.set_position((places[number], 1.28))
        text.set_horizontalalignment(side)
        text.set_text(f"{wave.opening[number]}\n{100 * share[number]:.0f} %")


def _sides(places):
    """How labels in a row stand at their places: neighbours that are near lean away."""
    near = np.diff(places) < _NEAR * places[-1]
    before, after = [False, *near], [*near, False]
    return ["right" if b else "left" if a else "center" for a, b in zip(before, after, strict=True)]


def hole_picture_words(note: HoleNote | None) -> str:
    """Say what the picture shows."""
    if note is None:
        return f"Two empty axes. {HIDDEN}."
    sweep, wave = note.sweep, note.wave
    below, above = sweep.frequency[0], sweep.frequency[-1]
    cut = "" if np.isnan(sweep.cut) else f" The pipe cut off at the hole: {sweep.cut:.1f} Hz."
    leaves = ", ".join(
        f"{name} {100 * share:.0f} %"
        for name, share in zip(wave.opening, wave.flow_share[0], strict=True)
    )
    return (
        f"Left, note against the hole's diameter: from {below:.1f} Hz at "
        f"{millimetres(sweep.diameter[0]):.1f} mm to {above:.1f} Hz at "
        f"{millimetres(sweep.diameter[-1]):.1f} mm; no hole: {sweep.no_hole:.1f} Hz.{cut} "
        f"Right, pressure and flow along the pipe; of the moving air leaves by: {leaves}."
    )
