"""A fingering's two registers without the window, the holes, losses or other causes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations
from math import factorial

import numpy as np
from scipy.optimize import brentq

from flutelab.errors import already_warned
from flutelab.model.chain import Formulas, chain, opening_places
from flutelab.model.corrections import Corrections
from flutelab.model.flute import Bore, End, Flute, Window, bore_diameter
from flutelab.model.modes import chain_modes
from flutelab.model.notes import CENT
from flutelab.model.rows import Rows, rows
from flutelab.physics.breath import AirAlong, cut_off, single_air

CAUSES = {
    "window": "window and the cavity behind it",
    "lattice": "holes, open and closed",
    "losses": "friction and heat at the walls",
    "taper": "taper of the bore",
    "coupling": "openings hearing one another outside",
    "air": "air that changes along the bore",
}
_SCALED = {"losses": "loss", "coupling": "coupling"}  # causes that a correction switches off
_SAME = 0.001  # cents to which the length is sought that keeps the first mode
_SHORTEST = 1e-4  # m, of such lengths
_LONGEST = 2.0  # of the flute's own


def stretch_cents(pitch: np.ndarray, interval: np.ndarray) -> np.ndarray:
    """Return how far a second register is above its interval over the first [cents], (...).

    Parameters
    ----------
    pitch : (..., 2)
        First and second [Hz].
    interval : (...)
        Their pure ratio.
    """
    return np.log(pitch[..., 1] / (interval * pitch[..., 0])) / CENT


def has_cause(flute: Flute, fingerings: Rows, corrections: Corrections, cause: str) -> bool:
    """Return whether there is anything to switch off.

    Parameters
    ----------
    flute : Flute
    fingerings : Rows
    corrections : Corrections
    cause : str
        A name from `CAUSES`.
    """
    return {
        "window": isinstance(flute.head, Window),
        "lattice": bool(flute.holes),
        "losses": corrections.loss > 0,
        "taper": len({diameter for _, diameter in flute.bore.stations}) > 1,
        "coupling": corrections.coupling > 0 and _outlets(flute) > 1,
        "air": isinstance(fingerings.air, AirAlong) and np.any(np.asarray(fingerings.air.share)),
    }[cause]


def _outlets(flute):
    heard = [end for end in (flute.head, flute.foot) if isinstance(end, Window) or
             end.kind in ("open", "flanged")]  # fmt: skip
    return len(flute.holes) + len(heard)


class LostError(Exception):
    """A mode is not there any more, or cannot be kept, without a cause."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Case:
    """Works out one fingering's two registers without causes: given these, as they are.

    ``pitch`` (2,) [Hz]; ``columns`` (2,) of the registers among the modes; ``interval`` their
    pure ratio, 2 or 3.
    """

    flute: Flute
    row: Rows
    corrections: Corrections
    formulas: Formulas
    pitch: np.ndarray
    columns: np.ndarray
    interval: int

    def kept(self, causes: Iterable[str]) -> dict[str, float]:
        """Return the length [m] at which each cause that moves an end keeps the first mode.

        Raises LostError where there is none.
        """
        start = {"window": self._window_length, "lattice": self._straight_length}
        return {name: self._keeping(name, start[name]()) for name in causes if name in start}

    def all_stretches(
        self, causes: Sequence[str], kept: Mapping[str, float]
    ) -> dict[frozenset[str], float]:
        """Return the stretch [cents] for every set of causes that is switched off.

        ``kept`` as of the method of that name. Raises LostError where a mode is lost.
        """
        scaled = _subsets(cause for cause in causes if cause in _SCALED)
        stretch = {}
        for off in _subsets(cause for cause in causes if cause not in _SCALED):
            cents = stretch_cents(self._without(off, kept, scaled), self.interval).tolist()
            stretch |= {off | more: one for more, one in zip(scaled, cents, strict=True)}
        return stretch

    def _window_length(self):
        head = chain(self.flute, self.row, self.corrections, self.formulas).head
        return self.flute.head.along / 2 + float(np.ravel(head.length)[0])

    def _straight_length(self):
        return min(self._column(), self.flute.foot.position)

    def _column(self):
        """The length of the ideal column with the first mode: half a wave, or a quarter [m]."""
        speed = float(np.ravel(single_air(self.row.air).sound_speed)[0])
        return speed / (2 * (self.interval - 1) * self.pitch[0])

    def _keeping(self, name, start):
        """The length [m] without `name` that leaves the first mode where it is, from a guess."""
        lowest, highest = _SHORTEST, _LONGEST * self.flute.foot.position

        @cache
        def off(length):
            first = self._without(frozenset({name}), {name: length})[0, 0]
            return float(np.log(first / self.pitch[0]))

        # A longer pipe sounds lower: walk towards the first mode until it is passed.
        near = far = min(max(start, lowest), highest)
        step = 1.5 * off(near) * self._column()
        while off(near) * off(far) > 0 and far not in (lowest, highest):
            near, far = far, min(max(far + step, lowest), highest)
            step *= 2
        if not off(near) * off(far) <= 0:
            msg = f"no length keeps the first mode without: {CAUSES[name]}"
            raise LostError(msg)
        return brentq(off, near, far, xtol=_SAME * CENT * self._column())

    def _without(self, off, lengths, scaled=(frozenset(),)):
        """The two modes [Hz], (S, 2), without the causes in `off` and each of S more sets."""
        flute, air = self.flute, self.row.air
        if "taper" in off:
            flute = _cylinder(flute)
        if "lattice" in off:
            flute, air = self._cut(flute, lengths["lattice"])
        if "window" in off:
            flute = _with_node(flute, lengths["window"])
        if "air" in off:
            air = single_air(self.row.air)
        row = replace(self.row, air=air) if flute.holes else rows(flute, "", air=air)
        with already_warned():
            numbers = chain(flute, row, self._scaled(scaled), self.formulas)
        columns = self.columns if flute.holes else np.array([0, 1])
        pitch = chain_modes(numbers, len(scaled), columns[1] + 1)[:, columns]
        for some, found in zip(scaled, pitch, strict=True):
            if not np.all(np.isfinite(found)):
                names = ", ".join(CAUSES[name] for name in CAUSES if name in off | some)
                msg = f"no two modes without: {names}"
                raise LostError(msg)
        return pitch

    def _scaled(self, sets):
        """The corrections without the causes in each of S sets, one note each."""
        leaves = {
            field: np.where([cause in some for some in sets], 0.0, getattr(self.corrections, field))
            for cause, field in _SCALED.items()
        }
        return replace(self.corrections, **{f: leaf[None, :, None] for f, leaf in leaves.items()})

    def _cut(self, flute, length):
        """The flute cut at a length, and its air: as it is in the whole one up to there."""
        stopped_head = isinstance(flute.head, End) and flute.head.kind == "stopped"
        open_foot = self.interval == (3 if stopped_head else 2)
        air, (head, *_, foot) = self.row.air, opening_places(self.flute)
        if isinstance(air, AirAlong):
            air = cut_off(air, (length - head) / (foot - head))
        return _cut(flute, length, open_foot=open_foot), air


