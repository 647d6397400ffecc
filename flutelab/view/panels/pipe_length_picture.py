"""The picture of a class's plain pipes: the line, each group's distance from it, its intercept."""

from __future__ import annotations

import numpy as np
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.patches import Rectangle

from flutelab.files.pipe_lesson import Lesson
from flutelab.fitting.pipe_lengths import WAVES
from flutelab.fitting.straight_line import line_error
from flutelab.units import millimetres
from flutelab.view.panels.live import Live
from flutelab.view.style import BLUE, DARK, GREY, ORANGE, PALE, PURPLE, VERMILION

_CENTS = (10, 20, 50, 100, 200, 500, 1500)
_NAMED = 7  # groups whose names fit under each other
_WIDEST = (-40.0, 80.0)  # mm on the axis of the intercept, unless it lies beyond itself
_SIZE = (4.25, 4.9)  # inches: beside the table it is not made smaller, nor its letters
_SMALL, _SMALL_TITLE = 11.0, 12.0  # points, of the two narrow axes


def pipe_length_picture() -> Live:
    """Return what draws a `Lesson` as PNG bytes."""
    return Live(_begin, _move, _frame, size=_SIZE)


def _frame(lesson: Lesson):
    found = lesson.found
    names = lesson.table.group
    return (found.wave, names, lesson.how, lesson.predicted is None, _limits(lesson),
            _cents_limit(found), _intercept_limits(lesson))  # fmt: skip


def _limits(lesson):
    """Largest length, and lowest and highest part of a wave [mm], in steps of 50."""
    found = lesson.found
    length, column = millimetres(found.length), millimetres(found.column)
    low = 0.0 if found.line is None else min(0.0, millimetres(found.line.intercept))
    longest = _up(max([*length, 250.0]) * 1.04, 50)
    return longest, -_up(-low, 50), _up(max([*column, longest]) * 1.04, 50)


def _up(value, step):
    return float(np.ceil(value / step) * step)


def _cents_limit(found):
    largest = 0.0 if found.line is None else float(np.max(np.abs(found.cents)))
    return next((limit for limit in _CENTS if largest * 1.1 <= limit), _CENTS[-1])


def _intercept_limits(lesson):
    line, said = lesson.found.line, lesson.predicted
    points, ends = [0.0, 20.0], [0.0]
    if line is not None:
        points.append(millimetres(line.intercept))
        ends += list(millimetres(line.intercept + line.intercept_error * np.array([-1, 1])))
    if said is not None:
        ends += list(millimetres(said.intercept + 2 * said.intercept_sd * np.array([-1, 1])))
    if lesson.guess is not None:
        points.append(millimetres(lesson.guess))
    low = min([*points, *np.maximum(ends, _WIDEST[0])])
    high = max([*points, *np.minimum(ends, _WIDEST[1])])
    return -_up(-low + 2, 10), _up(high + 2, 10)


# --- drawn once -------------------------------------------------------------------------


def _begin(figure, lesson):
    grid = figure.add_gridspec(2, 2, height_ratios=(1.45, 1), width_ratios=(1, 1.4))
    wide = figure.add_subplot(grid[0, :])
    cents, ends = figure.add_subplot(grid[1, 0]), figure.add_subplot(grid[1, 1])
    return [*_lines(wide, lesson), *_residuals(cents, lesson), *_intercepts(ends, lesson)]


def _lines(ax, lesson):
    longest, low, high = _limits(lesson)
    ax.set_xlim(0, longest)
    ax.set_ylim(low, high)
    times = WAVES[lesson.found.wave]
    ax.set_xlabel("length of the pipe [mm]")
    ax.set_ylabel(f"c/{times}f: {lesson.found.wave} of a wave [mm]".replace("half of", "half"))
    ax.set_title("The wave against the pipe", loc="left")
    ax.axhline(0, color=PALE, linewidth=1)
    ax.plot([0, high], [0, high], ":", color=GREY, linewidth=1.6, label="as long as the pipe")
    band = PolyCollection([], facecolor=PALE, edgecolor="none", zorder=1.5)
    ax.add_collection(band)
    (line,) = ax.plot([], [], color=BLUE, linewidth=2.2, label="line, 95 % limits")
    spread = LineCollection([], colors=DARK, linewidths=2.5, zorder=2.4)
    ax.add_collection(spread)
    (dots,) = ax.plot([], [], "o", color=BLUE, markersize=8, label="measured")
    (said,) = ax.plot([], [], linestyle="", marker="_", color=VERMILION, markersize=16,
                      markeredgewidth=2.6)  # fmt: skip
    if lesson.predicted is not None:
        said.set_label("by the formulas")
    names = [ax.text(0, 0, name[:10], fontsize=11, ha="left", va="top", color=DARK)
             for name in lesson.table.group]  # fmt: skip
    ax.legend(loc="upper left")
    return [band, line, spread, dots, said, *names]


