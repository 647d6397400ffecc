"""The flute as a network: bore, openings and the air outside at given frequencies, solved.

Shapes (batch, note, frequency), a last axis over openings or tubes. Impedances are
relative to the bore's rho c/(pi a^2). Node 0 is the head, node n - 1 the foot.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from flutelab.errors import already_warned
from flutelab.model.axes import columns
from flutelab.model.bore import clamped_between, cone_elements, end_to_end, product
from flutelab.model.chain import Chain, Formulas, chain, wave_impedance
from flutelab.model.corrections import Corrections
from flutelab.model.flute import Flute
from flutelab.model.rows import Rows
from flutelab.model.validity import warn_of_frequencies, warn_of_unheard
from flutelab.physics import ends, window
from flutelab.physics.coupling import mutual_impedance
from flutelab.physics.tube import cone, propagation, tube

BLOCK = 4096  # systems solved at a time: bounds memory, stays in cache


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
    clamped: np.ndarray | None  # of the reactive model: modes lower down, node pressures zero
    driven: bool  # a pressure in series with opening 0; else a flow at node 0


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
    k = _Parts(2 * np.pi * frequency / air.openings.sound_speed)
    # rho c of each opening over that at the head, which all impedances are relative to
    at_head = _Parts(wave_impedance(air.openings)).head
    relative = _Parts(wave_impedance(air.openings) / at_head)
    lead = np.broadcast_shapes(k.all.shape[:-1], (*chain.shape, 1))
    openings = np.empty((4, *lead, chain.is_open.shape[-1] + 2), dtype=complex)
    own = columns(
        _fill_end(openings[..., :1], chain, chain.head, k.head, radiation),
        _hole_resistance(chain, k.holes, radiation),
        _fill_end(openings[..., -1:], chain, chain.foot, k.foot, radiation),
    )
    _fill_holes(openings[..., 1:-1], chain, frequency, k.holes, radiation * own[..., 1:-1], loss)
    _make_relative(openings, relative.all)
    own = own * relative.all
    reactive = np.isrealobj(k.all) and loss == 0 and radiation == 0
    arms = 1j * k.first * relative.first * chain.before, 1j * k.last * relative.last * chain.after
    return Elements(
        tubes=_folded_tubes(chain, frequency, arms, at_head, loss),
        openings=tuple(openings),
        mutual=_mutual(chain, frequency, own, at_head, radiation),
        resistance=np.where(chain.sounding, own, 0.0),
        scale=at_head / (np.pi * chain.radius**2),
        clamped=_clamped_modes(chain, frequency, k, arms, at_head) if reactive else None,
        driven=chain.head.kind != "stopped",
    )


class _Parts:
    """A value of all openings, last axis openings or 1, by its parts."""

    def __init__(self, value: np.ndarray) -> None:
        one = np.ndim(value) == 0 or value.shape[-1] == 1
        self.all = value
        self.head = value if one else value[..., :1]
        self.holes = value if one else value[..., 1:-1]
        self.foot = value if one else value[..., -1:]
        self.first = value if one else value[..., :-1]  # at the head's side of each tube
        self.last = value if one else value[..., 1:]


def _make_relative(openings, relative):
    """Take (A, B, C, D) of openings from their own rho c to the head's; in a closed one B is 1."""
    closed = openings[0] == 0
    openings[1] *= np.where(closed, 1.0, relative)
    openings[2] /= relative
    openings[3] /= np.where(closed, relative, 1.0)


def _clamped_modes(chain, frequency, k, arms, at_head):
    """Modes of tubes, pads and the cavity behind the window, each on its own (...)."""
    before, after = (arm.imag for arm in arms)
    if chain.cones is None:
        turned = k.all * chain.tubes + np.arctan(before) + np.arctan(after)
        tubes = np.sum(np.floor(turned / np.pi), axis=-1)
    else:
        along = 2 * np.pi * frequency / chain.air.pieces.sound_speed
        reference = _reference(chain, at_head)
        tubes = clamped_between(along, chain.cones, before, after, reference)
    inner = np.arctan(k.holes * _closed_inner(chain, k.holes))
    covered = np.floor((k.holes * chain.closed + inner) / np.pi + 0.5)
    pads = covered * (chain.drilled & ~chain.is_open)
    cavity = np.floor(k.head * chain.head.stub / np.pi + 0.5)
    return tubes + np.sum(pads, axis=-1) + np.sum(cavity, axis=-1)


