"""The standing wave inside: pressure and flow along the bore, what leaves by which opening."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache, reduce
from itertools import pairwise

import numpy as np

from flutelab.errors import already_warned
from flutelab.model.axes import columns
from flutelab.model.bore import product
from flutelab.model.chain import Chain, Formulas, chain, opening_places, wave_impedance
from flutelab.model.corrections import Corrections
from flutelab.model.flute import Bore, End, Flute, Hole, Window, bore_diameter
from flutelab.model.lattice import Elements, elements, solve, system
from flutelab.model.modes import Modes, register_roots, searched, solved_modes, warn_of_notes
from flutelab.model.rows import Rows, checked, first_open

FEWEST = 20  # points: the effective ends must lie well within a quarter wave of one
APART = 1e-3  # of the points' spacing: nearer to a hole there is no point of its own
UNDAMPED = 1e-9  # relative: a mode less damped has no steady state at its own frequency


@dataclass(frozen=True, kw_only=True, eq=False)
class StandingWave:
    """The sound of N rows at their modes, along P points and at n openings (head, holes, foot).

    Peak values (not effective ones); the largest pressure in the bore is 1 Pa with phase 0.
    nan in a row without a mode, ``reason`` says why; ``status`` (N,) of the note, as in `modes`.

    ``frequency`` (N,) [Hz]; ``position`` (P,) [m] from the sounding edge, each hole twice, just
    before and just after it; ``pressure`` (N, P) [Pa] and ``flow`` (N, P) [m3/s] towards the
    foot, complex.

    ``opening`` and ``place`` (n,) [m]; ``outflow`` (N, n) [m3/s], outward, 0 where closed;
    ``radiated`` (N, n) [W]; ``flow_share`` = |outflow| over the sum of all, ``power_share`` =
    radiated power over all radiated, (N, n): a little below 0 where the other openings' sound
    drives an opening, nan where no sound leaves anywhere.

    ``input_power`` (N,) [W], of the drive that keeps the wave up; ``bore_loss`` (N,) and
    ``hole_loss`` (N, n) [W], at the walls of bore and of open and closed holes.

    ``effective_head`` and ``effective_end`` (N,) [m] from the sounding edge: where a plain
    bore that carried on the wave at the head, and before the first open opening, would end,
    at its first node of pressure; ``half_waves`` (N,) [m]: the whole number of half waves that
    is nearest to their distance. nan at a stopped end. ``unit_shown``, "mm" or "in", is the unit
    of the flute's owner, for showing only.
    """

    label: tuple[str, ...]
    reason: np.ndarray
    status: np.ndarray
    frequency: np.ndarray
    position: np.ndarray
    pressure: np.ndarray
    flow: np.ndarray
    opening: tuple[str, ...]
    place: np.ndarray
    outflow: np.ndarray
    radiated: np.ndarray
    flow_share: np.ndarray
    power_share: np.ndarray
    input_power: np.ndarray
    bore_loss: np.ndarray
    hole_loss: np.ndarray
    effective_head: np.ndarray
    effective_end: np.ndarray
    half_waves: np.ndarray
    unit_shown: str = "mm"


@dataclass(frozen=True, kw_only=True)
class _Sliced:
    """What `chain` reads of a flute: undrilled holes as points, overlapping as they may."""

    bore: Bore
    holes: tuple[Hole, ...]
    head: Window | End
    foot: End


def standing_wave(
    flute: Flute,
    fingerings: Rows,
    corrections: Corrections | None = None,
    *,
    register: int | np.ndarray | None = None,
    points: int = 200,
    formulas: Formulas | None = None,
    found: Modes | None = None,
    numbers: Chain | None = None,
) -> StandingWave:
    """Return the standing wave of each row at one of its modes.

    Parameters
    ----------
    flute : Flute
    fingerings : Rows
        N rows.
    corrections : Corrections, optional
        Without a batch axis.
    register : int or (N,), optional
        Default: the rows'; 0 counts as 1.
    points : int
        Evenly from the head to the foot, at least 20; openings come besides.
    formulas : Formulas, optional
    found : Modes, optional
        These rows' modes where they are known already, with these corrections and formulas:
        all among which the register is sought, or that of the register alone where it is the
        first; nobody is warned of their frequencies anew.
    numbers : Chain, optional
        The rows' chain where it is there already.

    Returns
    -------
    StandingWave

    Raises
    ------
    ValueError
        Fewer than 20 points.

    Warns
    -----
    ValidityWarning
        As `predict_notes`.

    Notes
    -----
    The steady sound at the (real) frequency of the eigenfrequency, driven by a pressure in
    series with the window or plain head, or by a flow at a stopped head: what is put in equals
    what is radiated and lost at the walls. Other modes take part by about 1/Q.

    Between the openings the wave is cut at the points and carried on with the two-ports of the
    bore (plane waves, cones as spherical ones). A tapered bore is thus cut finer than for
    `modes`, which changes the losses in the fourth digit, and so is air that changes along the
    bore, which moves the mode by up to 0.006 cent down to 15 C. A hole's series arms are lumped at
    its place: the pressure there is that between them. From the window's centre to the edge
    the wave is drawn as if the window were a point.

    Radiated by opening i: Re(U_i* sum_j Z_ij U_j)/2 with the radiation resistance and the
    coupling of the openings through the air outside.

    The effective end lies at x - arg(-R)/2k, R = (Z - Z_c)/(Z + Z_c) the reflection factor, Z =
    p/U at the last point x before the first open opening, Z_c = rho c/S and k = omega/c of the
    bore and the air there, half a wave further where that is more than the bore's radius before
    x: the wave that a small or partly covered hole lets pass ends beyond it. The effective head
    likewise, looking back. It is exact for a lossless cylinder; losses shift it by a fraction of
    a millimetre, in a cone it is that of the cylinder that continues x. Near the cutoff, where
    the sound runs on past open holes, it is no place where sound ends, only that of a plain pipe.
    Their distance differs from whole half waves by what lies between: closed holes, taper, and
    walls, which slow sound down.
    """
    if points < FEWEST:
        msg = f"points are {points}; give at least {FEWEST}"
        raise ValueError(msg)
    wanted = checked(fingerings).register if register is None else register
    wanted = np.maximum(np.broadcast_to(np.asarray(wanted, dtype=int), (len(fingerings),)), 1)
    if found is None:
        found = _warned_modes(flute, fingerings, corrections, wanted, formulas)
    root, reason, status = _roots(found, wanted)
    cut, cut_rows, nodes = _sliced(flute, fingerings, points)
    with already_warned():
        fine = chain(cut, cut_rows, corrections, formulas)
        frequency = _steady(root)
        each = tuple(part[0, :, 0] for part in elements(fine, frequency).tubes)
        numbers = numbers or chain(flute, fingerings, corrections, formulas)
        e = elements(numbers, frequency)
    e = replace(e, tubes=tuple(part[None, :, None] for part in _folded(each, nodes)))
    solved = _solved(e)
    pressure, flow = _along(solved, each, nodes)
    places = np.array(opening_places(cut))
    position = np.concatenate([places[i : j + 1] for i, j in pairwise(nodes)])
    largest = pressure[np.arange(len(root)), np.argmax(np.abs(pressure), axis=-1)][:, None]
    scale = np.broadcast_to(e.scale, (1, len(root), 1, 1))[0, :, 0]  # of flows
    values = {
        "pressure": pressure / largest,
        "flow": flow / (largest * scale),
        "outflow": solved.outflow / (largest * scale),
        **_powers(solved, e, np.abs(largest) ** 2 * scale),
        **_effective(fine, frequency, places, nodes, 1 + first_open(fingerings), (pressure, flow)),
    }
    none = reason != ""
    return StandingWave(
        label=fingerings.label,
        reason=reason,
        status=status,
        frequency=np.where(none, np.nan, root.real),
        position=position,
        opening=_names(flute),
        place=places[nodes],
        unit_shown=flute.unit,
        **{name: _blank(value, none) for name, value in values.items()},
    )


def _blank(value, none):
    return np.where(none.reshape(-1, *(1,) * (value.ndim - 1)), np.nan, value)


def _names(flute):
    head = "window" if isinstance(flute.head, Window) else "head"
    return (head, *(f"hole {i + 1}" for i in range(len(flute.holes))), "foot")


def _warned_modes(flute, fingerings, corrections, register, formulas):
    """As many modes as registers are sought among, with warnings of those alone."""
    count = searched(register)
    found, numbers = solved_modes(flute, fingerings, corrections, count=count, formulas=formulas)
    column = register_roots(found, register)
    warn_of_notes(numbers, found.frequency[np.arange(len(column)), column][column >= 0])
    return found


def _roots(found, register):
    """Eigenfrequencies (N,) of the wanted registers (any number where none is), reasons, status."""
    column = register_roots(found, register)
    pick = np.arange(len(column)), np.maximum(column, 0)
    root, why = found.root[pick], found.reason[pick]
    why = np.where(why == "", "no mode of this register speaks", why)
    none = column < 0
    status = np.where(none, "none", found.status[pick])
    return np.where(none, 1000.0, root), np.where(none, why, ""), status


def _steady(root):
    """Driving frequencies (1, N, 1): where nothing damps, just beside the mode."""
    beside = np.where(root.imag > UNDAMPED * root.real, 1.0, 1 + UNDAMPED)
    return (root.real * beside)[None, :, None]


# --- the bore cut at points ---------------------------------------------------------------


def _sliced(flute, fingerings, points):
    """The flute with undrilled holes at points, its rows, and which nodes are its openings."""
    real = [float(h.position) for h in flute.holes]
    # of what sizes they are does not matter, as long as a formula can be evaluated
    drill = 0.5 * float(bore_diameter(flute.bore, 0.0))
    added = _points(tuple(real), float(flute.foot.position), drill, points)
    order = np.argsort([*real, *(hole.position for hole in added)])
    holes = [*flute.holes, *added]
    cut = _Sliced(
        bore=flute.bore,
        holes=tuple(holes[i] for i in order),
        head=flute.head,
        foot=flute.foot,
    )
    nodes = [0, *(1 + np.flatnonzero(order < len(real))), len(holes) + 1]
    return cut, _sliced_rows(fingerings, order, drill), np.array(nodes)


@lru_cache(maxsize=4)  # while a slider is moved the places stay the same
def _points(real, length, drill, points):
    """Holes at even places of a bore, none where a real hole is."""
    even = np.linspace(0.0, length, points)[1:-1]
    distance = np.abs(even[:, None] - np.array(real))
    even = even[np.all(distance > APART * length / (points - 1), axis=-1)]
    return tuple(Hole(position=x, diameter=drill, wall=drill / 2) for x in even.tolist())


def _sliced_rows(fingerings, order, drill):
    added = len(order) - fingerings.openness.shape[1]

    def wider(values, filling):
        filled = np.full((len(fingerings), added), filling)
        return np.concatenate([values, filled], axis=1)[:, order]

    diameter = fingerings.diameter
    return replace(
        fingerings,
        openness=wider(fingerings.openness, 0.0),
        drilled=wider(fingerings.drilled, filling=False),
        diameter=None if diameter is None else wider(diameter, drill),
    )


def _folded(each, nodes):
    """(a, b, c, d) from opening to opening, from those between points, last axis tubes."""
    tubes = [
        reduce(product, [tuple(part[..., j] for part in each) for j in range(begin, end)])
        for begin, end in pairwise(nodes)
    ]
    return tuple(np.stack(part, axis=-1) for part in zip(*tubes, strict=True))


# --- the wave -----------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class _Solved:
    """Node pressures and outward flows (N, n), flows at both ends of tubes, a unit drive.

    Flows are pressures over relative impedances.
    """

    pressure: np.ndarray
    outflow: np.ndarray
    near: np.ndarray
    far: np.ndarray


def _solved(e: Elements) -> _Solved:
    unknown = solve(e)
    pressure = (system(e)[1] @ unknown[..., None])[..., 0]
    if e.driven:
        pressure[..., 0] += e.openings[0][..., 0]
    a, b, c, d = e.tubes
    far = (pressure[..., :-1] - a * pressure[..., 1:]) / b
    near = c * pressure[..., 1:] + d * far
    outflow = np.where(e.openings[0] == 0, 0.0, unknown)
    parts = {"pressure": pressure, "outflow": outflow, "near": near, "far": far}
    return _Solved(**{name: part[0, :, 0] for name, part in parts.items()})


def _along(solved, each, nodes):
    """Pressure and flow (N, P) from point to point, an opening's once on either side."""
    points = []
    for tube, (begin, end) in enumerate(pairwise(nodes)):
        p, u = solved.pressure[:, tube], solved.near[:, tube]
        points.append((p, u))
        for j in range(begin, end):
            a, b, c, d = (part[:, j] for part in each)
            p, u = d * p - b * u, a * u - c * p
            points.append((p, u))
    return tuple(np.stack(part, axis=-1) for part in zip(*points, strict=True))


