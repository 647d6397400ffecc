"""Degrees of freedom, and how many standard deviations hold a share."""

from __future__ import annotations

import numpy as np
from scipy.special import stdtrit


def coverage_factor(level: float, freedom: float) -> float:
    """Return how many sd to either side hold a share `level`, by Student's t.

    Examples
    --------
    >>> round(coverage_factor(0.95, 10), 2), round(coverage_factor(0.95, np.inf), 2)
    (2.23, 1.96)
    """
    if not 0 < level < 1:
        msg = f"level is {level:g}; give a share between 0 and 1, such as 0.95"
        raise ValueError(msg)
    return float(stdtrit(min(freedom, 1e12), 0.5 + level / 2))


def effective_freedom(variance: np.ndarray, part: np.ndarray, freedom: np.ndarray) -> np.ndarray:
    """Return the effective degrees of freedom of a combined variance.

    Parameters
    ----------
    variance : (...)
        The whole.
    part : (..., K)
        Its independent parts of which the freedom is known.
    freedom : (..., K)
        inf adds nothing.

    Notes
    -----
    B. L. Welch and F. E. Satterthwaite; Eq. (G.2b) of JCGM 100:2008 (from memory): ::

        nu = u^4 / sum u_i^4/nu_i
    """
    with np.errstate(divide="ignore"):
        return np.square(variance) / np.sum(np.square(part) / freedom, axis=-1)
