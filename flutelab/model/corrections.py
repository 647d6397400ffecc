"""Corrections: what the fit may change about the formulas, one record."""

from __future__ import annotations

from dataclasses import dataclass, field, fields

import numpy as np


@dataclass(frozen=True, kw_only=True)
class Prior:
    """What is known of a correction before the notes: mean, sd and limits.

    ``sd = 0`` holds it.
    """

    name: str
    mean: float
    sd: float
    lower: float = -np.inf
    upper: float = np.inf

    def __post_init__(self) -> None:
        if not self.lower <= self.mean <= self.upper:
            msg = f"prior {self.name}: mean {self.mean} lies outside {self.lower} to {self.upper}"
            raise ValueError(msg)
        if not (np.isfinite(self.sd) and self.sd >= 0):
            msg = f"prior {self.name}: sd is {self.sd}; use 0 (held) or more"
            raise ValueError(msg)


def _correction(mean, sd, unit, meaning, lower=-np.inf, upper=np.inf):
    return field(
        default=mean,
        metadata={"sd": sd, "unit": unit, "meaning": meaning, "lower": lower, "upper": upper},
    )


@dataclass(frozen=True, kw_only=True)
class Corrections:
    """Corrections to the formulas; the defaults are the prior means.

    Each field is a float or an array of shape (batch, 1, 1). Those in `times` are 1
    where the formula stands as it is. ``reference_pressure`` [Pa] is the blowing
    pressure of the first register to which `breath` refers, ``overblown_pressure`` that of
    the registers above, which ask for more; without one its registers take no breath term.
    """

    window: float = _correction(
        1.0, 0.10, "times", "end correction of the window, from its centre", 0.2, 3.0
    )
    foot: float = _correction(
        1.0, 0.10, "times", "end correction of every open or flanged plain end", 0.0, 3.0
    )
    wall: float = _correction(
        1.0, 0.10, "times", "wall thickness at every finger hole, open and closed", 0.2, 3.0
    )
    hole_end: float = _correction(
        1.0, 0.05, "times", "inner plus outer end correction of every open hole", 0.2, 3.0
    )
    bore: float = _correction(1.0, 0.01, "times", "inner diameter of the pipe", 0.8, 1.2)
    air_offset: float = _correction(
        0.0, 3.0, "K", "added to the temperature of the air in the bore", -20.0, 20.0
    )
    breath: float = _correction(
        30.0, 20.0, "cents per doubling", "pitch gained when the blowing pressure doubles"
    )
    second_register: float = _correction(
        0.0, 10.0, "cents", "added to notes of the second register and above"
    )
    jet: float = _correction(
        0.0, 0.0, "cents", "what the jet adds to a note that is blown, at usual breath"
    )
    pad_depth: float = _correction(
        0.3, 0.2, "hole radii", "how far a finger or pad reaches into a closed hole", 0.0, 0.8
    )
    loss: float = _correction(1.0, 0.10, "times", "wall losses in bore and holes", 0.0, 5.0)
    coupling: float = _correction(
        1.0, 0.0, "times", "coupling between openings through the outside air", 0.0, 2.0
    )
    reference_pressure: float | None = None
    overblown_pressure: float | None = None

    def __post_init__(self) -> None:
        for name, prior in _LIMITS.items():
            value = np.asarray(getattr(self, name))
            wrong = value[~(np.isfinite(value) & (value >= prior[0]) & (value <= prior[1]))]
            if wrong.size:
                msg = (
                    f"correction {name} is {wrong.flat[0]:.6g}; allowed is {prior[0]:g} to "
                    f"{prior[1]:g}. 1 (or 0 for offsets) leaves the formula as it is."
                )
                raise ValueError(msg)


NAMES = tuple(f.name for f in fields(Corrections) if not f.name.endswith("_pressure"))
META = {f.name: f.metadata for f in fields(Corrections) if f.name in NAMES}
_LIMITS = {name: (META[name]["lower"], META[name]["upper"]) for name in NAMES}


def default_priors() -> dict[str, Prior]:
    """Return the usual priors of all corrections, by name."""
    return {
        name: Prior(
            name=name,
            mean=getattr(Corrections(), name),
            sd=META[name]["sd"],
            lower=META[name]["lower"],
            upper=META[name]["upper"],
        )
        for name in NAMES
    }


@dataclass(frozen=True, kw_only=True, eq=False)
class Spread:
    """Joint spread of corrections: their names and covariance (P, P)."""

    names: tuple[str, ...]
    covariance: np.ndarray

    def __post_init__(self) -> None:
        size = len(self.names)
        if np.shape(self.covariance) != (size, size):
            msg = f"spread of {size} corrections needs a {size} x {size} covariance"
            raise ValueError(msg)
