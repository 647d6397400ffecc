"""From where on sound runs past the open holes."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.model.chain import Formulas, chain
from flutelab.model.corrections import Corrections
from flutelab.model.flute import Bore, End, Flute, along_pipe, bore_diameter, bore_side_diameter
from flutelab.model.lattice import elements, head_impedance, in_blocks
from flutelab.model.modes import plane_wave_limit, register_roots, searched, solved_modes
from flutelab.model.open_holes import open_pair
from flutelab.model.rows import Rows, checked, first_open, take
from flutelab.model.spectrum import POINTS, ridders
from flutelab.physics.breath import single_air
from flutelab.physics.hole import cutoff_frequency
from flutelab.physics.rules import exact_cutoff_frequency

HALF_POWER = 0.5


@dataclass(frozen=True, kw_only=True, eq=False)
class LatticeCutoff:
    """From where on sound runs past the open holes of N rows; each array (N,), nan where none.

    ``place`` [m] of the first open hole, from the sounding edge; ``formula`` and ``exact`` [Hz]
    are those of an endless regular row like the first two open holes, long-wave and at any
    length of wave; ``own`` [Hz] is the model's: from where on less than half the power that
    reaches the first open hole comes back; ``near``: the first register's status is
    ``near cutoff``, see `modes`.
    """

    label: tuple[str, ...]
    place: np.ndarray
    formula: np.ndarray
    exact: np.ndarray
    own: np.ndarray
    near: np.ndarray


def lattice_cutoff(
    flute: Flute,
    fingerings: Rows,
    corrections: Corrections | None = None,
    *,
    formulas: Formulas | None = None,
) -> LatticeCutoff:
    """Return the cutoff frequency of each row's open holes.

    Parameters
    ----------
    flute : Flute
    fingerings : Rows
        N rows.
    corrections : Corrections, optional
        Without a batch axis.
    formulas : Formulas, optional

    Returns
    -------
    LatticeCutoff

    Warns
    -----
    ValidityWarning
        Where the flute leaves a formula's range.

    Notes
    -----
    ``formula``: `flutelab.physics.hole.cutoff_frequency`; ``exact``:
    `flutelab.physics.rules.exact_cutoff_frequency`. Both need two open holes.

    ``own``: all that lies from the first open hole on is put on a plain tube of the bore's
    radius there, without wall losses and without the window, and the lowest frequency is
    sought at which the reflection factor has |R|^2 < 1/2. The power that does not return is
    radiated. A few holes before the foot let it return from the foot, so that it lies well
    above the formula, or is not reached (nan); and a resonance of closed holes below the first
    open one can swallow sound in a narrow band far below it. One air, that halfway to the foot.
    """
    first, count = first_open(checked(fingerings)), len(flute.holes)
    place = np.array([*(h.position for h in flute.holes), np.nan])[first]
    own = np.full(len(fingerings), np.nan)
    for number in np.unique(first[first < count]):
        some = take(fingerings, first == number)
        own[first == number] = _half_power(*_from_hole(flute, some, number), corrections, formulas)
    # the whole flute's warnings, once
    found, _ = solved_modes(flute, fingerings, corrections, count=searched(1), formulas=formulas)
    column = register_roots(found, np.ones(len(fingerings)))
    status = found.status[np.arange(len(fingerings)), column]
    with already_warned():
        numbers = chain(flute, fingerings, corrections, formulas)
    pair = open_pair(flute, fingerings, numbers, corrections)
    return LatticeCutoff(
        label=fingerings.label,
        place=place,
        formula=cutoff_frequency(*pair),
        exact=exact_cutoff_frequency(*pair),
        own=own,
        near=(column >= 0) & (status == "near cutoff"),
    )


def _from_hole(flute, fingerings, number):
    """The part of a flute from a hole on, on a plain tube, and rows of its holes."""
    hole = flute.holes[number]
    start = hole.position - along_pipe(max(hole.diameter, bore_side_diameter(hole)), hole.aspect)
    stations = [(hole.position, bore_diameter(flute.bore, hole.position))]
    stations += [s for s in flute.bore.stations if s[0] > hole.position]
    part = replace(
        flute,
        bore=Bore(stations=tuple((x - start, d) for x, d in stations)),
        holes=tuple(replace(h, position=h.position - start) for h in flute.holes[number:]),
        head=End(position=0.0, kind="stopped"),
        foot=replace(flute.foot, position=flute.foot.position - start),
    )
    diameter = None if fingerings.diameter is None else fingerings.diameter[:, number:]
    return part, replace(
        fingerings,
        openness=fingerings.openness[:, number:],
        drilled=fingerings.drilled[:, number:],
        diameter=diameter,
        air=single_air(fingerings.air),
        label=tuple(label[number:] for label in fingerings.label),
    )


def _half_power(part, fingerings, corrections, formulas):
    """Lowest frequency at which half the power does not come back (N,), nan where none."""
    corrections = replace(corrections or Corrections(), loss=0.0)
    with already_warned():
        numbers = chain(part, fingerings, corrections, formulas)
        rows, limit = len(fingerings), plane_wave_limit(numbers)

        def returned(frequency):
            seen = in_blocks(lambda n, f: head_impedance(elements(n, f)), numbers, frequency[None])
            return np.abs((seen[0] - 1) / (seen[0] + 1)) ** 2 - HALF_POWER

        grid = np.broadcast_to(np.linspace(0.0, limit, POINTS + 1)[1:], (rows, POINTS))
        below = returned(grid) < 0
        reached = below.any(axis=-1)
        index = np.where(reached, below.argmax(axis=-1), 1)[:, None]
        low, high = (np.take_along_axis(grid, index - step, axis=-1) for step in (1, 0))
        root = ridders(returned, low, high)[:, 0]
    return np.where(reached, root, np.nan)
