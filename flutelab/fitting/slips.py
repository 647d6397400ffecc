"""A row that does not fit: which slip of the pen would make it fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.fitting.assign import REGISTERS
from flutelab.fitting.causes import Cause, suppose
from flutelab.fitting.problem import Problem
from flutelab.fitting.trimmed import Trimmed, left_over, only
from flutelab.model.modes import register_roots, searched, solved_modes
from flutelab.model.notes import CENT, played_cents
from flutelab.model.rows import rows, take

# A slip of unknown cause is c cents off with the density 1/(pi w (1 + (c/w)^2)), w = 50 cents:
# half of them within 50 cents (common practice, no source).
USUAL_SLIP = 50.0
REFITTED = 2  # readings of a row
OTHERS = {"x": "o", "o": "x", "h": "xo", "n": ""}
FAR = 60.0  # cents: a reading this far off explains nothing


@dataclass(frozen=True, kw_only=True, eq=False)
class Reading:
    """Another reading of a row, None for a slip of unknown cause.

    ``against``: -2 ln of its likelihood times its share of what may go wrong; the less the
    better. ``chi2`` with the row read so.
    """

    cause: Cause | None
    against: float
    chi2: float


def readings_of(
    problem: Problem,
    free: Sequence[str],
    causes: Sequence[Cause],
    fit: Trimmed,
    rows_asked: list[tuple[int, int]],
    number: int,
) -> list[Reading]:
    """Return the likeliest readings of a row that was left out, best first.

    Parameters
    ----------
    problem : Problem
        Without a mistake mended.
    free : sequence of str
    causes : sequence of Cause
        Mended in `fit`.
    fit : Trimmed
    rows_asked : list of (table, row)
    number : int
        Of the row among them.
    """  # fmt: skip
    table, row = rows_asked[number]
    near, sd = fit.around, problem.tables[table].measurements.sd[row]
    off = near.cents[number]
    wide = sd
    if near.present[number]:
        wide = abs(off) / max(np.sqrt(left_over(fit)[number]), 1e-9)
    amount = off if np.isfinite(off) else 1200.0
    width = np.pi * USUAL_SLIP * (1 + (amount / USUAL_SLIP) ** 2)
    slip = 2 * np.log(width / (wide * np.sqrt(2 * np.pi)))
    found = [Reading(cause=None, against=float(slip), chi2=fit.chi2)]
    looks = sorted(
        ((left / wide) ** 2 + 2 * np.log(many), many, cause)
        for cause, left, many in _others(fit, table, row)
        if abs(left) < FAR
    )
    for _, many, cause in looks[:REFITTED]:
        chi2 = _with_row(problem, free, (*causes, cause), fit, rows_asked, number)
        if np.isfinite(chi2):
            against = chi2 - fit.chi2 + 2 * np.log(many)
            found.append(Reading(cause=cause, against=float(against), chi2=chi2))
    return sorted(found, key=lambda reading: reading.against)


def _with_row(problem, free, causes, fit, rows_asked, number):
    """chi2 of the rows that `fit` keeps, and of one more."""
    kept = fit.kept.copy()
    kept[number] = True
    mended = suppose(problem, free, causes) if causes else problem
    table, row = rows_asked[number]
    if mended is None or not np.isfinite(mended.tables[table].assigned.root[row]):
        return np.nan
    return 2 * float(only(mended, rows_asked, kept).solve().cost)


def as_written(problem, free, causes, fit, rows_asked, number) -> float:
    """Return chi2 with a row that was left out taken in as it is written; nan if it cannot."""
    table, row = rows_asked[number]
    if fit.problem.tables[table].assigned.left_out[row]:
        return float("nan")
    return _with_row(problem, free, causes, fit, rows_asked, number)


def _others(fit, table, row):
    """(cause, cents left, how many such there are) of every other reading."""
    off, words, stated = _off(fit, table, row)
    here = {"tables": (table,), "index": row}
    for factor in (2.0, 0.5):
        cause = Cause(what="octave", value=factor, **here)
        yield cause, off[0, stated - 1] + 1200 * np.log2(factor), 2
    for register in range(1, REGISTERS + 1):
        if register != stated:
            cause = Cause(what="register", value=float(register), **here)
            yield cause, off[0, register - 1], REGISTERS - 1
    for word, left in zip(words[1:], off[1:, stated - 1], strict=True):
        yield Cause(what="fingering", name=word, **here), left, len(words) - 1


def _off(fit, table, row):
    """Cents of a row over its own and each neighbouring fingering's registers."""
    problem, theta = fit.problem, fit.theta
    part = problem.tables[table]
    m, corrections = part.measurements, problem.corrections(theta, table)
    word = m.rows.label[row]
    words = [word] + [
        word[:i] + letter + word[i + 1 :]
        for i, old in enumerate(word) for letter in OTHERS[old]
    ]  # fmt: skip
    own = take(m.rows, np.full(len(words), row))
    made = rows(m.flute, words, air=own.air)
    asked = replace(own, openness=made.openness, drilled=made.drilled, label=made.label)
    stated = int(part.assigned.register[row])
    every = range(1, max(REGISTERS, stated) + 1)
    with already_warned():
        found, _ = solved_modes(m.flute, asked, corrections, count=searched(every[-1]))
    session = sum(
        value for p, value in zip(problem.parameters, theta, strict=True)
        if p.table == table and p.session == m.session[row] and p.session is not None
    )  # fmt: skip
    off = np.full((len(words), len(every)), np.nan)
    for number in every:
        column = register_roots(found, np.full(len(words), number))
        root = np.take_along_axis(found.root, np.maximum(column, 0)[:, None], axis=-1)[:, 0]
        register = np.full(len(words), number)
        played = played_cents(replace(asked, register=register), corrections)
        cents = np.log(m.frequency[row] / root.real) / CENT - played - session
        off[:, number - 1] = np.where(column >= 0, cents, np.nan)
    return off, words, stated
