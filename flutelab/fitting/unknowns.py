"""The unknowns of a fit: corrections with their priors, and what else is uncertain."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from flutelab.fitting.assign import Assignment
from flutelab.fitting.measurements import Measurements
from flutelab.model.corrections import META, Corrections, Prior, default_priors
from flutelab.model.flute import Flute, Window, bore_diameter, hole_name
from flutelab.model.rows import Rows
from flutelab.model.sensitivities import quantity_gradient

SESSION_SD = 5.0  # cents, breath and tuner (common practice, no source)
MODEL_SD = 0.6  # cents: the worst note against finite elements (docs/model.md)
JET_SD = 20.0  # cents, blown against driven (estimate: half a doubling of the breath)
BORE_AIR_SD, ROOM_AIR_SD = 1.5, 3.0  # K (common practice, no source)
OF_A_DAY = ("air_offset",)  # own corrections that a flute's tables do not share


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """One unknown of a fit.

    A correction, of all tables (`table` is None) or of the `tables` of one flute or day, of
    which `table` is the first; or a nuisance: the offset of a `session` of a `table` [cents],
    the model's own error for a `note` (see `notes_of`) [cents], or an error [m] of the written
    geometry, `quantities` of `quantity_gradient` moving together, the last two common to the
    `tables` of one flute.
    """

    name: str
    prior: Prior
    table: int | None = None
    tables: tuple[int, ...] = ()
    session: str | None = None
    note: tuple | None = None
    quantities: tuple[str, ...] = ()

    @property
    def is_correction(self) -> bool:
        """Whether it is one of the corrections."""
        return not self.is_linear

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
    stated uncertainty replaces the usual one (1 %), and for several flutes the widest holds, a
    flute that states nothing counting with the usual one; the jet's pull is open only where
    rows were driven; `given` replaces any, `hold` fixes.
    """
    priors = default_priors()
    room = any(np.any(m.from_room) for m in measurements)
    priors["air_offset"] = replace(priors["air_offset"], sd=ROOM_AIR_SD if room else BORE_AIR_SD)
    if any(m.rows.driven is not None and np.any(m.rows.driven) for m in measurements):
        priors["jet"] = replace(priors["jet"], sd=JET_SD)
    usual = priors["bore"].sd
    sd = max((_bore_sd(m.flute, usual) for m in measurements), default=usual)
    priors["bore"] = replace(priors["bore"], sd=sd)
    priors |= {name: _within_limits(name, prior) for name, prior in (given or {}).items()}
    return {name: replace(p, sd=0.0) if name in hold else p for name, p in priors.items()}


def _bore_sd(flute, usual):
    """What a flute states of its bore, as a part of it; the usual where it states nothing."""
    stated = flute.uncertainty.bore
    return usual if stated is None else stated / bore_diameter(flute.bore, 0.0)


def _within_limits(name, prior):
    """A prior's limits, no wider than the correction's own."""
    limits = META[name]
    return replace(
        prior,
        lower=max(prior.lower, limits["lower"]),
        upper=min(prior.upper, limits["upper"]),
    )


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
            own_prior = {some: own_priors[some[0]][name] for some in groups}
            parameters += [  # a jet is as open where nothing was driven as if it were shared
                Parameter(name=name, prior=p if p.sd > 0 else prior, table=some[0], tables=some)
                for some, p in own_prior.items()
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


def by_geometry(
    flute: Flute, rows: Rows, root: np.ndarray, corrections: Corrections
) -> dict[str, np.ndarray]:
    """Return cents per metre (N,) of each quantity whose uncertainty the flute states."""
    names = list(dict.fromkeys(n for _, _, some in geometry_errors(flute) for n in some))
    if not names or not len(rows):
        return {}
    gradient = np.nan_to_num(quantity_gradient(flute, rows, root, corrections, names))
    return dict(zip(names, gradient.T, strict=True))
