"""The fit's unknowns and residuals: what is fitted to which rows, and the way there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import OptimizeResult, least_squares

from flutelab.errors import already_warned
from flutelab.fitting.assign import Assignment, assign
from flutelab.fitting.measurements import Measurements
from flutelab.model.chain import chain
from flutelab.model.corrections import META, Corrections, Prior, default_priors
from flutelab.model.flute import Flute, Window, bore_diameter, hole_name
from flutelab.model.modes import at, newton
from flutelab.model.notes import CENT, diameter_gradient, pitch_gradient, played_cents
from flutelab.model.rows import Rows, distinct, take
from flutelab.model.sensitivities import quantity_gradient

SESSION_SD = 5.0  # cents, breath and tuner (common practice, no source)
MODEL_SD = 0.6  # cents: the worst note against finite elements (docs/model.md)
JET_SD = 20.0  # cents, blown against driven (estimate: half a doubling of the breath)
BORE_AIR_SD, ROOM_AIR_SD = 1.5, 3.0  # K (common practice, no source)
OF_A_DAY = ("air_offset",)  # own corrections that a flute's tables do not share
HOLE_SD = 2e-3  # m: a hole's diameter under suspicion is as good as free
HUBER_CORNER = 2.0  # sd
REFUSED = 1e3  # residual of a step that loses a mode, in sd
LARGEST_STEP = 0.2  # of ln f, while a root is followed


class FitError(ValueError):
    """No note can be fitted; the message names each row's reason."""


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """One unknown of a fit.

    A correction, of all tables (`table` is None) or of the `tables` of one flute or day, of
    which `table` is the first; or a nuisance: the offset of a `session` of a `table` [cents],
    the model's own error for a `note` (see `notes_of`) [cents], or an error [m] of the written
    geometry, `quantities` of `quantity_gradient` moving together, the last two common to the
    `tables` of one flute; or the diameter error of a `hole` under suspicion [m].
    """

    name: str
    prior: Prior
    table: int | None = None
    tables: tuple[int, ...] = ()
    session: str | None = None
    note: tuple | None = None
    quantities: tuple[str, ...] = ()
    hole: int | None = None

    @property
    def is_correction(self) -> bool:
        """Whether it is one of the corrections."""
        return self.hole is None and not self.is_linear

    @property
    def is_linear(self) -> bool:
        """Whether its column of the Jacobian stays as it is: session, note, geometry."""
        return self.session is not None or self.note is not None or bool(self.quantities)

    def concerns(self, table: int) -> bool:
        """Whether it acts on rows of a table."""
        return table in self.tables if self.tables else self.table in (None, table)


@dataclass(frozen=True, kw_only=True, eq=False)
class Table:
    """One table's part of a fit: which of its N rows are fitted, and their modes.

    ``by_geometry``: cents per metre, (N,), of each quantity whose uncertainty is stated.
    """

    measurements: Measurements
    assigned: Assignment
    kept: np.ndarray
    by_geometry: Mapping[str, np.ndarray] = field(default_factory=dict)


def usual_priors(
    measurements: Sequence[Measurements],
    given: Mapping[str, Prior] | None = None,
    hold: Sequence[str] = (),
) -> dict[str, Prior]:
    """Return the priors of all corrections for some tables.

    The air's sd is 1.5 K where every row was measured in the bore, else 3 K; a bore's
    stated uncertainty replaces the usual one; the jet's pull is open only where rows were
    driven; `given` replaces any, `hold` fixes.
    """
    priors = default_priors()
    room = any(np.any(m.from_room) for m in measurements)
    priors["air_offset"] = replace(priors["air_offset"], sd=ROOM_AIR_SD if room else BORE_AIR_SD)
    if any(m.rows.driven is not None and np.any(m.rows.driven) for m in measurements):
        priors["jet"] = replace(priors["jet"], sd=JET_SD)
    stated = [
        m.flute.uncertainty.bore / bore_diameter(m.flute.bore, 0.0)
        for m in measurements
        if m.flute.uncertainty.bore is not None
    ]
    if stated:
        priors["bore"] = replace(priors["bore"], sd=max(stated))
    priors |= {name: _within_limits(name, prior) for name, prior in (given or {}).items()}
    return {name: replace(p, sd=0.0) if name in hold else p for name, p in priors.items()}


