"""The lesson on hole size as Python: the library lines that make what its panels show."""

from __future__ import annotations

from flutelab.files.hole_guess import Board
from flutelab.files.hole_lesson import HoleNote
from flutelab.model.flute import Flute, bore_diameter
from flutelab.units import to_celsius


def note_call(note: HoleNote) -> str:
    """Return the library lines that make the note."""
    return "\n".join([*_pipe_lines(note), f"frequency = {_asked(note, note.level)}", _PRINT])


_PRINT = "print(frequency)"


def _pipe_lines(note):
    """The pipe as it is set, and the air in it."""
    return [
        "import flutelab",
        "from flutelab.model.hole_sweep import hole_sweep, reshaped",
        "",
        f"first = flutelab.read_flute({note.flute.source!r})",
        f"flute = reshaped(first, hole={note.hole}, {_sizes(note.flute, note.hole)})",
        f"air = flutelab.AirAlong(room_temperature={_room(note.room)})",
    ]


def _sizes(flute, hole):
    """The arguments that give a pipe the sizes of this one."""
    one = flute.holes[hole - 1]
    bore = float(bore_diameter(flute.bore, one.position))
    sizes = {"diameter": one.diameter, "position": one.position, "wall": one.wall, "bore": bore}
    return ", ".join(f"{name}={size:.6g}" for name, size in sizes.items())


def _room(kelvin):
    return f"flutelab.units.celsius({to_celsius(kelvin):.6g})"


def _asked(note, level):
    """The expression that makes the note at a level of theory."""
    asked = f"flute, {note.fingering!r}"
    size = f"[{note.flute.holes[note.hole - 1].diameter:.6g}]"
    return {
        "full": f"flutelab.playing_frequencies({asked}, air=air)",
        "length": f"hole_sweep({asked}, {size}, hole={note.hole}, air=air).rule",
        "plain": f"hole_sweep({asked}, {size}, hole={note.hole}, air=air).plain",
    }[level]


def sound_call(note: HoleNote, before: str, after: str) -> str:
    """Return the library lines that make the sounds of two notes as WAV files.

    Parameters
    ----------
    note : HoleNote
    before, after : str
        ``start``, the pipe as it was at first, or a level of theory of the pipe as it is set.
    """
    return "\n".join(
        [
            *_pipe_lines(note),
            f"before = {_sounding(note, before)}",
            f"after = {_sounding(note, after)}",
            "",
            "from flutelab.view.sound import one, one_then_other, together",
            "sounds = [one(before), one(after), one_then_other(before, after)]",
            "sounds.append(together([before, after]))  # each the bytes of a WAV file",
        ]
    )


def _sounding(note, which):
    """The expression that makes one of the two notes, a single number [Hz]."""
    if which == "start":
        bored = f"reshaped(first, hole={note.hole}, {_sizes(note.started, note.hole)})"
        opened = "o" * len(note.flute.holes)
        return f"flutelab.playing_frequencies({bored}, {opened!r}, air=air)[0]"
    return _asked(note, which) + ("" if which == "plain" else "[0]")


def guess_call(board: Board, flute: Flute, room: float) -> str:
    """Return the library lines that find a question's answer; none of its numbers stands there.

    Parameters
    ----------
    board : Board
    flute : Flute
        That the question is of.
    room : float
        [K]
    """
    sizes = {"before": board.first, "after": board.second}
    asked = [
        f"{name} = note_at_size(flute, {board.hole}, {size:.6g}, room)"
        for name, size in sizes.items()
    ]
    return "\n".join(
        [
            "import flutelab",
            "from flutelab.files.hole_lesson import note_at_size",
            "from flutelab.model.hole_sweep import reshaped",
            "",
            f"first = flutelab.read_flute({flute.source!r})",
            f"flute = reshaped(first, hole={board.hole}, {_sizes(flute, board.hole)})",
            f"room = {_room(room)}",
            *asked,
            "moved = flutelab.pitch.cents(after, before)",
            "print(moved, after)",
            *_judging(board),
        ]
    )


def _judging(board):
    """The lines that hold what was guessed against the answer."""
    if board.kind == "hands":
        lines = ["from flutelab.files.hole_guess import right_answer", ""]
        return [*lines, "print(right_answer(moved))"]
    guesses = "".join(f"{guess:.6g}, " for guess in board.guesses)
    judged = f"away = [abs(guess - moved) for guess in ({guesses.rstrip()})]"
    return ["", judged, "print(away)"] if guesses else []
