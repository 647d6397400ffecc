"""Pictures of why notes are where they are: octaves, rules of thumb, air along the bore."""

from __future__ import annotations

from itertools import cycle
from textwrap import wrap

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Patch
from matplotlib.ticker import FuncFormatter
from pandas import DataFrame

from flutelab.files.look_text import strength_words
from flutelab.model.byhand import ByHand, JetReadout
from flutelab.model.octaves import CAUSES, INTERVALS, REST, Octaves, interval_names
from flutelab.model.warmth import Warmth
from flutelab.physics import jet
from flutelab.physics.breath import AirAlong, air_at
from flutelab.pitch import cents
from flutelab.units import to_celsius, to_mm_water
from flutelab.view.plots.parts import (
    checked_kind,
    handle,
    legend_below,
    name_notes,
    new_axes,
    note_name,
)
from flutelab.view.style import BLACK, BLUE, DARK, GREEN, GREY, PALE, PURPLE, SKY, VERMILION, style

_LOOKS = {  # a fill and a hatching a cause, to be told apart without colour too
    "window": (BLUE, ""), "lattice": (VERMILION, "//"), "losses": (SKY, ".."),
    "taper": (PURPLE, "\\\\"), "coupling": (GREEN, "xx"), "air": (PALE, "oo"),
}  # fmt: skip
_MARKS = (("o", VERMILION), ("s", BLUE), ("^", PURPLE), ("D", GREEN), ("v", BLACK))
_LINEAR = 30.0  # cents, up to which the scale of the rules' errors is even
_LEAST = 10.0  # cents shown to either side of 0
_FARTHEST = 300.0  # cents, where the picture of the octaves ends
_MARGIN = 0.025  # of the height: a marker is nearer to no edge
_NEAR = 0.18  # of the height: words at an edge would lie on a marker
_CLEAR = 10.0  # points, from a marker to words beyond it
_UNSEEN = 0.05  # cents, of a bar
_FADED = 0.4  # opacity of the bars of a note with a remark
_FROM = 50.0  # Pa, the pressure that the others are compared with
_WORDS, _LINE = 115, 0.19  # letters of a line of words below, and its height [inches]


def plot_octaves(result: Octaves, *, ax: Axes | None = None) -> Axes:
    """Draw how far each second register is from an octave or twelfth, and what makes it so.

    Parameters
    ----------
    result : Octaves
        From `flutelab.model.octaves.octaves`.
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        A column a note: causes that widen stacked upwards, those that narrow downwards, the
        whole as a dot and a number. A note with a remark is pale and hollow, one without an
        octave a dash; both are told in words below. Beyond 300 cents the picture ends: a small
        arrow with a number says how far a bar goes on, and a triangle stands for the dot.

    Raises
    ------
    TypeError
        Another result.
    """
    checked_kind(result, Octaves, "octaves")
    told = _told(result)
    if all(result.reason):
        return _no_octaves(ax or new_axes(2.4 + _LINE * len(told)), result, told)
    if any("strength" in line for line in told):
        head = "window" if "window" in result.causes else "head"
        told += wrap(strength_words(head, holes=True), _WORDS, subsequent_indent="   ")
    ax = ax or new_axes(5.2 + _LINE * len(told))
    pale = np.array([bool(remark) for remark in result.remark], dtype=bool)
    with style():
        handles, top, bottom = _stack(ax, result, pale)
        low, high = np.clip([min(bottom), max(top)], -_FARTHEST, _FARTHEST)
        room = max(0.12 * (high - low), _LEAST)
        ax.set_ylim(low - room, high + room)
        _draw_wholes(ax, result, pale, top)
        _draw_depths(ax, result, bottom)
        handles.append(handle("whole", "o", BLACK))
        if np.any(pale):
            handles.append(handle("whole, with a remark *", "o", BLACK, hollow=True))
        if np.any(np.abs(result.stretch - (low + high) / 2) > (high - low) / 2 + room):
            handles.append(handle("whole, beyond the picture", "v", BLACK, hollow=True))
        ax.axhline(0, color=DARK, linewidth=1.0)
        _name_octaves(ax, result)
        legend_below(ax, words=told, handles=handles, ncols=2)
    return ax


