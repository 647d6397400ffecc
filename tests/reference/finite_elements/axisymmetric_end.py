"""Finite elements of the open foot: a thick-walled pipe, endless behind, in free air.

Run ``python axisymmetric_end.py RESULT.csv`` (extra `fem`, about ten minutes on one core
with OPENBLAS_NUM_THREADS=1: threads only hold up its many small products). It solves
Helmholtz's equation about a pipe of inner radius 1 on three meshes, each with every element
of the one before cut in four, and writes end correction and reflection beside what each cut
changed.

How: e^{+jwt}; quadratic rectangles on a grid of lines that crowd geometrically towards the
edges of the rim, so that the singularities there cost little. A plane wave enters through a
port four radii inside; the pipe's outer wall runs on to infinity. Beyond four radii z and r
turn into the complex plane (a perfectly matched layer: the outgoing wave dies away and
nothing comes back), which leaves a cylinder a cylinder and a plane a plane. With r' the
turned radius and s_z, s_r the slopes, the weak form is the integral over z and r of
r' s_r s_z (p_z q_z / s_z^2 + p_r q_r / s_r^2 - k^2 p q), plus the port's terms.

Uses nothing of flutelab: it is an independent check.
"""

import csv
import sys
from pathlib import Path

import numpy as np
from scipy.sparse.linalg import splu
from skfem import Basis, BilinearForm, ElementQuad2, FacetBasis, LinearForm, MeshQuad

WALLS = (
    0.0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.274641, 0.350633, 0.4, 0.526316, 0.7, 1.0, 1.5, 2.0, 3.0,
    4.0, np.inf,
)  # fmt: skip
KAS = (0.1, 0.5, 1.0, 1.2, 1.4, 1.6, 1.8)
CUTS = (0, 1, 2)
CLEAR = 4.0  # from rim to port and to the turn; the first cross mode has decayed by e^-13
SLOPE = np.exp(-1j * np.pi / 3)
DEPTH = 9.0  # of the turned air, times k: what comes back is exp(-2 DEPTH sin 60) = 2e-7
FINEST, RATIO, COARSEST, PER_WAVE = 2e-3, 1.8, 0.45, 0.9  # coarsest mesh; the last times 1/k


# --- the mesh ---------------------------------------------------------------------------


def _march(length, finest=FINEST):
    """Places from 0 to length, steps growing from `finest` to COARSEST."""
    steps = [finest]
    while sum(steps) < length:
        steps.append(min(steps[-1] * RATIO, COARSEST))
    return np.cumsum([0.0, *steps]) * (length / sum(steps))


def _march_out(k):
    """Places from an edge through the clear air and the layer."""
    places = list(_march(CLEAR))
    while places[-1] < CLEAR + DEPTH / k:
        places.append(places[-1] + min(0.4 * places[-1], PER_WAVE / k))
    return np.array(places)


def _grid(wall, k):
    """Return the coarsest grid's lines (z, r); the rim's plane is z = 0."""
    out, inner = _march_out(k), 1 - _march(1.0)[::-1]
    inner[0] = 0.0  # no rounding on the axis
    z = np.concatenate([-out[:0:-1], out])
    if wall in (0.0, np.inf):
        return z, np.concatenate([inner, 1 + out[1:]])
    half = _march(wall / 2, min(FINEST, wall / 8))
    rim = np.concatenate([1 + half, (1 + wall - half)[-2::-1]])
    return z, np.concatenate([inner[:-1], rim, 1 + wall + out[1:]])


def _cut(lines, times):
    for _ in range(times):
        lines = np.sort(np.concatenate([lines, (lines[1:] + lines[:-1]) / 2]))
    return lines


