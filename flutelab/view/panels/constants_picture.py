"""The picture of the panel of constants: how far each note moves when the pipe is cut."""

from __future__ import annotations

import numpy as np

from flutelab.model.notes import CENT
from flutelab.view.panels.constants_tables import Taken
from flutelab.view.panels.live import Live
from flutelab.view.style import BLUE, DARK, VERMILION

_LIMITS = (25, 50, 100, 200, 400, 800, 1600)  # of the picture [cents]


def picture_words(taken: Taken) -> str:
    """Say what the bars show."""
    if taken.notes is None:
        return ""
    pairs = zip(taken.notes["fingering"], taken.notes["shift_cents"], strict=True)
    return "Bars of how far each note moves: " + ", ".join(
        f"{word} {cents:+.0f} cents" for word, cents in pairs
    )


class ShiftPicture:
    """Bars of how far each note moves, lines where wanted notes lie; nothing without notes."""

    def __init__(self) -> None:
        self._live = Live(_begin, _move, frame=_frame, size=(9.4, 3.4))

    def __call__(self, taken: Taken) -> bytes:
        """Return it as PNG bytes; empty without notes."""
        return b"" if taken.notes is None else self._live(taken)


def _wanted(taken: Taken) -> dict[int, float]:
    """Return where wanted notes lie [cents from this flute's note], by the row of the table."""
    targets = {one.fingering or "bare": one.frequency for one in taken.known.flute.targets}
    rows = enumerate(zip(taken.notes["fingering"], taken.notes["this_hz"], strict=True))
    return {x: np.log(targets[word] / now) / CENT for x, (word, now) in rows if word in targets}


def _limit(taken: Taken) -> int:
    largest = max(np.abs([*taken.notes["shift_cents"], *_wanted(taken).values()]))
    return next((limit for limit in _LIMITS if largest < 0.85 * limit), _LIMITS[-1])


def _frame(taken: Taken) -> tuple:
    return taken.known.flute, id(taken.known.constants), _limit(taken)


def _begin(figure, taken: Taken):
    ax, limit = figure.subplots(), _limit(taken)
    words = list(taken.notes["fingering"])
    ax.axhline(0, color=DARK, linewidth=1.5)
    ax.set_ylim(-limit, limit)
    ax.set_xlim(-0.6, len(words) - 0.4)
    ax.set_xticks(range(len(words)), words, family="monospace")
    ax.set_ylabel("cents from this flute's note")
    ax.set_title("How far each note moves when the pipe is cut", loc="left")
    bars = ax.bar(range(len(words)), 0.0, width=0.5, color=BLUE)
    labels = [ax.text(x, 0, "", ha="center", va="center", zorder=5) for x in range(len(words))]
    lines = [
        ax.plot([x - 0.4, x + 0.4], [cents, cents], color=VERMILION, linewidth=3, zorder=4)[0]
        for x, cents in _wanted(taken).items()
    ]
    if lines:
        ax.legend([lines[0]], ["wanted note"], loc="lower right")
    return [*bars, *labels, *lines]


def _move(artists, taken: Taken) -> None:
    shifts, space = taken.notes["shift_cents"], 0.08 * _limit(taken)
    bars, labels = artists[: len(shifts)], artists[len(shifts) : 2 * len(shifts)]
    for bar, label, cents in zip(bars, labels, shifts, strict=True):
        bar.set_height(cents)
        label.set_text(f"{cents:+.0f}")
        label.set_y(cents + (space if cents >= 0 else -space))
