"""What the notes would be if: dimensions, air, breath and corrections changed, or drawn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import product

import numpy as np

from flutelab.fitting.calibrate import Calibration
from flutelab.model.corrections import META, NAMES, Corrections
from flutelab.model.flute import Bore, End, Flute
from flutelab.model.notes import predict_notes
from flutelab.model.rows import Rows, checked

_PARTS = {
    "window": ("along", "across", "wall", "plug_to_window", "block", "ramp"),
    "foot": ("position", "outer_diameter"),
    "hole": ("position", "diameter", "wall"),
}
TEMPERATURE, PRESSURE = "temperature", "breath_pressure"


def what_if(
    of: Calibration | Flute,
    fingerings: Rows,
    change: Mapping[str, float],
    *,
    corrections: Corrections | None = None,
) -> np.ndarray:
    """Return the notes of a flute of which some numbers are changed [Hz], (N,).

    Parameters
    ----------
    of : Calibration or Flute
        A calibration stands for the flute of its first table and its corrections, the air as
        the rows have it.
    fingerings : Rows
        N notes; register 0 counts as 1.
    change : mapping of str to float
        What is added to each number, in SI: ``hole_2_diameter``, ``hole_2_position``,
        ``hole_2_wall``, ``hole_walls`` (all at once), ``bore_diameter`` (all along),
        ``foot_position``, ``foot_outer_diameter``, ``window_along``, ``window_across``,
        ``window_wall``, ``window_plug_to_window``, ``window_block``, ``window_ramp`` [rad];
        ``temperature`` inside [K]; ``breath_pressure`` [Pa], where the rows have one and the
        corrections a pressure to refer to; ``correction_window`` and so on.
    corrections : Corrections, optional
        Of a flute.

    Returns
    -------
    (N,)
        nan where there is no note.

    Raises
    ------
    ValueError
        No such number, or one that no flute can have.

    Examples
    --------
    >>> import flutelab
    >>> pipe = flutelab.Flute(
    ...     name="pipe", bore=flutelab.Bore(stations=((0.0, 0.016),)), holes=(),
    ...     head=flutelab.End(position=0.0, kind="open"),
    ...     foot=flutelab.End(position=0.3, kind="open"),
    ... )
    >>> note = flutelab.rows(pipe, "", air=flutelab.moist_air(293.15))
    >>> longer = what_if(pipe, note, {"foot_position": 0.01})
    >>> print(longer.round(1))
    [533.5]
    """
    flute, corrections = _start(of, corrections)
    rows = checked(fingerings)
    for name, amount in change.items():
        if name == PRESSURE:
            rows = _harder(rows, corrections, amount)
        elif name == TEMPERATURE or name.removeprefix("correction_") in NAMES:
            key = "air_offset" if name == TEMPERATURE else name.removeprefix("correction_")
            corrections = replace(corrections, **{key: getattr(corrections, key) + amount})
        else:
            flute = changed_flute(flute, name, amount)
    return predict_notes(flute, rows, corrections).frequency


def grid(**values: Sequence[float]) -> list[dict[str, float]]:
    """Return the changes of every combination of some values, the last name's fastest.

    Examples
    --------
    >>> grid(temperature=[0.0, 5.0], hole_1_diameter=[0.001])
    [{'temperature': 0.0, 'hole_1_diameter': 0.001}, {'temperature': 5.0, 'hole_1_diameter': 0.001}]
    """
    return [dict(zip(values, one, strict=True)) for one in product(*values.values())]


def drawn(calibration: Calibration, count: int, *, seed: int = 1) -> list[dict[str, float]]:
    """Return changes of all corrections, drawn from a calibration's spread.

    Parameters
    ----------
    calibration : Calibration
    count : int
    seed : int

    Notes
    -----
    Normal, with the spread's covariance; what passes a correction's limit is put on it. The
    air's offset is that of the fit's own day, so it is drawn about 0 as another day's.
    """
    spread, corrections = calibration.spread, _start(calibration, None)[1]
    random = np.random.default_rng(seed)
    values, axes = np.linalg.eigh(spread.covariance)
    normal = random.normal(size=(count, len(values)))
    moved = normal * np.sqrt(np.maximum(values, 0.0)) @ axes.T
    at = np.array([getattr(corrections, name) for name in spread.names])
    limits = [[META[name][end] for name in spread.names] for end in ("lower", "upper")]
    moved = np.clip(at + moved, *limits) - at
    names = [f"correction_{name}" for name in spread.names]
    return [dict(zip(names, line, strict=True)) for line in moved.tolist()]


def _start(of, corrections):
    if isinstance(of, Flute):
        return of, corrections or Corrections()
    usual = of.priors["air_offset"].mean
    return of.tables[0].measurements.flute, replace(of.corrections, air_offset=usual)


def _harder(rows, corrections, amount):
    known = corrections.reference_pressure or corrections.overblown_pressure
    if rows.breath is None or known is None:
        lacks = "rows have no breath" if rows.breath is None else "corrections have no pressure"
        msg = f"what_if: {PRESSURE} cannot change, as the {lacks} to change from"
        raise ValueError(msg)
    breath = rows.breath + amount
    if np.any(breath <= 0):
        msg = f"what_if: {PRESSURE} {amount:+g} leaves a breath of {np.min(breath):g} Pa or less"
        raise ValueError(msg)
    return replace(rows, breath=breath)


def changed_flute(flute: Flute, name: str, amount: float) -> Flute:
    """Return a flute with one dimension changed.

    Parameters
    ----------
    flute : Flute
    name : str
        One of those of `what_if`.
    amount : float
        What is added [m, rad].

    Raises
    ------
    ValueError
        No such number, or one that no flute can have.
    """
    if name == "bore_diameter":
        stations = tuple((place, diameter + amount) for place, diameter in flute.bore.stations)
        return replace(flute, bore=Bore(stations=stations))
    if name == "hole_walls":
        return replace(flute, holes=tuple(_added(hole, "wall", amount) for hole in flute.holes))
    side, index, key = _where(flute, name)
    if side != "holes":
        return replace(flute, **{side: _added(getattr(flute, side), key, amount)})
    holes = list(flute.holes)
    holes[index] = _added(holes[index], key, amount)
    return replace(flute, holes=tuple(holes))


def size_of(flute: Flute, name: str) -> float | np.ndarray:
    """Return a dimension of `changed_flute` as it is [m, rad]; the bore's and walls are several."""
    if name == "bore_diameter":
        return np.array([diameter for _, diameter in flute.bore.stations])
    if name == "hole_walls":
        return np.array([hole.wall for hole in flute.holes])
    side, index, key = _where(flute, name)
    record = flute.holes[index] if side == "holes" else getattr(flute, side)
    return getattr(record, key)


def _where(flute, name):
    """The flute's field that holds a dimension, which of the holes it is, and its own field."""
    part, _, key = name.partition("_")
    if part == "hole":
        number, _, key = key.partition("_")
        if number.isdigit() and 1 <= int(number) <= len(flute.holes) and key in _PARTS["hole"]:
            return "holes", int(number) - 1, key
    record = flute.foot if part == "foot" else flute.head
    known = part in ("foot", "window") and (part == "foot" or not isinstance(record, End))
    if known and key in _PARTS[part] and getattr(record, key) is not None:
        return "foot" if part == "foot" else "head", 0, key
    raise ValueError(_no_such(flute, name))


def _added(record, key, amount):
    return replace(record, **{key: getattr(record, key) + amount})


def _no_such(flute, name):
    count = len(flute.holes)
    holes = f"hole_1_... to hole_{count}_... ({', '.join(_PARTS['hole'])}), " if count else ""
    return (
        f"what_if: the flute has no number {name!r}; it has {holes}bore_diameter, foot_..., "
        f"{TEMPERATURE}, {PRESSURE}, correction_... ({', '.join(NAMES)})"
        + ("" if isinstance(flute.head, End) else f", window_... ({', '.join(_PARTS['window'])})")
    )
