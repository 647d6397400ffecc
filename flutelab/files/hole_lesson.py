"""The lesson on hole size: a note at three levels of theory, in words and in numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pandas as pd

from flutelab.errors import already_warned
from flutelab.model.flute import Flute, bore_diameter, bore_side_diameter
from flutelab.model.hole_sweep import (
    HoleSweep,
    hole_sweep,
    mode_on_sweep,
    plain_frequency,
    reshaped,
    rule_beyond,
    rule_frequency,
    rule_lengths,
)
from flutelab.model.inside import StandingWave, standing_wave
from flutelab.model.notes import playing_frequencies
from flutelab.model.rows import rows
from flutelab.physics.breath import AirAlong
from flutelab.pitch import cents, nearest_note
from flutelab.units import millimetres

LEVELS = {
    "No end corrections": "plain",
    "End correction as a length": "length",
    "Full model": "full",
}
_BY = {"plain": ", without end corrections", "length": ", by the rule of thumb", "full": ""}
SAME = 1e-6  # m: sizes nearer than this are the same
_SIZES = 15  # of the curve
_POINTS = 40  # of the standing wave


@dataclass(frozen=True, kw_only=True, eq=False)
class HoleNote:
    """One hole of a pipe as fingered in a room, at each level.

    ``frequency`` maps levels to Hz; ``start`` likewise, of the pipe as it was at first,
    ``started``; ``sweep`` is the note against the hole's diameter, ``wave``
    the standing wave of the full model; ``room`` [K].
    """

    flute: Flute
    hole: int
    fingering: str
    room: float
    level: str
    sweep: HoleSweep
    wave: StandingWave
    frequency: dict[str, float]
    start: dict[str, float]
    started: Flute


def hole_note(
    flute: Flute,
    *,
    hole: int,
    fingering: str,
    room: float,
    level: str,
    start: Flute,
) -> HoleNote:
    """Return a hole's note at three levels of theory, and what it was at the start.

    Parameters
    ----------
    flute : Flute
        Not stopped at either end.
    hole : int
        From 1, nearest the head.
    fingering : str
    room : float
        [K]
    level : str
        A value of `LEVELS`.
    start : Flute
        The pipe as it was, played with all holes open in the same room.
    """
    own = flute.holes[hole - 1].diameter
    row = rows(flute, fingering, air=AirAlong(room_temperature=room))
    sweep = _curve(_plain(flute, hole), fingering, hole, room)
    found, numbers = mode_on_sweep(sweep, flute, row)
    wave = standing_wave(flute, row, points=_POINTS, found=found, numbers=numbers)
    first_open = not np.isnan(sweep.cut)
    rule = rule_frequency(sweep.lengths, own) if first_open else sweep.rule[0]
    return HoleNote(
        flute=flute,
        hole=hole,
        fingering=sweep.label,
        room=room,
        level=level,
        sweep=sweep,
        wave=wave,
        frequency={"plain": sweep.plain, "length": float(rule), "full": float(wave.frequency[0])},
        start=_at_start(start, hole, room),
        started=start,
    )


@lru_cache(maxsize=32)
def _at_start(start, hole, room):
    """The pipe's note at each level, all holes open [Hz]."""
    air = AirAlong(room_temperature=room)
    lengths = rule_lengths(start, rows(start, "o" * len(start.holes), air=air))
    with already_warned():  # of the pipe that is shown it is warned
        full = note_at_size(start, hole, start.holes[hole - 1].diameter, room)
    rule = rule_frequency(lengths, lengths.diameter)
    return {"plain": plain_frequency(lengths), "length": float(rule), "full": full}


@lru_cache(maxsize=64)
def note_at_size(flute: Flute, hole: int, diameter: float, room: float) -> float:
    """Return the full model's note with all holes open and one of this diameter [Hz].

    Parameters
    ----------
    flute : Flute
    hole : int
        From 1, nearest the head.
    diameter : float
        Of it [m].
    room : float
        [K]
    """
    bored, air = reshaped(flute, hole=hole, diameter=diameter), AirAlong(room_temperature=room)
    return float(playing_frequencies(bored, "o" * len(bored.holes), air=air)[0])


