"""Flute, rows and corrections -> a chain of numbers -> one small linear system.

Arrays broadcast over (batch, note, frequency); here a last axis runs over the
openings (head, holes, foot), the holes, or the tubes between openings. Impedances
are relative to the bore's rho c/(pi a^2). Node 0 is the head, node n - 1 the foot.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np

from flutelab.model.corrections import Corrections
from flutelab.model.flute import End, Flute, Window
from flutelab.model.rows import Rows
from flutelab.physics import coupling as outside
from flutelab.physics import ends, hole, window
from flutelab.physics.air import Air, warmer
from flutelab.physics.tube import propagation, tube

BLOCK = 4096  # systems solved at a time: bounds memory, stays in cache


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
    chimney: np.ndarray  # wall and matching height of an open hole [m]
    inner: np.ndarray
    outer: np.ndarray
    series: np.ndarray  # both arms together, bore length, 0 where not drilled [m]
    closed: np.ndarray  # height of the volume under the pad [m]
    is_open: np.ndarray
    drilled: np.ndarray
    head: HeadOrFoot
    foot: HeadOrFoot
    distance: np.ndarray  # between openings, outside [m]
    strength: np.ndarray  # chi, 0 on the diagonal
    loss: float
    coupling: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Elements:
    """What the solver needs at given frequencies, last axis openings or tubes.

    ``tubes`` = (a, b, c, d) from each opening to the next, series arms folded in;
    ``openings`` = (A, B, C, D) from the bore to the outside; ``mutual`` = Z_ij with
    zero diagonal; ``resistance`` = each opening's own radiation resistance.
    """

    tubes: tuple[np.ndarray, ...]
    openings: tuple[np.ndarray, ...]
    mutual: np.ndarray
    resistance: np.ndarray
    scale: np.ndarray  # rho c/(pi a^2) [Pa s/m3]
    clamped: np.ndarray  # reactive modes below each frequency with all node pressures zero
    driven: bool  # a pressure in series with opening 0; else a flow at node 0


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
    diameter = _leaf(flute.bore.stations[0][1])
    radius = np.atleast_1d(diameter * scale.bore / 2)
    places = [np.zeros(1), *(np.atleast_1d(_leaf(h.position)) for h in flute.holes)]
    places.append(np.atleast_1d(_leaf(flute.foot.position)))
    head_place = -0.5 * flute.head.along if isinstance(flute.head, Window) else 0.0
    places[0] = np.atleast_1d(_leaf(head_place))
    thickness = _head_thickness(flute, diameter)
    return Chain(
        air=_row_air(rows.air, scale.air_offset),
        radius=radius,
        tubes=_join([later - before for before, later in pairwise(places)]),
        **_hole_numbers(flute, rows, scale, radius, formulas),
        head=_head(flute, scale, radius, formulas),
        foot=_end(flute.foot, scale, radius, diameter),
        distance=_distances(places, flute.head, radius + thickness),
        strength=_strengths(len(places), flute.head),
        loss=scale.loss,
        coupling=scale.coupling,
    )


class _Leaves:
    """The corrections' leaves with a last axis added for openings."""

    def __init__(self, corrections: Corrections) -> None:
        for leaf in fields(corrections):
            setattr(self, leaf.name, _leaf(getattr(corrections, leaf.name)))


def _leaf(value):
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


def _head_thickness(flute, diameter):
    """Half the outer diameter less the bore's radius, where openings lie on the pipe."""
    if flute.holes:
        return flute.holes[-1].wall
    if flute.foot.outer_diameter is not None:
        return (_leaf(flute.foot.outer_diameter) - diameter) / 2
    return flute.head.wall if isinstance(flute.head, Window) else 0.0


