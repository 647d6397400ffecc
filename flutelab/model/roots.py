"""Roots of the mode condition: counted exactly without losses, then followed as they grow.

The reactive model has neither losses nor radiation resistance; what is counted there is what
there is, and each root is followed while both are switched on.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from flutelab.model.chain import Chain
from flutelab.model.lattice import Elements, elements, system

STEPS = (0.5, 1.0)  # of losses and radiation, on the way from the reactive model
FINEST_STEP = 0.02
FARTHEST_CENTS = 120.0  # a root that moves farther in a step may be another's
ROOM = 1.05  # above c/(2 x1): series arms shorten the bore a little
SECTIONS = 4
CLOSE = 0.1  # relative width of a bracket at which Newton is tried
NARROW = 1e-9  # and at which the bracket itself is the answer
ALMOST_NODE = 1e-12j  # an ideal node's impedance, so that its admittance is a number
NEWTON_STEPS = 12
LONGEST = 0.1  # of the root, a single step
CONVERGED = 1e-7  # relative change after which Newton's next would be lost in rounding
ROUGH = 1e-4  # and after which it is good enough to go on from

ElementsAt = Callable[..., Elements]


def at(numbers: Chain) -> ElementsAt:
    """Return the elements of a chain as a function of frequency and losses (0 to 1).

    Parameters
    ----------
    numbers : Chain
    """

    def elements_at(frequency, losses=1.0):
        return elements(numbers, frequency, loss=losses, radiation=losses)

    return elements_at


def find_roots(
    at: ElementsAt, ceiling: np.ndarray, count: int, limit: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return the first `count` complex roots of N rows.

    Parameters
    ----------
    at : callable
        ``at(frequency (1, N, F), losses) -> Elements``, losses 0 to 1.
    ceiling : (N,)
        A frequency above the first reactive mode of each row [Hz].
    count : int
    limit : float
        Highest frequency at which the elements hold [Hz].

    Returns
    -------
    root : (N, count) complex [Hz]
        Of no account where there is a reason.
    reason : (N, count) str
        "" where found.
    """
    root, reason = _reactive_roots(at, np.asarray(ceiling, dtype=float), count, limit)
    losses, drift = 0.0, np.zeros_like(root)
    pending = list(STEPS)
    while pending:
        # losses move a root nearly in proportion: start where the last step points
        guess = root + drift * (pending[0] - losses)
        enough = CONVERGED if pending[0] == 1 else ROUGH
        moved = np.where(reason == "", newton(at, guess, pending[0], enough=enough), root)
        moved_by = np.abs(1200 * np.log2(np.abs(moved) / np.abs(root)))
        strayed = ~(moved_by <= FARTHEST_CENTS)
        if np.any(strayed) and pending[0] - losses > FINEST_STEP:
            pending.insert(0, 0.5 * (losses + pending[0]))
            continue
        drift = (moved - root) / (pending[0] - losses)
        root, losses = moved, pending.pop(0)
        reason = np.where(strayed, "its resonance is damped away", reason)
    lost = (reason == "") & ~(root.imag >= -CONVERGED * np.abs(root))
    return root, np.where(lost, "its resonance is damped away", reason)


def _reactive_roots(at, ceiling, count, limit):
    """Real roots (N, count) of the reactive model as complex numbers, and reasons."""
    order = np.arange(1, count + 1)
    high = np.minimum(ROOM * ceiling[:, None] * order, limit)
    up_to = _counted(at, high)  # modes below `high`, as `under` is below `low`
    if np.any(up_to < order):
        high = np.where(up_to < order, limit, high)
        up_to = _counted(at, high)
    reason = np.where(up_to < order, "no mode in the range of plane waves in this bore", "")
    low, under = 1e-4 * high, np.zeros_like(up_to)
    root = np.full(high.shape, np.nan)
    sections = np.arange(1, SECTIONS + 1) / (SECTIONS + 1)
    while not np.all(np.isfinite(root) | (reason != "")):
        points = low[..., None] + (high - low)[..., None] * sections
        counts = _counted(at, points)
        at_low = np.sum(counts < order[:, None], axis=-1)[..., None]
        low, high = _between(low, points, high, at_low)
        under, up_to = _between(under, counts, up_to, at_low)
        width = np.max((high - low) / high)
        if width < CLOSE:
            start = np.where(reason == "", 0.5 * (low + high), 0.5 * high)
            polished = newton(at, start + 0j, 0.0, enough=ROUGH).real
            # where one mode lies in a bracket, a root inside is that mode
            found = (up_to - under == 1) & (polished >= low) & (polished <= high)
            root = np.where(found | (width < NARROW), np.clip(polished, low, high), root)
    # a row without a mode keeps a harmless frequency while the others are solved
    return np.where(reason == "", root, 0.5 * high) + 0j, reason


