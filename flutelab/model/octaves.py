"""Why a second register is no pure octave above the first: causes, switched off one by one.

Or twelfth: a column stopped at one end overblows to that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flutelab.errors import already_warned
from flutelab.model.chain import Formulas
from flutelab.model.corrections import Corrections
from flutelab.model.flute import End, Flute
from flutelab.model.modes import (
    passed_over,
    register_roots,
    searched,
    solved_modes,
    warn_of_notes,
)
from flutelab.model.rows import Rows, checked, is_open, take
from flutelab.model.without import CAUSES, Case, LostError, has_cause, mean_share, stretch_cents

REST = "what remains; at an open foot mostly its end correction"
INTERVALS = {2: "octave", 3: "twelfth"}  # of ideal columns: open at both ends, stopped at one
MODES = searched(2)
STRANGE = 300.0  # cents of stretch beyond which two modes are no octave of each other
FAINT = 0.3  # strength below which a second mode hardly is one


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
    causes = tuple(name for name in CAUSES if has_cause(flute, fingerings, corrections, name))
    count = len(fingerings)
    parts, alone = np.full((2, len(causes), count), np.nan)
    remainder, node, cut = np.full((3, count), np.nan)
    for n in [n for n, why in enumerate(reason) if not why]:
        row = take(fingerings, [n])
        case = Case(
            flute=flute, row=row, corrections=corrections, formulas=formulas,
            pitch=pitch[n], columns=columns[n], interval=interval[n],
        )  # fmt: skip
        try:
            with already_warned():
                kept = case.kept(causes)
                stretch = case.all_stretches(causes, kept)
        except LostError as lost:
            reason[n] = str(lost)
            continue
        parts[:, n] = [mean_share(stretch, causes, name) for name in causes]
        alone[:, n] = [stretch[frozenset()] - stretch[frozenset({name})] for name in causes]
        remainder[n] = stretch[frozenset(causes)]
        node[n], cut[n] = kept.get("window", np.nan), kept.get("lattice", np.nan)
    bad = np.array([bool(why) for why in reason])
    return Octaves(
        label=fingerings.label,
        first=pitch[:, 0],
        second=pitch[:, 1],
        interval=interval,
        stretch=np.where(bad, np.nan, stretch_cents(pitch, interval)),
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


def _intervals(flute, fingerings, pitch):
    """2 where both ends of the column are alike, else 3: (N,).

    Whether an open hole of a stopped pipe is wide enough to be the column's foot, the modes say.
    """
    stopped = [isinstance(end, End) and end.kind == "stopped" for end in (flute.head, flute.foot)]
    ends = np.full(len(fingerings), 3 if stopped[0] != stopped[1] else 2)
    if not stopped[1]:
        return ends
    ratio = pitch[:, 1] / pitch[:, 0]
    nearest = np.where(ratio**2 > 6, 3, 2)  # as ratios: they part at the root of 2 times 3
    return np.where(np.any(is_open(fingerings), axis=-1) & (ratio > 0), nearest, ends)


def _registers(flute, fingerings, corrections, formulas):
    """Columns and pitch [Hz] of both registers (N, 2), interval, why not, remarks; the chain."""
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
    off, names = stretch_cents(pitch, interval), [INTERVALS[ratio] for ratio in interval.tolist()]
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
