"""Plain ends: exact values, finite elements, limits, switches and refusals."""

import mpmath
import numpy as np
import pytest
from reference.finite_elements.refit_end import data, errors, fit, in_use, table
from scipy.special import j1, struve

from flutelab import ValidityWarning
from flutelab.physics import ends

KA = np.linspace(0.01, 1.5, 30)
RATIOS = [1.0, 0.7, 0.0]
FORMULAS = [ends.own_end, ends.published_end]
both = pytest.mark.parametrize("formula", FORMULAS)
kinds = pytest.mark.parametrize("ratio", RATIOS)


# --- against values from outside the closed forms ---------------------------------------


def exact_end(ka):
    """(|R|, l/a) of the sharp rim: H. Levine, J. Schwinger, Phys. Rev. 73, 383-406 (1948).

    Integrals from memory, with mpmath at 25 digits and none of the library's substitutions
    but x = ka sin(t) at the singular end.
    """
    j, n, i, k = mpmath.besselj, mpmath.bessely, mpmath.besseli, mpmath.besselk
    with mpmath.workdps(25):
        at, half = mpmath.mpf(ka), mpmath.pi / 2

        def near(g):
            return mpmath.quad(lambda t: g(at * mpmath.sin(t)) / (at * mpmath.sin(t)), [0, half])

        def far(x):
            return -mpmath.log(2 * i(1, x) * k(1, x)) / (x * mpmath.sqrt(x * x + at * at))

        angle = near(lambda x: mpmath.atan2(j(1, x), -n(1, x)))
        size = near(
            lambda x: mpmath.log(mpmath.pi * j(1, x) * mpmath.sqrt(j(1, x) ** 2 + n(1, x) ** 2))
        )
        outer = mpmath.quad(far, [0, at, 1, 10, 100, 1000]) + mpmath.quad(
            lambda u: far(1 / u) / u**2, [0, mpmath.mpf(1) / 1000]
        )
        modulus = mpmath.exp(-2 * at / mpmath.pi * angle)
        return float(modulus), float((size + outer) / mpmath.pi)


@pytest.mark.parametrize("ka", [0.05, 0.5, 1.8])
def test_the_exact_end_against_many_digits(ka):
    """The library's quadrature, in double precision, is off by 2e-9."""
    assert ends.levine_schwinger(ka) == pytest.approx(exact_end(ka), abs=5e-9)


def test_the_low_frequency_limit_of_the_exact_end():
    """l/a -> (1/pi) int_0^inf ln(1/(2 I1 K1)) dx/x^2 = 0.612701035925 (30 digits, mpmath)."""
    i, k = mpmath.besseli, mpmath.besselk

    def inside(x):
        with mpmath.workdps(30):  # 2 I1 K1 is nearly 1
            return -mpmath.log(2 * i(1, x) * k(1, x)) / x**2

    low, top = mpmath.mpf(10) ** -6, mpmath.mpf(100)
    with mpmath.workdps(12):
        limit = mpmath.quad(inside, [low, 1, 10, top])
        # below: 2 I1 K1 = 1 + x^2/2 (ln(x/2) + gamma - 1/4) + ...
        limit -= low / 2 * (mpmath.log(low / 2) - 1 + mpmath.euler - 0.25)
        # beyond: 2 I1 K1 = (1 - 3/(8 x^2) + ...)/x
        limit += (mpmath.log(top) + 1) / top + 1 / (8 * top**3)
    limit = float(limit / mpmath.pi)
    assert limit == pytest.approx(0.612701035925, abs=1e-9)
    assert ends.levine_schwinger(1e-4)[1] == pytest.approx(limit, abs=1e-7)
    assert ends.own_end(0.0, 1.0)[0] == pytest.approx(limit, abs=1e-6)


def _off_exact(formula, largest):
    """Worst error of l/a and |R| of the sharp rim."""
    at = np.linspace(0.02, largest, 40)
    size, length = np.array([ends.levine_schwinger(ka) for ka in at]).T
    found, decay = formula(at, 1.0)
    return np.abs(found - length).max(), np.abs(np.exp(-2 * decay) - size).max()


def test_own_sharp_rim_against_the_exact_end():
    """Not fitted to the exact end, but to finite elements of it."""
    assert np.all(np.less(_off_exact(ends.own_end, 1.0), 0.0012))
    length, size = _off_exact(ends.own_end, 1.8)
    assert length < 0.0020
    assert size < 0.0024


def test_published_sharp_rim_against_the_exact_end():
    """Silva et al. (2009), from memory: 0.0065 (at ka = 0.6) and 0.0028 to ka = 1.5.

    At the five ka of published/ends.csv 0.0063 and 0.0026.
    """
    length, size = _off_exact(ends.published_end, 1.5)
    assert 0.006 < length < 0.0065
    assert 0.0025 < size < 0.0028


