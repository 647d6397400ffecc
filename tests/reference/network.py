"""A fingering as a list of two-ports, coupling off, and four ways to fold it.

Elements are written out again here, with scaled Bessel functions and lumped shunts.
Impedances over the bore's rho c/(pi a^2).
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import jve


@dataclass(frozen=True, kw_only=True, eq=False)
class Part:
    """One two-port: a series impedance, a shunt admittance, a line or (a, b, c, d)."""

    kind: str
    value: np.ndarray | tuple | None = None
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
    s2 = 1 / (1 - 2 * jve(1, z) / (z * jve(0, z)))
    t2 = 1 + (air.heat_ratio - 1) * 2 * jve(1, z_t) / (z_t * jve(0, z_t))
    series, shunt = s2, t2  # of j omega rho/S and j omega S/(rho c^2)
    j_k = 1j * omega / air.sound_speed
    both = np.sqrt(series) * np.sqrt(shunt)
    return j_k * (1 + loss * (both - 1)), 1 + loss * (np.sqrt(series) / np.sqrt(shunt) - 1)


def end_load(n, end, k, radiation=1.0):
    """Return an end's impedance, None where stopped; `radiation` scales the logarithm of |R|."""
    if end.kind == "stopped":
        return None
    if end.kind == "node":
        return 0j * k
    length, decay = n.formulas.end(k * end.radius, end.ratio)
    reflected = -np.exp(-2 * radiation * decay - 2j * k * end.radius * length * end.correction)
    return (1 + reflected) / (1 - reflected) * (n.radius / end.radius) ** 2


def cone_matrix(gamma, z, length, near, far):
    """(a, b, c, d) of a cone from its spherical waves exp(-+Gamma s)/s, s from the apex.

    z relative to rho c/(pi r^2) of the place, all over that of radius 1.
    """
    gamma, z = np.broadcast_arrays(gamma, z)
    if near == far:
        cosh, sinh = np.cosh(gamma * length), np.sinh(gamma * length)
        return cosh, z / near**2 * sinh, near**2 / z * sinh, cosh
    s1 = near * length / (far - near)

    def waves(s, radius):
        """Pressure and flow of the outgoing and the incoming wave, (F, 2, 2)."""
        sign = np.array([-1.0, 1.0])
        p = np.exp(sign * gamma[..., None] * (s - s1)) / s
        slope = sign * gamma[..., None] * p - p / s
        return np.stack([p, -(radius**2) / (z * gamma)[..., None] * slope], axis=-2)

    m = waves(s1, near) @ np.linalg.inv(waves(s1 + length, far))
    return m[..., 0, 0], m[..., 0, 1], m[..., 1, 0], m[..., 1, 1]


def tube_parts(n, number, frequency, loss):
    """Return the cones of a tube as parts."""
    for length, near, far in n.tubes[number]:
        gamma, z = zwikker_kosten(frequency, (near + far) / 2, n.air, loss)
        if near == far:
            yield Part(kind="line", gamma=gamma, impedance=z * (n.radius / near) ** 2,
                       length=length)  # fmt: skip
        else:
            a, b, c, d = cone_matrix(gamma, z, length, near, far)
            yield Part(kind="matrix", value=(a, b * n.radius**2, c / n.radius**2, d))


def network(n, frequency):
    """Return the network of some `Numbers` at frequencies (F,)."""
    frequency = np.asarray(frequency)
    k = 2 * np.pi * frequency / n.air.sound_speed
    before, parts = 0j * k, []
    if n.head.kind == "window":
        before = (k * n.radius) ** 2 / 4 + 1j * k * n.head.length
        parts.append(Part(kind="shunt", value=1j * np.tan(k * n.head.stub)))
    elif n.head.kind != "stopped":
        before = end_load(n, n.head, k)
    for number in range(len(n.tubes)):
        parts += tube_parts(n, number, frequency, n.loss)
        if number < len(n.holes):
            parts += _hole(n, n.holes[number], k, frequency)
    return Network(
        before=before,
        parts=tuple(parts),
        load=end_load(n, n.foot, k),
        frequency=frequency,
    )


def outside_load(n, h, k, radiation=1.0):
    """Return what an open hole's chimney ends in, coupling apart."""
    f, at_hole = n.formulas.hole, (n.radius / h.radius) ** 2
    length = h.outer + f.outer_gain(k, h.radius, h.outer_radius)
    own = f.resistance(k, h.radius, h.outer_radius)
    return at_hole * (1j * k * length + radiation * own)


def inner_length(n, h, k):
    """Return the inner end's length of an open or a closed hole, frequency included."""
    low = h.inner if h.state == "open" else h.closed_inner
    return low + n.formulas.hole.inner_gain(k, h.mouth, h.bore_radius)


def _hole(n, h, k, frequency):
    if h.state == "undrilled":
        return []
    arm = Part(kind="series", value=0.5j * k * h.series)
    at_mouth = (n.radius / h.mouth) ** 2
    gamma, relative = zwikker_kosten(frequency, h.mouth, n.air, n.loss)
    line, inner = relative * at_mouth, 1j * k * inner_length(n, h, k) * at_mouth
    if h.state == "open":
        z = outside_load(n, h, k)
        g, r = zwikker_kosten(frequency, (h.mouth + h.radius) / 2, n.air, n.loss)
        a, b, c, d = cone_matrix(g, r, h.height, h.mouth, h.radius)
        z = (a * z + b * n.radius**2) / (c / n.radius**2 * z + d)
        tanh = np.tanh(gamma * h.matching)
        shunt = 1 / (line * (z + line * tanh) / (line + z * tanh) + inner)
    else:
        shunt = np.tanh(gamma * h.closed) / line
        shunt = shunt / (1 + inner * shunt)
    shunt = shunt / n.formulas.hole.ratio(k, h.along) ** 2
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
        elif part.kind == "matrix":
            a, b, c, d = part.value
            p, u = a * p + b * u, c * p + d * u
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
        elif part.kind == "matrix":
            a, b, c, d = part.value
            z = a / c if z is None else (a * z + b) / (c * z + d)
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
        elif part.kind == "matrix":
            matrix[...] = np.stack(part.value, axis=-1).reshape(matrix.shape)
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
