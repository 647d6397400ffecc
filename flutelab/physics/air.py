"""Air in the bore: speed of sound, density and the constants of the wall losses."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np

from flutelab.errors import ValidityWarning

ICE_POINT = 273.15
TEMPERATURES = (ICE_POINT - 40, ICE_POINT + 60)  # K, in which there is air to play in
GAS_CONSTANT = 8.314472  # J/(mol K), the value the density formula was published with


@dataclass(frozen=True, kw_only=True, eq=False)
class Air:
    """The air in the bore; leaves are floats or broadcastable arrays.

    Parameters
    ----------
    sound_speed : [m/s]
    density : [kg/m3]
    viscosity : [Pa s]
    heat_ratio : ratio of specific heats
    prandtl : Prandtl number
    temperature : [K]
    """

    sound_speed: float
    density: float
    viscosity: float
    heat_ratio: float
    prandtl: float
    temperature: float

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not np.all(np.isfinite(value) & (np.asarray(value) > 0)):
                msg = f"air {name} is {value}; it must be a number greater than 0"
                raise ValueError(msg)


def moist_air(
    temperature: float,
    *,
    humidity: float = 0.5,
    co2: float = 400e-6,
    pressure: float = 101325.0,
) -> Air:
    """Return moist air at a temperature.

    Parameters
    ----------
    temperature : float or array
        Of the air in the bore [K]; ``units.celsius(26)`` makes one.
    humidity : float or array
        Relative humidity, 0 to 1.
    co2 : float or array
        Mole fraction of carbon dioxide (room air 400e-6, full breath about 0.04).
    pressure : float or array
        Static pressure [Pa].

    Returns
    -------
    Air

    Raises
    ------
    ValueError
        A humidity outside 0..1, a CO2 fraction outside 0..0.1, a temperature
        outside -40..60 C or a pressure outside 50..120 kPa.

    Warns
    -----
    ValidityWarning
        Outside 0 to 35 C (published for 0 to 30 C [1]; within 0.2 cent of an
        independent property library up to 34 C), 75 to 102 kPa, or CO2 above 1 %.

    Notes
    -----
    Speed of sound after Cramer [1], density CIPM-2007 [2], viscosity, heat ratio
    and Prandtl number from Keefe's linear set [3].

    References
    ----------
    .. [1] O. Cramer, J. Acoust. Soc. Am. 93, 2510-2516 (1993).
    .. [2] A. Picard, R. S. Davis, M. Glaeser, K. Fujii, Metrologia 45, 149-155 (2008).
    .. [3] D. H. Keefe, J. Acoust. Soc. Am. 75, 58-62 (1984).

    Examples
    --------
    >>> round(moist_air(293.15, humidity=0.0).sound_speed, 3)
    343.359
    """
    check_air(temperature, humidity, co2, pressure, place="bore", stacklevel=4)
    water = water_fraction(temperature, humidity=humidity, pressure=pressure)
    viscosity, heat_ratio, prandtl = loss_constants(temperature)
    return Air(
        sound_speed=_plain(sound_speed(temperature, water=water, co2=co2, pressure=pressure)),
        density=_plain(density(temperature, water=water, co2=co2, pressure=pressure)),
        viscosity=_plain(viscosity),
        heat_ratio=_plain(heat_ratio),
        prandtl=_plain(prandtl),
        temperature=_plain(np.asarray(temperature, dtype=float)),
    )


def warmer(air: Air, offset: float) -> Air:
    """Return `air` warmed by `offset` [K] at constant composition and pressure.

    Notes
    -----
    c ~ sqrt(T), rho ~ 1/T, mu ~ T^0.7 (power law, from memory); heat ratio and
    Prandtl number unchanged.
    """
    ratio = 1 + offset / air.temperature
    return Air(
        sound_speed=air.sound_speed * np.sqrt(ratio),
        density=air.density / ratio,
        viscosity=air.viscosity * ratio**0.7,
        heat_ratio=air.heat_ratio + 0 * ratio,
        prandtl=air.prandtl + 0 * ratio,
        temperature=air.temperature * ratio,
    )


def water_fraction(temperature: float, *, humidity: float, pressure: float) -> float:
    """Return the mole fraction of water vapour.

    Notes
    -----
    x_w = h f_e p_sv / P, saturation pressure and enhancement factor of the
    CIPM-81/91 density equation: R. S. Davis, Metrologia 29, 67-70 (1992).
    """
    kelvin = np.asarray(temperature, dtype=float)
    saturation = np.exp(
        1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin
    )
    enhancement = 1.00062 + 3.14e-8 * pressure + 5.6e-7 * (kelvin - ICE_POINT) ** 2
    return humidity * enhancement * saturation / pressure


def sound_speed(temperature: float, *, water: float, co2: float, pressure: float) -> float:
    """Return the speed of sound [m/s] after Cramer (1993), Eq. (15).

    Notes
    -----
    Stated uncertainty below 300 ppm for 0-30 C, 75-102 kPa, water fraction to 0.06,
    CO2 fraction to 0.01.

    References
    ----------
    O. Cramer, J. Acoust. Soc. Am. 93, 2510-2516 (1993).
    """
    t = np.asarray(temperature, dtype=float) - ICE_POINT
    return (
        331.5024
        + 0.603055 * t
        - 0.000528 * t**2
        + (51.471935 + 0.1495874 * t - 0.000782 * t**2) * water
        + (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t**2) * pressure
        + (-85.20931 - 0.228525 * t + 5.91e-5 * t**2) * co2
        - 2.835149 * water**2
        - 2.15e-13 * pressure**2
        + 29.179762 * co2**2
        + 0.000486 * water * pressure * co2
    )


def density(temperature: float, *, water: float, co2: float, pressure: float) -> float:
    """Return the density [kg/m3] by the CIPM-2007 equation.

    Notes
    -----
    Official range 15-27 C, 600-1100 hPa; equal to an independent property library
    to 5e-5 from 0 to 34 C (constants from memory, so checked).

    References
    ----------
    A. Picard, R. S. Davis, M. Glaeser, K. Fujii, Metrologia 45, 149-155 (2008).
    """
    kelvin = np.asarray(temperature, dtype=float)
    t = kelvin - ICE_POINT
    molar_mass = (28.96546 + 12.011 * (co2 - 0.0004)) * 1e-3
    ratio = pressure / kelvin
    compressibility = (
        1
        - ratio
        * (
            1.58123e-6
            - 2.9331e-8 * t
            + 1.1043e-10 * t**2
            + (5.707e-6 - 2.051e-8 * t) * water
            + (1.9898e-4 - 2.376e-6 * t) * water**2
        )
        + ratio**2 * (1.83e-11 - 0.765e-8 * water**2)
    )
    dry = pressure * molar_mass / (compressibility * GAS_CONSTANT * kelvin)
    return dry * (1 - water * (1 - 18.01528e-3 / molar_mass))


def loss_constants(temperature: float) -> tuple[float, float, float]:
    """Return (viscosity [Pa s], heat ratio, Prandtl number) of Keefe's linear set.

    References
    ----------
    D. H. Keefe, J. Acoust. Soc. Am. 75, 58-62 (1984); coefficients from memory,
    within 1.7 % of an independent property library from 0 to 34 C, dry to saturated.
    """
    d = np.asarray(temperature, dtype=float) - ICE_POINT - 26.85
    return 1.846e-5 * (1 + 0.0025 * d), 1.4017 * (1 - 0.00002 * d), (0.8410 * (1 - 0.0002 * d)) ** 2


def check_air(
    temperature: float,
    humidity: float,
    co2: float,
    pressure: float,
    *,
    place: str,
    stacklevel: int,
) -> None:
    """Raise ValueError and warn as `moist_air` does; `place` is where the air is, in words."""
    kelvin = np.asarray(temperature, dtype=float)
    low, high = TEMPERATURES
    wrong = kelvin[~((kelvin >= low) & (kelvin <= high))]
    if wrong.size:
        raise ValueError(_no_temperature(wrong.flat[0]))
    ranges = (
        ("temperature", kelvin - ICE_POINT, -40, 60, 0, 35, f"C in the {place}"),
        ("humidity", humidity, 0, 1, 0, 1, "(0 to 1; 50 % is 0.5)"),
        ("co2", co2, 0, 0.1, 0, 0.01, "(mole fraction)"),
        ("pressure", pressure, 50e3, 120e3, 75e3, 102e3, "Pa"),
    )
    for name, value, low, high, valid_low, valid_high, unit in ranges:
        value = np.asarray(value, dtype=float)
        wrong = value[~((value >= low) & (value <= high))]
        if wrong.size:
            msg = f"air {name} is {wrong.flat[0]:.6g}; allowed is {low:g} to {high:g} {unit}"
            raise ValueError(msg)
        outside = value[(value < valid_low) | (value > valid_high)]
        if outside.size:
            warnings.warn(
                f"air {name} {np.ravel(outside)[0]:.6g} is outside {valid_low:g} to "
                f"{valid_high:g} {unit}, where the speed of sound was checked",
                ValidityWarning,
                stacklevel=stacklevel,
            )


def _no_temperature(kelvin):
    """What is wrong with a temperature [K], and the mend where it was meant in C."""
    low, high = TEMPERATURES
    limits = f"{low:g} to {high:g} K ({low - ICE_POINT:g} to {high - ICE_POINT:g} C)"
    msg = f"air temperature is {kelvin:.6g} K; allowed is {limits}"
    if low <= kelvin + ICE_POINT <= high:
        msg += f"; if it is in C, write flutelab.units.celsius({kelvin:.6g})"
    return msg


def _plain(value):
    return float(value) if np.ndim(value) == 0 else value
