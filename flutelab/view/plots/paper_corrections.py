"""Pictures of corrections for a paper: values, profiles, correlations, budget."""

from __future__ import annotations

import numpy as np
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from flutelab.files.archived_results import Results
from flutelab.fitting.budget import PARTS, index_of
from flutelab.model.corrections import META
from flutelab.view.plots.paper_page import (
    POINTS,
    SMALLEST,
    is_wide,
    legend_and_height,
    letter,
    room,
    small_handle,
)
from flutelab.view.style import BLACK, BLUE, GREEN, GREY, ORANGE, PALE, PURPLE, VERMILION

CORRECTIONS = (
    "Fitted corrections with one standard deviation, in units of the standard deviation that "
    "was assumed before the notes; values in their own units (none: times the formula). "
    "corrections.csv says what each multiplies or adds to."
)
PROFILES = (
    "Rise of chi2 as one correction is held and all other unknowns are refitted; readings "
    "count as the fit widened them. Horizontal lines: the rise at the limits of 68 % and 95 %, the "
    "square of Student's t, 1 and 3.84 where the readings' sd is known. "
    "profiles.csv holds the curves, corrections.csv the limits."
)
CORRELATIONS = (
    "Correlations of the corrections after the fit, in percent, all other unknowns free "
    "within their priors. correlations.csv holds those of all unknowns."
)
BUDGET = (
    "Share of each source of uncertainty in the variance of the reported corrections. "
    "budget.csv holds every quantity."
)
_NUMBER = 13.0  # points of width that a correlation takes
_HIGHEST_RISE = 6.0  # of chi2 that is drawn, or more:
_ROOM = 1.15  # times the rise at the farthest limit
_DARK_FROM = 60.0  # percent of correlation from which black letters are hard to read
# A colour only repeats its number.
_AGAINST_TO_ALONG = LinearSegmentedColormap.from_list(
    "against to along", (VERMILION, "white", BLUE)
)
_PART_LOOKS = {
    "reading": (BLUE, ""),
    "session": (ORANGE, "////"),
    "geometry": (GREEN, "...."),
    "model": (PURPLE, "xxxx"),
    "assumed": (PALE, ""),
}
_PART_WORDS = {
    "reading": "readings",
    "session": "air, breath and tuner",
    "geometry": "measures of the flute",
    "model": "the model's own error",
    "assumed": "assumed before the notes",
}


def _shown(calibration):
    """Numbers of the corrections that are drawn: those of all tables, and reported ones."""
    return [
        i
        for i, p in enumerate(calibration.parameters)
        if p.is_correction and (p.table is None or p.name in calibration.free)
    ]


def _name(calibration, i):
    """A correction's name, with the letters of its tables where others have their own."""
    p = calibration.parameters[i]
    tables = [] if p.table is None else p.tables or (p.table,)
    return " ".join([p.name.replace("_", " "), *map(letter, tables)])


def _names(results):
    """Names of the reported corrections, in the order of budgets and profiles."""
    c = results.calibration
    return [_name(c, index_of(c, name)) for name in results.profiles.names]


def draw_corrections(page: Figure, results: Results) -> None:
    """A line a correction, in units of what was assumed of it."""
    c = results.calibration
    shown = _shown(c)
    ax = page.subplots()
    labels = []
    for line, i in enumerate(shown):
        p, value, sd = c.parameters[i], c.value[i], float(np.sqrt(c.covariance[i, i]))
        bold = p.name in c.free
        ax.errorbar(
            (value - p.prior.mean) / p.prior.sd, line, xerr=sd / p.prior.sd, fmt="o",
            color=BLUE if bold else GREY, capsize=2.0,
        )  # fmt: skip
        digits = int(np.clip(1 - np.floor(np.log10(sd)), 0, 6))
        unit = "" if META[p.name]["unit"] == "times" else f" {META[p.name]['unit']}"
        labels.append(f"{_name(c, i)}\n{value:.{digits}f} ± {sd:.{digits}f}{unit}")
    ax.axvspan(-1.0, 1.0, color=PALE, linewidth=0, zorder=0)
    ax.axvline(0.0, color=BLACK, linewidth=0.6, zorder=1)
    ax.set_yticks(range(len(shown)), labels)
    ax.set_ylim(max(len(shown), 1) - 0.4, -0.6)
    ax.set_xlabel("change [sd assumed before]")
    ax.set_title("Corrections", loc="left")
    handles = [
        small_handle("reported ± one sd", "o", BLUE),
        small_handle("fitted with them", "o", GREY),
        Patch(facecolor=PALE, label="assumed before ± one sd"),
    ]
    legend_and_height(page, handles, 0.75 + 0.32 * max(len(shown), 2))


