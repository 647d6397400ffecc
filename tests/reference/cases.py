"""Two stated cases of a six-hole pipe as lattice elements; positions from the window's centre.

Own numerical result: both were solved with two independent implementations (a real
pressure-flow recursion and complex chain matrices) that agree in every digit printed in
published/stated_cases.csv. The formulas of case B are the library's published ones; the
lattice is built here.
"""

import numpy as np

from flutelab.model.lattice import Elements
from flutelab.physics import hole
from flutelab.physics.air import Air, loss_constants
from flutelab.physics.tube import propagation, tube

BORE = 0.0079
WALL = 0.0028
LENGTH = 0.300
PLACES = np.array([0.130, 0.150, 0.172, 0.195, 0.214, 0.240])
RADII = np.array([0.0032, 0.0035, 0.0032, 0.0034, 0.0038, 0.0030])
FOOT = 0.70 * BORE
WINDOW = 0.0417
STUB = 0.003
LIMIT = 1.8 * 345 / (2 * np.pi * BORE)
LOSSLESS_SPEED = 345.0
OPEN_LENGTH = hole.open_length(RADII, BORE, WALL, BORE + WALL, hole.PUBLISHED)
_viscosity, _heat_ratio, _prandtl = loss_constants(298.15)
AIR_B = Air(
    sound_speed=346.16366,
    density=1.184194,
    viscosity=_viscosity,
    heat_ratio=_heat_ratio,
    prandtl=_prandtl,
    temperature=298.15,
)
_TUBES = np.diff(np.concatenate([[0.0], PLACES, [LENGTH]]))
_AREA = (RADII / BORE) ** 2


def is_open(words):
    return np.array([[letter == "o" for letter in word] for word in words])[None, :, None, :]


def ceiling(words, speed):
    """Frequency above the first mode of each fingering: half a wave to the first open hole."""
    first = [
        min([x for x, letter in zip(PLACES, word, strict=True) if letter == "o"] + [LENGTH])
        for word in words
    ]
    return speed / (2 * np.array(first))


def case_a(words):
    """Lossless, holes as lumped masses and volumes, no series arms, no radiation."""
    opened = is_open(words)
    height = WALL + hole.matching_height(RADII, BORE)

    def at(frequency, losses=1.0):
        k = 2 * np.pi * np.asarray(frequency)[..., None] / LOSSLESS_SPEED
        mass = 1j * k * OPEN_LENGTH / _AREA
        spring = 1j * k * height * _AREA
        holes = _shunts(opened, mass, spring)
        window = 1j * k * WINDOW
        return _elements(
            k, 1j * k, np.ones_like(k), holes, window, 0 * k, 1j * np.tan(k * FOOT), 0.0
        )

    return at


def case_b(words):
    """Lossy bore and chimneys, radiation, series arms, a stub behind the window."""
    opened = is_open(words)
    height = WALL + hole.matching_height(RADII, BORE)
    inner = hole.inner_length_lefebvre(RADII, BORE)
    outer = hole.outer_length_dalmont(RADII, BORE + WALL)
    arm = hole.series_length_dubos(RADII, BORE, WALL, is_open=opened)

    def at(frequency, losses=1.0):
        frequency = np.asarray(frequency)[..., None]
        k = 2 * np.pi * frequency / AIR_B.sound_speed
        gamma, relative = propagation(frequency, RADII, AIR_B, losses)
        cosh, z_sinh, y_sinh, _ = tube(gamma, relative / _AREA, height)
        radiated = losses * (k * BORE / 2) ** 2 + 1j * k * outer / _AREA
        seen = 1j * k * inner / _AREA + (cosh * radiated + z_sinh) / (y_sinh * radiated + cosh)
        holes = _shunts(opened, seen, 1j * _AREA * np.tan(k * height))
        foot = losses * (k * BORE) ** 2 / 4 + 1j * np.tan(k * FOOT)
        bore = propagation(frequency, BORE, AIR_B, losses)
        stub = 1j * np.tan(k * STUB)
        return _elements(k, *bore, holes, 1j * k * WINDOW, stub, foot, 0.5j * k * arm)

    return at


def _shunts(opened, impedance, admittance):
    """(A, B, C, D) of holes, an open one with its whole impedance in B."""
    lead = np.broadcast_shapes(opened.shape, np.shape(impedance))
    opened = np.broadcast_to(opened, lead)
    return (
        np.where(opened, 1.0 + 0j, 0.0),
        np.where(opened, impedance, 1.0),
        np.zeros(lead, complex),
        np.where(opened, 1.0, admittance),
    )


def _elements(k, gamma, relative, holes, window, stub, foot, arm):
    a, b, c, d = tube(gamma, relative, _TUBES)
    lead = np.broadcast_shapes(holes[0].shape[:-1], k.shape[:-1])
    none = np.zeros(lead + (1,))
    arms = np.broadcast_to(arm, lead + RADII.shape)
    before, after = np.concatenate([none, arms], -1), np.concatenate([arms, none], -1)
    a, b = a + before * c, b + before * d
    b, d = b + a * after, d + c * after
    one, zero = np.ones_like(k), np.zeros_like(k)
    head = (one, window, stub, 1 + stub * window)
    foot = (one, foot, zero, one)
    openings = tuple(
        np.concatenate([np.broadcast_to(part, lead + part.shape[-1:]) for part in parts], -1)
        for parts in zip(head, holes, foot, strict=True)
    )
    count = len(RADII) + 2
    # Clamped modes: of each tube, lengthened by its arms; pads and stub stay below their own.
    phase = k.real * _TUBES + np.arctan(before.imag) + np.arctan(after.imag)
    return Elements(
        tubes=(a, b, c, d),
        openings=openings,
        mutual=np.zeros(lead + (count, count)),
        resistance=np.zeros(lead + (count,)),
        scale=np.ones(1),
        clamped=np.sum(np.floor(phase / np.pi), axis=-1),
        driven=True,
    )
