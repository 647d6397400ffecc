"""What does not fit, in plain words: what it looks like, and what to do about it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from flutelab.files.cause_words import length_words
from flutelab.fitting.calibrate import Calibration, TableResult
from flutelab.fitting.causes import STANDARD_A4
from flutelab.fitting.dimensions import dimensions
from flutelab.fitting.measurements import Measurements
from flutelab.fitting.suspects import Suspect
from flutelab.model.flute import Flute, hole_name
from flutelab.model.notes import CENT
from flutelab.physics.breath import single_air
from flutelab.units import millimetres

_UNITS = {"row": "cents", "hole": "mm", "a4": "cents", "temperature": "K", "inch": "times"}
ONE_SESSION = "all"  # what the note reader calls the session of a table without sessions
_FLAT = ("a4", "temperature")
ABOUT_HALF = 0.45  # of a flat shift: what explains less is not offered for it
_WHOLE = {
    "ends": (
        "the fingerings of {table} fit when read from the other end",
        "write the letter of the hole nearest the window first",
    ),
    "sizes": (
        "the holes of {flute} fit when their sizes are read from the other end",
        "list the hole nearest the window first",
    ),
    "mirrored": (
        "the holes of {flute} fit when they are listed and placed from the other end",
        "list the hole nearest the window first, and say from which end you measured",
    ),
}


def row_name(calibration: Calibration, row: int, part: TableResult) -> str:
    """Return what a row of one table is called."""
    m = part.measurements
    several = f" of {m.source}" if len(calibration.tables) > 1 else ""
    word = m.rows.label[row] or "the bare pipe"
    session = "" if m.session[row] == ONE_SESSION else f", {m.session[row]}"
    return f"{m.place[row]}{several} ({word}{session})"


def suspect_words(calibration: Calibration, suspect: Suspect) -> str:
    """Return in words what a suspect does and what to look at."""
    seems, mend = _seems_and_mend(calibration, suspect)
    return f"{seems}: {mend}" if mend else seems


@dataclass(frozen=True, kw_only=True)
class _Rows:
    """A table's rows as words need them, before any fit."""

    measurements: Measurements
    why: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class _Unfitted:
    tables: tuple[_Rows, ...]


def unfitted_words(measurements: Sequence[Measurements], odd: Sequence[Suspect]) -> list[str]:
    """Return in words what may be wrong with flutes or whole tables of which no row is fitted.

    Single rows are left out: the fit's own error names each.

    Parameters
    ----------
    measurements : sequence of Measurements
    odd : sequence of Suspect
        From `flutelab.fitting.suspects.suspects_unfitted`.
    """
    tables = tuple(_Rows(measurements=m, why=("",) * len(m.rows)) for m in measurements)
    told = _Unfitted(tables=tables)
    return [f"perhaps {suspect_words(told, one)}" for one in odd if one.kind != "row"]


def others(suspect: Suspect) -> tuple[Suspect, ...]:
    """Return what else a suspect may be that its own words leave out.

    Those of a flat shift name tuner and temperature both, where either explains enough of it.
    """
    if suspect.cause not in _FLAT:
        return suspect.or_else
    return tuple(o for o in suspect.or_else if o.cause not in _FLAT or o.table != suspect.table)


def or_else_words(calibration: Calibration, suspect: Suspect) -> str:
    """Return in words what else a suspect may be, without what to do."""
    return _seems_and_mend(calibration, suspect)[0]


def hole_acts(suspect: Suspect, flute: Flute) -> str:
    """Return in words as if what a suspicious hole acts."""
    shown = length_words(suspect.amount, flute.unit, 1)
    if suspect.cause == "position":
        return f"{shown} nearer the {'foot' if suspect.amount > 0 else 'window'} than written"
    return f"{shown} {'wider' if suspect.amount > 0 else 'narrower'} than written"


def suspects_table(odd: Sequence[Suspect]) -> pd.DataFrame:
    """Return a row for each that does not fit, most telling first.

    ``table`` and ``number`` (of the row or hole, 0 of the whole) count from 1; ``amount`` in
    ``unit``: cents a row or tuner is too high, mm a hole is wider or nearer the foot, K the air is
    warmer, times a size is larger than written. ``chi2_falls`` where it is left out or mended,
    by chance alone seldom more than ``by_chance``; ``or_else`` explains nearly as much.
    """
    columns = {
        "about": [one.kind for one in odd],
        "cause": [one.cause for one in odd],
        "table": [one.table + 1 for one in odd],
        "number": [one.index + 1 for one in odd],
        "amount": [millimetres(one.amount) if one.kind == "hole" else one.amount for one in odd],
        "unit": [_UNITS.get(one.cause, _UNITS.get(one.kind, "")) for one in odd],
        "name": [one.name for one in odd],
        "chi2_falls": [one.worth for one in odd],
        "by_chance": [one.chance for one in odd],
        "or_else": ["; ".join(f"{o.kind} {o.cause}" for o in one.or_else) for one in odd],
    }
    return pd.DataFrame(columns)


