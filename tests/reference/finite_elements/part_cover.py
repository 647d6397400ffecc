"""A straight thin lid over part of a round hole: how much longer the hole becomes (Laplace).

Half space outside, endless tube of the hole's radius 1 inside, between them the open circular
segment x > c. The flow through it is expanded in polynomials times the singularities of its two
edges, (x - c)^(-1/2) at the lid and (1 - r^2)^(-1/3) at the rim, and Galerkin's method finds the
flow of least energy (Thomson), so that a length can only be too long for too few polynomials.
Energies: of the tube, its cross modes with |x| along the cut as mirror; outside, the Fourier
transform of the flow, |u(q)|^2/q. Both series are cut at the same wave number and extrapolated
with their rates: 1/Q at the lid's edge, Q^(-4/3) at the rim.

``python tests/reference/finite_elements/part_cover.py RESULT.csv`` writes the stored table in a
few minutes.
"""

import sys
from pathlib import Path

import numpy as np
from scipy.optimize import brentq
from scipy.special import jnp_zeros, jv, roots_jacobi

OPENNESS = (1.0, 0.9, 0.75, 0.6, 0.5, 0.4, 0.25)
WAVE_NUMBERS = (56.0, 80.0, 112.0)


def cut(openness):
    """Return c: the segment x > c of the unit disc has this share of its area."""
    if openness == 1:
        return -1.0
    angle = brentq(lambda t: (t - np.sin(t) * np.cos(t)) / np.pi - openness, 0, np.pi)
    return np.cos(angle)


def nodes(c, count):
    """Return x, y > 0 and weights of Gauss and Jacobi that hold both edges' singularities."""
    if c > -1:
        t, weight = roots_jacobi(count, 1 / 6, -1 / 2)
        half = (1 - c) / 2
        x = c + half * (1 + t)
        weight = weight * half ** (1 + 1 / 6 - 1 / 2) * (1 + x) ** (1 / 6)
    else:
        x, weight = roots_jacobi(count, 1 / 6, 1 / 6)
    eta, across = roots_jacobi(count, -1 / 3, -1 / 3)
    right = eta > 0
    y = np.sqrt(1 - x**2)[:, None] * eta[right]
    return np.repeat(x, right.sum()), y.ravel(), 2 * np.outer(weight, across[right]).ravel()


def flows(c, count, degree):
    """Return x, y and weighted trial flows (points, trials), even in y."""
    x, y, weight = nodes(c, count)
    along = np.polynomial.legendre.legvander((2 * x - 1 - c) / (1 - c), degree)
    trials = [
        along[:, i] * y ** (2 * j)
        for i in range(degree + 1)
        for j in range(degree // 2 + 1)
        if i + 2 * j <= degree
    ]
    return x, y, weight[:, None] * np.column_stack(trials)


def inside(x, y, flow, largest, height):
    """Return the cross modes' amplitudes (modes, trials); squared they are energies."""
    r, angle, rows = np.hypot(x, y), np.arctan2(y, x), []
    for m in range(int(largest) + 1):
        cosine = np.cos(m * angle)[:, None] * flow
        for g in jnp_zeros(m, int(largest / np.pi) + 3):
            if g < largest:
                norm = np.pi / (2 if m else 1) * (1 - (m / g) ** 2) * jv(m, g) ** 2
                rows.append(jv(m, g * r) @ cosine * np.sqrt(np.tanh(g * height) / (g * norm)))
    return np.array(rows)


def outside(x, y, flow, largest):
    """Return the plane waves' amplitudes (2 x waves, trials); squared they are energies."""
    q, weight = _gauss(0, largest, int(1.2 * largest) + 20)
    rows = []
    for angle, share in zip(*_gauss(0, np.pi / 2, int(largest) + 20), strict=True):
        waves = np.exp(1j * np.outer(q, x * np.cos(angle))) * np.cos(np.outer(q, y * np.sin(angle)))
        seen = waves @ flow * np.sqrt(share * weight)[:, None] / np.pi
        rows += [seen.real, seen.imag]
    return np.concatenate(rows)


def cut_length(openness, degree, largest, height=np.inf):
    """Return the length of both ends in hole radii, series cut at `largest`."""
    c = cut(openness)
    x, y, flow = flows(c, 2 * int(largest / 4 + 20), degree)
    amplitudes = np.concatenate([inside(x, y, flow, largest, height), outside(x, y, flow, largest)])
    _, sizes, axes = np.linalg.svd(amplitudes, full_matrices=False)
    return np.pi / np.sum((axes @ flow.sum(0) / sizes) ** 2)


def length(openness, degree=4, wave_numbers=WAVE_NUMBERS, height=np.inf):
    """Return the length of both ends over the hole's radius, extrapolated, and its error.

    `height`: of the tube, beyond which all pressures but the mean are shorted out. The error
    is what the last step of the extrapolation and of the polynomials changed, added.
    """
    found = {
        d: [cut_length(openness, d, q, height) for q in wave_numbers] for d in (degree - 2, degree)
    }
    rates = (-4 / 3,) if openness == 1 else (-1, -4 / 3)
    best = _limit(wave_numbers, found[degree], rates)
    fewer = _limit(wave_numbers[1:], found[degree][1:], rates[:1])
    coarse = _limit(wave_numbers, found[degree - 2], rates)
    return best, abs(best - fewer) + abs(best - coarse)


def _limit(wave_numbers, values, rates):
    columns = [np.power(wave_numbers, rate) for rate in (0, *rates)]
    return np.linalg.lstsq(np.column_stack(columns), np.array(values), rcond=None)[0][0]


def _gauss(start, end, count):
    x, weight = np.polynomial.legendre.leggauss(count)
    return start + (end - start) * (x + 1) / 2, (end - start) / 2 * weight


def main(path):
    """Write the table."""
    lines = ["openness,length_over_b,error_over_b"]
    for share in OPENNESS:
        lines.append("{:g},{:.4f},{:.4f}".format(share, *length(share)))
        print(lines[-1], flush=True)
    Path(path).write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
