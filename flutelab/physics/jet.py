"""The jet that drives a flute: its speed, and how many cut-ups it flies in a period."""

from __future__ import annotations

import numpy as np

USUAL = (4.0, 12.0)  # reduced velocities at which recorders are played (from memory)
PRESSURES = (5.0, 5000.0)  # Pa, of blowing
CAUTION = (
    "usual range from memory, of recorders; a pressure in the mouth is more than that at the "
    "windway's end, so these are upper limits"
)


def jet_speed(pressure: float, density: float) -> float:
    """Return the speed of a jet [m/s].

    Parameters
    ----------
    pressure : float or array
        p, of blowing [Pa].
    density : float or array
        rho, of the air [kg/m3].

    Raises
    ------
    ValueError
        A pressure below 0.

    Notes
    -----
    Bernoulli: U = sqrt(2 p/rho), without losses in the windway.

    Examples
    --------
    >>> round(float(jet_speed(400.0, 1.17)), 1)
    26.1
    """
    if np.any(np.asarray(pressure) < 0):
        msg = f"blowing pressure is {np.min(pressure):g} Pa; it must be 0 or more"
        raise ValueError(msg)
    return np.sqrt(2 * np.asarray(pressure) / density)


def reduced_velocity(speed: float, frequency: float, cut_up: float) -> float:
    """Return U/(f H), the jet's flight in one period over the window's cut-up.

    Parameters
    ----------
    speed : [m/s]
    frequency : [Hz]
    cut_up : float
        H, flue exit to sounding edge [m].

    Notes
    -----
    The inverse of a Strouhal number. A disturbance crosses the window at about 0.4-0.5 U and
    drives best when it arrives half a period later, at a reduced velocity of 4 to 5: J. W.
    Coltman, J. Acoust. Soc. Am. 44, 983-992 (1968); the share of U is from memory.
    """
    return speed / (np.asarray(frequency) * cut_up)