def _between(low, points, high, index):
    """Neighbours in low, points (..., P), high: the one at `index` (..., 1) and the next."""
    edges = np.concatenate([low[..., None], points, high[..., None]], axis=-1)
    pair = np.concatenate([index, index + 1], axis=-1)
    return np.moveaxis(np.take_along_axis(edges, pair, axis=-1), -1, 0)


def _counted(at, frequency):
    """Mode count at frequencies (N, ...)."""
    flat = frequency.reshape(1, frequency.shape[0], -1)
    return mode_count(at(flat, 0.0)).reshape(frequency.shape)


def newton(
    at: ElementsAt, root: np.ndarray, losses: float = 1.0, *, enough: float = CONVERGED
) -> np.ndarray:
    """Return roots of the mode condition from near ones, by Newton's method.

    Parameters
    ----------
    at : callable
        As of `find_roots`.
    root : (N, M) complex
        [Hz]
    losses : float
        0 to 1.
    enough : float
        Relative step after which it ends.
    """
    for _ in range(NEWTON_STEPS):
        value, slope = value_and_slope(lambda f: condition(at(f, losses)), root)
        change = value / slope
        size = np.abs(change / root)
        root = root - change * np.minimum(1.0, LONGEST / np.maximum(size, LONGEST))
        if np.all((size < enough) | ~np.isfinite(size)):
            break
    return root


def value_and_slope(function: Callable, root: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return value and derivative in frequency, by a central difference.

    Parameters
    ----------
    function : callable
        Of frequencies (1, N, F) [Hz].
    root : (N, M) complex
        Where [Hz].
    """
    step = 1e-7 * np.abs(root)
    pair = np.concatenate([root - step, root + step], axis=-1)
    below, above = np.split(function(pair[None])[0], 2, axis=-1)
    return 0.5 * (below + above), (above - below) / (2 * step)


def condition(e: Elements) -> np.ndarray:
    """Return the function whose zeros are the modes, whatever opening drives them.

    Parameters
    ----------
    e : Elements

    Notes
    -----
    det K times the tubes' transfer impedances: no poles, so that Newton's method does
    not leave a root that has a pole of the head's impedance beside it.
    """
    return np.linalg.det(system(e)[0]) * np.prod(e.tubes[1], axis=-1)


def mode_count(e: Elements) -> np.ndarray:
    """Return how many reactive modes lie below each (real) frequency, exactly.

    Parameters
    ----------
    e : Elements
        Of the reactive model.

    Notes
    -----
    The count of W. H. Wittrick and F. W. Williams (Q. J. Mech. Appl. Math. 24,
    263-284, 1971; from memory): modes with all node pressures clamped to zero, plus
    the positive eigenvalues of the nodes' susceptance matrix. A wholly closed pipe's
    uniform pressure (f = 0) is not counted.
    """
    a, b, c, d = e.openings
    b = np.where(b == 0, ALMOST_NODE, b)
    matrix, pressure = system(replace(e, openings=(a, b, c, d)))
    susceptance = np.linalg.solve(np.swapaxes(pressure, -1, -2), np.swapaxes(matrix, -1, -2)).imag
    positive = np.sum(_pivots(susceptance) > 0, axis=-1)
    closed_everywhere = np.all(e.openings[0] == 0, axis=-1)
    return positive + e.clamped - closed_everywhere


def _pivots(matrix):
    """Pivots of the symmetric elimination; their signs are the eigenvalues' (Sylvester)."""
    work, pivots = np.array(matrix), []
    while work.shape[-1]:
        pivot = work[..., 0, 0]
        pivots.append(pivot)
        column = work[..., 1:, 0]
        work = work[..., 1:, 1:] - column[..., :, None] * (
            column[..., None, :] / pivot[..., None, None]
        )
    return np.stack(pivots, axis=-1)
