"""The lesson on hole size and pitch: predict first, look, hear, and doubt the theory."""

from __future__ import annotations

from dataclasses import dataclass

from flutelab.files.hole_lesson import HoleNote
from flutelab.model.flute import Flute, bore_diameter
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
    Its room is the lesson's. The question is of the bore and wall that were set there when it was
    revealed; when it is hidden they stay, and the hole goes back.
    """
    if not 1 <= hole <= len(flute.holes):
        msg = f"hole is {hole}; this flute has {len(flute.holes)}, counted from 1 at the head"
        raise ValueError(msg)
    own = flute.holes[hole - 1]
    curtain, room = Curtain(), {"room": _ROOM}
    sizes = {"wall": own.wall, "bore": float(bore_diameter(flute.bore, own.position))}

    def settle() -> None:
        sizes.update({name: from_mm(look.controls[name].value) for name in sizes})

    curtain.tell(settle)  # first: of this pipe the others are told

    def asked() -> tuple[Flute, float]:
        pipe = reshaped(flute, hole=hole, diameter=own.diameter, **sizes)
        return pipe, celsius(room["room"])

    guess = guess_panel(flute, hole, curtain, asked)

    def start() -> Flute:
        first = from_mm(guess.controls["first"].value)
        return reshaped(flute, hole=hole, diameter=first, **sizes)

    def looked() -> HoleNote | None:
        return look.answer.note

    def feed() -> None:
        if not fed:
            return
        room["room"] = look.controls["room"].value
        if not curtain.is_open:
            settle()
        for panel in (guess, *fed):
            panel.refresh()

    fed: list[Panel] = []
    look = look_panel(flute, hole, celsius(_ROOM), curtain, start, Later(feed))
    fed += [sound_panel(curtain, looked), theory_panel(curtain, looked)]
    first = {name: look.controls[name].value for name in ("diameter", "place", "fingering")}

    def moved() -> None:
        for panel in (look, *fed):
            forget(panel)
        shown = {"diameter": guess.controls["second"].value} if curtain.is_open else {}
        look.set(**first | shown)  # of what is asked; room, bore and wall stay as they were set
        feed()  # what is hidden is so at once

    curtain.tell(moved)
    return HoleSizePanels(guess=guess, look=look, sound=fed[0], theory=fed[1])
