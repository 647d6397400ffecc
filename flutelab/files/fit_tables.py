"""A fit at a glance: one sentence, its corrections and what they amount to, as tables."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flutelab.files.learned import learned, sd_on
from flutelab.files.to_mend import each_row
from flutelab.fitting.calibrate import Calibration
from flutelab.model.corrections import META, NAMES
from flutelab.model.equivalents import equivalents
from flutelab.model.flute import bore_diameter
from flutelab.model.notes import CENT
from flutelab.units import inches, millimetres

REPORTED, ALONG, HELD = "reported", "fitted along", "held"
_LEARNED = {"prior only": "next to nothing", "at limit": "at its limit", "held": "", "": ""}


def fit_words(calibration: Calibration) -> str:
    """Return one sentence: how many rows were fitted, how far off they were and are."""
    fitted = [(p, row) for _, row, p in each_row(calibration) if p.fate[row] == "fitted"]
    count = sum(1 for _ in each_row(calibration))
    book = [np.log(p.measurements.frequency[row] / p.book[row]) / CENT for p, row in fitted]
    left = [p.residual[row] for p, row in fitted]
    return (
        f"{len(fitted)} of {count} rows are fitted: {_rms(book):.1f} cents from the book, "
        f"{_rms(left):.1f} cents are left (root mean square)."
    )


def corrections_words() -> str:
    """Return what each correction is, one a line."""
    return "\n".join(f"{name}: {META[name]['meaning']}" for name in NAMES)


def _rms(cents):
    return float(np.sqrt(np.mean(np.square(cents))))


def corrections_table(calibration: Calibration) -> pd.DataFrame:
    """Return a row for each correction: its part in the fit, value, sd, what was assumed.

    Of the first table, where each has its own.
    """
    rows = []
    asked = {p.name for p in calibration.parameters}
    for name in NAMES:
        prior, sd = calibration.priors[name], sd_on(calibration, 0, name)
        ratio, word = learned(calibration, name)
        told = f"{100 * max(0.0, 1 - ratio):.0f} %" if name in asked else ""
        part = REPORTED if name in calibration.free else ALONG
        rows.append(
            {
                "correction": name,
                "in_the_fit": part if prior.sd else HELD,
                "value": f"{getattr(calibration.tables[0].corrections, name):z.3f}",
                "±": f"{sd:.3f}" if prior.sd else "",
                "before": f"{prior.mean:g} ± {prior.sd:g}" if prior.sd else f"{prior.mean:g}",
                "unit": META[name]["unit"],
                "told_by_the_notes": _LEARNED[word] or told,
            }
        )
    return pd.DataFrame(rows)


def lengths_table(calibration: Calibration) -> pd.DataFrame:
    """Return what the corrections amount to on the first flute, as lengths from named places."""
    part = calibration.tables[0]
    flute = part.measurements.flute
    radius = bore_diameter(flute.bore, 0.0) / 2
    return pd.DataFrame(
        {
            "correction": e.name,
            "where": e.where,
            "formula_mm": millimetres(e.formula),
            "corrected_mm": millimetres(e.corrected),
            "±_mm": millimetres(abs(e.per_unit) * sd_on(calibration, 0, e.name)),
            "or_in": inches(e.corrected),
            "in_bore_radii": e.corrected / radius,
        }
        for e in equivalents(flute, part.corrections)
    )
