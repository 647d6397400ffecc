"""Measured notes -> corrections with their spread.

Every correction with a prior spread is in the fit, always; `free` only says which
are reported. Each session shares one error of breath and tuner.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from flutelab.fitting.assign import Assignment, assign
from flutelab.fitting.measurements import Measurements
from flutelab.model.corrections import NAMES, Corrections, Prior, Spread, default_priors
from flutelab.model.lattice import chain
from flutelab.model.modes import at, newton
from flutelab.model.notes import CENT, pitch_gradient, played_cents
from flutelab.model.rows import Rows

DEFAULT_FREE = ("window", "foot", "wall")
OWN = ("bore", "air_offset")  # of each flute or table when several are pooled
SESSION_SD = 5.0  # cents, breath and tuner (common practice, no source)
BORE_AIR_SD, ROOM_AIR_SD = 1.5, 3.0  # K (common practice, no source)
HUBER_CORNER = 2.0  # sd
WIDEN_FROM_ROWS, WIDEN_FROM_CHI2 = 6, 2.0
REFUSED = 1e3  # residual of a step that loses a mode, in sd


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """One unknown: a correction (of all tables, or of one), or a session's offset [cents]."""

    name: str
    prior: Prior
    table: int | None = None
    session: str | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class TableResult:
    """What became of one table's N rows.

    ``fate`` per row: ``fitted``, ``checked``, ``apart`` or ``left out``; ``why`` in
    words. ``book`` = formulas as they stand, ``predicted`` = after the fit, session
    offset included [Hz]; ``residual`` measured over predicted [cents]; ``sd`` of the
    prediction [cents]; ``gradient`` (N, P) [cents per unit] of all parameters.
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
    root: np.ndarray


@dataclass(frozen=True, kw_only=True, eq=False)
class Calibration:
    """Corrections fitted to measured notes, and how far to trust them.

    ``corrections`` and ``spread`` serve the next prediction (where tables have
    their own bore or air, those stay at the prior here and each table's stand in
    `tables`). ``added`` = posterior over prior sd by name. ``singular_values`` of the
    notes in prior units, ``blind`` = the direction they see least, by parameter.
    """

    corrections: Corrections
    spread: Spread
    priors: Mapping[str, Prior]
    free: tuple[str, ...]
    held: tuple[str, ...]
    loss: str
    parameters: tuple[Parameter, ...]
    value: np.ndarray
    covariance: np.ndarray
    tables: tuple[TableResult, ...]
    chi2: float
    rows: int
    widened: float
    singular_values: np.ndarray
    blind: np.ndarray


class FitError(ValueError):
    """No note can be fitted; the message names each row's reason."""