def _plain(flute, hole):
    """The flute with the hole of a size that does not change: the curve is the same for all."""
    size = bore_diameter(flute.bore, flute.holes[hole - 1].position) / 4
    bored = reshaped(flute, hole=hole, diameter=float(size))
    return replace(bored, holes=tuple(_rounded(one) for one in bored.holes))


def _rounded(one):
    """The hole, its undercut to the nanometre: what is remembered is found by it."""
    under = one.inner_diameter
    return replace(one, inner_diameter=None if under is None else round(under, 9))


@lru_cache(maxsize=32)
def _curve(flute, fingering, hole, room):
    one = flute.holes[hole - 1]
    undercut = max(1.0, bore_side_diameter(one) / one.diameter)
    widest = float(bore_diameter(flute.bore, one.position) / undercut)
    sizes = np.linspace(0.03, 1.0, _SIZES) * widest
    with already_warned():  # of the size that is shown it is warned
        return hole_sweep(flute, fingering, sizes, hole=hole, air=AirAlong(room_temperature=room))


# --- in words ------------------------------------------------------------------------------


def pitch_words(frequency: float) -> str:
    """Say a note: ``587.3 Hz, D5 +0 cents``."""
    name, off = nearest_note(frequency)
    return f"{frequency:.1f} Hz, {name} {off:+z.0f} cents"


def moved_words(interval: float) -> str:
    """Say an interval [cents]: ``14 cents up``."""
    if round(interval) == 0:
        return "0 cents off"
    return f"{abs(interval):.0f} cents {'up' if interval > 0 else 'down'}"


def hole_words(note: HoleNote) -> str:
    """Name a hole with its size, and that it is covered where it is."""
    size = millimetres(note.flute.holes[note.hole - 1].diameter)
    state = {"x": ", closed", "h": ", half covered", "n": ", not drilled"}
    return f"Hole {note.hole}, {size:.1f} mm{state.get(note.fingering[note.hole - 1], '')}"


def note_sentence(note: HoleNote) -> str:
    """Say the note at the level that was chosen, and how far it has moved."""
    frequency = note.frequency[note.level]
    moved = moved_words(float(cents(frequency, note.start[note.level])))
    return (
        f"{hole_words(note)}{_BY[note.level]}: {pitch_words(frequency)}; {moved} from the start "
        f"({_start_words(note)})."
    )


def _start_words(note):
    """The hole's size at the start, and what else was another then."""
    others = changed_sizes(note.flute, note.started, note.hole)
    words = "".join(f", {name} {millimetres(size):.1f} mm" for name, size in others.items())
    return f"{millimetres(note.started.holes[note.hole - 1].diameter):.1f} mm{words}"


def changed_sizes(pipe: Flute, other: Flute, hole: int) -> dict[str, float]:
    """Return bore and wall [m] of another pipe at a hole, by name, where they are not the pipe's.

    Parameters
    ----------
    pipe, other : Flute
    hole : int
        From 1, nearest the head; the place is that of `pipe`.
    """
    place = pipe.holes[hole - 1].position

    def sizes(of):
        return float(bore_diameter(of.bore, place)), of.holes[hole - 1].wall

    pairs = zip(("bore", "wall"), sizes(pipe), sizes(other), strict=True)
    return {name: size for name, usual, size in pairs if abs(size - usual) > SAME}


def rule_error_words(note: HoleNote) -> str:
    """Say how far the simpler levels are from the full model."""
    full = note.frequency["full"]
    off = {level: float(cents(note.frequency[level], full)) for level in ("length", "plain")}
    return (
        f"Beside the full model the rule of thumb is {moved_words(off['length'])}, "
        f"the pipe without end corrections {moved_words(off['plain'])}."
    )


