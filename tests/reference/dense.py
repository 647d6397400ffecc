"""The whole pipe, coupling included, as one large system with nothing eliminated.

Unknowns: pressure P at each node, flow W from it into its opening, flow U out of the
opening, flows at both ends of each tube. No coefficient has a pole (cavities stand as cos
and sin), so the determinant is an entire function of frequency whose zeros are the modes:
a scan of its sign cannot skip a mode at a pole. Flows are divided by j and their equations
too, which makes the reactive model real.
"""

import numpy as np
from reference.network import (
    cone_matrix,
    end_load,
    inner_length,
    outside_load,
    zwikker_kosten,
)
from scipy.optimize import brentq, minimize_scalar

ALONG, TO_END = 1.29, 1.0  # reactive strength: along the pipe, towards an end face


def dense_system(n, frequency, losses=1.0):
    """Return (matrix (F, m, m), drive (F, m)) of some `Numbers` at frequencies (F,).

    The drive is a unit pressure in series with the head's opening, or a unit flow into a
    stopped head. The last axis holds P, W, U (one a node), then near and far tube flows.
    """
    frequency = np.asarray(frequency)
    nodes, tubes = len(n.places), len(n.places) - 1
    p, w, u = (np.arange(nodes) + i * nodes for i in range(3))
    near, far = (np.arange(tubes) + 3 * nodes + i * tubes for i in range(2))
    size = 3 * nodes + 2 * tubes
    m = np.zeros((*frequency.shape, size, size), complex)
    drive = np.zeros((*frequency.shape, size), complex)
    m[..., w, w] = 1  # W_i + near_i - far_(i-1) = 0
    m[..., w[:-1], near] = 1
    m[..., w[1:], far] = -1
    _fill_tubes(m, n, frequency, losses, (p, near, far))
    outside = exterior(n, frequency, losses)
    openings = [_end(n, n.head, frequency, losses)]
    openings += [_hole(n, h, frequency, losses) for h in n.holes]
    openings.append(_end(n, n.foot, frequency, losses))
    for i, (a, b, c, d, e) in enumerate(openings):
        if a is None:  # closed: e W = c P, U = 0
            m[..., p[i], w[i]], m[..., p[i], p[i]] = e, -c
            m[..., u[i], u[i]] = 1
            continue
        m[..., p[i], p[i]] = 1  # P = a p_out + b U, e W = c p_out + d U, p_out = Z U
        m[..., p[i], u[0] : u[-1] + 1] -= a[..., None] * outside[..., i, :]
        m[..., p[i], u[i]] -= b
        m[..., u[i], w[i]] = e
        m[..., u[i], u[0] : u[-1] + 1] -= c[..., None] * outside[..., i, :]
        m[..., u[i], u[i]] -= d
    if n.head.kind == "stopped":
        drive[..., w[0]] = 1
    else:
        drive[..., p[0]], drive[..., u[0]] = openings[0][0], openings[0][2]
    flows = np.concatenate([w, u, near, far])
    m[..., :, flows] *= 1j
    closed = [i for i, opening in enumerate(openings) if opening[0] is None]
    equations = np.concatenate([w, u, far, p[closed]])  # of flow; the others are of pressure
    m[..., equations, :] /= 1j
    drive[..., equations] /= 1j
    return m, drive


def _fill_tubes(m, n, frequency, losses, columns):
    p, near, far = columns
    k = 2 * np.pi * frequency / n.air.sound_speed
    arms = [0.0, *(0.0 if h.state == "undrilled" else h.series for h in n.holes), 0.0]
    for i in range(len(n.tubes)):
        a, b, c, d = _tube(n, i, frequency, losses)
        before, after = (0.5j * k * arm for arm in arms[i : i + 2])
        m[..., near[i], p[i]] = 1  # pressures at the tube's ends lie behind the arms
        m[..., near[i], near[i]] = -before
        m[..., near[i], p[i + 1]] = -a
        m[..., near[i], far[i]] = -(a * after + b)
        m[..., far[i], near[i]] = 1
        m[..., far[i], p[i + 1]] = -c
        m[..., far[i], far[i]] = -(c * after + d)


