"""The pictures of the panel that fits a flute, one at a time, each with its words."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure

from flutelab.files.mismatch_words import mismatch_words
from flutelab.files.next_words import sd_words
from flutelab.files.to_mend import is_to_mend
from flutelab.files.told import told_words
from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.identifiability import what_data_tell
from flutelab.fitting.mismatch import why_not_matching
from flutelab.fitting.next_measurement import Plan
from flutelab.fitting.suspects import Suspect
from flutelab.model.corrections import META
from flutelab.model.notes import CENT
from flutelab.view.plots import (
    plot_causes,
    plot_corrections,
    plot_mismatch,
    plot_next_measurement,
    plot_residuals,
    plot_what_data_tell,
)
from flutelab.view.plots.next_measurement import bars_of
from flutelab.view.style import close

PICTURES = {
    "After the fit: what is left of each note": "after",
    "Before the fit: notes against the book": "before",
    "Corrections, fitted and assumed before": "corrections",
    "What each cause could do before any fit": "causes",
    "How well the notes tell each correction": "told",
}
_DPI = 100


@dataclass(frozen=True, kw_only=True, eq=False)
class Fitted:
    """A fit as it is shown: ``odd`` is None before mistakes were looked for."""

    calibration: Calibration
    odd: tuple[Suspect, ...] | None = None
    picture: str = "after"


def drawn(fitted: Fitted) -> bytes:
    """Return the picture that is asked for as PNG bytes."""
    result = fitted.calibration
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the panel tells those of the fit
        if fitted.picture == "after":
            made = plot_residuals(result, suspects=fitted.odd or ())
        elif fitted.picture == "before":
            made = plot_mismatch(result)
        elif fitted.picture == "corrections":
            made = plot_corrections(result)
        elif fitted.picture == "causes":
            made = plot_causes(why_not_matching(result.tables[0].measurements))
        else:
            made = plot_what_data_tell(what_data_tell(result))
    return _png(made)


def _png(made):
    """A figure's, or its axes', bytes; it is given back."""
    page = made if isinstance(made, Figure) else made.figure
    held = io.BytesIO()
    page.savefig(held, format="png", dpi=_DPI, pil_kwargs={"compress_level": 1})
    close(page)
    return held.getvalue()


def picture_words(fitted: Fitted) -> str:
    """Return what the picture that is asked for shows."""
    result = fitted.calibration
    part = result.tables[0]
    if fitted.picture == "after":
        marked = f"; {len(fitted.odd)} suspects are ringed" if fitted.odd else ""
        return f"Cents left of each note after the fit: {_each(part, part.predicted)}{marked}."
    if fitted.picture == "before":
        return f"Cents of each note over the book, before the fit: {_each(part, part.book)}."
    if fitted.picture == "corrections":
        values = (f"{n} {getattr(part.corrections, n):.3f} {META[n]['unit']}" for n in result.free)
        return f"Reported corrections, each with what was assumed of it: {', '.join(values)}."
    if fitted.picture == "causes":
        named = None if fitted.odd is None else is_to_mend(result, fitted.odd)
        return " ".join(mismatch_words(why_not_matching(part.measurements), named=named))
    return " ".join(told_words(what_data_tell(result)))


def plan_drawn(plan: Plan) -> bytes:
    """Return the picture of what to measure next as PNG bytes."""
    return _png(plot_next_measurement(plan))


def plan_picture_words(plan: Plan) -> str:
    """Return what the picture of what to measure next shows."""
    told = [f"What would be left of the doubt in {plan.said}, best first."]
    for bars in bars_of(plan):
        first = bars[0].number
        unknown = " with the jet's pull unknown" if plan.without_jet[first] else ""
        left = (f"{one.name} {sd_words(plan, plan.sd_left[one.number])}" for one in bars)
        told.append(f"Now{unknown} {sd_words(plan, plan.sd_before[first])}: {'; '.join(left)}.")
    return " ".join(told)


def _each(part, against):
    m = part.measurements
    cents = np.log(m.frequency / against) / CENT
    pairs = zip(m.place, m.rows.label, cents, strict=True)
    return ", ".join(f"{place} {word or 'bare'} {value:+.0f}" for place, word, value in pairs)
