"""What a class should find, computed by the model for the pipes that it is given."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from flutelab.files.flute_file import read_flute
from flutelab.files.foretell import USUAL_HUMIDITY, usual_fingerings
from flutelab.fitting.pipe_lengths import PipeLine, pipe_line
from flutelab.model.flute import End, Flute, bore_diameter
from flutelab.model.hole_sweep import HoleSweep, NoteBands, hole_sweep, note_bands
from flutelab.model.notes import playing_frequencies
from flutelab.physics.air import moist_air
from flutelab.physics.breath import AirAlong, single_air
from flutelab.units import celsius, to_celsius

ROOMS = (18.0, 21.0, 24.0)  # C
USUAL = 1  # which of them stands for an ordinary day
DRILLS = (0.004, 0.006, 0.008, 0.010)  # m
LENGTHS = (0.18, 0.22, 0.26, 0.30, 0.34, 0.38, 0.42)  # m, one a group
_PIPE, _ONE_HOLE, _FLUTE = "plain-pipe-300.toml", "one-hole-pipe.toml", "three-quarter-five.toml"


@dataclass(frozen=True, kw_only=True)
class Material:
    """What a class works with: plain pipes, a pipe with a window and one hole, and a flute."""

    pipes: tuple[Flute, ...]
    one_hole: Flute
    flute: Flute


def demo_material(folder: Path) -> Material:
    """Read the invented pipes of the demo data; the plain one is cut to each of `LENGTHS`.

    Parameters
    ----------
    folder : Path
        The folder ``data-demo``, or its copy.

    Raises
    ------
    DataError
        A file that is missing or cannot be used.
    """
    pipe = read_flute(folder / _PIPE)
    return Material(
        pipes=tuple(replace(pipe, foot=replace(pipe.foot, position=at)) for at in LENGTHS),
        one_hole=read_flute(folder / _ONE_HOLE),
        flute=read_flute(folder / _FLUTE),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Expected:
    """What a class should find with its material.

    ``plain`` and ``window`` lines of pipes without and with a window, ``sweep`` of the one hole
    through `DRILLS`, each for every one of `ROOMS`; ``band`` of that hole's note by breath and
    warmth; ``warmer`` the air of a blown pipe than the room [K]; ``words`` (N,) and ``notes``
    (N, rooms) [Hz] of the flute.
    """

    material: Material
    length: np.ndarray
    plain: tuple[PipeLine, ...]
    window: tuple[PipeLine, ...]
    sweep: tuple[HoleSweep, ...]
    band: NoteBands
    warmer: float
    words: tuple[str, ...]
    notes: np.ndarray


def expected(material: Material) -> Expected:
    """Return what the model foretells for a class's material."""
    words = usual_fingerings(material.flute)
    return Expected(
        material=material,
        length=lengths(material.pipes),
        plain=plain_lines(material.pipes),
        window=window_lines(material),
        sweep=hole_sweeps(material),
        band=note_bands(material.one_hole, "o", air=blown_air(ROOMS[USUAL])),
        warmer=warmer_inside(),
        words=words,
        notes=flute_notes(material.flute, words),
    )


def lengths(pipes: tuple[Flute, ...]) -> np.ndarray:
    """Return the lengths of pipes (P,) [m]."""
    return np.array([pipe.foot.position for pipe in pipes])


def blown_air(room: float) -> AirAlong:
    """Return the air in a pipe that is blown in a room [C]."""
    return AirAlong(room_temperature=celsius(room), humidity=USUAL_HUMIDITY)


def plain_lines(pipes: tuple[Flute, ...]) -> tuple[PipeLine, ...]:
    """Return notes and line of plain pipes that are tapped, for each of `ROOMS`."""
    found = []
    for room in ROOMS:
        air = moist_air(celsius(room), humidity=USUAL_HUMIDITY)
        notes = np.array([playing_frequencies(pipe, "", air=air)[0] for pipe in pipes])
        found.append(pipe_line(lengths(pipes), notes, sound_speed=air.sound_speed))
    return tuple(found)


def windowed(material: Material) -> tuple[Flute, ...]:
    """Return pipes as long as the plain ones, from sounding edge to foot, with a window each."""
    one = material.one_hole
    rim = bore_diameter(one.bore, one.foot.position) + 2 * one.head.wall
    return tuple(
        replace(one, holes=(), foot=End(position=pipe.foot.position, outer_diameter=rim))
        for pipe in material.pipes
    )


def window_lines(material: Material) -> tuple[PipeLine, ...]:
    """Return notes and line of pipes with a window that are blown, for each of `ROOMS`.

    The speed of sound is that of the bore's air, breath and room mixed.
    """
    found = []
    for room in ROOMS:
        air = blown_air(room)
        notes = [playing_frequencies(pipe, "", air=air)[0] for pipe in windowed(material)]
        speed = float(single_air(air).sound_speed)
        found.append(pipe_line(lengths(material.pipes), np.array(notes), sound_speed=speed))
    return tuple(found)


def warmer_inside() -> float:
    """Return by how much the air in a blown pipe is warmer than the room, on a usual day [K]."""
    room = ROOMS[USUAL]
    return float(to_celsius(single_air(blown_air(room)).temperature)) - room


def hole_sweeps(material: Material) -> tuple[HoleSweep, ...]:
    """Return the note of the pipe with one hole of each of `DRILLS`, for each of `ROOMS`."""
    one, sizes = material.one_hole, np.array(DRILLS)
    return tuple(hole_sweep(one, "o", sizes, hole=1, air=blown_air(room)) for room in ROOMS)


def flute_notes(flute: Flute, words: tuple[str, ...]) -> np.ndarray:
    """Return notes (N, rooms) of fingerings (N,) [Hz]."""
    notes = [playing_frequencies(flute, words, air=blown_air(room)) for room in ROOMS]
    return np.stack(notes, axis=-1)


def sound_speeds(temperatures: range) -> np.ndarray:
    """Return the speed of sound in a room's air at whole degrees C [m/s]."""
    return np.array(
        [moist_air(celsius(t), humidity=USUAL_HUMIDITY).sound_speed for t in temperatures]
    )
