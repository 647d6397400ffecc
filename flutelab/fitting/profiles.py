"""How the fit's cost rises as one unknown is moved and all others follow: profiles, limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from flutelab.fitting.budget import freedom_of, index_of, reported_names
from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.freedom import coverage_factor
from flutelab.fitting.many import Many

# The rise of chi2 at the limits of 68.3 and 95 %: 1 and 3.84, where the readings' sd is known
LEVELS = (0.6827, 0.95)
RISES = (1.0, float(chdtri(1, 1 - LEVELS[1])))
POINTS = 25
REACH = 3.0  # sd to either side
ROUNDS = 6  # at most, of drawing a limit in
CLOSE = 1e-4  # sd


@dataclass(frozen=True, kw_only=True, eq=False)
class Profiles:
    """Profiles of K unknowns at G values each.

    Parameters
    ----------
    names : tuple of K str
    best : (K,)
        Values at the optimum, `sd` (K,) beside them.
    value : (K, G)
    rise : (K, G)
        chi2 over its least, all others refitted, in units in which 1 is one sd of the readings
        as the fit widened them; nan where a note was lost.
    limits : (K, 2, 2)
        Lower and upper limit at each of `LEVELS`; nan where none was found.
    cut : (K, 2, 2) bool
        The limit is one that the unknown may not pass: the notes would let it go on.
    reached : (K, 2)
        The rise at the limits of each of `LEVELS`.
    """

    names: tuple[str, ...]
    best: np.ndarray
    sd: np.ndarray
    value: np.ndarray
    rise: np.ndarray
    limits: np.ndarray
    cut: np.ndarray
    reached: np.ndarray


def profiles(
    calibration: Calibration, names: Sequence[str] | None = None, *, many: Many | None = None
) -> Profiles:
    """Return profiles of some unknowns, and the limits that follow from them.

    Parameters
    ----------
    calibration : Calibration
    names : sequence of str, optional
        Default: the reported corrections that are in the fit, each flute's own ones apart.
    many : Many, optional
        The calibration made ready for refits, where it is at hand.

    Returns
    -------
    Profiles

    Raises
    ------
    ValueError
        No unknown has that name.

    Notes
    -----
    chi2 with one unknown held at 25 values within 3 sd, all others refitted each time; a limit
    lies where it has risen by 1 (68.3 %) or 3.84 (95 %): the square of the normal deviate, and
    of Student's t where the readings' sd is itself known from few degrees of freedom (see
    `flutelab.fitting.budget.interval`). Where the fit's readings were widened,
    the rise is divided by the ratio of the unknown's variance with widening to that without.
    Limits are drawn in on the signed root of the rise, which is straight where the model is.

    References
    ----------
    Profile likelihood: W. Q. Meeker, L. A. Escobar, The American Statistician 49, 48 (1995),
    doi:10.1080/00031305.1995.10476112 (from memory).
    """
    if names is None:
        names = reported_names(calibration)
    index = np.array([index_of(calibration, name) for name in names], dtype=int)
    many = many or Many(calibration.problem, calibration.value)
    rising = _Rising(calibration, many, index)
    value = rising.grid()
    root = rising.root(np.repeat(np.arange(len(index)), POINTS), value.ravel())
    root = root.reshape(value.shape)
    freedom = freedom_of(calibration, index)
    factor = np.array([[coverage_factor(level, nu) for level in LEVELS] for nu in freedom])
    factor = factor.reshape(-1, len(LEVELS))
    limits, cut = _limits(rising, value, root, factor)
    return Profiles(
        names=tuple(names),
        best=rising.best,
        sd=rising.sd,
        value=value,
        rise=root**2,
        limits=limits,
        cut=cut,
        reached=factor**2,
    )


class _Rising:
    """The signed root of the rise of chi2, as a function of held unknowns."""

    def __init__(self, calibration, many, index):
        problem = many.problem
        least = many.refit(shift=np.zeros((1, len(problem.measured))))
        self._many, self._index, self._least = many, index, least.chi2[0]
        self.best = least.theta[0, index]
        self.sd = np.sqrt(np.diag(calibration.covariance))[index]
        jacobian = problem.jacobian((calibration.value - problem.mean) / problem.unit)
        narrow = np.sqrt(np.diag(np.linalg.inv(jacobian.T @ jacobian))) * problem.unit
        self._widened = self.sd / narrow[index]
        priors = [problem.parameters[i].prior for i in index]
        self.limits = np.array([(p.lower, p.upper) for p in priors]).reshape(-1, 2)

    def grid(self):
        """Values to look at, (K, G), the optimum among them."""
        ends = self.best[:, None] + REACH * self.sd[:, None] * np.array([-1, 1])
        low, high = np.clip(ends, *self.limits.T[:, :, None]).T
        share = np.linspace(-1, 1, POINTS)
        below = self.best[:, None] + np.minimum(share, 0) * (self.best - low)[:, None]
        return below + np.maximum(share, 0) * (high - self.best)[:, None]

    def root(self, which, value):
        """Signed roots (B,) with unknown number `which` (B,) held at `value`."""
        fixed = {int(i): np.where(which == k, value, np.nan) for k, i in enumerate(self._index)}
        if not len(value):
            return np.zeros(0)
        chi2 = self._many.refit(fixed=fixed).chi2
        root = np.sqrt(np.maximum(chi2 - self._least, 0.0)) / self._widened[which]
        return np.sign(value - self.best[which]) * root


def _limits(rising, value, root, factor):
    """Where the root reaches what it should, (K, levels, 2), and whether a limit cuts it off."""
    shape = (*factor.shape, 2)
    which = np.broadcast_to(np.arange(len(value))[:, None, None], shape).ravel()
    wanted = (factor[..., None] * np.array([-1, 1])).ravel()
    bound = rising.limits[which, (wanted > 0).astype(int)]
    near = [_crossing(value[k], root[k], w) for k, w in zip(which, wanted, strict=True)]
    at, slope = np.array(near).reshape(-1, 2).T
    reached = np.full(len(wanted), np.nan)
    for _ in range(ROUNDS):
        far = ~(np.abs(reached - wanted) < CLOSE)
        at[far] += np.nan_to_num(wanted - reached)[far] / slope[far]
        at = np.clip(at, *rising.limits[which].T)
        reached[far] = rising.root(which[far], at[far])
    close = np.abs(reached - wanted) < CLOSE
    cut = ~close & (at == bound) & (np.abs(reached) < np.abs(wanted))
    return np.where(close | cut, at, np.nan).reshape(shape), cut.reshape(shape)


def _crossing(value, root, wanted):
    """Where the root is about what is wanted, and its slope there."""
    value, first = np.unique(value, return_index=True)
    known = np.isfinite(root[first])
    value, root = value[known], root[first][known]
    if len(value) < 2:
        return np.nan, np.nan
    at = np.interp(wanted, root, value)
    return at, np.interp(at, value, np.gradient(root, value))
