"""Flute, rows and corrections -> a chain of numbers: where corrections meet the model.

Arrays broadcast over (batch, note, frequency); here a last axis runs over the
openings (head, holes, foot), the holes, or the tubes between openings.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np

from flutelab.model.corrections import Corrections
from flutelab.model.flute import End, Flute, Window
from flutelab.model.rows import Rows
from flutelab.physics import coupling, hole, window
from flutelab.physics.air import Air, warmer


@dataclass(frozen=True, kw_only=True)
class Formulas:
    """Which published formula serves where."""

    hole_inner: Callable = hole.inner_length_lefebvre
    hole_outer: Callable = hole.outer_length
    hole_series: Callable = hole.series_length
    window: Callable = window.window_length


@dataclass(frozen=True, kw_only=True, eq=False)
class HeadOrFoot:
    """An end of the chain: its kind and the lengths its kind needs."""

    kind: str  # "window", "open", "flanged", "stopped", "node"
    correction: float = 1.0  # of the end correction of open and flanged ends
    lip_ratio: float = 1.0
    length: float = 0.0  # the window's end correction, from its centre [m of bore]
    stub: float = 0.0  # cavity behind the window's centre [m]


@dataclass(frozen=True, kw_only=True, eq=False)
class Chain:
    """Numbers of a flute with its corrections; shapes (batch, note, 1, holes or tubes)."""

    air: Air
    radius: np.ndarray
    tubes: np.ndarray
    hole_radius: np.ndarray
    area: np.ndarray  # of each hole over the bore's
    chimney: np.ndarray  # wall and matching height of an open hole [m]
    inner: np.ndarray
    outer: np.ndarray
    before: np.ndarray  # series arm at the head's side of each tube, bore length [m]
    after: np.ndarray  # and at the foot's side; 0 where there is no hole
    closed: np.ndarray  # height of the volume under the pad [m]
    is_open: np.ndarray
    drilled: np.ndarray
    head: HeadOrFoot
    foot: HeadOrFoot
    distance: np.ndarray  # between openings, outside [m]
    strength: np.ndarray  # chi
    sounding: np.ndarray  # which openings are open to the outside
    pair: np.ndarray  # which two different ones both are
    loss: float
    coupling: float
    shape: tuple[int, int]  # (batch, note)


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
    """
    corrections = corrections or Corrections()
    formulas = formulas or Formulas()
    scale = _Leaves(corrections)
    diameter = leaf(flute.bore.stations[0][1])
    radius = np.atleast_1d(diameter * scale.bore / 2)
    places = [np.zeros(1), *(np.atleast_1d(leaf(h.position)) for h in flute.holes)]
    places.append(np.atleast_1d(leaf(flute.foot.position)))
    head_place = -0.5 * flute.head.along if isinstance(flute.head, Window) else 0.0
    places[0] = np.atleast_1d(leaf(head_place))
    holes = _hole_numbers(flute, rows, scale, radius, formulas)
    numbers = {
        "air": _row_air(rows.air, scale.air_offset),
        "radius": radius,
        "tubes": _join([later - before for before, later in pairwise(places)]),
        **holes,
        "head": _head(flute, scale, radius, formulas),
        "foot": _end(flute.foot, scale, radius, diameter),
        "loss": scale.loss,
        "coupling": scale.coupling,
    }
    return Chain(
        **numbers,
        **_sounding(flute, holes["is_open"], scale.foot),
        distance=_distances(places, flute.head, radius + _thickness(flute, diameter)),
        strength=_strengths(len(places), flute.head),
        shape=_shape(numbers),
    )


class _Leaves:
    """The corrections' leaves with a last axis added for openings."""

    def __init__(self, corrections: Corrections) -> None:
        for entry in fields(corrections):
            setattr(self, entry.name, leaf(getattr(corrections, entry.name)))


def leaf(value: float) -> float:
    """Return a leaf of shape (batch, 1, 1) with a last axis for openings; a float as it is."""
    return value[..., None] if np.ndim(value) else value


def _join(parts):
    return np.concatenate(np.broadcast_arrays(*parts), axis=-1) if parts else np.zeros((0,))


def _by_note(values):
    """Shape (N, ...) -> (1, N, 1, ...); one row where all rows are alike."""
    values = np.asarray(values)
    if values.ndim == 3:  # a batch of rows
        return values[:, :, None]
    if values.size and np.all(values == values[:1]):
        values = values[:1]
    return values[None, :, None]


