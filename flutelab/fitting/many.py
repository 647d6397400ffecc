"""Many refits of one fit at once: other readings, other weights, unknowns pinned.

The notes are a quadratic in the corrections (its gradient and curvature taken about the
fit), put right by the model itself at each refit's own optimum. All other unknowns are
linear: they are eliminated, and worked out last.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from flutelab.fitting.followed import Followed
from flutelab.fitting.problem import Problem, residual_shape

CURVED_OVER = 0.5  # prior sd to either side over which the curvature is taken
ROUNDS = 6  # at most, of putting the quadratic right by the model
RIGHT = 1e-3  # cents: no mode is farther from where it was thought to be
STEPS = 25  # of Gauss and Newton within a round
SETTLED = 1e-9  # largest step, in prior sd


@dataclass(frozen=True, kw_only=True, eq=False)
class Refits:
    """B refits: unknowns ``theta`` (B, P), ``chi2`` (B,), ``off`` (B,).

    ``off``: how far a mode last was from where it was thought to be [cents]. All nan where a
    note was lost on the way.
    """

    theta: np.ndarray
    chi2: np.ndarray
    off: np.ndarray


class _Asked(NamedTuple):
    """What B refits are made with; `main` unknowns are stepped, the `rest` eliminated."""

    shift: np.ndarray  # (B, N) cents
    weight: np.ndarray  # (B, N)
    middle: np.ndarray  # (B, P) prior means, in prior sd
    firm: np.ndarray  # (B, P) how often each prior counts
    held: np.ndarray  # (B, main) bool
    main: np.ndarray
    rest: np.ndarray


class Many:
    """A fit made ready for many refits; quick to ask, a quarter of a second to make.

    Parameters
    ----------
    problem : Problem
    theta : (P,)
        Its optimum, about which the curvature is taken.
    """

    def __init__(self, problem: Problem, theta: np.ndarray) -> None:
        problem = Problem(problem.tables, problem.parameters, problem.start, problem.loss)
        self.problem, self.theta = problem, np.array(theta, dtype=float)
        self._curved = np.flatnonzero([p.is_correction for p in problem.parameters])
        limits = np.array([(p.prior.lower, p.prior.upper) for p in problem.parameters])
        self._limits = limits.T
        self._low, self._high = (self._limits - problem.mean) / problem.unit
        self._off = problem.cents(self.theta)
        self._slope = problem.gradients(self.theta)
        self._curvature, turned = self._second_derivatives()
        problem.cents(self.theta)
        self._ends = np.cumsum([len(problem.roots(t)) for t in range(len(problem.tables))])
        self._followed = [
            Followed(problem, table, self.theta, part)
            for table, part in enumerate(np.split(turned, self._ends[:-1]))
        ]

    def _second_derivatives(self):
        """d2(predicted cents)/(d curved theta)^2 (N, C, C), d(Im ln root)/d(theta) (N, P)."""
        problem, size = self.problem, len(self._curved)
        curvature = np.zeros((len(problem.measured), size, size))
        turned = np.zeros((len(problem.measured), len(problem.parameters)))
        for column, i in enumerate(self._curved):
            prior, reach = problem.parameters[i].prior, CURVED_OVER * problem.unit[i]
            ends = np.clip(self.theta[i] + np.array([-reach, reach]), prior.lower, prior.upper)
            slopes, roots = zip(*(self._with(i, value) for value in ends), strict=True)
            width = ends[1] - ends[0]
            curvature[:, :, column] = (slopes[1] - slopes[0]) / width
            turned[:, i] = np.log(roots[1] / roots[0]).imag / width
        return 0.5 * (curvature + np.swapaxes(curvature, 1, 2)), turned

    def _with(self, index, value):
        """Slopes of the curved unknowns and roots of all notes with one unknown changed."""
        theta = self.theta.copy()
        theta[index] = value
        slope = self.problem.gradients(theta)[:, self._curved]
        tables = range(len(self.problem.tables))
        return slope, np.concatenate([self.problem.roots(table) for table in tables])

    def refit(
        self,
        *,
        shift: np.ndarray | float = 0.0,
        weight: np.ndarray | float = 1.0,
        fixed: Mapping[int, np.ndarray] | None = None,
        mean: np.ndarray | None = None,
        prior_weight: np.ndarray | float = 1.0,
    ) -> Refits:
        """Fit anew, B times.

        Parameters
        ----------
        shift : (B, N) or float
            Cents added to the measured notes.
        weight : (B, N) or float
            How often each reading counts.
        fixed : mapping of int to (B,), optional
            Unknowns held at values; nan = not held in that refit.
        mean : (B, P), optional
            Prior means in the place of the fit's.
        prior_weight : (B, P) or float
            How often each prior counts; more than 0.

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
        presses outwards; then what the model says there replaces what the quadratic says;
        and again, until all modes are within 0.001 cents of where they were thought to be,
        six times at most.
        """
        problem = self.problem
        asked, x = self._asked(shift, weight, fixed or {}, mean, prior_weight)
        right, lost = np.zeros_like(asked.shift), np.zeros((len(x), 1), dtype=bool)
        known, found = None, [None] * len(problem.tables)
        for _ in range(ROUNDS):
            x, known = self._minimum(x, asked, asked.shift - right, known)
            told = self._predicted(x) + right
            found = self._find(x, told, found)
            exact = np.concatenate([f.cents for f in found], axis=-1)
            off = np.max([f.off for f in found], axis=0)
            lost |= ~np.all(np.isfinite(exact), axis=-1, keepdims=True)
            exact = np.where(lost, told, exact)
            right = right + exact - told
            if np.all(lost[:, 0] | (off < RIGHT)):
                break
        z = (self._off + asked.shift - exact) / problem.sd
        notes = asked.weight * residual_shape(z, problem.loss)[0] ** 2
        chi2 = np.sum(notes, axis=-1) + np.sum(asked.firm * (x - asked.middle) ** 2, axis=-1)
        return Refits(
            theta=np.where(lost, np.nan, self._theta(x)),
            chi2=np.where(lost[:, 0], np.nan, chi2),
            off=np.where(lost[:, 0], np.nan, off),
        )

    def _asked(self, shift, weight, fixed, mean, prior_weight):
        """What is asked for on the batch axis, and where it starts from (B, P)."""
        problem, count = self.problem, len(self.problem.measured)
        many = _batch(shift, weight, fixed, mean)
        x = np.tile((self.theta - problem.mean) / problem.unit, (many, 1))
        middle = 0.0 if mean is None else (mean - problem.mean) / problem.unit
        held = np.zeros_like(x, dtype=bool)
        for index, values in fixed.items():
            held[:, index] = np.isfinite(values)
            value = (np.asarray(values) - problem.mean[index]) / problem.unit[index]
            x[:, index] = np.where(held[:, index], value, x[:, index])
        is_main = np.isfinite(self._low) | np.isfinite(self._high)
        is_main[[*self._curved, *fixed]] = True
        asked = _Asked(
            shift=np.broadcast_to(shift, (many, count)),
            weight=np.broadcast_to(weight, (many, count)),
            middle=np.broadcast_to(middle, x.shape),
            firm=np.broadcast_to(prior_weight, x.shape),
            held=held[:, is_main],
            main=np.flatnonzero(is_main),
            rest=np.flatnonzero(~is_main),
        )
        return asked, x

    def _theta(self, x):
        return np.clip(self.problem.mean + self.problem.unit * x, *self._limits)

    def _moved(self, x):
        return self._theta(x) - self.theta

    def _bent(self, x):
        """By how much the slopes of the curved unknowns change, (B, N, C)."""
        count, size = self._curvature.shape[:2]
        flat = self._curvature.reshape(count * size, size)
        return (self._moved(x)[:, self._curved] @ flat.T).reshape(len(x), count, size)

    def _predicted(self, x):
        """By how many cents the quadratic moves each note from the fit's, (B, N)."""
        moved = self._moved(x)
        bent = self._bent(x) @ moved[:, self._curved, None]
        return moved @ self._slope.T + 0.5 * bent[..., 0]

    def _minimum(self, x, asked, shift, known):
        """The least sum of squares of the quadratic from x on (B, P), and what is known by then.

        With R the columns of the rest, weighed, the notes that are `left` with the rest at
        its prior have the covariance 1 + R W^-1 R', W = how often each prior counts; a linear
        loss keeps R and the inverse.
        """
        problem, (main, rest) = self.problem, (asked.main, asked.rest)
        for _ in range(STEPS):
            z = (self._off + shift - self._predicted(x)) / problem.sd
            shaped, slope = residual_shape(z, problem.loss)
            scale = np.sqrt(asked.weight) * slope / problem.sd
            if known is None or problem.loss != "linear":
                known = self._eliminated(scale, rest, asked.firm[:, rest])
            others, inverse = known
            at_prior = others @ (x[:, rest] - asked.middle[:, rest])[..., None]
            left = np.sqrt(asked.weight) * shaped + at_prior[..., 0]
            steep = self._steep(x, scale, main)
            weighed = inverse @ steep
            after = np.array(x)
            after[:, main] += self._step(x[:, main], asked, steep, weighed, left)
            left = left - (steep @ (after - x)[:, main, None])[..., 0]
            pull = np.swapaxes(others, 1, 2) @ (inverse @ left[..., None])
            after[:, rest] = asked.middle[:, rest] + pull[..., 0] / asked.firm[:, rest]
            largest, x = np.max(np.abs(after - x)), after
            if largest < SETTLED:
                break
        return x, known

    def _eliminated(self, scale, rest, firm):
        """Columns of the rest, weighed (B, N, R), and the inverse of their covariance."""
        others = self._slope[:, rest] * self.problem.unit[rest] * scale[..., None]
        loose = others / firm[:, None, :]
        covariance = loose @ np.swapaxes(others, 1, 2) + np.eye(scale.shape[1])
        return others, np.linalg.inv(covariance)

    def _steep(self, x, scale, main):
        """Columns of the main unknowns, weighed, (B, N, main)."""
        steep = np.tile(self._slope[:, main], (len(x), 1, 1))
        steep[:, :, np.searchsorted(main, self._curved)] += self._bent(x)
        return steep * self.problem.unit[main] * scale[..., None]

    def _step(self, x, asked, steep, weighed, left):
        """A step of the main unknowns, kept within their limits, (B, main)."""
        low, high = self._low[asked.main], self._high[asked.main]
        firm = asked.firm[:, asked.main]
        downhill = np.einsum("bnp,bn->bp", weighed, left)
        downhill = downhill - firm * (x - asked.middle[:, asked.main])
        outwards = ((x <= low) & (downhill < 0)) | ((x >= high) & (downhill > 0))
        stuck = asked.held | outwards
        normal = np.swapaxes(weighed, 1, 2) @ steep + firm[:, :, None] * np.eye(x.shape[1])
        normal = np.where(stuck[:, :, None] | stuck[:, None, :], 0.0, normal)
        normal += stuck[:, :, None] * np.eye(x.shape[1])
        step = np.linalg.solve(normal, np.where(stuck, 0.0, downhill)[..., None])[..., 0]
        return np.where(asked.held, 0.0, np.clip(x + step, low, high) - x)

    def _find(self, x, told, before):
        """What the model itself says, a record a table."""
        theta, moved = self._theta(x), self._moved(x)
        parts = np.split(told, self._ends[:-1], axis=1)
        return [
            followed.find(theta, moved, part, last)
            for followed, part, last in zip(self._followed, parts, before, strict=True)
        ]


def _batch(shift, weight, fixed, mean):
    """How many refits are asked for."""
    lead = [np.shape(v)[0] for v in (shift, weight) if np.ndim(v)]
    lead += [len(values) for values in fixed.values()]
    lead += [] if mean is None else [len(mean)]
    if not lead or len(set(lead)) != 1:
        msg = f"refit: give arrays of one and the same number of refits, not {lead}"
        raise ValueError(msg)
    return lead[0]
