"""The search for mistakes of a hole, a flute or a whole table, rows left out at a price."""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import chdtri

from flutelab.fitting.causes import A4, HOLE_SD, STANDARD_A4, Cause, suppose
from flutelab.fitting.dimensions import in_the_wrong_unit
from flutelab.fitting.problem import Problem
from flutelab.fitting.trimmed import Around, Trimmed, around, asked_rows, choose, fit_trimmed
from flutelab.fitting.unknowns import tables_by_flute
from flutelab.model.notes import CENT
from flutelab.model.sensitivities import quantity_gradient

# That anything of its family is named in a table without a mistake. A hole's place, marked
# by hand, is more often wrong than its width, a drill's; a flat shift is one thing alone, and
# hard to tell from the session's and the window's own doubt.
CHANCE = {"row": 0.005, "diameter": 0.0025, "position": 0.0035, "whole": 0.003, "flat": 0.075}
FLAT_SD = 60.0  # cents: a flat shift under suspicion is as good as free
MOST = 3  # mistakes beyond single rows
TRIED = 4  # at once, by a refit
MARGIN = 3.0  # in chi2, that a linear look may err by
RIVAL = 0.3  # of what the best may gain, by which a rival that is tried gains less at most
NARROWEST = 0.3  # of the written diameter, for a start


@dataclass(frozen=True, kw_only=True, eq=False)
class Try:
    """A mistake, mended on top of those found before, and the fit then."""

    cause: Cause
    fit: Trimmed


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """What the search ends with.

    ``causes`` found; ``fit`` with all of them mended; ``without`` the fit without each;
    ``others`` tried in each one's place, and ``further`` tried in vain at the end.
    """

    causes: tuple[Cause, ...]
    fit: Trimmed
    without: tuple[Trimmed, ...]
    others: tuple[tuple[Try, ...], ...]
    further: tuple[Try, ...]


