"""Where the doubt of a correction, or of a predicted note, comes from: a budget."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.freedom import coverage_factor, effective_freedom
from flutelab.fitting.phrases import name_of
from flutelab.fitting.unknowns import SESSION_SD, Parameter, by_geometry, notes_of
from flutelab.model.corrections import META
from flutelab.model.notes import pitch_gradient, predict_notes
from flutelab.model.rows import Rows, checked

# readings; common to a session's rows; common to the flute; the model's own error of each
# note; what was assumed of the corrections before the notes
PARTS = ("reading", "session", "geometry", "model", "assumed")
_BY_NAME = {"air_offset": "session", "breath": "session", "bore": "geometry"}
_CENTS = "cents"


@dataclass(frozen=True, kw_only=True, eq=False)
class Budget:
    """Doubt of M outputs, taken apart into what K quantities add to it.

    Parameters
    ----------
    of : tuple of M str
        The outputs: a correction, or, where `notes`, notes by their fingering.
    unit : str
        Of `sd` and `contribution`: the correction's, or cents.
    value : (M,)
        The correction, or the notes [Hz].
    sd : (M,)
        Combined standard uncertainty.
    freedom : (M,)
        Its effective degrees of freedom.
    quantity : tuple of K str
    part : tuple of K str
        One of `PARTS`.
    kind : tuple of K str
        ``A`` = by statistics of repeated readings, ``B`` = otherwise.
    quantity_unit : tuple of K str
    quantity_sd : (K,)
        Standard uncertainty of each quantity; of several readings their root mean square.
    sensitivity : (K, M)
        Output per unit of the quantity; of several readings the root of the sum of squares.
    contribution : (K, M)
        Standard uncertainty that the quantity adds to the output.
    cents : (K,)
        How far one unit of the quantity moves the fitted notes, root mean square; of readings
        each its own note.
    """

    of: tuple[str, ...]
    notes: bool
    unit: str
    value: np.ndarray
    sd: np.ndarray
    freedom: np.ndarray
    quantity: tuple[str, ...]
    part: tuple[str, ...]
    kind: tuple[str, ...]
    quantity_unit: tuple[str, ...]
    quantity_sd: np.ndarray
    sensitivity: np.ndarray
    contribution: np.ndarray
    cents: np.ndarray

    @property
    def share(self) -> np.ndarray:
        """Share of the output's variance, (K, M)."""
        return (self.contribution / self.sd) ** 2

    def part_sd(self, part: str) -> np.ndarray:
        """Return what one of `PARTS` adds to the outputs' sd, (M,)."""
        mine = np.array(self.part) == part
        return np.sqrt(np.sum(self.contribution[mine] ** 2, axis=0))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Sources:
    """What a fit's estimates answer to: readings and priors.

    ``by_reading`` (N, P), ``by_prior`` (P, P): the estimates' change [own unit] for one sd of
    each reading, of each prior. ``group`` of each reading: which of `names`, with
    their kind; ``freedom`` behind its sd.
    """

    by_reading: np.ndarray
    by_prior: np.ndarray
    sd: np.ndarray
    freedom: np.ndarray
    group: np.ndarray
    names: tuple[tuple[str, str], ...]


def part_of(parameter: Parameter) -> str:
    """Return which of `PARTS` an unknown's prior belongs to."""
    if parameter.session is not None:
        return "session"
    if parameter.note is not None:
        return "model"
    if parameter.quantities:
        return "geometry"
    return _BY_NAME.get(parameter.name, "assumed")


def covariance_parts(calibration: Calibration) -> dict[str, np.ndarray]:
    """Return the calibration's covariance in parts that sum to it, each (P, P).

    Parameters
    ----------
    calibration : Calibration

    Returns
    -------
    dict of str to (P, P)
        By `PARTS`: what the readings add, and what each kind of prior adds.

    Notes
    -----
    With N the notes' Jacobian over the readings' sd, unknowns in their prior's, and
    V = (N'N + 1)^-1, the estimates change by V N' for the readings and by V's own columns for
    the prior means, so that ::

        covariance = V (w^2 N'N) V + sum_k V[:, k] V[k, :] ,

    w the factor by which a fit with too much scatter widens its readings. This is the law of
    propagation, Eq. (13) of [1], without its correlations: all inputs are independent.

    References
    ----------
    .. [1] JCGM 100:2008, Evaluation of measurement data: Guide to the expression of
       uncertainty in measurement (from memory).
    """
    sources = _sources(calibration)
    parts = {"reading": sources.by_reading.T @ sources.by_reading}
    kinds = np.array([part_of(p) for p in calibration.parameters])
    for part in PARTS[1:]:
        mine = sources.by_prior[kinds == part]
        parts[part] = mine.T @ mine
    return parts


