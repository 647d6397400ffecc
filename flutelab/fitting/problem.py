"""The fit's residuals: what is fitted to which rows, and the way there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import OptimizeResult, least_squares

from flutelab.errors import already_warned
from flutelab.fitting.assign import assign
from flutelab.fitting.measurements import Measurements
from flutelab.fitting.unknowns import Parameter, Table, by_geometry, notes_of
from flutelab.model.chain import chain
from flutelab.model.corrections import Corrections
from flutelab.model.flute import Flute
from flutelab.model.notes import CENT, pitch_gradient, played_cents
from flutelab.model.roots import at, newton
from flutelab.model.rows import Rows, distinct, take

HUBER_CORNER = 2.0  # sd
REFUSED = 1e3  # residual of a step that loses a mode, in sd
LARGEST_STEP = 0.2  # of ln f, while a root is followed


class FitError(ValueError):
    """No note can be fitted; the message names each row's reason."""


def fit_candidates(measured: Measurements, free: Sequence[str]) -> np.ndarray:
    """Return which rows may be fitted (N,): their use is `fit` and their breath serves."""
    pressure = measured.rows.breath
    known = np.zeros(len(measured.rows), bool) if pressure is None else np.isfinite(pressure)
    usual = np.array([not why for why in measured.apart], dtype=bool)
    return (np.array(measured.use) == "fit") & (usual | (known & ("breath" in free)))


def tables_of(
    measurements: Sequence[Measurements], start: Corrections, free: Sequence[str]
) -> tuple[Table, ...]:
    """Return the tables with their modes assigned.

    Raises
    ------
    FitError
        No row of any table can be fitted.
    """
    tables = []
    for measured in measurements:
        assigned = assign(measured, start)
        speaks = np.array([not why for why in assigned.left_out], dtype=bool)
        kept = fit_candidates(measured, free) & speaks
        rows = replace(measured.rows, register=assigned.register)
        tables.append(
            Table(
                measurements=measured,
                assigned=assigned,
                kept=kept,
                by_geometry=by_geometry(measured.flute, rows, assigned.root, start),
            )
        )
    if not any(np.any(table.kept) for table in tables):
        raise FitError(_no_rows(tables))
    return tuple(tables)


def _no_rows(tables):
    lines = ["no note can be fitted:"]
    for table in tables:
        m = table.measurements
        for place, use, apart, why in zip(
            m.place, m.use, m.apart, table.assigned.left_out, strict=True
        ):
            lines.append(f"  {m.source} {place}: {why or apart or f'use = {use}'}")
    return "\n".join(lines)


def subset(rows: Rows, keep: np.ndarray, register: np.ndarray) -> Rows:
    """Return the rows where `keep` (N,) is true, with the registers given for all."""
    return take(replace(rows, register=register), keep)


def follow(flute: Flute, rows: Rows, corrections: Corrections, roots: np.ndarray) -> np.ndarray:
    """Follow the rows' roots (N,) to new corrections; nan where Newton does not settle."""
    if not len(rows):
        return roots
    index, inverse = distinct(rows, roots.real, roots.imag)
    with already_warned():
        numbers = chain(flute, take(rows, index), corrections)
        moved = newton(at(numbers), roots[index, None])[inverse, 0]
    with np.errstate(invalid="ignore"):
        far = np.abs(np.log(np.abs(moved) / np.abs(roots))) > LARGEST_STEP
    return np.where(~np.isfinite(moved) | (moved.imag < 0) | far, np.nan, moved)


def residual_shape(z: np.ndarray, loss: str) -> tuple[np.ndarray, np.ndarray]:
    """Return residuals whose squares sum to the loss, and their slope, for z in sd."""
    if loss == "linear":
        return z, np.ones_like(z)
    size = np.maximum(np.abs(z), 1e-12)
    far = size > HUBER_CORNER
    bent = np.sqrt(np.where(far, 2 * HUBER_CORNER * size - HUBER_CORNER**2, size**2))
    return np.sign(z) * bent, np.where(far, HUBER_CORNER / bent, 1.0)


