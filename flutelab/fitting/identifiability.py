"""What the notes tell of each correction, what they cannot, and which note would.

Units of the prior sd throughout: a number below 1 means that the notes say less than was
known before them.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.linalg import qr, solve_triangular

from flutelab.errors import FitWarning
from flutelab.fitting.further_note import (
    BLIND,
    UNHEARD,
    Fitted,
    Unseen,
    unseen_of,
    unseen_words,
    untold_words,
)
from flutelab.fitting.phrases import looks_the_same, name_of, noun_of, phrase_of
from flutelab.fitting.twins import Twin, different_notes, twins_of

SEEN = (1 / BLIND**2 - 1) ** 0.5  # the singular value that leaves so much


@dataclass(frozen=True, kw_only=True)
class Blind:
    """A change of several unknowns at once that the notes do not see.

    ``parts``: unknown to amount [prior sd], the leading one first, the fewest with which
    what `words` says is true; ``cents`` = the most that any fitted note moves.
    """

    parts: Mapping[str, float]
    words: str
    cents: float


@dataclass(frozen=True, kw_only=True, eq=False)
class WhatDataTell:
    """What the fitted notes tell of C corrections, all in units of the prior sd.

    Parameters
    ----------
    names : tuple of C str
        The corrections; with the flute's name where each table has its own.
    said : tuple of C str
        The same as nouns.
    prior_sd : (C,)
        In the correction's own unit.
    singular_values : (C,)
        Falling; all other unknowns at their priors' mercy.
    directions : (C, C)
        A right singular vector a row.
    doubt_left : (C,)
        sd after over before, along each direction.
    correlation : (C, C)
    sd_left : (C,)
        sd after over before, of each correction.
    reported : (C,) bool
        Which of them are reported as results.
    unheard : tuple of str
        Those of `names` that move none of the notes.
    blind : tuple of Blind
    twins : tuple of Twin
    unseen : tuple of Unseen
    untold : tuple of str
        A sentence for each reported correction of which no note of these flutes can tell.
    notes : int
        How many different notes were fitted.
    """

    names: tuple[str, ...]
    said: tuple[str, ...]
    prior_sd: np.ndarray
    singular_values: np.ndarray
    directions: np.ndarray
    doubt_left: np.ndarray
    correlation: np.ndarray
    sd_left: np.ndarray
    reported: np.ndarray
    unheard: tuple[str, ...]
    blind: tuple[Blind, ...]
    twins: tuple[Twin, ...]
    unseen: tuple[Unseen, ...]
    untold: tuple[str, ...]
    notes: int


def what_data_tell(calibration: Fitted) -> WhatDataTell:
    """Return what a calibration's notes tell of its corrections, and what they cannot.

    Parameters
    ----------
    calibration : Calibration

    Returns
    -------
    WhatDataTell

    Notes
    -----
    N = the notes' Jacobian, readings in their sd and unknowns in their prior's, its columns
    parted into those of corrections, c, and of all other unknowns, n. The information that
    the notes bring about the corrections, the others free within their priors, is the Schur
    complement ::

        M = Nc'Nc - Nc'Nn (Nn'Nn + 1)^-1 Nn'Nc = Nc'(1 + Nn Nn')^-1 Nc .

    Singular values s and directions v are those of L^-1 Nc, L L' = 1 + Nn Nn' (Cholesky), so
    M v = s^2 v, and the sd along v falls to 1/sqrt(1 + s^2) of what it was. ``doubt_left``,
    ``sd_left`` and ``correlation`` are taken from the calibration's covariance, so they hold
    what the notes' scatter adds to it too.

    Blind: s < 0.75, which leaves more than 0.8 of the sd. Any mixture of blind directions is
    blind; told are those led by one correction each (QR with pivots), with as few parts as
    move the notes by less than 0.75 sd in all (root of the sum of squares) for a change of one
    prior sd. Twins: the cosine between two columns of cents over sd is 0.999 or more either
    way; compared are all corrections, sessions, and the geometry of each flute. An added note
    is one more reading, of usual sd, in the first session of a table: of the bare pipe or any
    fingering with at most one row of closed holes below open ones, in either register.

    References
    ----------
    Schur complement of a Gaussian's information: A. Tarantola, Inverse Problem Theory, SIAM
    2005 (from memory).
    """
    problem, theta = calibration.problem, np.asarray(calibration.value)
    mine = np.array([p.is_correction for p in problem.parameters], dtype=bool)
    own = [p for p in problem.parameters if p.is_correction]
    columns = _columns(problem, theta)
    values, directions = singular_directions(columns, mine)
    unit_covariance = calibration.covariance / np.outer(problem.unit, problem.unit)
    covariance = unit_covariance[np.ix_(mine, mine)]
    sd = np.sqrt(np.diag(covariance))
    heard = np.max(np.abs(columns[:, mine]) * problem.sd[:, None], axis=0) > UNHEARD
    names = tuple(name_of(problem, p) for p in own)
    unheard = tuple(name for name, is_heard in zip(names, heard, strict=True) if not is_heard)
    return WhatDataTell(
        names=names,
        said=tuple(noun_of(problem, p) for p in own),
        prior_sd=problem.unit[mine],
        singular_values=values,
        directions=directions,
        doubt_left=np.sqrt(np.einsum("kc,cd,kd->k", directions, covariance, directions)),
        correlation=covariance / np.outer(sd, sd),
        sd_left=sd,
        reported=np.array([p.name in calibration.free for p in own], dtype=bool),
        unheard=unheard,
        blind=tuple(_blind(problem, columns, values, directions)),
        twins=tuple(twins_of(problem, theta)),
        unseen=tuple(unseen_of(calibration)),
        untold=tuple(untold_words(calibration, unheard)),
        notes=len(different_notes(problem)),
    )


def warn_of_blind(result: WhatDataTell) -> None:
    """Warn of reported corrections that the notes do not see.

    Parameters
    ----------
    result : WhatDataTell

    Warns
    -----
    FitWarning
        Naming each, and the note that would help most, or why none does.
    """
    lines = [*map(unseen_words, result.unseen), *result.untold]
    if lines:
        msg = "\n".join(lines)
        warnings.warn(msg, FitWarning, stacklevel=2)


def singular_directions(columns: np.ndarray, wanted: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return singular values and directions of some unknowns, all others marginalised.

    Parameters
    ----------
    columns : (N, P)
        Notes' Jacobian, readings in their sd, unknowns in their prior's.
    wanted : (P,) bool
        C of the P unknowns.

    Returns
    -------
    values : (C,)
        Falling, 0 where there are fewer notes than unknowns.
    directions : (C, C)
        A direction a row, its largest part positive; one that moves no note stands alone.
    """
    rest, mine = columns[:, ~wanted], columns[:, wanted]
    count = mine.shape[1]
    heard = np.flatnonzero(np.any(mine != 0, axis=0))
    values, directions = np.zeros(count), np.zeros((count, count))
    lower = np.linalg.cholesky(np.eye(len(columns)) + rest @ rest.T)
    seen = solve_triangular(lower, mine[:, heard], lower=True)
    _, found, right = np.linalg.svd(np.atleast_2d(seen), full_matrices=True)
    values[: len(found)] = found
    directions[: len(heard), heard] = right
    for line, alone in enumerate(np.setdiff1d(np.arange(count), heard), len(heard)):
        directions[line, alone] = 1.0
    way = [np.sign(line[np.argmax(np.abs(line))]) for line in directions]
    return values, directions * np.reshape(way, (count, 1))


