"""Results as tables for people: units in the column names."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flutelab.files.csv_text import marked
from flutelab.files.flutes_words import next_flute_table
from flutelab.files.mismatch_words import mismatch_table
from flutelab.files.next_words import plan_table
from flutelab.files.suspected import suspects_table
from flutelab.files.told import told_table
from flutelab.files.uncertainty_words import budget_table, profiles_table, refits_table
from flutelab.files.worth_words import worth_table
from flutelab.fitting.budget import Budget
from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.flutes import NextFlute
from flutelab.fitting.identifiability import WhatDataTell
from flutelab.fitting.mismatch import Mismatch
from flutelab.fitting.next_measurement import Plan
from flutelab.fitting.profiles import Profiles
from flutelab.fitting.resampling import Bootstrap
from flutelab.fitting.suspects import Suspect
from flutelab.fitting.worth import Worth
from flutelab.model.byhand import ByHand, JetReadout
from flutelab.model.cutoff import LatticeCutoff
from flutelab.model.inside import StandingWave
from flutelab.model.notes import CENT, Notes
from flutelab.model.octaves import INTERVALS, Octaves
from flutelab.model.sensitivities import Sensitivities
from flutelab.model.spectrum import Spectrum
from flutelab.model.warmth import Warmth
from flutelab.pitch import nearest_note
from flutelab.units import from_degrees, from_inch, from_mm, millimetres, to_mm_water

# What the shop changes a quantity by, in words and in SI, by its unit or the shop's of lengths
_COARSE = {"mm": ("mm", from_mm(1.0)), "in": ("1/64 in", from_inch(1 / 64))}
_FINE = {"mm": ("0.1 mm", from_mm(0.1)), "in": ("0.01 in", from_inch(0.01))}  # of bore and walls
_SHOP = {
    "rad": ("degree", from_degrees(1.0)),
    "K": ("degree C", 1.0),
    "1": ("percent", 0.01),
}
_CLEAR = 2.0  # times the regular row's cutoff: above it the foot, not the holes, holds the sound
# Decimals of a written number, by the ending of its column
_DIGITS = {
    "_hz": 3,
    "_cents": 2,
    "_percent": 2,
    "_pa": 1,
    "_mm_water": 2,
    "_mm": 3,
    "q": 1,
    "_m_s": 2,
    "velocity": 2,
}
_OTHERWISE = 4
_NOISE = 1e-9  # in any column: what is smaller comes of rounding


def table(result: object, *, a4: float = 440.0) -> pd.DataFrame:
    """Return a result as a table, units in the column names.

    Parameters
    ----------
    result : object
        Predicted notes (`Notes`); a `Calibration` (a row for each row of its note tables);
        `Sensitivities` (lengths per mm), `Octaves`, `ByHand`, `Warmth`, `JetReadout` or
        `LatticeCutoff` (a row a note); a `Spectrum` (a row a mode of each note); a
        `StandingWave` (a row an opening of each note); a `WhatDataTell` (a row a correction);
        a `Mismatch` (a row a cause); a `Worth` (a row a way of foretelling); a `Plan` (a row a
        measurement); a `Budget` (a row a quantity); `Profiles` or a `Bootstrap` (a row an
        unknown); a `NextFlute` (a row a correction); what `suspects` found (a row a suspect).
    a4 : float
        Reference pitch of the note names [Hz].

    Returns
    -------
    DataFrame

    Raises
    ------
    TypeError
        Any other result.
    """
    make = _suspects_of if _is_suspects(result) else _TABLES.get(type(result))
    if make is None:
        known = ", ".join(sorted(kind.__name__ for kind in _TABLES))
        msg = f"no table is made of a {type(result).__name__}; give one of {known}"
        if isinstance(result, np.ndarray):
            msg += "; of an array of numbers, pandas.DataFrame makes one"
        raise TypeError(msg)
    frame = make(result, a4)
    if "fingering" in frame:
        frame["fingering"] = [fingering_name(word) for word in frame["fingering"]]
    return _without_noise(frame)


def _is_suspects(result):
    """Whether it is what `suspects` gives; nothing may have been found."""
    return isinstance(result, tuple) and all(isinstance(one, Suspect) for one in result)


def _suspects_of(result, a4):
    return suspects_table(result)


def csv_text(frame: pd.DataFrame) -> str:
    """Return a table as CSV, each number with the digits that mean something.

    Thousandths of a hertz or millimetre, hundredths of a cent or percent; see `_DIGITS`.
    """
    digits = {
        column: next((n for ending, n in _DIGITS.items() if column.endswith(ending)), _OTHERWISE)
        for column in frame.select_dtypes("float")
    }
    return no_formulas(_without_noise(frame.round(digits))).to_csv(index=False)


def _without_noise(frame):
    """Numbers that are nothing but rounding, and -0.0, as 0."""
    floats = frame.select_dtypes("float")
    frame[floats.columns] = floats.mask(floats.abs() < _NOISE, 0.0)
    return frame


def no_formulas(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a table to be written as CSV: texts that a spreadsheet would work out, marked.

    Names of columns and texts as `flutelab.files.csv_text.marked` has them; numbers as they are.

    Parameters
    ----------
    frame : DataFrame
    """

    def safe(value):
        return marked(value) if isinstance(value, str) else value

    return frame.map(safe).rename(columns=safe)