def _row_air(air: Air, offset: float) -> Air:
    leaves = {name: _air_leaf(value) for name, value in vars(air).items()}
    return warmer(Air(**leaves), offset) if np.any(offset) else Air(**leaves)


def _air_leaf(value):
    return _by_note(value)[..., None] if np.ndim(value) else value


def _thickness(flute, diameter):
    """Return the wall where the openings lie on the pipe."""
    if flute.holes:
        return leaf(flute.holes[-1].wall)
    if flute.foot.outer_diameter is not None:
        return (leaf(flute.foot.outer_diameter) - diameter) / 2
    return leaf(flute.head.wall) if isinstance(flute.head, Window) else 0.0


def _hole_numbers(flute, rows, scale, radius, formulas):
    is_open, drilled = _by_note(rows.openness) > 0.5, _by_note(rows.drilled)
    if rows.diameter is None:
        hole_radius = _join([np.atleast_1d(leaf(h.diameter) / 2) for h in flute.holes])
    else:
        hole_radius = _by_note(rows.diameter) / 2
    wall = _join([np.atleast_1d(leaf(h.wall)) for h in flute.holes])
    matching = hole.matching_height(hole_radius, radius)
    height = wall * scale.wall
    series = formulas.hole_series(hole_radius, radius, height, is_open=is_open)
    arm = np.where(drilled, series, 0.0) / 2
    return {
        "hole_radius": hole_radius,
        "area": (hole_radius / radius) ** 2,
        "chimney": height + matching,
        "inner": scale.hole_end * formulas.hole_inner(hole_radius, radius),
        "outer": scale.hole_end * formulas.hole_outer(hole_radius, radius + wall),
        "before": columns(np.zeros(1), arm),
        "after": columns(arm, np.zeros(1)),
        # a deep pad over a thin wall leaves no volume, never a negative one
        "closed": np.maximum(height + matching - scale.pad_depth * hole_radius, 0.0),
        "is_open": is_open & drilled,
        "drilled": drilled,
    }


def _head(flute, scale, radius, formulas):
    head = flute.head
    if isinstance(head, End):
        return _end(head, scale, radius, leaf(flute.bore.stations[0][1]))
    sizes = (leaf(head.along), leaf(head.across), leaf(head.wall))
    return HeadOrFoot(
        kind="window",
        length=scale.window * formulas.window(*sizes, radius),
        stub=leaf(head.along) / 2 + leaf(head.plug_to_window),
    )


def _end(end, scale, radius, diameter):
    if end.outer_diameter is None:
        return HeadOrFoot(kind=end.kind, correction=scale.foot)
    lip = (leaf(end.outer_diameter) - diameter) / 2
    return HeadOrFoot(
        kind=end.kind, correction=scale.foot, lip_ratio=radius / (radius + np.maximum(lip, 0))
    )


def _distances(places, head, outer_radius):
    """(..., n, n) between openings; an end face lies one outer radius off the line."""
    along = np.abs(_join(places)[..., :, None] - _join(places)[..., None, :])
    at_end = np.zeros(len(places), bool)
    at_end[-1], at_end[0] = True, not isinstance(head, Window)
    mixed = at_end[:, None] != at_end[None, :]
    outer = np.asarray(outer_radius)[..., None] if np.ndim(outer_radius) else outer_radius
    distance = np.sqrt(along**2 + np.where(mixed, outer, 0.0) ** 2)
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
    ends = [np.array([kind in heard]) for kind in (head, flute.foot.kind)]
    sounding = columns(ends[0], is_open, ends[1])
    both = sounding[..., :, None] & sounding[..., None, :]
    return {"sounding": sounding, "pair": both & ~np.eye(sounding.shape[-1], dtype=bool)}


def columns(*parts: np.ndarray) -> np.ndarray:
    """Join arrays on the last axis, broadcasting all axes before it."""
    lead = np.broadcast_shapes(*(np.shape(p)[:-1] for p in parts))
    joined = np.empty((*lead, sum(p.shape[-1] for p in parts)), np.result_type(*parts))
    begin = 0
    for part in parts:
        joined[..., begin : begin + part.shape[-1]] = part
        begin += part.shape[-1]
    return joined


def _shape(numbers):
    """(batch, note) of a chain's numbers."""
    leaves = []
    for value in numbers.values():
        leaves += vars(value).values() if isinstance(value, HeadOrFoot | Air) else [value]
    shapes = [np.shape(leaf)[:2] for leaf in leaves if np.ndim(leaf) == 4]
    return np.broadcast_shapes(*shapes, (1, 1))
