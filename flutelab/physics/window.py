"""The window of the duct: its end correction, seen from the window's centre."""

from __future__ import annotations

import numpy as np

from flutelab.physics.hole import open_length

SHAPE = 1.06  # rectangular window over the round hole of equal area, flush plug, straight walls


def equal_radius(along: float, across: float) -> float:
    """Return the radius of the circle with the window's area [m]."""
    return np.sqrt(along * across / np.pi)


def window_length(along: float, across: float, wall: float, bore_radius: float) -> float:
    """Return Delta L_w, the window's end correction from its CENTRE at k -> 0 [m of bore].

    Parameters
    ----------
    along, across : float or array
        Cut-up along the pipe and width across it [m].
    wall : float or array
        Thickness at the window [m].
    bore_radius : float or array
        [m]

    Notes
    -----
    t_w = 1.06 (w + t_m + t_i + t_r) at the radius of equal area; Delta L_w =
    t_w pi a^2/(along * across). Own finite-element result, 1.06 +- 0.025 for flush
    plugs and straight walls of 1 mm and more; 10 % long for wide mouths in thin walls
    (11 x 3 mm in 0.4 mm). A real instrument lies within about 10 %.
    From the sounding edge add along/2; from the plug's face subtract
    along/2 + plug_to_window.
    """
    radius = equal_radius(along, across)
    height = SHAPE * open_length(radius, bore_radius, wall, bore_radius + wall)
    return height * np.pi * bore_radius**2 / (along * across)


def radiation_resistance(k: complex, bore_radius: float) -> complex:
    """Return the window's radiation resistance over rho c/(pi a^2): (ka)^2/4, full space."""
    return (k * bore_radius) ** 2 / 4


def stub_admittance(k: complex, length: float) -> complex:
    """Return the admittance of the closed cavity behind the window's centre, times Zc."""
    return 1j * np.tan(k * length)
