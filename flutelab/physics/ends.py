"""Plain ends of a pipe: end correction, reflection and radiation impedance.

R = -|R| exp(-2 j k l). A formula for an end takes ka and the rim's ratio q = inner over outer
radius, 1 for a sharp rim, 0 for an infinite plane, and returns (l/a, -ln|R|/2). Two do:
`own_end`, fitted to finite elements of rims of every thickness, and `published_end`.

In ours an infinite plane is cut off at the rim's edge, which sends a wave back: it arrives
late by about the way out and back, and once more after a second turn,

    l/a        = l_f - D g [(1 + m) cos(phi) - m cos(2 phi)]
    -ln|R| / 2 = d_f - ka D g [(1 + m) sin(phi) - m sin(2 phi)]

with l_f, d_f of the infinite plane and D what the plane adds to the length at ka -> 0. There
g -> 1 and phi -> ka/(4 D (1 - m)): that slope is no free constant, it makes -ln|R|/2 the
(ka)^2/4 of a source in full space, where the plane has (ka)^2/2. Nine constants are fitted.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable

import numpy as np
from scipy.special import ive, j1, kve, y1

from flutelab.errors import ValidityWarning

UNFLANGED_LIMIT = 0.612701  # exact: the integrals of Levine and Schwinger at ka -> 0
FLANGED_LIMIT = 0.82159  # A. N. Norris, I. C. Sheng, J. Sound Vib. 135, 85-93 (1989)
LARGEST_KA = 1.8412  # first cross mode of a round tube
THICKEST = 1 / 3  # smallest rim ratio fitted

# Fitted to finite elements of the plane, to ka = 1.8: over, then under the fraction's line.
_PLANE_LENGTH = (0.6573, 1.1686, 0.0835)
_PLANE_DECAY = (0.3853, 1.2260, 0.1004)
# Fitted to finite elements of rims of 0 to 2 a, to ka = 1.8.
_EXCESS = (0.1105, 0.0632)
_FALL = (0.0496, 0.576)
_DELAY = (-0.2241, 0.1615, 0.0947, 0.3018)
_TURN = 0.1521

# Coefficients of F. Silva et al., J. Sound Vib. 322, 255-263 (2009), from memory;
# checked against the exact integral (unflanged) and finite elements (flanged).
_UNFLANGED = {
    "beta": 0.5, "a": (0.800, 0.266, 0.0263), "eta": 0.6133, "b": (0.0599, 0.238, -0.0153, 0.00150)
}  # fmt: skip
_FLANGED = {
    "beta": 1.0, "a": (0.730, 0.372, 0.0231), "eta": 0.8216, "b": (0.244, 0.723, -0.0198, 0.00366)
}  # fmt: skip


# --- our closed form --------------------------------------------------------------------


def own_end(ka: complex, lip_ratio: float) -> tuple[complex, complex]:
    """Return l/a and -ln|R|/2 of an open end with a rim, our closed form.

    Parameters
    ----------
    ka : complex
        Wave number times inner radius, broadcastable; 0 gives the low-frequency limit.
    lip_ratio : float or array
        Inner over outer radius, 0..1 (1 = sharp rim, 0 = infinite plane).

    Raises
    ------
    ValueError
        A ratio outside 0..1.

    Notes
    -----
    For rims of 0 to 2 a and the plane, against finite elements: within 0.0016 in l/a and |R|
    to ka = 1, 0.0028 and 0.0024 to ka = 1.8; thicker rims (3 and 4 a) 0.007. Exact at
    ka -> 0 for the sharp rim and the plane. The rim's echo comes the later the wider it is:
    at complex ka a rim of many bore radii is beyond the form.
    """
    ratio = _checked(lip_ratio)
    s, y = 1 - ratio, ka * ka
    excess, turn = _plane_excess(ratio), _TURN * s
    late = _DELAY[0] + _DELAY[1] * np.sqrt(s) + _DELAY[2] * s
    slope = 1 / (4 * np.where(ratio > 0, excess, np.inf) * (1 - turn))
    phase = ka * slope * (1 + late * y / (1 + _DELAY[3] * y))
    wave = excess * (1 + _FALL[0] * y) / (1 + _FALL[1] * y)
    cos, sin = np.cos(phase), np.sin(phase)
    # cos 2 phi and sin 2 phi written out: half the trigonometry
    length = FLANGED_LIMIT * _fraction(y, _PLANE_LENGTH)
    decay = y / 2 * _fraction(y, _PLANE_DECAY)
    return (
        length - wave * ((1 + turn) * cos - turn * (2 * cos * cos - 1)),
        decay - ka * wave * sin * (1 + turn - 2 * turn * cos),
    )


def _fraction(y, constants):
    over, first, second = constants
    return (1 + over * y) / (1 + y * (first + second * y))


def _plane_excess(ratio):
    """Return D, what the infinite plane adds to l/a of the rim at ka -> 0."""
    s = 1 - ratio
    log = -np.log(np.where(s > 0, s, 1.0))
    gain = s * (_EXCESS[0] * log + _EXCESS[1] * s)
    return ratio * (FLANGED_LIMIT - UNFLANGED_LIMIT - gain)


def _checked(ratio):
    """Return the ratio as an array, rounding above 1 taken off."""
    ratio = np.asarray(ratio, float)
    bad = ratio[~((ratio >= 0) & (ratio <= 1 + 1e-9))]
    if bad.size:
        msg = f"inner over outer radius is {bad[0]:.4g}; it must lie in 0 to 1"
        raise ValueError(msg)
    return np.minimum(ratio, 1.0)


# --- the published set ------------------------------------------------------------------


def published_end(ka: complex, lip_ratio: float) -> tuple[complex, complex]:
    """Return l/a and -ln|R|/2 of an open end by published formulas; arguments as `own_end`.

    Raises
    ------
    ValueError
        A ratio outside 0..1.

    Notes
    -----
    Sharp rim and plane by Eq. (21) and the |R| of Silva et al. [1]: the sharp rim within
    0.0065 in l/a and 0.0028 in |R| of the exact values to ka = 1.5, the plane to about 0.01.
    A rim between: 0.8216 + q (0.6133 - 0.8216) + 0.057 q (1 - q^5) [2] at ka -> 0, within
    0.004 of finite elements from q = 1/3 to 1/1.02; its fall with frequency and its |R|
    those of the sharp rim, 0.013 and 0.006 off at ka = 0.5 for walls to half a radius, and
    wrong beyond. All from memory.

    References
    ----------
    .. [1] F. Silva, Ph. Guillemain, J. Kergomard, B. Mallaroni, A. N. Norris,
       J. Sound Vib. 322, 255-263 (2009).
    .. [2] J.-P. Dalmont, C. J. Nederveen, N. Joly, J. Sound Vib. 244, 505-534 (2001).
    """
    ratio = _checked(lip_ratio)
    sharp, plane = _UNFLANGED["eta"], _FLANGED["eta"]
    at_rest = plane + ratio * (sharp - plane) + 0.057 * ratio * (1 - ratio**5)
    flanged, y = ratio == 0, ka * ka
    length = np.where(flanged, _length(y, _FLANGED), at_rest / sharp * _length(y, _UNFLANGED))
    size = np.where(flanged, _reflection(y, _FLANGED), _reflection(y, _UNFLANGED))
    return length[()], -0.5 * np.log(size)


def _length(y, constants):
    over, *under = constants["b"]
    return constants["eta"] * (1 + over * y) / (1 + y * (under[0] + y * (under[1] + y * under[2])))


def _reflection(y, constants):
    first, second, third = constants["a"]
    return (1 + first * y) / (1 + y * (constants["beta"] + first + y * (second + y * third)))


# --- impedances -------------------------------------------------------------------------


def end_impedance(
    ka: complex,
    *,
    lip_ratio: float = 1.0,
    correction: float = 1.0,
    radiation: float = 1.0,
    formula: Callable = own_end,
) -> complex:
    """Return the radiation impedance of an open end over the bore's rho c / S.

    Parameters
    ----------
    ka : complex
        Wave number times bore radius, broadcastable.
    lip_ratio : float or array
        Inner over outer radius, 1 = sharp rim, 0 = in an infinite plane.
    correction : float or array
        Multiplies the end correction at every ka.
    radiation : float
        Scales the logarithm of |R|; 0 leaves the reactance alone.
    formula : callable
        `own_end` or `published_end`.

    Raises
    ------
    ValueError
        A ratio outside 0..1.

    Warns
    -----
    ValidityWarning
        Beyond ka = 1.84, where cross modes start; a rim thicker than two bore radii that
        is no infinite plane.

    Notes
    -----
    Z/Zc = (1 + R)/(1 - R), R = -|R| exp(-2 j k l) = -exp(ln|R| - 2 j k l), so
    Z/Zc = tanh(j k l - ln|R|/2).
    """
    warn_of_range(ka, lip_ratio)
    length, decay = formula(ka, lip_ratio)
    return impedance(ka * correction * length, radiation * decay)


def end_resistance(
    ka: complex,
    *,
    lip_ratio: float = 1.0,
    correction: float = 1.0,
    formula: Callable = own_end,
) -> complex:
    """Return the radiation resistance of an open end over rho c / S.

    The real part of `end_impedance` at real ka, continued to complex ka; arguments as there,
    which is also where ranges are warned about.
    """
    length, decay = formula(ka, lip_ratio)
    return resistance(ka * correction * length, decay)


def impedance(phase: complex, decay: complex) -> complex:
    """Return Z over rho c / S of phase k l and decay -ln|R|/2: tanh(j k l - ln|R|/2)."""
    return np.tanh(1j * phase + decay)


def resistance(phase: complex, decay: complex) -> complex:
    """Return the real part of `impedance` at real phase and decay, continued to complex ones."""
    return np.sinh(2 * decay) / (np.cosh(2 * decay) + np.cos(2 * phase))


def warn_of_range(ka: complex, lip_ratio: float) -> None:
    """Warn once of an end beyond the range in which the formulas were compared.

    Warns
    -----
    ValidityWarning
        With the value: ka beyond 1.84, or a rim thicker than 2 a.
    """
    ratio = np.asarray(lip_ratio)
    told = []
    if np.any(np.abs(ka) > LARGEST_KA):
        told.append(f"open end at ka = {np.max(np.abs(ka)):.3g}, beyond {LARGEST_KA:.4g}")
    if np.any(thick := (ratio > 0) & (ratio < THICKEST)):
        told.append(
            f"open end whose inner radius is {ratio[thick].min():.3g} of its outer "
            f"(compared from {THICKEST:.3g}, and for an infinite plane)"
        )
    if told:
        warnings.warn("; ".join(told), ValidityWarning, stacklevel=3)


# --- the exact sharp rim ----------------------------------------------------------------


def levine_schwinger(ka: float) -> tuple[float, float]:
    """Return the exact (|R|, l/a) of a thin-walled open pipe, by quadrature.

    Parameters
    ----------
    ka : float
        Real, 0 < ka < 3.83.

    Raises
    ------
    ValueError
        Outside that range.

    Notes
    -----
    H. Levine, J. Schwinger, Phys. Rev. 73, 383-406 (1948), integrals from memory and
    verified with 30-digit arithmetic; l/a -> 0.612701 as ka -> 0 (the often quoted
    0.6133 is a rounding of their day). Substitutions: x = ka sin(theta), x = exp(u).
    """
    if not 0 < ka < 3.83:
        msg = f"ka is {ka}; the exact unflanged end holds for 0 < ka < 3.83"
        raise ValueError(msg)
    nodes, weight = np.polynomial.legendre.leggauss(100)
    weight = weight * np.pi / 4
    x = ka * np.sin(np.pi / 4 * (nodes + 1))
    modulus = np.exp(-2 * ka / np.pi * np.sum(weight * np.arctan2(j1(x), -y1(x)) / x))
    finite = np.sum(weight * np.log(np.pi * j1(x) * np.hypot(j1(x), y1(x))) / x)
    # the trapezoidal rule converges exponentially: the integrand dies off both ways
    step = 0.05
    grown = np.exp(np.arange(-25, 45, step))
    far = step * np.sum(-np.log(_twice_ik(grown)) / np.hypot(grown, ka))
    return float(modulus), float((finite + far) / np.pi)


def _twice_ik(x):
    """2 I1(x) K1(x), by series where the product rounds to 1 or the functions give up."""
    small, middle, large = np.minimum(x, 1e-3), np.clip(x, 1e-3, 1e4), np.maximum(x, 1e4)
    near_one = 1 + small**2 / 2 * (np.log(small / 2) + np.euler_gamma - 0.25)
    far = (1 - 3 / (8 * large**2)) / large
    return np.select([x < 1e-3, x > 1e4], [near_one, far], 2 * ive(1, middle) * kve(1, middle))