def budget(calibration: Calibration, of: str | Rows, *, table: int = 0) -> Budget:
    """Return what each quantity adds to the doubt of a correction, or of predicted notes.

    Parameters
    ----------
    calibration : Calibration
    of : str or Rows
        An unknown's name; or M notes of the flute of a `table`, as they will sound on another
        day: that day's air, breath and tuner err anew.
    table : int

    Returns
    -------
    Budget

    Raises
    ------
    ValueError
        No unknown has that name, or a note does not sound.

    Notes
    -----
    Laid out as table H.1 of [1]. The estimates' sensitivities are those of
    `covariance_parts`. A note that was not fitted brings an error of the model of its own.

    References
    ----------
    .. [1] JCGM 100:2008, clause 8 and annex H.1 (from memory).
    """
    sources = _sources(calibration)
    index = None if isinstance(of, Rows) else index_of(calibration, of)
    if index is None:
        value, gradient, further = _notes(calibration, checked(of), table)
        labels, unit = of.label, _CENTS
    else:
        gradient, further = np.zeros((1, len(calibration.parameters))), []
        gradient[0, index] = 1.0
        value, labels = calibration.value[[index]], (of,)
        unit = _unit_of(calibration.parameters[index])
    columns = [*_of_readings(sources, gradient), *_of_priors(calibration, sources, gradient)]
    columns += further
    contribution = np.array([column["contribution"] for column in columns])
    sd = np.sqrt(np.sum(contribution**2, axis=0))
    size = np.array([column["quantity_sd"] for column in columns])
    told = ("quantity", "part", "kind", "quantity_unit")
    return Budget(
        of=tuple(labels),
        notes=index is None,
        unit=unit,
        value=value,
        sd=sd,
        freedom=_freedom(calibration, sources, gradient, sd**2),
        **{name: tuple(column[name] for column in columns) for name in told},
        quantity_sd=size,
        sensitivity=contribution / size[:, None],
        contribution=contribution,
        cents=np.array([column["cents"] for column in columns]),
    )


def interval(calibration: Calibration, name: str, level: float = 0.68) -> tuple[float, float]:
    """Return the limits between which an unknown lies with a probability `level`.

    Parameters
    ----------
    calibration : Calibration
    name : str
    level : float
        Between 0 and 1.

    Raises
    ------
    ValueError
        No unknown has that name, or no such level.

    Notes
    -----
    value +- t sd, Student's t for the effective degrees of freedom of
    `Budget.freedom`; Eq. (G.1d) of JCGM 100:2008 (from memory).
    """
    index = index_of(calibration, name)
    half = coverage_factor(level, float(freedom_of(calibration, [index])[0]))
    half *= np.sqrt(calibration.covariance[index, index])
    return float(calibration.value[index] - half), float(calibration.value[index] + half)


def freedom_of(calibration: Calibration, index: Sequence[int]) -> np.ndarray:
    """Return the effective degrees of freedom of K unknowns, by number, (K,)."""
    index = np.asarray(index, dtype=int)
    gradient = np.eye(len(calibration.parameters))[index]
    variance = np.diag(calibration.covariance)[index]
    return _freedom(calibration, _sources(calibration), gradient, variance)


def reported_names(calibration: Calibration) -> list[str]:
    """Return the names of the reported corrections, each flute's own ones apart."""
    return [
        name_of(calibration.problem, p)
        for p in calibration.parameters
        if p.is_correction and p.name in calibration.free
    ]


def index_of(calibration: Calibration, name: str) -> int:
    """Return the number of the unknown of that name; see `flutelab.fitting.phrases.name_of`."""
    names = [name_of(calibration.problem, p) for p in calibration.parameters]
    if name not in names:
        known = [n for n, p in zip(names, calibration.parameters, strict=True) if p.is_correction]
        msg = f"no unknown of this fit is called {name!r}; the corrections are {', '.join(known)}"
        raise ValueError(msg)
    return names.index(name)


def _unit_of(parameter):
    if parameter.is_correction:
        return META[parameter.name]["unit"]
    return "m" if part_of(parameter) == "geometry" else _CENTS