def _tube(n, number, frequency, losses):
    """(a, b, c, d) of a tube; its cones have no poles, nor has their product."""
    whole = None
    for length, near, far in n.tubes[number]:
        gamma, z = _line(n, frequency, (near + far) / 2, losses)
        a, b, c, d = cone_matrix(gamma, z, length, near, far)
        one = np.stack([a, b * n.radius**2, c / n.radius**2, d], axis=-1)
        one = one.reshape(*np.shape(frequency), 2, 2)
        whole = one if whole is None else whole @ one
    return whole[..., 0, 0], whole[..., 0, 1], whole[..., 1, 0], whole[..., 1, 1]


def _line(n, frequency, radius, losses):
    if losses * n.loss == 0:
        return 2j * np.pi * frequency / n.air.sound_speed, 1.0 + 0 * frequency
    return zwikker_kosten(frequency, radius, n.air, losses * n.loss)


def _end(n, end, frequency, losses):
    k = 2 * np.pi * frequency / n.air.sound_speed
    one, zero = 1 + 0j * k, 0j * k
    if end.kind == "stopped":
        return None, None, zero, None, one
    if end.kind == "window":
        z = losses * (k * n.radius) ** 2 / 4 + 1j * k * end.length
        cos, sin = np.cos(k * end.stub), np.sin(k * end.stub)
        return one, z, 1j * sin, cos + 1j * sin * z, cos
    return one, end_load(n, end, k, losses), zero, one, one


def _hole(n, h, frequency, losses):
    k = 2 * np.pi * frequency / n.air.sound_speed
    one, zero = 1 + 0j * k, 0j * k
    if h.state == "undrilled":
        return None, None, zero, None, one
    at_mouth = (n.radius / h.mouth) ** 2
    gamma, z = _line(n, frequency, h.mouth, losses)
    z = z * at_mouth
    inner = 1j * k * inner_length(n, h, k) * at_mouth
    ratio = n.formulas.hole.ratio(k, h.along)
    if h.state == "closed":
        cosh, sinh = np.cosh(gamma * h.closed), np.sinh(gamma * h.closed)
        return None, None, sinh / z, None, (cosh + inner * sinh / z) * ratio**2
    cosh, sinh = np.cosh(gamma * h.matching), np.sinh(gamma * h.matching)
    matching = cosh, z * sinh, sinh / z, cosh
    gamma, z = _line(n, frequency, (h.mouth + h.radius) / 2, losses)
    wall = cone_matrix(gamma, z, h.height, h.mouth, h.radius)
    wall = wall[0], wall[1] * n.radius**2, wall[2] / n.radius**2, wall[3]
    outer = outside_load(n, h, k, losses)
    parts = (ratio, zero, zero, 1 / ratio), (one, inner, zero, one), matching, wall
    parts = (*parts, (one, outer, zero, one))
    whole = np.eye(2)
    for part in parts:
        whole = whole @ np.stack(part, axis=-1).reshape(*k.shape, 2, 2)
    return whole[..., 0, 0], whole[..., 0, 1], whole[..., 1, 0], whole[..., 1, 1], one


def own_resistance(n, k):
    """Real part of each opening's radiation at real k, continued to complex k, (F, n)."""
    parts = [(k * n.radius) ** 2 / 4]
    for h in n.holes:
        own = n.formulas.hole.resistance(k, h.radius, h.outer_radius)
        parts.append(own * (n.radius / h.radius) ** 2)
    parts.append(parts[0])
    for i, end in ((0, n.head), (-1, n.foot)):
        if end.kind in ("stopped", "node"):
            parts[i] = 0j * k
        elif end.kind != "window":
            seen = end_load(n, end, k), end_load(n, end, np.conj(k))
            parts[i] = 0.5 * (seen[0] + np.conj(seen[1]))
    return np.stack(np.broadcast_arrays(*parts), axis=-1)


def emitting(n):
    """Which openings are open to the outside."""
    return np.array([
        n.head.kind in ("window", "open", "flanged"),
        *(h.state == "open" for h in n.holes),
        n.foot.kind in ("open", "flanged"),
    ])  # fmt: skip


