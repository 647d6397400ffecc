"""What a calibration learned of a correction: on each flute, and for the next one."""

from __future__ import annotations

import numpy as np

from flutelab.fitting.calibrate import Calibration
from flutelab.model.corrections import Prior

PRIOR_ONLY = 0.9  # posterior over prior sd above which the notes say next to nothing


def is_shared(calibration: Calibration, name: str) -> bool:
    """Return whether a correction was fitted as one value for all tables."""
    return any(
        p.name == name and p.is_correction and p.table is None for p in calibration.parameters
    )


def learned(calibration: Calibration, name: str) -> tuple[float, str]:
    """Return posterior over prior sd of a correction, and a word where one is due.

    Of the next flute's, where each has its own. The word is ``held``, ``at limit``, ``prior
    only`` (the notes say next to nothing) or "".
    """
    prior = calibration.priors[name]
    if prior.sd == 0:
        return 0.0, "held"
    ratio = sd_next(calibration, name) / prior.sd
    value = getattr(calibration.corrections, name)
    room = 1e-6 * prior.sd
    if value - prior.lower < room or prior.upper - value < room:
        return ratio, "at limit"
    # where notes scatter beyond chance they do say something, if not what is asked
    return ratio, "prior only" if ratio > PRIOR_ONLY and calibration.widened == 1 else ""


def sd_on(calibration: Calibration, table: int, name: str) -> float:
    """Return the sd of a correction on the flute of a table; its prior's if it was not fitted."""
    index = _unknown_on(calibration, table, name)
    if index is None:
        return calibration.priors[name].sd
    return float(np.sqrt(calibration.covariance[index, index]))


def prior_on(calibration: Calibration, table: int, name: str) -> Prior:
    """Return what was assumed of a correction on the flute of a table."""
    index = _unknown_on(calibration, table, name)
    return calibration.priors[name] if index is None else calibration.parameters[index].prior


def _unknown_on(calibration, table, name):
    for i, p in enumerate(calibration.parameters):
        if p.name == name and p.is_correction and p.concerns(table):
            return i
    return None


def sd_next(calibration: Calibration, name: str) -> float:
    """Return the sd of a correction for the next prediction; its prior's if nothing is known."""
    if name not in calibration.spread.names:
        return calibration.priors[name].sd
    index = calibration.spread.names.index(name)
    return float(np.sqrt(calibration.spread.covariance[index, index]))