def _sources(calibration):
    problem = calibration.problem
    x = (calibration.value - problem.mean) / problem.unit
    count = len(problem.measured)
    notes = problem.jacobian(x)[:count]
    inverse = np.linalg.inv(notes.T @ notes + np.eye(len(x)))
    freedom = np.concatenate([_behind(part) for part in problem.tables])
    if calibration.widened > 1:  # the scatter is that of the fit's own residuals
        freedom = np.full(count, float(count))
    readings = [
        (
            f"readings of session {part.measurements.session[row]}"
            + (f" of {part.measurements.source}" if len(problem.tables) > 1 else ""),
            table,
        )
        for table, part in enumerate(problem.tables)
        for row in np.flatnonzero(part.kept)
    ]
    kinds = np.where(np.isfinite(freedom), "A", "B").tolist()
    group = [(*reading, kind) for reading, kind in zip(readings, kinds, strict=True)]
    names = list(dict.fromkeys(group))
    return _Sources(
        by_reading=calibration.widened * -(notes @ inverse) * problem.unit,
        by_prior=inverse * problem.unit,
        sd=calibration.widened * problem.sd,
        freedom=freedom,
        group=np.array([names.index(name) for name in group]),
        names=tuple((name, kind) for name, _, kind in names),
    )


def _behind(part):
    """Degrees of freedom behind the sd of a table's fitted rows."""
    freedom = part.measurements.freedom
    return np.full(int(np.sum(part.kept)), np.inf) if freedom is None else freedom[part.kept]


def _of_readings(sources, gradient):
    """A quantity for the readings of each session."""
    moved = sources.by_reading @ gradient.T
    for number, (name, kind) in enumerate(sources.names):
        mine = sources.group == number
        yield {
            "quantity": f"{name} ({np.sum(mine)})",
            "part": "reading",
            "kind": kind,
            "quantity_unit": _CENTS,
            "quantity_sd": np.sqrt(np.mean(sources.sd[mine] ** 2)),
            "contribution": np.sqrt(np.sum(moved[mine] ** 2, axis=0)),
            "cents": 1.0,
        }


def _of_priors(calibration, sources, gradient):
    """A quantity for each prior."""
    problem = calibration.problem
    slopes = np.sqrt(np.mean(problem.gradients(calibration.value) ** 2, axis=0))
    moved = np.abs(sources.by_prior @ gradient.T)
    for p, contribution, cents in zip(problem.parameters, moved, slopes, strict=True):
        yield {
            "quantity": name_of(problem, p),
            "part": part_of(p),
            "kind": "B",
            "quantity_unit": _unit_of(p),
            "quantity_sd": p.prior.sd,
            "contribution": contribution,
            "cents": cents,
        }


def _freedom(calibration, sources, gradient, variance):
    """Effective freedom of outputs; the readings of a session share what is behind their sd."""
    moved = (sources.by_reading @ gradient.T) ** 2
    weighed = moved / np.sqrt(sources.freedom)[:, None]
    group = sources.group if calibration.widened == 1 else np.zeros_like(sources.group)
    shared = [np.sum(weighed[group == number], axis=0) for number in np.unique(group)]
    return effective_freedom(variance, np.stack(shared, axis=-1), 1.0)


def _notes(calibration, rows, table):
    """Notes of another day [Hz], their gradient (M, P), and what errs anew that day."""
    problem, theta = calibration.problem, np.array(calibration.value)
    flute = problem.tables[table].measurements.flute
    air = [i for i, p in enumerate(problem.parameters) if p.name == "air_offset"]
    usual = calibration.priors["air_offset"]
    theta[air] = usual.mean
    corrections = problem.corrections(theta, table)
    rows = replace(rows, register=np.maximum(rows.register, 1))
    notes = predict_notes(flute, rows, corrections)
    if not np.all(np.isfinite(notes.frequency)):
        row = int(np.argmin(np.isfinite(notes.frequency)))
        msg = f"no budget: {rows.label[row] or 'the bare pipe'}: {notes.reason[row]}"
        raise ValueError(msg)
    geometry = by_geometry(flute, rows, notes.root, corrections)
    linear = problem.linear_columns(table, rows, (None,) * len(rows), geometry)
    gradient = problem.gradient(theta, table, rows, notes.root, linear)
    by_air = pitch_gradient(flute, rows, notes.root, corrections, ("air_offset",))[:, 0]
    gradient[:, air] = 0.0
    fitted = {p.note: p.prior.sd for p in problem.parameters if p.note and p.concerns(table)}
    unknown = [note not in fitted for note in notes_of(rows, rows.register)]
    model = max(fitted.values(), default=0.0)
    of_the_day = [
        ("air of another day", "session", "K", usual.sd, np.abs(by_air)),
        ("breath and tuner of another day", "session", _CENTS, SESSION_SD, np.ones(len(rows))),
        ("model for a note not fitted", "model", _CENTS, model, np.array(unknown, dtype=float)),
    ]
    further = [
        {
            "quantity": name, "part": part, "kind": "B", "quantity_unit": unit,
            "quantity_sd": sd, "contribution": sd * slope, "cents": np.sqrt(np.mean(slope**2)),
        }
        for name, part, unit, sd, slope in of_the_day
        if sd > 0 and np.any(slope)
    ]  # fmt: skip
    return notes.frequency, gradient, further
