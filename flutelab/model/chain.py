"""Flute, rows and corrections -> a chain of numbers: where corrections meet the model.

Arrays broadcast over (batch, note, frequency); here a last axis runs over the
openings (head, holes, foot), the holes, or the tubes between openings.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from flutelab.errors import already_warned
from flutelab.model.axes import by_note, columns, join, leaf
from flutelab.model.bore import Cones, cones
from flutelab.model.corrections import Corrections
from flutelab.model.flute import (
    End,
    Flute,
    Window,
    across_pipe,
    bore_diameter,
    bore_side_diameter,
)
from flutelab.model.rows import Rows, checked
from flutelab.physics import coupling, ends, hole, shapes, window
from flutelab.physics.air import Air, warmer
from flutelab.physics.breath import AirAlong, air_at
from flutelab.physics.hole import HoleFormulas
from flutelab.physics.window import stub_length, window_length

# m, the longest bore with one sound speed where the air changes along it. Where a tube passes a
# multiple of it a note jumps by 0.001 cent, so it is not a spacing that a flute file would have.
PIECE = 0.0307


@dataclass(frozen=True, kw_only=True)
class Formulas:
    """Which formula serves where: our own, or `PUBLISHED`, or any mixture."""

    hole: HoleFormulas = hole.OWN
    end: Callable = ends.own_end
    window: Callable = window_length
    stub: Callable = stub_length


PUBLISHED = Formulas(
    hole=hole.PUBLISHED,
    end=ends.published_end,
    window=window.published_window_length,
    stub=window.published_stub_length,
)


@dataclass(frozen=True, kw_only=True, eq=False)
class HeadOrFoot:
    """An end of the chain: its kind and the lengths its kind needs."""

    kind: str  # "window", "open", "flanged", "stopped", "node"
    radius: float  # of the bore there [m]
    correction: float = 1.0  # of the end correction of open and flanged ends
    lip_ratio: float = 1.0
    formula: Callable = ends.own_end
    length: float = 0.0  # the window's end correction, from its centre [m of bore]
    stub: float = 0.0  # cavity behind the window's centre [m]


@dataclass(frozen=True, kw_only=True, eq=False)
class BoreAir:
    """The air of a chain's parts, last axis the parts or 1 where the air is one."""

    openings: Air
    holes: Air
    pieces: Air  # of the tubes: their cones where the air changes
    outside: Air


@dataclass(frozen=True, kw_only=True, eq=False)
class Chain:
    """Numbers of a flute with its corrections; shapes (batch, note, 1, holes or tubes).

    A hole's `radius` is that at the outside, its `mouth` the radius at the bore. Lengths of
    the outer end are those of a hole of `radius`, all others of a hole of `mouth`.
    """

    air: BoreAir
    radius: np.ndarray  # of the bore at the head: impedances are relative to rho c/(pi r^2) there
    tubes: np.ndarray
    cones: Cones | None  # where the bore is no cylinder, or its air changes
    bore_radius: np.ndarray  # at each hole
    outer_radius: np.ndarray  # of the pipe there
    hole_radius: np.ndarray
    mouth: np.ndarray
    mouth_along: np.ndarray  # half the mouth's length along the bore
    height: np.ndarray  # of the wall [m]
    matching: np.ndarray
    inner: np.ndarray
    outer: np.ndarray  # a part cover's length included
    closed: np.ndarray  # height of the volume under the pad [m]
    closed_inner: np.ndarray
    before: np.ndarray  # series arm at the head's side of each tube, bore length [m]
    after: np.ndarray  # and at the foot's side; 0 where there is no hole
    straight: bool  # every chimney a cylinder
    is_open: np.ndarray
    drilled: np.ndarray
    formulas: HoleFormulas
    head: HeadOrFoot
    foot: HeadOrFoot
    distance: np.ndarray  # between openings, outside [m]
    strength: np.ndarray  # chi
    sounding: np.ndarray  # which openings are open to the outside
    on_line: np.ndarray  # which openings lie on the line of the window
    pair: np.ndarray  # which two different ones both are, and lie on one line of the pipe
    unheard: np.ndarray  # and which do not: their coupling is left out
    loss: float
    coupling: float
    shape: tuple[int, int]  # (batch, note)

    @cached_property
    def pairs(self) -> tuple[np.ndarray, np.ndarray]:
        """First and second opening of what is a pair in any row."""
        in_any = np.any(self.pair, axis=tuple(range(self.pair.ndim - 2)))
        return np.nonzero(np.triu(in_any))


