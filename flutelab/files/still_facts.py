"""What the six still pages show, computed for the demo pipes."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from flutelab.errors import already_warned
from flutelab.files.class_expected import DRILLS
from flutelab.files.class_table import read_class_file
from flutelab.files.flute_file import read_flute
from flutelab.files.hole_lesson import (
    HoleNote,
    hole_note,
)
from flutelab.files.hole_verdict import Verdict, verdict
from flutelab.files.pipe_lesson import Lesson, pipe_lesson
from flutelab.fitting.straight_line import far_off
from flutelab.model.flute import Flute
from flutelab.model.hole_sweep import HoleSweep, hole_sweep, reshaped, rule_beyond
from flutelab.physics.breath import AirAlong
from flutelab.units import celsius, millimetres, parse_length

ROOM = 22.0  # C, as the notebook begins
HOLE = 1
_WAVES = (0.004, 0.008, 0.012)  # m, holes whose waves are shown
_SIZES = 60  # of a curve


@dataclass(frozen=True, kw_only=True, eq=False)
class Stills:
    """What the pages show, all computed.

    ``first`` and ``second`` are the sizes of the question and ``waves`` those whose waves are
    shown; ``sweep`` a smooth curve; ``judged`` the second without readings; ``pipes`` what the
    class's table says, ``mended`` the same without groups that are far off, None where none is.
    """

    first: HoleNote
    second: HoleNote
    waves: tuple[HoleNote, ...]
    sweep: HoleSweep
    table: HoleSweep
    judged: Verdict
    pipes: Lesson
    mended: Lesson | None
    odd: tuple[str, ...]


def stills(demo: Path) -> Stills:
    """Compute what the pages show.

    Parameters
    ----------
    demo : Path
        The folder ``data-demo``, or its copy.

    Raises
    ------
    DataError
        A file that is missing or cannot be used.
    """
    pipe = read_flute(demo / "one-hole-pipe.toml")
    first = pipe.holes[HOLE - 1].diameter
    second = _note(pipe, 2 * first)
    widest = float(second.sweep.diameter[-1])
    air = AirAlong(room_temperature=celsius(ROOM))
    smooth = np.linspace(0.02, 1.0, _SIZES) * widest
    with already_warned():  # the curve runs on to where the formulas were not compared
        sweep = hole_sweep(pipe, "o", smooth, hole=HOLE, air=air)
    lesson, mended, odd = _class_lines(demo)
    return Stills(
        first=_note(pipe, first),
        second=second,
        waves=tuple(_note(pipe, size) for size in _WAVES),
        sweep=sweep,
        table=hole_sweep(pipe, "o", np.array(DRILLS), hole=HOLE, air=air),
        judged=verdict(second, ()),
        pipes=lesson,
        mended=mended,
        odd=odd,
    )


def _note(pipe: Flute, size: float) -> HoleNote:
    bored = reshaped(pipe, hole=HOLE, diameter=size)
    asked = {"hole": HOLE, "fingering": "o", "room": celsius(ROOM), "level": "full"}
    return hole_note(bored, **asked, start=pipe)


def _class_lines(demo: Path) -> tuple[Lesson, Lesson | None, tuple[str, ...]]:
    """Return the class's lesson, and without the groups that chance does not explain."""
    file = read_class_file(demo / "class-open-pipes.csv")
    sizes = {"bore": parse_length(file.bore, "mm"), "wall": parse_length(file.wall, "mm")}
    whole = pipe_lesson(file.rows, **sizes)
    off = far_off(whole.found.line)
    if not off.any():
        return whole, None, ()
    kept = [row for row, far in zip(file.rows, off, strict=True) if not far]
    names = tuple(row[0] for row, far in zip(file.rows, off, strict=True) if far)
    return whole, pipe_lesson(kept, **sizes), names


def size_words(size: float) -> str:
    """Say a length [m] in whole millimetres."""
    return f"{millimetres(size):.0f} mm"


def half_wave_parts(one: HoleNote, of: str) -> tuple[float, float, float]:
    """Return a level's half wave: what the window adds, the pipe, what the hole adds [m]."""
    own, wave = one.sweep.lengths, one.wave
    if of == "plain":
        return 0.0, own.column, 0.0
    if of == "length":
        size = one.flute.holes[HOLE - 1].diameter
        return own.head, own.column, float(rule_beyond(own, size))
    return -float(wave.effective_head[0]), own.column, float(wave.effective_end[0]) - own.column
