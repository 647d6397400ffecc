"""One hole: its note against its diameter, the textbook's lengths, and what the class can move."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.model.byhand import cut_frequency, head_length, refuse_stopped
from flutelab.model.chain import Chain, Formulas, chain
from flutelab.model.corrections import Corrections
from flutelab.model.flute import Flute, Window, bore_diameter
from flutelab.model.modes import Modes, warn_of_notes
from flutelab.model.notes import CENT, predict_notes
from flutelab.model.roots import at, newton
from flutelab.model.rows import Rows, first_open, rows, take
from flutelab.model.validity import off_the_line
from flutelab.physics.air import Air, warmer
from flutelab.physics.breath import AirAlong, single_air
from flutelab.physics.rules import OPEN_END, half_wave_frequency, length_beyond_hole

HOLE_ENDS = 1.5  # both end corrections of a hole over its radius, as rounded in textbooks
_NEAR = 40.0  # cents between a sweep's line and a note: farther it may be another mode
SOFT, USUAL, HARD = 300.0, 520.0, 740.0  # Pa in the mouth, see `note_bands`


@dataclass(frozen=True, kw_only=True)
class RuleLengths:
    """The lengths of the rule of thumb [m] and the speed of sound [m/s].

    ``head`` = from the sounding edge (or plain head) back to the acoustic end; ``column`` = from
    there to the centre of the first open hole, else to the foot; ``end`` = of a plain open end;
    ``tail`` = from that hole to the foot, its end included; ``wall`` and ``diameter`` of that
    hole, nan where none is open.
    """

    sound_speed: float
    head: float
    column: float
    end: float
    tail: float
    bore_radius: float
    wall: float
    diameter: float


@dataclass(frozen=True, kw_only=True, eq=False)
class HoleSweep:
    """A note against the diameter of one hole.

    ``hole`` from 1, nearest the head; ``diameter`` (D,) [m]; ``frequency`` (D,) of the model and
    ``rule`` (D,) of the rule of thumb [Hz]; ``error`` (D,) rule over model [cents]; ``plain``
    c/2L without any end correction [Hz]; ``no_hole`` the note without the hole and ``cut`` that
    of the pipe cut off at it [Hz], nan where the hole is not the first open one; ``lengths``
    those of the rule at the flute's own diameter; ``root`` (D,) the model's eigenfrequencies.
    """

    label: str
    hole: int
    diameter: np.ndarray
    frequency: np.ndarray
    root: np.ndarray
    rule: np.ndarray
    error: np.ndarray
    plain: float
    no_hole: float
    cut: float
    lengths: RuleLengths


def hole_sweep(
    flute: Flute,
    fingering: str,
    diameters: np.ndarray,
    *,
    hole: int,
    air: Air | AirAlong,
    corrections: Corrections | None = None,
    formulas: Formulas | None = None,
) -> HoleSweep:
    """Return a note for every diameter of one hole, with its limits and a rule of thumb.

    Parameters
    ----------
    flute : Flute
        Not stopped at either end.
    fingering : str
    diameters : (D,)
        Of the hole, up to the bore's there [m].
    hole : int
        From 1, nearest the head.
    air : Air or AirAlong
    corrections : Corrections, optional
        The rule takes the window's from it and nothing else.
    formulas : Formulas, optional

    Raises
    ------
    ValueError
        A hole that the flute does not have, a diameter that is not above 0 or above the bore's, a
        stopped pipe, a fingering that does not fit.

    Notes
    -----
    The smaller the hole the nearer the note is to that without it; no hole makes it higher than
    that of the pipe cut off at the hole's centre. The rule: `rule_frequency`.
    """
    corrections, formulas = corrections or Corrections(), formulas or Formulas()
    diameters = _checked(flute, hole, np.asarray(diameters, dtype=float))
    now = rows(flute, fingering, air=air)
    word = now.label[0]
    without = word[: hole - 1] + "n" + word[hole:]
    sizes = np.tile([h.diameter for h in flute.holes], (len(diameters) + 1, 1))
    sizes[:-1, hole - 1] = diameters
    many = rows(flute, [*[word] * len(diameters), without], air=air, diameter=sizes)
    notes = predict_notes(flute, many, corrections, formulas=formulas)
    found = notes.frequency
    lengths = rule_lengths(flute, now, corrections, formulas)
    own = int(first_open(now)[0]) == hole - 1
    rule = rule_frequency(lengths, diameters if own else np.full(len(diameters), lengths.diameter))
    cut = np.nan
    if own:
        with already_warned():
            cut = cut_frequency(flute, now, lengths.column, corrections, formulas)
    return HoleSweep(
        label=word,
        hole=hole,
        diameter=diameters,
        frequency=found[:-1],
        root=notes.root[:-1],
        rule=rule,
        error=np.log(rule / found[:-1]) / CENT,
        plain=plain_frequency(lengths),
        no_hole=float(found[-1]),
        cut=cut,
        lengths=lengths,
    )


def mode_on_sweep(sweep: HoleSweep, flute: Flute, row: Rows) -> tuple[Modes | None, Chain]:
    """Return the mode of a pipe with the hole at one size, sought from where its sweep points.

    Parameters
    ----------
    sweep : HoleSweep
        Of the same pipe, with the hole of any size, fingered as in `row`, without corrections.
    flute : Flute
    row : Rows
        One row.

    Returns
    -------
    found : Modes or None
        The one mode of the sweep's register; its strength and status are not judged. None where
        the sweep points to none or where openings lie off the line, of which solving in full
        would warn.
    numbers : Chain
        The row's; both are for `standing_wave`.

    Warns
    -----
    ValidityWarning
        As `predict_notes`.
    """
    size = flute.holes[sweep.hole - 1].diameter
    guess = np.interp(size, sweep.diameter, sweep.root)
    numbers = chain(flute, row, None, None)
    if not np.isfinite(guess) or off_the_line(numbers):
        return None, numbers
    with already_warned():
        root = newton(at(numbers), np.array([[guess]]))
    if not abs(np.log(root.real[0, 0] / guess.real)) / CENT < _NEAR:
        return None, numbers
    warn_of_notes(numbers, root.real)
    found = Modes(
        frequency=root.real,
        q=root.real / (2 * root.imag),
        strength=np.ones(root.shape),
        status=np.full(root.shape, "ok"),
        reason=np.full(root.shape, ""),
        root=root,
    )
    return found, numbers


def _checked(flute, hole, diameters):
    if not 1 <= hole <= len(flute.holes):
        msg = f"hole is {hole}; this flute has {len(flute.holes)}, counted from 1 at the head"
        raise ValueError(msg)
    widest = bore_diameter(flute.bore, flute.holes[hole - 1].position) * (1 + 1e-9)
    wrong = diameters[~((diameters > 0) & (diameters <= widest))]
    if wrong.size:
        msg = (
            f"hole {hole}: a diameter is {1000 * wrong[0]:.4g} mm; "
            f"it must lie above 0 and up to the bore's, {1000 * widest:.4g} mm"
        )
        raise ValueError(msg)
    return diameters


def rule_lengths(
    flute: Flute,
    row: Rows,
    corrections: Corrections | None = None,
    formulas: Formulas | None = None,
) -> RuleLengths:
    """Return the lengths of which the rule of thumb is made.

    Parameters
    ----------
    flute : Flute
        Not stopped at either end.
    row : Rows
        One row.
    corrections : Corrections, optional
        The window's is taken and nothing else.
    formulas : Formulas, optional

    Raises
    ------
    ValueError
        A stopped pipe.
    """
    refuse_stopped(flute)
    speed = float(np.ravel(single_air(row.air).sound_speed)[0])
    first = int(first_open(row)[0])
    opened = flute.holes[first] if first < len(flute.holes) else None
    column = opened.position if opened else flute.foot.position
    radius = float(bore_diameter(flute.bore, column)) / 2
    ideal = flute.foot.kind == "node"
    end = OPEN_END * radius
    counted = end if opened or not ideal else 0.0
    return RuleLengths(
        sound_speed=speed,
        head=head_length(flute, corrections or Corrections(), formulas or Formulas()),
        column=column,
        end=counted,
        tail=flute.foot.position - column + (0.0 if ideal else end),
        bore_radius=radius,
        wall=opened.wall if opened else np.nan,
        diameter=opened.diameter if opened else np.nan,
    )


def rule_beyond(lengths: RuleLengths, diameter: np.ndarray) -> np.ndarray:
    """Return how far the column reaches beyond an open hole of this diameter [m of bore].

    Notes
    -----
    `flutelab.physics.rules.length_beyond_hole` with t_E = wall + 1.5 b, b the hole's radius: a
    textbook's rounded sum of both its end corrections (N. H. Fletcher, T. D. Rossing, The
    Physics of Musical Instruments, 2nd ed., 1998, from memory), 0.3 to 1.4 mm too long.
    """
    if np.isnan(lengths.wall):
        return np.full(np.shape(diameter), lengths.end)
    radius = np.asarray(diameter) / 2
    height = lengths.wall + HOLE_ENDS * radius
    return length_beyond_hole(height, radius, lengths.bore_radius, lengths.tail)


def rule_frequency(lengths: RuleLengths, diameter: np.ndarray) -> np.ndarray:
    """Return the rule of thumb's note, c/2(head + column + beyond) [Hz]."""
    length = lengths.head + lengths.column + rule_beyond(lengths, diameter)
    return half_wave_frequency(lengths.sound_speed, length)


