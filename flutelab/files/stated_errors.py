"""The table [uncertainty] of a flute file: standard deviations, each beside the size it is of."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flutelab.files.toml_section import Section
from flutelab.model.flute import Bore, End, Hole, Uncertainty, Window
from flutelab.units import inches, millimetres

SPREADS = ("bore", "wall", "window", "hole_place", "hole_diameter", "length")
MOST = 0.2  # of a size: whoever measured is surer than that (estimate)
_MEND = "Write how far your reading of it may be off (one standard deviation), and check its unit"


def read_uncertainty(
    section: Section,
    bore: Bore | None,
    holes: Sequence[Hole],
    head: Window | End | None,
    foot: End | None,
    walls: Sequence[float],
) -> Uncertainty | None:
    """Return the stated errors, None where one is at fault; every fault is reported.

    Parameters
    ----------
    section : Section
    bore, head, foot : record or None
        None = could not be read, so that nothing is compared with it.
    holes : sequence of Hole
        Those that could be read, in order.
    walls : sequence of float
        Of the pipe, its holes and window, as far as they could be read [m].
    """
    stated = {key: section.length(key) for key in SPREADS if key in section}
    sizes = dict(_sizes(bore, holes, head, foot, walls))
    good = True
    for key, sd in stated.items():
        good &= section.record(Uncertainty, **{key: sd}) is not None
        if sd is not None and key in sizes and sd > MOST * sizes[key][0]:
            size, what = sizes[key]
            problem = f"that is more than a fifth of {what}, {_in(size, section.report.unit)}"
            section.fault(key, problem, _MEND)
            good = False
    return Uncertainty(**stated) if good else None


def _sizes(bore, holes, head, foot, walls):
    """(key, (smallest size that it is an error of, its name))."""
    if bore is not None:
        yield "bore", (min(float(diameter) for _, diameter in bore.stations), "the bore")
    if walls:
        yield "wall", (min(walls), "the wall")
    if isinstance(head, Window):
        yield "window", (min(head.along, head.across), "the window")
    if holes:
        yield "hole_diameter", (min(hole.diameter for hole in holes), "the smallest hole")
    if foot is not None:
        yield "length", (foot.position, "the length")
        places = [0.0, *(hole.position for hole in holes), foot.position]
        if holes and np.all(np.diff(places) > 0):
            yield "hole_place", (float(np.min(np.diff(places))), "the way from hole to hole or end")


def _in(size, unit):
    return f"{inches(size):.3g} in" if unit == "in" else f"{millimetres(size):.3g} mm"
