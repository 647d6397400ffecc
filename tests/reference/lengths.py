"""The lengths of one fingering, worked out from the records apart from the library's chain.

Only formulas of `flutelab.physics` are shared; what a correction multiplies is written
again here: window, foot, wall, hole ends, bore, pad depth, losses, coupling. So are the bore
between stations and what the shape of a hole changes.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from flutelab import Corrections, Formulas, Window
from flutelab.physics import hole, shapes

LETTERS = {"x": "closed", "o": "open", "h": "open", "n": "undrilled"}


@dataclass(frozen=True, kw_only=True, eq=False)
class Opened:
    """A hole: radii outside and at the bore, chimney, ends, series length, air under the pad."""

    radius: float
    mouth: float
    along: float  # half the mouth's length along the bore
    bore_radius: float
    outer_radius: float
    height: float
    matching: float
    inner: float
    outer: float
    closed: float
    closed_inner: float
    series: float  # as a length of the reference bore
    on_line: bool
    state: str  # "open", "closed" or "undrilled"


@dataclass(frozen=True, kw_only=True, eq=False)
class PlainEnd:
    """An end: kind, radius and rim of an open one, window and cavity lengths of a window."""

    kind: str
    radius: float
    ratio: float = 1.0
    correction: float = 1.0
    length: float = 0.0
    stub: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Numbers:
    """One fingering of a flute; `tubes` are lists of (length, near, far) of its cones."""

    air: object
    radius: float  # of the bore at the head: impedances are relative to rho c/(pi radius^2)
    outer_radius: float  # where the openings lie
    places: np.ndarray
    tubes: tuple[tuple[tuple[float, float, float], ...], ...]
    holes: tuple[Opened, ...]
    head: PlainEnd
    foot: PlainEnd
    loss: float
    coupling: float
    formulas: Formulas


def numbers(flute, fingerings, corrections=None, row=0, formulas=None):
    """Return the numbers of one row; corrections without batch axis or air offset."""
    by, formulas = corrections or Corrections(), formulas or Formulas()
    assert by.air_offset == 0
    start = -0.5 * flute.head.along if isinstance(flute.head, Window) else 0.0
    places = [start, *(h.position for h in flute.holes), flute.foot.position]
    reference = written_radius(flute, start) * by.bore
    if flute.holes:
        last = flute.holes[-1]
        outside = written_radius(flute, last.position) * by.bore + last.wall
    elif flute.foot.outer_diameter is not None:
        outside = written_radius(flute, places[-1]) * (by.bore - 1) + flute.foot.outer_diameter / 2
    else:
        wall = flute.head.wall if isinstance(flute.head, Window) else 0.0
        outside = written_radius(flute, places[-1]) * by.bore + wall
    return Numbers(
        air=fingerings.air,
        radius=reference,
        outer_radius=outside,
        places=np.array(places),
        tubes=tuple(tuple(_pieces(flute, low, high, by.bore)) for low, high in pairwise(places)),
        holes=tuple(
            _hole(h, flute, reference, by, letter, formulas.hole)
            for h, letter in zip(flute.holes, fingerings.label[row], strict=True)
        ),
        head=_head(flute, by, formulas),
        foot=_end(flute.foot, flute, by),
        loss=by.loss,
        coupling=by.coupling,
        formulas=formulas,
    )


def written_radius(flute, place):
    """Half the bore's diameter as written: straight between stations, level beyond them."""
    places, diameters = zip(*flute.bore.stations, strict=True)
    return float(np.interp(place, places, diameters)) / 2


def _pieces(flute, low, high, scale):
    """(length, near, far) of cones that change by no more than a tenth of their narrow end."""
    inside = [x for x, _ in flute.bore.stations if low < x < high]
    edges = [low, *inside, high]
    for begin, end in pairwise(edges):
        near, far = (scale * written_radius(flute, x) for x in (begin, end))
        count = max(1, int(np.ceil(abs(far - near) / (0.1 * min(near, far)))))
        cut = np.linspace(near, far, count + 1)
        for one, other in pairwise(cut):
            yield (end - begin) / count, one, other


def _hole(h, flute, reference, by, letter, formulas):
    a = written_radius(flute, h.position) * by.bore
    b, height, outside = h.diameter / 2, h.wall * by.wall, a + h.wall
    mouth = b if h.inner_diameter is None else h.inner_diameter / 2
    oval = 1 - 0.08 * np.log(h.aspect) ** 2
    inner = oval * (formulas.inner(mouth, a) - formulas.thin(mouth, height))
    outer = oval * (formulas.outer(b, outside) - formulas.thin(b, height))
    inner -= 0.45 * h.inner_rounding ** (4 / 3) / mouth ** (1 / 3)
    outer -= 0.45 * h.outer_rounding ** (4 / 3) / b ** (1 / 3)
    cover = float(shapes.cover_length(0.5, b)) if letter == "h" else 0.0
    volume = height * (mouth**2 + mouth * b + b**2) / 3
    volume += mouth**2 * hole.matching_height(mouth, a)
    volume -= b**2 * (by.pad_depth * b + formulas.lid(b, outside))
    series = formulas.series(mouth, a, height, is_open=letter in "oh") * h.aspect**0.6
    return Opened(
        radius=b,
        mouth=mouth,
        along=mouth * np.sqrt(h.aspect),
        bore_radius=a,
        outer_radius=outside,
        height=height,
        matching=hole.matching_height(mouth, a),
        inner=by.hole_end * inner,
        outer=by.hole_end * outer + cover,
        closed=max(volume / mouth**2, 0.0),
        closed_inner=oval * formulas.closed_inner(mouth, a),
        series=float(series) * (reference / a) ** 2,
        on_line=abs(h.angle) * (written_radius(flute, h.position) + h.wall) <= b,
        state=LETTERS[letter],
    )


def _head(flute, by, formulas):
    head = flute.head
    if not isinstance(head, Window):
        return _end(head, flute, by)
    a = written_radius(flute, -head.along / 2) * by.bore
    sizes = head.along, head.across, head.wall, a
    shape = {"plug_to_window": head.plug_to_window, "ramp": head.ramp, "block": head.block}
    return PlainEnd(
        kind="window",
        radius=a,
        length=by.window * formulas.window(*sizes, **shape),
        stub=formulas.stub(*sizes, **shape),
    )


def _end(end, flute, by):
    written = written_radius(flute, end.position)
    lip = 0.0 if end.outer_diameter is None else max(end.outer_diameter / 2 - written, 0.0)
    a = written * by.bore
    return PlainEnd(
        kind=end.kind,
        radius=a,
        ratio=0.0 if end.kind == "flanged" else a / (a + lip),
        correction=by.foot,
    )