def fingering_name(word: str) -> str:
    """Return a fingering as written in tables: that of a pipe without holes is 'bare'."""
    return word or "bare"


def note_name(frequency: float, a4: float = 440.0) -> str:
    """Return a frequency [Hz] as 'D5 +14'; '' where there is none."""
    if not np.isfinite(frequency):
        return ""
    name, cents = nearest_note(frequency, a4)
    return f"{name} {round(cents):+d}"


def _notes_table(notes, a4):
    columns = {
        "fingering": notes.label,
        "register": notes.register,
        "frequency_hz": notes.frequency,
        "note": [note_name(f, a4) for f in notes.frequency],
        "q": notes.q,
        "status": notes.status,
        "remark": notes.reason,
    }
    frame = pd.DataFrame(columns)
    if notes.sd is not None:
        frame.insert(4, "sd_corrections_cents", notes.sd)
    return frame


def _calibration_table(result, a4):
    return pd.concat([_row_table(part, a4) for part in result.tables], ignore_index=True)


def _row_table(part, a4):
    m = part.measurements
    return pd.DataFrame(
        {
            "table": m.source,
            "row": m.place,
            "session": m.session,
            "fingering": m.rows.label,
            "register": part.register,
            "measured_hz": m.frequency,
            "note": [note_name(f, a4) for f in m.frequency],
            "book_hz": part.book,
            "measured_over_book_cents": np.log(m.frequency / part.book) / CENT,
            "predicted_hz": part.predicted,
            "residual_cents": part.residual,
            "sd_prediction_cents": part.sd,
            "sd_reading_cents": m.sd,
            "fate": part.fate,
            "why": part.why,
            "remark": m.remark,
        }
    )


def shop_changes(result: Sensitivities, unit: str | None = None) -> list[tuple[str, float]]:
    """Return what each quantity is changed by in the shop, in words and in SI.

    A millimetre or 1/64 inch, of bore and walls 0.1 mm or 0.01 inch; a degree; a hundredth of
    a correction. Lengths in `unit`, "mm" or "in"; default: the unit of the flute's owner.
    """
    unit = unit or result.unit_shown

    def change(name, of):
        if of != "m":
            return _SHOP[of]
        return _FINE[unit] if "bore" in name or "wall" in name else _COARSE[unit]

    return [change(*named) for named in zip(result.names, result.unit, strict=True)]


def _sensitivity_table(result, a4):
    columns = {
        "fingering": result.label,
        "register": result.register,
        "frequency_hz": result.frequency,
        "note": [note_name(f, a4) for f in result.frequency],
    }
    for name, (words, size), column in zip(
        result.names, shop_changes(result, "mm"), result.gradient.T, strict=True
    ):
        columns[f"{name}_cents_per_{words.replace(' ', '_').lower()}"] = size * column
    return pd.DataFrame(columns)


def _octave_table(result, a4):
    columns = {
        "fingering": result.label,
        "first_hz": result.first,
        "second_hz": result.second,
        "interval": [INTERVALS[ratio] for ratio in result.interval.tolist()],
        "stretch_cents": result.stretch,
    }
    columns |= {
        f"{name}_cents": part for name, part in zip(result.causes, result.parts, strict=True)
    }
    blown = [overblown(result)] if result.blowing else []
    remark = [
        why or "; ".join([*filter(None, [said]), *blown])
        for why, said in zip(result.reason, result.remark, strict=True)
    ]
    return pd.DataFrame(columns | {"remainder_cents": result.remainder, "remark": remark})


