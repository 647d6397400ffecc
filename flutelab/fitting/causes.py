"""Mistakes that a flute file or a note table may hold, and the fit with each one mended."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.fitting.dimensions import resized
from flutelab.fitting.measurements import Measurements
from flutelab.fitting.problem import FitError, Problem, tables_of
from flutelab.fitting.unknowns import Parameter, notes_of, tables_by_flute
from flutelab.model.corrections import Prior
from flutelab.model.flute import RecordError
from flutelab.model.rows import Rows, rows
from flutelab.model.sensitivities import quantity_gradient

_FAMILY = {"octave": "row", "register": "row", "fingering": "row", "diameter": "diameter",
           "position": "position", "a4": "flat", "temperature": "flat"}  # fmt: skip
# m: so far off about as often the one as the other (estimate)
HOLE_SD = {"diameter": 0.6e-3, "position": 3e-3}
AIR_SD = 20.0  # K: under suspicion as good as free
A4 = (392.0, 415.0, 430.0, 432.0, 435.0, 442.0, 443.0, 445.0, 466.0)  # for 440 Hz
STANDARD_A4 = 440.0


@dataclass(frozen=True, kw_only=True)
class Cause:
    """A mistake that may have been made.

    ``what``: ``octave``, ``register``, ``fingering`` of row `index`; ``diameter``,
    ``position`` of hole `index`; ``ends`` (all fingerings written from the wrong end),
    ``sizes`` (holes' sizes listed from the wrong end), ``mirrored`` (holes listed and
    placed from the foot), ``inch`` (the dimension `name`); ``a4``, ``temperature``.
    ``tables`` it concerns. ``value``: the register; factor on frequency or dimension; the
    a4 the tuner stood at [Hz]; the metres a hole was moved or widened by so far.
    ``name``: the fingering played; the dimension.
    """

    what: str
    tables: tuple[int, ...]
    index: int = -1
    value: float = 0.0
    name: str = ""

    @property
    def family(self) -> str:
        """``row``, ``diameter``, ``position``, ``flat`` (a shift of all notes) or ``whole``."""
        return _FAMILY.get(self.what, "whole")

    @property
    def which(self) -> tuple:
        """What tells it from others: never two of one in a fit."""
        what = "flat" if self.family == "flat" else self.what
        return what, self.tables, self.index, self.name

    @property
    def of_hole(self) -> bool:
        """Whether it explains a hole by an amount that is fitted."""
        return self.what in HOLE_SD

    @property
    def quantity(self) -> str:
        """The name of a hole's quantity, as in `quantity_gradient`."""
        return f"hole_{self.index + 1}_{self.what}"


def suppose(problem: Problem, free: Sequence[str], causes: Sequence[Cause]) -> Problem | None:
    """Return a fit with mistakes mended; None where there is no such flute or no note.

    Parameters
    ----------
    problem : Problem
        Without a mistake mended.
    free : sequence of str
        As in `calibrate`.
    causes : sequence of Cause

    Notes
    -----
    All rows of changed tables get their modes anew. What a hole is off by is a further
    unknown, linear about the place or width it was moved to so far.
    """
    tables = list(problem.tables)
    try:
        for table in sorted({t for cause in causes for t in cause.tables}):
            mine = [cause for cause in causes if table in cause.tables]
            measured = tables[table].measurements
            for cause in mine:
                measured = mended(measured, cause)
            if measured is not tables[table].measurements:
                with already_warned():
                    tables[table] = tables_of((measured,), problem.start, free)[0]
            tables[table] = _with_holes(tables[table], mine, problem.start)
    except (RecordError, FitError):
        return None
    parameters = _with_notes(problem.parameters, tables)
    parameters = [_freed(p, causes) for p in parameters]
    parameters += [_off(cause) for cause in causes if cause.of_hole]
    return Problem(tuple(tables), tuple(parameters), problem.start, "linear")


def _with_holes(table, causes, start):
    names = [cause.quantity for cause in causes if cause.of_hole]
    if not names:
        return table
    m, assigned = table.measurements, table.assigned
    asked = replace(m.rows, register=assigned.register)
    columns = quantity_gradient(m.flute, asked, assigned.root, start, names)
    more = dict(zip(names, np.nan_to_num(columns).T, strict=True))
    return replace(table, by_geometry={**table.by_geometry, **more})