def _reference(chain, at_head):
    """What `cone_elements` takes impedances relative to."""
    return chain.radius**2 * (wave_impedance(chain.air.pieces) / at_head)


def _fill_end(into, chain, end, k, radiation):
    """Write (A, B, C, D) of an end; return its own resistance, of no account if it is not heard."""
    side = (k * chain.radius / 2) ** 2  # rho c k^2/(4 pi): the window
    if end.kind == "stopped":
        into[0], into[1], into[2], into[3] = 0, 1, 0, 0
    elif end.kind == "node":
        into[0], into[1], into[2], into[3] = 1, 0, 0, 1
    elif end.kind == "window":
        into[0] = 1
        into[1] = radiation * side + 1j * k * end.length
        into[2] = window.stub_admittance(k, end.stub)
        into[3] = 1 + into[1] * into[2]
    else:
        ka, narrower = k * end.radius, (chain.radius / end.radius) ** 2
        length, decay = end.formula(ka, end.lip_ratio)
        phase = ka * end.correction * length
        into[0], into[2], into[3] = 1, 0, 1
        into[1] = narrower * ends.impedance(phase, radiation * decay)
        return narrower * ends.resistance(phase, decay)
    return side


def _hole_resistance(chain, k, radiation):
    """Return each hole's own radiation resistance; zeros where no radiation is asked for."""
    if not radiation:
        return np.zeros(chain.is_open.shape[-1])
    own = chain.formulas.resistance(k, chain.hole_radius, chain.outer_radius)
    return own * (chain.radius / chain.hole_radius) ** 2


def _fill_holes(into, chain, frequency, k, resistance, loss):
    """Write (A, B, C, D) of all holes."""
    if not into.shape[-1]:
        return
    formulas, at_mouth = chain.formulas, (chain.radius / chain.mouth) ** 2
    line = propagation(frequency, chain.mouth, chain.air.holes, loss * chain.loss)
    a, b, c, d = _chimney(chain, frequency, loss, line)
    gain = formulas.inner_gain(k, chain.mouth, chain.bore_radius)
    inner = 1j * k * (chain.inner + gain) * at_mouth
    gain = formulas.outer_gain(k, chain.hole_radius, chain.outer_radius)
    outer = 1j * k * (chain.outer + gain) * (chain.radius / chain.hole_radius) ** 2 + resistance
    shunt = np.tanh(line[0] * chain.closed) / (line[1] * at_mouth)
    shunt = shunt / (1 + 1j * k * _closed_inner(chain, k) * at_mouth * shunt)
    ratio = formulas.ratio(k, chain.mouth_along)
    is_open, end = chain.is_open, c * outer + d
    into[0] = np.where(is_open, ratio * (a + inner * c), 0.0)
    into[1] = np.where(is_open, ratio * (a * outer + b + inner * end), 1.0)
    into[2] = np.where(is_open, c / ratio, 0.0)
    into[3] = np.where(is_open, end / ratio, np.where(chain.drilled, shunt / ratio**2, 0.0))


def _chimney(chain, frequency, loss, line):
    """(a, b, c, d) from the mouth to the outside: a tube of the mouth's radius, then a cone."""
    gamma, relative = line
    at_mouth = relative * (chain.radius / chain.mouth) ** 2
    if chain.straight:
        return tube(gamma, at_mouth, chain.height + chain.matching)
    near, far = chain.mouth, chain.hole_radius
    narrowing = propagation(frequency, 0.5 * (near + far), chain.air.holes, loss * chain.loss)
    impedance = narrowing[1] * chain.radius**2 / (near * far)
    flare = (far - near) / chain.height
    wall = cone(narrowing[0], impedance, chain.height, near, far, flare)
    return product(tube(gamma, at_mouth, chain.matching), wall)


def _closed_inner(chain, k):
    return chain.closed_inner + chain.formulas.inner_gain(k, chain.mouth, chain.bore_radius)


def _folded_tubes(chain, frequency, arms, at_head, loss):
    """Tubes between openings with the holes' series arms folded in."""
    air, loss = chain.air.pieces, loss * chain.loss
    if chain.cones is None:
        gamma, relative = propagation(frequency, chain.radius, air, loss)
        a, b, c, d = tube(gamma, relative, chain.tubes)
    else:
        each = cone_elements(chain.cones, frequency, air, loss, _reference(chain, at_head))
        a, b, c, d = end_to_end(chain.cones, each)
    before, after = arms
    # [[1, before], [0, 1]] . tube . [[1, after], [0, 1]]
    a, b = a + before * c, b + before * d
    return a, b + a * after, c, d + c * after