def exterior(n, frequency, losses=1.0):
    """Return Z_ij (F, n, n) between open openings, zero elsewhere and on the diagonal."""
    k = 2 * np.pi * np.asarray(frequency) / n.air.sound_speed
    nodes = len(n.places)
    face = [i == nodes - 1 or (i == 0 and n.head.kind != "window") for i in range(nodes)]
    own, emits = own_resistance(n, k), emitting(n)
    line = [True, *(h.on_line for h in n.holes), True]
    result = np.zeros((*k.shape, nodes, nodes), complex)
    for i in range(nodes):
        for j in range(nodes):
            if i == j or not (emits[i] and emits[j] and line[i] and line[j]):
                continue
            d = np.hypot(n.places[i] - n.places[j], n.outer_radius * (face[i] != face[j]))
            chi = TO_END if face[i] or face[j] else ALONG
            real = np.sqrt(own[..., i]) * np.sqrt(own[..., j]) * np.sin(k * d) / (k * d)
            imaginary = k * n.radius**2 * chi * np.cos(k * d) / (4 * d)
            result[..., i, j] = losses * real + 1j * imaginary
    return n.coupling * result


def head_impedance_dense(n, frequency):
    """Return what `flutelab.model.lattice.head_impedance` returns, (F,)."""
    m, drive = dense_system(n, frequency)
    unknown = np.linalg.solve(m, drive[..., None])[..., 0]
    if n.head.kind == "stopped":
        return unknown[..., 0]
    return -1 / (1j * unknown[..., 2 * len(n.places)])


def determinant(n, frequency):
    """Return (sign, logarithm) of the reactive determinant at real frequencies (F,)."""
    m, _ = dense_system(n, frequency, losses=0.0)
    assert np.max(np.abs(m.imag)) <= 1e-8 * np.max(np.abs(m.real))  # cones are complex waves
    return np.linalg.slogdet(m.real)


def reactive_modes(n, low, high, points=3000):
    """Return all reactive eigenfrequencies between two real frequencies.

    Sign changes on a dense grid, and between grid points any dip of |det| that touches or
    crosses zero twice.
    """
    grid = np.linspace(low, high, points)
    sign, log = determinant(n, grid)

    def value(f):
        s, size = determinant(n, np.array([f]))
        return float(s[0] * np.exp(size[0] - log_scale))

    found = []
    for i in range(points - 1):
        log_scale = max(log[i], log[i + 1])
        if sign[i] != sign[i + 1]:
            found.append(brentq(value, grid[i], grid[i + 1], xtol=1e-10, rtol=1e-14))
    for i in range(1, points - 1):
        if sign[i - 1] == sign[i] == sign[i + 1] and log[i] < min(log[i - 1], log[i + 1]):
            log_scale, side = log[i], sign[i]
            dip = minimize_scalar(
                lambda f, side=side: side * value(f),
                bounds=(grid[i - 1], grid[i + 1]),
                method="bounded",
                options={"xatol": 1e-9},
            )
            if dip.fun <= 0:
                found += [
                    brentq(value, grid[i - 1], dip.x, xtol=1e-10, rtol=1e-14),
                    brentq(value, dip.x, grid[i + 1], xtol=1e-10, rtol=1e-14),
                ]
    return sorted(found)


def continued(n, reactive, steps=50):
    """Follow reactive roots (M,) to full losses in small steps of Newton's method."""
    root = np.asarray(reactive, dtype=complex)
    for losses in np.arange(1, steps + 1) / steps:
        for _ in range(8):
            change = _newton_change(n, root, losses)
            root = root - change
            if np.all(np.abs(change) < 1e-11 * np.abs(root)):
                break
    return root


def _newton_change(n, root, losses):
    """det/det' = 1/trace(M^-1 dM/df)."""
    step = 1e-6 * np.abs(root)
    m, _ = dense_system(n, root, losses)
    above, _ = dense_system(n, root + step, losses)
    below, _ = dense_system(n, root - step, losses)
    slope = (above - below) / (2 * step)[:, None, None]
    exact = np.linalg.slogdet(m)[0] == 0  # to the last digit: nothing is left to change
    m[exact] = np.eye(m.shape[-1])
    return np.where(exact, 0.0, 1 / np.trace(np.linalg.solve(m, slope), axis1=-2, axis2=-1))