def _powers(solved, e, unit):
    """Where the power comes from and goes, over `unit` (N, 1)."""
    p, u = solved.pressure, solved.outflow
    resistance = np.array(e.resistance[0, :, 0])
    # an end that does not hear the others radiates by itself all the same
    ends = e.openings[1][0, :, 0, :: p.shape[-1] - 1].real
    resistance[:, :: p.shape[-1] - 1] = ends
    outside = resistance * u + np.einsum("nij,nj->ni", e.mutual[0, :, 0], u)
    radiated = _power(outside, u)
    drive = _power(1.0, -u[:, 0]) if e.driven else _power(p[:, 0], 1.0)
    into_holes = _power(p[:, 1:-1], solved.far[:, :-1] - solved.near[:, 1:])
    lost = np.zeros_like(radiated)
    lost[:, 1:-1] = into_holes - radiated[:, 1:-1]
    along = _power(p[:, :-1], solved.near) - _power(p[:, 1:], solved.far)
    return {
        "radiated": radiated / unit,
        "flow_share": _shares(np.abs(u)),
        "power_share": _shares(radiated),
        "input_power": drive / unit[:, 0],
        "bore_loss": np.sum(along, axis=-1) / unit[:, 0],
        "hole_loss": lost / unit,
    }


def _shares(values):
    """Values (N, n) over their sum, nan where that is 0."""
    total = np.sum(values, axis=-1, keepdims=True)
    return values / np.where(total == 0, np.nan, total)


