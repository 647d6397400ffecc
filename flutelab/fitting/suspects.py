"""Rows and holes that do not fit: what each would explain, beside what chance would.

Nothing is left out of a calibration here; this only names what to look at.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import chdtri

from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.problem import Problem, hole_parameter

CHANCE = 0.01  # that anything at all is named in a table without a mistake
MOST = 4
ALIKE = 0.85  # of the best explanation's worth: named beside it


@dataclass(frozen=True, kw_only=True)
class Suspect:
    """A row or a hole that does not fit.

    ``table`` and ``index`` count from 0. ``amount``: a row's measured over predicted
    pitch when it is left out [cents], or a hole's diameter over the written one [m].
    ``worth`` = how much chi2 falls when the row is left out, or the hole's diameter
    refitted. ``or_else`` = others that explain nearly as much.
    """

    kind: str
    table: int
    index: int
    amount: float
    worth: float
    or_else: tuple[tuple[str, int, int], ...] = ()


def suspects(calibration: Calibration) -> tuple[Suspect, ...]:
    """Return the rows and holes that do not fit, most telling first.

    Parameters
    ----------
    calibration : Calibration

    Returns
    -------
    tuple of Suspect
        Empty where chance explains the residuals (1 % for the whole table).

    Notes
    -----
    Each row is left out, and each hole's diameter refitted, one at a time: the fall of
    chi2 follows from the Jacobian at the optimum. The best is taken up in a refit and
    the search repeated; one that a later find makes needless is dropped.
    """
    found: list[tuple[str, int, int]] = []
    worth_enough = _least_worth(calibration.problem)
    problem = _start(calibration.problem)
    others: dict[tuple[str, int, int], tuple[tuple[str, int, int], ...]] = {}
    fit = _Fit(problem)
    while len(found) < MOST:
        candidates = fit.candidates(found)
        if not candidates:
            break
        best = max(candidates, key=candidates.get)
        if candidates[best] < worth_enough:
            break
        others[best] = tuple(
            key for key, worth in candidates.items()
            if key != best and worth > ALIKE * candidates[best] and key not in found
        )  # fmt: skip
        found.append(best)
        fit = _Fit(_with(problem, found))
    return _judged(problem, found, others, worth_enough)


def _start(problem):
    return Problem(problem.tables, problem.parameters, problem.start, "linear")


def _least_worth(problem):
    holes = sum(len(t.measurements.flute.holes) for t in problem.tables)
    return float(chdtri(1, CHANCE / (len(problem.measured) + holes)))


def _with(problem, found):
    """The problem with suspicious rows left out and suspicious holes free."""
    tables = list(problem.tables)
    for kind, table, index in found:
        if kind == "row":
            kept = tables[table].kept.copy()
            kept[index] = False
            tables[table] = replace(tables[table], kept=kept)
    holes = tuple(hole_parameter(t, i) for kind, t, i in found if kind == "hole")
    return Problem(tuple(tables), (*problem.parameters, *holes), problem.start, "linear")


class _Fit:
    """An optimum with the matrices that tell what one more change would be worth."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        solution = problem.solve()
        self.chi2 = 2 * solution.cost
        self.theta = problem.mean + problem.unit * solution.x
        inside = solution.active_mask == 0
        jacobian = problem.jacobian(solution.x)[:, inside]
        count = len(problem.measured)
        self.z = problem.cents(self.theta) / problem.sd
        notes = jacobian[:count]
        self.left = np.eye(count) - notes @ np.linalg.solve(jacobian.T @ jacobian, notes.T)

    def candidates(self, found) -> dict[tuple[str, int, int], float]:
        """The fall of chi2 for each row left out and each hole refitted."""
        tables = self.problem.tables
        rows = [
            ("row", t, int(i)) for t, part in enumerate(tables) for i in np.flatnonzero(part.kept)
        ]
        worth = dict(zip(rows, self._worth(np.eye(len(rows))), strict=True))
        for table in range(len(tables)):
            by_hole = self.problem.hole_gradients(self.theta, table) / self.problem.sd[:, None]
            for hole, value in enumerate(self._worth(by_hole)):
                if ("hole", table, hole) not in found:
                    worth["hole", table, hole] = value
        return worth

    def _worth(self, columns):
        """(q.z)^2 / q.(1-H).q for columns q of a further unknown."""
        norm = np.einsum("nq,nm,mq->q", columns, self.left, columns)
        seen = norm > 1e-6 * np.maximum(np.einsum("nq,nq->q", columns, columns), 1e-30)
        return np.where(seen, (columns.T @ self.z) ** 2 / np.where(seen, norm, 1.0), 0.0)

    def amount(self, key) -> float:
        kind, table, index = key
        if kind == "hole":
            names = [(p.table, p.hole) for p in self.problem.parameters]
            return float(self.theta[names.index((table, index))])
        return _left_out_residual(self.problem, self.theta, table, index)


def _left_out_residual(problem, theta, table, index):
    part = problem.tables[table]
    only = np.zeros_like(part.kept)
    only[index] = True
    alone = tuple(
        replace(t, kept=only if n == table else np.zeros_like(t.kept))
        for n, t in enumerate(problem.tables)
    )
    return float(Problem(alone, problem.parameters, problem.start, "linear").cents(theta)[0])


def _judged(problem, found, others, worth_enough):
    """Each suspect's worth beside all the others; those no longer worth it are dropped."""
    while found:
        whole = _Fit(_with(problem, found))
        worth = {
            key: _Fit(_with(problem, [k for k in found if k != key])).chi2 - whole.chi2
            for key in found
        }
        least = min(worth, key=worth.get)
        if worth[least] >= worth_enough:
            break
        found = [key for key in found if key != least]
    if not found:
        return ()
    result = [
        Suspect(
            kind=key[0],
            table=key[1],
            index=key[2],
            amount=whole.amount(key),
            worth=float(worth[key]),
            or_else=others[key],
        )
        for key in found
    ]
    return tuple(sorted(result, key=lambda s: -s.worth))