def _mutual(chain, frequency, own, at_head, radiation):
    """Z_ij (..., n, n) between open openings through the air outside, zero elsewhere."""
    outside = chain.air.outside
    relative = wave_impedance(outside) / at_head
    own = own / relative
    i, j = chain.pairs
    impedance = mutual_impedance(
        2 * np.pi * frequency / outside.sound_speed,
        chain.distance[..., i, j],
        chain.strength[i, j],
        chain.radius,
        own[..., i],
        own[..., j],
        radiation,
    )
    impedance = np.where(chain.pair[..., i, j], chain.coupling * relative * impedance, 0.0)
    mutual = np.zeros((*impedance.shape[:-1], *chain.strength.shape), dtype=complex)
    mutual[..., i, j] = mutual[..., j, i] = impedance
    return mutual


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
    return columns(d / b, pad) + columns(pad, a / b), -1 / b


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


def noted_impedance(e: Elements) -> np.ndarray:
    """Return what is zero at a note: `head_impedance`, or of a stopped head its inverse."""
    seen = head_impedance(e)
    return seen if e.driven else 1 / seen


def in_blocks(function: Callable, chain: Chain, frequency: np.ndarray) -> np.ndarray:
    """Apply function(chain, frequency block) along a long frequency axis."""
    batch, note = np.broadcast_shapes(frequency.shape[:2], chain.shape)
    step = max(1, BLOCK // (batch * note))
    starts = range(0, frequency.shape[2], step)
    return np.concatenate([function(chain, frequency[..., s : s + step]) for s in starts], axis=2)


def checked_frequency(frequency: np.ndarray, *, increasing: bool = False) -> np.ndarray:
    """Return frequencies (F,) [Hz] as floats, or complex numbers.

    Parameters
    ----------
    frequency : (F,) [Hz]
    increasing : bool
        Real ones, each above the one before.

    Raises
    ------
    ValueError
        No number, none at all, one that is not greater than 0, or that does not increase.
    """
    frequency = np.asarray(frequency)
    if frequency.dtype.kind not in ("iuf" if increasing else "iufc") and frequency.size:
        kind = "complex" if frequency.dtype.kind == "c" else repr(frequency.flat[0])
        msg = f"frequency is {kind}; give {'real ' * increasing}numbers [Hz]"
        raise ValueError(msg)
    frequency = frequency + 0.0
    if frequency.ndim != 1 or not frequency.size:
        msg = (
            f"frequency has shape {frequency.shape}; give a row of at least one frequency [Hz], "
            "such as range(50, 2000)"
        )
        raise ValueError(msg)
    good = np.isfinite(frequency) & (frequency.real > 0)
    if not np.all(good):
        msg = f"frequency {frequency[~good][0]} Hz: it must be greater than 0; start at some 50 Hz"
        raise ValueError(msg)
    if increasing and not np.all(np.diff(frequency) > 0):
        bad = frequency[1:][~(np.diff(frequency) > 0)][0]
        msg = f"frequency {bad} Hz does not lie above the one before it; sort them"
        raise ValueError(msg)
    return frequency


def input_impedance(
    flute: Flute,
    fingerings: Rows,
    frequency: np.ndarray,
    corrections: Corrections | None = None,
    formulas: Formulas | None = None,
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
    formulas : Formulas, optional

    Raises
    ------
    ValueError
        No frequency, or one that is not greater than 0.

    Warns
    -----
    ValidityWarning
        Where the flute or a frequency leaves a formula's range.

    Notes
    -----
    The window (or open head) in series with all behind it, coupling included; at a
    stopped head the plain input impedance. Zeros of the imaginary part and peaks of
    1/Z mark the notes.
    """

    def evaluate(numbers, block):
        e = elements(numbers, block)
        return head_impedance(e) * e.scale[..., 0]

    frequency = checked_frequency(frequency)
    numbers = chain(flute, fingerings, corrections, formulas)
    warn_of_unheard(numbers, stacklevel=3)
    size = np.abs(frequency)
    warn_of_frequencies(numbers, np.min(size, initial=np.inf), np.max(size, initial=0.0))
    with already_warned():
        result = in_blocks(evaluate, numbers, frequency[None, None, :])
    # rows that are all alike were worked out once
    shape = (len(result), len(fingerings), frequency.size)
    result = np.array(np.broadcast_to(result, shape))
    return result[0] if len(result) == 1 else result