def _mesh(wall, k, cuts):
    """Return the mesh: all rectangles outside the wall; a wall of no thickness is a slit."""
    z, r = (_cut(lines, cuts) for lines in _grid(wall, k))
    air = np.arange(z.size * r.size).reshape(z.size, r.size)
    pipe, edge, face = air.copy(), np.argmin(np.abs(r - 1)), np.searchsorted(z, 0.0)
    pipe[:face, edge] = air.size + np.arange(face)  # the wall's inner side has its own nodes
    points = np.array([np.repeat(z, r.size), np.tile(r, z.size)])
    points = np.hstack([points, [z[:face], np.ones(face)]])
    mid_z, mid_r = ((lines[1:] + lines[:-1]) / 2 for lines in (z, r))
    behind, inside = mid_z[:, None] < 0, mid_r < 1
    cells = []
    for nodes, which in (
        (pipe, behind & inside & (mid_z[:, None] > -CLEAR)),
        (air, ~behind | (mid_r > 1 + wall)),
    ):
        i, j = np.nonzero(which)
        cells.append([nodes[i, j], nodes[i + 1, j], nodes[i + 1, j + 1], nodes[i, j + 1]])
    quads = np.concatenate(cells, axis=1)
    used, renumbered = np.unique(quads, return_inverse=True)
    return MeshQuad(
        np.ascontiguousarray(points[:, used]),
        np.ascontiguousarray(renumbered.reshape(quads.shape)),
    )


# --- the equations ----------------------------------------------------------------------


def _turned(place, start):
    """Return the complex co-ordinate and its slope."""
    beyond = np.maximum(place - start, 0.0)
    return place + (SLOPE - 1) * beyond, np.where(beyond > 0, SLOPE, 1.0)


@BilinearForm(dtype=complex)
def _helmholtz(p, q, w):
    radius, across = _turned(w.x[1], w.rim + CLEAR)
    along = _turned(np.abs(w.x[0]), CLEAR)[1]
    stiff = p.grad[0] * q.grad[0] / along**2 + p.grad[1] * q.grad[1] / across**2
    return radius * across * along * (stiff - w.k**2 * p * q)


@BilinearForm(dtype=complex)
def _port(p, q, w):
    return 1j * w.k * w.x[1] * p * q


@LinearForm
def _mean(q, w):
    return 2 * w.x[1] * q


def reflection(wall, ka, cuts):
    """Return R at the rim's plane, and the number of unknowns."""
    shape = _mesh(wall, ka, cuts)
    basis = Basis(shape, ElementQuad2(), intorder=5)
    mouth = shape.facets_satisfying(lambda x: (np.abs(x[0] + CLEAR) < 1e-9) & (x[1] < 1))
    entry = FacetBasis(shape, ElementQuad2(), facets=mouth, intorder=5)
    weight = _mean.assemble(entry)
    rim = 1.0 if np.isinf(wall) else 1.0 + wall
    matrix = _helmholtz.assemble(basis, k=ka, rim=rim) + _port.assemble(entry, k=ka)
    # symmetric, and no pivot is small: keep the order that fills in least
    factors = splu(
        matrix.tocsc(),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.01,
        options={"SymmetricMode": True},
    )
    # p = e^{-jkz} + R e^{jkz} in the pipe: dp/dn = jk (2 p_in - p) at the port
    pressure = factors.solve(1j * ka * weight)
    return (weight @ pressure - 1) * np.exp(2j * ka * CLEAR), basis.N


# --- the table --------------------------------------------------------------------------


def end_numbers(value, ka):
    """Return (l/a, |R|) of a reflection R = -|R| exp(-2 j ka l/a)."""
    return -np.angle(-value) / (2 * ka), abs(value)


def row(wall, ka, cuts=CUTS):
    """Return a row of the table: values on the finest mesh, what the last two cuts changed."""
    runs = [reflection(wall, ka, c) for c in cuts]
    found = np.array([end_numbers(value, ka) for value, _ in runs])
    change = np.abs(np.diff(found, axis=0))[-2:]
    return {
        "wall_over_a": wall,
        "ka": ka,
        "end_correction_over_a": round(found[-1, 0], 6),
        "abs_reflection": round(found[-1, 1], 6),
        "first_cut_length": f"{change[0, 0]:.1e}",
        "last_cut_length": f"{change[1, 0]:.1e}",
        "first_cut_reflection": f"{change[0, 1]:.1e}",
        "last_cut_reflection": f"{change[1, 1]:.1e}",
        "unknowns": runs[-1][1],
    }


def main():
    if len(sys.argv) != 2:
        sys.exit("Say where the table goes: python axisymmetric_end.py RESULT.csv")
    result = Path(sys.argv[1])
    rows = []
    for wall in WALLS:
        for ka in KAS:
            rows.append(row(wall, ka))
            print(*rows[-1].values(), flush=True)
    part = result.with_name(result.name + ".part")
    with part.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, rows[0].keys(), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    part.replace(result)


if __name__ == "__main__":
    main()
