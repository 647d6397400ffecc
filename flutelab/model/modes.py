"""Modes: complex eigenfrequencies f (1 + j/2Q) of flute, air and openings together.

The reactive model (no losses, no radiation resistance) is counted exactly; each
root is then followed while losses and radiation are switched on.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import ValidityWarning, already_warned
from flutelab.model.chain import Chain, Formulas, chain
from flutelab.model.corrections import Corrections
from flutelab.model.flute import Flute
from flutelab.model.lattice import (
    Elements,
    bore_radii,
    elements,
    noted_impedance,
    off_the_line,
    system,
    warn_of_frequencies,
)
from flutelab.model.open_holes import open_pair
from flutelab.model.rows import Rows, checked, distinct, is_open, take
from flutelab.physics.hole import cutoff_frequency

STEPS = (0.5, 1.0)  # of losses and radiation, on the way from the reactive model
FINEST_STEP = 0.02
FARTHEST_CENTS = 120.0  # a root that moves farther in a step may be another's
ROOM = 1.05  # above c/(2 x1): series arms shorten the bore a little
SECTIONS = 4
CLOSE = 0.1  # relative width of a bracket at which Newton is tried
NARROW = 1e-9  # and at which the bracket itself is the answer
ALMOST_NODE = 1e-12j  # an ideal node's impedance, so that its admittance is a number
PLANE_KA = 1.8  # just below the first cross mode
NEWTON_STEPS = 12
LONGEST = 0.1  # of the root, a single step
CONVERGED = 1e-7  # relative change after which Newton's next would be lost in rounding
ROUGH = 1e-4  # and after which it is good enough to go on from
JUDGED_BY = 3  # modes, from the lowest, with whose strongest all are compared
SPARE = 2  # modes below a register that may be weak
WEAK = 0.15  # strength below which a mode is not counted as a register; see docs/model.md
NEAR_CUTOFF = 0.7
LOW_Q = 20.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Modes:
    """The first M modes of N rows, each array (N, M).

    ``frequency`` [Hz] (nan where none), ``q``, ``strength`` (peak admittance at the head,
    behind a window times frequency squared, against the strongest of the row's first three,
    however many are asked for; higher ones may have more than 1; with the walls' losses as their
    formula has them, whatever their correction), ``status`` (``ok``,
    ``near cutoff``, ``weak``, ``none``) and ``reason`` (words where there is no mode, else "").
    """

    frequency: np.ndarray
    q: np.ndarray
    strength: np.ndarray
    status: np.ndarray
    reason: np.ndarray
    root: np.ndarray


ElementsAt = Callable[..., Elements]


def modes(
    flute: Flute,
    fingerings: Rows,
    corrections: Corrections | None = None,
    *,
    count: int = 3,
    formulas: Formulas | None = None,
) -> Modes:
    """Return the first `count` modes of each row.

    Parameters
    ----------
    flute : Flute
    fingerings : Rows
        N rows.
    corrections : Corrections, optional
        Without a batch axis.
    count : int
        How many modes from the lowest.
    formulas : Formulas, optional

    Returns
    -------
    Modes
        Never an exception for a row without a mode: status ``none`` and a reason.

    Warns
    -----
    ValidityWarning
        Where the flute or a mode that speaks leaves a formula's range, and of openings
        that do not lie on one line, with what is left out.
    """
    found, numbers = solved_modes(flute, fingerings, corrections, count=count, formulas=formulas)
    warn_of_notes(numbers, found.frequency[(found.status != "none") & (found.status != "weak")])
    return found


def warn_of_notes(numbers: Chain, frequency: np.ndarray) -> None:
    """Warn where notes [Hz] are beyond what ends, holes and wall losses hold for."""
    frequency = frequency[np.isfinite(frequency)]
    if frequency.size:
        warn_of_frequencies(numbers, np.min(frequency), np.max(frequency))


def solved_modes(
    flute: Flute,
    fingerings: Rows,
    corrections: Corrections | None,
    *,
    count: int,
    formulas: Formulas | None = None,
) -> tuple[Modes, Chain]:
    """Return `modes` without a warning of their frequencies, and the chain of the distinct rows."""
    index, inverse = distinct(checked(fingerings))
    fingerings = take(fingerings, index)
    numbers = chain(flute, fingerings, corrections, formulas)
    limit = plane_wave_limit(numbers)
    ceiling = _ceiling(numbers, len(fingerings))
    with already_warned():
        roots, reason = find_roots(at(numbers), ceiling, max(count, JUDGED_BY), limit)
        peak = _peak_admittance(*_usually_damped(numbers, roots))
        if numbers.head.kind == "window":  # behind it healthy modes' peaks fall as 1/f^2
            peak = peak * roots.real**2
    peak = np.where(reason == "", peak, 0.0)
    strongest = np.max(peak[:, :JUDGED_BY], axis=-1, keepdims=True)
    strength = (peak / np.where(strongest > 0, strongest, 1.0))[:, :count]
    reason = reason[:, :count]
    roots = np.where(reason == "", roots[:, :count], np.nan)
    with np.errstate(divide="ignore"):
        q = roots.real / (2 * roots.imag)
    pair = open_pair(flute, fingerings, numbers, corrections)
    status = np.where(_near_cutoff(fingerings, pair, roots.real, q), "near cutoff", "ok")
    # only behind an open hole are there modes that do not speak
    vented = np.any(is_open(fingerings), axis=-1, keepdims=True)
    status = np.where((strength < WEAK) & vented, "weak", status)
    speaks = (reason == "") & (status != "weak")
    _warn_of_unheard(numbers, roots, speaks)
    found = Modes(
        frequency=roots.real[inverse],
        q=q[inverse],
        strength=strength[inverse],
        status=np.where(reason == "", status, "none")[inverse],
        reason=reason[inverse],
        root=roots[inverse],
    )
    return found, numbers


def chain_modes(numbers: Chain, rows: int, count: int) -> np.ndarray:
    """Return the first `count` modes [Hz] of N = `rows` notes, (N, count), nan where none.

    Unlike `modes` it does not judge which of them speak, and takes corrections that differ
    by note: leaves of shape (1, N, 1).
    """
    with already_warned():
        root, reason = find_roots(
            at(numbers), _ceiling(numbers, rows), count, plane_wave_limit(numbers)
        )
    return np.where(reason == "", root.real, np.nan)


def _warn_of_unheard(numbers, roots, speaks):
    """Warn of openings off the line: the size is that of their coupling as if they lay on it."""
    told = off_the_line(numbers)
    if not told:
        return
    heard = replace(numbers, pair=numbers.pair | numbers.unheard)
    start = np.where(speaks, roots, roots[speaks][0] if np.any(speaks) else 1.0)
    with already_warned():
        off = 1200 * np.log2(np.abs(newton(at(heard), start).real / start.real))
    most = np.max(np.abs(off), where=speaks, initial=0.0)
    warnings.warn(
        f"{told}; on one line it would move a note by up to {most:.1f} cents",
        ValidityWarning,
        stacklevel=4,
    )


def searched(register: int | np.ndarray) -> int:
    """Return among how many modes, from the lowest, registers up to the highest are sought."""
    return int(np.max(register, initial=1)) + SPARE


def register_roots(found: Modes, register: np.ndarray) -> np.ndarray:
    """Return for each row the column of its register among the modes that speak; -1 = none.

    Register n is sought among the first `searched(n)` modes, even where more were found.
    """
    register = np.asarray(register)[:, None]
    speaks = (found.status == "ok") | (found.status == "near cutoff")
    order = np.cumsum(speaks, axis=-1)
    sought = np.arange(speaks.shape[-1]) < register + SPARE
    hit = speaks & sought & (order == register)
    return np.where(hit.any(axis=-1), hit.argmax(axis=-1), -1)


def at(numbers: Chain) -> ElementsAt:
    """Return the elements of a chain as a function of frequency and losses (0 to 1)."""

    def elements_at(frequency, losses=1.0):
        return elements(numbers, frequency, loss=losses, radiation=losses)

    return elements_at


def _ceiling(numbers: Chain, rows: int) -> np.ndarray:
    """c/(2 x1) of each row: above the first mode; x1 = head to the first open opening."""
    places = np.cumsum(numbers.tubes, axis=-1)
    is_open = np.concatenate(
        [numbers.is_open, np.ones(numbers.is_open.shape[:-1] + (1,), bool)], axis=-1
    )
    first = np.min(np.where(is_open, places, np.inf), axis=-1)
    speed = numbers.air.openings.sound_speed
    speed = speed[..., 0] if np.ndim(speed) else speed
    return np.broadcast_to((speed / (2 * first))[..., 0], (1, rows))[0]


def _usually_damped(numbers, roots):
    """Elements, and roots near those given, with the walls' losses as their formula has them."""
    if np.all(numbers.loss == 1):
        return at(numbers), roots
    usual = at(replace(numbers, loss=1.0))
    return usual, newton(usual, roots, enough=ROUGH)