def _hole_numbers(flute, rows, scale, radius, formulas):
    is_open, drilled = _by_note(rows.openness) > 0.5, _by_note(rows.drilled)
    if rows.diameter is None:
        hole_radius = _join([np.atleast_1d(_leaf(h.diameter) / 2) for h in flute.holes])
    else:
        hole_radius = _by_note(rows.diameter) / 2
    wall = _join([np.atleast_1d(_leaf(h.wall)) for h in flute.holes])
    matching = hole.matching_height(hole_radius, radius)
    height = wall * scale.wall
    series = formulas.hole_series(hole_radius, radius, height, is_open=is_open)
    return {
        "hole_radius": hole_radius,
        "chimney": height + matching,
        "inner": scale.hole_end * formulas.hole_inner(hole_radius, radius),
        "outer": scale.hole_end * formulas.hole_outer(hole_radius, radius + wall),
        "series": np.where(drilled, series, 0.0),
        # a deep pad over a thin wall leaves no volume, never a negative one
        "closed": np.maximum(height + matching - scale.pad_depth * hole_radius, 0.0),
        "is_open": is_open & drilled,
        "drilled": drilled,
    }


def _head(flute, scale, radius, formulas):
    head = flute.head
    if isinstance(head, End):
        return _end(head, scale, radius, _leaf(flute.bore.stations[0][1]))
    sizes = (_leaf(head.along), _leaf(head.across), _leaf(head.wall))
    return HeadOrFoot(
        kind="window",
        length=scale.window * formulas.window(*sizes, radius),
        stub=_leaf(head.along) / 2 + _leaf(head.plug_to_window),
    )


def _end(end, scale, radius, diameter):
    if end.outer_diameter is None:
        return HeadOrFoot(kind=end.kind, correction=scale.foot)
    lip = (_leaf(end.outer_diameter) - diameter) / 2
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
    return distance + np.eye(len(places))  # any length: the diagonal has strength 0


def _strengths(count, head):
    strength = np.full((count, count), outside.ALONG_PIPE)
    strength[-1, :] = strength[:, -1] = outside.TO_FOOT
    if not isinstance(head, Window):
        strength[0, :] = strength[:, 0] = outside.TO_FOOT
    np.fill_diagonal(strength, 0.0)
    return strength


def elements(
    chain: Chain, frequency: np.ndarray, *, loss: float = 1.0, radiation: float = 1.0
) -> Elements:
    """Return the lattice elements of a chain at frequencies.

    Parameters
    ----------
    chain : Chain
    frequency : (batch, note, frequency) [Hz]
        Real or complex.
    loss, radiation : float
        Scale the wall losses and all radiation resistance; both 0 give the
        reactive model.
    """
    frequency = np.asarray(frequency)[..., None]
    air = chain.air
    k = 2 * np.pi * frequency / air.sound_speed
    ka = k * chain.radius
    side = (ka / 2) ** 2  # rho c k^2/(4 pi) over rho c/(pi a^2): any opening on the side
    gamma, relative = propagation(frequency, chain.radius, air, loss * chain.loss)
    head = _end_opening(chain.head, k, ka, side, radiation)
    foot = _end_opening(chain.foot, k, ka, side, radiation)
    holes = _hole_openings(chain, frequency, k, side, loss, radiation)
    own = _columns(head[4], side * np.ones(chain.is_open.shape[-1]), foot[4])
    closed = ~_columns(np.array([True]), chain.is_open, np.array([True]))
    return Elements(
        tubes=_folded_tubes(chain, gamma, relative, k),
        openings=tuple(_columns(head[i], holes[i], foot[i]) for i in range(4)),
        mutual=_mutual(chain, k, own, radiation),
        resistance=np.where(closed, 0.0, own),
        scale=air.density * air.sound_speed / (np.pi * chain.radius**2),
        clamped=_clamped_modes(chain, k.real),
        driven=chain.head.kind != "stopped",
    )


def _clamped_modes(chain, k):
    """Modes of tubes, pads and the cavity behind the window, each on its own (...)."""
    arm = np.arctan(0.5 * k * chain.series)
    none = np.zeros(arm.shape[:-1] + (1,))
    tubes = np.floor((k * chain.tubes + _columns(none, arm) + _columns(arm, none)) / np.pi)
    pads = np.floor(k * chain.closed / np.pi + 0.5) * ~chain.is_open * chain.drilled
    cavity = np.floor(k * chain.head.stub / np.pi + 0.5)
    return np.sum(tubes, axis=-1) + np.sum(pads, axis=-1) + np.sum(cavity, axis=-1)