@both
def test_a_flanged_pipe_is_less_than_a_piston(formula):
    """Lord Rayleigh's piston: 1 - J1(2ka)/ka + j H1(2ka)/ka. It moves all alike.

    A free flow has the least kinetic energy (Kelvin), so the pipe's end is shorter: 3.3 %
    at rest (8/(3 pi) against 0.82159). At low frequency both radiate (ka)^2/2.
    """
    ka = np.array([0.02, 0.1, 0.3])
    piston = 1 - j1(2 * ka) / ka + 1j * struve(1, 2 * ka) / ka
    pipe = ends.end_impedance(ka, lip_ratio=0.0, formula=formula)
    assert piston.imag[0] / pipe.imag[0] == pytest.approx(1.033, abs=0.001)
    assert np.all(pipe.imag < piston.imag)
    # the first term in which they may differ is of the order of (ka)^4
    assert np.all(np.abs(pipe.real / piston.real - 1) < 0.5 * ka**2)


def _off_finite_elements(formula, points):
    wall, ka, length, size = points.T
    with np.errstate(divide="ignore"):
        found, decay = formula(ka, np.where(np.isinf(wall), 0.0, 1 / (1 + wall)))
    return np.abs(found - length), np.abs(np.exp(-2 * decay) - size)


def test_every_rim_of_finite_elements_to_ka_one():
    """Fitted to this table; what a wall not fitted would show is a test of its own."""
    points = table("open_end.csv")
    length, size = _off_finite_elements(ends.own_end, points)
    told = [
        f"worst {off.max():.4f} of {what} at wall {points[off.argmax(), 0]:.3g} a, "
        f"ka {points[off.argmax(), 1]:.3g}"
        for off, what in ((length, "l/a"), (size, "|R|"))
    ]
    assert max(length.max(), size.max()) < 0.002, "; ".join(told)


def test_every_rim_of_finite_elements_beyond():
    """Rims to 2 a fitted (0.0028 in l/a, 0.0024 in |R|); 3 and 4 a were not, and are warned of."""
    points = table("axisymmetric_end.csv")
    length, size = _off_finite_elements(ends.own_end, points)
    thick = (points[:, 0] > 2) & np.isfinite(points[:, 0])
    assert length[~thick].max() < 0.0029, length[~thick].max()
    assert size[~thick].max() < 0.0026, size[~thick].max()
    assert length[thick].max() < 0.007, length[thick].max()
    assert size[thick].max() < 0.007, size[thick].max()


@pytest.mark.parametrize("wall", [0.0, 0.350633, 2.0])
def test_a_wall_left_out_of_the_fit(wall):
    """Sharp, middle and thickest rim as strangers; the script refit_end.py does them all."""
    points = data()
    here = points[:, 0] == wall
    assert here.sum() > 10
    off = np.abs(errors(fit(points[~here], in_use()), points[here]))
    assert off[:, points[here, 1] <= 1].max() < 0.002


def test_published_lip_against_finite_elements():
    """As stated: 0.013 and 0.006 to ka = 0.5 for walls to half a radius, wrong beyond."""
    points = table("open_end.csv")
    length, size = _off_finite_elements(ends.published_end, points)
    thin = (points[:, 0] < 0.53) & (points[:, 1] <= 0.5)
    assert length[thin].max() == pytest.approx(0.013, abs=0.001)
    assert size[thin].max() == pytest.approx(0.006, abs=0.001)
    thick = (points[:, 0] >= 1) & np.isfinite(points[:, 0])
    assert length[thick].max() > 0.05


# --- what every end keeps to ------------------------------------------------------------


@both
@kinds
def test_impedance_is_what_the_reflection_says(formula, ratio):
    z = ends.end_impedance(KA, lip_ratio=ratio, formula=formula)
    length, decay = formula(KA, ratio)
    reflected = (z - 1) / (z + 1)
    assert np.abs(reflected) == pytest.approx(np.exp(-2 * decay), rel=1e-12)
    assert -np.angle(-reflected) / (2 * KA) == pytest.approx(length, rel=1e-12)


@both
@kinds
def test_low_frequency(formula, ratio):
    """Z -> j k l + (ka)^2/4 in free space, (ka)^2/2 beside a plane (conservation of energy)."""
    ka = 1e-3
    z = ends.end_impedance(ka, lip_ratio=ratio, formula=formula)
    assert z.imag == pytest.approx(ka * formula(0.0, ratio)[0], rel=1e-5)
    assert z.real == pytest.approx(ka**2 / (2 if ratio == 0 else 4), rel=1e-4)


@both
def test_no_end_gives_power(formula):
    """Re Z >= 0 and |R| <= 1 for every rim up to the first cross mode."""
    ka = np.linspace(0.0, ends.LARGEST_KA, 200)[:, None]
    ratio = np.r_[0.0, np.geomspace(1e-4, 0.1, 60), np.linspace(0.1, 1.0, 150)]
    decay = formula(ka, ratio)[1]
    assert np.all(decay >= 0)
    assert np.all(decay[1:] / ka[1:] ** 2 > 0.1)
    inside = ratio[(ratio == 0) | (ratio >= ends.THICKEST)]
    assert np.all(ends.end_impedance(ka, lip_ratio=inside, formula=formula).real >= 0)


