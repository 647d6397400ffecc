"""A finger hole: lengths of its chimney and ends, its series arms, its radiation.

`hole_radius` is b, `bore_radius` a, `wall` w, `outer_radius` R = a + w [m]; delta = b/a. A
hole's length t means Z = j k t rho c/(pi b^2), a series length is one of the bore:
Z = j k Delta rho c/(pi a^2). `k` may be complex.

From bore to outside an open hole is: the ratio n . inner length . a tube of height w + t_m .
(outer length, resistance); a closed one the same with a lid for the outside. Two complete sets
of formulas fill that in: `OWN`, fitted to finite elements of single holes, and `PUBLISHED`.
Constants marked "fitted" come from b/a 0.25-0.75, w/b 0.25-2.5, ka 0.05-0.3; the rest of
our set is derived or published. docs/model.md shows how each was found.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from flutelab.physics.ranges import outside, warn

FLANGED = 0.822  # end correction of a hole in a plane, over its radius (exact: 0.82159)
THIN = 2 * FLANGED - np.pi / 2  # what two such ends are too long by where no wall parts them
THIN_DECAY = 6.0  # fitted, per wall over hole radius
OUTER_CURVATURE = 0.44  # fitted
SERIES_OWN, SERIES_CHIMNEY, SERIES_OPEN = 1.7, 1.76, 0.61  # fitted
TRANSVERSE = 1.84  # decay of the chimney's lowest transverse mode: first zero of J1'
WIDEST, THINNEST = 0.8, 0.25  # delta and w/b up to (from) which a hole is not warned about
HIGHEST = 0.6  # ka
ASPECT, UNDERCUT, ROUNDING = (0.5, 2.0), (1.0, 1.3), (0.0, 0.5)  # of other shapes


# --- the chimney ------------------------------------------------------------------------


def matching_height(hole_radius: float, bore_radius: float) -> float:
    """Return t_m, the mean height between a cylinder and its tangent plane over the hole [m].

    Notes
    -----
    t_m = (b delta/8)(1 + 0.207 delta^3), from memory; within 0.8 % of the exact
    integral to delta = 0.7.
    """
    delta = hole_radius / bore_radius
    return hole_radius * delta / 8 * (1 + 0.207 * delta**3)


def flush_lid(hole_radius: float, outer_radius: float) -> float:
    """Return how far a lid that follows the pipe's outside lies below its crest [m], on average."""
    return matching_height(hole_radius, outer_radius)


def flat_lid(hole_radius: float, outer_radius: float) -> float:
    """Return 0: a flat lid on the crest plane."""
    return 0.0 * hole_radius * outer_radius


# --- the inner end ----------------------------------------------------------------------