def draw_profiles(page: Figure, results: Results) -> None:
    """A panel a reported correction: the rise of chi2, beside that of a normal distribution."""
    found = results.profiles
    count = max(len(found.names), 1)
    columns = min(count, 3 if is_wide(page) else 2)
    lines = -(-count // columns)
    axes = page.subplots(lines, columns, sharey=True, squeeze=False).ravel()
    for ax in axes[len(found.names) :]:
        ax.remove()
    for k, name in enumerate(_names(results)):
        ax, value = axes[k], found.value[k]
        ax.plot(value, ((value - found.best[k]) / found.sd[k]) ** 2, "--", color=VERMILION)
        ax.plot(value, found.rise[k], color=BLUE, linewidth=1.4)
        for rise in found.reached[k]:
            ax.axhline(rise, color=GREY, linewidth=0.6, zorder=0)
        ax.set_ylim(0.0, max(_HIGHEST_RISE, _ROOM * np.max(found.reached, initial=0.0)))
        ax.locator_params(axis="x", nbins=4)
        ax.set_title(name, loc="left")
        ax.set_xlabel(_unit_of(results.calibration, found.names[k]))
        if k % columns == 0:
            ax.set_ylabel("rise of χ²")
    handles = [
        Line2D([], [], color=BLUE, linewidth=1.4, label="all others refitted"),
        Line2D([], [], color=VERMILION, linestyle="--", label="normal, same sd"),
        Line2D([], [], color=GREY, linewidth=0.6, label="68 % and 95 %"),
    ]
    legend_and_height(page, handles, 0.15 + 1.5 * lines)


def _unit_of(calibration, name):
    unit = META[calibration.parameters[index_of(calibration, name)].name]["unit"]
    return "times the formula" if unit == "times" else unit


def draw_correlations(page: Figure, results: Results) -> None:
    """The lower half of the correlations, in percent."""
    c = results.calibration
    shown = _shown(c)
    ax = page.subplots()
    sd = np.sqrt(np.diag(c.covariance))
    percent = 100 * (c.covariance / np.outer(sd, sd))[np.ix_(shown, shown)]
    count = len(shown)
    edges = np.arange(count + 1) - 0.5
    lower = np.where(np.tri(count, dtype=bool), percent, np.nan)
    ax.pcolormesh(
        edges, edges, lower, cmap=_AGAINST_TO_ALONG, vmin=-100.0, vmax=100.0, edgecolors="white",
        linewidth=0.5,
    )  # fmt: skip
    cell = (room(page) - 50.0) / max(count, 1)
    if cell > _NUMBER:
        for line, column in zip(*np.tril_indices(count, -1), strict=True):
            value = percent[line, column]
            ax.text(
                column, line, f"{value:z.0f}", ha="center", va="center_baseline",
                fontsize=SMALLEST, color="white" if value > _DARK_FROM else BLACK,
            )  # fmt: skip
    names = [_name(c, i) for i in shown]
    ax.set_xticks(range(count), names, rotation=90)
    ax.set_yticks(range(count), names)
    ax.set_ylim(count - 0.5, -0.5)
    ax.tick_params(length=0)
    ax.set_title("Correlations [percent]", loc="left")
    for spine in ax.spines.values():
        spine.set_visible(False)
    page.set_figheight(1.1 + min(cell, 24.0) / POINTS * count)


def draw_budget(page: Figure, results: Results) -> None:
    """A bar a reported correction: each part's share of its variance."""
    ax = page.subplots()
    names = _names(results)
    for line, b in enumerate(results.budgets.values()):
        left = 0.0
        for part in PARTS:
            colour, hatch = _PART_LOOKS[part]
            share = 100 * float(b.part_sd(part)[0] / b.sd[0]) ** 2
            ax.barh(
                line, share, 0.62, left=left, color=colour, hatch=hatch, edgecolor="white",
                linewidth=0.4,
            )  # fmt: skip
            left += share
    ax.set_yticks(range(len(names)), names)
    ax.set_ylim(max(len(names), 1) - 0.4, -0.6)
    ax.set_xlim(0.0, 100.0)
    ax.set_xlabel("share of the variance [percent]")
    ax.set_title("Where the doubt comes from", loc="left")
    handles = [
        Patch(facecolor=colour, hatch=hatch, edgecolor="white", label=_PART_WORDS[part])
        for part, (colour, hatch) in _PART_LOOKS.items()
    ]
    legend_and_height(page, handles, 0.8 + 0.26 * max(len(names), 2))