@dataclass(eq=False)
class Problem:
    """Residuals and Jacobian of a fit in units of the prior sd; follows the roots.

    The one mutable object of the kit: it remembers the roots of its last evaluation.
    """

    tables: tuple[Table, ...]
    parameters: tuple[Parameter, ...]
    start: Corrections
    loss: str = "linear"
    _rows: list[Rows] = field(init=False)
    _roots: list[np.ndarray] = field(init=False)
    _linear: list[np.ndarray] = field(init=False)
    _last: tuple = field(init=False, default=(None, None))

    def __post_init__(self) -> None:
        self._rows = [subset(t.measurements.rows, t.kept, t.assigned.register) for t in self.tables]
        self._roots = [t.assigned.root[t.kept] for t in self.tables]
        self._linear = [
            self.linear_columns(
                n, replace(t.measurements.rows, register=t.assigned.register),
                t.measurements.session, t.by_geometry,
            )
            for n, t in enumerate(self.tables)
        ]  # fmt: skip
        self.measured = np.concatenate([t.measurements.frequency[t.kept] for t in self.tables])
        self.sd = np.concatenate([t.measurements.sd[t.kept] for t in self.tables])
        self.mean = np.array([p.prior.mean for p in self.parameters])
        self.unit = np.array([p.prior.sd for p in self.parameters])

    def fitted_rows(self, table: int) -> Rows:
        """Return the rows of one table that are fitted, with their registers."""
        return self._rows[table]

    def roots(self, table: int) -> np.ndarray:
        """Return the roots of one table's fitted rows at the last evaluation."""
        return self._roots[table]

    def values(self, unit_theta: np.ndarray) -> np.ndarray:
        """Return the unknowns for unknowns in prior sd, at a limit exactly on it."""
        low, high = np.transpose([(p.prior.lower, p.prior.upper) for p in self.parameters])
        return np.clip(self.mean + self.unit * unit_theta, low, high)

    def corrections(self, theta: np.ndarray, table: int) -> Corrections:
        """Return one table's corrections at the unknowns `theta`."""
        leaves = {
            p.name: value
            for p, value in zip(self.parameters, theta.tolist(), strict=True)
            if p.is_correction and p.concerns(table)
        }
        return replace(self.start, **leaves)

    def linear_columns(
        self, table: int, rows: Rows, sessions: Sequence[str], geometry: Mapping[str, np.ndarray]
    ) -> np.ndarray:
        """Return what session, note and geometry errors add to rows [cents per unit], (rows, P).

        Parameters
        ----------
        table : int
            The table to whose flute the rows belong.
        rows : Rows
            With their registers.
        sessions : sequence of str
        geometry : mapping of str to (rows,)
            From `by_geometry`.
        """
        columns = np.zeros((len(rows), len(self.parameters)))
        notes = notes_of(rows, rows.register)
        for i, p in enumerate(self.parameters):
            if not (p.is_linear and p.concerns(table)):
                continue
            if p.session is not None:
                columns[:, i] = [session == p.session for session in sessions]
            elif p.note is not None:
                columns[:, i] = [note == p.note for note in notes]
            else:
                columns[:, i] = sum(geometry[name] for name in p.quantities)
        return columns

    def own_columns(self, table: int, keep: np.ndarray) -> np.ndarray:
        """Return `linear_columns` of one table's own rows where `keep` (N,)."""
        return self._linear[table][keep]

    def cents(self, theta: np.ndarray) -> np.ndarray:
        """Return cents(measured/predicted) of the fitted rows; nan where a mode is lost."""
        if self._last[0] is not None and np.array_equal(self._last[0], theta):
            return self._last[1]
        predicted, roots = [], []
        for table, part in enumerate(self.tables):
            corrections = self.corrections(theta, table)
            rows = self._rows[table]
            root = follow(part.measurements.flute, rows, corrections, self._roots[table])
            added = played_cents(rows, corrections)
            added = added + self.own_columns(table, part.kept) @ theta
            predicted.append(np.log(np.abs(root.real)) / CENT + added)
            roots.append(root)
        cents = np.log(self.measured) / CENT - np.concatenate(predicted)
        if np.all(np.isfinite(cents)):
            self._roots, self._last = roots, (theta.copy(), cents)
        return cents

    def gradient(
        self, theta: np.ndarray, table: int, rows: Rows, roots: np.ndarray, linear: np.ndarray
    ) -> np.ndarray:
        """Return d(predicted cents)/d(theta) of rows of one table's flute, (rows, unknowns).

        `linear` (rows, unknowns) from `linear_columns` or `own_columns`.
        """
        result = np.array(linear, dtype=float)
        if not len(rows):
            return result
        corrections = self.corrections(theta, table)
        flute = self.tables[table].measurements.flute
        mine = [i for i, p in enumerate(self.parameters) if p.concerns(table)]
        fitted = [i for i in mine if self.parameters[i].is_correction]
        names = [self.parameters[i].name for i in fitted]
        result[:, fitted] = pitch_gradient(flute, rows, roots, corrections, names)
        return result

    def gradients(self, theta: np.ndarray) -> np.ndarray:
        """Return `gradient` of all fitted rows, (rows, unknowns)."""
        self.cents(theta)
        return np.concatenate(
            [
                self.gradient(
                    theta, table, self._rows[table], self._roots[table],
                    self.own_columns(table, part.kept),
                )
                for table, part in enumerate(self.tables)
            ]
        )  # fmt: skip

    def residuals(self, unit_theta: np.ndarray) -> np.ndarray:
        """Return the residuals of notes and priors, in sd."""
        cents = self.cents(self.values(unit_theta))
        if not np.all(np.isfinite(cents)):
            return np.full(len(cents) + len(unit_theta), REFUSED)
        return np.concatenate([residual_shape(cents / self.sd, self.loss)[0], unit_theta])

    def jacobian(self, unit_theta: np.ndarray) -> np.ndarray:
        """Return the Jacobian of `residuals`."""
        theta = self.values(unit_theta)
        slope = residual_shape(self.cents(theta) / self.sd, self.loss)[1]
        notes = -self.gradients(theta) * self.unit * (slope / self.sd)[:, None]
        return np.concatenate([notes, np.eye(len(theta))])

    def solve(self) -> OptimizeResult:
        """Minimise; ``x`` in units of the prior sd about the prior means."""
        limits = [
            (
                (p.prior.lower - p.prior.mean) / p.prior.sd,
                (p.prior.upper - p.prior.mean) / p.prior.sd,
            )
            for p in self.parameters
        ]
        return least_squares(
            self.residuals,
            np.zeros(len(self.parameters)),
            self.jacobian,
            bounds=tuple(zip(*limits, strict=True)),
            method="dogbox",  # steps to the optimum itself; trf creeps when limits are set
            xtol=1e-7,
            ftol=1e-9,
            gtol=1e-7,
        )
