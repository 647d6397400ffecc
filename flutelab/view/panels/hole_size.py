"""The lesson on hole size and pitch: predict first, look, hear, and doubt the theory."""

from __future__ import annotations

from dataclasses import dataclass

from flutelab.files.hole_lesson import HoleNote
from flutelab.model.flute import Flute
from flutelab.model.hole_sweep import reshaped
from flutelab.units import celsius, from_mm
from flutelab.view.panels.curtain import Curtain, forget
from flutelab.view.panels.frame import Panel
from flutelab.view.panels.guess import guess_panel
from flutelab.view.panels.hole_look import look_panel
from flutelab.view.panels.hole_sound import sound_panel
from flutelab.view.panels.later import Later
from flutelab.view.panels.theory import theory_panel

_ROOM = 22.0  # C


@dataclass(frozen=True, kw_only=True, eq=False)
class HoleSizePanels:
    """The lesson's panels, in this order; until ``guess`` reveals it none tells the answer."""

    guess: Panel
    look: Panel
    sound: Panel
    theory: Panel


def hole_size_panels(flute: Flute, hole: int = 1) -> HoleSizePanels:
    """Return the panels of the lesson on one hole of a pipe.

    Parameters
    ----------
    flute : Flute
        With a hole, not stopped at either end.
    hole : int
        From 1, nearest the head.

    Raises
    ------
    ValueError
        A hole that the flute does not have.

    Notes
    -----
    What is revealed is the note of the second size: the look panel's slider moves there, and
    shifts count from the first. Sounds and readings are those of the pipe as it is set there.
    """
    if not 1 <= hole <= len(flute.holes):
        msg = f"hole is {hole}; this flute has {len(flute.holes)}, counted from 1 at the head"
        raise ValueError(msg)
    curtain, room = Curtain(), celsius(_ROOM)
    guess = guess_panel(flute, hole, room, curtain)

    def start() -> Flute:
        return reshaped(flute, hole=hole, diameter=from_mm(guess.controls["first"].value))

    def looked() -> HoleNote | None:
        return look.answer.note

    def feed() -> None:
        for panel in fed:
            panel.refresh()

    fed: list[Panel] = []
    look = look_panel(flute, hole, room, curtain, start, Later(feed))
    fed += [sound_panel(curtain, looked), theory_panel(curtain, looked)]

    def moved() -> None:
        for panel in (look, *fed):
            forget(panel)
        look.reset()  # the question is of the pipe as it is
        if curtain.is_open:
            look.set(diameter=guess.controls["second"].value)
        feed()  # what is hidden is so at once

    curtain.tell(moved)
    return HoleSizePanels(guess=guess, look=look, sound=fed[0], theory=fed[1])
