"""A class's plain pipes in words: the line, what it means, and what cannot be."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from flutelab.files.class_faults import row_names
from flutelab.files.class_table import ClassTable, read_class_table
from flutelab.fitting.pipe_lengths import (
    FEWEST,
    HELD,
    OPEN_ENDS,
    WAVES,
    PipeLine,
    PredictedLine,
    different_lengths,
    pipe_line,
    predicted_line,
)
from flutelab.units import millimetres, to_celsius

_SLIPS = (
    "a length in cm or inches typed as mm, or a diameter instead of a length; a note "
    "an octave off; a stopped pipe among open ones; a wrong temperature"
)
_LOOKS = {
    (
        "open",
        "octave high",
    ): "its note is an octave too high for its length (overblown, misread, or a wrong length)",
    (
        "open",
        "octave low",
    ): "its note is an octave too low for its length (a stopped pipe among open "
    "ones, or a wrong length)",
    ("stopped", "octave high"): "its note is an octave too high for its length (an open pipe among "
    "stopped ones, or a wrong length)",
    (
        "stopped",
        "octave low",
    ): "its note is an octave too low for its length (misread, or a wrong length)",
}
_LENGTHS = {
    "length too small": "its length is far too small for its note (cm or inches typed as mm, or a "
    "diameter)",
    "length too large": "its length is far too large for its note (check its unit)",
}
_HOLDS = {
    "open": "a pipe open at both ends holds half a wave, and c/2f is its length",
    "stopped": "a pipe stopped at one end holds a quarter of a wave, and c/4f is its length",
}
_SOUND_AS = {"halved": "open at both ends", "doubled": "stopped at one end"}


@dataclass(frozen=True, kw_only=True, eq=False)
class Lesson:
    """What a class's table says, and what was asked of it.

    ``found`` of the sound rows; ``predicted`` None where the bore is not known, there is no
    line, or it is not asked for; ``bore`` and ``guess`` [m] or None; ``how`` the pipes were
    sounded, ``driven`` (tapped) or ``blown``; ``air`` says how the speed of sound was found, ""
    where it follows from the temperatures as they were typed.
    """

    table: ClassTable
    found: PipeLine
    predicted: PredictedLine | None
    bore: float | None
    guess: float | None
    how: str
    air: str


def pipe_lesson(
    rows: Sequence[Sequence[str]],
    *,
    kind: str = "open",
    wave: str = "half",
    how: str = "driven",
    bore: float | None = None,
    wall: float | None = None,
    guess: float | None = None,
    sound_speed: float | None = None,
    temperature_off: float = 0.0,
    formulas: bool = True,
) -> Lesson:
    """Return what a class's table of plain pipes says.

    Parameters
    ----------
    rows : sequence of sequence of str
        As `read_class_table` takes them.
    kind, wave : str
        As in `pipe_line`.
    how : {'driven', 'blown'}
        Tapped, or blown across an end.
    bore, wall, guess : float, optional
        [m]; the guess is of the intercept.
    sound_speed : float, optional
        For all groups, instead of what follows from their temperatures [m/s].
    temperature_off : float
        What all thermometers show too little [K].
    formulas : bool
        Whether to say what the formulas say.
    """
    table = read_class_table(rows)
    warm = table.temperature + temperature_off
    speed = {"temperature": warm} if sound_speed is None else {"sound_speed": sound_speed}
    found = pipe_line(table.length, table.frequency, kind=kind, wave=wave, **speed)
    predicted = None
    if formulas and bore and wall is not None and found.line is not None:
        lengths, room = tuple(table.length.tolist()), float(np.mean(table.temperature))
        predicted = _predicted(lengths, bore, wall, room, kind)
    return Lesson(
        table=table,
        found=found,
        predicted=predicted,
        bore=bore,
        guess=guess,
        how=how,
        air=_air(sound_speed, temperature_off),
    )


def _air(sound_speed, off):
    if sound_speed is not None:
        return f"Sound is taken to run at {sound_speed:g} m/s for all groups"
    low = "low" if off > 0 else "high"
    return f"All thermometers are taken to read {abs(off):.1f} °C too {low}" if off else ""


@lru_cache(maxsize=32)
def _predicted(lengths, bore, wall, temperature, kind):
    return predicted_line(
        np.array(lengths), bore=bore, wall=wall, temperature=temperature, kind=kind
    )


# --- words ------------------------------------------------------------------------------


def lesson_sentence(lesson: Lesson) -> str:
    """Return the line, its errors and its meaning in one paragraph."""
    found = lesson.found
    if found.line is None:
        return ". ".join(filter(None, [_what_is_missing(lesson), lesson.air])) + "."
    line = found.line
    parts = [
        f"{_groups(len(found.length))}{_left_out(lesson)}: "
        f"slope {line.slope:.3f} ± {line.slope_error:.3f}, "
        f"intercept {_mm(line.intercept)} ± {_mm(line.intercept_error)} mm (95 %)"
    ]
    parts += _VERDICTS[found.verdict](lesson)
    parts += _slips_told(lesson)
    if found.line.intercept < 0 and found.verdict != "impossible":
        parts.append("A negative intercept is impossible")
    if not found.sound:
        parts.append("No end correction is stored")
    return ". ".join(filter(None, [*parts, lesson.air])) + "."


def _what_is_missing(lesson):
    count = len(lesson.found.length)
    kinds = different_lengths(lesson.found.length)
    if not count:
        return f"No pipe yet: type {FEWEST} groups' lengths, temperatures and readings for a line"
    missing = FEWEST - kinds
    lengths = "length" if missing == 1 else "lengths"
    have = f"{_groups(count)}, {kinds} different {'length' if kinds == 1 else 'lengths'}"
    return f"{have}: {missing} more different {lengths} for a line"


def _groups(count):
    return f"{count} group" if count == 1 else f"{count} groups"


def _left_out(lesson):
    """Name the rows in which something is typed and that do not count."""
    rows = sorted({row for row, _ in lesson.table.faults} - set(lesson.table.row))
    return f" (without {row_names(rows)})" if rows else ""


def _mm(length):
    return f"{millimetres(length):.1f}".replace("-", "\u2212")


def _good(lesson):
    line, ends = lesson.found.line, OPEN_ENDS[lesson.found.kind]
    words = f"The wave reaches {_mm(line.intercept)} mm beyond the pipe"
    if lesson.bore:
        radii = line.intercept / (lesson.bore / 2)
        words += f", {radii:.2f} bore radii"
        words += f" or {radii / ends:.2f} at each open end" if ends > 1 else " at its open end"
    else:
        words += f", {_mm(line.intercept / ends)} mm at each of its {ends} open ends" * (ends > 1)
    return [words]


def lesson_compared(lesson: Lesson) -> str:
    """Return what the formulas and the guess say of the intercept; "" where neither is there."""
    parts = []
    if lesson.predicted is not None:
        least = "at least " if lesson.how == "blown" else ""
        said = lesson.predicted
        parts.append(
            f"The formulas say {least}{_mm(said.intercept)} ± {_mm(2 * said.intercept_sd)} mm for "
            f"this bore"
        )
    if lesson.guess is not None:
        parts.append(f"The guess was {_mm(lesson.guess)} mm")
    return "".join(f"{part}. " for part in parts).strip()


def _tilted(lesson):
    return [
        "The slope should be 1.00 to 1.03, and is off by more than chance: check temperatures, "
        "lengths and the pipes' ends",
        *_good(lesson),
    ]


def _impossible(lesson):
    line = lesson.found.line
    if line.intercept + line.intercept_error > 0:
        return [
            "Where the wave ends cannot be told: by its error the intercept may lie on either side "
            "of 0, and it cannot lie below. Type more lengths, farther apart, or look for a slip",
            f"Likely slips: {_SLIPS}",
        ]
    return ["Impossible: no wave ends inside its pipe", f"Likely slips: {_shifted(lesson)}{_SLIPS}"]


def _shifted(lesson):
    """Say by how much all lengths are too long, if they seem to be; "" if not."""
    shift, said = lesson.found.all_too_long, lesson.predicted
    if shift is None:
        return ""
    much = f"{_mm(shift)} mm and as much more as the wave reaches beyond the pipe"
    if said is not None:
        much = f"about {_mm(shift + said.intercept)} mm"
    return (
        "all lengths read from a wrong zero, or with a piece that is no part of the pipe: the "
        f"slope is right and the points fit, but all are too long, by {much}; "
    )


def _wrong_wave(lesson):
    found = lesson.found
    size = "half of" if found.verdict == "halved" else "twice"
    part = f"c/{WAVES[found.wave]}f"
    other = f"The slope is {size} what it should be, and the intercept no end correction"
    if found.wave != HELD[found.kind]:
        return [other, f"{part} is the wrong part of a wave: {_HOLDS[found.kind]}"]
    octave = "high" if found.verdict == "halved" else "low"
    return [
        other,
        f"These pipes sound as if {_SOUND_AS[found.verdict]}, or were read an octave too {octave}",
    ]


_VERDICTS = {
    "good": _good,
    "tilted": _tilted,
    "slip": lambda _: [],
    "impossible": _impossible,
    "halved": _wrong_wave,
    "doubled": _wrong_wave,
}


def _slips_told(lesson) -> Iterator[str]:
    found, names = lesson.found, lesson.table.group
    for pipe, what in found.slips:
        yield f"Group {names[pipe]}: {_LOOKS.get((found.kind, what)) or _LENGTHS[what]}"
    if found.slips:
        return
    for pipe in found.apart:
        sharp = "sharp" if found.cents[pipe] > 0 else "flat"
        yield (
            f"Group {names[pipe]} is {abs(found.cents[pipe]):.0f} cents {sharp} of the line, more "
            "than chance: measure it again"
        )


def lesson_table(lesson: Lesson) -> pd.DataFrame:
    """Return the groups' numbers: lengths and waves in mm, readings in Hz, residuals in cents."""
    found = lesson.found
    part = f"c_over_{WAVES[found.wave]}f_mm"
    frame = pd.DataFrame(
        {
            "group": lesson.table.group,
            "length_mm": millimetres(found.length),
            "room_c": to_celsius(lesson.table.temperature),
            "c_m_per_s": found.sound_speed,
            "reading_hz": found.frequency,
            part: millimetres(found.column),
        }
    )
    if found.line is not None:
        frame["line_mm"] = millimetres(found.column - found.line.residual)
        frame["cents_off"] = found.cents
    if lesson.predicted is not None:
        frame["formulas_mm"] = millimetres(lesson.predicted.column)
    return frame


