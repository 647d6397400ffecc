"""The picture of a class's guesses; while hidden its axes are the same whatever the answer."""

from __future__ import annotations

import math

from flutelab.files.hole_guess import ANSWERS, GUESSES, MOST, Board, right_answer
from flutelab.view.panels.live import Live
from flutelab.view.style import BLUE, DARK, GREY, PALE, PURPLE, SKY

_ROWS = MOST + 1
_HANDS = 40
_STEP = 100  # cents from tick to tick
_MANY = 16  # ticks, beyond which every other is enough
_BESIDE, _TOLD = 0.02, 0.14  # of the axis: room beside the lowest, and for names and numbers


def guess_picture() -> Live:
    """Return what draws a `Board`."""
    return Live(_begin, _move, frame=_frame, size=(9.6, 2.8))


def _frame(board: Board):
    if board.kind == "hands":
        return "hands", max([_HANDS, *board.hands])
    return "cents", _limits(board.answer)


def _limits(answer):
    """The axis [cents]: that of all guesses, wider only for an answer that is shown."""
    low, high = GUESSES
    if answer is None:
        return low, high
    return min(low, _STEP * math.floor(answer / _STEP)), max(
        high, _STEP * math.ceil(answer / _STEP)
    )


def _begin(figure, board):
    ax = figure.subplots()
    if board.kind == "hands":
        return _begin_hands(ax, board)
    low, high = _limits(board.answer)
    wide = high - low
    step = _STEP if wide <= _MANY * _STEP else 2 * _STEP
    ax.set_xlim(low - _BESIDE * wide, high + _TOLD * wide)
    ax.set_ylim(_ROWS + 0.7, 0)  # the answer's number stands below all names
    ax.set_yticks([])
    ax.set_xticks(range(step * math.ceil(low / step), int(high) + 1, step))
    ax.grid(axis="x", color=PALE, linewidth=1.0)
    ax.axvline(0, color=GREY, linewidth=1.5)
    ax.set_xlabel("cents above the note at the first size (a semitone is 100)")
    ax.set_title("Guesses: diamonds. The model's answer: a bar", loc="left")
    ax.spines["left"].set_visible(False)
    (bar,) = ax.plot([], [], color=BLUE, linewidth=7, solid_capstyle="butt", zorder=2)
    (guesses,) = ax.plot([], [], "D", color=PURPLE, markeredgecolor="white", zorder=3)
    ground = {"facecolor": "white", "edgecolor": "none", "pad": 0.0}  # a bar may stand behind
    look = {"fontsize": 11.0, "va": "center", "bbox": ground, "zorder": 2.5}
    names = [ax.text(0, 0, "", **look) for _ in range(MOST)]
    told = ax.text(0, _ROWS + 0.5, "", color=BLUE, weight="bold", zorder=4)
    return bar, guesses, told, *names


def _begin_hands(ax, board):
    ax.set_xlim(0, 2 * max([_HANDS, *board.hands]))  # the answer's words stand beside its bar
    ax.set_ylim(len(ANSWERS) - 0.4, -0.6)
    lines = [f"{letter}: {words}" for letter, (words, _) in ANSWERS.items()]
    ax.set_yticks(range(len(ANSWERS)), lines)
    ax.set_xlabel("hands")
    ax.set_title("Hands for each answer", loc="left")
    bars = [ax.barh(n, 0, height=0.6, color=SKY, edgecolor=DARK)[0] for n in range(len(ANSWERS))]
    right = ax.text(0, 0, "", color=BLUE, weight="bold", va="center", zorder=4)
    return right, *bars


def _move(artists, board):
    if board.kind == "hands":
        return _move_hands(artists, board)
    bar, guesses, told, *names = artists
    place = [(guess, row) for row, guess in enumerate(board.guesses, 1)]
    guesses.set_data([x for x, _ in place], [y for _, y in place])
    for number, name in enumerate(names):
        shown = number < len(place)
        name.set_text(f"  group {number + 1}" if shown and board.kind == "groups" else "")
        name.set_position(place[number] if shown else (0, 0))
    answer = board.answer
    bar.set_data(*([], []) if answer is None else ([answer, answer], [0.3, _ROWS + 0.5]))
    told.set_text("" if answer is None else f"  {answer:+.0f} cents")
    told.set_x(0 if answer is None else answer)
    return None


def _move_hands(artists, board):
    right, *bars = artists
    letter = None if board.answer is None else right_answer(board.answer)
    right.set_text("")
    for number, (bar, count) in enumerate(zip(bars, board.hands, strict=True)):
        bar.set_width(count)
        chosen = letter == list(ANSWERS)[number]
        bar.set_linewidth(3.0 if chosen else 1.0)
        if chosen:
            right.set_position((count, number))
            right.set_text(f"  ← the model's answer, {board.answer:+.0f} cents")