def _within_limits(name, prior):
    """A prior's limits, no wider than the correction's own."""
    limits = META[name]
    return replace(
        prior,
        lower=max(prior.lower, limits["lower"]),
        upper=min(prior.upper, limits["upper"]),
    )


def fit_candidates(measured: Measurements, free: Sequence[str]) -> np.ndarray:
    """Return which rows may be fitted (N,): their use is `fit` and their breath serves."""
    pressure = measured.rows.breath
    known = np.zeros(len(measured.rows), bool) if pressure is None else np.isfinite(pressure)
    usual = np.array([not why for why in measured.apart], dtype=bool)
    return (np.array(measured.use) == "fit") & (usual | (known & ("breath" in free)))


def reference_pressures(tables: Sequence[Table]) -> dict[str, float | None]:
    """Return the geometric mean pressures [Pa] of the rows fitted, of each kind of register.

    Overblowing takes more breath: measured against one mean for all, it would count as hard
    blowing. None where no pressure is known.
    """
    register, pressure = [np.zeros(0)], [np.zeros(0)]
    for table in tables:
        breath = table.measurements.rows.breath
        if breath is not None:
            known = table.kept & np.isfinite(breath)
            register.append(table.assigned.register[known])
            pressure.append(breath[known])
    above, logarithm = np.concatenate(register) >= 2, np.log(np.concatenate(pressure))

    def mean(some):
        return float(np.exp(np.mean(some))) if some.size else None

    return {
        "reference_pressure": mean(logarithm[~above]),
        "overblown_pressure": mean(logarithm[above]),
    }


def parameters_of(
    tables: Sequence[Table],
    priors: Mapping[str, Prior],
    own_priors: Sequence[Mapping[str, Prior]],
    own: Sequence[str],
    *,
    breath_known: bool,
    model_sd: float = MODEL_SD,
) -> tuple[Parameter, ...]:
    """Return the unknowns: corrections with a prior sd, then what adds cents to rows.

    These are one offset a session, one error of the model a note and flute, and the errors
    of geometry that each flute states.
    """
    parameters = []
    by_flute = tables_by_flute(tables)
    each_table = [(table,) for table in range(len(tables))]
    for name, prior in priors.items():
        if prior.sd == 0 or (name == "breath" and not breath_known):
            continue
        if name in own:
            groups = each_table if name in OF_A_DAY else by_flute
            parameters += [
                Parameter(name=name, prior=own_priors[some[0]][name], table=some[0], tables=some)
                for some in groups
            ]
        else:
            parameters.append(Parameter(name=name, prior=prior))
    for table, part in enumerate(tables):
        for session in dict.fromkeys(part.measurements.session):
            name = f"session {session}"
            parameters.append(
                Parameter(name=name, prior=_zero(name, SESSION_SD), table=table, session=session)
            )
    for together in by_flute:
        parameters += _of_the_flute(tables, together, model_sd)
    return tuple(parameters)


def _zero(name, sd):
    return Prior(name=name, mean=0.0, sd=sd)


def tables_by_flute(tables: Sequence[Table | Measurements]) -> tuple[tuple[int, ...], ...]:
    """Return the numbers of the tables that belong to one flute, for each flute."""
    parts = [t.measurements if isinstance(t, Table) else t for t in tables]
    groups: list[list[int]] = []
    for table, part in enumerate(parts):
        for group in groups:
            if parts[group[0]].flute == part.flute:
                group.append(table)
                break
        else:
            groups.append([table])
    return tuple(map(tuple, groups))


def _of_the_flute(tables, together, model_sd):
    """One unknown for each note's model error and each error of the written geometry."""
    notes = dict.fromkeys(
        note
        for table in together
        for note in notes_of(tables[table].measurements.rows, tables[table].assigned.register)
    )
    for note in notes if model_sd > 0 else ():
        name = f"model for {note[0] or 'the bare pipe'}, register {note[1]}"
        yield Parameter(name=name, prior=_zero(name, model_sd), tables=together, note=note)
    for name, sd, quantities in geometry_errors(tables[together[0]].measurements.flute):
        yield Parameter(name=name, prior=_zero(name, sd), tables=together, quantities=quantities)