def _columns(*parts):
    """Join openings on the last axis, broadcasting all axes before it."""
    lead = np.broadcast_shapes(*(np.shape(p)[:-1] for p in parts))
    widths = [np.broadcast_to(p, lead + np.shape(p)[-1:]) for p in parts]
    return np.concatenate(widths, axis=-1)


def _end_opening(end, k, ka, side, radiation):
    """(A, B, C, D, own resistance) of an end, each (..., 1)."""
    one, zero = np.ones_like(ka), np.zeros_like(ka)
    if end.kind == "stopped":
        return zero, one, zero, zero, zero
    if end.kind == "node":
        return one, zero, zero, one, zero
    if end.kind == "window":
        impedance = radiation * side + 1j * k * end.length
        stub = window.stub_admittance(k, end.stub)
        return one, impedance, stub * one, 1 + stub * impedance, side
    state = {
        "lip_ratio": end.lip_ratio,
        "flanged": end.kind == "flanged",
        "correction": end.correction,
    }
    impedance = ends.end_impedance(ka, **state, radiation=radiation)
    return one, impedance, zero, one, ends.end_resistance(ka, **state)


def _hole_openings(chain, frequency, k, side, loss, radiation):
    """(A, B, C, D) of all holes, each (..., H)."""
    area = (chain.hole_radius / chain.radius) ** 2
    gamma, relative = propagation(frequency, chain.hole_radius, chain.air, loss * chain.loss)
    impedance = relative / area
    cosh, z_sinh, y_sinh, _ = tube(gamma, impedance, chain.chimney)
    inner = 1j * k * chain.inner / area
    outer = 1j * k * chain.outer / area + radiation * side
    shunt = np.tanh(gamma * chain.closed) / impedance
    is_open, drilled = chain.is_open, chain.drilled
    zero = np.zeros_like(shunt)
    return (
        np.where(is_open, cosh + inner * y_sinh, zero),
        np.where(is_open, cosh * outer + z_sinh + inner * (y_sinh * outer + cosh), 1.0),
        np.where(is_open, y_sinh, zero),
        np.where(is_open, y_sinh * outer + cosh, np.where(drilled, shunt, zero)),
    )


def _folded_tubes(chain, gamma, relative, k):
    """Tubes between openings with the holes' series arms folded in."""
    a, b, c, d = tube(gamma, relative, chain.tubes)
    arm = 0.5j * k * chain.series
    none = np.zeros(arm.shape[:-1] + (1,))
    before, after = _columns(none, arm), _columns(arm, none)
    # [[1, before], [0, 1]] . tube . [[1, after], [0, 1]]
    a, b = a + before * c, b + before * d
    return a, b + a * after, c, d + c * after


def _couples(end: HeadOrFoot) -> bool:
    return end.kind in ("window", "open", "flanged")


def _mutual(chain, k, own, radiation):
    """Z_ij (..., n, n) between open openings, zero elsewhere."""
    impedance = outside.mutual_impedance(
        k[..., None],
        chain.distance,
        chain.strength,
        _leaf(chain.radius),
        own[..., :, None],
        own[..., None, :],
        radiation,
    )
    is_open = _columns(
        np.array([_couples(chain.head)]), chain.is_open, np.array([_couples(chain.foot)])
    )
    pair = is_open[..., :, None] & is_open[..., None, :] & ~np.eye(is_open.shape[-1], dtype=bool)
    return np.where(pair, _leaf(chain.coupling) * impedance, 0.0)


def system(e: Elements) -> tuple[np.ndarray, np.ndarray]:
    """Return K and M (..., n, n): K U = source, node pressures P = M U (+ source)."""
    a, b, c, d = e.openings
    identity = np.eye(a.shape[-1])
    pressure = a[..., :, None] * e.mutual + b[..., :, None] * identity
    inflow = c[..., :, None] * e.mutual + d[..., :, None] * identity
    return _along_tube(e.tubes, pressure) + inflow, pressure


