"""Fit the five constants of `flutelab.physics.hole` again, each bore ratio left out once.

Run ``python tests/reference/finite_elements/judge_hole.py`` (seconds). It fits to single_hole.csv
beside this file and prints the constants and the worst and root-mean-square errors of the
constants in use, of the new ones, of fits that never saw the holes they are judged by, and of
the published set, which has no constant of ours.
"""

import csv
from pathlib import Path
from unittest import mock

import numpy as np
from scipy.optimize import least_squares

from flutelab.physics import hole, shapes

TABLE = Path(__file__).parent / "single_hole.csv"
NAMES = ("THIN_DECAY", "OUTER_CURVATURE", "SERIES_OWN", "SERIES_CHIMNEY", "SERIES_OPEN")
FITTED = ("open length", "open series", "closed series")  # all over b; nothing else is aimed at


def table():
    """Return the columns of the table by name (N,)."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}


def open_impedance(formulas, k, b, a, wall):
    """Return an open hole's shunt over rho c/(pi b^2), lossless but for radiation."""
    thin = formulas.thin(b, wall)
    inner = formulas.inner(b, a) - thin + formulas.inner_gain(k, b, a)
    outer = formulas.outer(b, a + wall) - thin + formulas.outer_gain(k, b, a + wall)
    end = 1j * k * outer + formulas.resistance(k, b, a + wall)
    tan = 1j * np.tan(k * (wall + hole.matching_height(b, a)))
    return formulas.ratio(k, b) ** 2 * (1j * k * inner + (end + tan) / (1 + end * tan))


def closed_admittance(formulas, k, b, a, wall):
    """Return a closed hole's shunt admittance times rho c/(pi b^2)."""
    height = shapes.closed_height(b, b, a, wall, formulas.lid(b, a + wall))
    inner = formulas.closed_inner(b, a) + formulas.inner_gain(k, b, a)
    tan = 1j * np.tan(k * height)
    return tan / (1 + 1j * k * inner * tan) / formulas.ratio(k, b) ** 2


def errors(points, formulas=hole.OWN):
    """Return formula less finite elements, in hole radii, the resistance's as a share."""
    delta, thickness, ka = (points[n] for n in ("hole_over_bore", "wall_over_b", "ka"))
    sizes = delta, 1.0, thickness * delta
    shunt, lid = (f(formulas, ka, *sizes) for f in (open_impedance, closed_admittance))
    # a series length of bore is delta^2 of the hole's; over b
    series = {on: formulas.series(*sizes, is_open=on) * delta for on in (True, False)}
    return {
        "open length": shunt.imag / (ka * delta) - points["open_length_over_b"],
        "resistance": shunt.real / points["open_resistance"] - 1,
        "closed height": lid.imag / (ka * delta) - points["closed_height_over_wall"] * thickness,
        "open series": series[True] - points["open_series_over_b"],
        "closed series": series[False] - points["closed_series_over_b"],
    }


def in_use():
    """Return the five constants of the library."""
    return np.array([getattr(hole, name) for name in NAMES])


def errors_with(constants, points):
    """Return `errors` of our set with other constants."""
    with mock.patch.multiple(hole, **dict(zip(NAMES, constants, strict=True))):
        return errors(points)


def choose(points, mask):
    """Return some rows of the table."""
    return {name: column[mask] for name, column in points.items()}


def fit(points):
    """Return the constants of least squares over open length and both series lengths."""

    def residuals(constants):
        off = errors_with(constants, points)
        return np.concatenate([off[name] for name in FITTED])

    return least_squares(residuals, in_use(), x_scale="jac").x


def left_out(points):
    """Yield each bore ratio, the constants fitted without it, and their errors at it."""
    for delta in np.unique(points["hole_over_bore"]):
        here = points["hole_over_bore"] == delta
        constants = fit(choose(points, ~here))
        yield delta, constants, errors_with(constants, choose(points, here))


def show(title, off):
    """Print worst / root mean square of every error."""
    cells = [f"{np.abs(v).max():.4f} / {np.sqrt(np.mean(v**2)):.4f}" for v in off.values()]
    print(f"{title:24}", *cells, sep=" | ")


def main():
    points = table()
    fitted, without = fit(points), list(left_out(points))
    rows = [("in use", in_use()), ("fitted again", fitted)]
    rows += [(f"without b/a = {delta:g}", constants) for delta, constants, _ in without]
    print(f"{'constants':24}", *NAMES, sep=" | ")
    for title, constants in rows:
        print(f"{title:24}", *(f"{v:.4f}" for v in constants), sep=" | ")
    print(f"\n{'worst / rms':24}", *errors(points), sep=" | ")
    show("in use", errors(points))
    show("fitted again", errors_with(fitted, points))
    for delta, _, off in without:
        show(f"left out b/a = {delta:g}", off)
    off = [off for _, _, off in without]
    show("left out, together", {n: np.concatenate([o[n] for o in off]) for n in off[0]})
    show("published set", errors(points, hole.PUBLISHED))


if __name__ == "__main__":
    main()