def _seems_and_mend(calibration, suspect):
    part = calibration.tables[suspect.table]
    flute = part.measurements.flute
    if suspect.kind == "hole":
        several = f" of {flute.name!r}" if len(calibration.tables) > 1 else ""
        name = f"{hole_name(suspect.index, len(flute.holes))}{several}"
        ways = [
            suspect,
            *(o for o in suspect.or_else if o.kind == "hole" and o.index == suspect.index),
        ]
        return (
            f"{name} acts as if {', or '.join(hole_acts(w, flute) for w in ways)}",
            "measure with a caliper how wide it is, both ways, and how far it is from the window",
        )
    if suspect.kind == "row":
        return _row_words(calibration, suspect, part)
    if suspect.cause == "inch":
        return _inch_words(suspect, flute)
    if suspect.cause in _WHOLE:
        names = {"table": part.measurements.source or "the table", "flute": repr(flute.name)}
        seems, mend = _WHOLE[suspect.cause]
        return seems.format(**names), mend
    return _flat_words(suspect, part)


def _row_words(calibration, suspect, part):
    name, why = row_name(calibration, suspect.index, part), part.why[suspect.index]
    if why and suspect.cause in ("octave", "register", "slip"):
        return f"{name} was left out, {why}", ""  # the reason tells the mend
    way = "above" if suspect.amount > 0 else "below"
    seems = f"{name} reads {abs(suspect.amount):.0f} cents {way} where the other notes put it"
    if math.isnan(suspect.amount):
        seems = f"{name} has no note in its register"
    if why:
        seems = f"{seems} and was left out"
    if suspect.cause == "octave":
        high = "high" if suspect.value < 1 else "low"
        return (
            f"{seems}, as if written an octave too {high}",
            "play it again, then mend its octave or its register",
        )
    if suspect.cause == "register":
        number = f"{suspect.value:.0f}"
        return (
            f"{seems}, where register {number} lies",
            f"write register = {number}, if it was overblown",
        )
    if suspect.cause == "fingering":
        return (
            f"{seems}, where {suspect.name} lies",
            "play both, and mend the fingering of the row that is wrong",
        )
    return (
        seems,
        "play that note again, then mend the row; if it comes out the same, measure the holes",
    )


def _inch_words(suspect, flute):
    written = next(d.value for d in dimensions(flute) if d.name == suspect.name)
    was, fits = (length_words(v, flute.unit, 3) for v in (written, written * suspect.amount))
    units = "inches for millimetres" if suspect.amount > 1 else "millimetres for inches"
    seems = f"{suspect.name} of {flute.name!r} acts as if {fits}, not {was}"
    return seems, f"measure it again, and look whether it was typed as {units}"


def _flat_words(suspect, part):
    m = part.measurements
    table = m.source or "the table"
    ways = [suspect, *(o for o in suspect.or_else if o.cause in _FLAT and o.cause != suspect.cause)]
    cents = {one.cause: _flat_cents(one, m) for one in ways}
    ways.sort(key=lambda one: -abs(cents[one.cause]))
    most = cents[ways[0].cause]
    told = [f"{_flat_cause(ways[0])} ({abs(most):.0f} cents)"]
    told += [
        f"{_flat_cause(one)} ({abs(cents[one.cause]):.0f} of those {abs(most):.0f} cents)"
        for one in ways[1:]
        if cents[one.cause] / most > ABOUT_HALF
    ]
    return (
        f"the notes of {table} lie as if {', or '.join(told)}",
        "hang the thermometer in the bore right after playing, and look what the tuner is set to",
    )


def _flat_cause(suspect):
    if suspect.cause == "a4":
        return f"the tuner stood at A4 = {suspect.value:g} Hz, not {STANDARD_A4:g}"
    way = "warmer" if suspect.amount > 0 else "colder"
    return f"the air was {abs(suspect.amount):.0f} degrees C {way} than written"


def _flat_cents(suspect, measured):
    """How sharp a tuner or the air's temperature makes all notes (c goes as the root of T)."""
    if suspect.cause == "a4":
        return suspect.amount
    written = float(np.mean(single_air(measured.rows.air).temperature))
    return float(np.log1p(suspect.amount / written) / 2 / CENT)
