"""Many refits of one fit at once: other readings, other weights, unknowns pinned.

The notes are a quadratic in the corrections (its gradient and curvature taken about the
fit), put right by the model itself at each refit's own optimum.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.fitting.problem import Problem, residual_shape
from flutelab.model.chain import chain
from flutelab.model.modes import at, newton
from flutelab.model.notes import CENT, played_cents
from flutelab.model.rows import distinct, take

CURVED_OVER = 0.5  # prior sd to either side over which the curvature is taken
ROUNDS = 3  # of putting the quadratic right by the model
STEPS = 25  # of Gauss and Newton within a round
SETTLED = 1e-9  # largest step, in prior sd
BLOCK = 4000  # rows solved together, about 40 MB


@dataclass(frozen=True, kw_only=True, eq=False)
class Refits:
    """B refits: unknowns ``theta`` (B, P), ``chi2`` (B,), ``off`` (B,).

    ``off``: the last change of a note when the model put it right [cents]. All nan where a
    note was lost on the way.
    """

    theta: np.ndarray
    chi2: np.ndarray
    off: np.ndarray


class Many:
    """A fit made ready for many refits; quick to ask, half a second to make.

    Parameters
    ----------
    problem : Problem
        Without holes under suspicion.
    theta : (P,)
        Its optimum, about which the curvature is taken.

    Raises
    ------
    ValueError
        Holes are under suspicion.
    """

    def __init__(self, problem: Problem, theta: np.ndarray) -> None:
        if any(p.hole is not None for p in problem.parameters):
            msg = "many refits at once: no hole may be under suspicion"
            raise ValueError(msg)
        self.problem = Problem(problem.tables, problem.parameters, problem.start, problem.loss)
        self.theta = np.array(theta, dtype=float)
        self._curved = [i for i, p in enumerate(self.problem.parameters) if p.is_correction]
        self._off = self.problem.cents(self.theta)
        self._slope = self.problem.gradients(self.theta)
        self._roots = [self.problem.roots(table) for table in range(len(problem.tables))]
        self._curvature = self._second_derivatives()
        limits = [(p.prior.lower, p.prior.upper) for p in self.problem.parameters]
        low, high = np.array(limits).T
        self._low = (low - self.problem.mean) / self.problem.unit
        self._high = (high - self.problem.mean) / self.problem.unit

    def _second_derivatives(self):
        """d2(predicted cents)/(d theta d curved theta), (N, P, C)."""
        problem, slopes = self.problem, []
        for i in self._curved:
            prior, at_both = problem.parameters[i].prior, []
            reach = CURVED_OVER * prior.sd
            for end in (self.theta[i] - reach, self.theta[i] + reach):
                theta = self.theta.copy()
                theta[i] = np.clip(end, prior.lower, prior.upper)
                at_both.append((theta[i], problem.gradients(theta)))
            (low, below), (high, above) = at_both
            slopes.append((above - below) / (high - low))
        problem.cents(self.theta)
        return np.stack(slopes, axis=-1)

    def refit(
        self,
        *,
        shift: np.ndarray | float = 0.0,
        weight: np.ndarray | float = 1.0,
        fixed: Mapping[int, np.ndarray] | None = None,
        mean: np.ndarray | None = None,
    ) -> Refits:
        """Fit anew, B times.

        Parameters
        ----------
        shift : (B, N) or float
            Cents added to the measured notes.
        weight : (B, N) or float
            How often each reading counts.
        fixed : mapping of int to (B,), optional
            Unknowns held at values.
        mean : (B, P), optional
            Prior means in the place of the fit's.

        Returns
        -------
        Refits

        Raises
        ------
        ValueError
            The arrays are not of one number of refits.

        Notes
        -----
        Gauss and Newton on the quadratic, unknowns at a limit held there while their slope
        presses outwards; then what the model says there replaces what the quadratic says,
        and again, three times.
        """
        problem, count = self.problem, len(self.problem.measured)
        many = _batch(shift, weight, fixed, mean)
        shift, weight = (np.broadcast_to(v, (many, count)) for v in (shift, weight))
        middle = 0.0 if mean is None else (mean - problem.mean) / problem.unit
        x = np.tile((self.theta - problem.mean) / problem.unit, (many, 1))
        held = np.zeros_like(x, dtype=bool)
        for index, values in (fixed or {}).items():
            held[:, index] = True
            x[:, index] = (np.asarray(values) - problem.mean[index]) / problem.unit[index]
        right, lost = np.zeros((many, count)), np.zeros((many, 1), dtype=bool)
        for _ in range(ROUNDS):
            x = self._minimum(x, held, shift - right, weight, middle)
            told = self._predicted(x) + right
            exact = self._model(x, told)
            lost |= ~np.all(np.isfinite(exact), axis=-1, keepdims=True)
            exact = np.where(lost, told, exact)
            right = right + exact - told
        cents = self._off + shift - exact
        shaped = residual_shape(cents / problem.sd, problem.loss)[0]
        chi2 = np.sum(weight * shaped**2, axis=-1) + np.sum((x - middle) ** 2, axis=-1)
        off = np.max(np.abs(exact - told), axis=-1, initial=0.0)
        return Refits(
            theta=np.where(lost, np.nan, problem.mean + problem.unit * x),
            chi2=np.where(lost[:, 0], np.nan, chi2),
            off=np.where(lost[:, 0], np.nan, off),
        )

    def _moved(self, x):
        return self.problem.mean + self.problem.unit * x - self.theta

    def _predicted(self, x):
        """By how many cents the quadratic moves each note from the fit's, (B, N)."""
        moved = self._moved(x)
        slope = self._slope + 0.5 * np.einsum(
            "npc,bc->bnp", self._curvature, moved[:, self._curved]
        )
        return np.einsum("bnp,bp->bn", slope, moved)

    def _gradient(self, x):
        moved = self._moved(x)[:, self._curved]
        return self._slope + np.einsum("npc,bc->bnp", self._curvature, moved)

    def _minimum(self, x, held, shift, weight, middle):
        """The least sum of squares of the quadratic from x on, (B, P)."""
        problem = self.problem
        for _ in range(STEPS):
            z = (self._off + shift - self._predicted(x)) / problem.sd
            shaped, slope = residual_shape(z, problem.loss)
            jacobian = -self._gradient(x) * problem.unit * (slope / problem.sd)[..., None]
            weighed = jacobian * weight[..., None]
            downhill = -np.einsum("bnp,bn->bp", weighed, shaped) - (x - middle)
            stuck = held | ((x <= self._low) & (downhill < 0)) | (
                (x >= self._high) & (downhill > 0)
            )  # fmt: skip
            normal = np.swapaxes(weighed, -1, -2) @ jacobian + np.eye(x.shape[-1])
            normal = np.where(stuck[:, :, None] | stuck[:, None, :], 0.0, normal)
            normal += stuck[:, :, None] * np.eye(x.shape[-1])
            step = np.linalg.solve(normal, np.where(stuck, 0.0, downhill)[..., None])[..., 0]
            limited = np.where(held, x, np.clip(x + step, self._low, self._high))
            step, x = limited - x, limited
            if np.max(np.abs(step)) < SETTLED:
                break
        return x

    def _model(self, x, told):
        """By how many cents the model itself moves each note from the fit's, (B, N)."""
        theta = self.problem.mean + self.problem.unit * x
        parts, begin = [], 0
        for table, part in enumerate(self.problem.tables):
            end = begin + int(np.sum(part.kept))
            parts.append(self._of_table(table, theta, told[:, begin:end]))
            begin = end
        return np.concatenate(parts, axis=-1)

    def _of_table(self, table, theta, told):
        part, problem = self.problem.tables[table], self.problem
        rows = problem.fitted_rows(table)
        if not len(rows):
            return told
        linear = problem.own_columns(table, part.kept)
        before, now = (
            _played(problem, t, table, rows) + t @ linear.T for t in (self.theta[None], theta)
        )
        root = self._roots[table]
        index, inverse = distinct(rows, root.real, root.imag)
        some, start = take(rows, index), root[index]
        moved = np.empty((len(theta), len(index)))
        guess = start * np.exp(CENT * (told - (now - before))[:, index])
        for block in _blocks(len(theta), len(index)):
            moved[block] = self._solved(table, theta[block], some, start, guess[block])
        return moved[:, inverse] + now - before

    def _solved(self, table, theta, rows, start, guess):
        """Cents of the rows' eigenfrequencies over the fit's, (B, rows)."""
        many, count = guess.shape
        leaves = {
            p.name: np.repeat(theta[:, i], count)[None, :, None]
            for i, p in enumerate(self.problem.parameters)
            if p.is_correction and p.concerns(table)
        }
        flute = self.problem.tables[table].measurements.flute
        with already_warned():
            corrections = replace(self.problem.start, **leaves)
            numbers = chain(flute, take(rows, np.tile(np.arange(count), many)), corrections)
            root = newton(at(numbers), guess.reshape(-1, 1))[:, 0].reshape(many, count)
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(root.imag >= 0, np.log(root.real / start.real) / CENT, np.nan)


def _played(problem, theta, table, rows):
    """What blowing adds to rows for unknowns (B, P) [cents], (B, rows)."""
    return np.stack([played_cents(rows, problem.corrections(one, table)) for one in theta])


def _batch(shift, weight, fixed, mean):
    """How many refits are asked for."""
    lead = [np.shape(v)[0] for v in (shift, weight) if np.ndim(v)]
    lead += [len(values) for values in (fixed or {}).values()]
    lead += [] if mean is None else [len(mean)]
    if not lead or len(set(lead)) != 1:
        msg = f"refit: give arrays of one and the same number of refits, not {lead}"
        raise ValueError(msg)
    return lead[0]


def _blocks(many, count) -> Iterator[slice]:
    size = max(1, BLOCK // max(count, 1))
    for begin in range(0, many, size):
        yield slice(begin, begin + size)
