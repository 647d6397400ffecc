"""Picture of what to measure next: a bar a measurement, best at the top."""

from __future__ import annotations

import textwrap
from collections import Counter

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from flutelab.files.next_words import Idea, cost_words, idea_words, ideas, shop_scale, two_digits
from flutelab.fitting.next_measurement import Plan
from flutelab.view.plots.parts import new_axes
from flutelab.view.style import BLACK, BLUE, DARK, ORANGE, SKY, VERMILION, style

PER_KIND = 2  # bars at most
_LETTERS = 42  # of a bar's name in one line
_MORE = 0.55  # of a line's height, for each further one of its name
_LINE = 0.34  # inches of height a bar
_APART = 1.2  # lines, above those that part the jet from the window
_THICK = 0.66  # of a line
# what it is measured on: words, fill, hatching
_LOOKS = {
    "here": ("on the flute as it is", BLUE, ""),
    "tool": ("with a better instrument", ORANGE, ""),
    "other": ("on another pipe or flute, or drilled further", SKY, "////"),
}


def plot_next_measurement(plan: Plan, *, ax: Axes | None = None) -> Axes:
    """Draw what each measurement would leave of a doubt.

    Parameters
    ----------
    plan : Plan
        From `flutelab.fitting.next_measurement.next_measurement`.
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        A bar an idea, on the flute where it is best, the best two of each kind, best at the top:
        the sd that it would leave, told at its end with the cost in readings; a line at the sd
        now. Where driven readings part the jet's pull from the window, they stand apart below,
        with the line of what is known now beside an unknown pull.
    """
    groups = bars_of(plan)
    places = _places(groups)
    last = max((line for some in places for line in some), default=-1.0)
    ax = ax or new_axes(2.5 + _LINE * (1 + last))
    with style():
        names = {}
        for some, lines in zip(groups, places, strict=True):
            for idea, line in zip(some, lines, strict=True):
                names[line] = _label(idea)
                _draw_bar(ax, line, plan, idea.number)
            _draw_now(ax, lines[0], lines[-1], plan, some[0].number)
        if len(groups) > 1:
            _tell_parted(ax, places[1][0], plan)
        _name(ax, plan, names)
    return ax


def bars_of(plan: Plan) -> list[list[Idea]]:
    """Return the ideas that are drawn, best first; those that part the jet stand by themselves."""
    return [some for some in (_best_of(plan, False), _best_of(plan, True)) if some]


def _places(groups):
    """Where each bar of each group lies, further apart where its name takes several lines."""
    places, line = [], 0.0
    for some in groups:
        places.append([])
        for idea in some:
            extra = _MORE * _label(idea).count("\n") / 2
            places[-1].append(line + extra)
            line += 1 + 2 * extra
        line += _APART
    return places


def _label(idea):
    """The idea, and on a line of its own the flutes that it is for."""
    name, whose = idea.name, idea_words(idea).removeprefix(idea.name).strip()
    return "\n".join(textwrap.fill(part, _LETTERS) for part in (name, whose) if part)


def _best_of(plan, parted):
    """The best few ideas of each kind, the jet parted from the window or not."""
    seen, found = Counter(), []
    some = [n for n in range(len(plan.candidates)) if plan.without_jet[n] == parted]
    for idea in ideas(plan, some):
        kind = plan.candidates[idea.number].kind
        seen[kind] += 1
        if seen[kind] <= PER_KIND:
            found.append(idea)
    return found


def _look(candidate):
    if candidate.tightened:
        return "tool"
    return "here" if candidate.here else "other"


def _draw_bar(ax, line, plan, n):
    scale, _ = shop_scale(plan)
    candidate, left = plan.candidates[n], scale * plan.sd_left[n]
    _, colour, hatch = _LOOKS[_look(candidate)]
    ax.barh(line, left, _THICK, color=colour, hatch=hatch, edgecolor="white", linewidth=0)
    ax.annotate(
        two_digits(left), (left, line), xytext=(-5, 0), textcoords="offset points", ha="right",
        va="center_baseline", fontsize=10.5, color="white" if colour == BLUE else BLACK,
        bbox={"boxstyle": "round,pad=0.12", "facecolor": colour, "edgecolor": "none"},
    )  # fmt: skip
    ax.annotate(
        cost_words(candidate), (1.01, line), xycoords=("axes fraction", "data"),
        va="center_baseline", fontsize=10.5, color=DARK, annotation_clip=False,
    )  # fmt: skip


def _draw_now(ax, first, last, plan, n):
    """The sd now, across a group of bars."""
    scale, _ = shop_scale(plan)
    now = scale * plan.sd_before[n]
    ax.plot([now, now], [first - 0.5, last + 0.5], color=VERMILION, linewidth=2.0, zorder=3)
    ax.annotate(
        f"now {two_digits(now)}", (now, first - 0.5), xytext=(0, 2), textcoords="offset points",
        ha="center", va="bottom", fontsize=10.5, color=VERMILION,
    )  # fmt: skip


def _tell_parted(ax, line, plan):
    alone = ": the window alone" if plan.of == "window" else ""
    ax.annotate(
        f"with the jet's pull unknown{alone}", (0.0, line - 0.5), xytext=(2, 2),
        textcoords="offset points", va="bottom", fontsize=10.5, color=DARK, style="italic",
    )  # fmt: skip


def _name(ax, plan, names):
    scale, unit = shop_scale(plan)
    ax.set_yticks(list(names), list(names.values()))
    ax.tick_params(axis="y", length=0)
    ax.set_ylim(max(names, default=0.0) + 0.6, -1.3)
    most = np.max(np.concatenate([plan.sd_left, plan.sd_before, [plan.sd_now]]))
    ax.set_xlim(0.0, 1.08 * scale * most)
    left = f"standard deviation that would be left of {plan.said} [{unit}]"
    ax.set_xlabel(textwrap.fill(left, 72))
    title = textwrap.fill(f"What to measure next, to know {plan.said}", 64)
    ax.set_title(title, loc="left")
    looks = dict.fromkeys(_look(c) for c in plan.candidates)
    handles = [
        Patch(facecolor=colour, hatch=hatch, edgecolor="white", linewidth=0, label=words)
        for key, (words, colour, hatch) in _LOOKS.items()
        if key in looks
    ]
    ax.figure.legend(handles=handles, loc="outside lower left", ncols=3)