@both
@kinds
def test_resistance_is_the_real_part(formula, ratio):
    end = {"lip_ratio": ratio, "formula": formula, "correction": 1.1}
    assert ends.end_resistance(KA, **end) == pytest.approx(ends.end_impedance(KA, **end).real)


@both
@pytest.mark.parametrize("ratio", [1.0, 0.7, 0.4, 0.0])
@pytest.mark.parametrize("function", [ends.end_resistance, ends.end_impedance])
def test_ends_are_analytic(function, formula, ratio):
    """The derivative is the same along and across the real axis (Cauchy-Riemann)."""
    step, at = 1e-6, np.array([0.05 + 0.001j, 0.4 + 0.01j, 1.2 + 0.05j])

    def value(ka):
        return function(ka, lip_ratio=ratio, formula=formula)

    along = (value(at + step) - value(at - step)) / (2 * step)
    across = (value(at + 1j * step) - value(at - 1j * step)) / (2j * step)
    assert across == pytest.approx(along, rel=1e-7)


@kinds
def test_complex_and_real_wave_numbers_join(ratio):
    real = ends.end_impedance(KA, lip_ratio=ratio)
    assert ends.end_impedance(KA + 1e-9j, lip_ratio=ratio) == pytest.approx(real, abs=1e-8)


def test_no_step_between_rims():
    """From sharp to thick l/a and |R| change smoothly; l/a at rest rises all the way."""
    ratio = np.linspace(0.0, 1.0, 2001)
    at_rest = ends.own_end(0.0, ratio)[0]
    assert np.all(np.diff(at_rest) < 0)
    assert at_rest[-1] == ends.UNFLANGED_LIMIT
    assert at_rest[0] == ends.FLANGED_LIMIT
    ratio = np.linspace(ends.THICKEST, 1.0, 2001)
    length, decay = ends.own_end(np.linspace(0.0, 1.8, 19)[:, None], ratio)
    # near the sharp rim l/a falls as s ln(1/s), 0.003 for the last step of 1/3000
    assert np.abs(np.diff(length)).max() < 0.003
    assert np.abs(np.diff(decay)).max() < 0.003


@both
def test_a_flange_is_chosen_element_by_element(formula):
    ratio = np.array([0.0, 0.6, 1.0])
    length, decay = formula(0.7, ratio)
    for at, one in enumerate(ratio):
        assert (length[at], decay[at]) == pytest.approx(formula(0.7, one), rel=1e-14)
    plane = {ends.own_end: 0.82159, ends.published_end: 0.8216}[formula]
    assert formula(0.0, ratio)[0][0] == plane


# --- switches, refusals, warnings -------------------------------------------------------


def test_without_radiation_only_the_reactance_is_left():
    z = ends.end_impedance(KA, lip_ratio=0.8, radiation=0.0)
    assert np.all(z.real == 0)
    assert np.arctan(z.imag) == pytest.approx(KA * ends.own_end(KA, 0.8)[0])


def test_the_correction_multiplies_the_length_at_every_ka():
    plain, longer = (ends.end_impedance(KA, correction=c, radiation=0.0) for c in (1.0, 1.2))
    assert np.arctan(longer.imag) == pytest.approx(1.2 * np.arctan(plain.imag))


@both
@pytest.mark.parametrize("ratio", [-0.1, 1.1, np.nan])
def test_a_rim_outside_its_range_is_refused(formula, ratio):
    with pytest.raises(ValueError, match=f"inner over outer radius is {ratio}"):
        formula(0.3, np.array([0.8, ratio]))


@pytest.mark.parametrize("ka", [0.0, -1.0, 3.9, np.nan])
def test_the_exact_end_refuses_what_it_does_not_hold_for(ka):
    with pytest.raises(ValueError, match=r"holds for 0 < ka < 3\.83"):
        ends.levine_schwinger(ka)


@both
@pytest.mark.parametrize(
    ("ka", "ratio", "words"),
    [
        (np.array([0.2, 2.0]), 1.0, "open end at ka = 2, beyond 1.841"),
        (0.2, np.array([1.0, 0.25]), "inner radius is 0.25 of its outer"),
        (2.0, 0.25, "ka = 2, beyond 1.841; open end whose inner radius is 0.25"),
    ],
)
def test_ranges_are_warned_of_once_with_the_value(formula, ka, ratio, words):
    with pytest.warns(ValidityWarning) as told:
        ends.end_impedance(ka, lip_ratio=ratio, formula=formula)
    assert len(told) == 1
    assert words in str(told[0].message)
    assert told[0].filename == __file__