def _power(pressure, flow):
    """Mean power of peak values."""
    return 0.5 * (pressure * np.conj(flow)).real


# --- effective ends -----------------------------------------------------------------------


def _effective(fine, frequency, places, nodes, first, wave):
    """Effective ends and the half waves between them, each (N,), from (p, U) at the points."""
    row, start = np.arange(len(first)), np.ones_like(first)
    stop = nodes[first] - 1
    (pressure, flow), (k, plain) = wave, _plane_wave(fine, frequency, len(places))
    # a tube's points stand one column further than its nodes for each opening before it
    ahead, behind = (pressure[row, at] / flow[row, at] for at in (stop + first - 1, start))
    # series arms may put a node before an opening, by less than the bore's radius
    radius = np.max(fine.radius)
    end = places[stop] + _to_node(ahead / plain[row, stop], k[row, stop], radius)
    head = places[start] - _to_node(-behind / plain[row, start], k[row, start], radius)
    head = np.where(fine.head.kind == "stopped", np.nan, head)
    end = np.where((fine.foot.kind == "stopped") & (first == len(nodes) - 1), np.nan, end)
    half_wave = 2 * np.pi / (k[row, start] + k[row, stop])
    end = np.where(end - head < half_wave / 2, end + half_wave, end)  # a hole at the very head
    count = np.maximum(1, np.round((end - head) / half_wave))
    return {"effective_head": head, "effective_end": end, "half_waves": count * half_wave}


def _to_node(impedance, k, before):
    """How far onward the first node of pressure lies that is not more than `before` back [m]."""
    distance = -np.angle((1 - impedance) / (1 + impedance)) / (2 * k)
    return np.where(distance < -before, distance + np.pi / k, distance)


def _plane_wave(fine: Chain, frequency, count):
    """Wave number [1/m] and rho c/S relative to the head's, (N, nodes), of air and bore there."""
    air = fine.air.openings
    relative = wave_impedance(air)
    relative = relative / (relative[..., :1] if np.ndim(relative) else relative)
    radius = columns(fine.radius, fine.bore_radius, fine.foot.radius)
    k = 2 * np.pi * frequency[..., None] / air.sound_speed
    shape = (1, frequency.shape[1], 1, count)
    k, relative = (np.broadcast_to(x, shape)[0, :, 0] for x in (k, relative * fine.radius**2))
    return k, relative / np.broadcast_to(radius**2, shape)[0, :, 0]