def chain(
    flute: Flute,
    rows: Rows,
    corrections: Corrections | None = None,
    formulas: Formulas | None = None,
) -> Chain:
    """Return the chain of numbers of a flute; the one place where corrections meet the model.

    Parameters
    ----------
    flute : Flute
    rows : Rows
        N notes.
    corrections : Corrections, optional
        Leaves are floats or (batch, 1, 1).
    formulas : Formulas, optional

    Returns
    -------
    Chain

    Warns
    -----
    ValidityWarning
        Of each formula whose range the flute leaves, with the value.
    """
    rows, corrections = checked(rows), corrections or Corrections()
    formulas = formulas or Formulas()
    if not isinstance(formulas, Formulas):
        msg = f"formulas are {formulas!r}; give a Formulas, such as flutelab.PUBLISHED"
        raise TypeError(msg)
    scale = _Leaves(corrections)
    places = [leaf(place) for place in opening_places(flute)]
    stations = [(leaf(place), leaf(diameter)) for place, diameter in flute.bore.stations]
    bore = scale.bore * join([leaf(d) for d in _diameters(flute)]) / 2
    holes = _hole_numbers(flute, rows, scale, bore[..., 1:-1], formulas.hole)
    reference = bore[..., :1]
    arm = holes.pop("series") * (reference / bore[..., 1:-1]) ** 2 / 2
    longest = PIECE if isinstance(rows.air, AirAlong) else None
    pieces = cones(stations, places, scale.bore, longest)
    air, pieces = _bore_air(rows.air, scale.air_offset, places, pieces)
    numbers = {
        "radius": reference,
        "tubes": join([later - before for before, later in pairwise(places)]),
        "cones": pieces,
        **holes,
        "before": columns(np.zeros(1), arm),
        "after": columns(arm, np.zeros(1)),
        "head": _head(flute, scale, reference, formulas),
        "foot": _end(flute, flute.foot, scale, bore[..., -1:], formulas),
        "loss": scale.loss,
        "coupling": scale.coupling,
    }
    outside = (bore[..., -2:-1] if flute.holes else bore[..., -1:]) + _thickness(flute)
    return Chain(
        **numbers,
        air=air,
        formulas=formulas.hole,
        straight=all(h.inner_diameter is None for h in flute.holes),
        **_sounding(flute, holes["is_open"], scale.foot),
        distance=_distances(places, flute.head, outside),
        strength=_strengths(len(places), flute.head),
        shape=_shape({**numbers, **vars(air)}),
    )


class _Leaves:
    """The corrections' leaves with a last axis added for openings."""

    def __init__(self, corrections: Corrections) -> None:
        for entry in fields(corrections):
            setattr(self, entry.name, leaf(getattr(corrections, entry.name)))


def opening_places(flute: Flute) -> list[float]:
    """Return the places of head (a window's centre), holes and foot [m]."""
    head = -0.5 * flute.head.along if isinstance(flute.head, Window) else 0.0
    return [head, *(h.position for h in flute.holes), flute.foot.position]


def _diameters(flute):
    """The bore's diameter, as written, at each of them."""
    return [bore_diameter(flute.bore, place) for place in opening_places(flute)]


