"""Why measured notes do not match the book, before anything is fitted to them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import log_ndtr

from flutelab.fitting.calibrate import calibrate
from flutelab.fitting.measurements import Measurements
from flutelab.fitting.possible import most_possible
from flutelab.fitting.problem import Problem
from flutelab.model.notes import CENT, played_cents
from flutelab.model.rows import take

SESSION = "session"  # the cause that shifts all notes alike: breath and tuner together
USUAL, UNUSUAL = 1.0, 2.0  # tolerances
ALIKE = 4.0  # of chi2: two causes that leave as much are not told apart


@dataclass(frozen=True, kw_only=True, eq=False)
class Mismatch:
    """N measured notes against the book, and what each of K causes could do about it.

    Parameters
    ----------
    measurements : Measurements
    register : (N,)
    cents : (N,)
        Measured over the book [cents], at the usual breath term where a pressure is known;
        nan where the fingering has no such mode.
    counted : (N,) bool
        Rows that a fit would use; all other numbers are of these.
    causes : tuple of K str
        Likeliest first: names of corrections, `SESSION`, and errors of the geometry that the
        flute states, in the words of its parameter.
    tolerance : (K,)
        Usual error of each (its prior sd), in its own unit.
    effect : (K, N)
        What one tolerance more does to each note [cents]; nan as `cents`.
    amount : (K,)
        How much of the cause alone fits best, in tolerances, the session's own shift beside;
        no more than there can be (`flutelab.fitting.possible`).
    limited : (K,) bool
        The notes ask for more than that: the cause cannot explain them by itself.
    doubt : (K,)
        Standard deviation of `amount` from readings and sessions.
    shift : (K,)
        The session's shift beside it, mean of the notes [cents]; 0 where that is the cause.
    beside : (K, N)
        The same of each counted note, by its own session; nan for the others.
    misfit : (K,)
        chi2 of what that amount leaves, the shift counted by its own tolerance.
    left : (K,)
        What both leave of the mismatch, rms [cents].
    share : (K,)
        How much of each cause serves best when all act together, each held by its tolerance,
        in tolerances.
    together : (N,)
        What all of them together leave [cents].
    rms, noise, chance, together_rms : float
        Of the mismatch, of the readings' own scatter, of that with the usual errors of
        sessions, and of what is left together [cents]. Each row counts by 1/sd^2.
    enough : bool
        Whether what is left together is no more than the readings' scatter lets expect.
    """

    measurements: Measurements
    register: np.ndarray
    cents: np.ndarray
    counted: np.ndarray
    causes: tuple[str, ...]
    tolerance: np.ndarray
    effect: np.ndarray
    amount: np.ndarray
    limited: np.ndarray
    doubt: np.ndarray
    shift: np.ndarray
    beside: np.ndarray
    misfit: np.ndarray
    left: np.ndarray
    share: np.ndarray
    together: np.ndarray
    rms: float
    noise: float
    chance: float
    together_rms: float
    enough: bool


def why_not_matching(measurements: Measurements) -> Mismatch:
    """Return what could explain how far measured notes lie from the book.

    Parameters
    ----------
    measurements : Measurements

    Returns
    -------
    Mismatch
        The book with every correction at its prior mean. A cause is any correction with a
        prior spread that moves the notes, any stated error of the geometry, and the session:
        all notes sharp or flat alike, by breath and tuner.

    Raises
    ------
    FitError
        No row can be fitted.

    Notes
    -----
    Linear at the book: r = mismatch, e = effect of one tolerance, C = covariance of the
    readings, with what a session and a note share. A cause fits best at u = e'C^-1 r/(e'C^-1 e),
    or at the most that is possible, and leaves (r - u e)'C^-1 (r - u e). Causes are ordered by
    the odds of cause and session together over the session alone, u having its prior, cut
    off at what is possible: without that, -2 ln = -(e'C^-1 r)^2/(1 + e'C^-1 e)
    + ln(1 + e'C^-1 e), which weighs what is left against how far out of the usual the cause
    would have to be (marginal likelihood, textbook statistics). The session's own u is a
    flat shift, fitted with C = readings alone. All together are as `calibrate` fits them.
    """
    result = calibrate(measurements, free=())
    problem, part = result.problem, result.tables[0]
    counted = np.array([fate == "fitted" for fate in part.fate], dtype=bool)
    cents, gradient = _at_the_book(problem)
    causes, tolerance, effect, share, most = _causes(problem, gradient, result.value, counted)
    sd, common = measurements.sd[counted], _common(problem, gradient[counted])
    amount, limited, doubt, shift, each, misfit, left, odds = _each_alone(
        cents[counted], effect[:, counted], sd, common, most
    )
    beside = np.full(effect.shape, np.nan)
    beside[:, counted] = each
    order = np.argsort(odds)
    return Mismatch(
        measurements=measurements,
        register=part.register,
        cents=cents,
        counted=counted,
        causes=tuple(causes[k] for k in order),
        tolerance=tolerance[order],
        effect=effect[order],
        amount=amount[order],
        limited=limited[order],
        doubt=doubt[order],
        shift=shift[order],
        beside=beside[order],
        misfit=misfit[order],
        left=left[order],
        share=share[order],
        together=part.residual,
        rms=float(_rms(cents[counted], sd)),
        noise=float(_rms(sd, sd)),
        chance=float(_rms(np.sqrt(sd**2 + np.diag(common)), sd)),
        together_rms=float(_rms(part.residual[counted], sd)),
        enough=result.widened == 1.0,
    )


def plausible(tolerances: float) -> str:
    """Return how plausible so many tolerances are: usual, unusual, or not by itself.

    Examples
    --------
    >>> plausible(-0.8), plausible(1.6), plausible(3.0)
    ('usual', 'unusual', 'not by itself')
    """
    size = abs(tolerances)
    return "usual" if size <= USUAL else "unusual" if size <= UNUSUAL else "not by itself"


def farthest(mismatch: Mismatch) -> np.ndarray:
    """Return how far out of the usual each cause alone leads [tolerances], (K,).

    By its own amount, or by the session's shift beside it.
    """
    session = mismatch.tolerance[mismatch.causes.index(SESSION)]
    return np.maximum(np.abs(mismatch.amount), np.abs(mismatch.shift) / session)


def alike(mismatch: Mismatch) -> tuple[int, ...]:
    """Return which causes explain the notes no worse than the first, by number.

    Their misfit is within 4 of the first's: these notes cannot tell them apart.
    """
    return tuple(np.flatnonzero(mismatch.misfit[1:] - mismatch.misfit[0] < ALIKE) + 1)


def _at_the_book(problem: Problem):
    """Cents of measured over book (N,), and its gradient (N, P) in prior sd; nan: no mode."""
    part, theta = problem.tables[0], problem.mean
    m, root = part.measurements, part.assigned.root
    has_mode = np.isfinite(root)
    rows = take(replace(m.rows, register=part.assigned.register), has_mode)
    cents = np.full(len(m.rows), np.nan)
    gradient = np.full((len(m.rows), len(theta)), np.nan)
    played = played_cents(rows, problem.corrections(theta, 0))
    cents[has_mode] = np.log(m.frequency[has_mode] / root[has_mode].real) / CENT - played
    gradient[has_mode] = problem.unit * problem.gradient(
        theta, 0, rows, root[has_mode], problem.own_columns(0, has_mode)
    )
    return cents, gradient


def _causes(problem, gradient, value, counted):
    """Names, tolerances (K,), effects (K, N), shares (K,) of what moves the notes, and limits.

    Limits (K, 2) in tolerances. The session comes last.
    """
    flute = problem.tables[0].measurements.flute
    moved = (value - problem.mean) / problem.unit
    found = [
        (p.name, p.prior.sd, gradient[:, i], moved[i], most_possible(flute, p))
        for i, p in enumerate(problem.parameters)
        if p.session is None and p.note is None and np.any(gradient[counted, i])
    ]
    offsets = [i for i, p in enumerate(problem.parameters) if p.session is not None]
    sd = problem.parameters[offsets[0]].prior.sd
    mean = np.mean(gradient[np.ix_(counted, offsets)] @ moved[offsets]) / sd
    found.append((SESSION, sd, gradient[:, offsets].sum(axis=1), mean, (-np.inf, np.inf)))
    names, *numbers = zip(*found, strict=True)
    return names, *map(np.array, numbers)


def _common(problem, gradient):
    """Covariance (n, n) [cents^2] of what rows of a session, and of a note, share."""
    shared = [i for i, p in enumerate(problem.parameters) if p.session or p.note]
    return gradient[:, shared] @ gradient[:, shared].T


def _each_alone(r, effect, sd, common, most):
    """Amount, whether that is limited, doubt, shift, the same by note, misfit, rms left, odds."""
    found = [_alone(r, e, sd, common, m) for e, m in zip(effect[:-1], most[:-1], strict=True)]
    # the session's own shift is among what is common: no odds over itself
    found.append((*_alone(r, effect[-1], sd, np.zeros_like(common), most[-1])[:-1], 0.0))
    return map(np.array, zip(*found, strict=True))


def _alone(r, e, sd, common, most):
    """As `_each_alone`, of one cause beside errors that rows have in common."""
    inverse = np.linalg.inv(np.diag(sd**2) + common)
    pull, norm = e @ inverse @ r, e @ inverse @ e
    wanted = pull / norm
    amount = float(np.clip(wanted, *most))
    rest = r - amount * e
    beside = common @ inverse @ rest
    likely, narrowed = pull / (1 + norm), (1 + norm) ** -0.5
    odds = np.log(1 + norm) - pull**2 / (1 + norm)
    odds -= 2 * (_log_between((most - likely) / narrowed) - _log_between(most))
    return (
        amount, amount != wanted, norm**-0.5, np.average(beside, weights=sd**-2.0), beside,
        rest @ inverse @ rest, _rms(rest - beside, sd), odds,
    )  # fmt: skip


def _log_between(limits):
    """Logarithm of a normal deviate's probability to lie between two limits."""
    low, high = limits if limits[0] < 0 else -limits[::-1]  # ln of the smaller tail is exact
    upper, lower = log_ndtr(high), log_ndtr(low)
    return upper + np.log1p(-np.exp(lower - upper))


def _rms(cents, sd):
    return np.sqrt(np.sum((cents / sd) ** 2, axis=-1) / np.sum(sd**-2.0))
