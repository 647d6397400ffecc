"""Plain lattices without losses for closed-form checks: holes as masses, an ideal foot."""

import numpy as np

from flutelab.model.lattice import Elements
from flutelab.physics.tube import tube


def lumped(*, lengths, masses=(), foot=0.0, window=0.0, stub=0.0, speed=1.0):
    """Return `at(frequency, losses)` of a bore of tubes with open holes between them.

    `masses` are the holes' bore lengths t_E (a/b)^2 [m]; `foot` lengthens the last tube;
    window and stub as the head's end correction and the cavity behind it, 0 = ideal node.
    """
    lengths = np.asarray(lengths, dtype=float)
    masses = np.asarray(masses, dtype=float)

    def at(frequency, losses=1.0):
        k = 2 * np.pi * np.asarray(frequency)[..., None] / speed
        one, zero = np.ones_like(k), 0 * k
        mass = 1j * k * window
        behind = 1j * np.tan(k * stub)
        b = np.concatenate([mass, 1j * k * masses, 1j * np.tan(k * foot)], axis=-1)
        c = np.concatenate([behind, zero * masses, zero], axis=-1)
        ones = one * np.ones(len(masses) + 2)
        return Elements(
            tubes=tube(1j * k, one, lengths),
            openings=(ones, b, c, 1 + c * b),
            mutual=np.zeros(k.shape[:-1] + (len(lengths) + 1,) * 2),
            resistance=np.zeros(len(lengths) + 1),
            scale=np.ones(1),
            clamped=np.sum(np.floor(k.real * lengths / np.pi), axis=-1),
            driven=True,
        )

    return at
