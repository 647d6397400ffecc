"""Which mode of its fingering is each measured note? Decided once, before a fit."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from flutelab.fitting.measurements import Measurements
from flutelab.model.corrections import Corrections
from flutelab.model.modes import modes, register_roots
from flutelab.model.notes import CENT, played_cents

NEAR_CENTS = 300.0  # from the prediction of its register: the note is taken for that mode
SLIP_CENTS = 100.0  # from another register, or from 1200 off: a slip of the octave
REGISTERS = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class Assignment:
    """For N rows: the mode's root [Hz, complex], the register, and why a row is left out.

    ``book`` is the pitch by the formulas as they stand [Hz]; nan where there is no mode.
    """

    root: np.ndarray
    register: np.ndarray
    book: np.ndarray
    left_out: tuple[str, ...]


def assign(measured: Measurements, corrections: Corrections) -> Assignment:
    """Assign a mode to each row at the start of a fit.

    Parameters
    ----------
    measured : Measurements
    corrections : Corrections
        Where the fit starts (the prior means).

    Returns
    -------
    Assignment

    Notes
    -----
    The register as labelled, else the first. A row farther than 300 cents from it
    is left out; if another register lies within 100 cents, or it is 1200 +- 100 off,
    the reason names both readings.
    """
    stated = np.asarray(measured.rows.register)
    register = np.maximum(stated, 1)
    count = max(REGISTERS, int(register.max(initial=1))) + 1
    found = modes(measured.flute, measured.rows, corrections, count=count)
    rows = replace(measured.rows, register=register)
    played = np.exp(CENT * played_cents(rows, corrections))
    columns = np.stack(
        [register_roots(found, np.full(len(rows), n)) for n in range(1, count)], axis=-1
    )
    roots = np.where(
        columns >= 0, np.take_along_axis(found.root, np.maximum(columns, 0), axis=-1), np.nan
    )
    own = np.minimum(register, count - 1) - 1
    pick = np.arange(len(rows)), own
    off = np.log(measured.frequency[:, None] / (roots.real * played[:, None])) / CENT
    reasons = tuple(_reason(off[i], own[i], bool(stated[i])) for i in range(len(rows)))
    return Assignment(
        root=roots[pick], register=register, book=roots.real[pick] * played, left_out=reasons
    )


def _reason(off, own, stated):
    """Why a row cannot be fitted, else ""."""
    mine = off[own]
    label = f"register {own + 1}" if stated else "the first register"
    if np.isnan(mine):
        return f"this fingering has no note in {label}"
    if abs(mine) <= NEAR_CENTS:
        return ""
    for other, cents in enumerate(off):
        if other != own and abs(cents) <= SLIP_CENTS:
            return (
                f"{mine:+.0f} cents from {label}, but {cents:+.0f} from register {other + 1}: "
                f"write register = {other + 1}, or mend the octave"
            )
    if abs(abs(mine) - 1200) <= SLIP_CENTS:
        way = "an octave high" if mine > 0 else "an octave low"
        return (
            f"{mine:+.0f} cents from {label}: it reads {way}; mend the octave, "
            "or write its register"
        )
    return f"{mine:+.0f} cents from {label}: check the fingering and the note"
