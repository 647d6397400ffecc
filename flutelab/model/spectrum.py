"""Spectra at the head: impedance, modes and the zeros of the reactance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from flutelab.errors import already_warned
from flutelab.model.chain import Formulas, chain
from flutelab.model.corrections import Corrections
from flutelab.model.flute import Flute
from flutelab.model.lattice import BLOCK, input_impedance, noted_impedance
from flutelab.model.modes import ElementsAt, Modes, at, mode_count, plane_wave_limit, solved_modes
from flutelab.model.rows import Rows, checked

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
    `reactance_zeros` gives them, nan where a row has fewer.
    """

    label: tuple[str, ...]
    frequency: np.ndarray
    impedance: np.ndarray
    modes: Modes
    zeros: np.ndarray


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
    with already_warned():
        numbers = chain(flute, checked(fingerings), corrections, formulas)
        top = _top(flute, fingerings, corrections, formulas, numbers, frequency)
        found = _modes_up_to(top, flute, fingerings, corrections, formulas, numbers)
        zeros = zeros_of(at(numbers), len(fingerings), top, found.root)
    if frequency is not None:
        frequency = np.asarray(frequency, dtype=float)
    else:
        marked = found.frequency[found.frequency >= LOWEST]
        frequency = np.unique([*np.linspace(LOWEST, top, POINTS), *marked])
    return Spectrum(
        label=fingerings.label,
        frequency=frequency,
        impedance=input_impedance(flute, fingerings, frequency, corrections, formulas),
        modes=found,
        zeros=zeros,
    )


def admittance(seen: Spectrum) -> np.ndarray:
    """Return the admittance at the head, 1/impedance [m3/(Pa s)], (N, F)."""
    return 1 / seen.impedance


def _top(flute, fingerings, corrections, formulas, numbers, frequency):
    """Return the highest frequency of a spectrum: of its axis, or of the default one."""
    if frequency is not None:
        frequency = np.asarray(frequency, dtype=float)
        if frequency.ndim != 1 or not frequency.size:
            msg = (
                f"frequency has shape {frequency.shape}; give a row of at least one frequency "
                "[Hz], such as range(50, 2000), or leave it out"
            )
            raise ValueError(msg)
        if not np.all(np.diff(frequency) > 0):
            bad = frequency[1:][~(np.diff(frequency) > 0)][0]
            msg = f"frequency {bad} Hz does not lie above the one before it; sort them"
            raise ValueError(msg)
        return float(frequency[-1])
    first, _ = solved_modes(flute, fingerings, corrections, count=1, formulas=formulas)
    highest = np.max(first.frequency, initial=0.0, where=np.isfinite(first.frequency))
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
    with already_warned():
        found = _modes_up_to(highest, flute, fingerings, corrections, formulas, numbers)
        return zeros_of(at(numbers), len(fingerings), highest, found.root)


def zeros_of(at: ElementsAt, rows: int, highest: float, near: np.ndarray) -> np.ndarray:
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

    Notes
    -----
    Signs on a grid of 1600 points up to `highest` and, about each eigenfrequency f(1 + j/2Q),
    from -2 to 2 of its half widths f/2Q; then Ridders' method in each bracket. A pair of
    zeros between two points is missed.
    """
    grid = _grid(rows, highest, near)
    value = _reactance(at, grid)
    rising = (value[:, :-1] < 0) & (value[:, 1:] >= 0)
    count = np.sum(rising, axis=-1)
    first = np.argsort(~rising, axis=-1, kind="stable")[:, : np.max(count, initial=0)]
    low, high = (np.take_along_axis(grid, first + step, axis=-1) for step in (0, 1))
    # rows with fewer zeros work out a bracket without one, of no account
    zeros = ridders(lambda f: _reactance(at, f), low, high)
    return np.where(np.arange(first.shape[-1]) < count[:, None], zeros, np.nan)


def _grid(rows, highest, near):
    """Frequencies (N, F), increasing."""
    even = np.linspace(0.0, highest, POINTS + 1)[1:]
    widths = np.linspace(-2.0, 2.0, 9)
    root = np.where(np.isfinite(near) & (near.real < highest), near, highest)
    close = (root.real[..., None] + root.imag[..., None] * widths).reshape(rows, -1)
    close = np.clip(close, even[0], highest)
    return np.sort(np.concatenate([np.broadcast_to(even, (rows, POINTS)), close], axis=-1))


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
