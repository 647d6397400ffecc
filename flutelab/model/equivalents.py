"""Corrections as lengths on a given flute, from a named place."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.model.chain import Formulas, chain
from flutelab.model.corrections import Corrections
from flutelab.model.flute import End, Flute, Window, bore_diameter
from flutelab.model.rows import rows
from flutelab.physics.air import moist_air

ANY_TEMPERATURE = 293.15  # K; lengths do not depend on it


@dataclass(frozen=True, kw_only=True)
class Equivalent:
    """One correction as a length.

    ``formula`` = by the formula as it stands, ``corrected`` = with the correction,
    ``per_unit`` = d(corrected)/d(correction), all [m]; ``where`` says from where.
    """

    name: str
    where: str
    formula: float
    corrected: float
    per_unit: float


def equivalents(
    flute: Flute, corrections: Corrections, formulas: Formulas | None = None
) -> tuple[Equivalent, ...]:
    """Return what the corrections amount to on a flute, as lengths at low frequency [m].

    Parameters
    ----------
    flute : Flute
    corrections : Corrections
        Without a batch axis.
    formulas : Formulas, optional

    Returns
    -------
    tuple of Equivalent
        The window's end correction from its centre, from the sounding edge and from
        the plug; the end correction of each open or flanged end; the mean wall, the
        mean of inner plus outer corrections and the mean pad depth of the holes; the
        bore's diameter.
    """
    formulas = formulas or Formulas()
    with already_warned():
        found = [*_window(flute, corrections, formulas), *_ends(flute, corrections, formulas)]
        found += _holes(flute, corrections, formulas)
    where = "inner diameter" if len(flute.bore.stations) == 1 else "at the head, inner"
    diameter = bore_diameter(flute.bore, 0.0)
    return (*found, _scaled("bore", where, diameter, corrections.bore))


def _scaled(name, where, formula, factor, off=0.0):
    return Equivalent(
        name=name,
        where=where,
        formula=formula + off,
        corrected=formula * factor + off,
        per_unit=formula,
    )


def _window(flute, corrections, formulas):
    head = flute.head
    if not isinstance(head, Window):
        return
    # the bore's correction is reported beside, so the window's stands at the written bore
    radius = bore_diameter(flute.bore, -head.along / 2) / 2
    shape = {"plug_to_window": head.plug_to_window, "ramp": head.ramp, "block": head.block}
    length = formulas.window(head.along, head.across, head.wall, radius, **shape)
    half = head.along / 2
    for where, off in (
        ("from the window's centre", 0.0),
        ("from the sounding edge", half),
        ("from the plug's face", -half - head.plug_to_window),
    ):
        yield _scaled("window", where, length, corrections.window, off)


def _ends(flute, corrections, formulas):
    for place, end in (("at the head", flute.head), ("at the foot", flute.foot)):
        if isinstance(end, End) and end.kind in ("open", "flanged"):
            diameter = bore_diameter(flute.bore, end.position)
            ratio = 1.0 if end.outer_diameter is None else diameter / end.outer_diameter
            relative, _ = formulas.end(0.0, 0.0 if end.kind == "flanged" else ratio)
            yield _scaled("foot", place, diameter / 2 * float(relative), corrections.foot)


def _holes(flute, corrections, formulas):
    if not flute.holes:
        return
    opened = rows(flute, "o" * len(flute.holes), air=moist_air(ANY_TEMPERATURE))
    numbers = chain(flute, opened, formulas=formulas)
    radii = np.array([h.diameter for h in flute.holes]) / 2
    walls = np.array([h.wall for h in flute.holes])
    # both as lengths of the hole outside
    both = numbers.outer + numbers.inner * (numbers.hole_radius / numbers.mouth) ** 2
    yield _scaled("wall", "mean of the holes", float(walls.mean()), corrections.wall)
    yield _scaled("hole_end", "mean of the holes", float(both.mean()), corrections.hole_end)
    pad = _scaled("pad_depth", "mean of the holes", float(radii.mean()), corrections.pad_depth)
    yield replace(pad, formula=float(radii.mean()) * Corrections().pad_depth)
