"""Pictures of why notes are where they are: octaves, rules of thumb, air along the bore."""

from __future__ import annotations

from textwrap import wrap

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

from flutelab.model.byhand import RULES, ByHand, JetReadout
from flutelab.model.octaves import CAUSES, Octaves
from flutelab.model.warmth import Warmth
from flutelab.physics import jet
from flutelab.physics.breath import AirAlong, air_at
from flutelab.units import to_celsius
from flutelab.view.plots.parts import name_notes, new_axes
from flutelab.view.style import BLACK, BLUE, DARK, GREEN, GREY, PALE, PURPLE, SKY, VERMILION, style

_LOOKS = (  # a fill and a hatching a cause, to be told apart without colour too
    (BLUE, ""), (VERMILION, "//"), (SKY, ".."), (PURPLE, "\\\\"), (GREEN, "xx"), (PALE, "oo"),
)  # fmt: skip
_MARKS = (("o", VERMILION), ("s", BLUE), ("^", PURPLE), ("D", GREEN), ("v", BLACK))
_LINEAR = 30.0  # cents, up to which the scale of the rules' errors is even


def plot_octaves(result: Octaves, *, ax: Axes | None = None) -> Axes:
    """Draw how far each second register is from an octave, and what makes it so.

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
        whole as a dot. A note without an octave has its reason instead.
    """
    ax = ax or new_axes(5.2)
    columns = np.arange(len(result.label))
    layers = [*zip(map(CAUSES.get, result.causes), result.parts, strict=True)]
    layers.append(("what remains: mostly the foot's end correction", result.remainder))
    looks = [*_LOOKS[: len(result.causes)], (GREY, "")]
    top, bottom = np.zeros(len(columns)), np.zeros(len(columns))
    with style():
        for (words, cents), (colour, hatch) in zip(layers, looks, strict=True):
            cents = np.nan_to_num(cents)
            start = np.where(cents >= 0, top, bottom)
            ax.bar(
                columns, cents, 0.62, bottom=start, color=colour, hatch=hatch, label=words,
                edgecolor="white", linewidth=0.5,
            )  # fmt: skip
            top, bottom = top + np.maximum(cents, 0), bottom + np.minimum(cents, 0)
        ax.plot(columns, result.stretch, "o", color=BLACK, markeredgecolor="white", label="whole")
        for column, (whole, reason) in enumerate(zip(result.stretch, result.reason, strict=True)):
            said = reason or f"{whole:+.0f}"
            ax.annotate(
                said, (column, top[column]), xytext=(0, 4), textcoords="offset points",
                ha="center", va="bottom", rotation=90 if reason else 0, fontsize=10.5,
            )  # fmt: skip
        ax.axhline(0, color=DARK, linewidth=1.0)
        ax.margins(y=0.12)
        name_notes(ax, result.label)
        ax.set_ylabel("second register over an octave [cents]")
        ax.set_title("How wide the octaves are, and why", loc="left")
        ax.figure.legend(loc="outside lower left", ncols=2)
    return ax


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
        Cents of rule over model against the notes, a marker and colour a rule. The scale is
        even up to 30 cents and goes by ratios from there.
    """
    ax = ax or new_axes(5.6)
    columns = np.arange(len(result.label))
    with style():
        for name, error, (marker, colour) in zip(result.rules, result.error, _MARKS, strict=True):
            ax.plot(
                columns, error, linestyle=":", marker=marker, color=colour,
                label=f"{name}: {RULES[name]}",
            )  # fmt: skip
        ax.axhline(0, color=DARK, linewidth=1.0)
        ax.set_yscale("symlog", linthresh=_LINEAR, linscale=1.2)
        most = np.nanmax(np.abs(result.error), initial=_LINEAR)
        ax.set_yticks(
            [s * t for t in (0, 10, 30, 100, 300, 1000) if t <= 1.2 * most for s in (-1, 1)]
        )
        ax.yaxis.set_major_formatter(
            FuncFormatter(lambda cents, _: f"{cents:+.0f}".replace("+0", "0"))
        )
        ax.minorticks_off()
        name_notes(ax, result.label)
        ax.set_ylabel("rule over model [cents]")
        ax.set_title("Rules of thumb against the model", loc="left")
        ax.figure.legend(loc="outside lower left")
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
        for cents, (marker, colour), words in (
            (result.halfway, ("o", BLUE), "the air halfway to the foot, everywhere"),
            (result.room, ("s", VERMILION), "the room's air, everywhere"),
        ):
            ax.plot(columns, cents, linestyle=":", marker=marker, color=colour, label=words)
        ax.axhline(0, color=DARK, linewidth=1.0)
        name_notes(ax, result.along.label, result.along.register)
        ax.set_ylabel("over the note in changing air [cents]")
        ax.set_title("What one air for the whole bore does to the notes", loc="left")
        ax.figure.legend(loc="outside lower left", ncols=2)
    return ax


def plot_air(air: AirAlong, *, ax: Axes | None = None) -> Axes:
    """Draw temperature and speed of sound from the window to the foot.

    Parameters
    ----------
    air : AirAlong
        Of one note.
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        Temperature as a line, the speed of sound and the carbon dioxide written beside it
        at the window, halfway and at the foot.
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
                f"{t:.1f} °C, {speed:.1f} m/s\n{100 * gas:.1f} % CO2", (x, t), ha=side,
                va="bottom", xytext=(0, up), textcoords="offset points",
            )  # fmt: skip
        room = to_celsius(air.room_temperature)
        ax.axhline(room, color=GREY, linestyle="--", linewidth=1.0)
        ax.annotate("the room", (0, room), xytext=(0, -4), textcoords="offset points", va="top")
        ax.set_ylim(room - 1.5, max(warm[0], room) + 3.0)
        ax.set_xlabel("place in the bore, from the window (0) to the foot (100) [%]")
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
    ax = ax or new_axes(4.6)
    columns = np.arange(len(result.label))
    low, high = jet.USUAL
    with style():
        ax.axhspan(low, high, color=PALE, label=f"usual, {low:g} to {high:g}")
        ax.plot(columns, result.reduced, "o", color=BLUE, label="the jet")
        ax.set_ylim(0, max(1.1 * np.nanmax(result.reduced, initial=0.0), high + 1))
        name_notes(ax, result.label)
        ax.set_ylabel("cut-ups flown in one period")
        ax.set_title("The jet's reduced velocity", loc="left")
        ax.figure.legend(loc="outside lower left", ncols=2)
        ax.text(
            0.01, 0.03, "\n".join(wrap(jet.CAUTION, 100)), transform=ax.transAxes,
            fontsize=10.5, color=DARK, va="bottom",
        )  # fmt: skip
    return ax