def calibrate(
    *measurements: Measurements,
    free: Sequence[str] = DEFAULT_FREE,
    own: Sequence[str] = OWN,
    priors: Mapping[str, Prior] | None = None,
    hold: Sequence[str] = (),
    loss: str = "linear",
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
        Corrections that each table has for itself when several are pooled.
    priors : mapping of str to Prior, optional
        Replace the usual priors.
    hold : sequence of str
        Corrections held at their prior mean exactly.
    loss : {"linear", "robust"}
        ``robust``: Huber's, corner at 2 sd, on the notes only.

    Returns
    -------
    Calibration

    Raises
    ------
    ValueError
        An unknown correction or loss, or no measurements.
    FitError
        No row can be fitted.

    Notes
    -----
    Least squares on [cents(measured/predicted)/sd ; (theta - mean)/sd] with the
    implicit gradient. Errors from the Jacobian at the optimum; widened by
    sqrt(chi2/rows) only from 6 rows on and where chi2/rows > 2.
    """
    _check_names(measurements, free, own, hold, loss)
    priors = _usual_priors(measurements, priors or {}, hold)
    pooled_own = tuple(own) if len(measurements) > 1 else ()
    reference = _reference_pressure(measurements, free)
    start = Corrections(
        **{name: prior.mean for name, prior in priors.items()}, reference_pressure=reference
    )
    parameters = _parameters(measurements, priors, pooled_own, reference)
    problem = _Problem(measurements, parameters, start, free, loss)
    return _finish(problem, problem.solve(), priors, tuple(free), tuple(hold))


def _check_names(measurements, free, own, hold, loss):
    unknown = [name for name in (*free, *own, *hold) if name not in NAMES]
    if unknown:
        msg = f"unknown correction {unknown[0]!r}; the corrections are {', '.join(NAMES)}"
        raise ValueError(msg)
    if loss not in ("linear", "robust"):
        msg = f"loss is {loss!r}; use 'linear' or 'robust'"
        raise ValueError(msg)
    if not measurements:
        msg = "calibrate needs at least one table of measured notes"
        raise ValueError(msg)


def _usual_priors(measurements, given, hold):
    priors = default_priors()
    room = any(np.any(m.from_room) for m in measurements)
    priors["air_offset"] = replace(priors["air_offset"], sd=ROOM_AIR_SD if room else BORE_AIR_SD)
    stated = [m.flute.uncertainty.bore / m.flute.bore.stations[0][1] for m in measurements
              if m.flute.uncertainty.bore is not None]  # fmt: skip
    if stated:
        priors["bore"] = replace(priors["bore"], sd=max(stated))
    priors |= given
    return {name: replace(p, sd=0.0) if name in hold else p for name, p in priors.items()}


def _fit_candidates(measured, free):
    """Rows that may be fitted: their use is `fit` and their breath serves."""
    pressure = measured.rows.breath
    known = np.isfinite(pressure) if pressure is not None else np.zeros(len(measured.rows), bool)
    usual = np.array([not why for why in measured.apart])
    return (np.array(measured.use) == "fit") & (usual | (known if "breath" in free else False))


def _reference_pressure(measurements, free):
    pressures = [
        m.rows.breath[_fit_candidates(m, free) & np.isfinite(m.rows.breath)]
        for m in measurements
        if m.rows.breath is not None
    ]
    known = np.concatenate(pressures) if pressures else np.zeros(0)
    return float(np.exp(np.mean(np.log(known)))) if known.size else None


def _parameters(measurements, priors, own, reference):
    parameters = []
    for name, prior in priors.items():
        if prior.sd == 0 or (name == "breath" and reference is None):
            continue
        tables = range(len(measurements)) if name in own else (None,)
        parameters += [Parameter(name=name, prior=prior, table=table) for table in tables]
    for table, measured in enumerate(measurements):
        for session in dict.fromkeys(measured.session):
            prior = Prior(name=f"session {session}", mean=0.0, sd=SESSION_SD)
            parameters.append(Parameter(name=prior.name, prior=prior, table=table, session=session))
    return tuple(parameters)


def _subset(rows: Rows, keep: np.ndarray, register: np.ndarray) -> Rows:
    """Rows where `keep` is true, with their assigned registers."""
    air = type(rows.air)(**{k: v[keep] if np.ndim(v) else v for k, v in vars(rows.air).items()})
    return Rows(
        openness=rows.openness[keep],
        drilled=rows.drilled[keep],
        diameter=None if rows.diameter is None else rows.diameter[keep],
        air=air,
        register=register[keep],
        breath=None if rows.breath is None else rows.breath[keep],
        label=tuple(word for word, kept in zip(rows.label, keep, strict=True) if kept),
    )


class _Problem:
    """The fit's arrays and its residuals; roots are followed from the last evaluation."""

    def __init__(self, measurements, parameters, start, free, loss):
        self.measurements, self.parameters, self.start = measurements, parameters, start
        self.free, self.loss = free, loss
        self.assigned = [assign(m, start) for m in measurements]
        self.fitted = [
            _fit_candidates(m, free) & np.array([not why for why in a.left_out])
            for m, a in zip(measurements, self.assigned, strict=True)
        ]
        if not any(np.any(kept) for kept in self.fitted):
            raise FitError(_no_rows(measurements, self.assigned))
        self.rows = [
            _subset(m.rows, kept, a.register)
            for m, a, kept in zip(measurements, self.assigned, self.fitted, strict=True)
        ]
        self.roots = [a.root[kept] for a, kept in zip(self.assigned, self.fitted, strict=True)]
        self.measured = np.concatenate(
            [m.frequency[kept] for m, kept in zip(measurements, self.fitted, strict=True)]
        )
        self.sd = np.concatenate(
            [m.sd[kept] for m, kept in zip(measurements, self.fitted, strict=True)]
        )
        self.mean = np.array([p.prior.mean for p in parameters])
        self.unit = np.array([p.prior.sd for p in parameters])
        self._last = (None, None)

    def corrections(self, theta, table):
        """Corrections of one table at a parameter vector."""
        leaves = {
            p.name: value
            for p, value in zip(self.parameters, theta.tolist(), strict=True)
            if p.session is None and p.table in (None, table)
        }
        return replace(self.start, **leaves)

    def cents(self, theta):
        """Residual cents(measured/predicted) of the fitted rows; nan where a mode is lost."""
        if self._last[0] is not None and np.array_equal(self._last[0], theta):
            return self._last[1]
        predicted, roots = [], []
        for table, (m, rows) in enumerate(zip(self.measurements, self.rows, strict=True)):
            corrections = self.corrections(theta, table)
            root = follow(m.flute, rows, corrections, self.roots[table])
            offset = played_cents(rows, corrections) + self._session(theta, table)
            predicted.append(np.log(root.real) / CENT + offset)
            roots.append(root)
        cents = np.log(self.measured) / CENT - np.concatenate(predicted)
        if np.all(np.isfinite(cents)):
            self.roots = roots
            self._last = (theta.copy(), cents)
        return cents

    def _session(self, theta, table):
        sessions = self._sessions_of(table, self.fitted[table])
        offsets = {
            p.session: value
            for p, value in zip(self.parameters, theta, strict=True)
            if p.session is not None and p.table == table
        }
        return np.array([offsets[session] for session in sessions])

    def _sessions_of(self, table, kept):
        return [s for s, k in zip(self.measurements[table].session, kept, strict=True) if k]

    def gradient(self, theta, table, rows, roots, kept):
        """d(predicted cents)/d(theta), (rows, parameters), of some rows of one table."""
        result = np.zeros((len(rows), len(self.parameters)))
        columns = [
            i
            for i, p in enumerate(self.parameters)
            if p.session is None and p.table in (None, table)
        ]
        names = [self.parameters[i].name for i in columns]
        corrections = self.corrections(theta, table)
        flute = self.measurements[table].flute
        result[:, columns] = pitch_gradient(flute, rows, roots, corrections, names)
        sessions = self._sessions_of(table, kept)
        for i, p in enumerate(self.parameters):
            if p.session is not None and p.table == table:
                result[:, i] = [session == p.session for session in sessions]
        return result

    def residuals(self, unit_theta):
        cents = self.cents(self.mean + self.unit * unit_theta)
        if not np.all(np.isfinite(cents)):
            return np.full(len(cents) + len(unit_theta), REFUSED)
        return np.concatenate([self._robust(cents / self.sd)[0], unit_theta])

    def jacobian(self, unit_theta):
        theta = self.mean + self.unit * unit_theta
        cents = self.cents(theta)
        slope = self._robust(cents / self.sd)[1]
        notes = -self.all_gradients(theta) * self.unit * (slope / self.sd)[:, None]
        return np.concatenate([notes, np.eye(len(theta))])

    def all_gradients(self, theta):
        return np.concatenate(
            [
                self.gradient(theta, table, rows, self.roots[table], self.fitted[table])
                for table, rows in enumerate(self.rows)
            ]
        )

    def _robust(self, z):
        """Residuals whose squares sum to Huber's loss, and their slope."""
        if self.loss == "linear":
            return z, np.ones_like(z)
        size = np.maximum(np.abs(z), 1e-12)
        far = size > HUBER_CORNER
        bent = np.sqrt(np.where(far, 2 * HUBER_CORNER * size - HUBER_CORNER**2, size**2))
        return np.sign(z) * bent, np.where(far, HUBER_CORNER / bent, 1.0)

    def solve(self):
        low = [(p.prior.lower - p.prior.mean) / p.prior.sd for p in self.parameters]
        high = [(p.prior.upper - p.prior.mean) / p.prior.sd for p in self.parameters]
        return least_squares(
            self.residuals,
            np.zeros(len(self.parameters)),
            self.jacobian,
            bounds=(low, high),
            xtol=1e-9,
            ftol=1e-10,
            gtol=1e-9,
        )


def follow(flute, rows: Rows, corrections: Corrections, roots: np.ndarray) -> np.ndarray:
    """Follow the rows' roots (N,) to new corrections; nan where Newton does not settle."""
    if not len(rows):
        return roots
    numbers = chain(flute, rows, corrections)
    moved = newton(at(numbers), roots[:, None])[0][:, 0]
    lost = ~np.isfinite(moved) | (moved.imag < 0) | (np.abs(np.log(moved.real / roots.real)) > 0.2)
    return np.where(lost, np.nan, moved)


def _no_rows(measurements: Sequence[Measurements], assigned: Sequence[Assignment]) -> str:
    lines = ["no note can be fitted:"]
    for m, a in zip(measurements, assigned, strict=True):
        for place, use, apart, why in zip(m.place, m.use, m.apart, a.left_out, strict=True):
            reason = why or apart or f"use = {use}"
            lines.append(f"  {m.source} {place}: {reason}")
    return "\n".join(lines)


def _finish(problem, solution, priors, free, held):
    theta = problem.mean + problem.unit * solution.x
    problem.cents(theta)
    notes = problem.all_gradients(theta) * problem.unit / problem.sd[:, None]
    jacobian = problem.jacobian(solution.x)
    covariance = np.linalg.inv(jacobian.T @ jacobian) * np.outer(problem.unit, problem.unit)
    chi2, count = 2 * solution.cost, len(problem.measured)
    widened = 1.0
    if count >= WIDEN_FROM_ROWS and chi2 / count > WIDEN_FROM_CHI2:
        widened = float(np.sqrt(chi2 / count))
    covariance = covariance * widened**2
    _, singular, directions = np.linalg.svd(notes)
    corrections, spread = _for_next(problem, theta, covariance, priors)
    tables = tuple(
        _table_result(problem, theta, covariance, table)
        for table in range(len(problem.measurements))
    )
    return Calibration(
        corrections=corrections,
        spread=spread,
        priors=priors,
        free=free,
        held=held,
        loss=problem.loss,
        parameters=problem.parameters,
        value=theta,
        covariance=covariance,
        tables=tables,
        chi2=float(chi2),
        rows=count,
        widened=widened,
        singular_values=singular,
        blind=directions[-1],
    )


def _for_next(problem, theta, covariance, priors):
    """Corrections and spread for the next prediction: the shared ones, priors for the rest."""
    shared = [i for i, p in enumerate(problem.parameters) if p.session is None and p.table is None]
    names = [problem.parameters[i].name for i in shared]
    rest = [n for n, p in priors.items() if p.sd > 0 and n not in names and n != "breath"]
    size = len(names)
    full = np.zeros((size + len(rest), size + len(rest)))
    full[:size, :size] = covariance[np.ix_(shared, shared)]
    full[range(size, size + len(rest)), range(size, size + len(rest))] = [
        priors[name].sd ** 2 for name in rest
    ]
    values = dict(zip(names, theta[shared].tolist(), strict=True))
    return replace(problem.start, **values), Spread(names=(*names, *rest), covariance=full)


def _table_result(problem, theta, covariance, table):
    m, a, kept = problem.measurements[table], problem.assigned[table], problem.fitted[table]
    corrections = problem.corrections(theta, table)
    has_mode = np.isfinite(a.root)
    rows = _subset(m.rows, has_mode, a.register)
    root = np.full(len(m.rows), np.nan + 0j)
    root[has_mode] = follow(m.flute, rows, corrections, a.root[has_mode])
    gradient = np.full((len(m.rows), len(theta)), np.nan)
    gradient[has_mode] = problem.gradient(theta, table, rows, root[has_mode], has_mode)
    played = played_cents(replace(m.rows, register=a.register), corrections)
    sessions = {p.session: v for p, v in zip(problem.parameters, theta, strict=True)
                if p.table == table and p.session is not None}  # fmt: skip
    offset = np.array([sessions[s] for s in m.session])
    predicted = root.real * np.exp(CENT * (played + offset))
    fate, why = _fates(m, a, kept)
    return TableResult(
        measurements=m,
        corrections=corrections,
        fate=fate,
        why=why,
        register=a.register,
        book=a.book,
        predicted=predicted,
        residual=np.log(m.frequency / predicted) / CENT,
        sd=np.sqrt(np.einsum("np,pq,nq->n", gradient, covariance, gradient)),
        gradient=gradient,
        root=root,
    )


def _fates(measured, assigned, kept):
    fate, why = [], []
    for i, use in enumerate(measured.use):
        if kept[i]:
            fate.append("fitted")
            why.append("")
        elif use == "check":
            fate.append("checked")
            why.append(assigned.left_out[i])
        elif use == "no":
            fate.append("left out")
            why.append("use = no")
        elif assigned.left_out[i]:
            fate.append("left out")
            why.append(assigned.left_out[i])
        else:
            fate.append("apart")
            why.append(measured.apart[i])
    return tuple(fate), tuple(why)
