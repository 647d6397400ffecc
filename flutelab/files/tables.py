"""Results as tables for people: units in the column names."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flutelab.fitting.calibrate import Calibration
from flutelab.model.notes import CENT, Notes
from flutelab.model.sensitivities import Sensitivities
from flutelab.pitch import nearest_note
from flutelab.units import from_degrees, from_mm

# What the shop changes a quantity by, in words and in SI, by its unit
_SHOP = {
    "m": ("mm", from_mm(1.0)),
    "rad": ("degree", from_degrees(1.0)),
    "K": ("degree C", 1.0),
    "1": ("percent", 0.01),
}
_FINE = ("0.1 mm", from_mm(0.1))  # of bore and walls


def table(result: Notes | Calibration | Sensitivities, *, a4: float = 440.0) -> pd.DataFrame:
    """Return a result as a table.

    Parameters
    ----------
    result : Notes, Calibration or Sensitivities
        Predicted notes; a calibration (one row for each row of its note tables); or
        sensitivities (one row a note).
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
    if isinstance(result, Notes):
        return _notes_table(result, a4)
    if isinstance(result, Calibration):
        return pd.concat([_row_table(part, a4) for part in result.tables], ignore_index=True)
    if isinstance(result, Sensitivities):
        return _sensitivity_table(result, a4)
    kind = type(result).__name__
    msg = f"no table is made of a {kind}; give Notes, a Calibration or Sensitivities"
    raise TypeError(msg)


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


def shop_changes(result: Sensitivities) -> list[tuple[str, float]]:
    """Return what each quantity is changed by in the shop, in words and in SI.

    A millimetre, of bore and walls a tenth of one; a degree; a hundredth of a correction.
    """
    return [
        _FINE if unit == "m" and ("bore" in name or "wall" in name) else _SHOP[unit]
        for name, unit in zip(result.names, result.unit, strict=True)
    ]


def _sensitivity_table(result, a4):
    columns = {
        "fingering": result.label,
        "register": result.register,
        "frequency_hz": result.frequency,
        "note": [note_name(f, a4) for f in result.frequency],
    }
    for name, (words, size), column in zip(
        result.names, shop_changes(result), result.gradient.T, strict=True
    ):
        columns[f"{name}_cents_per_{words.replace(' ', '_').lower()}"] = size * column
    return pd.DataFrame(columns)
