"""What it costs to take one temperature for all the air in a bore that is blown."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from flutelab.model.chain import Formulas
from flutelab.model.corrections import Corrections
from flutelab.model.flute import Flute
from flutelab.model.notes import CENT, Notes, predict_notes
from flutelab.model.rows import Rows, checked
from flutelab.physics.breath import AirAlong, air_at, single_air


@dataclass(frozen=True, kw_only=True, eq=False)
class Warmth:
    """N notes with the air as it changes along the bore, and with one air for all of it.

    ``along`` are the notes as they are; ``halfway`` [cents, (N,)] how far those with the air
    halfway to the foot everywhere lie above them, ``room`` those with the room's air
    everywhere. nan where there is no note.
    """

    along: Notes
    halfway: np.ndarray
    room: np.ndarray


def single_temperature_error(
    flute: Flute,
    fingerings: Rows,
    corrections: Corrections | None = None,
    *,
    formulas: Formulas | None = None,
) -> Warmth:
    """Return what one air for the whole bore does to each note.

    Parameters
    ----------
    flute : Flute
    fingerings : Rows
        N rows whose air is an `AirAlong`.
    corrections : Corrections, optional
    formulas : Formulas, optional

    Returns
    -------
    Warmth

    Raises
    ------
    TypeError
        Rows whose air does not change along the bore.

    Warns
    -----
    ValidityWarning
        As `predict_notes`.

    Examples
    --------
    >>> import flutelab
    >>> pipe = flutelab.Flute(
    ...     name="pipe", bore=flutelab.Bore(stations=((0.0, 0.016),)), holes=(),
    ...     head=flutelab.End(position=0.0, kind="open"),
    ...     foot=flutelab.End(position=0.3, kind="open"),
    ... )
    >>> air = flutelab.AirAlong(room_temperature=293.15)
    >>> found = single_temperature_error(pipe, flutelab.rows(pipe, "", air=air))
    >>> bool(abs(found.halfway[0]) < 0.5 < abs(found.room[0]))
    True
    """
    air = checked(fingerings).air
    if not isinstance(air, AirAlong):
        msg = f"the rows' air is an {type(air).__name__}; give an AirAlong to compare with one air"
        raise TypeError(msg)
    along = predict_notes(flute, fingerings, corrections, formulas=formulas)

    def above(one):
        notes = predict_notes(flute, replace(fingerings, air=one), corrections, formulas=formulas)
        return np.log(notes.frequency / along.frequency) / CENT

    return Warmth(along=along, halfway=above(single_air(air)), room=above(air_at(air, 1.0)))