def _tridiagonal(tubes):
    """Diagonal (..., n) and off-diagonal (..., n-1) of T, from node pressures to tube flows."""
    a, b, _, d = tubes
    pad = np.zeros(b.shape[:-1] + (1,))
    return _columns(d / b, pad) + _columns(pad, a / b), -1 / b


def _along_tube(tubes, columns):
    """T applied to columns (..., n, m)."""
    diagonal, off = _tridiagonal(tubes)
    lead = np.broadcast_shapes(diagonal.shape[:-1], columns.shape[:-2])
    result = np.array(np.broadcast_to(diagonal[..., None] * columns, lead + columns.shape[-2:]))
    result[..., :-1, :] += off[..., None] * columns[..., 1:, :]
    result[..., 1:, :] += off[..., None] * columns[..., :-1, :]
    return result


def solve(e: Elements) -> np.ndarray:
    """Return the outward flows U (..., n) of all openings under a unit drive at the head.

    A unit pressure in series with opening 0, or, where the head is stopped, a unit
    flow into node 0. Where an opening is closed its entry is the node's pressure.
    """
    matrix, _ = system(e)
    return np.linalg.solve(matrix, _drive(e, matrix.shape)[..., None])[..., 0]


def _drive(e, shape):
    source = np.zeros(shape[:-1], dtype=complex)
    if not e.driven:
        source[..., 0] = 1.0
        return source
    diagonal, off = _tridiagonal(e.tubes)
    source[..., 0] = -diagonal[..., 0] - e.openings[2][..., 0]
    source[..., 1] = -off[..., 0]
    return source


def head_impedance(e: Elements) -> np.ndarray:
    """Return the impedance seen at the head (...), relative to rho c/(pi a^2).

    In series with the head's opening (its zeros are the modes), or at a stopped
    head (its poles are the modes).
    """
    first = solve(e)[..., 0]
    return -1 / first if e.driven else first


def in_blocks(function: Callable, chain: Chain, frequency: np.ndarray) -> np.ndarray:
    """Apply function(chain, frequency block) along a long frequency axis."""
    batch, note = np.broadcast_shapes(frequency.shape[:2], shape_of(chain))
    step = max(1, BLOCK // (batch * note))
    starts = range(0, frequency.shape[2], step)
    return np.concatenate([function(chain, frequency[..., s : s + step]) for s in starts], axis=2)


def shape_of(chain: Chain) -> tuple[int, int]:
    """Return (batch, note) of a chain."""
    leaves = [chain.is_open, chain.hole_radius, chain.closed, chain.series, chain.radius]
    leaves += [chain.head.length, chain.head.correction, chain.foot.correction, chain.loss]
    leaves += [chain.coupling, chain.air.sound_speed, chain.tubes, chain.inner]
    shapes = [np.shape(leaf)[:-1] for leaf in leaves if np.ndim(leaf) == 4]
    return np.broadcast_shapes(*shapes, (1, 1, 1))[:2]


def input_impedance(
    flute: Flute,
    fingerings: Rows,
    frequency: np.ndarray,
    corrections: Corrections | None = None,
) -> np.ndarray:
    """Return the impedance at the head [Pa s/m3], shape (N, F) (or (batch, N, F)).

    Parameters
    ----------
    flute : Flute
    fingerings : Rows
        N rows; ``rows(flute, "xxxooo", air=air)`` makes them.
    frequency : (F,) [Hz]
        Real or complex.
    corrections : Corrections, optional

    Notes
    -----
    The window (or open head) in series with all behind it, coupling included; at a
    stopped head the plain input impedance. Zeros of the imaginary part and peaks of
    1/Z mark the notes.
    """

    def evaluate(numbers, block):
        e = elements(numbers, block)
        return head_impedance(e) * e.scale[..., 0]

    numbers = chain(flute, fingerings, corrections)
    result = in_blocks(evaluate, numbers, np.asarray(frequency)[None, None, :])
    return result[0] if result.shape[0] == 1 else result
