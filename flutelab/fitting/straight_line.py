"""A straight line through points, with the errors of its slope and intercept."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

LEVEL = 0.95  # of every error given here: the true value lies within in 95 of 100 classes


@dataclass(frozen=True, kw_only=True, eq=False)
class StraightLine:
    """y = slope x + intercept through N points.

    Parameters
    ----------
    slope, intercept : float
        In y per x, and in y.
    slope_error, intercept_error : float
        Half widths of their 95 % limits.
    freedom : int
        N - 2.
    scatter : float
        Standard deviation of one point about the line, in y.
    residual : (N,)
        y less the line.
    apart : (N,)
        Each residual over the error that the other points let expect of it (externally
        studentised, with N - 3 degrees of freedom); nan where there are three points.
    centre, spread : float
        Mean of x and the sum of squares about it.
    """

    slope: float
    intercept: float
    slope_error: float
    intercept_error: float
    freedom: int
    scatter: float
    residual: np.ndarray
    apart: np.ndarray
    centre: float
    spread: float


def straight_line(x: np.ndarray, y: np.ndarray) -> StraightLine:
    """Fit a straight line by least squares, each point of the same weight.

    Parameters
    ----------
    x, y : (N,)
        Three points at least, at two places x or more.

    Returns
    -------
    StraightLine

    Raises
    ------
    ValueError
        Fewer than three points, a number that is none, or all points at one x.

    Notes
    -----
    The scatter about the line is taken for the error of every point, so the errors of slope
    and intercept hold whatever its cause, if it is the same for all and by chance. Student's t
    with N - 2 degrees of freedom: N. R. Draper, H. Smith, Applied Regression Analysis, 3rd ed.
    (Wiley, 1998), ch. 1, and ch. 8 for the studentised residuals (from memory).

    Examples
    --------
    >>> line = straight_line([1, 2, 3, 4], [3.1, 4.9, 7.1, 8.9])
    >>> round(line.slope, 3), round(line.intercept, 3), line.freedom
    (1.96, 1.1, 2)
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    _check(x, y)
    centre = x.mean()
    off = x - centre
    spread = float(off @ off)
    slope = float(off @ y) / spread
    intercept = float(y.mean() - slope * centre)
    residual = y - slope * x - intercept
    freedom = len(x) - 2
    variance = float(residual @ residual) / freedom
    t = float(stdtrit(freedom, (1 + LEVEL) / 2))
    return StraightLine(
        slope=slope,
        intercept=intercept,
        slope_error=t * float(np.sqrt(variance / spread)),
        intercept_error=t * float(np.sqrt(variance * (1 / len(x) + centre**2 / spread))),
        freedom=freedom,
        scatter=float(np.sqrt(variance)),
        residual=residual,
        apart=_apart(residual, 1 / len(x) + off**2 / spread, freedom),
        centre=float(centre),
        spread=spread,
    )


def _check(x, y):
    if x.ndim != 1 or x.shape != y.shape or len(x) < 3:
        msg = f"a line with errors needs three points or more; x and y have {x.shape}, {y.shape}"
        raise ValueError(msg)
    if not np.all(np.isfinite(x) & np.isfinite(y)):
        msg = "a point of the line is no number; leave it out"
        raise ValueError(msg)
    if np.ptp(x) <= 1e-9 * np.max(np.abs(x)):
        msg = f"all points lie at x = {x[0]:.6g}; a line needs different ones"
        raise ValueError(msg)


def _apart(residual, leverage, freedom):
    """Residuals over their error by the other points; 0 where those leave no scatter at all."""
    if freedom < 2:
        return np.full(len(residual), np.nan)
    free = np.maximum(1 - leverage, 1e-12)
    rest = np.maximum(residual @ residual - residual**2 / free, 0.0) / (freedom - 1)
    expected = np.sqrt(rest * free)
    return np.divide(residual, expected, out=np.zeros_like(residual), where=expected > 0)


def line_error(line: StraightLine, x: np.ndarray) -> np.ndarray:
    """Return the half width of the line's 95 % limits at x.

    Parameters
    ----------
    line : StraightLine
    x : float or array

    Examples
    --------
    >>> line = straight_line([1, 2, 3, 4], [3.1, 4.9, 7.1, 8.9])
    >>> bool(np.isclose(line_error(line, 0.0), line.intercept_error))
    True
    """
    t = stdtrit(line.freedom, (1 + LEVEL) / 2)
    count = line.freedom + 2
    return t * line.scatter * np.sqrt(1 / count + (np.asarray(x) - line.centre) ** 2 / line.spread)


def far_off(line: StraightLine) -> np.ndarray:
    """Return which points lie farther off than chance takes one of N in 1 class of 20, (N,) bool.

    Notes
    -----
    Bonferroni's limit for N looks, Student's t with N - 3 degrees of freedom.
    """
    if line.freedom < 2:
        return np.zeros(len(line.residual), dtype=bool)
    limit = stdtrit(line.freedom - 1, 1 - (1 - LEVEL) / (2 * len(line.residual)))
    return np.abs(line.apart) > limit
