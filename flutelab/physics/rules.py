"""Shop, school and textbook rules: lengths of columns, of open holes, of rows of holes."""

from __future__ import annotations

import warnings

import numpy as np

from flutelab.errors import ValidityWarning

OPEN_END = 0.6  # end correction of a plain open pipe over its radius, as rounded in school books
RULE_SPEED = 331.0  # m/s at 273 K, as rounded in school books
RULE_TEMPERATURE = 273.0


def square_root_speed(temperature: float) -> float:
    """Return the speed of sound [m/s] by 331 sqrt(T/273).

    Parameters
    ----------
    temperature : float or array
        T [K].

    Notes
    -----
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
    """Return the temperature [K] at which `square_root_speed` is a speed of sound.

    Parameters
    ----------
    sound_speed : float or array
        [m/s]
    """
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


# --- a pipe with open holes ----------------------------------------------------------------


def half_wave_frequency(sound_speed: float, length: float) -> float:
    """Return the frequency [Hz] of a column open at both ends: c/(2 L).

    Parameters
    ----------
    sound_speed : float or array
        c [m/s].
    length : float or array
        L [m].

    Examples
    --------
    >>> float(half_wave_frequency(345.0, 0.345))
    500.0
    """
    return sound_speed / (2 * np.asarray(length))


def length_beyond_hole(
    hole_length: float, hole_radius: float, bore_radius: float, tail: float
) -> float:
    """Return how far the column reaches beyond a single open hole [m of bore].

    Parameters
    ----------
    hole_length : float
        t_E: wall and both end corrections of the hole [m].
    hole_radius, bore_radius : [m]
    tail : float
        Hole's centre to the foot, the foot's end correction included [m].

    Notes
    -----
    Two lengths side by side, at low frequency: m D/(m + D), m = t_E (a/b)^2 (textbook
    acoustics, derived).

    Examples
    --------
    >>> round(1000 * length_beyond_hole(7.339e-3, 3.5e-3, 7.9e-3, 0.1), 3)
    27.214
    """
    hole = hole_length * (bore_radius / hole_radius) ** 2
    return hole * tail / (hole + tail)


def length_beyond_row(
    hole_length: float, hole_radius: float, bore_radius: float, spacing: float
) -> float:
    """Return how far the column reaches beyond the first of an endless row of open holes [m].

    Parameters
    ----------
    hole_length : float
        t_E of each hole [m].
    hole_radius, bore_radius : [m]
    spacing : float
        From hole to hole, 2s [m].

    Notes
    -----
    s [sqrt(1 + 2 (t_E/s) (a/b)^2) - 1], at low frequency: A. H. Benade, J. Acoust. Soc. Am.
    32, 1591-1608 (1960), from memory; derived again.

    Examples
    --------
    >>> round(float(1000 * length_beyond_row(7.339e-3, 3.5e-3, 7.9e-3, 0.020)), 8)
    19.11699104
    """
    half = spacing / 2
    return half * (np.sqrt(1 + 2 * hole_length / half * (bore_radius / hole_radius) ** 2) - 1)


def exact_cutoff_frequency(
    sound_speed: float, hole_radius: float, bore_radius: float, spacing: float, height: float
) -> float:
    """Return the cutoff of an endless regular row of open holes [Hz], not for long waves alone.

    Parameters
    ----------
    sound_speed : [m/s]
    hole_radius, bore_radius : [m]
        Above 0.
    spacing : float
        From hole to hole, 2s [m].
    height : float
        t_E of each hole [m].

    Notes
    -----
    The root of (b/a)^2/(2 k t_E) = tan(k s) (derived from the row's dispersion); its limit
    for long waves is `flutelab.physics.hole.cutoff_frequency`, always above.

    Examples
    --------
    >>> round(float(exact_cutoff_frequency(345.0, 3.5e-3, 7.9e-3, 0.020, 7.339e-3)), 2)
    1964.25
    """
    half = np.asarray(spacing) / 2
    strength = (np.asarray(hole_radius) / bore_radius) ** 2 * half / (2 * np.asarray(height))

    # x tan x = strength, x = k s: a start within 3 %, right in both limits; three steps of
    # Newton's method leave rounding
    turn = np.pi / 2 * np.sqrt(strength / (strength + np.pi**2 / 4))
    for _ in range(3):
        sin, cos = np.sin(turn), np.cos(turn)
        off = turn * sin - strength * cos
        turn = turn - off / (sin + turn * cos + strength * sin)
    return sound_speed * turn / (2 * np.pi * half)