def _name_octaves(ax, result):
    name_notes(ax, result.label)
    names = interval_names(result, several=True)
    if " or " in names:  # say of each which it is
        each = zip(result.label, result.interval.tolist(), strict=True)
        ticks = [f"{note_name(word)}\n{INTERVALS[ratio]}" for word, ratio in each]
        ax.set_xticks(ax.get_xticks(), ticks, family="monospace")
    over = {"octaves": "an octave", "twelfths": "a twelfth"}.get(names, "its interval")
    ax.set_ylabel(f"second register over {over} [cents]")
    ax.set_title(f"How wide the {names} are, and why", loc="left")


def _no_octaves(ax, result, told):
    """Say that there is nothing to draw."""
    with style():
        _name_octaves(ax, result)
        ax.set_ylabel("")
        ax.set_yticks([])
        words = "\n".join([f"no {interval_names(result)} can be told", *told])
        ax.text(0.5, 0.5, words, transform=ax.transAxes, ha="center", va="center")
    return ax


def _told(result):
    """What is to be said of notes, in lines."""
    notes: dict[str, list[str]] = {}
    for label, reason, remark in zip(result.label, result.reason, result.remark, strict=True):
        if words := reason or remark:
            notes.setdefault(words, []).append(note_name(label))
    said = [f"* {', '.join(names)}: {words}" for words, names in notes.items()]
    return [line for words in said for line in wrap(words, _WORDS, subsequent_indent="   ")]


def _stack(ax, result, pale):
    """Draw the bars; return a legend's handles and where the columns end."""
    layers = [
        (CAUSES[cause], part, _LOOKS[cause])
        for cause, part in zip(result.causes, result.parts, strict=True)
    ]
    layers.append((REST, result.remainder, (GREY, "")))
    columns = np.arange(len(result.label))
    handles, top, bottom = [], np.zeros(len(columns)), np.zeros(len(columns))
    for words, part, (colour, hatch) in layers:
        if not np.any(np.abs(part) > _UNSEEN):
            continue
        part = np.nan_to_num(part)
        look = {"facecolor": colour, "hatch": hatch, "edgecolor": "white", "linewidth": 0.5}
        start = np.where(part >= 0, top, bottom)
        bars = ax.bar(columns, part, 0.62, bottom=start, label=words, **look)
        for column in columns[pale]:
            bars[column].set_alpha(_FADED)
        handles.append(Patch(label=words, **look))
        top, bottom = top + np.maximum(part, 0), bottom + np.minimum(part, 0)
    return handles, top, bottom


def _draw_wholes(ax, result, pale, top):
    """A dot and a number a note, at the edge where it lies beyond; a dash where there is none."""
    low, high = ax.get_ylim()
    margin = _MARGIN * (high - low)  # a marker at the edge is drawn whole
    for column, whole in enumerate(result.stretch):
        said = f"{whole:+.0f}" + ("*" if pale[column] else "")
        if result.reason[column]:
            said = "–*"
        else:
            marker = "v" if whole < low else "^" if whole > high else "o"
            ax.plot(
                column, np.clip(whole, low + margin, high - margin), marker, color=BLACK, zorder=3,
                markerfacecolor="white" if pale[column] else BLACK,
                markeredgecolor=BLACK if pale[column] else "white",
            )  # fmt: skip
        if top[column] > high:
            _at_edge(ax, column, high, f"{said}\nbar ↑ {top[column]:+.0f}", whole)
        else:
            ax.annotate(
                said, (column, top[column]), xytext=(0, 7), textcoords="offset points",
                ha="center", va="bottom", fontsize=10.5,
            )  # fmt: skip


def _draw_depths(ax, result, bottom):
    """How far bars go on below the picture."""
    low, _ = ax.get_ylim()
    for column in np.flatnonzero(bottom < low):
        _at_edge(ax, column, low, f"bar ↓ {bottom[column]:+.0f}", result.stretch[column])


def _at_edge(ax, column, edge, words, whole):
    """Words at the upper or lower edge, within it, beyond the whole's marker if that is near."""
    low, high = ax.get_ylim()
    margin = _MARGIN * (high - low)
    mark = np.clip(whole, low + margin, high - margin)
    near = abs(mark - edge) < _NEAR * (high - low)
    down = edge > 0
    ax.annotate(
        words, (column, mark if near else edge),
        xytext=(0, (_CLEAR if near else 4) * (-1 if down else 1)), textcoords="offset points",
        ha="center", va="top" if down else "bottom", fontsize=10.5,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
    )  # fmt: skip


