"""What moves all fitted notes alike, and so is never told apart by them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from flutelab.errors import already_warned
from flutelab.fitting.phrases import name_of, noun_of
from flutelab.fitting.problem import Problem, subset
from flutelab.fitting.unknowns import tables_by_flute
from flutelab.model.sensitivities import sensitivities

ALIKE = 0.999  # cosine between two columns of cents, from which they are one
_FAINT = 0.05  # cents a prior sd, below which nothing is compared
_SIZE = {"m": 1e-4, "rad": 0.01}  # of an error of geometry, to see whether it is heard
# corrections that are an error of geometry, not only like one
_SAME = {("bore", "bore_diameter"), ("wall", "hole_walls")}


@dataclass(frozen=True, kw_only=True)
class Twin:
    """A correction and something else that move all fitted notes alike.

    One prior sd of the ``correction`` (noun in ``said``) is ``amount`` [``unit``] of the
    ``other``; ``cosine`` = between their columns of cents.
    """

    correction: str
    said: str
    other: str
    amount: float
    unit: str
    cosine: float


def different_notes(problem: Problem) -> set[tuple[tuple[str, int], int]]:
    """Return the different fitted notes: word and register, and the first table of the flute."""
    return {
        ((part.measurements.rows.label[row], int(part.assigned.register[row])), together[0])
        for together in tables_by_flute(_measured(problem))
        for part in (problem.tables[table] for table in together)
        for row in np.flatnonzero(part.kept)
    }


def _measured(problem):
    return [part.measurements for part in problem.tables]


class _Column(NamedTuple):
    """Cents over sd of each fitted note for `size` [unit] of something; `order` to compare by."""

    name: str
    said: str
    unit: str
    size: float
    cents: np.ndarray
    order: int


def twins_of(problem: Problem, theta: np.ndarray) -> Iterator[Twin]:
    """Yield the pairs that the fitted notes do not tell apart, the corrections in their order.

    Parameters
    ----------
    problem : Problem
    theta : (P,)
        The unknowns.

    Notes
    -----
    The cosine between two columns of cents over the readings' sd is 0.999 or more either way.
    Compared are all corrections, the sessions, and the geometry of each flute (see
    `flutelab.model.sensitivities`), all places along it together as well. A correction that
    acts on one note alone is like everything, and is passed over.
    """
    columns = problem.gradients(theta) * problem.unit / problem.sd[:, None]
    others = [*_unknowns(problem, columns), *_geometry(problem, theta)]
    others = [other for other in others if _loudest(problem, other.cents) >= _FAINT]
    for one in others:
        p = problem.parameters[one.order] if one.order < columns.shape[1] else None
        if p is None or not p.is_correction or _notes_of(problem, p) < 2:
            continue
        for two in others:
            if two.order <= one.order or (p.name, two.name) in _SAME:
                continue
            along = one.cents @ two.cents
            cosine = along / (np.linalg.norm(one.cents) * np.linalg.norm(two.cents))
            if abs(cosine) >= ALIKE:
                yield Twin(
                    correction=one.name, said=one.said, other=two.said, unit=two.unit,
                    amount=float(two.size * along / (two.cents @ two.cents)),
                    cosine=float(cosine),
                )  # fmt: skip


def _unknowns(problem, columns):
    """The corrections and the sessions; errors of geometry come from the flutes themselves."""
    for i, (p, cents) in enumerate(zip(problem.parameters, columns.T, strict=True)):
        name, said = name_of(problem, p), noun_of(problem, p)
        if p.session is not None:
            yield _Column(name, said, "cents", problem.unit[i], cents, i)
        elif p.is_correction:
            yield _Column(name, said, "prior sd", 1.0, cents, i)


def _loudest(problem, column):
    return np.max(np.abs(column) * problem.sd)


def _notes_of(problem, p):
    """How many different fitted notes an unknown may act on."""
    flutes = tables_by_flute(_measured(problem))
    concerned = {together[0] for together in flutes if any(map(p.concerns, together))}
    return sum(table in concerned for _, table in different_notes(problem))


def _geometry(problem, theta):
    """Errors of geometry of each flute."""
    counts = [int(np.sum(part.kept)) for part in problem.tables]
    begin = np.concatenate([[0], np.cumsum(counts)])
    for together in tables_by_flute(_measured(problem)):
        columns: dict[tuple, np.ndarray] = {}
        for table in together:
            own = slice(begin[table], begin[table + 1])
            for key, cents in _by_quantity(problem, theta, table):
                column = columns.setdefault(key, np.zeros(begin[-1]))
                column[own] = np.nan_to_num(cents) * _SIZE[key[2]] / problem.sd[own]
        flute = problem.tables[together[0]].measurements.flute.name
        of = "" if len(together) == len(problem.tables) else f" of {flute!r}"
        for (name, what, unit), column in columns.items():
            yield _Column(name, what + of, unit, _SIZE[unit], column, len(problem.parameters))


def _by_quantity(problem, theta, table):
    """((name, words, unit), cents per unit of the table's fitted notes)."""
    part = problem.tables[table]
    flute, some = part.measurements.flute, part.measurements.rows
    if not np.any(part.kept):
        return
    asked = subset(some, part.kept, part.assigned.register)
    with already_warned():
        found = sensitivities(flute, asked, problem.corrections(theta, table))
    keys = list(zip(found.names, found.what, found.unit, found.group, strict=True))
    for (name, what, unit, group), cents in zip(keys, found.gradient.T, strict=True):
        if group not in ("air", "corrections"):
            yield (name, what, unit), cents
    if flute.holes:
        placed = [
            i for i, key in enumerate(keys) if key[3] == "places" or key[0] == "foot_position"
        ]
        everywhere = found.gradient[:, placed].sum(axis=1)
        yield ("every_place", "all places along the pipe together", "m"), everywhere
