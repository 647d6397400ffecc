"""What rules of thumb say of a flute's notes, and how far each is from the model."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.model.chain import Formulas, chain, opening_places
from flutelab.model.corrections import Corrections
from flutelab.model.flute import End, Flute, Window, bore_diameter
from flutelab.model.notes import CENT, PLAYED, predict_notes
from flutelab.model.open_holes import halfway, whole_lengths
from flutelab.model.rows import Rows, checked, is_open, rows, take
from flutelab.physics import jet
from flutelab.physics.breath import AirAlong, air_at, cut_off
from flutelab.physics.rules import (
    OPEN_END,
    half_wave_frequency,
    length_beyond_hole,
    length_beyond_row,
)


def _words(edge, head, end):
    return {
        "straight": f"c/2L, L from {edge} to {end}",
        "corrected": f"c/2L, with {head}0.6 bore radii beyond {end}",
        "cut": f"the pipe cut off at {end}, by the full model",
        "one hole": f"c/2L, with {head}{end} beside its tail",
        "row": f"c/2L, with {head}an endless row of the first two open holes",
    }


_WINDOW = ("the sounding edge", "the window's correction and ")
RULES = _words(*_WINDOW, "the first open hole")  # of a flute with a window
_UNBLOWN = dict.fromkeys(PLAYED, 0.0)  # rules know no player
STOPPED = (
    "the rules of thumb are those of half a wave, in a pipe open at head and foot, and this one is "
    "stopped (a column stopped at one end is a quarter of a wave: c/4L)"
)


@dataclass(frozen=True, kw_only=True, eq=False)
class ByHand:
    """First-register notes of N fingerings by R rules of thumb and by the model.

    ``rules`` names from `RULES`; ``frequency`` (R, N) [Hz], nan where a rule says nothing of a
    note; ``model`` (N,) [Hz]; ``error`` (R, N) rule over model [cents]; ``words`` (R,) what
    each rule is for this flute, "" for one that says nothing new of a pipe without holes.
    """

    label: tuple[str, ...]
    rules: tuple[str, ...]
    frequency: np.ndarray
    model: np.ndarray
    error: np.ndarray
    words: tuple[str, ...]


def rule_words(flute: Flute) -> dict[str, str]:
    """Return the rules of `RULES` that say something of a flute, in words that fit it.

    Parameters
    ----------
    flute : Flute
    """
    edge, head = _WINDOW
    if isinstance(flute.head, End):
        edge = "the head"
        head = "" if flute.head.kind == "node" else "0.6 bore radii at the head and "
    if flute.holes:
        return _words(edge, head, "the first open hole")
    words = _words(edge, head, "the foot")
    return {name: words[name] for name in ("straight", "corrected")}


def by_hand(
    flute: Flute,
    fingerings: Rows,
    corrections: Corrections | None = None,
    *,
    formulas: Formulas | None = None,
) -> ByHand:
    """Return what the rules of thumb say of each fingering, beside the model.

    Parameters
    ----------
    flute : Flute
        Not stopped at either end.
    fingerings : Rows
        N rows; their registers are of no account.
    corrections : Corrections, optional
        Without a batch axis. The rules take the window's correction and the air's offset from it
        and nothing else; the cut pipe takes all but what blowing adds, and so does the model they
        are compared with.
    formulas : Formulas, optional
        Of the model, the window's correction and the holes' lengths.

    Raises
    ------
    ValueError
        A flute that is stopped at an end, with or without open holes: the rules are those of
        half a wave, and of a tail that is open.

    Warns
    -----
    ValidityWarning
        As `predict_notes`.

    Notes
    -----
    Sound speed of the air halfway along the bore, no wall losses, the bore's diameter at the
    first open hole; the cut pipe holds air that changes along the bore as it is up to the cut.
    Formulas and sources in `flutelab.physics.rules`; 0.6 bore radii is the school's end
    correction of an open pipe. Closed holes beyond the first open one do not
    exist for a rule: that is why cross-fingerings come out worst.
    """
    corrections, formulas = corrections or Corrections(), formulas or Formulas()
    refuse_stopped(flute)
    wanted = replace(checked(fingerings), register=np.ones(len(fingerings), dtype=int))
    model = predict_notes(flute, wanted, replace(corrections, **_UNBLOWN),
                          formulas=formulas).frequency  # fmt: skip
    with already_warned():
        said = [_one_note(flute, take(wanted, [n]), corrections, formulas) for n in
                range(len(fingerings))]  # fmt: skip
    frequency = np.array(said).reshape(len(fingerings), len(RULES)).T
    words = rule_words(flute)
    return ByHand(
        label=fingerings.label,
        rules=tuple(RULES),
        frequency=frequency,
        model=model,
        error=np.log(frequency / model) / CENT,
        words=tuple(words.get(name, "") for name in RULES),
    )


def refuse_stopped(flute: Flute) -> None:
    """Raise a ValueError of a flute that is stopped at an end: no rule is for it."""
    if "stopped" in {end.kind for end in (flute.head, flute.foot) if isinstance(end, End)}:
        raise ValueError(STOPPED)


def _one_note(flute, row, corrections, formulas):
    """The note by each rule [Hz]."""
    speed = float(np.ravel(halfway(row.air, corrections).sound_speed)[0])
    opened = np.flatnonzero(is_open(row)[0])
    places = np.array([hole.position for hole in flute.holes])
    end = places[opened[0]] if opened.size else flute.foot.position
    radius = bore_diameter(flute.bore, end) / 2
    head = head_length(flute, corrections, formulas)
    lengths = [end, head + end + _end_length(flute.foot, radius, opened)]
    lengths += [head + end + beyond for beyond in _beyond(flute, row, opened, radius, formulas)]
    straight, corrected, alone, in_row = half_wave_frequency(speed, np.array(lengths)).tolist()
    return straight, corrected, cut_frequency(flute, row, end, corrections, formulas), alone, in_row


def head_length(flute: Flute, corrections: Corrections, formulas: Formulas) -> float:
    """Return how far behind the sounding edge (or plain head) the acoustic end lies [m].

    Parameters
    ----------
    flute : Flute
        Not stopped at the head.
    corrections : Corrections
        The window's correction is taken.
    formulas : Formulas
        The window's.

    Notes
    -----
    At low frequency: half the window and `Formulas.window` times the window's correction; of a
    plain open head 0.6 bore radii, of an ideal one nothing.
    """
    head = flute.head
    if isinstance(head, End):
        return 0.0 if head.kind == "node" else OPEN_END * bore_diameter(flute.bore, 0.0) / 2
    radius = bore_diameter(flute.bore, -head.along / 2) / 2
    shape = {"plug_to_window": head.plug_to_window, "ramp": head.ramp, "block": head.block}
    length = formulas.window(head.along, head.across, head.wall, radius, **shape)
    return head.along / 2 + float(np.ravel(corrections.window * length)[0])


def _end_length(foot, radius, opened):
    return 0.0 if foot.kind == "node" and not opened.size else OPEN_END * radius


def _beyond(flute, row, opened, radius, formulas):
    """Bore length beyond the first open hole: with its tail, and of an endless row."""
    if not opened.size:
        return _end_length(flute.foot, radius, opened), np.nan
    numbers = chain(flute, row, formulas=formulas)
    outside, total = (
        np.broadcast_to(part, numbers.is_open.shape)[0, 0, 0]
        for part in (numbers.hole_radius, whole_lengths(numbers))
    )
    first = opened[0]
    places = np.array([hole.position for hole in flute.holes])
    tail = flute.foot.position - places[first] + _end_length(flute.foot, radius, opened[:0])
    alone = length_beyond_hole(total[first], outside[first], radius, tail)
    if opened.size < 2:
        return alone, np.nan
    pair = opened[:2]
    in_row = length_beyond_row(
        total[pair].mean(), outside[pair].mean(), radius, np.diff(places[pair])[0]
    )
    return alone, in_row


def cut_frequency(
    flute: Flute, row: Rows, end: float, corrections: Corrections, formulas: Formulas
) -> float:
    """Return the first note of the pipe cut at a place, closed holes before it left in [Hz].

    Parameters
    ----------
    flute : Flute
        Not stopped at either end.
    row : Rows
        One row.
    end : float
        Where it is cut, from the edge [m]; at the foot's place the foot is as it is.
    corrections : Corrections
        Without a batch axis; what blowing adds is left out.
    formulas : Formulas

    Warns
    -----
    ValidityWarning
        As `predict_notes`.
    """
    kept = tuple(hole for hole in flute.holes if hole.position < end - hole.diameter / 2)
    stump = replace(flute, holes=kept, foot=_cut_end(flute, end), targets=())
    word = row.label[0][: len(kept)]
    diameter = None if row.diameter is None else row.diameter[:, : len(kept)]
    air, (head, *_, foot) = row.air, opening_places(flute)
    if isinstance(air, AirAlong):
        air = cut_off(air, (end - head) / (foot - head))
    cut = rows(stump, [word], air=air, diameter=diameter)
    return float(predict_notes(stump, cut, replace(corrections, **_UNBLOWN),
                               formulas=formulas).frequency[0])  # fmt: skip


def _cut_end(flute, end):
    """The foot of the pipe cut at a place: the foot as it is, or a plain end of pipe."""
    foot = flute.foot
    if end >= foot.position or foot.kind == "open":
        wider = bore_diameter(flute.bore, end) - bore_diameter(flute.bore, foot.position)
        rim = None if foot.outer_diameter is None else foot.outer_diameter + wider
        return replace(foot, position=end, outer_diameter=rim)
    # a flange, or an ideal end, stays at the foot; the wall is that of the next hole, if known
    walls = [hole.wall for hole in flute.holes if hole.position >= end]
    rim = bore_diameter(flute.bore, end) + 2 * walls[0] if walls else None
    return End(position=end, outer_diameter=rim)


@dataclass(frozen=True, kw_only=True, eq=False)
class JetReadout:
    """The jet of N notes: its speed [m/s], reduced velocity, and whether that is usual."""

    label: tuple[str, ...]
    frequency: np.ndarray
    pressure: np.ndarray
    speed: np.ndarray
    reduced: np.ndarray
    usual: np.ndarray


def jet_readout(
    flute: Flute,
    fingerings: Rows,
    pressure: float,
    corrections: Corrections | None = None,
    *,
    formulas: Formulas | None = None,
) -> JetReadout:
    """Return what jet a blowing pressure makes at each note.

    Parameters
    ----------
    flute : Flute
        With a window.
    fingerings : Rows
        N rows; register 0 counts as 1.
    pressure : float or (N,)
        At the windway's end [Pa]; a pressure in the mouth is an upper limit.
    corrections : Corrections, optional
    formulas : Formulas, optional

    Raises
    ------
    ValueError
        A flute without a window, a pressure outside 5 to 5000 Pa, or as many pressures as
        there are neither notes nor one.

    Notes
    -----
    `flutelab.physics.jet`: Bernoulli's speed, in the air at the window, over note and cut-up.
    The usual range is from memory; it is a read-out, nothing else is worked out from it.
    """
    if not isinstance(flute.head, Window):
        msg = f"the head is {flute.head.kind!r}, not a window: there is no jet across it"
        raise ValueError(msg)
    pressure = _checked_pressure(pressure, len(fingerings))
    notes = predict_notes(flute, fingerings, corrections, formulas=formulas)
    air = fingerings.air
    at_window = air_at(air, 0.0) if isinstance(air, AirAlong) else air
    speed = jet.jet_speed(pressure, at_window.density)
    reduced = jet.reduced_velocity(speed, notes.frequency, flute.head.along)
    return JetReadout(
        label=notes.label,
        frequency=notes.frequency,
        pressure=pressure,
        speed=speed,
        reduced=reduced,
        usual=(reduced >= jet.USUAL[0]) & (reduced <= jet.USUAL[1]),
    )


def _checked_pressure(pressure, count):
    """Pressures (count,) [Pa]; a ValueError where they are not that many, or none of blowing."""
    given = np.asarray(pressure, dtype=float)
    if given.shape not in ((), (1,), (count,)):
        msg = f"pressure has shape {given.shape} for {count} notes; give one for all, or one each"
        raise ValueError(msg)
    low, high = jet.PRESSURES
    wrong = given[~((given >= low) & (given <= high))]
    if wrong.size:
        msg = (
            f"blowing pressure is {wrong.flat[0]:g} Pa; allowed is {low:g} to {high:g} Pa "
            "(flutelab.units.from_mm_water(53) makes pascals)"
        )
        raise ValueError(msg)
    return np.broadcast_to(given, (count,))
