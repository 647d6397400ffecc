"""One hole of a pipe: sliders, the pipe to scale, its note, its wave, three levels of theory."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from flutelab.files.class_table import read_room
from flutelab.files.hole_call import note_call
from flutelab.files.hole_lesson import (
    LEVELS,
    HoleNote,
    formula_line,
    hole_note,
    note_sentence,
    rule_error_words,
    sweep_table,
)
from flutelab.model.flute import Flute, bore_diameter, bore_side_diameter
from flutelab.model.hole_sweep import reshaped
from flutelab.units import celsius, from_mm, millimetres, to_celsius
from flutelab.view.drawing.pipe import pipe_drawing
from flutelab.view.drawing.svg import svg
from flutelab.view.panels.curtain import HIDDEN, Curtain
from flutelab.view.panels.frame import Panel, View
from flutelab.view.panels.guess import read_size
from flutelab.view.panels.hole_picture import hole_picture, hole_picture_words
from flutelab.view.panels.kit import Choice, Fingering, Number

_WIDTH = 780.0  # pixels: the controls stand beside it
SHORTEST, LONGEST = 0.3, 0.95  # where the hole may be, over the pipe's length


@dataclass(frozen=True, kw_only=True, eq=False)
class Looked:
    """The pipe as set, and its note, None while that is hidden."""

    flute: Flute
    fingering: str
    note: HoleNote | None


def look_panel(
    flute: Flute,
    hole: int,
    room: float,
    curtain: Curtain,
    start: Callable[[], Flute],
    then: Callable[[Looked], None],
) -> Panel:
    """Return the panel in which one hole is looked at.

    Parameters
    ----------
    flute : Flute
    hole : int
        From 1, nearest the head.
    room : float
        [K]
    curtain : Curtain
        While it is closed nothing tells a note.
    start : callable
        Returns the pipe that the shift counts from.
    then : callable
        Told of each new answer.
    """

    def ask(diameter, place, wall, bore, room, fingering, level):
        sizes = {"diameter": diameter, "position": place, "wall": wall, "bore": bore}
        shaped = reshaped(flute, hole=hole, **{name: from_mm(x) for name, x in sizes.items()})
        note = None
        if curtain.is_open:
            asked = {"hole": hole, "fingering": fingering, "room": celsius(room), "level": level}
            note = hole_note(shaped, **asked, start=start())
        return Looked(flute=shaped, fingering=fingering, note=note)

    controls = _controls(flute, hole, room)
    picture = hole_picture(millimetres(flute.foot.position), controls["bore"].value)
    panel = Panel(
        title="2. One hole: its size, its place, its note",
        controls=controls,
        ask=ask,
        sentence=lambda found: _say(note_sentence, found, _hidden_words(found.flute, hole)),
        lines=[
            lambda found: _say(formula_line, found),
            lambda found: _say(rule_error_words, found),
        ],
        views=[
            View(
                draw=lambda found: svg(pipe_drawing(found.flute, found.fingering, width=_WIDTH)),
                words=lambda found: pipe_drawing(found.flute, found.fingering).description,
            ),
            View(
                draw=lambda found: picture(found.note),
                words=lambda found: hole_picture_words(found.note),
            ),
        ],
        table=lambda found: _say(sweep_table, found, pd.DataFrame({HIDDEN: []})),
        call=lambda **_: _say(note_call, panel.answer, f"# {HIDDEN}"),
        then=then,
        beside=True,
    )
    return panel


def _hidden_words(flute, hole):
    one = flute.holes[hole - 1]
    size, place = millimetres(one.diameter), millimetres(one.position)
    return f"Hole {hole}, {size:.1f} mm, {place:.0f} mm from the edge. {HIDDEN}."


def _say(words, found, otherwise=""):
    return otherwise if found.note is None else words(found.note)


def _controls(flute, hole, room):
    own, length = flute.holes[hole - 1], millimetres(flute.foot.position)
    bore = round(millimetres(float(bore_diameter(flute.bore, own.position))), 2)
    widest = bore / max(1.0, bore_side_diameter(own) / own.diameter)  # an undercut grows with it
    length_unit = {"unit": "mm", "read": read_size}
    return {
        "diameter": Number(
            label=f"Hole {hole}, diameter", value=millimetres(own.diameter), low=1.0,
            high=round(widest, 2), step=0.1, **length_unit,
        ),
        "place": Number(
            label=f"Hole {hole}, from the edge", value=millimetres(own.position),
            low=round(SHORTEST * length), high=round(LONGEST * length), step=1.0, **length_unit,
        ),
        "wall": Number(
            label="Wall", value=millimetres(own.wall), low=0.5, high=8.0, step=0.1, **length_unit
        ),
        "bore": Number(
            label="Bore", value=bore, low=round(0.6 * bore, 1), high=round(1.6 * bore, 1),
            step=0.1, **length_unit,
        ),
        "room": Number(
            label="Room", unit="°C", value=to_celsius(room), low=10.0, high=35.0, step=0.5,
            read=lambda text: to_celsius(read_room(text)),
        ),
        "fingering": Fingering(value="o" * len(flute.holes)),
        "level": Choice(label="Level of theory", choices=LEVELS, value="full"),
    }  # fmt: skip