def plot_by_hand(result: ByHand, *, ax: Axes | None = None) -> Axes:
    """Draw how far each rule of thumb is from the model.

    Parameters
    ----------
    result : ByHand
        From `flutelab.model.byhand.by_hand`.
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        Cents of rule over model against the notes, a marker and colour a rule; rules that say
        nothing of these notes are left out. The scale is even up to 30 cents and goes by
        ratios from there, so that all fit.
    """
    ax = ax or new_axes(5.6)
    columns = np.arange(len(result.label))
    said = result.error[np.isfinite(result.error)]
    low, high = np.min(said, initial=-_LEAST), np.max(said, initial=_LEAST)
    with style():
        for name, words, error, (marker, colour) in zip(
            result.rules, result.words, result.error, _MARKS, strict=True
        ):
            if words and np.any(np.isfinite(error)):
                ax.plot(
                    columns, error, linestyle=":", marker=marker, color=colour,
                    label=f"{name}: {words}",
                )  # fmt: skip
        ax.axhline(0, color=DARK, linewidth=1.0)
        ax.set_yscale("symlog", linthresh=_LINEAR, linscale=1.2)
        ax.set_ylim(1.4 * low, 1.4 * high)
        ticks = [0, *(way * size for size in (10, 30, 100, 300, 1000) for way in (-1, 1))]
        ax.set_yticks([tick for tick in ticks if 1.4 * low <= tick <= 1.4 * high])
        ax.yaxis.set_major_formatter(
            FuncFormatter(lambda cents, _: f"{cents:+.0f}" if cents else "0")
        )
        ax.minorticks_off()
        name_notes(ax, result.label)
        wide = 1.4 * max(-low, high) > _LINEAR
        scale = f"\n(logarithmic beyond ±{_LINEAR:g}, linear within)" if wide else ""
        ax.set_ylabel(f"rule over model [cents]{scale}")
        ax.set_title("Rules of thumb against the model", loc="left")
        legend_below(ax)
    return ax


def plot_warmth(result: Warmth, *, ax: Axes | None = None) -> Axes:
    """Draw what one air for the whole bore does to each note.

    Parameters
    ----------
    result : Warmth
        From `flutelab.model.warmth.single_temperature_error`.
    ax : Axes, optional
        Default: a new figure.
    """
    ax = ax or new_axes(4.6)
    columns = np.arange(len(result.along.label))
    with style():
        for off, (marker, colour), words in (
            (result.halfway, ("o", BLUE), "the air halfway to the foot, everywhere"),
            (result.room, ("s", VERMILION), "the room's air, everywhere"),
        ):
            ax.plot(columns, off, linestyle=":", marker=marker, color=colour, label=words)
        ax.axhline(0, color=DARK, linewidth=1.0)
        name_notes(ax, result.along.label, result.along.register)
        ax.set_ylabel("over the note in changing air [cents]")
        ax.set_title("What one air for the whole bore does to the notes", loc="left")
        legend_below(ax, ncols=2)
    return ax


def plot_air(air: AirAlong, *, head: str = "window or head", ax: Axes | None = None) -> Axes:
    """Draw temperature and speed of sound from the window or head to the foot.

    Parameters
    ----------
    air : AirAlong
        Of one note.
    head : str
        What the axis calls the upper end.
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        Temperature as a line, the speed of sound and the carbon dioxide written beside it
        at the upper end, halfway and at the foot.
    """
    ax = ax or new_axes(4.4)
    place = np.linspace(0.0, 1.0, 101)
    marks = np.array([0.0, 0.5, 1.0])
    there = air_at(air, marks)
    share = air.share * (1 - marks)
    co2 = air.co2 + share * (air.breath_co2 - air.co2)
    with style():
        ax.plot(100 * place, to_celsius(air_at(air, place).temperature), color=BLUE, linewidth=2.5)
        warm = to_celsius(there.temperature)
        ax.plot(100 * marks, warm, "o", color=BLUE)
        for x, t, speed, gas, side, up in zip(
            100 * marks,
            warm,
            there.sound_speed,
            co2,
            ("left", "left", "right"),
            (10, 10, 34),
            strict=True,
        ):
            ax.annotate(
                f"{t:.1f} °C, {speed:.1f} m/s\n{100 * gas:.2f} % CO2", (x, t), ha=side,
                va="bottom", xytext=(0, up), textcoords="offset points",
            )  # fmt: skip
        room = to_celsius(air.room_temperature)
        ax.axhline(room, color=GREY, linestyle="--", linewidth=1.0)
        ax.annotate("the room", (0, room), xytext=(0, -4), textcoords="offset points", va="top")
        ax.set_ylim(room - 1.5, max(warm[0], room) + 3.0)
        ax.set_xlabel(f"place in the bore, from the {head} (0) to the foot (100) [%]")
        ax.set_ylabel("temperature [°C]")
        ax.set_title("Air in a blown bore, as taken (estimate)", loc="left")
    return ax


