"""A fit that leaves rows out where that is worth it: each costs a price in chi2."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from flutelab.fitting.problem import Problem, fit_candidates

ROUNDS = 3  # of fitting and choosing again


@dataclass(frozen=True, kw_only=True, eq=False)
class Around:
    """N rows that may be fitted, linear about some unknowns.

    ``cents`` (N,) measured over predicted there, nan where the row has no mode; ``off``
    (N,) what that would be at the prior means, in sd of a reading; ``spread`` (N, N)
    covariance of `off` before any note is known. ``problem`` and ``present`` (N,): the
    rows with a mode, and which they are.
    """

    problem: Problem
    theta: np.ndarray
    present: np.ndarray
    cents: np.ndarray
    off: np.ndarray
    spread: np.ndarray

    def column(self, cents: np.ndarray) -> np.ndarray:
        """Return cents of the rows present (M, ...) as sd of all rows (N, ...), 0 for others."""
        result = np.zeros((len(self.present), *cents.shape[1:]))
        result[self.present] = (cents.T / self.problem.sd).T
        return result


@dataclass(frozen=True, kw_only=True, eq=False)
class Trimmed:
    """An optimum: ``kept`` (N,) of the rows that may be fitted, each other one at a price.

    ``total`` is chi2 and the prices; ``around`` the rows about the optimum.
    """

    around: Around
    problem: Problem
    kept: np.ndarray
    chi2: float
    total: float

    @property
    def theta(self) -> np.ndarray:
        """The unknowns."""
        return self.around.theta


def asked_rows(problem: Problem, free: tuple[str, ...]) -> list[tuple[int, int]]:
    """Return (table, row) of the N rows that may be fitted, whether or not they can be."""
    return [
        (table, int(row))
        for table, part in enumerate(problem.tables)
        for row in np.flatnonzero(fit_candidates(part.measurements, free))
    ]


def only(problem: Problem, rows: list[tuple[int, int]], kept: np.ndarray) -> Problem:
    """Return the problem fitted to those of `rows` that are `kept` (N,)."""
    masks = [np.zeros(len(part.kept), bool) for part in problem.tables]
    for (table, row), is_kept in zip(rows, kept, strict=True):
        masks[table][row] = is_kept
    tables = tuple(replace(t, kept=m) for t, m in zip(problem.tables, masks, strict=True))
    return Problem(tables, problem.parameters, problem.start, "linear")


def around(
    problem: Problem,
    rows: list[tuple[int, int]],
    theta: np.ndarray,
    held: np.ndarray | bool = False,
) -> Around:
    """Return the rows, linear about the unknowns `theta`; those `held` (P,) stay there."""
    root = [part.assigned.root for part in problem.tables]
    present = np.array([np.isfinite(root[table][row]) for table, row in rows], dtype=bool)
    while True:
        some = only(problem, rows, present)
        cents = some.cents(theta)
        lost = ~np.isfinite(cents)
        if not np.any(lost):
            break
        present[np.flatnonzero(present)[lost]] = False
    count = len(rows)
    full, off, slopes = (
        np.full(count, np.nan),
        np.full(count, np.nan),
        np.zeros((count, len(theta))),
    )
    full[present] = cents
    slopes[present] = some.gradients(theta) * some.unit / some.sd[:, None]
    slopes = np.where(held, 0.0, slopes)
    off[present] = cents / some.sd
    off += slopes @ ((theta - some.mean) / some.unit)
    return Around(
        problem=some, theta=theta, present=present, cents=full, off=off,
        spread=np.eye(count) + slopes @ slopes.T,
    )  # fmt: skip


def choose(off: np.ndarray, spread: np.ndarray, price: float) -> tuple[np.ndarray, float]:
    """Return which of N rows to keep (N,), and their chi2 with the price of the others.

    Notes
    -----
    One row at a time is left out or taken back, while the total falls: of a kept row with
    K the inverse of the kept rows' covariance, chi2 falls by (K off)_i^2 / K_ii without it,
    the square of what its own prediction from the others leaves, in sd.
    """
    kept = np.isfinite(off)
    while True:
        inverse = np.linalg.inv(spread[np.ix_(kept, kept)])
        pulled = inverse @ off[kept]
        gain = np.full(len(off), -np.inf)
        gain[kept] = pulled**2 / np.diag(inverse) - price
        outside = np.isfinite(off) & ~kept
        if np.any(outside):
            cross = spread[np.ix_(outside, kept)]
            left = off[outside] - cross @ pulled
            own = np.diag(spread)[outside] - np.einsum("ok,kl,ol->o", cross, inverse, cross)
            gain[outside] = price - left**2 / own
        best = int(np.argmax(gain))
        if gain[best] <= 1e-9:
            return kept, float(off[kept] @ pulled + price * np.sum(~kept))
        kept = kept.copy()
        kept[best] = not kept[best]


def left_over(fit: Trimmed) -> np.ndarray:
    """Return the square of what each row leaves beside the others' prediction, in sd, (N,)."""
    near, kept = fit.around, fit.kept
    inverse = np.linalg.inv(near.spread[np.ix_(kept, kept)])
    cross = near.spread[:, kept]
    left = near.off - cross @ inverse @ near.off[kept]
    own = np.diag(near.spread) - np.einsum("ok,kl,ol->o", cross, inverse, cross)
    return np.where(kept, np.nan, left**2 / np.where(kept, 1.0, own))


def fit_trimmed(problem: Problem, rows: list[tuple[int, int]], price: float) -> Trimmed:
    """Fit what is worth keeping of the rows.

    Parameters
    ----------
    problem : Problem
    rows : list of (table, row)
        From `asked_rows`.
    price : float
        Of a row left out, in chi2.
    """
    near = around(problem, rows, problem.mean)
    kept, _ = choose(near.off, near.spread, price)
    for _ in range(ROUNDS):
        some = only(problem, rows, kept)
        solution = some.solve()
        at_limit = solution.active_mask != 0
        near = around(problem, rows, some.values(solution.x), at_limit)
        before, (kept, _) = kept, choose(near.off, near.spread, price)
        if np.array_equal(before, kept):
            break
    chi2 = 2 * float(solution.cost)
    total = chi2 + price * float(np.sum(~before))
    if total > price * len(rows):  # lost in a far corner: no row at all is cheaper
        before = np.zeros(len(rows), bool)
        near, some = around(problem, rows, problem.mean), only(problem, rows, before)
        chi2, total = 0.0, price * len(rows)
    return Trimmed(around=near, problem=some, kept=before, chi2=chi2, total=total)