def plain_frequency(lengths: RuleLengths) -> float:
    """Return c/2L, without any end correction [Hz]."""
    return float(half_wave_frequency(lengths.sound_speed, lengths.column))


@dataclass(frozen=True, kw_only=True)
class NoteBands:
    """How far a note is from itself: ``breath`` soft and hard, ``warmth`` colder and warmer.

    ``frequency`` [Hz]; both bands (low, high) [cents].
    """

    frequency: float
    breath: tuple[float, float]
    warmth: tuple[float, float]


def note_bands(
    flute: Flute,
    fingering: str,
    *,
    air: Air | AirAlong,
    corrections: Corrections | None = None,
    formulas: Formulas | None = None,
    pressures: tuple[float, float, float] = (SOFT, USUAL, HARD),
    kelvins: float = 2.0,
) -> NoteBands:
    """Return what soft or hard breath, and a colder or warmer room, do to a note.

    Parameters
    ----------
    flute : Flute
    fingering : str
    air : Air or AirAlong
    corrections : Corrections, optional
    formulas : Formulas, optional
    pressures : (soft, usual, hard)
        In the mouth [Pa].
    kelvins : float
        By which the room (of an `Air`: the bore's air) may be colder or warmer.

    Notes
    -----
    Breath: `Corrections.breath` cents for each doubling, about the usual pressure. The usual
    520 Pa and 220 Pa to either side are those of two-chamber flutes in C. F. Goss,
    arXiv:1308.5214 (2013).
    """
    off = np.array([0.0, -kelvins, kelvins])
    with already_warned():
        if isinstance(air, AirAlong):
            airs = replace(air, room_temperature=air.room_temperature + off)
        else:
            airs = warmer(air, off)
    corrections = corrections or Corrections()
    one = rows(flute, fingering, air=air)
    three = replace(take(one, np.array([0, 0, 0])), air=airs)
    found = predict_notes(flute, three, corrections, formulas=formulas).frequency
    soft, usual, hard = pressures
    blown = corrections.breath * np.log2(np.array([soft, hard]) / usual)
    cold, warm = np.log(found[1:] / found[0]) / CENT
    return NoteBands(
        frequency=float(found[0]),
        breath=tuple(sorted(blown.tolist())),
        warmth=(float(cold), float(warm)),
    )