def notes_of(rows: Rows, register: np.ndarray) -> list[tuple]:
    """Return what makes rows the same note to the model: word, register, hole diameters."""
    diameter = [()] * len(rows) if rows.diameter is None else map(tuple, rows.diameter.tolist())
    return list(zip(rows.label, np.asarray(register).tolist(), diameter, strict=True))


def geometry_errors(flute: Flute) -> list[tuple[str, float, tuple[str, ...]]]:
    """Return the stated errors of a flute's geometry: words, sd [m], what moves together.

    The bore's stated error is the prior of the correction `bore`.
    """
    stated, count = flute.uncertainty, len(flute.holes)
    window = isinstance(flute.head, Window)
    walls = (("hole_walls",) if count else ()) + (("window_wall",) if window else ())
    errors = [("wall", stated.wall, walls), ("length", stated.length, ("foot_position",))]
    if window:
        errors += [
            (f"window {way} the pipe", stated.window, (f"window_{way}",))
            for way in ("along", "across")
        ]
    for key, sd in (("position", stated.hole_place), ("diameter", stated.hole_diameter)):
        what = "place" if key == "position" else key
        errors += [
            (f"{hole_name(i, count)}: {what}", sd, (f"hole_{i + 1}_{key}",)) for i in range(count)
        ]
    return [(f"caliper, {name}", sd, some) for name, sd, some in errors if sd is not None and some]


def hole_parameter(table: int, hole: int) -> Parameter:
    """Return a hole's diameter error as an unknown that is as good as free."""
    prior = Prior(name=f"hole {hole + 1} diameter", mean=0.0, sd=HOLE_SD)
    return Parameter(name=prior.name, prior=prior, table=table, hole=hole)


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


def by_geometry(
    flute: Flute, rows: Rows, root: np.ndarray, corrections: Corrections
) -> dict[str, np.ndarray]:
    """Return cents per metre (N,) of each quantity whose uncertainty the flute states."""
    names = list(dict.fromkeys(n for _, _, some in geometry_errors(flute) for n in some))
    if not names or not len(rows):
        return {}
    gradient = np.nan_to_num(quantity_gradient(flute, rows, root, corrections, names))
    return dict(zip(names, gradient.T, strict=True))


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

    def rows_at(self, theta: np.ndarray, table: int, rows: Rows) -> Rows:
        """Return rows with the diameters of holes under suspicion."""
        holes = [
            (p.hole, value)
            for p, value in zip(self.parameters, theta, strict=True)
            if p.hole is not None and p.table == table
        ]
        if not holes:
            return rows
        flute = self.tables[table].measurements.flute
        written = rows.diameter
        if written is None:
            written = np.tile([h.diameter for h in flute.holes], (len(rows), 1))
        diameter = np.array(written)
        for hole, value in holes:
            diameter[:, hole] = np.maximum(diameter[:, hole] + value, 0.1 * written[:, hole])
        return replace(rows, diameter=diameter)

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
            rows = self.rows_at(theta, table, self._rows[table])
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
        rows = self.rows_at(theta, table, rows)
        flute = self.tables[table].measurements.flute
        mine = [i for i, p in enumerate(self.parameters) if p.concerns(table)]
        fitted = [i for i in mine if self.parameters[i].is_correction]
        names = [self.parameters[i].name for i in fitted]
        result[:, fitted] = pitch_gradient(flute, rows, roots, corrections, names)
        holes = [i for i in mine if self.parameters[i].hole is not None]
        if holes:
            by_hole = diameter_gradient(flute, rows, roots, corrections)
            result[:, holes] = by_hole[:, [self.parameters[i].hole for i in holes]]
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

    def hole_gradients(self, theta: np.ndarray, table: int) -> np.ndarray:
        """Return d(predicted cents)/d(hole diameter) of the fitted rows, (rows, holes)."""
        counts = [len(rows) for rows in self._rows]
        flute = self.tables[table].measurements.flute
        result = np.zeros((sum(counts), len(flute.holes)))
        if flute.holes and counts[table]:
            begin = sum(counts[:table])
            rows = self.rows_at(theta, table, self._rows[table])
            result[begin : begin + counts[table]] = diameter_gradient(
                flute, rows, self._roots[table], self.corrections(theta, table)
            )
        return result

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
