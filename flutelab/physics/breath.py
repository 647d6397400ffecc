"""Air that changes along the bore: breath at the window, the room's air at the foot."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.physics.air import (
    ICE_POINT,
    Air,
    check_air,
    density,
    loss_constants,
    sound_speed,
    water_fraction,
)

_RANGES = {  # allowed, and what it is in words
    "share": (0.0, 1.0, "(all breath is 1)"),
    "breath_temperature": (283.15, 313.15, "K (10 to 40 C)"),
    "breath_humidity": (0.0, 1.0, "(100 % is 1)"),
    "breath_co2": (0.0, 0.1, "(mole fraction)"),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class AirAlong:
    """The air in a bore that is blown: a mixture of breath and the room's air.

    Leaves are floats or arrays of shape (N,), one a note.

    Parameters
    ----------
    room_temperature : [K]
    humidity : float
        Relative humidity of the room's air, 0 to 1.
    co2 : float
        Mole fraction of carbon dioxide in the room.
    pressure : float
        Static pressure [Pa].
    share : float
        Of breath in the mixture at the window (or plain head), 0 to 1; from there it
        falls in proportion to the distance, to 0 at the foot.
    breath_temperature : [K]
    breath_humidity : float
        Relative humidity of the breath, 0 to 1.
    breath_co2 : float
        Mole fraction of carbon dioxide in the breath.

    Raises
    ------
    ValueError
        Of the room's air as `moist_air` does; of the breath a number outside its range.

    Warns
    -----
    ValidityWarning
        Of the room's air as `moist_air` does.

    Notes
    -----
    Breath reaches the lips at 31-35 C, 65-100 % humidity and 4-5 % CO2 (handbook values);
    32 C, 100 % and 4 % are taken. A share of 0.8 makes the mean over the bore 4 K warmer than
    a room of 22 C (common practice, no source). That the share falls evenly, and by one
    number for warmth and gas alike, is an estimate.
    """

    room_temperature: float
    humidity: float = 0.5
    co2: float = 400e-6
    pressure: float = 101325.0
    share: float = 0.8
    breath_temperature: float = 305.15
    breath_humidity: float = 1.0
    breath_co2: float = 0.04

    def __post_init__(self) -> None:
        air = self.room_temperature, self.humidity, self.co2, self.pressure
        check_air(*air, place="room", stacklevel=5)
        for name, (low, high, unit) in _RANGES.items():
            value = np.asarray(getattr(self, name), dtype=float)
            wrong = value[~((value >= low) & (value <= high))]
            if wrong.size:
                msg = f"air {name} is {wrong.flat[0]:.6g}; allowed is {low:g} to {high:g} {unit}"
                raise ValueError(msg)


BREATH_WORDS = (
    f"{100 * AirAlong.share:g} % of it breath ({AirAlong.breath_temperature - ICE_POINT:.0f} C, "
    f"{100 * AirAlong.breath_humidity:g} % humidity, {100 * AirAlong.breath_co2:g} % CO2)"
)


def air_at(along: AirAlong, place: float) -> Air:
    """Return the air at a place of the bore.

    Parameters
    ----------
    along : AirAlong
        Leaves that broadcast with `place`.
    place : float or array
        0 at the window's centre (or plain head), 1 at the foot; held beyond.

    Returns
    -------
    Air

    Notes
    -----
    Temperature, water and carbon dioxide are mixed in proportion (equal heat capacities);
    water beyond saturation has condensed. Sound speed as in `moist_air`: above 1 % of
    carbon dioxide outside the published range, there within 0.2 m/s (1 cent at 4 %) of an
    ideal-gas mixture.

    Examples
    --------
    >>> float(air_at(AirAlong(room_temperature=295.15), 0.5).temperature)
    299.15
    """
    temperature, water, co2, _ = _mixture(along, place)
    gas = {"water": water, "co2": co2, "pressure": along.pressure}
    viscosity, heat_ratio, prandtl = loss_constants(temperature)
    return Air(
        sound_speed=sound_speed(temperature, **gas),
        density=density(temperature, **gas),
        viscosity=viscosity,
        heat_ratio=heat_ratio,
        prandtl=prandtl,
        temperature=temperature,
    )


def _mixture(along, place):
    """Temperature, mole fractions of water and carbon dioxide, and relative humidity."""
    share = along.share * (1 - np.clip(place, 0.0, 1.0))

    def mixed(room, breath):
        return room + share * (breath - room)

    def water(temperature, humidity):
        return water_fraction(temperature, humidity=humidity, pressure=along.pressure)

    temperature = mixed(along.room_temperature, along.breath_temperature)
    vapour = mixed(
        water(along.room_temperature, along.humidity),
        water(along.breath_temperature, along.breath_humidity),
    )
    most = water(temperature, 1.0)
    held = np.minimum(vapour, most)
    return temperature, held, mixed(along.co2, along.breath_co2), held / most


def cut_off(along: AirAlong, place: float) -> AirAlong:
    """Return the air of a bore that is cut off: up to there as in the whole bore.

    Parameters
    ----------
    along : AirAlong
        Of the whole bore.
    place : float or array
        Of the cut, above 0 at the window's centre (or plain head) up to 1 at the foot; held
        beyond.

    Returns
    -------
    AirAlong
        Its room is what is mixed at the cut, its share the breath that is added from there to
        the window: the same mixture at every place, but for water that has condensed.

    Examples
    --------
    >>> whole = AirAlong(room_temperature=295.15)
    >>> round(float(air_at(whole, 0.3).temperature), 9)
    300.75
    >>> round(float(air_at(cut_off(whole, 0.6), 0.5).temperature), 9)
    300.75
    """
    temperature, _, co2, humidity = _mixture(along, place)
    there = along.share * (1 - np.clip(place, 0.0, 1.0))
    share = (along.share - there) / (1 - there)
    mixed = {"room_temperature": temperature, "humidity": humidity, "co2": co2, "share": share}
    with already_warned():
        return replace(along, **mixed)


def single_air(air: Air | AirAlong) -> Air:
    """Return one air for the whole bore: that halfway to the foot; an `Air` as it is."""
    return air_at(air, 0.5) if isinstance(air, AirAlong) else air
