"""Why a second register is no pure octave above the first: causes, switched off one by one.

Or twelfth: a column stopped at one end overblows to that.
"""

from __future__ import annotations

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
from flutelab.model.modes import (
    chain_modes,
    passed_over,
    register_roots,
    searched,
    solved_modes,
    warn_of_notes,
)
from flutelab.model.notes import CENT
from flutelab.model.rows import Rows, checked, is_open, rows, take
from flutelab.physics.breath import AirAlong, cut_off, single_air

CAUSES = {
    "window": "window and the cavity behind it",
    "lattice": "holes, open and closed",
    "losses": "friction and heat at the walls",
    "taper": "taper of the bore",
    "coupling": "openings hearing one another outside",
    "air": "air that changes along the bore",
}
REST = "what remains; at an open foot mostly its end correction"
INTERVALS = {2: "octave", 3: "twelfth"}  # of ideal columns: open at both ends, stopped at one
MODES = searched(2)
_SCALED = {"losses": "loss", "coupling": "coupling"}  # causes that a correction switches off
STRANGE = 300.0  # cents of stretch beyond which two modes are no octave of each other
FAINT = 0.3  # strength below which a second mode hardly is one
_SAME = 0.001  # cents to which the length is sought that keeps the first mode
_SHORTEST = 1e-4  # m, of such lengths
_LONGEST = 2.0  # of the flute's own


@dataclass(frozen=True, kw_only=True, eq=False)
class Octaves:
    """The second register of N fingerings and the causes of its stretch, C of them.

    ``first``, ``second`` [Hz]; ``interval`` 2 for an octave, 3 for the twelfth of a column
    stopped at one end; ``stretch`` = 1200 log2(second/(interval first)) [cents]; ``causes``
    names from `CAUSES`; ``parts`` (C, N) what each makes of it [cents], averaged over all
    orders of switching off, ``alone`` (C, N) what goes when that one alone is switched off;
    ``remainder`` (N,) the stretch left without any; ``blowing`` [cents] what the correction
    `second_register` adds in playing, which is in none of these; ``node`` (N,) [m] how far
    behind the sounding edge the ideal node lies that stands for the window, ``cut`` (N,) [m]
    where the pipe without holes ends, nan where there is no such cause. All but ``first``,
    ``second`` and ``interval`` are nan where there is a ``reason``; ``remark`` says what makes
    the numbers less than they seem (a weak mode passed over, the open holes' cutoff, no octave
    at all), "" where nothing does.
    """

    label: tuple[str, ...]
    first: np.ndarray
    second: np.ndarray
    interval: np.ndarray
    stretch: np.ndarray
    causes: tuple[str, ...]
    parts: np.ndarray
    alone: np.ndarray
    remainder: np.ndarray
    node: np.ndarray
    cut: np.ndarray
    blowing: float
    reason: tuple[str, ...]
    remark: tuple[str, ...]


def octaves(
    flute: Flute,
    fingerings: Rows,
    corrections: Corrections | None = None,
    *,
    formulas: Formulas | None = None,
) -> Octaves:
    """Return how far each second register is from an octave (twelfth), split into its causes.

    Parameters
    ----------
    flute : Flute
    fingerings : Rows
        N rows; their registers are of no account.
    corrections : Corrections, optional
        Without a batch axis.
    formulas : Formulas, optional

    Returns
    -------
    Octaves
        Parts and remainder add up to the stretch. Causes that the flute does not have are
        left out. A row without one of the two registers, or whose modes are lost when a cause
        is switched off, has a reason and no numbers.

    Warns
    -----
    ValidityWarning
        As `predict_notes`, of the flute as it is.

    Notes
    -----
    What is switched off: the window, by an ideal node behind it, and the holes, by cutting the
    pipe, both at the place that keeps the first mode; wall losses; coupling; the taper, by a
    cylinder of the bore's widest diameter, in which every hole and the window have room (the
    head's where the bore narrows); air that changes, by that halfway to the foot. The two modes
    are followed by their number, counted from the lowest: which two speak is judged on the flute
    as it is. In the cut pipe, without holes' modes, they are the first and the second. In the cut
    pipe air that changes is what it was up to the cut. A little longer at either end (the node
    behind the window, a pipe longer than the flute) it is stretched from end to end. The causes
    act on one another, so a part is the mean over all orders of switching off (L. S. Shapley,
    in Contributions to the Theory of Games II, Princeton, 307-317, 1953; from memory). What
    remains is mostly the foot's end correction, which falls with frequency.

    The second register is the second mode that speaks. Where a weak one lies below it (see
    `flutelab.model.modes`), it is itself of a strength below 0.3 or near the cutoff of the open
    holes, or more than 300 cents off an octave, a ``remark`` says so: its stretch then tells of
    the holes' own resonances rather than of an octave.

    Examples
    --------
    >>> import flutelab
    >>> pipe = flutelab.Flute(
    ...     name="pipe", bore=flutelab.Bore(stations=((0.0, 0.0158),)), holes=(),
    ...     head=flutelab.End(position=0.0, kind="node"),
    ...     foot=flutelab.End(position=0.39, kind="node"),
    ... )
    >>> found = octaves(pipe, flutelab.rows(pipe, "", air=flutelab.moist_air(298.15)))
    >>> found.causes, round(float(found.parts[0, 0]), 1)  # the walls drag high notes less
    (('losses',), 5.0)
    """
    corrections, formulas = corrections or Corrections(), formulas or Formulas()
    columns, pitch, interval, reason, remark, numbers = _registers(
        flute, checked(fingerings), corrections, formulas
    )
    warn_of_notes(numbers, pitch[[not why for why in reason]])
    causes = tuple(name for name in CAUSES if _has(flute, fingerings, corrections, name))
    count = len(fingerings)
    parts, alone = np.full((2, len(causes), count), np.nan)
    remainder, node, cut = np.full((3, count), np.nan)
    for n in [n for n, why in enumerate(reason) if not why]:
        row = take(fingerings, [n])
        case = _Case(flute, row, corrections, formulas, pitch[n], columns[n], interval[n])
        try:
            with already_warned():
                kept = case.kept(causes)
                stretch = case.all_stretches(causes, kept)
        except _LostError as lost:
            reason[n] = str(lost)
            continue
        parts[:, n] = [_share(stretch, causes, name) for name in causes]
        alone[:, n] = [stretch[frozenset()] - stretch[frozenset({name})] for name in causes]
        remainder[n] = stretch[frozenset(causes)]
        node[n], cut[n] = kept.get("window", np.nan), kept.get("lattice", np.nan)
    bad = np.array([bool(why) for why in reason])
    return Octaves(
        label=fingerings.label,
        first=pitch[:, 0],
        second=pitch[:, 1],
        interval=interval,
        stretch=np.where(bad, np.nan, _stretch(pitch, interval)),
        causes=causes,
        parts=parts,
        alone=alone,
        remainder=remainder,
        node=node,
        cut=cut,
        blowing=float(corrections.second_register),
        reason=tuple(reason),
        remark=tuple("" if why else text for why, text in zip(reason, remark, strict=True)),
    )


