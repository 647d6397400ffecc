"""Predict first: the panel that takes guesses and shows the answer when a button is pressed."""

from __future__ import annotations

import math
from collections.abc import Callable

from flutelab.files.hole_call import guess_call
from flutelab.files.hole_guess import (
    ANSWERS,
    MOST,
    Board,
    board_sentence,
    board_words,
    read_guesses,
    read_hands,
    where_words,
)
from flutelab.files.hole_lesson import note_at_size
from flutelab.model.flute import Flute, bore_diameter
from flutelab.pitch import cents
from flutelab.units import from_mm, millimetres, parse_length
from flutelab.view.panels.curtain import Curtain, forget
from flutelab.view.panels.frame import Panel, View
from flutelab.view.panels.guess_picture import guess_picture
from flutelab.view.panels.kit import Box, Choice, Number, Press

KINDS = {"one guess": "one", f"up to {MOST} groups": "groups", "a show of hands": "hands"}


def read_size(text: str) -> float:
    """Read a length as people write it, bare numbers in mm [mm]."""
    return millimetres(parse_length(text, "mm"))


def guess_panel(
    flute: Flute, hole: int, curtain: Curtain, asked: Callable[[], tuple[Flute, float]]
) -> Panel:
    """Return the panel of the question; it opens and closes the curtain.

    Parameters
    ----------
    flute : Flute
    hole : int
        From 1, nearest the head.
    curtain : Curtain
    asked : callable
        Returns the pipe that is asked about, its hole as in `flute`, and the room [K].
    """

    def ask(**values):
        pipe, room = asked()
        where = where_words(flute, pipe, hole, room)
        return _board(pipe, hole, room, is_open=curtain.is_open, where=where, **values)

    controls = _controls(flute, hole)
    for name in ("first", "second"):  # another question: its answer is not yet to be seen
        controls[name].observe(lambda _: curtain.move(False), "value")
    button = Press(label=_LABEL[False], do=lambda: curtain.move(not curtain.is_open))
    button.layout.margin = "2px 2px 10px"  # its ring, where it has the keyboard, covers nothing
    panel = Panel(
        title="1. Predict first",
        controls=controls,
        ask=ask,
        sentence=board_sentence,
        views=[View(draw=guess_picture(), words=board_words)],
        call=lambda **_: guess_call(panel.answer, *asked()),
        below=[button],
    )
    controls["kind"].observe(lambda _: _show_boxes(controls), "value")
    _show_boxes(controls)

    def moved():
        button.label = _LABEL[curtain.is_open]
        forget(panel)
        panel.set(**{} if curtain.is_open else dict.fromkeys(["one", "groups", *ANSWERS], ""))

    curtain.tell(moved)
    return panel


_LABEL = {False: "Reveal", True: "Hide, for new guesses"}


def _board(flute, hole, room, *, is_open, where, first, second, kind, one, groups, **hands):
    """The question, what was guessed and, where it is open, the answer."""
    before = answer = None
    # any other size's note is the answer to some question: not told while it is hidden
    if is_open or math.isclose(from_mm(first), flute.holes[hole - 1].diameter):
        before = note_at_size(flute, hole, from_mm(first), room)
    if is_open:
        answer = float(cents(note_at_size(flute, hole, from_mm(second), room), before))
    guesses = {"one": (one, 1), "groups": (groups, MOST), "hands": ("", 0)}[kind]
    return Board(
        hole=hole,
        first=from_mm(first),
        second=from_mm(second),
        where=where,
        before=before,
        kind=kind,
        guesses=read_guesses(guesses[0], before, guesses[1]),
        hands=read_hands(hands if kind == "hands" else dict.fromkeys(ANSWERS, "")),
        answer=answer,
    )


def _controls(flute, hole):
    own = flute.holes[hole - 1]
    widest = millimetres(float(bore_diameter(flute.bore, own.position)))
    size = {"unit": "mm", "low": 1.0, "high": widest, "step": 0.1, "read": read_size}
    first = millimetres(own.diameter)
    second = round(min(2 * first, 0.8 * widest), 1)
    return {
        "first": Number(label=f"Hole {hole} goes from", value=first, **size),
        "second": Number(label="to", value=second, **size),
        "kind": Choice(label="Who guesses", choices=KINDS),
        "one": Box(label="The guess", unit="cents up", hint="such as 40, or 612 Hz"),
        "groups": Box(
            label="Guesses in the groups' order", unit="cents up", hint="such as 40 120 -5"
        ),
        **{letter: Box(label=f"{letter}: {words}", unit="hands") for letter, (words, _) in
           ANSWERS.items()},
    }  # fmt: skip


def _show_boxes(controls):
    """Show the boxes of those who guess."""
    kind = controls["kind"].value
    for name, who in {"one": "one", "groups": "groups", **dict.fromkeys(ANSWERS, "hands")}.items():
        controls[name].layout.display = None if who == kind else "none"
