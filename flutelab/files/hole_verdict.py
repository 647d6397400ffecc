"""Is the theory wrong? A class's readings beside the model, and one sentence."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from flutelab.files.class_table import read_pitch
from flutelab.files.hole_call import note_call
from flutelab.files.hole_lesson import SAME, HoleNote, hole_words, moved_words
from flutelab.model.flute import bore_diameter
from flutelab.model.hole_sweep import NoteBands, note_bands
from flutelab.physics.breath import AirAlong
from flutelab.pitch import cents, shift
from flutelab.units import millimetres

MOST = 40  # readings
_INVENTED = (-14.0, 3.0, -6.0, 9.0, -11.0)  # cents from the model
_APART = 50.0  # cents: more than one player's readings scatter (common practice, no source)
FARTHEST = 600.0  # cents: beyond it another note was read


@dataclass(frozen=True, kw_only=True, eq=False)
class Verdict:
    """Readings beside the model, all in cents from the model's note.

    ``readings`` (N,); ``rule`` and ``plain`` the simpler levels; ``both`` = breath and warmth
    together (low, high).
    """

    note: HoleNote
    readings: np.ndarray
    rule: float
    plain: float
    bands: NoteBands
    both: tuple[float, float]


def read_readings(text: str) -> tuple[float, ...]:
    """Read pitches parted by semicolons or lines, or by blanks where all are plain numbers [Hz].

    Raises
    ------
    ValueError
        With every reading that cannot be read, and too many.

    Examples
    --------
    >>> read_readings("587,3 590 585"), read_readings("A4 +50; 452 Hz")
    ((587.3, 590.0, 585.0), (452.89, 452.0))
    """
    parts = [part.strip(" ,") for part in text.replace("\n", ";").split(";")]
    found, faults = [], []
    for part in filter(None, parts):
        words = [word.strip(",") for word in part.split()]
        several = len(words) > 1 and all(word[:1].isdigit() for word in words)
        for one in words if several else [part]:
            try:
                found.append(read_pitch(one))
            except ValueError as error:
                apart = "; between readings write a semicolon: D5 -8; D5 +3"
                faults.append(f"{error}{apart if len(one.split()) > 1 else ''}")
    if len(found) > MOST:
        faults.append(f"{len(found)} readings; there is room for {MOST}")
    if faults:
        raise ValueError("; ".join(faults))
    return tuple(found)


def invented_readings(note: HoleNote) -> str:
    """Return five readings as text, about as far from the model as one player's breath [Hz]."""
    return " ".join(f"{shift(note.frequency['full'], off):.1f}" for off in _INVENTED)


def verdict(note: HoleNote, readings: tuple[float, ...]) -> Verdict:
    """Return readings [Hz] beside the full model's note.

    Raises
    ------
    ValueError
        Readings more than half an octave from the model: another note was read.
    """
    model = note.frequency["full"]
    off = np.array([float(cents(one, model)) for one in readings])
    far = [one for one, away in zip(readings, off, strict=True) if abs(away) > FARTHEST]
    if far:
        said = ", ".join(f"{one:.1f} Hz" for one in far)
        msg = f"{said}: more than half an octave from the model; check fingering, octave and size"
        raise ValueError(msg)
    bands = note_bands(note.flute, note.fingering, air=AirAlong(room_temperature=note.room))
    return Verdict(
        note=note,
        readings=off,
        rule=float(cents(note.frequency["length"], model)),
        plain=float(cents(note.frequency["plain"], model)),
        bands=bands,
        both=tuple(a + b for a, b in zip(bands.breath, bands.warmth, strict=True)),
    )


def typed_for_words(now: HoleNote, typed: HoleNote) -> str:
    """Say which pipe readings were typed for, where it is no longer the one that is shown."""
    if now.fingering == typed.fingering and np.allclose(_sizes(now), _sizes(typed), 0, SAME):
        return ""
    place = millimetres(typed.flute.holes[typed.hole - 1].position)
    return (
        f"No verdict: the readings are of another pipe: {hole_words(typed)}, {place:.0f} mm "
        "from the edge. It has been changed since: read and type anew, or set it back."
    )


def _sizes(note):
    one = note.flute.holes[note.hole - 1]
    bore = float(bore_diameter(note.flute.bore, one.position))
    return one.diameter, one.position, one.wall, bore


def verdict_sentence(found: Verdict) -> str:
    """Complete the sentence that begins with the readings' mean."""
    low, high = found.both
    reach = f"soft or hard breath and 2 °C alone move the note by {low:+.0f} to {high:+.0f} cents"
    if not found.readings.size:
        return (
            f"{hole_words(found.note)}: {reach}; type readings to see whether the theory is wrong."
        )
    mean = float(np.mean(found.readings))
    count = len(found.readings)
    who = "The reading is" if count == 1 else f"The {count} readings are on average"
    where = f"{who} {moved_words(mean)} from the model"
    apart = _apart_words(found)
    if low <= mean <= high:
        return f"{where}, and {reach}: so they do not show that the theory is wrong.{apart}"
    beyond = mean - high if mean > high else low - mean
    return (
        f"{where}, {beyond:.0f} cents more than breath and 2 °C can do ({low:+.0f} to {high:+.0f}):"
        f" so look for a wrong size, room temperature, fingering or leak, then doubt the theory."
        f"{apart}"
    )


def _apart_words(found):
    """Say which readings lie far from the others: a mean hides them."""
    off = found.readings
    from_middle = off - np.median(off)
    far = np.flatnonzero(np.abs(from_middle) > _APART)
    if np.ptp(off) <= _APART:
        return ""
    if len(off) > 2 and len(far) == 1:
        hertz = shift(found.note.frequency["full"], off[far[0]])
        return (
            f" But one reading, {hertz:.1f} Hz, lies {abs(from_middle[far[0]]):.0f} cents from the "
            "middle of all: read it again."
        )
    return f" But the readings lie {np.ptp(off):.0f} cents apart: read again."


def verdict_words(found: Verdict) -> str:
    """Say what the picture shows."""
    (soft, hard), (cold, warm) = found.bands.breath, found.bands.warmth
    read = ", ".join(f"{one:+.0f}" for one in found.readings) or "none yet"
    return (
        "One axis of cents from the full model, a bar at 0. "
        f"Rule of thumb, a bar: {found.rule:+.0f}. Readings, dots: {read}. "
        f"Band of soft to hard breath: {soft:+.0f} to {hard:+.0f}. "
        f"Band of 2 °C colder to warmer: {cold:+.1f} to {warm:+.1f}."
    )


def verdict_table(found: Verdict) -> pd.DataFrame:
    """Return all that is on the axis as a table."""
    model = found.note.frequency["full"]
    rows = [("model", 0.0), ("rule of thumb", found.rule), ("no end corrections", found.plain)]
    rows += [("breath, soft", found.bands.breath[0]), ("breath, hard", found.bands.breath[1])]
    rows += [("2 °C colder", found.bands.warmth[0]), ("2 °C warmer", found.bands.warmth[1])]
    rows += [(f"reading {n}", float(one)) for n, one in enumerate(found.readings, 1)]
    frame = pd.DataFrame(rows, columns=["what", "from_model_cents"])
    return frame.assign(hz=model * 2 ** (frame["from_model_cents"] / 1200))


def verdict_call(found: Verdict) -> str:
    """Return the library lines that make the model's note and its bands."""
    return "\n".join(
        [
            note_call(replace(found.note, level="full")),
            "",
            "from flutelab.model.hole_sweep import note_bands",
            f"bands = note_bands(flute, {found.note.fingering!r}, air=air)",
            "print(bands)",
        ]
    )
