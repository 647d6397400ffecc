"""Fit the nine constants of `flutelab.physics.ends.own_end` again, each wall left out once.

Run ``python refit_end.py`` (seconds). It fits the form to open_end.csv (ka to 1) and
axisymmetric_end.csv (above, walls to two radii), both beside this file, and prints the
constants and the worst error per wall of the constants in use, of the new ones, and of a
fit that never saw that wall. The plane's own constants stay as they are.
"""

import csv
from pathlib import Path
from unittest import mock

import numpy as np
from scipy.optimize import least_squares

from flutelab.physics import ends

HERE = Path(__file__).parent
SIZES = {"_EXCESS": 2, "_FALL": 2, "_DELAY": 4, "_TURN": 1}
# A fit of small powers of errors first, then of squares of squares: nearly the least worst error.
POWERS = (1.0, 1.5, 2.0)
AIMS = {"length": (0.0013, 0.003), "reflection": (0.002, 0.003)}  # to ka = 1, beyond


def table(name):
    """Return the columns of a table (N, 4): wall, ka, length, reflection."""
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))[1:]
    return np.array([[float(cell) for cell in row[:4]] for row in rows])


def data():
    """Return what was fitted: rims of no more than two radii, no plane."""
    low, high = table("open_end.csv"), table("axisymmetric_end.csv")
    both = np.concatenate([low, high[high[:, 1] > 1]])
    return both[both[:, 0] <= 2]


def in_use():
    """Return the nine constants of the library."""
    return np.concatenate([np.atleast_1d(getattr(ends, name)) for name in SIZES])


def errors(constants, points):
    """Return the errors (2, N) of l/a and |R| with some constants."""
    cuts = np.cumsum(list(SIZES.values()))[:-1]
    values = dict(zip(SIZES, np.split(constants, cuts), strict=True))
    values["_TURN"] = values["_TURN"][0]
    wall, ka, length, reflection = points.T
    ratio = np.where(np.isinf(wall), 0.0, 1 / (1 + wall))
    with mock.patch.multiple(ends, **values):
        found, decay = ends.own_end(ka, ratio)
    return np.array([found - length, np.exp(-2 * decay) - reflection])


def fit(points, start):
    """Return the constants that suit some points, from a start."""
    low = points[:, 1] <= 1
    aims = np.array([np.where(low, *AIMS[name]) for name in ("length", "reflection")])

    def residuals(constants, power):
        off = (errors(constants, points) / aims).ravel()
        return np.sign(off) * np.abs(off) ** power

    for power in POWERS:
        start = least_squares(residuals, start, args=(power,), x_scale="jac").x
    return start


def worst(constants, points):
    """Return the worst error of l/a and of |R| to ka = 1, then of both to ka = 1.8."""
    off = np.abs(errors(constants, points))
    return (*off[:, points[:, 1] <= 1].max(axis=1), *off.max(axis=1))


def main():
    points, used = data(), in_use()
    fitted = fit(points, used)
    print("in use", used.round(4), "fitted again", fitted.round(4), sep="\n")
    print("wall: l, |R| to ka = 1, l, |R| to ka = 1.8; in use; fitted again; this wall left out")
    for wall in np.unique(points[:, 0]):
        here = points[:, 0] == wall
        without = fit(points[~here], fitted)
        cells = [worst(constants, points[here]) for constants in (used, fitted, without)]
        print(
            f"{wall:.6g}:", *("  ".join(f"{cell:.4f}" for cell in row) for row in cells), sep=" | "
        )


if __name__ == "__main__":
    main()