def lesson_call(lesson: Lesson) -> str:
    """Return the library lines that find the same line."""
    found, table = lesson.found, lesson.table
    readings = [[round(float(f), 3) for f in row if not np.isnan(f)] for row in table.frequency]
    most = max(map(len, readings), default=0)
    padded = [[*row, *["nan"] * (most - len(row))] for row in readings]
    lines = ",\n    ".join(f"[{', '.join(map(str, row))}]" for row in padded)
    lengths = ", ".join(f"{length:.6g}" for length in found.length)
    return (
        "from math import nan\n\n"
        "from flutelab.fitting.pipe_lengths import pipe_line\n\n"
        f"lengths = [{lengths}]  # m\n"
        f"readings = [\n    {lines},\n]  # Hz\n"
        f"found = pipe_line(lengths, readings, {_speed(lesson)}, kind={found.kind!r}, "
        f"wave={found.wave!r})\n"
        "found.line.slope, found.line.intercept  # and m"
    )


def _speed(lesson):
    speeds = list(dict.fromkeys(f"{speed:.7g}" for speed in lesson.found.sound_speed))
    if len(speeds) == 1:
        return f"sound_speed={speeds[0]}"
    return f"sound_speed=[{', '.join(f'{speed:.7g}' for speed in lesson.found.sound_speed)}]"


def lesson_words(lesson: Lesson) -> str:
    """Return what the picture shows, for those who do not see it."""
    found = lesson.found
    part = f"c/{WAVES[found.wave]}f"
    dots = "; ".join(
        f"group {name} {millimetres(length):.0f} mm, {part} {millimetres(column):.1f} mm"
        + ("" if found.line is None else f", {off:+.0f} cents off the line")
        for name, length, column, off in zip(
            lesson.table.group, found.length, found.column, found.cents, strict=True
        )
    )
    said = f"{lesson_sentence(lesson)} {lesson_compared(lesson)}".strip()
    return f"{part} against the pipes' length. {dots or 'No dots yet'}. {said}"