def inner_length_lefebvre(hole_radius: float, bore_radius: float) -> float:
    """Return the inner end correction t_i of a long chimney [m].

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
    """Return the inner end correction t_i [m]; up to 0.03 b longer than finite elements.

    References
    ----------
    C. J. Nederveen, J. K. M. Jansen, R. R. van Hassel, Acustica 84, 957-966 (1998),
    coefficients from memory.
    """
    delta = hole_radius / bore_radius
    return hole_radius * (0.82 - 1.4 * delta**2 + 0.75 * delta**2.7)


def inner_gain(k: complex, hole_radius: float, bore_radius: float) -> complex:
    """Return what the inner length gains with frequency [m].

    k^2 a b^2 (0.2 - 0.115 delta): the bore's cross modes reach farther the nearer their
    cutoff. Within 0.007 (ka)^2 b of the mode series of a uniform flow through a round
    patch of a rigid cylinder, delta 0.1-0.75, ka <= 0.6 (own).
    """
    delta = hole_radius / bore_radius
    return k**2 * bore_radius * hole_radius**2 * (0.2 - 0.115 * delta)


def mouth_ratio(k: complex, hole_radius: float) -> complex:
    """Return n, the bore's pressure at the hole's axis over that seen by the whole mouth.

    n = sqrt(1 + (kb)^2/3): a standing wave cos kx averages to 1 - (kb)^2/6 over the mouth,
    weighted with the flow of an aperture, 1/sqrt(b^2 - r^2), whose <x^2> is b^2/3; the
    root lets a closed hole's admittance rise with frequency to kb = 1.7 (own).
    Two-port [[n, 0], [0, 1/n]] from bore to mouth.
    """
    return np.sqrt(1 + (k * hole_radius) ** 2 / 3)


# --- the outer end ----------------------------------------------------------------------


def thin_wall_loss(hole_radius: float, wall: float) -> float:
    """Return what the inner and the outer length of an open hole each lose in a thin wall [m].

    b/2 (2 * 0.822 - pi/2) exp(-6 w/b): the flows of both ends merge; exactly pi b/2 is left
    for both together in a plane without thickness. The decay is fitted.
    """
    return hole_radius * THIN / 2 * np.exp(-THIN_DECAY * wall / hole_radius)


def outer_length(hole_radius: float, outer_radius: float) -> float:
    """Return the outer end correction t_r of a hole in a cylinder, thick wall, k -> 0 [m].

    t_r = b [0.822 - 0.44 (b/R)^0.8]: the plane's exact limit, the published power, the
    curvature's constant fitted (published: 0.47).
    """
    return hole_radius * (FLANGED - OUTER_CURVATURE * (hole_radius / outer_radius) ** 0.8)


def outer_length_dalmont(hole_radius: float, outer_radius: float) -> float:
    """Return the outer end correction t_r of a hole in a cylinder of radius a + w [m].

    Notes
    -----
    t_r = b [0.822 - 0.47 (b/(a+w))^0.8], from memory.

    References
    ----------
    J.-P. Dalmont, C. J. Nederveen, N. Joly, J. Sound Vib. 244, 505-534 (2001).
    """
    return hole_radius * (FLANGED - 0.47 * (hole_radius / outer_radius) ** 0.8)


def outer_gain(k: complex, hole_radius: float, outer_radius: float) -> complex:
    """Return what the outer length gains with frequency [m].

    b [f(x) b/(4R) - 0.227 (kb)^2/(1 + (kb)^2)], x = kR, f = 1.16 x^2/(1 + 2.67 x^2)^0.75:
    f is within 0.02 of the exact series of a point source on a rigid cylinder for x <= 3,
    0.09 to x = 6. The second term is a round patch's in a plane (8/(3 pi) * 4/15 = 0.226 for
    a piston), bounded so that the reactance rises with frequency, as counting modes
    requires (own).
    """
    x2, kb2 = (k * outer_radius) ** 2, (k * hole_radius) ** 2
    root = np.sqrt(1 + 2.67 * x2)  # roots, not powers: of complex arrays ten times faster
    curved = 1.16 * x2 / (root * np.sqrt(root))
    return hole_radius * (curved * hole_radius / (4 * outer_radius) - 0.227 * kb2 / (1 + kb2))


def radiation_resistance(k: complex, hole_radius: float, outer_radius: float) -> complex:
    """Return the resistance of an open hole over rho c/(pi b^2).

    (kb)^2/4 g(x)/(1 + 0.42 (kb)^2), x = kR; g runs from 1 (x -> 0, free space) to 2 (a
    plane): 1 + (5.9 x^4 - 0.3 x^2)/(1 + 5.3 x^3 + 5.9 x^4), within 0.02 of the exact series
    of a point source on a rigid cylinder, x <= 6. 0.42 is a round patch's on a cylinder for
    x <= 0.4; a patch's falls to 0.36 at x = 0.6 and 1/6 in a plane (own).
    """
    x, kb2 = k * outer_radius, (k * hole_radius) ** 2
    x2 = x * x
    steep = 5.9 * x2 * x2
    cylinder = 1 + (steep - 0.3 * x2) / (1 + 5.3 * x * x2 + steep)
    return kb2 / 4 * cylinder / (1 + 0.42 * kb2)


def free_resistance(k: complex, hole_radius: float, outer_radius: float) -> complex:
    """Return (kb)^2/4, the resistance of a small opening in free space over rho c/(pi b^2)."""
    return (k * hole_radius) ** 2 / 4 + 0.0 * outer_radius


# --- the series arms --------------------------------------------------------------------


def series_length(hole_radius: float, bore_radius: float, height: float, *, is_open: bool) -> float:
    """Return Delta_a < 0, the bore length that both series arms add together [m].

    Parameters
    ----------
    hole_radius, bore_radius : [m]
    height : float or array
        Wall thickness w at the crest [m].
    is_open : bool or array

    Notes
    -----
    -b delta^2/(1.7 + 1.76 T), T = coth(1.84 w/b) closed, tanh(1.84 w/b + 0.61) open: the
    chimney's lowest transverse mode, ended by a lid or by the open air. Fitted; within
    0.0021 b of finite elements (0.0012 b as a length of the hole).
    """
    delta = hole_radius / bore_radius
    x = TRANSVERSE * height / hole_radius
    transverse = np.where(is_open, np.tanh(x + SERIES_OPEN), 1 / np.tanh(x))
    return -hole_radius * delta**2 / (SERIES_OWN + SERIES_CHIMNEY * transverse)


def series_length_dubos(
    hole_radius: float, bore_radius: float, height: float, *, is_open: bool
) -> float:
    """Return Delta_a < 0 as `series_length` does, by the published formula [m].

    Notes
    -----
    -b delta^2 / (1.78 coth(1.84 t/b) + 0.940 + 0.540 delta + 0.285 delta^2), closed;
    tanh for coth when open. For t/b >= 1 up to 21 % (closed) and 24 % (open) longer than
    finite elements, in thinner walls more. Closed form read in a thesis quoting it, open
    from memory.

    References
    ----------
    V. Dubos, J. Kergomard, A. Khettabi, J.-P. Dalmont, D. H. Keefe, C. J. Nederveen,
    Acta Acust. united Acust. 85, 153-169 (1999).
    """
    delta = hole_radius / bore_radius
    tanh = np.tanh(TRANSVERSE * height / hole_radius)
    leading = np.where(is_open, tanh, 1 / tanh)
    return -hole_radius * delta**2 / (1.78 * leading + 0.940 + 0.540 * delta + 0.285 * delta**2)


# --- sets of formulas -------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class HoleFormulas:
    """A complete set of formulas for a hole; arguments as in the functions of this module."""

    inner: Callable = inner_length_lefebvre
    outer: Callable = outer_length
    thin: Callable = thin_wall_loss
    inner_gain: Callable = inner_gain
    outer_gain: Callable = outer_gain
    ratio: Callable = mouth_ratio
    resistance: Callable = radiation_resistance
    closed_inner: Callable = inner_length_lefebvre
    lid: Callable = flush_lid
    series: Callable = series_length


def _nothing(*sizes: float) -> float:
    return 0.0 * sum(sizes)


def _one(*sizes: float) -> float:
    return 1.0 + 0.0 * sum(sizes)


OWN = HoleFormulas()
PUBLISHED = HoleFormulas(
    outer=outer_length_dalmont,
    thin=_nothing,
    inner_gain=_nothing,
    outer_gain=_nothing,
    ratio=_one,
    resistance=free_resistance,
    closed_inner=_nothing,
    lid=flat_lid,
    series=series_length_dubos,
)


def warn_of_shape(
    hole_radius: float,
    bore_radius: float,
    wall: float,
    *,
    aspect: float = 1.0,
    undercut: float = 1.0,
    rounding: float = 0.0,
) -> None:
    """Warn once of holes outside the range in which the formulas were compared; nan is no hole.

    Warns
    -----
    ValidityWarning
        With the value: wider than 0.8 of the bore; a wall below 0.25 hole radii; an oval's
        length over width outside 1/2 to 2; radius at the bore over that outside, 1 to 1.3; an
        edge rounded by more than half the radius.
    """
    told = [
        *outside(hole_radius / bore_radius, 0.0, WIDEST, "its radius is {} of the bore's"),
        *outside(wall / hole_radius, THINNEST, np.inf, "its wall is {} of its radius"),
        *outside(aspect, *ASPECT, "its length along the pipe over its width is {}"),
        *outside(undercut, *UNDERCUT, "its radius at the bore over that outside is {}"),
        *outside(rounding, *ROUNDING, "its edge's radius over its own is {}"),
    ]
    warn("finger hole", told)


def warn_of_wave_number(k: float, bore_radius: float) -> None:
    """Warn once where ka is beyond 0.6, up to which the gains with frequency were compared.

    Warns
    -----
    ValidityWarning
        With the value.
    """
    warn(
        "finger hole",
        [*outside(k * bore_radius, 0.0, HIGHEST, "ka is {} at the highest frequency")],
    )


# --- whole holes ------------------------------------------------------------------------


def open_length(
    hole_radius: float,
    bore_radius: float,
    wall: float,
    outer_radius: float,
    formulas: HoleFormulas = OWN,
) -> float:
    """Return t_E, the whole open hole at low frequency: wall, matching, both ends [m].

    Within 0.01 b of finite elements (own set).
    """
    return (
        wall
        + matching_height(hole_radius, bore_radius)
        + formulas.inner(hole_radius, bore_radius)
        + formulas.outer(hole_radius, outer_radius)
        - 2 * formulas.thin(hole_radius, wall)
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