def overblown(result: Octaves) -> str:
    """Return what a fit's correction of overblown notes adds to octaves, in words."""
    return f"in playing, {result.blowing:+.0f} cents of overblowing come on top"


def _by_hand_table(result, a4):
    columns = {
        "fingering": result.label,
        "model_hz": result.model,
        "note": [note_name(f, a4) for f in result.model],
    }
    for name, frequency, error in zip(result.rules, result.frequency, result.error, strict=True):
        if np.all(np.isnan(frequency)):
            continue
        word = name.replace(" ", "_")
        columns |= {f"{word}_hz": frequency, f"{word}_off_cents": error}
    return pd.DataFrame(columns)


def _warmth_table(result, a4):
    return pd.DataFrame(
        {
            "fingering": result.along.label,
            "register": result.along.register,
            "frequency_hz": result.along.frequency,
            "note": [note_name(f, a4) for f in result.along.frequency],
            "halfway_air_off_cents": result.halfway,
            "room_air_off_cents": result.room,
        }
    )


def _jet_table(result, a4):
    return pd.DataFrame(
        {
            "fingering": result.label,
            "frequency_hz": result.frequency,
            "note": [note_name(f, a4) for f in result.frequency],
            "pressure_pa": result.pressure,
            "pressure_mm_water": to_mm_water(result.pressure),
            "jet_m_s": result.speed,
            "reduced_velocity": result.reduced,
            "usual": np.where(result.usual, "yes", "no"),
        }
    )


def _cutoff_table(result, a4):
    return pd.DataFrame(
        {
            "fingering": result.label,
            "first_open_mm": millimetres(result.place),
            "regular_row_hz": result.exact,
            "regular_row_long_wave_hz": result.formula,
            "half_power_lost_hz": np.where(result.own < _CLEAR * result.exact, result.own, np.nan),
            "first_register_near": [
                "yes" if near else "no" if np.isfinite(place) else "-"
                for near, place in zip(result.near, result.place, strict=True)
            ],
        }
    )


def _spectrum_table(result, a4):
    modes = result.modes
    rows = []
    for row, word in enumerate(result.label):
        zeros = result.zeros[row]
        for mode in np.flatnonzero(np.isfinite(modes.frequency[row])):
            frequency = modes.frequency[row, mode]
            rows.append(
                {
                    "fingering": word,
                    "mode": mode + 1,
                    "frequency_hz": frequency,
                    "note": note_name(frequency, a4),
                    "q": modes.q[row, mode],
                    "strength": modes.strength[row, mode],
                    "status": modes.status[row, mode],
                    "reactance_zero_hz": _nearest(zeros, frequency, modes.q[row, mode]),
                }
            )
    return pd.DataFrame(rows)


def _nearest(zeros, frequency, q):
    """The zero within the mode's width; nan where there is none."""
    zeros = zeros[np.abs(zeros - frequency) < frequency / q]
    return zeros[np.argmin(np.abs(zeros - frequency))] if zeros.size else np.nan


def _wave_table(result, a4):
    count = len(result.opening)
    ends = {
        "frequency_hz": result.frequency,
        "status": result.status,
        "acoustic_head_mm": millimetres(result.effective_head),
        "acoustic_end_mm": millimetres(result.effective_end),
    }
    return pd.DataFrame(
        {
            "fingering": np.repeat(result.label, count),
            **{name: np.repeat(value, count) for name, value in ends.items()},
            "opening": list(result.opening) * len(result.label),
            "place_mm": np.tile(millimetres(result.place), len(result.label)),
            "flow_share_percent": 100 * result.flow_share.ravel(),
            "power_share_percent": 100 * result.power_share.ravel(),
        }
    )


_TABLES = {
    Notes: _notes_table,
    Calibration: _calibration_table,
    Sensitivities: _sensitivity_table,
    Octaves: _octave_table,
    ByHand: _by_hand_table,
    Warmth: _warmth_table,
    JetReadout: _jet_table,
    LatticeCutoff: _cutoff_table,
    Spectrum: _spectrum_table,
    StandingWave: _wave_table,
    WhatDataTell: lambda result, a4: told_table(result),
    Mismatch: lambda result, a4: mismatch_table(result),
    Budget: lambda result, a4: budget_table(result),
    Profiles: lambda result, a4: profiles_table(result),
    Bootstrap: lambda result, a4: refits_table(result),
    NextFlute: lambda result, a4: next_flute_table(result),
    Plan: lambda result, a4: plan_table(result),
    Worth: lambda result, a4: worth_table(result),
}