def reshaped(
    flute: Flute,
    *,
    hole: int,
    diameter: float,
    position: float | None = None,
    wall: float | None = None,
    bore: float | None = None,
) -> Flute:
    """Return a flute with one hole of another diameter, and other sizes where they are given.

    Parameters
    ----------
    flute : Flute
    hole : int
        From 1, nearest the head.
    diameter : float
        Of that hole [m]; an undercut grows and shrinks with it, as in `hole_sweep`.
    position : float, optional
        Of that hole [m].
    wall : float, optional
        Everywhere: at holes, window and the rims of plain ends [m].
    bore : float, optional
        Of the pipe at that hole; a bore that is not straight keeps its shape, and rims their
        thickness [m].

    Raises
    ------
    RecordError
        As `Flute` and its parts.

    Examples
    --------
    >>> from flutelab.model.flute import Bore, End, Hole
    >>> pipe = Flute(
    ...     name="a pipe",
    ...     bore=Bore(stations=((0.0, 0.016),)),
    ...     head=End(position=0.0),
    ...     holes=(Hole(position=0.2, diameter=0.004, wall=0.003, inner_diameter=0.005),),
    ...     foot=End(position=0.3),
    ... )
    >>> (one,) = reshaped(pipe, hole=1, diameter=0.008).holes
    >>> print(one.diameter, one.inner_diameter)
    0.008 0.01
    """
    one = flute.holes[hole - 1]
    scale = 1.0 if bore is None else bore / bore_diameter(flute.bore, one.position)
    wide = replace(flute.bore, stations=tuple((x, d * scale) for x, d in flute.bore.stations))
    under = one.inner_diameter
    undercut = None if under is None else under / one.diameter * diameter
    place = one.position if position is None else position
    shaped = replace(one, diameter=diameter, inner_diameter=undercut, position=place)
    holes = (*flute.holes[: hole - 1], shaped, *flute.holes[hole:])
    parts = {
        "holes": tuple(_walled(each, wall) for each in holes),
        "head": _walled(flute.head, wall)
        if isinstance(flute.head, Window)
        else _rimmed(flute.head, flute.bore, wide, wall),
        "foot": _rimmed(flute.foot, flute.bore, wide, wall),
    }
    return replace(flute, bore=wide, **parts)


def _walled(part, wall):
    return part if wall is None else replace(part, wall=wall)


def _rimmed(end, old, bore, wall):
    if end.outer_diameter is None:
        return end
    inside = bore_diameter(bore, end.position)
    if wall is None:
        rim = end.outer_diameter + (inside - bore_diameter(old, end.position))
    else:
        rim = inside + 2 * wall
    return replace(end, outer_diameter=rim)