class Search:
    """The rows of some tables and what may be wrong with more than one of them.

    Parameters
    ----------
    problem : Problem
        Its tables and unknowns are used, not which rows it keeps.
    free : sequence of str
        As in `calibrate`.

    ``price`` by family of `Cause`: the fall of chi2 that chance alone gives to the best of
    the family in the share `CHANCE` of good tables.
    """

    def __init__(self, problem: Problem, free: Sequence[str]) -> None:
        self.free = free
        self.problem = Problem(problem.tables, problem.parameters, problem.start, "linear")
        self.rows = asked_rows(problem, free)
        self.flutes = tables_by_flute([t.measurements for t in problem.tables])
        self.wholes = tuple(self._wholes())
        holes = sum(len(self._flute(some).holes) for some in self.flutes)
        self.price = {
            "row": float(chdtri(1, CHANCE["row"] / max(len(self.rows), 1))),
            "diameter": float(chdtri(1, CHANCE["diameter"] / max(holes, 1))),
            "position": float(chdtri(1, CHANCE["position"] / max(holes, 1))),
            # nothing to fit: by chance a likelihood ratio exceeds k at most once in k times
            "whole": 2 * float(np.log(max(len(self.wholes), 1) / CHANCE["whole"])),
            "flat": float(chdtri(1, CHANCE["flat"] / len(problem.tables))),
        }
        self._fits: dict[tuple[Cause, ...], Trimmed | None] = {}

    def price_of(self, cause: Cause) -> float:
        """Return the price of a mistake's family."""
        return self.price[cause.family]

    def fit(self, causes: Sequence[Cause]) -> Trimmed | None:
        """Return the fit with mistakes mended, rows left out at their price; None if none."""
        key = tuple(causes)
        if key not in self._fits:
            problem = suppose(self.problem, self.free, key) if key else self.problem
            self._fits[key] = problem and fit_trimmed(problem, self.rows, self.price["row"])
        return self._fits[key]

    def found(self) -> Generator[None, None, Found]:
        """Return the mistakes that lower chi2 and prices together; pause after each refit."""
        causes: tuple[Cause, ...] = ()
        others: dict[Cause, tuple[Try, ...]] = {}
        fit, tried = self.fit(()), ()
        while len(causes) < MOST:
            yield
            tried = yield from self._tried(causes, fit)
            best = min(tried, key=self._cost, default=None)
            if best is None or self._cost(best) >= fit.total:
                break
            others[best.cause] = tuple(one for one in tried if one is not best)
            causes, fit, tried = (*causes, best.cause), best.fit, ()
        causes = yield from self._needed(causes)
        return Found(
            causes=causes,
            fit=self.fit(causes),
            without=tuple(self.fit(_less(causes, cause)) for cause in causes),
            others=tuple(others[cause] for cause in causes),
            further=tuple(tried),
        )

    def _cost(self, one: Try) -> float:
        return one.fit.total + self.price_of(one.cause)

    def _needed(self, causes):
        """The mistakes without those that the others make needless."""
        while causes:
            whole = self.fit(causes).total
            gain = {}
            for c in causes:
                gain[c] = self.fit(_less(causes, c)).total - whole - self.price_of(c)
                yield
            least = min(causes, key=gain.get)
            if gain[least] > 0:
                break
            causes = _less(causes, least)
        return causes

    # --- what to try ---------------------------------------------------------------------

    def _tried(self, causes, fit) -> Generator[None, None, list[Try]]:
        """The most promising mistakes by a linear look, each with its refit."""
        looks = [*self._holes(fit), *self._flat(fit), *self._turned(causes)]
        known = {c.which for c in causes}
        looks = [(cost, some) for cost, some in looks if not known & {c.which for c in some}]
        limit = fit.total + MARGIN
        if not np.all(fit.kept):
            limit += self.price["row"]
        near = sorted((look for look in looks if look[0] < limit), key=lambda look: look[0])[:TRIED]
        if near:
            limit = near[0][0] + MARGIN + RIVAL * (limit - near[0][0])
        tried = []
        for cause in (c for cost, some in near if cost < limit for c in some):
            tried.append(self._try(causes, cause))
            yield
        return [one for one in tried if one is not None]

    def _try(self, causes, cause):
        fit = self.fit((*causes, cause))
        if fit is None and cause.of_hole:
            cause = replace(cause, value=0.0)
            fit = self.fit((*causes, cause))
        return None if fit is None else Try(cause=cause, fit=fit)

    def _flute(self, together):
        return self.problem.tables[together[0]].measurements.flute

    def _wholes(self) -> Iterator[Cause]:
        """Mistakes of a whole table or flute that have no unknown of their own."""
        for table, part in enumerate(self.problem.tables):
            if any(word != word[::-1] for word in part.measurements.rows.label):
                yield Cause(what="ends", tables=(table,))
        for some in self.flutes:
            sizes = [replace(hole, position=1.0) for hole in self._flute(some).holes]
            if sizes != sizes[::-1]:
                yield Cause(what="sizes", tables=some)
            if sizes:
                yield Cause(what="mirrored", tables=some)
            for name, factor in in_the_wrong_unit(self._flute(some)):
                yield Cause(what="inch", tables=some, name=name, value=factor)

    def _turned(self, causes):
        """(cost, mistakes) of each whole mistake, linear about the prior means."""
        for cause in self.wholes:
            problem = suppose(self.problem, self.free, (*causes, cause))
            if problem is not None:
                near = around(problem, self.rows, problem.mean)
                cost = choose(near.off, near.spread, self.price["row"])[1]
                yield cost + self.price["whole"], (cause,)

    def _flat(self, fit):
        """(cost, mistakes) of a flat shift of each table: the temperature, or another a4."""
        near = fit.around
        for table in range(len(self.problem.tables)):
            here = np.array([float(t == table) for t, _ in self.rows])[near.present]
            cost, shift = self._look(near, near.column(FLAT_SD * here))
            stood = STANDARD_A4 * np.exp(-CENT * FLAT_SD * shift)
            a4 = min(A4, key=lambda value, stood=stood: abs(np.log(value / stood)))
            causes = [Cause(what="a4", tables=(table,), value=a4)]
            if any(p.name == "air_offset" and p.concerns(table) for p in self.problem.parameters):
                causes.insert(0, Cause(what="temperature", tables=(table,)))
            yield cost + self.price["flat"], tuple(causes)

    def _holes(self, fit):
        """(cost, mistakes) of each hole's place and diameter."""
        near = fit.around
        for some in self.flutes:
            holes = self._flute(some).holes
            causes = [
                Cause(what=what, tables=some, index=index)
                for what in HOLE_SD
                for index in range(len(holes))
            ]
            columns = near.column(_by_quantity(near, some, [c.quantity for c in causes]))
            for cause, column in zip(causes, columns.T, strict=True):
                sd = HOLE_SD[cause.what]
                cost, off = self._look(near, sd * column)
                off = sd * off
                if cause.what == "diameter":
                    off = max(off, (NARROWEST - 1) * holes[cause.index].diameter)
                yield cost + self.price_of(cause), (replace(cause, value=float(off)),)

    def _look(self, near: Around, column):
        """The cost with one more unknown of sd 1, and where it then lies."""
        spread = near.spread + np.outer(column, column)
        kept, cost = choose(near.off, spread, self.price["row"])
        pulled = np.linalg.solve(spread[np.ix_(kept, kept)], near.off[kept])
        return cost, float(column[kept] @ pulled)


def _less(causes, cause):
    return tuple(c for c in causes if c is not cause)


def _by_quantity(near: Around, together, names):
    """Cents per metre of the rows present, of some tables' flute, (M, names)."""
    problem, parts = near.problem, []
    for table, part in enumerate(problem.tables):
        asked = problem.fitted_rows(table)
        if not names or table not in together or not len(asked):
            parts.append(np.zeros((len(asked), len(names))))
            continue
        now = problem.corrections(near.theta, table)
        root = problem.roots(table)
        parts.append(quantity_gradient(part.measurements.flute, asked, root, now, names))
    return np.nan_to_num(np.concatenate(parts))
