"""Saying once, with the value, that a formula is used beyond where it was compared."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence

import numpy as np

from flutelab.errors import ValidityWarning

_SLACK = 1e-9  # rounding


def outside(values: float, low: float, high: float, words: str) -> Iterator[str]:
    """Yield what is told of the values that lie farthest outside low..high, if any do.

    Parameters
    ----------
    values : float or array
        nan = nothing there.
    low, high : float
        0 and inf where there is no such limit.
    words : str
        With ``{}`` for the value.
    """
    flat = np.ravel(values)
    compared = f"{low:.3g} to {high:.3g}"
    if np.isinf(high):
        compared = f"from {low:.3g}"
    elif low == 0:
        compared = f"up to {high:.3g}"
    least, most = np.fmin.reduce(flat, initial=np.inf), np.fmax.reduce(flat, initial=-np.inf)
    for value, off in ((least, least < low * (1 - _SLACK)), (most, most > high * (1 + _SLACK))):
        if off:
            yield f"{words.format(_beyond(value, low, high))} (compared {compared})"


def _beyond(value, low, high):
    """A value with as many digits as tell it from the limits."""
    limits = {f"{limit:.3g}" for limit in (low, high)}
    return next(
        text
        for digits in range(3, 18)
        if (text := f"{value:.{digits}g}") not in limits or digits == 17
    )


def warn(what: str, told: Sequence[str]) -> None:
    """Give one ValidityWarning of all that is told of something; none where nothing is.

    It points to whoever called the formula that checks itself through a helper.
    """
    if told:
        warnings.warn(f"{what}: {'; '.join(told)}", ValidityWarning, stacklevel=4)
