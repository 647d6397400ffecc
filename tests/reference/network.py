"""A fingering as a list of two-ports, coupling off, and four ways to fold it.

Elements are written out again here, with plain Bessel functions and lumped shunts.
Impedances over the bore's rho c/(pi a^2).
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import jv

from flutelab.physics import ends


@dataclass(frozen=True, kw_only=True, eq=False)
class Part:
    """One two-port: a series impedance, a shunt admittance or a line."""

    kind: str
    value: np.ndarray | None = None
    gamma: np.ndarray | None = None
    impedance: np.ndarray | None = None
    length: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Network:
    """What lies before the parts (in series with all), the parts, and the load at the foot."""

    before: np.ndarray
    parts: tuple[Part, ...]
    load: np.ndarray | None  # None = stopped
    frequency: np.ndarray


def zwikker_kosten(frequency, radius, air, loss):
    """Return (gamma, impedance over rho c/S), losses scaled by `loss`."""
    omega = 2 * np.pi * np.asarray(frequency)
    z = radius * np.sqrt(omega * air.density / air.viscosity) * np.exp(-0.25j * np.pi)
    z_t = z * np.sqrt(air.prandtl)
    s2 = 1 / (1 - 2 * jv(1, z) / (z * jv(0, z)))
    t2 = 1 + (air.heat_ratio - 1) * 2 * jv(1, z_t) / (z_t * jv(0, z_t))
    series, shunt = s2, t2  # of j omega rho/S and j omega S/(rho c^2)
    j_k = 1j * omega / air.sound_speed
    both = np.sqrt(series) * np.sqrt(shunt)
    return j_k * (1 + loss * (both - 1)), 1 + loss * (np.sqrt(series) / np.sqrt(shunt) - 1)


def end_load(end, ka, radiation=1.0):
    """Return an end's impedance, None where stopped; `radiation` scales the logarithm of |R|."""
    if end.kind == "stopped":
        return None
    if end.kind == "node":
        return 0 * ka + 0j
    if end.kind == "flanged":
        size, length = ends.flanged_reflection(ka), ends.flanged_length(ka)
    else:
        size = ends.unflanged_reflection(ka)
        length = end.lip_length * ends.unflanged_length(ka) / ends.UNFLANGED_LIMIT
    reflected = -(size**radiation) * np.exp(-2j * ka * length * end.correction)
    return (1 + reflected) / (1 - reflected)


def network(n, frequency):
    """Return the network of some `Numbers` at frequencies (F,)."""
    frequency = np.asarray(frequency)
    k = 2 * np.pi * frequency / n.air.sound_speed
    gamma, impedance = zwikker_kosten(frequency, n.radius, n.air, n.loss)
    before, parts = 0j * k, []
    if n.head.kind == "window":
        before = (k * n.radius) ** 2 / 4 + 1j * k * n.head.length
        parts.append(Part(kind="shunt", value=1j * np.tan(k * n.head.stub)))
    elif n.head.kind != "stopped":
        before = end_load(n.head, k * n.radius)
    for place, length in enumerate(np.diff(n.places)):
        parts.append(Part(kind="line", gamma=gamma, impedance=impedance, length=length))
        if place < len(n.holes):
            parts += _hole(n, n.holes[place], k, frequency)
    return Network(
        before=before,
        parts=tuple(parts),
        load=end_load(n.foot, k * n.radius),
        frequency=frequency,
    )


def _hole(n, h, k, frequency):
    if h.state == "undrilled":
        return []
    arm = Part(kind="series", value=0.5j * k * h.series)
    gamma, relative = zwikker_kosten(frequency, h.radius, n.air, n.loss)
    narrower = (n.radius / h.radius) ** 2
    line = relative * narrower
    if h.state == "open":
        outside = (k * n.radius) ** 2 / 4 + 1j * k * h.outer * narrower
        tanh = np.tanh(gamma * h.chimney)
        chimney = line * (outside + line * tanh) / (line + outside * tanh)
        shunt = 1 / (chimney + 1j * k * h.inner * narrower)
    else:
        shunt = np.tanh(gamma * h.closed) / line
    return [arm, Part(kind="shunt", value=shunt), arm]


def pair_fold(net):
    """Carry pressure and flow from the foot to the head."""
    one = np.ones_like(net.before)
    p, u = (one, 0 * one) if net.load is None else (net.load, one)
    for part in reversed(net.parts):
        if part.kind == "series":
            p = p + part.value * u
        elif part.kind == "shunt":
            u = u + part.value * p
        else:
            c, s = np.cosh(part.gamma * part.length), np.sinh(part.gamma * part.length)
            p, u = c * p + part.impedance * s * u, s / part.impedance * p + c * u
    return net.before + p / u


def ratio_form(net):
    """Carry the impedance alone from the foot to the head."""
    z = net.load
    for part in reversed(net.parts):
        if part.kind == "line":
            tanh = np.tanh(part.gamma * part.length)
            z = (
                part.impedance / tanh
                if z is None
                else part.impedance * (z + part.impedance * tanh) / (part.impedance + z * tanh)
            )
        elif part.kind == "series":
            z = z + part.value
        else:
            z = z / (1 + part.value * z)
    return net.before + z


def matrices(net):
    """Return the chain matrix (F, 2, 2) of each part."""
    result = []
    for part in net.parts:
        matrix = np.zeros(np.shape(net.before) + (2, 2), complex)
        matrix[..., 0, 0] = matrix[..., 1, 1] = 1
        if part.kind == "series":
            matrix[..., 0, 1] = part.value
        elif part.kind == "shunt":
            matrix[..., 1, 0] = part.value
        else:
            c, s = np.cosh(part.gamma * part.length), np.sinh(part.gamma * part.length)
            matrix[..., 0, 0] = matrix[..., 1, 1] = c
            matrix[..., 0, 1], matrix[..., 1, 0] = part.impedance * s, s / part.impedance
        result.append(matrix)
    return result


def matmul_form(net):
    """Multiply the stacked 2 x 2 matrices from the head on."""
    total = np.eye(2)
    for matrix in matrices(net):
        total = total @ matrix
    a, b, c, d = (total[..., i, j] for i in (0, 1) for j in (0, 1))
    if net.load is None:
        return net.before + a / c
    return net.before + (a * net.load + b) / (c * net.load + d)


def scikit_rf_cascade(net):
    """Cascade scattering matrices with scikit-rf, a general network library."""
    import skrf

    axis = skrf.Frequency.from_f(net.frequency, unit="hz")
    total = None
    for matrix in matrices(net):
        part = skrf.Network(frequency=axis, s=skrf.network.a2s(matrix, z0=1), z0=1)
        total = part if total is None else total**part
    reflected = np.ones(len(axis)) if net.load is None else (net.load - 1) / (net.load + 1)
    end = skrf.Network(frequency=axis, s=reflected[:, None, None], z0=1)
    return net.before + (total**end).z[:, 0, 0]
