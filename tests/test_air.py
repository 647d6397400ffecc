"""Air: what is accepted, warned of and refused; the duct with losses."""

import numpy as np
import pytest
from scipy.special import jve

from flutelab import Air, ValidityWarning, moist_air
from flutelab.physics.air import warmer
from flutelab.physics.tube import bessel_ratio, propagation, tube


def test_one_number_in_gives_plain_numbers():
    air = moist_air(295.0)
    assert all(type(value) is float for value in vars(air).values())


def test_arrays_broadcast():
    air = moist_air(np.array([290.0, 300.0])[:, None], humidity=np.array([0.0, 0.5, 1.0]))
    assert air.sound_speed.shape == (2, 3)
    assert air.sound_speed[1, 2] == moist_air(300.0, humidity=1.0).sound_speed


@pytest.mark.parametrize(
    ("name", "value"),
    [("humidity", 50.0), ("humidity", -0.1), ("co2", 0.5), ("pressure", 1013.25)],
)
def test_absurd_air_is_refused_with_its_range(name, value):
    with pytest.raises(ValueError, match=rf"air {name} is {value:g}.*allowed is"):
        moist_air(295.0, **{name: value})


@pytest.mark.parametrize("kelvin", [22.0, 72.0, np.nan])
def test_a_temperature_not_in_kelvin_is_refused(kelvin):
    with pytest.raises(
        ValueError, match=rf"air temperature is {kelvin:g} K; .*\(-40 to 60 C\)"
    ) as told:
        moist_air(kelvin)
    assert str(told.value).endswith("units.celsius(22)") == (kelvin == 22.0)


def test_outside_the_published_range_warns():
    with pytest.warns(ValidityWarning, match="air temperature -5"):
        moist_air(268.15)
    with pytest.warns(ValidityWarning, match="air co2 0.04"):
        moist_air(300.0, co2=0.04)


@pytest.mark.parametrize("value", [0.0, -1.0, np.nan, np.inf])
def test_air_from_numbers_must_be_positive(value):
    good = vars(moist_air(300.0))
    with pytest.raises(ValueError, match="air density is"):
        Air(**{**good, "density": value})


def test_warmer_air_follows_the_square_root_law():
    """c ~ sqrt(T), rho ~ 1/T: ideal gas at constant pressure; viscosity ~ T^0.7 from memory."""
    air = moist_air(293.15)
    warm = warmer(air, 10.0)
    ratio = 303.15 / 293.15
    assert warm.sound_speed == pytest.approx(air.sound_speed * ratio**0.5, rel=1e-12)
    assert warm.density * warm.sound_speed**2 == pytest.approx(air.density * air.sound_speed**2)
    assert warm.viscosity == pytest.approx(air.viscosity * ratio**0.7, rel=1e-12)
    assert (warm.heat_ratio, warm.prandtl) == (air.heat_ratio, air.prandtl)
    assert vars(warmer(air, 0.0)) == pytest.approx(vars(air))


def test_bessel_ratio_is_the_same_by_series_and_by_functions():
    """scipy's scaled Bessel functions on both sides of the change-over, complex frequency too."""
    stokes = np.array([3.0, 24.0, 26.0, 80.0, 400.0]) * np.exp(0.01j)
    z = stokes * np.exp(-0.25j * np.pi)
    expected = 2 * jve(1, z) / (z * jve(0, z))
    for one, value in zip(stokes, expected, strict=True):
        assert abs(bessel_ratio(np.array([one])) / value - 1) < 1e-12


def test_narrow_tubes_warn():
    with pytest.warns(ValidityWarning, match="Stokes number"):
        propagation(100.0, 1e-4, moist_air(295.0))


def test_losses_scale_from_none_to_all():
    air = moist_air(295.0)
    full, none, half = (propagation(440.0, 0.008, air, loss) for loss in (1.0, 0.0, 0.5))
    assert none[0].real == 0
    assert none[1] == 1
    for part in (0, 1):
        assert half[part] == pytest.approx(0.5 * (full[part] + none[part]))


def test_a_tube_is_reciprocal_and_adds_up():
    gamma, impedance = propagation(440.0 + 3j, 0.008, moist_air(295.0))
    a, b, c, d = tube(gamma, impedance, 0.3)
    assert a * d - b * c == pytest.approx(1.0)
    first = np.array(tube(gamma, impedance, 0.1)).reshape(2, 2)
    second = np.array(tube(gamma, impedance, 0.2)).reshape(2, 2)
    assert (first @ second).ravel() == pytest.approx(np.array([a, b, c, d]))