def _residuals(ax, lesson):
    count = len(lesson.table.group)
    limit = _cents_limit(lesson.found)
    ax.set_xlim(-limit, limit)
    ax.set_xticks([-limit, 0, limit])
    ax.set_ylim(max(count, 1) - 0.4, -0.6)
    ax.axvline(0, color=BLUE, linewidth=2.2)
    every = slice(None, None, -(-count // _NAMED) or 1)
    ax.set_yticks(range(count)[every], labels=[name[:8] for name in lesson.table.group[every]])
    ax.tick_params(axis="y", labelsize=10.5)
    ax.set_xlabel("cents: left is flat", fontsize=_SMALL)
    ax.set_title("Off the line", loc="left", fontsize=_SMALL_TITLE)
    stems = LineCollection([], colors=GREY, linewidths=1.6)
    ax.add_collection(stems)
    return [stems, *ax.plot([], [], "o", color=BLUE, markersize=8)]


def _intercepts(ax, lesson):
    ax.set_xlim(*_intercept_limits(lesson))
    ax.set_ylim(-0.6, 2.6)
    ax.axvline(0, color=DARK, linewidth=1)
    ax.axvspan(-1e4, 0, facecolor="#f2f2f2", hatch="///", edgecolor=PALE, linewidth=0)
    formulas = "at least" if lesson.how == "blown" else "formulas"
    ax.set_yticks([2, 1, 0], labels=["measured", formulas, "guess"])
    ax.set_xlabel("hatched: impossible", fontsize=_SMALL)
    ax.set_title("Intercept [mm]", loc="left", fontsize=_SMALL_TITLE)
    bar = Rectangle((0, 0.72), 0, 0.56, facecolor=ORANGE, edgecolor=VERMILION, hatch="....")
    ax.add_patch(bar)
    (middle,) = ax.plot([], [], color=VERMILION, linewidth=3)
    (limits,) = ax.plot([], [], color=BLUE, linewidth=2.4)
    (dot,) = ax.plot([], [], "o", color=BLUE, markersize=9)
    (guess,) = ax.plot([], [], "^", markerfacecolor="white", markeredgecolor=PURPLE, markersize=11,
                       markeredgewidth=2)  # fmt: skip
    return [bar, middle, limits, dot, guess]


# --- what moves -------------------------------------------------------------------------


def _move(artists, lesson):
    count = len(lesson.table.group)
    band, line, spread, dots, said, *rest = artists
    names, (stems, off, *ends) = rest[:count], rest[count:]
    found = lesson.found
    x, y = millimetres(found.length), millimetres(found.column)
    dots.set_data(x, y)
    half = millimetres(found.spread)
    spread.set_segments([[(a, b - c), (a, b + c)] for a, b, c in zip(x, y, half, strict=True)])
    for text, *place in zip(names, x, y, strict=True):
        text.set_position((place[0] + 5, place[1] - 6))
    predicted = [] if lesson.predicted is None else millimetres(lesson.predicted.column)
    said.set_data(x[: len(predicted)], predicted)
    _move_line(line, band, found)
    cents = found.cents if found.line is not None else np.array([])
    off.set_data(cents, np.arange(len(cents)))
    stems.set_segments([[(0, row), (value, row)] for row, value in enumerate(cents)])
    _move_intercepts(ends, lesson)


def _move_line(line, band, found):
    if found.line is None:
        line.set_data([], [])
        band.set_verts([])
        return
    x = np.linspace(0, 1.2 * found.length.max(), 40)
    y, error = found.line.slope * x + found.line.intercept, line_error(found.line, x)
    line.set_data(millimetres(x), millimetres(y))
    edge = np.concatenate([y - error, (y + error)[::-1]])
    band.set_verts(
        [np.column_stack([millimetres(np.concatenate([x, x[::-1]])), millimetres(edge)])]
    )


def _move_intercepts(artists, lesson):
    bar, middle, limits, dot, guess = artists
    line, said = lesson.found.line, lesson.predicted
    bar.set_visible(said is not None)
    middle.set_data([], [])
    if said is not None:
        value, half = millimetres(said.intercept), millimetres(2 * said.intercept_sd)
        bar.set_bounds(value - half, 0.72, 2 * half, 0.56)
        middle.set_data([value, value], [0.72, 1.28])
    known = line is not None
    value = millimetres(line.intercept) if known else 0.0
    half = millimetres(line.intercept_error) if known else 0.0
    dot.set_data([value] * known, [2] * known)
    limits.set_data([value - half, value + half] * known, [2, 2] * known)
    guessed = lesson.guess is not None
    guess.set_data([millimetres(lesson.guess or 0.0)] * guessed, [0] * guessed)