def formula_line(note: HoleNote) -> str:
    """Return the level's own formula with this pipe's numbers."""
    return {"plain": _plain_line, "length": _length_line, "full": _full_line}[note.level](note)


def _air_words(ends):
    """Whose speed of sound c is: the breath makes the air warmest at the window."""
    return f"c: of the blown air, warmer than the room, half way to {ends}"


def _plain_line(note):
    own = note.sweep.lengths
    column = millimetres(own.column)
    end = "the foot" if np.isnan(own.wall) else "the centre of the first open hole"
    return (
        f"f = c / 2L = {own.sound_speed:.1f} m/s / (2 × {column:.1f} mm) = "
        f"{note.sweep.plain:.1f} Hz; L from the edge to {end}, as if the wave ended there; "
        f"{_air_words('the foot')}."
    )


def _length_line(note):
    own, frequency = note.sweep.lengths, note.frequency["length"]
    this = note.flute.holes[note.hole - 1]
    diameter = own.diameter if np.isnan(note.sweep.cut) else this.diameter
    beyond = float(rule_beyond(own, diameter))
    head, column, more = (millimetres(x) for x in (own.head, own.column, beyond))
    line = (
        f"f = c / 2(h + x + d) = {own.sound_speed:.1f} m/s / 2({head:.1f} + {column:.1f} + "
        f"{more:.1f} mm) = {frequency:.1f} Hz; {_air_words('the foot')}; "
    )
    bore = millimetres(own.bore_radius)
    if np.isnan(own.wall):
        return f"{line}d = 0.6 a = 0.6 × {bore:.1f} mm at the foot."
    wall, radius, tail = millimetres(own.wall), millimetres(diameter) / 2, millimetres(own.tail)
    mass = (wall + 1.5 * radius) * (bore / radius) ** 2
    return (
        f"{line}d = mD / (m + D), m = (w + 1.5 b)(a/b)² = ({wall:.1f} + 1.5 × {radius:.2f}) × "
        f"({bore:.1f}/{radius:.2f})² = {mass:.1f} mm, D = {tail:.1f} mm of pipe below the hole."
    )


def _full_line(note):
    wave, own = note.wave, note.sweep.lengths
    frequency = note.frequency["full"]
    speed = float(2 * frequency * wave.half_waves[0])  # a half wave by the air at both ends
    head, end = -wave.effective_head[0], wave.effective_end[0] - own.column
    length = head + own.column + end
    bare = speed / (2 * length)
    ends = "the foot" if np.isnan(own.wall) else "the first open hole"
    numbers = " + ".join(f"{millimetres(x):.1f}" for x in (head, own.column, end))
    return (
        f"f = c / 2(h + x + d) = {speed:.1f} m/s / 2({numbers} mm) = {bare:.1f} Hz, and "
        f"{frequency - bare:+.1f} Hz by the drag of the walls: {frequency:.1f} Hz; h and d are "
        "read off the standing wave, which knows hole, wall and the pipe below; "
        f"{_air_words(ends)}."
    )


def sweep_table(note: HoleNote) -> pd.DataFrame:
    """Return the curve with its limits as a table."""
    sweep = note.sweep
    low = pd.DataFrame({"hole": ["none"], "model_hz": [sweep.no_hole]})
    curve = pd.DataFrame(
        {
            "hole": [f"{millimetres(size):.1f} mm" for size in sweep.diameter],
            "model_hz": sweep.frequency,
            "above_no_hole_cents": cents(sweep.frequency, sweep.no_hole),
            "rule_hz": sweep.rule,
            "rule_off_cents": sweep.error,
        }
    )
    parts = [low, curve]
    if not np.isnan(sweep.cut):
        above = float(cents(sweep.cut, sweep.no_hole))
        cut = {"hole": ["pipe cut there"], "model_hz": [sweep.cut], "above_no_hole_cents": [above]}
        parts.append(pd.DataFrame(cut))
    return pd.concat(parts, ignore_index=True)
