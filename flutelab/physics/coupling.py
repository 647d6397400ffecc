"""Coupling of the openings of one pipe through the air outside."""

from __future__ import annotations

import numpy as np

ALONG_PIPE = 1.29  # reactive strength between openings on one line of a cylinder
TO_FOOT = 1.0  # towards the foot's end face


def mutual_impedance(
    k: complex,
    distance: float,
    strength: float,
    bore_radius: float,
    resistance_i: complex,
    resistance_j: complex,
    radiation: float = 1.0,
) -> complex:
    """Return Z_ij between two openings over the bore's rho c/(pi a^2).

    Parameters
    ----------
    k : complex
        Wave number [1/m], broadcastable.
    distance : float or array
        Between the openings' centres on the outer surface [m].
    strength : float
        chi: `ALONG_PIPE` between openings on the side wall, `TO_FOOT` towards the foot.
    bore_radius : float or array
        [m]
    resistance_i, resistance_j : complex
        Each opening's own radiation resistance over rho c/(pi a^2).
    radiation : float
        Scales the resistive part.

    Notes
    -----
    Reactive part rho omega chi cos(kd)/(4 pi d); resistive part
    sqrt(R_i R_j) sin(kd)/(kd), which keeps the radiation matrix positive
    semidefinite at real frequency. chi = 1.29 from own finite-element runs
    (1.285-1.29); the effect: A. Lefebvre, G. P. Scavone, J. Kergomard, Acta Acust.
    united Acust. 99, 975-985 (2013).
    """
    kd = k * distance
    reactive = (0.25j * k * bore_radius**2) * (strength / distance)
    if radiation == 0:
        return reactive * np.cos(kd)
    wave = np.exp(1j * kd)  # of complex arrays faster than a cosine and a sine
    back = 1 / wave
    reactive = 0.5 * reactive * (wave + back)
    sinc = (wave - back) / (2j * kd)
    return reactive + radiation * np.sqrt(resistance_i) * np.sqrt(resistance_j) * sinc
