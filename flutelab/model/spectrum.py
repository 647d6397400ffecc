"""Spectra at the head: impedance, modes and the zeros of the reactance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from flutelab.errors import already_warned
from flutelab.model.chain import Formulas, chain
from flutelab.model.corrections import Corrections
from flutelab.model.flute import Flute, Window
from flutelab.model.lattice import (
    BLOCK,
    checked_frequency,
    input_impedance,
    noted_impedance,
)
from flutelab.model.modes import Modes, chain_modes, plane_wave_limit, refuse_batch, solved_modes
from flutelab.model.roots import ElementsAt, at, mode_count
from flutelab.model.rows import Rows, checked
from flutelab.model.validity import warn_of_unheard

LOWEST = 50.0  # Hz, where a spectrum begins
TIMES_FIRST = 4.0  # its top over the highest first mode
POINTS = 1600  # of a spectrum, besides its modes: 2 Hz apart up to 3 kHz
ABOVE = 1.05  # losses lower a mode: those reactive above the top may lie below it
TOLERANCE = 1e-10  # relative, of zeros
STEPS = 60


@dataclass(frozen=True, kw_only=True, eq=False)
class Spectrum:
    """Impedance at the head of N rows at F frequencies, with what marks the notes in it.

    ``frequency`` (F,) [Hz]; ``impedance`` (N, F) [Pa s/m3], as `input_impedance` gives it;
    ``modes`` up to the highest frequency, (N, M); ``zeros`` (N, Z) [Hz] of the reactance, as
    `reactance_zeros` gives them, nan where a row has fewer (of two that lie within a step of the
    axis the one may find and the other miss both); ``head`` "window" or "head".
    """

    label: tuple[str, ...]
    frequency: np.ndarray
    impedance: np.ndarray
    modes: Modes
    zeros: np.ndarray
    head: str = "head"


def spectrum(
    flute: Flute,
    fingerings: Rows,
    corrections: Corrections | None = None,
    *,
    frequency: np.ndarray | None = None,
    formulas: Formulas | None = None,
) -> Spectrum:
    """Return the spectrum of each row with its modes marked.

    Parameters
    ----------
    flute : Flute
    fingerings : Rows
        N rows.
    corrections : Corrections, optional
        Without a batch axis.
    frequency : (F,) real, optional
        [Hz], increasing. Default: from 50 Hz to four times the highest first mode of the
        rows, or to where cross modes begin if that is lower (ka = 1.8), 1600 points evenly
        and every mode's own frequency, so that no peak is cut off between two points.
    formulas : Formulas, optional

    Returns
    -------
    Spectrum
        At a window or an open head modes are the minima of the impedance (peaks of
        `admittance`); at a stopped head they are its peaks. A mode below the lowest frequency
        keeps its place among the modes.

    Raises
    ------
    ValueError
        No frequency, one that is not greater than 0, or frequencies that do not increase.

    Warns
    -----
    ValidityWarning
        As `input_impedance`, of the highest frequency too.
    """
    usual = frequency is None
    if not usual:
        frequency = checked_frequency(frequency, increasing=True)
    refuse_batch(corrections)
    with already_warned():
        numbers = chain(flute, checked(fingerings), corrections, formulas)
        top = _top(numbers, len(fingerings)) if usual else float(frequency[-1])
        found = _modes_up_to(top, flute, fingerings, corrections, formulas, numbers)
    if usual:
        marked = found.frequency[found.frequency >= LOWEST]
        frequency = np.unique([*np.linspace(LOWEST, top, POINTS), *marked])
    impedance = input_impedance(flute, fingerings, frequency, corrections, formulas)
    noted = 1 / impedance if numbers.head.kind == "stopped" else impedance
    known = (frequency, noted.imag) if usual else None  # as close as the zeros' own grid
    with already_warned():
        zeros = zeros_of(at(numbers), len(fingerings), top, found.root, known)
    return Spectrum(
        label=fingerings.label,
        frequency=frequency,
        impedance=impedance,
        modes=found,
        zeros=zeros,
        head="window" if isinstance(flute.head, Window) else "head",
    )


def admittance(seen: Spectrum) -> np.ndarray:
    """Return the admittance at the head, 1/impedance [m3/(Pa s)], (N, F).

    Parameters
    ----------
    seen : Spectrum
        Of N rows at F frequencies.
    """
    return 1 / seen.impedance


def _top(numbers, rows):
    """Return the highest frequency of the default axis."""
    first = chain_modes(numbers, rows, 1)
    highest = np.max(first, initial=0.0, where=np.isfinite(first))
    limit = plane_wave_limit(numbers)
    return min(TIMES_FIRST * highest, limit) if highest else limit


def _modes_up_to(top, flute, fingerings, corrections, formulas, numbers):
    """All modes of each row below a frequency; those of other rows blank above it."""
    highest = np.full((1, len(fingerings), 1), ABOVE * top)
    count = max(1, int(np.max(mode_count(at(numbers)(highest, 0.0)))))
    found, _ = solved_modes(flute, fingerings, corrections, count=count, formulas=formulas)
    beyond = found.frequency > top
    kept = ~np.all(beyond | (found.status == "none"), axis=0)
    kept[0] = True
    blank = {
        "frequency": np.where(beyond, np.nan, found.frequency),
        "q": np.where(beyond, np.nan, found.q),
        "strength": np.where(beyond, 0.0, found.strength),
        "status": np.where(beyond, "none", found.status),
        "reason": np.where(beyond, "above the highest frequency of the spectrum", found.reason),
        "root": np.where(beyond, np.nan, found.root),
    }
    return Modes(**{name: value[:, kept] for name, value in blank.items()})


# --- zeros of the reactance ---------------------------------------------------------------


def reactance_zeros(
    flute: Flute,
    fingerings: Rows,
    corrections: Corrections | None = None,
    *,
    highest: float,
    formulas: Formulas | None = None,
) -> np.ndarray:
    """Return where the reactance at the head rises through zero [Hz], (N, M), padded with nan.

    Parameters
    ----------
    flute : Flute
    fingerings : Rows
        N rows.
    corrections : Corrections, optional
        Without a batch axis.
    highest : float
        Up to which frequency [Hz].
    formulas : Formulas, optional

    Raises
    ------
    ValueError
        A highest frequency that is not greater than 0.

    Warns
    -----
    ValidityWarning
        Where the flute leaves a formula's range.

    Notes
    -----
    Im Z = 0 with d(Im Z)/df > 0; falling zeros are the antiresonances. At a stopped head the
    zeros are those of the susceptance, Im(1/Z). They agree with the eigenfrequencies of `modes`
    to 0.1 cent well below the lattice's cutoff. Near it, and wherever a resonance is weak or
    broad, resistance keeps the reactance from reaching zero: zeros vanish, or come in pairs, of
    which one falls. Zeros must not be counted as registers; `modes` does that.
    """
    if not 0 < highest < np.inf:
        msg = f"highest frequency is {highest} Hz; it must be greater than 0, such as 2000"
        raise ValueError(msg)
    numbers = chain(flute, checked(fingerings), corrections, formulas)
    warn_of_unheard(numbers, stacklevel=3)
    with already_warned():
        found = _modes_up_to(highest, flute, fingerings, corrections, formulas, numbers)
        return zeros_of(at(numbers), len(fingerings), highest, found.root)


def zeros_of(
    at: ElementsAt,
    rows: int,
    highest: float,
    near: np.ndarray,
    known: tuple[np.ndarray, np.ndarray] | None = None,
) -> np.ndarray:
    """Return rising zeros of the reactance at the head [Hz], (N, M), padded with nan.

    Parameters
    ----------
    at : callable
        ``at(frequency (1, N, F)) -> Elements``.
    rows : int
        N.
    highest : float
        [Hz]
    near : (N, M) complex
        Eigenfrequencies [Hz], nan where none: a narrow one is looked at closely.
    known : ((F,), (N, F)), optional
        Frequencies up to `highest`, and the reactance there or a positive multiple of it.
        Default: 1600 of them evenly.

    Notes
    -----
    Signs at these frequencies and, about each eigenfrequency f(1 + j/2Q),
    from -2 to 2 of its half widths f/2Q; then Ridders' method in each bracket. A pair of
    zeros between two points is missed.
    """
    grid, value = _sampled(at, rows, highest, near, known)
    rising = (value[:, :-1] < 0) & (value[:, 1:] >= 0)
    count = np.sum(rising, axis=-1)
    first = np.argsort(~rising, axis=-1, kind="stable")[:, : np.max(count, initial=0)]
    low, high = (np.take_along_axis(grid, first + step, axis=-1) for step in (0, 1))
    # rows with fewer zeros work out a bracket without one, of no account
    zeros = ridders(lambda f: _reactance(at, f), low, high)
    return np.where(np.arange(first.shape[-1]) < count[:, None], zeros, np.nan)


def _sampled(at, rows, highest, near, known):
    """Frequencies (N, F), increasing, and the reactance there."""
    below = np.empty(0)
    if known is None:
        even = np.linspace(0.0, highest, POINTS + 1)[1:]
        known = even, _reactance(at, np.broadcast_to(even, (rows, POINTS)))
    elif known[0][0] > highest / POINTS:  # as far down as that
        below = np.arange(highest / POINTS, known[0][0], highest / POINTS)
    widths = np.linspace(-2.0, 2.0, 9)
    root = np.where(np.isfinite(near) & (near.real < highest), near, highest)
    close = (root.real[..., None] + root.imag[..., None] * widths).reshape(rows, -1)
    close = np.clip(close, highest / POINTS, highest)
    more = np.concatenate([np.broadcast_to(below, (rows, below.size)), close], axis=-1)
    grid = np.concatenate([np.broadcast_to(known[0], known[1].shape), more], axis=-1)
    value = np.concatenate([known[1], _reactance(at, more)], axis=-1)
    order = np.argsort(grid, axis=-1)
    return np.take_along_axis(grid, order, axis=-1), np.take_along_axis(value, order, axis=-1)


def _reactance(at, frequency):
    """Im Z at the head, or Im 1/Z where it is stopped, (N, F), over the bore's rho c/S."""
    parts = np.array_split(frequency[None], 1 + frequency.size // BLOCK, axis=-1)
    return np.concatenate([noted_impedance(at(part))[0] for part in parts], axis=-1).imag


def ridders(function: Callable, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Return a zero of a real function in each bracket, to 1e-10 relative.

    Parameters
    ----------
    function : callable
        Array to array of the same shape, elementwise.
    low, high : array
        Where its signs differ; elsewhere the result is some number between them.

    References
    ----------
    C. J. F. Ridders, IEEE Trans. Circuits Syst. 26, 979-980 (1979), from memory.
    """
    if not low.size:
        return low
    at_low, at_high = function(low), function(high)
    last = high
    for _ in range(STEPS):
        middle = 0.5 * (low + high)
        value = function(middle)
        root = np.sqrt(np.maximum(value**2 - at_low * at_high, np.finfo(float).tiny))
        guess = middle + (middle - low) * np.sign(at_low - at_high) * value / root
        guess = np.clip(guess, low, high)
        at_guess = function(guess)
        points = np.stack([low, np.minimum(middle, guess), np.maximum(middle, guess), high])
        swapped = guess < middle
        inner = np.where(swapped, [at_guess, value], [value, at_guess])
        values = np.stack([at_low, *inner, at_high])
        # the first of the three parts at whose far end the sign is not the low end's
        part = np.argmax(np.sign(values[1:]) != np.sign(at_low), axis=0)[None]
        low, high = (np.take_along_axis(points, part + i, axis=0)[0] for i in (0, 1))
        at_low, at_high = (np.take_along_axis(values, part + i, axis=0)[0] for i in (0, 1))
        if np.all(np.abs(guess - last) <= TOLERANCE * np.abs(high)):
            break
        last = guess
    return guess
