"""Where the power goes: radiated by all openings together, or lost in the walls."""

import numpy as np
import pytest
from reference.dense import emitting, exterior, own_resistance
from reference.lengths import numbers
from reference.network import cone_matrix, inner_length, outside_load, zwikker_kosten
from reference.random_flutes import random_flute, random_rows, shaped, wild_flute

from flutelab import PUBLISHED, Corrections
from flutelab.model.chain import chain
from flutelab.model.lattice import elements, solve, system

FREQUENCY = np.linspace(200.0, 2500.0, 60)
pytestmark = pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")


def random_cases(seed, count, wild=False, shapes=False):
    rng = np.random.default_rng(seed)
    for _ in range(count):
        flute = wild_flute(rng) if wild else random_flute(rng)
        flute = shaped(rng, flute) if shapes else flute
        yield flute, random_rows(rng, flute, 1, left_out=0.1)


def lattice(flute, fingerings, corrections, formulas=None):
    return elements(chain(flute, fingerings, corrections, formulas), FREQUENCY[None, None, :])


def radiation_matrix(e):
    """diag(own resistances) + Re mutual, (F, n, n)."""
    own = e.resistance[..., :, None] * np.eye(e.resistance.shape[-1])
    return (own + e.mutual.real)[0, 0]


@pytest.mark.parametrize("wild", [False, True])
@pytest.mark.parametrize("shapes", [False, True])
def test_the_radiation_matrix_is_positive_semidefinite(wild, shapes):
    for flute, fingerings in random_cases(5, 60, wild, shapes):
        matrix = radiation_matrix(lattice(flute, fingerings, Corrections()))
        eigenvalues = np.linalg.eigvalsh(matrix)
        assert np.all(eigenvalues[:, 0] >= -1e-12 * eigenvalues[:, -1])


def flows(flute, fingerings, corrections, formulas=None):
    """Power in at the head [per unit rho c/S] and (P, U, flows into each tube at both ends)."""
    e = lattice(flute, fingerings, corrections, formulas)
    u = solve(e)
    assert e.driven
    _, pressure = system(e)
    p = (pressure @ u[..., None])[..., 0]
    p[..., 0] += e.openings[0][..., 0]
    a, b, c, d = e.tubes
    far = (p[..., :-1] - a * p[..., 1:]) / b
    near = c * p[..., 1:] + d * far
    power = -u[..., 0].real
    return power[0, 0], p[0, 0], u[0, 0], near[0, 0], far[0, 0]


def radiated(n, u):
    """U^H Re(Z_rad) U over the openings that sound, worked out apart from the library."""
    own = own_resistance(n, 2 * np.pi * FREQUENCY / n.air.sound_speed)
    matrix = exterior(n, FREQUENCY).real + own[..., None] * np.eye(own.shape[-1])
    u = np.where(emitting(n), u, 0.0)
    return np.einsum("fi,fij,fj->f", u.conj(), matrix, u).real


def within(n, piece, x, p, u):
    """Pressure and flow at x in a cone, from p, U at its start; Z' and Y' a length there."""
    length, near, far = piece
    gamma, z = zwikker_kosten(FREQUENCY, (near + far) / 2, n.air, n.loss)
    radius = near + (far - near) * x / length
    a, b, c, d = cone_matrix(gamma, z, x, near, radius)
    local = z * (n.radius / radius) ** 2
    moved = d * p - b * n.radius**2 * u, a * u - c / n.radius**2 * p
    return *moved, gamma * local, gamma / local


def wall_loss(n, pieces, p, u):
    """Loss in cones end to end by quadrature of Re Z' |U|^2 + Re Y' |p|^2, from p, U before."""
    nodes, weights = np.polynomial.legendre.leggauss(40)
    total = 0.0
    for piece in pieces:
        half = piece[0] / 2
        for x, weight in zip(half * (nodes + 1), half * weights, strict=True):
            p_x, u_x, series, shunt = within(n, piece, x, p, u)
            rate = series.real * np.abs(u_x) ** 2 + shunt.real * np.abs(p_x) ** 2
            total = total + weight * rate
        p, u, _, _ = within(n, piece, piece[0], p, u)
    return total


def all_walls(n, p, u, near):
    k = 2 * np.pi * FREQUENCY / n.air.sound_speed
    arms = [0.0, *(0.0 if h.state == "undrilled" else h.series for h in n.holes)]
    total = sum(
        wall_loss(n, tube, p[:, i] - 0.5j * k * arms[i] * near[:, i], near[:, i])
        for i, tube in enumerate(n.tubes)
    )
    outside = np.einsum("fij,fj->fi", exterior(n, FREQUENCY), np.where(emitting(n), u, 0.0))
    for i, h in enumerate(n.holes, start=1):
        mouth = (n.radius / h.mouth) ** 2
        if h.state == "open":  # from the outside in: pressure behind the outer end, flow U
            behind = outside[:, i] + outside_load(n, h, k) * u[:, i]
            chimney = (h.height, h.radius, h.mouth), (h.matching, h.mouth, h.mouth)
            total = total + wall_loss(n, chimney, behind, -u[:, i])
        elif h.state == "closed" and h.closed:  # behind the mouth's ratio and the inner length
            gamma, z = zwikker_kosten(FREQUENCY, h.mouth, n.air, n.loss)
            end = 1j * k * inner_length(n, h, k) * mouth
            before = p[:, i] / n.formulas.hole.ratio(k, h.along)
            inflow = before / (z * mouth / np.tanh(gamma * h.closed) + end)
            pad = ((h.closed, h.mouth, h.mouth),)
            total = total + wall_loss(n, pad, before - end * inflow, inflow)
    return total


@pytest.mark.parametrize("formulas", [None, PUBLISHED], ids=["own", "published"])
@pytest.mark.parametrize("shapes", [False, True])
def test_power_in_is_radiated_and_lost_in_the_walls(shapes, formulas):
    for flute, fingerings in random_cases(6, 3 if shapes else 5, shapes=shapes):
        power, p, u, near, _ = flows(flute, fingerings, Corrections(), formulas)
        n = numbers(flute, fingerings, formulas=formulas)
        spent = radiated(n, u) + all_walls(n, p, u, near)
        assert spent == pytest.approx(power, rel=1e-6)


@pytest.mark.parametrize("formulas", [None, PUBLISHED], ids=["own", "published"])
@pytest.mark.parametrize("shapes", [False, True])
def test_without_losses_all_power_is_radiated(shapes, formulas):
    for flute, fingerings in random_cases(7, 20, shapes=shapes):
        lossless = Corrections(loss=0.0)
        power, _, u, _, _ = flows(flute, fingerings, lossless, formulas)
        n = numbers(flute, fingerings, lossless, formulas=formulas)
        assert radiated(n, u) == pytest.approx(power, rel=1e-6)
