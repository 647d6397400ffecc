"""How far an unknown may go before no flute is like that."""

from __future__ import annotations

import numpy as np

from flutelab.fitting.unknowns import Parameter
from flutelab.fitting.what_if import changed_flute, size_of
from flutelab.model.flute import Flute, RecordError

SIZES = 0.2, 3.0  # of what is written, as the corrections of sizes are limited
_HALVINGS = 40


def most_possible(flute: Flute, parameter: Parameter) -> tuple[float, float]:
    """Return how much less and more of an unknown there can be, in its prior sd.

    Parameters
    ----------
    flute : Flute
        As written.
    parameter : Parameter
        Of a fit to its notes.

    Returns
    -------
    (float, float)
        About the prior mean; infinite without a limit. A correction has its own limits. An
        error of geometry leaves every size between a fifth and three times what is written,
        and a flute that can be: holes inside the pipe, in order, no wider than the bore.
    """
    prior = parameter.prior
    low, high = (prior.lower - prior.mean) / prior.sd, (prior.upper - prior.mean) / prior.sd
    if parameter.quantities:
        low = max(low, -_farthest(flute, parameter, -1.0))
        high = min(high, _farthest(flute, parameter, 1.0))
    return float(low), float(high)


def _farthest(flute, parameter, way):
    """How many prior sd a flute can be changed one way."""
    sd, quantities = parameter.prior.sd, parameter.quantities
    reach = min(_room(flute, name, way) for name in quantities) / sd
    can, cannot = 0.0, reach
    if _can_be(flute, quantities, way * reach * sd):
        return reach
    for _ in range(_HALVINGS):
        middle = 0.5 * (can + cannot)
        if _can_be(flute, quantities, way * middle * sd):
            can = middle
        else:
            cannot = middle
    return can


def _room(flute, name, way):
    """How far a quantity itself may go [m]."""
    if name.endswith("_position") and name != "foot_position":
        return flute.foot.position
    size = size_of(flute, name)
    least, most = np.min(size) * (1 - SIZES[0]), np.min(size) * (SIZES[1] - 1)
    return float(least if way < 0 else most)


def _can_be(flute, quantities, amount):
    try:
        for name in quantities:
            flute = changed_flute(flute, name, amount)
    except RecordError:
        return False
    return True