def _peak_admittance(at, roots):
    """|Y| at the head on top of each mode, (N, M): Y ~ 1/(Z' (f - root))."""
    slope = _value_and_slope(lambda frequency: noted_impedance(at(frequency)), roots)[1]
    return 1 / np.abs(slope * np.maximum(roots.imag, CONVERGED * roots.real))


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
    """Polish roots (N, M) of the mode condition until a step is relatively `enough`."""
    for _ in range(NEWTON_STEPS):
        value, slope = _value_and_slope(lambda f: condition(at(f, losses)), root)
        change = value / slope
        size = np.abs(change / root)
        root = root - change * np.minimum(1.0, LONGEST / np.maximum(size, LONGEST))
        if np.all((size < enough) | ~np.isfinite(size)):
            break
    return root


def _value_and_slope(function, root):
    """Value and derivative in frequency at roots (N, M), by a central difference."""
    step = 1e-7 * np.abs(root)
    pair = np.concatenate([root - step, root + step], axis=-1)
    below, above = np.split(function(pair[None])[0], 2, axis=-1)
    return 0.5 * (below + above), (above - below) / (2 * step)


def condition(e: Elements) -> np.ndarray:
    """Return the function whose zeros are the modes, whatever opening drives them.

    det K times the tubes' transfer impedances: no poles, so that Newton's method does
    not leave a root that has a pole of the head's impedance beside it.
    """
    return np.linalg.det(system(e)[0]) * np.prod(e.tubes[1], axis=-1)


def mode_count(e: Elements) -> np.ndarray:
    """Return how many reactive modes lie below each (real) frequency, exactly.

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


def _near_cutoff(fingerings, pair, frequency, q):
    """Above 0.7 of the cutoff of the first two open holes; with one, where Q < 20."""
    cutoff = cutoff_frequency(*pair)[:, None]
    one = np.sum(is_open(fingerings), axis=-1) == 1
    return np.where(one[:, None], q < LOW_Q, frequency > NEAR_CUTOFF * cutoff)


def plane_wave_limit(numbers: Chain) -> float:
    """Return the frequency at which ka = 1.8 in the widest bore [Hz]: cross modes are near."""
    widest = max(np.max(radius) for radius in bore_radii(numbers))
    speed = np.min(numbers.air.openings.sound_speed)
    return float(PLANE_KA * speed / (2 * np.pi * widest))
