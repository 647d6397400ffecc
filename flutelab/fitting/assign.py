"""Which mode of its fingering is each measured note? Decided once, before a fit."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.fitting.measurements import Measurements
from flutelab.model.corrections import Corrections
from flutelab.model.modes import register_roots, searched, solved_modes, warn_of_notes
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
    rows = replace(measured.rows, register=register)
    highest = int(register.max(initial=1))
    roots, numbers = _register_roots(measured, corrections, highest)
    off = _off(measured, rows, corrections, roots)
    pick = np.arange(len(rows)), register - 1
    if highest < REGISTERS and np.any(~(np.abs(off[pick]) <= NEAR_CENTS)):
        with already_warned():
            roots, numbers = _register_roots(measured, corrections, REGISTERS)
        off = _off(measured, rows, corrections, roots)
    warn_of_notes(numbers, roots[pick].real)
    return Assignment(
        root=roots[pick],
        register=register,
        book=measured.frequency / np.exp(CENT * off[pick]),
        left_out=tuple(
            _reason(off[row], own, bool(stated[row])) for row, own in zip(*pick, strict=True)
        ),
    )


def _register_roots(measured, corrections, highest):
    """Roots (N, highest) of the registers that speak, nan where one does not, and their chain."""
    count = searched(highest)
    found, numbers = solved_modes(measured.flute, measured.rows, corrections, count=count)
    every = [register_roots(found, np.full(len(measured.rows), n)) for n in range(1, highest + 1)]
    column = np.stack(every, axis=-1)
    root = np.take_along_axis(found.root, np.maximum(column, 0), axis=-1)
    return np.where(column >= 0, root, np.nan), numbers


def _off(measured, rows, corrections, roots):
    """Cents of the measured notes over each register, (N, registers)."""
    played = played_cents(rows, corrections)[:, None]
    return np.log(measured.frequency[:, None] / roots.real) / CENT - played


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
        mend = "mend the octave, or write its register" if mine > 0 else "mend the octave"
        way = "high" if mine > 0 else "low"
        return f"{mine:+.0f} cents from {label}: it reads an octave {way}; {mend}"
    return f"{mine:+.0f} cents from {label}: check the fingering and the note"
