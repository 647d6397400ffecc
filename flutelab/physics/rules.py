"""Shop and school rules: what two lengths of a resonating column say, and the square-root law."""

from __future__ import annotations

import warnings

import numpy as np

from flutelab.errors import ValidityWarning

RULE_SPEED = 331.0  # m/s at 273 K, as rounded in school books
RULE_TEMPERATURE = 273.0


def square_root_speed(temperature: float) -> float:
    """Return the speed of sound [m/s] by 331 sqrt(T/273), T in kelvin.

    A rule for checks by hand; `flutelab.moist_air` is within 0.1 % and knows humidity.

    References
    ----------
    P. P. Urone, R. Hinrichs, College Physics, OpenStax (2012), ch. 17.

    Examples
    --------
    >>> float(square_root_speed(293.0))
    342.91
    """
    return RULE_SPEED * np.sqrt(np.asarray(temperature) / RULE_TEMPERATURE)


def square_root_temperature(sound_speed: float) -> float:
    """Return the temperature [K] at which `square_root_speed` is `sound_speed` [m/s]."""
    return RULE_TEMPERATURE * (np.asarray(sound_speed) / RULE_SPEED) ** 2


def two_length_speed(shorter: float, longer: float, frequency: float) -> float:
    """Return the speed of sound [m/s] from two neighbouring resonances of a column.

    Parameters
    ----------
    shorter, longer : float
        Lengths at which the column resounds to the same tone, next to each other [m].
    frequency : float
        Of the tone [Hz].

    Notes
    -----
    c = 2 f (L2 - L1): neighbouring resonances lie half a wave apart, whatever the end
    correction (school experiment, common practice).
    """
    return 2 * frequency * _half_wave(shorter, longer)


def resonance_lengths(shorter: float, longer: float, *, order: int = 1) -> tuple[float, float]:
    """Return (half wave, end correction) of a stopped column from two resonances.

    Parameters
    ----------
    shorter, longer : float
        Lengths at which the column resounds to the same tone, next to each other [m].
    order : int
        Which resonance the shorter one is; 1 = the first, a quarter wave.

    Returns
    -------
    half_wave : float
        [m]
    end_correction : float
        Of the open end [m]; nan where the lengths give a negative one.

    Raises
    ------
    ValueError
        Lengths that are not positive and increasing, or an order below 1.

    Warns
    -----
    ValidityWarning
        The end correction comes out negative, which no open end has.

    Notes
    -----
    L + e = (2 n - 1)/4 of a wave for resonance n (school experiment, common practice).

    Examples
    --------
    >>> resonance_lengths(0.241, 0.741)
    (0.5, 0.009)
    """
    half_wave = _half_wave(shorter, longer)
    if order < 1:
        msg = f"resonance order is {order}; the first resonance is 1"
        raise ValueError(msg)
    correction = (order - 0.5) * half_wave - shorter
    if correction < 0:
        warnings.warn(
            f"impossible: negative end correction of {correction:.4g} m from lengths "
            f"{shorter:.4g} and {longer:.4g} m as resonances {order} and {order + 1}; "
            "measure both again, and check which resonances they are",
            ValidityWarning,
            stacklevel=2,
        )
        correction = np.nan
    return half_wave, correction


def _half_wave(shorter, longer):
    if not 0 < shorter < longer < np.inf:
        msg = f"lengths are {shorter} and {longer} m; both must be above 0, the longer one second"
        raise ValueError(msg)
    return longer - shorter