def plot_jet(result: JetReadout, *, ax: Axes | None = None) -> Axes:
    """Draw the jet's reduced velocity at each note, and the usual range.

    Parameters
    ----------
    result : JetReadout
        From `flutelab.model.byhand.jet_readout`.
    ax : Axes, optional
        Default: a new figure.
    """
    ax = ax or new_axes(4.8)
    columns = np.arange(len(result.label))
    low, high = jet.USUAL
    blown = [_range(to_mm_water(result.pressure), "mm of water"), _range(result.speed, "m/s")]
    with style():
        ax.axhspan(low, high, color=PALE, label=f"usual, {low:g} to {high:g}")
        ax.plot(columns, result.reduced, "o", color=BLUE, label="the jet")
        ax.set_ylim(0, max(1.1 * np.nanmax(result.reduced, initial=0.0), high + 1))
        name_notes(ax, result.label)
        ax.set_ylabel("cut-ups flown in one period")
        ax.set_title(f"The jet's reduced velocity ({', '.join(blown)})", loc="left")
        legend_below(ax, words=wrap(jet.CAUTION, _WORDS), ncols=2)
    return ax


def _range(values, unit):
    """Numbers in words: one, or the least and the most."""
    least, most = (f"{value:.0f}" for value in (np.min(values), np.max(values)))
    return f"{least} {unit}" if least == most else f"{least} to {most} {unit}"


def plot_breath(recorded: DataFrame, *, one: float | None = None, ax: Axes | None = None) -> Axes:
    """Draw how far recorded notes rise when they are blown harder.

    Parameters
    ----------
    recorded : DataFrame
        A row a recording: ``note``, ``pressure_pa``, ``frequency_hz``, and of its note
        ``cents_per_doubling``, the slope through all its recordings, with ``scatter_cents``.
        Each note has one at 50 Pa.
    one : float, optional
        A slope for all notes, drawn as a line [cents per doubling].
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        Cents over the same note at 50 Pa against the pressure on a scale of ratios, a marker
        and colour a note; the fan is that of the slopes. A note that bends out of it
        downwards saturates.
    """
    ax = ax or new_axes(5.2)
    pressure = np.unique(recorded["pressure_pa"])
    slope = recorded["cents_per_doubling"]
    fan = np.outer([slope.min(), slope.max()], np.log2(pressure / _FROM))
    with style():
        ax.fill_between(
            pressure, *fan, color=PALE,
            label=f"{slope.min():g} to {slope.max():g} cents per doubling of pressure",
        )  # fmt: skip
        notes = recorded.groupby("note", sort=False)
        for (note, rows), (marker, colour) in zip(notes, cycle(_MARKS), strict=False):
            base = rows.loc[rows["pressure_pa"] == _FROM, "frequency_hz"].iloc[0]
            own = rows.iloc[0]
            ax.plot(
                rows["pressure_pa"], cents(rows["frequency_hz"], base), marker=marker, color=colour,
                label=f"{note}: {own['cents_per_doubling']:g} cents per doubling, recordings "
                f"scatter by {own['scatter_cents']:g}",
            )  # fmt: skip
        if one is not None:
            ax.plot(
                pressure, one * np.log2(pressure / _FROM), color=GREY, linestyle="--",
                linewidth=1.6, label=f"one slope for all: {one:g} cents per doubling",
            )  # fmt: skip
        ax.set_xscale("log", base=2)
        ax.set_xticks(pressure, [f"{value:g}" for value in pressure])
        ax.minorticks_off()
        ax.axhline(0, color=DARK, linewidth=1.0)
        ax.set_xlabel("blowing pressure [Pa]")
        ax.set_ylabel(f"over the same note at {_FROM:g} Pa [cents]")
        ax.set_title("A recorder's notes and the breath, as recorded", loc="left")
        legend_below(ax, ncols=2)
    return ax
