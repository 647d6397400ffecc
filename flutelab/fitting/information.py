"""What notes tell of the unknowns, added up: notes made and notes to come, priors tightened."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True, kw_only=True, eq=False)
class Lines:
    """N notes to come, or to foretell, and how they move with the unknowns.

    Parameters
    ----------
    gradient : (N, P)
        Cents per prior sd of the P unknowns of a fit.
    more : mapping to (N,)
        The same of further unknowns, whatever they are called.
    sd : (N,)
        Of each reading [cents].
    tightened : mapping of int to float
        Factor (below 1) by which the prior sd of one of the P shrinks.
    """

    gradient: np.ndarray
    more: Mapping[Hashable, np.ndarray]
    sd: np.ndarray
    tightened: Mapping[int, float] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, eq=False)
class Information:
    """What is known of Q unknowns, in units of their prior sd: the P of a fit, then `keys`.

    ``notes`` (Q, Q) = N'N, N the notes' Jacobian in their sd; ``prior`` (Q,) = 1 / variance;
    ``widened`` = factor on the readings' sd by which the fit widened its errors.
    """

    keys: tuple[Hashable, ...]
    notes: np.ndarray
    prior: np.ndarray
    widened: float


def informed(jacobian: np.ndarray, widened: float) -> Information:
    """Return what notes tell, their Jacobian (N, P) in sd and prior sd."""
    count = jacobian.shape[1]
    return Information(keys=(), notes=jacobian.T @ jacobian, prior=np.ones(count), widened=widened)


def with_lines(known: Information, lines: Lines) -> Information:
    """Return what is known once some notes are read and some priors tightened.

    Examples
    --------
    >>> known = informed(np.array([[3.0]]), 1.0)
    >>> sure = Lines(gradient=np.array([[2.0]]), more={}, sd=np.array([1.0]))
    >>> print(covariance(known), covariance(with_lines(known, sure)))
    [[0.1]] [[0.07142857]]
    """
    keys = known.keys + tuple(key for key in lines.more if key not in known.keys)
    new = len(keys) - len(known.keys)
    columns = _columns(lines, keys) / lines.sd[:, None]
    prior = np.concatenate([known.prior, np.ones(new)])
    for unknown, factor in lines.tightened.items():
        prior[unknown] = max(prior[unknown], factor**-2)
    return Information(
        keys=keys,
        notes=np.pad(known.notes, (0, new)) + columns.T @ columns,
        prior=prior,
        widened=known.widened,
    )


def covariance(known: Information) -> np.ndarray:
    """Return the covariance (Q, Q) of least squares, the readings' scatter widened."""
    prior = np.diag(known.prior)
    inverse = np.linalg.inv(known.notes + prior)
    if known.widened == 1:
        return inverse
    return inverse @ (known.widened**2 * known.notes + prior) @ inverse


def spread(known: Information, target: Lines) -> float:
    """Return the root mean square of the sd of the target's lines.

    A further unknown of the target that no note has told of has its prior sd.
    """
    columns = _columns(target, known.keys)
    variance = np.einsum("np,pq,nq->n", columns, covariance(known), columns)
    for key, column in target.more.items():
        if key not in known.keys:
            variance = variance + column**2
    return float(np.sqrt(np.mean(variance)))


def _columns(lines, keys):
    """Cents per prior sd of all unknowns, (N, Q)."""
    more = np.zeros((len(lines.gradient), len(keys)))
    for n, key in enumerate(keys):
        more[:, n] = lines.more.get(key, 0.0)
    return np.concatenate([lines.gradient, more], axis=1)
