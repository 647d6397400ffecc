"""How notes that are not read yet would move with the unknowns of a fit, and with new ones."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.fitting.calibrate import OWN, Calibration
from flutelab.fitting.candidate import Reading
from flutelab.fitting.information import Information, Lines, informed
from flutelab.fitting.measurements import ASSUMED_ABOVE, ASSUMED_FIRST
from flutelab.fitting.problem import residual_shape
from flutelab.fitting.unknowns import JET_SD, SESSION_SD, by_geometry, geometry_errors, notes_of
from flutelab.model.notes import pitch_gradient, predict_notes
from flutelab.model.rows import Rows, rows

JET = ("jet",)  # key of its pull, where that is no unknown of the fit


class Foreseen:
    """A calibration ready to be asked about notes to come.

    ``known`` = what its notes tell; ``known_apart`` = the same when the jet's pull is an
    unknown of its own (the key `JET`) that every blown note has, so that the window is the
    window's alone; None where the fit has or holds it, or has driven notes.
    """

    def __init__(self, calibration: Calibration) -> None:
        self.problem, self.theta = calibration.problem, np.asarray(calibration.value)
        problem, widened = self.problem, calibration.widened
        count = len(problem.measured)
        jacobian = -problem.jacobian((self.theta - problem.mean) / problem.unit)[:count]
        self.known = informed(jacobian, widened)
        self.known_apart: Information | None = None
        names = [*calibration.held, *(p.name for p in problem.parameters)]
        any_driven = any(_driven(part.measurements.rows) for part in problem.tables)
        if "jet" not in names and not any_driven:
            slope = residual_shape(problem.cents(self.theta) / problem.sd, problem.loss)[1]
            pull = JET_SD * slope / problem.sd
            self.known_apart = replace(
                informed(np.column_stack([jacobian, pull]), widened), keys=(JET,)
            )
        self._model_sd = next((p.prior.sd for p in problem.parameters if p.note is not None), 0.0)

    def of_readings(self, readings: Sequence[Reading]) -> tuple[Lines, np.ndarray]:
        """Return the lines of N readings, and which of them sound (N,); the others' are nan.

        Readings on one flute are worked out in one go. Their further unknowns are those
        that `calibrate` would add for them.
        """
        count = len(readings)
        gradient = np.full((count, len(self.theta)), np.nan)
        more: dict[Hashable, np.ndarray] = {}
        sounds = np.zeros(count, dtype=bool)
        groups: dict[tuple, list[int]] = {}
        for n, reading in enumerate(readings):
            groups.setdefault((reading.flute, reading.table, reading.same_pipe), []).append(n)
        for index in groups.values():
            some = [readings[n] for n in index]
            gradient[index], columns, sounds[index] = self._of_flute(some)
            for key, column in columns.items():
                more.setdefault(key, np.zeros(count))[index] = column
        sd = np.array([self._sd(reading) for reading in readings])
        return Lines(gradient=gradient, more=more, sd=sd), sounds

    def of_notes(self, asked: Rows, table: int) -> tuple[Lines, np.ndarray]:
        """Return the lines of N notes of a table's flute at that very air and usual breath."""
        first = replace(asked, register=np.maximum(asked.register, 1), breath=None)
        gradient, more, sounds = self._own_flute(table, first, [None] * len(asked))
        of_a_day = [i for i, p in enumerate(self.problem.parameters) if _of_a_day(p)]
        gradient[:, of_a_day] = 0.0
        more = {key: column for key, column in more.items() if key[0] != "session"}
        return Lines(gradient=gradient, more=more, sd=np.ones(len(asked))), sounds

    def _of_flute(self, some):
        """(gradient, further columns, which sound) of readings on one flute."""
        table, flute = some[0].table, some[0].flute
        part = self.problem.tables[table]
        last = int(np.flatnonzero(part.kept)[-1])
        asked = rows(
            flute, [r.word for r in some], air=_air_of(part.measurements.rows, last),
            register=[r.register for r in some],
        )  # fmt: skip
        asked = replace(asked, driven=np.array([r.driven for r in some]))
        if flute != part.measurements.flute:
            return self._other_flute(table, flute, asked, same_pipe=some[0].same_pipe)
        written = part.measurements.rows.diameter
        if written is not None:
            asked = replace(asked, diameter=np.tile(written[last], (len(some), 1)))
        return self._own_flute(table, asked, [r.session for r in some])

    def _own_flute(self, table, asked, sessions):
        problem = self.problem
        flute = problem.tables[table].measurements.flute
        corrections = problem.corrections(self.theta, table)
        with already_warned():
            found = predict_notes(flute, asked, corrections)
            geometry = by_geometry(flute, asked, found.root, problem.start)
            linear = problem.linear_columns(table, asked, sessions, geometry)
            gradient = problem.gradient(self.theta, table, asked, found.root, linear)
        new = np.array([session is None for session in sessions], dtype=float)
        more = {("session", table): SESSION_SD * new} if np.any(new) else {}
        known = {p.note for p in problem.parameters if p.note is not None and p.concerns(table)}
        more |= self._model_errors(asked, flute.name, known)
        more |= _pull(asked)
        return gradient * problem.unit, more, found.status == "ok"

    def _other_flute(self, table, flute, asked, *, same_pipe):
        """As `_own_flute`; what each flute has for itself is new, but the bore of one pipe."""
        problem = self.problem
        mine = [
            i for i, p in enumerate(problem.parameters) if p.is_correction and p.concerns(table)
        ]
        names = [problem.parameters[i].name for i in mine]
        corrections = problem.corrections(self.theta, table)
        with already_warned():
            found = predict_notes(flute, asked, corrections)
            each = pitch_gradient(flute, asked, found.root, corrections, names)
            geometry = by_geometry(flute, asked, found.root, problem.start)
        gradient = np.zeros((len(asked), len(self.theta)))
        more = {("session", flute.name): np.full(len(asked), SESSION_SD)}
        for i, name, column in zip(mine, names, (each * problem.unit[mine]).T, strict=True):
            own = name in OWN or problem.parameters[i].table is not None
            if own and not (name == "bore" and same_pipe):
                more[name, flute.name] = column
            else:
                gradient[:, i] = column
        for name, sd, quantities in geometry_errors(flute):
            more[name, flute.name] = sd * sum(geometry[quantity] for quantity in quantities)
        more |= self._model_errors(asked, flute.name, set())
        more |= _pull(asked)
        return gradient, more, found.status == "ok"

    def _model_errors(self, asked, flute, known):
        """The model's own error of each note that the fit has not seen."""
        notes = notes_of(asked, asked.register)
        new = [note for note in dict.fromkeys(notes) if note not in known]
        if not self._model_sd:
            return {}
        return {
            ("model", flute, note): self._model_sd * np.array([one == note for one in notes])
            for note in new
        }

    def _sd(self, reading):
        """What a reading is good to: as those of its note, else of its register, else assumed."""
        part = self.problem.tables[reading.table]
        m, register = part.measurements, part.assigned.register
        same = np.array([word == reading.word for word in m.rows.label])
        alike = part.kept & ((register > 1) == (reading.register > 1))
        for some in (same & alike, alike):
            if np.any(some):
                return float(np.median(m.sd[some]))
        return ASSUMED_ABOVE if reading.register > 1 else ASSUMED_FIRST


def parted(lines: Lines, apart: bool) -> Lines:
    """Return lines with the jet's pull as an unknown, or without: the window as played."""
    if apart:
        return lines
    more = {key: column for key, column in lines.more.items() if key != JET}
    return replace(lines, more=more)


def some_of(lines: Lines, index: Iterable[int]) -> Lines:
    """Return some of the lines, without the further unknowns that those do not move with."""
    index = list(index)
    more = {key: column[index] for key, column in lines.more.items()}
    return replace(
        lines,
        gradient=lines.gradient[index],
        more={key: column for key, column in more.items() if np.any(column != 0)},
        sd=lines.sd[index],
    )


def _pull(asked):
    """The jet's pull on blown rows."""
    blown = np.ones(len(asked)) if asked.driven is None else 1.0 - asked.driven
    return {JET: JET_SD * blown}


def _driven(some):
    return some.driven is not None and bool(np.any(some.driven))


def _of_a_day(p):
    return p.session is not None or p.name == "air_offset"


def _air_of(some: Rows, row):
    leaves = {k: v[row] if np.ndim(v) else v for k, v in vars(some.air).items()}
    with already_warned():
        return type(some.air)(**leaves)
