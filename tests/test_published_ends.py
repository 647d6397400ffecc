"""Plain ends and windows against published and independent values."""

from functools import cache

import numpy as np
import pytest
from reference.lumped import lumped
from reference.published import check, name_of, published
from scipy.special import j1, struve

from flutelab.model.roots import find_roots
from flutelab.physics import ends, hole, window
from flutelab.pitch import cents


def piston(ka):
    """Radiation of a piston in a plane: 1 - J1(2ka)/ka + j H1(2ka)/ka (Lord Rayleigh)."""
    return 1 - j1(2 * ka) / ka + 1j * struve(1, 2 * ka) / ka


exact = cache(ends.levine_schwinger)


def exact_impedance(ka):
    size, length = exact(ka)
    reflected = -size * np.exp(-2j * ka * length)
    return (1 + reflected) / (1 - reflected)


ENDS = {
    "exact reflection": lambda ka, _: exact(ka)[0],
    "exact length over a": lambda ka, _: exact(ka)[1],
    "exact resistance over Zc": lambda ka, _: exact_impedance(ka).real,
    "exact reactance over Zc": lambda ka, _: exact_impedance(ka).imag,
    "closed-form reflection": lambda ka, _: np.exp(-2 * ends.published_end(ka, 1.0)[1]),
    "closed-form length over a": lambda ka, _: ends.published_end(ka, 1.0)[0],
    "thick lip formula over a": lambda ka, ratio: ends.published_end(ka, 1 / ratio)[0],
    "thick lip length over a": lambda ka, ratio: _seen(ka, lip_ratio=1 / ratio)[1],
    "thick lip reflection": lambda ka, ratio: _seen(ka, lip_ratio=1 / ratio)[0],
    "flanged length over a": lambda ka, _: _seen(ka, lip_ratio=0.0)[1],
    "flanged reflection": lambda ka, _: _seen(ka, lip_ratio=0.0)[0],
    "piston resistance": lambda ka, _: piston(ka).real,
    "piston reactance": lambda ka, _: piston(ka).imag,
    "piston length over a": lambda ka, _: piston(ka).imag / ka,
}


def _seen(ka, **end):
    """(|R|, l/a) read back from the library's radiation impedance, our formula."""
    ka = ka or 1e-5
    if ka > ends.LARGEST_KA:
        with pytest.warns(ends.ValidityWarning, match="open end at ka"):
            z = ends.end_impedance(ka, **end)
    else:
        z = ends.end_impedance(ka, **end)
    reflected = (z - 1) / (z + 1)
    return abs(reflected), -np.angle(-reflected) / (2 * ka)


@pytest.mark.parametrize("row", published("ends"), ids=name_of)
def test_ends(row):
    check(row, ENDS[row["quantity"]](row["ka"], row["outer_over_inner"]))


@pytest.mark.parametrize(
    "row",
    [r for r in published("ends", "thick lip length over a") if r["ka"] == 0],
    ids=name_of,
)
def test_the_published_lip_formula_as_far_off_as_stated(row):
    """Within 0.004 a of finite elements at low frequency."""
    found = ends.published_end(0.0, 1 / row["outer_over_inner"])[0]
    assert found == pytest.approx(row["value"], abs=0.004)


OWN_ERROR = 0.01  # the finite elements'; the formula's own is 0.8 %
RULE_ERROR = 0.025 / 1.06 + 0.01  # 1.06 +- 0.025, and the finite elements' 1 %


@pytest.mark.parametrize("row", published("windows"), ids=name_of)
def test_windows(row):
    bore, wall, across, along, value = (
        row[key] for key in ("bore", "wall", "across", "along", "value")
    )
    per_height = np.pi * bore**2 / (along * across)
    published_length = window.published_window_length(along, across, wall, bore)
    if row["quantity"] == "equal hole length":
        radius = window.equal_radius(along, across)
        check(row, hole.open_length(radius, bore, wall, bore + wall, hole.PUBLISHED))
        check(row, published_length / per_height / 1.06)
    elif row["quantity"] == "window over equal hole":
        check(row, window.SHAPE)
    else:
        off = {"window length from edge": along / 2}.get(row["quantity"], 0.0)
        scale = 1 / per_height if row["quantity"] == "window height" else 1.0
        own = window.window_length(along, across, wall, bore)
        assert own * scale == pytest.approx(value - off, rel=OWN_ERROR)
        assert published_length * scale == pytest.approx(value - off, rel=RULE_ERROR)


@pytest.mark.parametrize("row", published("stub", "head length"), ids=name_of)
def test_head_with_its_cavity(row):
    k, mass = row["k"], row["window"] * 1e-3
    seen = 1 / (1 / (1j * k * mass) + window.stub_admittance(k, row["stub"] * 1e-3))
    check(row, 1e3 * np.arctan(seen.imag) / k)


@pytest.mark.parametrize("row", published("stub", "octave stretch"), ids=name_of)
def test_octave_of_a_pipe(row):
    at = lumped(
        lengths=[0.3],
        foot=0.0055,
        window=row["window"] * 1e-3,
        stub=row["stub"] * 1e-3,
        speed=345.0,
    )
    first, second = find_roots(at, np.array([600.0]), 2, 5000.0)[0].real[0]
    check(row, cents(second, 2 * first))
