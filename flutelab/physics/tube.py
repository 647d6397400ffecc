"""Sound in a round tube with losses at its wall."""

from __future__ import annotations

import warnings

import numpy as np
from scipy.special import jve

from flutelab.errors import ValidityWarning
from flutelab.physics.air import Air

SMALLEST_STOKES = 5.0


def stokes_number(frequency: complex, radius: float, air: Air) -> complex:
    """Return r_v = a sqrt(rho omega / mu), the radius in viscous boundary layers."""
    return radius * np.sqrt(2 * np.pi * frequency * air.density / air.viscosity)


def warn_of_stokes(smallest: float) -> None:
    """Warn once of a Stokes number below 5, where the boundary layer fills the tube.

    Warns
    -----
    ValidityWarning
        With the value.
    """
    if smallest < SMALLEST_STOKES:
        warnings.warn(
            f"wall losses: Stokes number {smallest:.3g} is below {SMALLEST_STOKES:g}; "
            "tube too narrow or frequency too low for the duct model",
            ValidityWarning,
            stacklevel=3,
        )


def _ratio_series(count: int) -> list[complex]:
    """Coefficients of J1/J0 in powers of 1/z where exp(jz) dominates (Im z << 0).

    From w' = 1 - w/z + w^2, w -> -j: 2 c0 c_m = (2 - m) c_(m-1) - sum c_i c_(m-i).
    """
    c = [-1j]
    for m in range(1, count):
        c.append(((2 - m) * c[m - 1] - sum(c[i] * c[m - i] for i in range(1, m))) / (2 * c[0]))
    return c


_SERIES = _ratio_series(15)
_SERIES_FROM = 25.0  # |z| beyond which the series is exact to rounding


def bessel_ratio(stokes: complex) -> complex:
    """Return F(r) = 2 J1(z) / (z J0(z)), z = r exp(-j pi/4), for |arg r| << pi/4.

    Scaled Bessel functions, or beyond |z| = 25 their ratio's asymptotic series, ten
    times faster and equal to 1e-13.
    """
    z = np.asarray(stokes) * np.exp(-0.25j * np.pi)
    if np.all(np.abs(z) > _SERIES_FROM):
        inverse = 1 / z
        ratio = np.full_like(inverse, _SERIES[-1])
        for coefficient in _SERIES[-2::-1]:
            ratio *= inverse
            ratio += coefficient
        return 2 * ratio * inverse
    return 2 * jve(1, z) / (z * jve(0, z))


def propagation(
    frequency: complex, radius: float, air: Air, loss: float = 1.0
) -> tuple[complex, complex]:
    """Return the propagation constant and the relative characteristic impedance.

    Parameters
    ----------
    frequency : [Hz], may be complex, broadcastable
    radius : [m]
    air : Air
    loss : float
        Scales what the wall adds to j omega/c and to rho c/S; 0 = lossless.

    Returns
    -------
    gamma : complex [1/m]
    relative_impedance : complex
        Z_cv / (rho c / S).

    Warns
    -----
    ValidityWarning
        Where r_v < 5: the boundary layer fills the tube.

    Notes
    -----
    Zwikker and Kosten [1]: Gamma = j k s t, Z_cv = Zc s/t with
    s = (1 - F(r_v))^(-1/2), t = (1 + (gamma-1) F(r_t))^(1/2), principal roots
    near 1, which stays on one branch at complex frequency.

    References
    ----------
    .. [1] C. Zwikker, C. W. Kosten, Sound Absorbing Materials (Elsevier, 1949);
       H. Tijdeman, J. Sound Vib. 39, 1-33 (1975).
    """
    j_k = 2j * np.pi * frequency / air.sound_speed
    if not np.any(loss):
        return j_k, np.ones_like(j_k)
    stokes = stokes_number(frequency, radius, air)
    warn_of_stokes(np.min(np.abs(stokes), initial=np.inf))
    # roots, not powers: of complex arrays ten times faster
    s = 1 / np.sqrt(1 - bessel_ratio(stokes))
    t = np.sqrt(1 + (air.heat_ratio - 1) * bessel_ratio(stokes * np.sqrt(air.prandtl)))
    return j_k * (1 + loss * (s * t - 1)), 1 + loss * (s / t - 1)


def tube(gamma: complex, impedance: complex, length: float) -> tuple[complex, ...]:
    """Return the chain elements (a, b, c, d) of a cylinder, head side first.

    Notes
    -----
    a = d = cosh(Gamma L), b = Z sinh(Gamma L), c = sinh(Gamma L) / Z; e^{+j omega t}.
    """
    cosh, sinh = np.cosh(gamma * length), np.sinh(gamma * length)
    return cosh, impedance * sinh, sinh / impedance, cosh


def cone(
    gamma: complex, impedance: complex, length: float, near: float, far: float, flare: float
) -> tuple[complex, ...]:
    """Return the chain elements (a, b, c, d) of a straight cone, head side first.

    Parameters
    ----------
    gamma : complex
        Propagation constant, at the mean radius where there are losses [1/m].
    impedance : complex
        rho c/(pi near far) times what the losses change, over any reference.
    length, near, far : float or array
        Axial length, radii at its ends [m].
    flare : float or array
        dr/dx; 0 gives the cylinder.

    Notes
    -----
    Spherical waves, with x1 = near/flare and x2 = far/flare from the apex (derived; the
    determinant is 1, losses or not):
    a = (far/near) cosh(Gamma L) - sinh(Gamma L)/(Gamma x1),  b = Z sinh(Gamma L),
    c = [(1 - 1/(Gamma^2 x1 x2)) sinh(Gamma L) + (1/x1 - 1/x2) cosh(Gamma L)/Gamma]/Z,
    d = (near/far) cosh(Gamma L) + sinh(Gamma L)/(Gamma x2).
    """
    cosh, sinh = np.cosh(gamma * length), np.sinh(gamma * length)
    from_near, from_far = flare / (gamma * near), flare / (gamma * far)
    return (
        far / near * cosh - from_near * sinh,
        impedance * sinh,
        ((1 - from_near * from_far) * sinh + (from_near - from_far) * cosh) / impedance,
        near / far * cosh + from_far * sinh,
    )
