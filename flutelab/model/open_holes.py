"""Open holes: the whole length of each, and the regular row like the first two."""

from __future__ import annotations

import numpy as np

from flutelab.model.chain import Chain
from flutelab.model.corrections import Corrections
from flutelab.model.flute import Flute
from flutelab.model.rows import Rows, is_open
from flutelab.physics.air import Air, warmer
from flutelab.physics.breath import AirAlong, single_air


def whole_lengths(numbers: Chain) -> np.ndarray:
    """Return t_E of each hole as if it were open, at low frequency [m], (..., H).

    Parameters
    ----------
    numbers : Chain
        Of a flute with H holes.

    Notes
    -----
    Wall, matching volume and both ends, a part cover's length included, as the length of a
    hole that is as wide as this one is outside: an undercut's mouth counts by its area, a
    tapered chimney by its mean.
    """
    outside, mouth = numbers.hole_radius, numbers.mouth
    at_mouth = (numbers.inner + numbers.matching) * (outside / mouth) ** 2
    return at_mouth + numbers.height * outside / mouth + numbers.outer


def open_pair(
    flute: Flute, fingerings: Rows, numbers: Chain, corrections: Corrections | None = None
) -> tuple[np.ndarray, ...]:
    """Return what a regular row like the first two open holes is made of, each (N,).

    Parameters
    ----------
    flute : Flute
    fingerings : Rows
        N rows.
    numbers : Chain
        Of these rows, without a batch axis.
    corrections : Corrections, optional
        Those of the chain: how much warmer the air is.

    Returns
    -------
    tuple
        Sound speed halfway along the bore [m/s], then the two holes' mean radius, mean radius
        of the bore, spacing between their centres and mean t_E [m]; nan where fewer than two
        are open.
    """
    count = len(fingerings)
    speed = np.broadcast_to(halfway(fingerings.air, corrections).sound_speed, (count,))
    result = np.full((4, count), np.nan)
    if len(flute.holes) < 2:
        return speed, *result
    shape = count, len(flute.holes)
    radius, bore, length = (
        np.broadcast_to(part, (1, count, 1, shape[1]))[0, :, 0]
        for part in (numbers.hole_radius, numbers.bore_radius, whole_lengths(numbers))
    )
    place = np.array([hole.position for hole in flute.holes])
    opened = is_open(fingerings)
    enough = np.sum(opened, axis=-1) >= 2
    pair = np.argsort(~opened, axis=-1, kind="stable")[:, :2]
    found = [np.take_along_axis(part, pair, axis=-1).mean(axis=-1) for part in (radius, bore)]
    found += [np.diff(place[pair])[:, 0], np.take_along_axis(length, pair, axis=-1).mean(axis=-1)]
    return speed, *np.where(enough, found, np.nan)


def halfway(air: Air | AirAlong, corrections: Corrections | None) -> Air:
    """Return the air halfway along the bore, as much warmer as the corrections have it.

    Parameters
    ----------
    air : Air or AirAlong
    corrections : Corrections, optional
    """
    offset = 0.0 if corrections is None else corrections.air_offset
    return warmer(single_air(air), offset) if np.any(offset) else single_air(air)