def _bore_air(air, offset, places, pieces):
    """The air of openings, pieces of bore and outside, and the pieces with its change of rho c.

    `offset` warms all that is inside.
    """
    with already_warned():
        by_row = type(air)(**{name: _air_leaf(value) for name, value in vars(air).items()})
    if isinstance(air, Air):
        one = warmer(by_row, offset) if np.any(offset) else by_row
        return BoreAir(openings=one, holes=one, pieces=one, outside=one), pieces
    head, foot = places[0], places[-1]

    def inside(where):
        there = air_at(by_row, (where - head) / (foot - head))
        return warmer(there, offset) if np.any(offset) else there

    openings, middle = inside(join(places)), inside(pieces.middle)
    near, far = (inside(pieces.middle + side * pieces.length / 2) for side in (-1, 1))
    all_air = BoreAir(
        openings=openings,
        holes=Air(**{name: value[..., 1:-1] for name, value in vars(openings).items()}),
        pieces=middle,
        outside=air_at(by_row, 1.0),
    )
    return all_air, replace(
        pieces,
        near_scale=np.sqrt(wave_impedance(middle) / wave_impedance(near)),
        far_scale=np.sqrt(wave_impedance(middle) / wave_impedance(far)),
    )


def wave_impedance(air: Air) -> np.ndarray:
    """Return rho c [Pa s/m]."""
    return air.density * air.sound_speed


def _air_leaf(value):
    return by_note(value)[..., None] if np.ndim(value) else value


def _thickness(flute):
    """Return the wall where the openings lie on the pipe."""
    if flute.holes:
        return leaf(flute.holes[-1].wall)
    if flute.foot.outer_diameter is not None:
        return _lip(flute, flute.foot)
    return leaf(flute.head.wall) if isinstance(flute.head, Window) else 0.0


def _hole_numbers(flute, rows, scale, bore_radius, formulas):
    openness, drilled = by_note(rows.openness), by_note(rows.drilled)
    radius, mouth = _radii(flute, rows)
    wall = _of_holes(flute, lambda h: h.wall)
    aspect = _of_holes(flute, lambda h: h.aspect)
    height, outer_radius = wall * scale.wall, bore_radius + wall
    _warn_of_holes(flute, drilled, radius, mouth, bore_radius)
    oval = shapes.elongation(aspect)
    inner_edge = shapes.rounding_gain(_of_holes(flute, lambda h: h.inner_rounding), mouth)
    outer_edge = shapes.rounding_gain(_of_holes(flute, lambda h: h.outer_rounding), radius)
    inner = formulas.inner(mouth, bore_radius) - formulas.thin(mouth, height)
    outer = formulas.outer(radius, outer_radius) - formulas.thin(radius, height)
    series = formulas.series(mouth, bore_radius, height, is_open=openness > 0)
    cover = shapes.cover_length(np.where(openness > 0, openness, 1.0), radius)
    depth = scale.pad_depth * radius + formulas.lid(radius, outer_radius)
    return {
        "bore_radius": bore_radius,
        "outer_radius": outer_radius,
        "hole_radius": radius,
        "mouth": mouth,
        "mouth_along": mouth * np.sqrt(aspect),
        "height": height,
        "matching": hole.matching_height(mouth, bore_radius),
        "inner": scale.hole_end * (oval * inner - inner_edge),
        "outer": scale.hole_end * (oval * outer - outer_edge) + cover,
        "closed": shapes.closed_height(radius, mouth, bore_radius, height, depth),
        "closed_inner": oval * formulas.closed_inner(mouth, bore_radius),
        "series": np.where(drilled, series * shapes.series_elongation(aspect), 0.0),
        "is_open": (openness > 0) & drilled,
        "drilled": drilled,
    }


def _radii(flute, rows):
    """Radii of the holes outside and at the bore."""
    if rows.diameter is None:
        radius = _of_holes(flute, lambda h: h.diameter / 2)
    else:
        radius = by_note(rows.diameter) / 2
    return radius, radius * _of_holes(flute, lambda h: bore_side_diameter(h) / h.diameter)


def _warn_of_holes(flute, drilled, radius, mouth, bore_radius):
    """Warn of drilled holes of sizes and shapes that the formulas were not compared with."""
    there = np.where(drilled, 1.0, np.nan)
    rounding = _of_holes(flute, lambda h: np.maximum(h.outer_rounding, h.inner_rounding))
    hole.warn_of_shape(
        there * np.maximum(radius, mouth),
        bore_radius,
        _of_holes(flute, lambda h: h.wall),
        aspect=there * _of_holes(flute, lambda h: h.aspect),
        undercut=there * mouth / radius,
        rounding=there * rounding / np.minimum(radius, mouth),
    )