def _columns(problem, theta):
    """Cents over sd that each fitted note gains from one prior sd of each unknown, (N, P)."""
    count = len(problem.measured)
    return -problem.jacobian((theta - problem.mean) / problem.unit)[:count]


def _blind(problem, columns, values, directions):
    """Blind directions, each led by another correction, in the order of the unknowns."""
    mine = np.array([p.is_correction for p in problem.parameters], dtype=bool)
    heard = np.any(columns[:, mine] != 0, axis=0)
    basis = directions[(values < SEEN) & np.any(directions[:, heard] != 0, axis=1)]
    if not len(basis):
        return
    leaders = qr(basis, mode="r", pivoting=True)[1][: len(basis)]
    led = np.linalg.solve(basis[:, leaders], basis)
    for leader, direction in sorted(zip(leaders.tolist(), led, strict=True), key=lambda x: x[0]):
        whole = _with_the_rest(columns, mine, direction / np.linalg.norm(direction))
        yield _fewest_parts(problem, columns, whole, np.flatnonzero(mine)[leader])


def _with_the_rest(columns, mine, direction):
    """A direction of the corrections, all other unknowns where the notes then expect them."""
    rest = columns[:, ~mine]
    whole = np.zeros(columns.shape[1])
    whole[mine] = direction
    inner = rest.T @ rest + np.eye(rest.shape[1])
    whole[~mine] = -np.linalg.solve(inner, rest.T @ (columns[:, mine] @ direction))
    return whole


def _fewest_parts(problem, columns, whole, leader):
    effect = columns * whole
    order = np.argsort(-np.linalg.norm(effect, axis=0), kind="stable")
    order = [leader, *order[order != leader].tolist()]
    sizes = np.linalg.norm(np.cumsum(effect[:, order], axis=1), axis=0)
    parts = order[: int(np.argmax(sizes <= SEEN * (1 + 1e-9))) + 1]
    parameters = problem.parameters
    return Blind(
        parts={name_of(problem, parameters[i]): float(whole[i]) for i in parts},
        words=looks_the_same([phrase_of(problem, parameters[i], whole[i]) for i in parts]),
        cents=float(np.max(np.abs(effect[:, parts].sum(axis=1) * problem.sd))),
    )