def _with_notes(parameters, tables):
    """The unknowns with a model error for each note that there now is."""
    sds = [p.prior.sd for p in parameters if p.note is not None]
    others = [p for p in parameters if p.note is None]
    for together in tables_by_flute(tables) if sds else ():
        notes = dict.fromkeys(
            note
            for table in together
            for note in notes_of(tables[table].measurements.rows, tables[table].assigned.register)
        )
        prior = Prior(name="model", mean=0.0, sd=sds[0])
        others += [Parameter(name="model", prior=prior, tables=together, note=n) for n in notes]
    return others


def _freed(parameter, causes):
    if parameter.name != "air_offset":
        return parameter
    if not any(c.what == "temperature" and parameter.concerns(c.tables[0]) for c in causes):
        return parameter
    return replace(parameter, prior=replace(parameter.prior, sd=AIR_SD))


def _off(cause):
    """What a hole is still off by; its prior stands where it was written."""
    prior = Prior(name=cause.quantity, mean=-cause.value, sd=HOLE_SD[cause.what])
    return Parameter(
        name=prior.name, prior=prior, tables=cause.tables, quantities=(cause.quantity,)
    )


# --- mending a table or its flute --------------------------------------------------------


def mended(measured: Measurements, cause: Cause) -> Measurements:
    """Return measurements with a mistake mended; a `temperature` is none of the table.

    Raises
    ------
    RecordError
        There is no such flute.
    """
    mend = _MENDS.get(cause.what)
    return mend(measured, cause) if mend else measured


def _octave(measured, cause):
    frequency = measured.frequency.copy()
    frequency[cause.index] *= cause.value
    return replace(measured, frequency=frequency)


def _register(measured, cause):
    register = np.array(measured.rows.register)
    register[cause.index] = int(cause.value)
    return replace(measured, rows=replace(measured.rows, register=register))


def _fingering(measured, cause):
    old = measured.rows
    played = rows(measured.flute, [cause.name], air=old.air)
    openness, drilled, label = np.array(old.openness), np.array(old.drilled), list(old.label)
    openness[cause.index], drilled[cause.index] = played.openness[0], played.drilled[0]
    label[cause.index] = cause.name
    changed = replace(old, openness=openness, drilled=drilled, label=tuple(label))
    return replace(measured, rows=changed)


def _ends(measured, _):
    return replace(measured, rows=turned(measured.rows))


def turned(some: Rows) -> Rows:
    """Return rows with their fingerings read from the other end."""
    return replace(
        some,
        openness=some.openness[:, ::-1],
        drilled=some.drilled[:, ::-1],
        label=tuple(word[::-1] for word in some.label),
    )


def _sizes(measured, _):
    holes = measured.flute.holes
    swapped = tuple(
        replace(other, position=hole.position)
        for hole, other in zip(holes, holes[::-1], strict=True)
    )
    return _other_holes(measured, swapped)


def _mirrored(measured, _):
    flute = measured.flute
    holes = (replace(h, position=flute.foot.position - h.position) for h in flute.holes[::-1])
    return _other_holes(measured, tuple(holes))


def _other_holes(measured, holes):
    """The holes in the other order; rows with diameters of their own turn them too."""
    some = measured.rows
    if some.diameter is not None:
        some = replace(some, diameter=some.diameter[:, ::-1])
    return replace(measured, rows=some, flute=replace(measured.flute, holes=holes))


def _hole(measured, cause):
    flute, some = measured.flute, measured.rows
    if cause.value == 0:
        return measured
    hole = flute.holes[cause.index]
    moved = replace(hole, **{cause.what: getattr(hole, cause.what) + cause.value})
    if some.diameter is not None:
        ratio = np.ones(len(flute.holes))
        ratio[cause.index] = moved.diameter / hole.diameter
        some = replace(some, diameter=some.diameter * ratio)
    holes = (*flute.holes[: cause.index], moved, *flute.holes[cause.index + 1 :])
    return replace(measured, rows=some, flute=replace(flute, holes=holes))


def _inch(measured, cause):
    return replace(measured, flute=resized(measured.flute, cause.name, cause.value))


def _a4(measured, cause):
    return replace(measured, frequency=measured.frequency * cause.value / STANDARD_A4)


_MENDS: dict[str, Callable[[Measurements, Cause], Measurements]] = {
    "octave": _octave,
    "register": _register,
    "fingering": _fingering,
    "ends": _ends,
    "sizes": _sizes,
    "mirrored": _mirrored,
    "inch": _inch,
    "a4": _a4,
    "diameter": _hole,
    "position": _hole,
}
