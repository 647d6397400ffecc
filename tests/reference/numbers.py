"""The lengths of one fingering, worked out from the records apart from the library's chain.

Only formulas of `flutelab.physics` are shared; what a correction multiplies is written
again here: window, foot, wall, hole ends, bore, pad depth, losses, coupling.
"""

from dataclasses import dataclass

import numpy as np

from flutelab import Corrections, Window
from flutelab.physics import ends, hole, window


@dataclass(frozen=True, kw_only=True, eq=False)
class Opened:
    """A hole: radius, chimney, ends, series length, height under the pad, state."""

    radius: float
    chimney: float
    inner: float
    outer: float
    series: float
    closed: float
    state: str  # "open", "closed" or "undrilled"


@dataclass(frozen=True, kw_only=True, eq=False)
class PlainEnd:
    """An end: kind, end correction over radius at ka -> 0, window and cavity lengths."""

    kind: str
    lip_length: float = 0.0
    correction: float = 1.0
    length: float = 0.0
    stub: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Numbers:
    """One fingering of a flute."""

    air: object
    radius: float
    outer_radius: float  # where the openings lie
    places: np.ndarray
    holes: tuple[Opened, ...]
    head: PlainEnd
    foot: PlainEnd
    loss: float
    coupling: float


def numbers(flute, fingerings, corrections=None, row=0):
    """Return the numbers of one row; corrections without batch axis or air offset."""
    by = corrections or Corrections()
    assert by.air_offset == 0
    radius = 0.5 * flute.bore.stations[0][1] * by.bore
    start = -0.5 * flute.head.along if isinstance(flute.head, Window) else 0.0
    places = [start, *(h.position for h in flute.holes), flute.foot.position]
    if flute.holes:
        thickness = flute.holes[-1].wall
    elif flute.foot.outer_diameter is not None:
        thickness = 0.5 * (flute.foot.outer_diameter - flute.bore.stations[0][1])
    else:
        thickness = flute.head.wall if isinstance(flute.head, Window) else 0.0
    return Numbers(
        air=fingerings.air,
        radius=radius,
        outer_radius=radius + thickness,
        places=np.array(places),
        holes=tuple(
            _hole(h, radius, by, letter)
            for h, letter in zip(flute.holes, fingerings.label[row], strict=True)
        ),
        head=_head(flute, radius, by),
        foot=_end(flute.foot, flute, radius, by),
        loss=by.loss,
        coupling=by.coupling,
    )


def _hole(h, a, by, letter):
    b, height = h.diameter / 2, h.wall * by.wall
    chimney = height + hole.matching_height(b, a)
    return Opened(
        radius=b,
        chimney=chimney,
        inner=by.hole_end * hole.inner_length_lefebvre(b, a),
        outer=by.hole_end * hole.outer_length(b, a + h.wall),
        series=float(hole.series_length(b, a, height, is_open=letter == "o")),
        closed=max(chimney - by.pad_depth * b, 0.0),
        state={"x": "closed", "o": "open", "n": "undrilled"}[letter],
    )


def _head(flute, a, by):
    head = flute.head
    if not isinstance(head, Window):
        return _end(head, flute, a, by)
    return PlainEnd(
        kind="window",
        length=by.window * window.window_length(head.along, head.across, head.wall, a),
        stub=0.5 * head.along + head.plug_to_window,
    )


def _end(end, flute, a, by):
    lip = 0.0
    if end.outer_diameter is not None:
        lip = max(0.5 * (end.outer_diameter - flute.bore.stations[0][1]), 0.0)
    return PlainEnd(
        kind=end.kind, lip_length=float(ends.lip_length(a / (a + lip))), correction=by.foot
    )
