"""Results as tables for people: units in the column names."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flutelab.fitting.calibrate import Calibration
from flutelab.model.notes import CENT, Notes
from flutelab.pitch import nearest_note


def table(result: Notes | Calibration, *, a4: float = 440.0) -> pd.DataFrame:
    """Return a result as a table.

    Parameters
    ----------
    result : Notes or Calibration
        Predicted notes, or a calibration (one row for each row of its note tables).
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
    msg = f"no table is made of a {type(result).__name__}; give Notes or a Calibration"
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