def _of_holes(flute, value):
    """One leaf a hole, last axis holes."""
    return join([leaf(value(h)) for h in flute.holes])


def _head(flute, scale, radius, formulas):
    head = flute.head
    if isinstance(head, End):
        return _end(flute, head, scale, radius, formulas)
    sizes = (leaf(head.along), leaf(head.across), leaf(head.wall), radius)
    shape = {
        "plug_to_window": leaf(head.plug_to_window),
        "ramp": leaf(head.ramp),
        "block": leaf(head.block),
    }
    return HeadOrFoot(
        kind="window",
        radius=radius,
        length=scale.window * formulas.window(*sizes, **shape),
        stub=formulas.stub(*sizes, **shape),
    )


def _end(flute, end, scale, radius, formulas):
    common = {
        "kind": end.kind,
        "radius": radius,
        "correction": scale.foot,
        "formula": formulas.end,
    }
    if end.kind == "flanged":
        return HeadOrFoot(**common, lip_ratio=0.0)
    if end.outer_diameter is None:
        return HeadOrFoot(**common)
    return HeadOrFoot(**common, lip_ratio=radius / (radius + np.maximum(_lip(flute, end), 0)))


def _lip(flute, end):
    """The wall's thickness at an end, as written."""
    return leaf(end.outer_diameter - bore_diameter(flute.bore, end.position)) / 2


def _distances(places, head, outer_radius):
    """(..., n, n) between openings; an end face lies one outer radius off the line."""
    along = np.abs(join(places)[..., :, None] - join(places)[..., None, :])
    at_end = np.zeros(len(places), bool)
    at_end[-1], at_end[0] = True, not isinstance(head, Window)
    mixed = at_end[:, None] != at_end[None, :]
    distance = np.sqrt(along**2 + np.where(mixed, outer_radius[..., None], 0.0) ** 2)
    return distance + np.eye(len(places))  # any length: an opening is no pair with itself


def _strengths(count, head):
    strength = np.full((count, count), coupling.ALONG_PIPE)
    strength[-1, :] = strength[:, -1] = coupling.TO_FOOT
    if not isinstance(head, Window):
        strength[0, :] = strength[:, 0] = coupling.TO_FOOT
    return strength


def _sounding(flute, is_open, end_correction):
    head = "window" if isinstance(flute.head, Window) else flute.head.kind
    # an end whose own correction is switched off cannot hear the others either: the
    # inertances of the outside air would no longer be positive
    heard = ("window", "open", "flanged") if np.any(end_correction) else ("window",)
    outlets = [np.array([kind in heard]) for kind in (head, flute.foot.kind)]
    sounding = columns(outlets[0], is_open, outlets[1])
    both = sounding[..., :, None] & sounding[..., None, :]
    both = both & ~np.eye(sounding.shape[-1], dtype=bool)
    line = np.array([True, *_on_line(flute), True])
    hear = line[:, None] & line[None, :]
    return {"sounding": sounding, "on_line": line, "pair": both & hear, "unheard": both & ~hear}


def _on_line(flute):
    """Whether each hole reaches the line through the window."""
    for h in flute.holes:
        outer_radius = bore_diameter(flute.bore, h.position) / 2 + h.wall
        reach = across_pipe(h.diameter, h.aspect) / 2
        yield bool(np.all(np.abs(h.angle) * outer_radius <= reach))


def _shape(numbers):
    """(batch, note) of a chain's numbers."""
    leaves = []
    for value in numbers.values():
        leaves += vars(value).values() if isinstance(value, HeadOrFoot | Air) else [value]
    shapes = [np.shape(leaf)[:2] for leaf in leaves if np.ndim(leaf) == 4]
    return np.broadcast_shapes(*shapes, (1, 1))