def interval_names(found: Octaves, *, several: bool = False) -> str:
    """Return what second registers are to the first: "octave", "twelfth" or "octave or twelfth".

    Parameters
    ----------
    found : Octaves
    several : bool
        "octaves" and so on.
    """
    ratios = sorted(set(found.interval.tolist()))
    return " or ".join(f"{INTERVALS[ratio]}{'s' * several}" for ratio in ratios)


def _stretch(pitch, interval):
    """How far the second of (..., 2) is above its interval over the first [cents]."""
    return np.log(pitch[..., 1] / (interval * pitch[..., 0])) / CENT


def _has(flute, fingerings, corrections, cause):
    """Whether there is anything to switch off."""
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


def _intervals(flute, fingerings, pitch):
    """2 where both ends of the column are alike, else 3: (N,).

    Whether an open hole of a stopped pipe is wide enough to be the column's foot, the modes say.
    """
    stopped = [isinstance(end, End) and end.kind == "stopped" for end in (flute.head, flute.foot)]
    ends = np.full(len(fingerings), 3 if stopped[0] != stopped[1] else 2)
    if not stopped[1]:
        return ends
    ratio = pitch[:, 1] / pitch[:, 0]
    nearest = np.where(ratio**2 > 6, 3, 2)  # in cents
    return np.where(np.any(is_open(fingerings), axis=-1) & (ratio > 0), nearest, ends)


def _registers(flute, fingerings, corrections, formulas):
    """First and second register: columns and [Hz] (N, 2), and what is to be known of each row."""
    found, numbers = solved_modes(flute, fingerings, corrections, count=MODES, formulas=formulas)
    count = len(fingerings)
    columns = np.stack([register_roots(found, np.full(count, n)) for n in (1, 2)], axis=-1)
    pick = np.arange(count)[:, None], np.maximum(columns, 0)
    pitch = np.where(columns >= 0, found.frequency[pick], np.nan)
    reason = [
        "" if np.all(row >= 0) else f"no mode of register {1 + int(np.argmin(row >= 0))} speaks"
        for row in columns
    ]
    interval = _intervals(flute, fingerings, pitch)
    off, names = _stretch(pitch, interval), [INTERVALS[ratio] for ratio in interval.tolist()]
    remark = [_remark(found, n, columns[n, 1], off[n], names[n]) for n in range(count)]
    return columns, pitch, interval, reason, remark, numbers


def _remark(found, row, second, stretch, name):
    """What is to be known of a second register in column `second`."""
    told = [words] if (words := passed_over(found, row, second)) else []
    if found.status[row, second] == "near cutoff":
        told.append("the second is near the open holes' cutoff or above it")
    if found.strength[row, second] < FAINT:
        told.append(f"the second is faint (strength {found.strength[row, second]:.2f})")
    if abs(stretch) > STRANGE:
        apart = "near each other" if stretch < 0 else "far from each other"
        told.append(f"modes this {apart} are no {name}")
    return "; ".join(told)


class _LostError(Exception):
    """A mode is not there any more, or cannot be kept, without a cause."""


@dataclass(frozen=True)
class _Case:
    """One fingering, and its two registers [Hz]."""

    flute: Flute
    row: Rows
    corrections: Corrections
    formulas: Formulas
    pitch: np.ndarray
    columns: np.ndarray  # among the modes, of the two registers
    interval: int

    def kept(self, causes):
        """The length [m] at which each cause that moves an end leaves the first mode in place."""
        start = {"window": self._window_length, "lattice": self._straight_length}
        return {name: self._keeping(name, start[name]()) for name in causes if name in start}

    def all_stretches(self, causes, kept):
        """The stretch [cents] for every set of causes that is switched off."""
        scaled = _subsets(cause for cause in causes if cause in _SCALED)
        stretch = {}
        for off in _subsets(cause for cause in causes if cause not in _SCALED):
            cents = _stretch(self._without(off, kept, scaled), self.interval).tolist()
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
            raise _LostError(msg)
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
                raise _LostError(msg)
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


def _share(stretch, causes, name):
    """The mean of what `name` makes of the stretch over all orders (Shapley's value)."""
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
