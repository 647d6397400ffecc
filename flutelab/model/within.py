"""One look inside a flute: a note's spectrum, its standing wave and the cutoff of its holes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flutelab.errors import already_warned
from flutelab.model.chain import chain
from flutelab.model.corrections import Corrections
from flutelab.model.flute import Flute
from flutelab.model.inside import StandingWave, standing_wave
from flutelab.model.lattice import checked_frequency, elements, head_impedance
from flutelab.model.modes import Modes, register_roots, searched, solved_modes, warn_of_notes
from flutelab.model.open_holes import open_pair
from flutelab.model.rows import Rows, checked
from flutelab.physics.rules import exact_cutoff_frequency

MODES = 5  # of each row, at least
POINTS = 80  # along the bore
ALL_AROUND = np.array([-3, -1.2, -0.5, -0.2, 0, 0.2, 0.5, 1.2, 3])  # half-widths of a peak


@dataclass(frozen=True, kw_only=True, eq=False)
class Within:
    """N rows from within.

    ``wave`` of the wanted register; ``modes`` (N, M); ``column`` (N,) of the register among
    them, -1 where there is none; ``frequency`` (F,) [Hz] and ``admittance`` (N, F) at the head
    [m3/(Pa s)]; ``cutoff`` (N,) [Hz] of a regular row like the first two open holes, nan where
    fewer are open.
    """

    wave: StandingWave
    modes: Modes
    column: np.ndarray
    frequency: np.ndarray
    admittance: np.ndarray
    cutoff: np.ndarray


def within(
    flute: Flute,
    fingerings: Rows,
    corrections: Corrections | None = None,
    *,
    frequency: np.ndarray,
    register: int = 1,
) -> Within:
    """Return what happens inside a flute at one of its modes, quickly enough to follow a hand.

    Parameters
    ----------
    flute : Flute
    fingerings : Rows
        N rows.
    corrections : Corrections, optional
        Without a batch axis.
    frequency : (F,)
        Of the spectrum [Hz], increasing; points about each mode between its ends come besides,
        so that no peak is cut off.
    register : int
        0 counts as 1.

    Returns
    -------
    Within
        What `modes`, `standing_wave`, `input_impedance` and the ``exact`` of `lattice_cutoff`
        say, with the modes sought once.

    Raises
    ------
    ValueError
        No frequency, one that is not greater than 0, or frequencies that do not increase.

    Warns
    -----
    ValidityWarning
        Where the flute or the wanted register leaves a formula's range.
    """
    frequency = checked_frequency(frequency, increasing=True)
    wanted = np.full(len(checked(fingerings)), max(register, 1))
    count = max(MODES, searched(wanted))
    found, numbers = solved_modes(flute, fingerings, corrections, count=count)
    column = register_roots(found, wanted)
    warn_of_notes(numbers, found.frequency[np.arange(len(column)), column][column >= 0])
    axis = _with_peaks(frequency, found)
    with already_warned():
        if len(fingerings) > 1:  # that of the modes has each distinct row once, in its own order
            numbers = chain(flute, fingerings, corrections)
        admittance = _admittance(numbers, len(fingerings), axis)
    return Within(
        wave=standing_wave(
            flute,
            fingerings,
            corrections,
            register=wanted,
            points=POINTS,
            found=found,
            numbers=numbers,
        ),
        modes=found,
        column=column,
        frequency=axis,
        admittance=admittance,
        cutoff=exact_cutoff_frequency(*open_pair(flute, fingerings, numbers, corrections)),
    )


def _admittance(numbers, rows, frequency):
    """As `input_impedance`'s inverse, of a chain that is there already, (N, F)."""
    seen = elements(numbers, frequency[None, None, :])
    admittance = 1 / (head_impedance(seen) * seen.scale[..., 0])
    return np.broadcast_to(admittance[0], (rows, frequency.size))


def _with_peaks(frequency, found):
    """Frequencies with some about every mode: there the spectrum is steep."""
    half = (found.frequency / (2 * found.q))[..., None]
    near = np.ravel(found.frequency[..., None] + half * ALL_AROUND)
    inside = near[(near > frequency[0]) & (near < frequency[-1])]  # not those that are nan
    return np.unique(np.concatenate([frequency, inside]))
