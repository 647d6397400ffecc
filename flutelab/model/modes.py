"""Modes: complex eigenfrequencies f (1 + j/2Q) of flute, air and openings together."""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import ValidityWarning, already_warned
from flutelab.model.chain import Chain, Formulas, chain
from flutelab.model.corrections import Corrections
from flutelab.model.flute import Flute
from flutelab.model.lattice import noted_impedance
from flutelab.model.open_holes import open_pair
from flutelab.model.roots import CONVERGED, ROUGH, at, find_roots, newton, value_and_slope
from flutelab.model.rows import Rows, checked, distinct, is_open, take
from flutelab.model.validity import bore_radii, off_the_line, warn_of_frequencies
from flutelab.physics.hole import cutoff_frequency

PLANE_KA = 1.8  # just below the first cross mode
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
    formula has them, whatever their correction), ``status`` (``ok``, ``near cutoff``, ``weak``,
    ``none``), ``reason`` (words where there is no mode, else "") and ``root``, f (1 + j/2Q).
    """

    frequency: np.ndarray
    q: np.ndarray
    strength: np.ndarray
    status: np.ndarray
    reason: np.ndarray
    root: np.ndarray


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
    refuse_batch(corrections)
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


def refuse_batch(corrections: Corrections | None) -> None:
    """Refuse corrections of several flutes at once: modes are those of one.

    Parameters
    ----------
    corrections : Corrections or None

    Raises
    ------
    ValueError
        A leaf with axes.
    """
    several = [] if corrections is None else [n for n, v in vars(corrections).items() if np.ndim(v)]
    if several:
        shape = np.shape(getattr(corrections, several[0]))
        msg = f"correction {several[0]} has shape {shape}; give one number, and one call for each"
        raise ValueError(msg)


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
    """Return among how many modes, from the lowest, registers up to the highest are sought.

    Parameters
    ----------
    register : int or array of int
    """
    return int(np.max(register, initial=1)) + SPARE


def register_roots(found: Modes, register: np.ndarray) -> np.ndarray:
    """Return for each row the column of its register among the modes that speak; -1 = none.

    Parameters
    ----------
    found : Modes
        Of N rows.
    register : (N,) int
        1 or more.

    Notes
    -----
    Register n is sought among the first `searched(n)` modes, even where more were found.
    """
    register = np.asarray(register)[:, None]
    speaks = (found.status == "ok") | (found.status == "near cutoff")
    order = np.cumsum(speaks, axis=-1)
    sought = np.arange(speaks.shape[-1]) < register + SPARE
    hit = speaks & sought & (order == register)
    return np.where(hit.any(axis=-1), hit.argmax(axis=-1), -1)


def passed_over(found: Modes, row: int, column: int) -> str:
    """Return what is told of weak modes below a register; "" where there are none.

    Parameters
    ----------
    found : Modes
    row : int
    column : int
        Of the register.
    """
    weak = found.frequency[row, :column][found.status[row, :column] == "weak"]
    if not len(weak):
        return ""
    modes = "a weak mode" if len(weak) == 1 else "weak modes"
    return f"{modes} at {' and '.join(f'{f:.0f}' for f in weak)} Hz passed over"


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
    slope = value_and_slope(lambda frequency: noted_impedance(at(frequency)), roots)[1]
    return 1 / np.abs(slope * np.maximum(roots.imag, CONVERGED * roots.real))


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