def _subsets(names):
    names = tuple(names)
    sizes = range(len(names) + 1)
    return [frozenset(some) for size in sizes for some in combinations(names, size)]


def mean_share(stretch: Mapping[frozenset[str], float], causes: Sequence[str], name: str) -> float:
    """Return the mean of what a cause makes of the stretch over all orders [cents].

    Parameters
    ----------
    stretch : mapping
        From `Case.all_stretches`.
    causes : sequence of str
        All of them.
    name : str
        One.

    Notes
    -----
    L. S. Shapley's value, in Contributions to the Theory of Games II, Princeton, 307-317
    (1953); from memory.
    """
    others = [cause for cause in causes if cause != name]
    count, total = len(causes), 0.0
    for size in range(count):
        weight = factorial(size) * factorial(count - size - 1) / factorial(count)
        for off in map(frozenset, combinations(others, size)):
            total += weight * (stretch[off] - stretch[off | {name}])
    return total


def _cylinder(flute):
    """The flute with the bore's widest diameter throughout."""
    foot = flute.foot.position
    within = [place for place, _ in flute.bore.stations if 0 < place < foot]
    widest = max(bore_diameter(flute.bore, place) for place in (0.0, *within, foot))
    return _at_foot(replace(flute, bore=Bore(stations=((0.0, widest),))), flute, flute.foot.kind)


def _cut(flute, length, *, open_foot):
    """The flute without holes, cut at a length; the lip stays as thick.

    Where an open hole was the column's foot (`open_foot`) a stopped foot is cut open.
    """
    kind = "open" if open_foot and flute.foot.kind == "stopped" else flute.foot.kind
    foot = replace(flute.foot, position=length)
    return _at_foot(replace(flute, holes=(), foot=foot, targets=()), flute, kind)


def _at_foot(changed, flute, kind):
    """The changed flute with the lip that the flute's foot has."""
    rim = flute.foot.outer_diameter
    if rim is not None:
        lip = rim - bore_diameter(flute.bore, flute.foot.position)
        rim = bore_diameter(changed.bore, changed.foot.position) + lip
    return replace(changed, foot=replace(changed.foot, kind=kind, outer_diameter=rim))


def _with_node(flute, behind):
    """The flute with an ideal node `behind` the sounding edge for its window."""
    return replace(
        flute,
        bore=Bore(stations=tuple((x + behind, d) for x, d in flute.bore.stations)),
        holes=tuple(replace(hole, position=hole.position + behind) for hole in flute.holes),
        foot=replace(flute.foot, position=flute.foot.position + behind),
        head=End(position=0.0, kind="node"),
    )
