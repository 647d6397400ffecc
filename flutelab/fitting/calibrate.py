"""Measured notes -> corrections with their spread.

Every correction with a prior spread is in the fit, always; `free` only says which
are reported. Each session shares one error of breath and tuner.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import DataError, Fault, FitWarning
from flutelab.fitting.measurements import Measurements
from flutelab.fitting.problem import Problem, follow, subset, tables_of
from flutelab.fitting.unknowns import (
    MODEL_SD,
    OF_A_DAY,
    Parameter,
    parameters_of,
    reference_pressures,
    tables_by_flute,
    usual_priors,
)
from flutelab.model.corrections import NAMES, Corrections, Prior, Spread
from flutelab.model.notes import CENT, played_cents

DEFAULT_FREE = ("window", "foot", "wall")
OWN = ("bore", "air_offset")  # of each flute, of each day, when several are pooled
WIDEN_FROM_ROWS, WIDEN_FROM_CHI2 = 6, 2.0


@dataclass(frozen=True, kw_only=True, eq=False)
class TableResult:
    """What became of one table's N rows.

    ``fate`` per row: ``fitted``, ``checked``, ``apart`` or ``left out``; ``why`` in
    words. ``book`` = formulas as they stand, ``predicted`` = after the fit, session
    offset included [Hz]; ``residual`` measured over predicted [cents]; ``sd`` of the
    prediction [cents]; ``gradient`` (N, P) [cents per unit] of all unknowns.
    """

    measurements: Measurements
    corrections: Corrections
    fate: tuple[str, ...]
    why: tuple[str, ...]
    register: np.ndarray
    book: np.ndarray
    predicted: np.ndarray
    residual: np.ndarray
    sd: np.ndarray
    gradient: np.ndarray


@dataclass(frozen=True, kw_only=True, eq=False)
class Calibration:
    """Corrections fitted to measured notes, and how far to trust them.

    ``corrections`` and ``spread`` serve the next prediction; where pooled tables have
    a bore or air of their own, those stand at their priors here and each table's in
    `tables`. ``value`` and ``covariance`` hold all unknowns, in the order of
    `parameters`. ``singular_values`` of the notes in prior units; ``blind`` = the
    direction of the reported corrections, in prior sd, that the notes see least, and
    ``doubt_left`` its sd after over before. ``widened`` = factor on the readings' sd.
    """

    corrections: Corrections
    spread: Spread
    priors: Mapping[str, Prior]
    free: tuple[str, ...]
    held: tuple[str, ...]
    problem: Problem
    value: np.ndarray
    covariance: np.ndarray
    tables: tuple[TableResult, ...]
    chi2: float
    rows: int
    widened: float
    singular_values: np.ndarray
    blind: Mapping[str, float]
    doubt_left: float

    @property
    def parameters(self) -> tuple[Parameter, ...]:
        """The unknowns of the fit."""
        return self.problem.parameters


def calibrate(
    *measurements: Measurements,
    free: Sequence[str] = DEFAULT_FREE,
    own: Sequence[str] = OWN,
    priors: Mapping[str, Prior] | None = None,
    hold: Sequence[str] = (),
    loss: str = "linear",
    model_sd: float = MODEL_SD,
) -> Calibration:
    """Fit the corrections to measured notes.

    Parameters
    ----------
    *measurements : Measurements
        One or several tables, each with its flute; pooled.
    free : sequence of str
        Corrections that are reported as results. All others with a prior spread
        are fitted too, as nuisances. With ``breath`` among them, rows that were
        blown soft or hard and have a pressure are fitted as well.
    own : sequence of str
        Corrections that each flute has for itself when several are pooled, the air of
        each table; see `flutelab.fitting.flutes` for the next flute. Of one flute only
        the air can differ from session to session (`by_session` makes tables of them).
    priors : mapping of str to Prior, optional
        Replace the usual priors.
    hold : sequence of str
        Corrections held at their prior mean exactly.
    loss : {"linear", "robust"}
        ``robust``: Huber's, corner at 2 sd, on the notes only.
    model_sd : float
        The model's own error for each note [cents], whatever is measured: 0.6, the worst
        note of the six-hole pipe worked out by finite elements (docs/model.md).

    Returns
    -------
    Calibration

    Raises
    ------
    DataError
        A note table of one flute is there twice, byte for byte.
    ValueError
        An unknown correction or loss, no measurements, or corrections of each flute's own
        where there is one flute only.
    FitError
        No row can be fitted.

    Warns
    -----
    FitWarning
        Fewer notes than reported corrections.

    Notes
    -----
    Least squares on [cents(measured/predicted)/sd ; (theta - mean)/sd] with the
    implicit gradient. Errors from the (for a robust loss: reweighted) Jacobian at the
    optimum, the readings' sd widened by sqrt(chi2/rows) only from 6 rows on and where
    chi2/rows > 2; the priors are never widened. An unknown at its limit (`at limit` in the
    report) keeps the errors it would have if it were free. A gross mistake among the rows
    moves the corrections by more than their errors say: ask `suspects` first.
    """
    _check(measurements, (*free, *own, *hold, *(priors or {})), loss)
    if fault := own_fault(measurements, own):
        raise ValueError(fault)
    refuse_doubled(measurements)
    all_priors = usual_priors(measurements, priors, hold)
    own_priors = [usual_priors((m,), priors, hold) for m in measurements]
    means = Corrections(**{name: prior.mean for name, prior in all_priors.items()})
    tables = tables_of(measurements, means, free)
    pressures = reference_pressures(tables)
    start = replace(means, **pressures)
    pooled_own = _own_of(measurements, own)
    known = any(pressures.values())
    parameters = parameters_of(
        tables, all_priors, own_priors, pooled_own, breath_known=known, model_sd=model_sd
    )
    problem = Problem(tables, parameters, start, loss)
    if len(problem.measured) < len(free):
        notes = "1 note" if len(problem.measured) == 1 else f"{len(problem.measured)} notes"
        msg = f"{notes} for {len(free)} corrections: mostly the usual values"
        warnings.warn(msg, FitWarning, stacklevel=2)
    return _finish(problem, all_priors, tuple(free), tuple(hold))


def another_day(spread: Spread, air_sd: float) -> Spread:
    """Return the spread of the corrections for notes of another day.

    That day's air errs anew, by `air_sd` [K], whatever it did when the flute was measured.
    """
    if "air_offset" not in spread.names:
        return spread
    index = spread.names.index("air_offset")
    covariance = np.array(spread.covariance)
    covariance[index, :] = covariance[:, index] = 0.0
    covariance[index, index] = air_sd**2
    return Spread(names=spread.names, covariance=covariance)


def _own_of(measurements, own):
    """Corrections that several flutes or days have each for itself."""
    if len(measurements) == 1:
        return ()
    one_flute = len(tables_by_flute(measurements)) == 1
    return tuple(name for name in own if name in OF_A_DAY or not one_flute)


def own_fault(measurements: Sequence[Measurements], own: Sequence[str]) -> str:
    """Return what is wrong with corrections of each flute's own; "" if nothing.

    Examples
    --------
    >>> own_fault([], ["air_offset"])
    ''
    """
    more = [name for name in own if name not in OWN]
    if not more or len(tables_by_flute(measurements)) != 1:
        return ""
    tables = f"all {len(measurements)} tables are" if len(measurements) > 1 else "the one table is"
    return (
        f"own: {more[0]!r} belongs to a flute, and {tables} of one flute. Of one flute only the "
        "air can differ, from table to table (own: air_offset). If its window or anything else "
        "was changed between sessions it is another flute: give it a flute file with another name"
    )


def refuse_doubled(measurements: Sequence[Measurements]) -> None:
    """Refuse rows of one file that are there twice for one flute.

    Raises
    ------
    DataError
        Naming both tables.
    """
    for together in tables_by_flute(measurements):
        for number, table in enumerate(together):
            mine = measurements[table]
            for other in (measurements[n] for n in together[:number]):
                alike = mine.fingerprint and mine.fingerprint == other.fingerprint
                if alike and set(mine.place) & set(other.place):
                    raise DataError(mine.source, [_doubled(mine, other)])


def _doubled(mine, other):
    return Fault(
        place="the whole table",
        typed=None if mine.source == other.source else other.source,
        problem=(
            f"the notes of {mine.flute.name!r} are given twice, byte for byte the same"
            + (" file" if mine.source == other.source else ", here and there")
        ),
        mend="Give each table once: readings count as often as they are given",
    )


def _check(measurements, names, loss):
    unknown = [name for name in names if name not in NAMES]
    if unknown:
        msg = f"unknown correction {unknown[0]!r}; the corrections are {', '.join(NAMES)}"
        raise ValueError(msg)
    if loss not in ("linear", "robust"):
        msg = f"loss is {loss!r}; use 'linear' or 'robust'"
        raise ValueError(msg)
    if not measurements:
        msg = "calibrate needs at least one table of measured notes"
        raise ValueError(msg)


def _finish(problem, priors, free, held):
    solution = problem.solve()
    theta = problem.values(solution.x)
    jacobian = problem.jacobian(solution.x)
    chi2, count = 2 * solution.cost, len(problem.measured)
    widened = 1.0
    if count >= WIDEN_FROM_ROWS and chi2 / count > WIDEN_FROM_CHI2:
        widened = float(np.sqrt(chi2 / count))
    # the scatter is larger than the weights of the fit took it to be; the priors are not
    notes = jacobian[:count]
    inverse = np.linalg.inv(notes.T @ notes + np.eye(len(theta)))
    noise = widened**2 * notes.T @ notes + np.eye(len(theta))
    covariance = inverse @ noise @ inverse * np.outer(problem.unit, problem.unit)
    told = [p.is_correction or p.session is not None for p in problem.parameters]
    singular = np.linalg.svd(jacobian[:count, told], compute_uv=False)
    corrections, spread = _for_next(problem, theta, covariance, priors)
    blind, doubt = least_seen(spread, priors, free)
    return Calibration(
        corrections=corrections,
        spread=spread,
        priors=priors,
        free=free,
        held=held,
        problem=problem,
        value=theta,
        covariance=covariance,
        tables=tuple(_result(problem, theta, covariance, t) for t in range(len(problem.tables))),
        chi2=float(chi2),
        rows=count,
        widened=widened,
        singular_values=singular,
        blind=blind,
        doubt_left=doubt,
    )


def least_seen(
    spread: Spread, priors: Mapping[str, Prior], free: Sequence[str]
) -> tuple[dict[str, float], float]:
    """Return the direction of reported corrections that keeps most doubt [prior sd], and it."""
    names = [name for name in free if name in spread.names]
    if not names:
        return {}, 0.0
    index = [spread.names.index(name) for name in names]
    sd = np.array([priors[name].sd for name in names])
    values, directions = np.linalg.eigh(spread.covariance[np.ix_(index, index)] / np.outer(sd, sd))
    direction = directions[:, -1] * np.sign(directions[np.argmax(np.abs(directions[:, -1])), -1])
    return dict(zip(names, direction.tolist(), strict=True)), float(np.sqrt(values[-1]))


def _for_next(problem, theta, covariance, priors):
    """Corrections and spread for the next prediction: the shared ones, priors for the rest."""
    parameters = problem.parameters
    shared = [i for i, p in enumerate(parameters) if p.is_correction and p.table is None]
    names = [parameters[i].name for i in shared]
    start = problem.start
    unheard = () if start.reference_pressure or start.overblown_pressure else ("breath",)
    rest = [n for n, p in priors.items() if p.sd > 0 and n not in (*names, *unheard)]
    full = np.diag([0.0] * len(names) + [priors[name].sd ** 2 for name in rest])
    full[: len(names), : len(names)] = covariance[np.ix_(shared, shared)]
    values = dict(zip(names, theta[shared].tolist(), strict=True))
    return replace(problem.start, **values), Spread(names=(*names, *rest), covariance=full)


def _result(problem, theta, covariance, table):
    part = problem.tables[table]
    m, assigned = part.measurements, part.assigned
    corrections = problem.corrections(theta, table)
    has_mode = np.isfinite(assigned.root)
    rows = subset(m.rows, has_mode, assigned.register)
    start = np.array(assigned.root)
    start[part.kept] = problem.roots(table)
    root = follow(m.flute, rows, corrections, start[has_mode])
    linear = problem.own_columns(table, has_mode)
    gradient = _spread_out(has_mode, problem.gradient(theta, table, rows, root, linear))
    added = played_cents(rows, corrections) + linear @ theta
    predicted = _spread_out(has_mode, root.real * np.exp(CENT * added))
    fates = [_fate(part, row) for row in range(len(m.rows))]
    return TableResult(
        measurements=m,
        corrections=corrections,
        fate=tuple(fate for fate, _ in fates),
        why=tuple(
            why or ("" if np.isfinite(f) else "its mode was lost on the way to the corrections")
            for (_, why), f in zip(fates, predicted, strict=True)
        ),
        register=assigned.register,
        book=assigned.book,
        predicted=predicted,
        residual=np.log(m.frequency / predicted) / CENT,
        sd=np.sqrt(np.einsum("np,pq,nq->n", gradient, covariance, gradient)),
        gradient=gradient,
    )


def _spread_out(where, values):
    """Put values of some rows back among all rows; nan elsewhere."""
    result = np.full(where.shape + values.shape[1:], np.nan)
    result[where] = values
    return result


def _fate(part, row):
    m, why = part.measurements, part.assigned.left_out[row]
    if part.kept[row]:
        return "fitted", ""
    if m.use[row] == "check":
        return "checked", why
    if m.use[row] == "no":
        return "left out", "use = no"
    if why:
        return "left out", why
    return "apart", m.apart[row]
