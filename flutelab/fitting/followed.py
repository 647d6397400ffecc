"""The notes of many nearly equal flutes at once, their modes followed from one fit's."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.fitting.problem import Problem
from flutelab.model.chain import chain
from flutelab.model.notes import CENT, PLAYED, played_cents
from flutelab.model.roots import at, condition
from flutelab.model.rows import distinct, take

BLOCK = 4000  # modes solved together, about 40 MB
LONGEST = 0.01  # of the frequency: a longer step is no step to the same mode
_STEP = 1e-6  # relative, of a frequency, for a slope


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """B times N notes of a table, and the modes of its U different air columns.

    ``cents`` (B, N) over the fit's; ``off`` (B,) the longest step to a mode [cents]; ``root``
    and ``slope`` (B, U) complex: the mode [Hz] and d(condition)/df there.
    """

    cents: np.ndarray
    off: np.ndarray
    root: np.ndarray
    slope: np.ndarray


class Followed:
    """One table's fitted notes (N), ready to be followed to other unknowns.

    Parameters
    ----------
    problem : Problem
        Last asked for at `theta`.
    table : int
    theta : (P,)
        The fit.
    turned : (N, P)
        d(Im ln root)/d(unknown): how the modes' damping changes.
    """

    def __init__(self, problem: Problem, table: int, theta: np.ndarray, turned: np.ndarray) -> None:
        self._problem, self._table = problem, table
        rows, root = problem.fitted_rows(table), problem.roots(table)
        index, self._inverse = distinct(rows, root.real, root.imag)
        self._rows, self._root = take(rows, index), root[index]
        self._turned = turned[index]
        self._steady = problem.own_columns(table, problem.tables[table].kept).copy()
        whole = problem.corrections(theta, table)
        for i, p in enumerate(problem.parameters):
            if p.is_correction and p.name in PLAYED and p.concerns(table):
                alone = replace(whole, **(dict.fromkeys(PLAYED, 0.0) | {p.name: 1.0}))
                self._steady[:, i] = played_cents(rows, alone)

    def find(
        self, theta: np.ndarray, moved: np.ndarray, told: np.ndarray, before: Found | None
    ) -> Found:
        """Step to the modes of B flutes.

        Parameters
        ----------
        theta : (B, P)
            Unknowns.
        moved : (B, P)
            The same less the fit's.
        told : (B, N)
            Cents by which the notes are thought to lie over the fit's.
        before : Found or None
            From nearly these unknowns: its modes and slopes are taken again.

        Notes
        -----
        One Newton step on the mode condition from where the mode is thought to be; its length
        tells how far that was off.
        """
        steady = moved @ self._steady.T
        air = np.empty((len(theta), len(self._root)))
        air[:, self._inverse] = told - steady
        near = self._root * np.exp(1j * moved @ self._turned.T) if before is None else before.root
        # the real part is as it is told
        guess = near * self._root.real * np.exp(CENT * air) / near.real
        root, slope = np.empty_like(guess), np.empty_like(guess)
        for block in _blocks(*guess.shape):
            known = None if before is None else before.slope[block]
            root[block], slope[block] = self._stepped(theta[block], guess[block], known)
        with np.errstate(invalid="ignore", divide="ignore"):
            step = np.abs(root / guess - 1)
            same = (root.imag >= 0) & (step < LONGEST)
            cents = np.where(same, np.log(root.real / self._root.real) / CENT, np.nan)
        return Found(
            cents=cents[:, self._inverse] + steady,
            off=np.max(step, axis=-1, initial=0.0) / CENT,
            root=root,
            slope=slope,
        )

    def _stepped(self, theta, guess, slope):
        """One Newton step from `guess` (B, U), and the slope taken for it."""
        many, count = guess.shape
        problem, table = self._problem, self._table
        leaves = {
            p.name: np.repeat(theta[:, i], count)[None, :, None]
            for i, p in enumerate(problem.parameters)
            if p.is_correction and p.concerns(table)
        }
        rows = take(self._rows, np.tile(np.arange(count), many))
        flute = problem.tables[table].measurements.flute
        with already_warned():
            elements_at = at(chain(flute, rows, replace(problem.start, **leaves)))
        point = guess.reshape(1, -1, 1)
        if slope is None:
            pair = point * (1 + _STEP * np.array([-1, 1]))
            below, above = np.moveaxis(condition(elements_at(pair))[0], -1, 0)
            value = (0.5 * (below + above)).reshape(guess.shape)
            slope = (above - below).reshape(guess.shape) / (2 * _STEP * guess)
        else:
            value = condition(elements_at(point))[0].reshape(guess.shape)
        return guess - value / slope, slope


def _blocks(many, count) -> Iterator[slice]:
    size = max(1, BLOCK // max(count, 1))
    for begin in range(0, many, size):
        yield slice(begin, begin + size)
