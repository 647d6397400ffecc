"""Pitch: cents, note names and equal-tempered frequencies."""

from __future__ import annotations

import re
import unicodedata
from typing import NamedTuple

import numpy as np

_LETTERS = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}
_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_ACCIDENTALS = {"": 0, "natural": 0, "♮": 0, "#": 1, "♯": 1, "is": 1, "sharp": 1}
_ACCIDENTALS |= {"b": -1, "♭": -1, "es": -1, "flat": -1, "##": 2, "♯♯": 2, "x": 2, "𝄪": 2}
_ACCIDENTALS |= {"isis": 2, "doublesharp": 2, "bb": -2, "♭♭": -2, "𝄫": -2, "eses": -2}
_ACCIDENTALS |= {"doubleflat": -2}
_VOWEL_FLATS = {"as": -1, "es": -1, "ases": -2, "eses": -2}  # German A and E flat drop the e
_NOTE = re.compile(r"(?P<letter>[a-g])(?P<accidental>.*?)(?P<octave>-?\d)?")


class Note(NamedTuple):
    """A note name: semitone above C (0..11) and octave (A4 = 440 Hz), None if not written."""

    semitone: int
    octave: int | None


def cents(measured: float, reference: float) -> float:
    """Return the interval from `reference` up to `measured` [cents], 1200 log2 of the ratio."""
    return 1200 * np.log2(np.divide(measured, reference))


def shift(frequency: float, cents: float) -> float:
    """Return a frequency [Hz] moved up by an interval [cents]."""
    return frequency * 2 ** (np.divide(cents, 1200))


def parse_note(text: str) -> Note:
    """Read a note name with or without its octave.

    Parameters
    ----------
    text : str
        Letter A to G, an accidental in any spelling (#, ♯, is, sharp; b, ♭, es,
        flat), an octave in scientific pitch notation (C4 = middle C).

    Returns
    -------
    Note
        ``(semitone, octave)``; the octave is that of the sounding note, so B#4
        is C5.

    Raises
    ------
    ValueError
        Not a note; H, which may be B or a slip.

    Examples
    --------
    >>> parse_note("F#5"), parse_note("B flat")
    (Note(semitone=6, octave=5), Note(semitone=10, octave=None))
    """
    plain = unicodedata.normalize("NFKC", str(text)).replace("\u2212", "-").lower()
    plain = re.sub(r"[\s_]|-(?=\D)", "", plain)
    if plain.startswith("h"):
        msg = f"note {text!r} is easily mistaken; write B for H, and Bb for B flat"
        raise ValueError(msg)
    match = _NOTE.fullmatch(plain)
    accidental = match and (
        _VOWEL_FLATS.get(match["letter"] + match["accidental"])
        or _ACCIDENTALS.get(match["accidental"])
    )
    if accidental is None:
        msg = f"note {text!r} is not a note name; write it like F#5, Gb5 or A4"
        raise ValueError(msg)
    octaves, semitone = divmod(_LETTERS[match["letter"]] + accidental, 12)
    return Note(semitone, None if match["octave"] is None else int(match["octave"]) + octaves)


def note_frequency(semitone: int, octave: int, a4: float = 440.0) -> float:
    """Return the equal-tempered frequency of a note [Hz].

    Parameters
    ----------
    semitone : int
        Above C, 0..11.
    octave : int
        4 holds the tuning note A.
    a4 : float
        Frequency of A4 [Hz]; 440 is ISO 16:1975.

    Examples
    --------
    >>> note_frequency(0, 4)
    261.62557
    """
    return a4 * 2 ** ((semitone - 9) / 12 + (octave - 4))


def nearest_note(frequency: float, a4: float = 440.0) -> tuple[str, float]:
    """Return the nearest note's name, with sharps, and how far above it the frequency is [cents].

    Raises
    ------
    ValueError
        A frequency that is not positive.

    Examples
    --------
    >>> nearest_note(740.0)
    ('F#5', 0.0261)
    """
    if not 0 < frequency < np.inf:
        msg = f"frequency {frequency!r} Hz has no note; it must be greater than 0"
        raise ValueError(msg)
    steps = 12 * np.log2(frequency / a4)
    nearest = round(steps)
    octave, semitone = divmod(nearest + 9, 12)
    return f"{_NAMES[semitone]}{octave + 4}", float(100 * (steps - nearest))
