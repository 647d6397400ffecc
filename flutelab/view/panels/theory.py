"""Is the theory wrong? Model, rule, readings and two bands on one axis of cents."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from flutelab.files.hole_lesson import HoleNote
from flutelab.files.hole_verdict import (
    FARTHEST,
    Verdict,
    invented_readings,
    read_readings,
    typed_for_words,
    verdict,
    verdict_call,
    verdict_sentence,
    verdict_table,
    verdict_words,
)
from flutelab.making.cautions import CAUTIONS
from flutelab.view.panels.curtain import HIDDEN, Curtain
from flutelab.view.panels.frame import Panel, View
from flutelab.view.panels.kit import Box, Press, Words
from flutelab.view.panels.live import Live
from flutelab.view.style import BLACK, BLUE, ORANGE, PALE, SKY, VERMILION

_ROWS = ("2 °C", "breath", "readings", "rule of thumb", "full model")
_STEP = 50.0  # cents: the axis grows in such steps
_HIDDEN_REACH = 100.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Judged:
    """What the readings say, None while that is hidden.

    Of readings of another pipe only ``since`` says something: which one.
    """

    found: Verdict | None
    since: str = ""


class _Typed:
    """Keeps what was looked at when readings were typed: they stay when the pipe is changed."""

    def __init__(self) -> None:
        self._text, self._note = "", None

    def note(self, text: str, now: HoleNote) -> HoleNote:
        """Return the note that this text was typed for."""
        if text != self._text:
            self._text, self._note = text, now
        return self._note or now


def theory_panel(curtain: Curtain, looked: Callable[[], HoleNote | None]) -> Panel:
    """Return the panel that holds a class's readings against the theory.

    Parameters
    ----------
    curtain : Curtain
    looked : callable
        Returns the note that is looked at.
    """
    kept = _Typed()

    def ask(readings):
        note = looked() if curtain.is_open else None
        if note is None:  # nothing is read: a fault would leave what was seen before
            return Judged(found=None)
        typed = kept.note(readings.strip(), note)
        read = read_readings(readings)
        since = typed_for_words(note, typed) if read else ""
        return Judged(found=verdict(note, () if since else read), since=since)

    def invent():
        note = looked() if curtain.is_open else None
        panel.set(**{} if note is None else {"readings": invented_readings(note)})

    fill = Press(label="Fill in invented readings", do=invent)
    fill.layout.margin = "2px 2px 10px"  # its ring, where it has the keyboard, covers nothing
    picture = Live(_begin, _move, frame=_reach, size=(9.6, 2.9))

    panel = Panel(
        title="4. Is the theory wrong? Readings beside the model",
        controls={
            "readings": Box(
                label="The class's readings of the pipe as set above", unit="Hz",
                hint="such as 587.3 590 585, or D5 -8; D5 +3",
            )
        },
        ask=ask,
        sentence=lambda judged: judged.since or _say(verdict_sentence, judged, f"{HIDDEN}."),
        views=[
            View(
                draw=lambda judged: picture(judged.found),
                words=lambda judged: _say(verdict_words, judged, _EMPTY),
            )
        ],
        table=lambda judged: _say(verdict_table, judged, pd.DataFrame({HIDDEN: []})),
        call=lambda **_: _say(verdict_call, panel.answer, f"# {HIDDEN}"),
        above=[Words(text=CAUTIONS["breath"])],
        below=[fill],
    )  # fmt: skip
    return panel


_EMPTY = f"An empty axis of cents. {HIDDEN}."


def _say(words, judged, otherwise):
    return otherwise if judged.found is None else words(judged.found)


def _reach(found: Verdict | None):
    """What the axis must hold, in steps; the same for all while hidden."""
    if found is None:
        return "hidden", _HIDDEN_REACH
    far = np.max(np.abs([*found.readings, found.rule, *found.bands.breath, *found.bands.warmth]))
    return "", float(min(FARTHEST, _STEP * np.ceil((far + 10) / _STEP)))


def _begin(figure, found):
    hidden, reach = _reach(found)
    ax = figure.subplots()
    ax.set_xlim(-reach, reach)
    ax.set_ylim(-0.6, len(_ROWS) - 0.4)
    ax.set_yticks(range(len(_ROWS)), _ROWS)
    ax.grid(axis="x", color=PALE, linewidth=0.8)
    ax.set_xlabel("cents from the full model's note")
    ax.set_title("Bars: predicted. Dots: measured. Bands: what moves the note itself", loc="left")
    if hidden:
        ax.text(0.5, 0.5, HIDDEN, ha="center", transform=ax.transAxes)
    bands = [
        ax.plot([], [], color=colour, linewidth=16, solid_capstyle="butt", alpha=0.8)[0]
        for colour in (ORANGE, SKY)
    ]
    (dots,) = ax.plot([], [], "o", color=BLACK, zorder=4)
    bars = [
        ax.plot([], [], color=colour, linewidth=4, solid_capstyle="butt", zorder=3)[0]
        for colour in (VERMILION, BLUE)
    ]
    return *bands, dots, *bars


def _move(artists, found):
    warmth, breath, dots, rule, model = artists
    if found is None:
        return
    warmth.set_data(found.bands.warmth, [0, 0])
    breath.set_data(found.bands.breath, [1, 1])
    dots.set_data(found.readings, np.full(len(found.readings), 2.0))
    rule.set_data([found.rule] * 2, [2.65, 3.35])
    model.set_data([0, 0], [-0.5, 4.4])
