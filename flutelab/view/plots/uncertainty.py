"""Pictures of doubts: a budget, profiles with their limits, a bootstrap beside the fit."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from flutelab.files.uncertainty_words import PART_WORDS, budget_table
from flutelab.fitting.budget import PARTS, Budget, freedom_of
from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.freedom import coverage_factor
from flutelab.fitting.profiles import RISES, Profiles
from flutelab.fitting.resampling import Bootstrap, bootstrap_limits
from flutelab.view.plots.parts import handle, name_notes, new_axes
from flutelab.view.style import (
    BLACK,
    BLUE,
    DARK,
    GREEN,
    GREY,
    ORANGE,
    PALE,
    PURPLE,
    SKY,
    VERMILION,
    style,
)

# A colour and a hatch of its own each: the picture serves in black and white too.
_COLOURS = dict(zip(PARTS, (BLUE, ORANGE, GREEN, GREY, PALE), strict=True))
_HATCHES = dict(zip(PARTS, ("", "///", "\\\\\\", "xx", "..."), strict=True))
_LINES = 12  # quantities shown by themselves
_CURVES = ((BLUE, "-"), (VERMILION, "--"), (GREEN, "-."), (PURPLE, ":"), (BLACK, (0, (5, 1))),
           (GREY, "-"))  # fmt: skip
_HIGH = 9.5  # of the rise, so that 3 sd is seen


def plot_budget(budget: Budget, *, ax: Axes | None = None) -> Axes:
    """Draw what adds to the doubt of a correction, or of notes.

    Parameters
    ----------
    budget : Budget
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        Of one output: a bar a quantity, the share of the variance that it adds, the largest on
        top, its standard uncertainty and its contribution at the right. Of several notes: a
        column a note, its variance [cents squared] parted. Colours by part.
    """
    single = len(budget.of) == 1
    count = min(len(budget_table(budget)), _LINES + 1) if single else 0
    ax = ax or new_axes(2.7 + 0.36 * count if single else 5.2)
    with style():
        (_draw_quantities if single else _draw_notes)(ax, budget)
        shown = [part for part in PARTS if np.any(budget.part_sd(part) > 0)]
        handles = [
            Patch(
                facecolor=_COLOURS[part], hatch=_HATCHES[part], edgecolor=DARK, linewidth=0.8,
                label=PART_WORDS[part],
            )
            for part in shown
        ]  # fmt: skip
        ax.figure.legend(handles=handles, loc="outside lower left", ncols=2)
    return ax


def _draw_quantities(ax, budget):
    frame = budget_table(budget)
    told = frame[frame.part != ""].head(_LINES)
    rest = 100 - told.share_percent.sum()
    bars = [(row.quantity, row.part, row.share_percent, row) for row in told.itertuples()]
    if rest > 0.05:
        bars.append((f"{len(budget.quantity) - len(told)} others", "", rest, None))
    for line, (_, part, share, row) in enumerate(bars):
        _bar(ax.barh, line, share, part)
        text = f"{share:.0f} %" if share >= 0.95 else f"{share:.1f} %"
        if row is not None:
            sd, unit = (100 * row.sd, "%") if row.unit == "times" else (row.sd, row.unit)
            text += f", from ± {sd:.2g} {unit}"
        ax.annotate(
            text, (share, line), xytext=(5, 0), textcoords="offset points", va="center",
            fontsize=10.5, color=DARK,
        )  # fmt: skip
    ax.set_yticks(range(len(bars)), [name.replace("_", " ") for name, *_ in bars])
    ax.tick_params(axis="y", length=0)
    ax.set_ylim(len(bars) - 0.4, -0.6)
    ax.set_xlim(0, 1.5 * max(share for _, _, share, _ in bars))
    ax.set_xlabel("share of the variance [%]; beside it, the quantity's own ±")
    value, sd = budget.value[0], budget.sd[0]
    digits = max(0, 1 - int(np.floor(np.log10(sd))))
    name = budget.of[0].replace("_", " ") or "bare pipe"
    shown = f"{value:.1f} Hz" if budget.notes else f"{value:.{digits}f}"
    unit = {"times": "times the formula"}.get(budget.unit, budget.unit)
    ax.set_title(
        f"Where the doubt comes from:\n{name} {shown} ± {sd:.{digits}f} {unit}", loc="left"
    )


def _draw_notes(ax, budget):
    bottom = np.zeros(len(budget.of))
    for part in PARTS:
        height = budget.part_sd(part) ** 2
        for note, (low, high) in enumerate(zip(bottom, height, strict=True)):
            _bar(ax.bar, note, high, part, bottom=low)
        bottom = bottom + height
    for note, sd in enumerate(budget.sd):
        ax.annotate(
            f"± {sd:.1f}", (note, bottom[note]), xytext=(0, 4), textcoords="offset points",
            ha="center", fontsize=10.5, color=DARK,
        )  # fmt: skip
    name_notes(ax, budget.of)
    ax.set_ylim(0, 1.12 * np.max(bottom))
    ax.set_ylabel("variance [cents squared]; above, ± [cents]")
    ax.set_title("Where the doubt of another day's notes comes from", loc="left")


def _bar(draw, place, size, part, **more):
    draw(
        place, size, 0.66, color=_COLOURS.get(part, "white"), hatch=_HATCHES.get(part, ""),
        edgecolor=DARK, linewidth=0.8, **more,
    )  # fmt: skip


def plot_profiles(profiles: Profiles, *, ax: Axes | None = None) -> Axes:
    """Draw how the misfit rises as each unknown is moved, all others refitted.

    Parameters
    ----------
    profiles : Profiles
        Of at most six unknowns.
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        A curve an unknown against its distance from the best value in its own sd; in grey the
        parabola of a fit that is straight; dots at the limits (above the dashed lines, which
        then say "of many readings", where few tell their own scatter: Student's t), crosses
        where the unknown may go no farther.

    Raises
    ------
    ValueError
        More unknowns than curves that can be told apart.
    """
    if len(profiles.names) > len(_CURVES):
        msg = f"{len(profiles.names)} profiles in one picture; choose at most {len(_CURVES)}"
        raise ValueError(msg)
    ax = ax or new_axes(5.6)
    with style():
        reach = np.linspace(-3.1, 3.1, 200)
        ax.plot(reach, reach**2, color=PALE, linewidth=5.0, zorder=0)
        few = "" if np.allclose(profiles.reached, RISES, rtol=1e-3) else " of many readings"
        for rise, words in zip(RISES, (f"68 %{few}", f"95 %{few}"), strict=True):
            ax.axhline(rise, color=GREY, linewidth=1.0, linestyle=(0, (2, 3)))
            ax.annotate(words, (0.0, rise), xytext=(0, 3), textcoords="offset points", ha="center")
        for k, (colour, dashes) in zip(range(len(profiles.names)), _CURVES, strict=False):
            _draw_profile(ax, profiles, k, colour, dashes)
        ax.set_xlim(-3.1, 3.1)
        ax.set_ylim(0, _HIGH)
        ax.set_xlabel("distance from the best value [its standard deviation]")
        ax.set_ylabel("rise of the misfit, chi squared")
        ax.set_title("Profiles: one correction moved, all others refitted", loc="left")
        handles = [
            Line2D(
                [], [], color=colour, linestyle=dashes, linewidth=2.2,
                label=_profile_words(profiles, k),
            )
            for k, (colour, dashes) in zip(range(len(profiles.names)), _CURVES, strict=False)
        ]  # fmt: skip
        handles.append(Line2D([], [], color=PALE, linewidth=5.0, label="if all were straight"))
        ax.figure.legend(handles=handles, loc="outside lower left", ncols=2)
    return ax


def _draw_profile(ax, profiles, k, colour, dashes):
    best, sd = profiles.best[k], profiles.sd[k]
    off = (profiles.value[k] - best) / sd
    ax.plot(off, profiles.rise[k], color=colour, linestyle=dashes, linewidth=2.2)
    for level, rise in enumerate(profiles.reached[k]):
        at = (profiles.limits[k, level] - best) / sd
        cut = profiles.cut[k, level]
        ax.plot(at[~cut], np.full(np.sum(~cut), rise), "o", color=colour, markersize=6.0)
        height = np.interp(at[cut], off, profiles.rise[k])
        ax.plot(at[cut], height, "x", color=colour, markersize=9.0, markeredgewidth=2.2)


def _profile_words(profiles, k):
    sd = profiles.sd[k]
    digits = max(0, 1 - int(np.floor(np.log10(sd))))
    low, high = profiles.limits[k, -1]
    cut = " (x: may go no farther)" if np.any(profiles.cut[k]) else ""
    return (
        f"{profiles.names[k].replace('_', ' ')}: {profiles.best[k]:.{digits}f}, 95 % "
        f"{low:.{digits}f} to {high:.{digits}f}{cut}"
    )


def plot_bootstrap(result: Bootstrap, calibration: Calibration, *, ax: Axes | None = None) -> Axes:
    """Draw the refits of a bootstrap beside the fit and its own limits.

    Parameters
    ----------
    result : Bootstrap
    calibration : Calibration
        The fit it was made of.
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        A line a reported correction, in sd of the fit about its value: dots of the refits (at
        most 300), a thick bar over the middle 68 % of them, a thin one over 95 %; hollow bars
        above them: the fit's own.
    """
    names = [p.name for p in calibration.parameters]
    shown = [i for i, name in enumerate(names) if name in calibration.free]
    sd = np.sqrt(np.diag(calibration.covariance))
    z = (result.theta - calibration.value) / sd
    limits = [(bootstrap_limits(result, s) - calibration.value[:, None]) / sd[:, None]
              for s in (0.68, 0.95)]  # fmt: skip
    freedom = freedom_of(calibration, shown)
    ax = ax or new_axes(2.0 + 0.9 * len(shown))
    with style():
        spread = np.random.default_rng(0).uniform(-0.12, 0.12, min(len(z), 300))
        for line, i in enumerate(shown):
            ax.plot(
                z[: len(spread), i], line + 0.28 + spread, ".", color=SKY, markersize=4.0, zorder=1
            )
            for (low, high), width in zip((limits[1][i], limits[0][i]), (2.0, 7.0), strict=True):
                ax.plot([low, high], [line, line], color=BLUE, linewidth=width, zorder=2)
            for share, height in ((0.95, 0.10), (0.68, 0.22)):
                half = coverage_factor(share, freedom[line])
                ax.barh(
                    line - 0.28, 2 * half, height, left=-half, color="white", edgecolor=DARK,
                    linewidth=1.2,
                )  # fmt: skip
        ax.axvline(0.0, color=GREY, linewidth=1.0, zorder=0)
        ax.set_yticks(range(len(shown)), [result.names[i].replace("_", " ") for i in shown])
        ax.set_ylim(len(shown) - 0.4, -0.6)
        ax.set_xlabel("distance from the fit's value [its standard deviation]")
        stopped = f" of {result.asked} asked for" if result.done < result.asked else ""
        ax.set_title(
            f"Bootstrap: {result.done}{stopped} refits to {result.groups} drawn {result.by}s",
            loc="left",
        )
        handles = [
            Patch(facecolor="white", edgecolor=DARK, label="the fit: 68 % and 95 %"),
            Line2D([], [], color=BLUE, linewidth=7.0, label="refits: 68 % (thick) and 95 %"),
            handle("single refits", ".", SKY),
        ]
        ax.figure.legend(handles=handles, loc="outside lower left", ncols=3)
    return ax
